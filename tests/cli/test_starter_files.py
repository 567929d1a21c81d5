"""Files to start from work as they stand, explain themselves and never overwrite."""

import re
import tomllib

import pytest

from optimizer import load_catalog, load_problem
from optimizer.design import design_of, load_choice
from optimizer.handover.starter import CHOICE, STARTED_FROM, new_problem
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import Problem


def test_new_problem_is_the_shipped_one_and_can_be_solved(run, tmp_path):
    ran = run("new", "mine")
    assert (ran.code, ran.out) == (0, "wrote mine.toml\nwrote mine_loads.csv\n")
    assert load_problem(tmp_path / "mine.toml") == load_problem(shipped_folder("problems") / f"{STARTED_FROM}.toml")
    solved = run("solve", "mine")
    assert (solved.code, "shipped" in solved.err) == (0, False)


def test_new_problem_names_every_key_that_can_be_given(tmp_path):
    file, _ = new_problem(tmp_path / "deep" / "folder" / "mine.toml")
    text = file.read_text(encoding="utf-8")
    for name, field in Problem.model_fields.items():
        section = field.annotation
        if not hasattr(section, "model_fields"):
            assert re.search(rf"\b{name}\b", text), name
            continue
        for key in section.model_fields:
            assert re.search(rf"\b{key}\b", text), f"{name}.{key}"
    assert f"bankstring solve {file}" in text


def test_keys_that_may_be_added_can_be_uncommented(tmp_path):
    """Every `key = value` of the list at the end is what holds without it."""
    file, _ = new_problem(tmp_path / "mine.toml")
    before, _, listed = file.read_text(encoding="utf-8").partition("# Keys that may be added to these sections")
    listed = listed.split("# Parts that the customer has already")[0]
    sections = re.split(r"#   \[(\w+)\]  ", listed)[1:]
    assert len(sections) > 20
    added = tomllib.loads(before)
    for name, keys in zip(sections[::2], sections[1::2], strict=True):
        text = re.sub(r"\s*\n#\s*", " ", keys)
        text = re.sub(r",? ?\w+ \(nothing\)", "", text)
        values = tomllib.loads("\n".join(re.split(r", (?=\w+ = )", text)))
        assert not set(values) & set(added.get(name, {}))
        added[name] = {**added.get(name, {}), **values}
    from optimizer.inputs.problem_file import problem_from

    assert problem_from(added, "mine", tmp_path) == load_problem(file)


def test_new_choice_fits_the_catalog_and_the_shipped_problem(run, tmp_path):
    assert run("new", "--choice", "mine").out == "wrote mine.toml\n"
    choice = load_choice(tmp_path / "mine.toml")
    design = design_of(choice, load_catalog())
    assert (len(design.blocks), len(design.converters), design.inverters.count) == (1, 1, 1)
    assert run("check", STARTED_FROM, "mine.toml").code == 0
    commented = "\n".join(line.replace("# charge_limit_a", "charge_limit_a") for line in CHOICE.splitlines())
    assert tomllib.loads(commented)["charging"][0]["charge_limit_a"] == 20


def test_new_catalog_is_the_shipped_one(run, tmp_path):
    assert run("new", "--catalog", "parts").out == "wrote parts\n"
    copy, shipped = load_catalog(tmp_path / "parts"), load_catalog()
    assert list(copy.parts()) == list(shipped.parts())
    assert copy.sha256 == shipped.sha256
    assert (tmp_path / "parts" / "tables" / "chemistry.csv").is_file()


def test_all_three_at_once_as_json(run, tmp_path):
    import json

    written = json.loads(run("new", "a.toml", "--catalog", "b", "--choice", "c.toml", "--json").out)["written"]
    assert written == ["a.toml", "a_loads.csv", "b", "c.toml"]
    assert all((tmp_path / name).exists() for name in written)


@pytest.mark.parametrize(("arguments", "kept"), [
    (("mine.toml",), "mine.toml"), (("mine",), "mine.toml"), (("mine.toml",), "mine_loads.csv"), (("--choice", "mine.toml"), "mine.toml"),
    (("--catalog", "parts"), "parts"),
])
def test_nothing_is_overwritten(run, tmp_path, arguments, kept):
    (tmp_path / kept).write_text("mine")
    ran = run("new", *arguments)
    assert (ran.code, ran.out) == (2, "")
    assert f"{kept} exists already and is left as it is" in ran.err
    assert (tmp_path / kept).read_text() == "mine"
    assert [path.name for path in tmp_path.iterdir()] == [kept]


def test_place_that_cannot_be_written(run, tmp_path):
    (tmp_path / "file").write_text("")
    for arguments in (("file/mine.toml",), ("--choice", "file/mine.toml"), ("--catalog", "file/parts")):
        ran = run("new", *arguments)
        assert (ran.code, ran.out) == (3, "")
        assert "cannot be written" in ran.err
