"""A user's mistake ends with exit code 3 and sentences that say where it is and what to do; never with a traceback."""

from __future__ import annotations

import csv
import json
import shutil

import pytest

from optimizer.inputs.catalog import shipped_folder


@pytest.fixture
def parts(tmp_path):
    """A copy of the shipped catalog to break."""
    return shutil.copytree(shipped_folder("catalogs"), tmp_path / "parts")


@pytest.fixture
def cabin(tmp_path):
    """A copy of a shipped problem to break."""
    for name in ("weekend_cabin.toml", "weekend_cabin_loads.csv"):
        shutil.copy(shipped_folder("problems") / name, tmp_path / name)
    return tmp_path / "weekend_cabin.toml"


def refuse(word):
    """No NaN, no Infinity."""
    raise AssertionError(f"{word} is not JSON")


def told(result, *words):
    """Exit 3, nothing on stdout, and each of the words on stderr."""
    assert result.code == 3
    assert result.out == ""
    assert "Traceback" not in result.err
    for word in words:
        assert word in result.err
    return result.err


def edited(path, old, new):
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.parametrize("command", ["solve", "lint", "demand"])
def test_a_missing_problem_says_how_to_get_one(run, tmp_path, command):
    result = run(command, tmp_path / "no.toml")
    if command == "lint":  # its answer is the list of errors: on stdout
        assert result.code == 3
        assert "no such problem file" in " ".join(result.out.split())
    else:
        told(result, "no such problem file", "bankstring new FILE")


def test_a_missing_catalog_says_how_to_get_one(run, tmp_path):
    told(run("solve", "light_kit", "--catalog", tmp_path / "no"), "no such catalog folder", "bankstring new --catalog")


def test_an_empty_catalog_lists_every_file_that_it_lacks(run, tmp_path):
    text = told(run("solve", "light_kit", "--catalog", tmp_path), "catalog.toml", "bankstring new --catalog")
    for kind in ("modules", "batteries", "controllers", "inverters"):
        assert f"{kind}.csv: file not found" in text


def test_no_loads(run, cabin):
    edited(cabin, 'loads_file = "weekend_cabin_loads.csv"\n', "")
    told(run("solve", cabin), "loads", "[[loads]]", "loads_file")


def test_loads_that_never_run(run, cabin):
    loads = cabin.with_name("weekend_cabin_loads.csv")
    header, *_ = loads.read_text(encoding="utf-8").splitlines()
    loads.write_text(header + "\n", encoding="utf-8")
    told(run("solve", cabin), "loads")


def test_a_month_without_sun_hours(run, cabin):
    edited(cabin, "sun_h = [3.0, ", "sun_h = [")
    told(run("solve", cabin), "array.sun_h", "needs 12 values, January to December", "got 11")


@pytest.mark.parametrize("word", ["nan", "inf"])
def test_not_a_number_in_a_problem(run, cabin, word):
    edited(cabin, "sun_h = [3.0, ", f"sun_h = [{word}, ")
    told(run("solve", cabin), "array.sun_h", "finite number")


def with_cell(path, column, value):
    """Put a value into the first row of a catalog file."""
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    rows[1][rows[0].index(column)] = value
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)


@pytest.mark.parametrize(("file", "column", "value", "sentence"), [
    ("modules.csv", "voc_v", "nan", "must be a finite number"),
    ("modules.csv", "price", "-5", "must be greater than or equal to 0"),
    ("batteries.csv", "capacity_20h_ah", "100Ah", "carries a unit"),
    ("controllers.csv", "output_a", "12,5", "decimal comma, write 12.5"),
    ("inverters.csv", "cont_w", "", "is required and blank"),
])
def test_a_wrong_cell_of_a_catalog(run, parts, file, column, value, sentence):
    with_cell(parts / file, column, value)
    told(run("solve", "light_kit", "--catalog", parts), f"{file}:2: {column}: ", sentence)


def test_errors_of_problem_and_catalog_are_listed_together(run, cabin, parts):
    with_cell(parts / "modules.csv", "price", "-5")
    edited(cabin, "lowest_c = -36", "lowest_cc = -36")
    told(run("solve", cabin, "--catalog", parts), "modules.csv:2: price", "lowest_cc", "did you mean 'lowest_c'")


def test_a_locked_part_that_the_catalog_lacks(run, cabin):
    cabin.write_text(cabin.read_text(encoding="utf-8") + '\n[locks]\nexclude = ["PV-395-108Q"]\n', encoding="utf-8")
    told(run("solve", cabin), "PV-395-108Q", "not in the catalog", "did you mean 'PV-395-108B'")


# --- choices


CHOICE = {
    "bank": {"voltage_v": 12, "battery": "BT-FLA6-225", "series": 2, "strings": 2},
    "charging": [{"controller": "CM-A30-V100", "count": 1, "module": "PV-395-108B", "series": 1, "strings": 1}],
    "inverter": {"model": "IV-700W-B12-AC120", "count": 1},
}


def checked(run, tmp_path, choice):
    file = tmp_path / "choice.json"
    file.write_text(json.dumps(choice), encoding="utf-8")
    return run("check", "weekend_cabin", file)


def test_an_unknown_part_in_a_choice_names_the_nearest(run, tmp_path):
    choice = {**CHOICE, "inverter": {"model": "IV-700W-B12-AC121", "count": 1}}
    told(checked(run, tmp_path, choice), "choice.json", "'IV-700W-B12-AC121' is not in the catalog", "did you mean 'IV-700W-B12-AC120'")


def test_a_part_of_another_kind_in_a_choice(run, tmp_path):
    choice = {**CHOICE, "bank": {**CHOICE["bank"], "battery": "PV-395-108B"}}
    told(checked(run, tmp_path, choice), "'PV-395-108B' is a module, not a battery")


@pytest.mark.parametrize("count", [0, -1, 1.5, "many", None])
def test_a_choice_with_a_count_that_is_none(run, tmp_path, count):
    told(checked(run, tmp_path, {**CHOICE, "inverter": {"model": "IV-700W-B12-AC120", "count": count}}), "inverter.count")


def test_a_missing_choice_says_how_to_get_one(run, tmp_path):
    told(run("check", "weekend_cabin", tmp_path / "no.toml"), "no such file", "bankstring new --choice FILE")


def test_an_answer_without_a_design_is_no_choice(run, tmp_path):
    file = tmp_path / "answer.json"
    file.write_text(run("solve", "coast_house", "--json").out, encoding="utf-8")
    told(run("check", "coast_house", file), "holds no choice")


@pytest.mark.parametrize("text", ["{", "bank = [", "\x00", ""])
def test_a_choice_that_cannot_be_read(run, tmp_path, text):
    file = tmp_path / "choice.toml"
    file.write_text(text, encoding="utf-8")
    told(run("check", "weekend_cabin", file), "choice.toml")


def test_a_folder_is_no_choice(run, tmp_path):
    told(run("check", "weekend_cabin", tmp_path), str(tmp_path))


# --- lint


def test_lint_lists_errors_as_its_answer(run, parts):
    with_cell(parts / "modules.csv", "price", "-5")
    with_cell(parts / "batteries.csv", "chemistry", "agmm")
    result = run("lint", "weekend_cabin", "--catalog", parts, "--json")
    assert result.code == 3
    data = json.loads(result.out, parse_constant=refuse)
    assert [error.split(":")[0].split("/")[-1] for error in data["errors"]] == ["modules.csv", "batteries.csv"]
    text = " ".join(run("lint", "weekend_cabin", "--catalog", parts).out.split())
    assert "2 errors" in text
    assert all(error.split(": ", 2)[-1][:30] in text for error in data["errors"])


def test_a_doubt_is_no_error(run, parts):
    with_cell(parts / "modules.csv", "price", "9999")
    result = run("lint", "--catalog", parts, "--json")
    assert result.code == 0
    data = json.loads(result.out, parse_constant=refuse)
    assert data["errors"] == []
    assert any("modules.csv:2: price" in doubt for doubt in data["doubts"])


@pytest.mark.parametrize("command", ["solve", "demand", "sun"])
def test_a_folder_is_no_problem(run, tmp_path, monkeypatch, command):
    monkeypatch.chdir(tmp_path)
    for folder in (".", "/", tmp_path):
        told(run(command, folder), f"{folder}: cannot be read: it is a folder")


def test_a_slip_in_the_name_of_a_shipped_problem(run):
    told(run("solve", "year_round_hom"), "did you mean 'year_round_home'?")


def test_a_catalog_that_is_a_file(run, cabin):
    told(run("solve", "light_kit", "--catalog", cabin), "is a file, not a catalog folder", "bankstring new --catalog")


def test_a_missing_column_is_said_once(run, parts, cabin):
    batteries = parts / "batteries.csv"
    rows = [line.split(",") for line in batteries.read_text(encoding="utf-8").splitlines()]
    batteries.write_text("\n".join(",".join(cells[:6] + cells[7:]) for cells in rows), encoding="utf-8")
    assert told(run("solve", "light_kit", "--catalog", parts)).splitlines()[1:] == ["parts/batteries.csv:1: column 'capacity_20h_ah' is missing"]
    loads = cabin.with_name("weekend_cabin_loads.csv")
    rows = [line.split(",") for line in loads.read_text(encoding="utf-8").splitlines()]
    at = rows[0].index("watts")
    loads.write_text("\n".join(",".join(cells[:at] + cells[at + 1:]) for cells in rows), encoding="utf-8")
    told(run("solve", cabin), "weekend_cabin_loads.csv:1: column 'watts' is missing")


def test_choices_that_are_none(run, cabin, tmp_path):
    told(run("check", cabin, cabin), "weekend_cabin.toml: is a problem, not a choice", "bankstring new --choice")
    told(run("check", cabin, tmp_path), "cannot be read: it is a folder")
    choice = tmp_path / "mine.toml"
    choice.write_bytes(b"\xff\xfe")
    told(run("check", cabin, choice), "mine.toml: byte 0 is not UTF-8 text")
    choice.write_text('[bank]\nvolts = 12\nbattery = "BT-FLA6-225"\nserie = 2\nstrings = 2\n', encoding="utf-8")
    text = told(run("check", cabin, choice), "bank.volts: this key is not known (did you mean 'voltage_v'?)", "bank.serie: this key is not known (did you mean 'series'?)")
    assert "Extra inputs" not in text


def test_an_answer_that_is_none_says_how_to_get_one(run, cabin):
    told(run("diff", cabin, cabin), "is not JSON", "bankstring solve PROBLEM --json > FILE")
