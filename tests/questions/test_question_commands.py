"""The commands that answer questions: exit codes, keys of their JSON, text that fits a terminal."""

from __future__ import annotations

import csv
import io
import json
from functools import cache

import pytest
from typer.testing import CliRunner

from optimizer.cli import app
from optimizer.inputs.catalog import shipped_folder

KIT, IMPOSSIBLE = "light_kit", "coast_house"
OPTION = {"value", "outcome", "cost", "choice", "reason"}
CHANGE = {"part", "quantity_before", "quantity_after", "price_before", "price_after"}


def run(*arguments):
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result


def answered(*arguments):
    """stdout of a question that is answered, with no line too wide."""
    result = run(*arguments)
    assert result.exit_code == 0, result.stderr
    return result.stdout


def data_of(*arguments):
    return json.loads(answered(*arguments, "--json"), parse_constant=pytest.fail)


def fits(text):
    assert text.strip()
    assert max(map(len, text.splitlines())) <= 79
    return text


@pytest.fixture(scope="module")
def solved():
    return data_of("solve", KIT)


@pytest.mark.parametrize("by", ["controller", "voltage"])
def test_versus(by, solved):
    data = data_of("versus", KIT, "--by", by)
    assert set(data) >= {"by", "options", "cheapest", "flips"}
    assert data["by"] == by
    assert all(set(option) >= OPTION for option in data["options"])
    assert all(set(flip) >= {"parameter", "unit", "at", "from", "to"} for flip in data["flips"])
    possible = [option for option in data["options"] if option["outcome"] == "optimal"]
    assert data["cheapest"] == possible[0]["value"]
    assert possible[0]["cost"] == solved["cost"]["total"] == data["unrestricted"]["cost"]
    assert all((option["choice"] is None) is (option["cost"] is None) for option in data["options"])
    text = fits(answered("versus", KIT, "--by", by))
    for words in ("bank", "array", "inverter", "rest", "harvest Wh/day", "array m2", "weight kg", "bank strings", "largest DC A", "208.87"):
        assert words in text


def test_versus_says_why_an_alternative_has_no_design():
    text = fits(answered("versus", IMPOSSIBLE, "--by", "voltage"))
    assert "No alternative has a design." in text
    reason = data_of("versus", IMPOSSIBLE, "--by", "voltage")["options"][0]["reason"]
    assert reason.split()[0] in text


def test_a_generator_that_changes_no_price_is_not_called_cheaper():
    text = " ".join(answered("versus", KIT, "--by", "generator").split())
    assert "generator costs as much as none, the generator and its fuel left aside." in text
    assert "0.00 USD less" not in text


def test_cost_of(solved, monkeypatch):
    from optimizer.questions import cost_of

    once = cache(lambda *_: real(*kept[0]))
    real, kept = cost_of.cost_of, []
    monkeypatch.setattr(cost_of, "cost_of", lambda *given: (kept.append(given), once())[1])
    data = data_of("cost-of", KIT)
    assert set(data) >= {"base", "requirements"}
    assert data["base"]["cost"] == solved["cost"]["total"]
    assert data["requirements"]
    for one in data["requirements"]:
        assert set(one) >= {"name", "unit", "now", "looser", "tighter", "without"}
        for notch in (one["looser"], one["tighter"], one["without"]):
            assert notch is None or (set(notch) >= {"value", "cost"} and (notch["cost"] is None) is (notch["outcome"] == "infeasible"))
    text = fits(answered("cost-of", KIT))
    for one in data["requirements"]:
        assert one["title"].split()[0] in text


def test_cost_of_an_impossible_problem_is_an_answer():
    data = data_of("cost-of", IMPOSSIBLE)
    assert (data["base"]["outcome"], data["base"]["cost"], data["requirements"]) == ("infeasible", None, [])
    text = fits(answered("cost-of", IMPOSSIBLE))
    assert "impossible" in text
    assert "`bankstring relax PROBLEM` answers it" in " ".join(text.split())


def test_curve(solved):
    part = solved["choice"]["bank"]["battery"]
    data = data_of("curve", KIT, "--over", f"price:{part}")
    assert set(data) >= {"over", "unit", "resolution", "exact", "steps"}
    assert (data["over"], data["resolution"], data["exact"]) == (f"price:{part}", 0.01, True)
    for step in data["steps"]:
        assert set(step) >= {"from", "to", "cost_from", "cost_to", "choice"}
    now = next(step for step in data["steps"] if step["from"] <= data["now"] <= step["to"])
    assert now["choice"] == solved["choice"]
    table = list(csv.DictReader(io.StringIO(answered("curve", KIT, "--over", f"price:{part}", "--csv"))))
    assert [(float(row["from"]), float(row["to"])) for row in table] == [(step["from"], step["to"]) for step in data["steps"]]
    costs = [None if row["cost_from"] == "" else float(row["cost_from"]) for row in table]
    assert costs == [step["cost_from"] for step in data["steps"]]
    assert costs[-1] is None, "the kit has a budget"
    text = fits(answered("curve", KIT, "--over", f"price:{part}"))
    assert "Exact: every step is found, its ends to 0.01 USD." in text
    assert "now " in text


def test_curve_of_an_impossible_problem_is_an_answer():
    data = data_of("curve", IMPOSSIBLE, "--over", "sun")
    assert [(step["choice"], step["cost_from"]) for step in data["steps"]] == [(None, None)]
    assert "impossible" in fits(answered("curve", IMPOSSIBLE, "--over", "sun"))


def with_no_budget(folder):
    """The kit without its budget."""
    home = shipped_folder("problems")
    (folder / f"{KIT}_loads.csv").write_text((home / f"{KIT}_loads.csv").read_text())
    lines = (home / f"{KIT}.toml").read_text().splitlines()
    file = folder / "rich.toml"
    file.write_text("\n".join(line for line in lines if not line.startswith("budget")))
    return file


def test_why_not(solved, tmp_path):
    keys = {"part", "verdict", "rule", "shortfall", "cost_with", "enters_below_price"}
    used = solved["choice"]["bank"]["battery"]
    data = data_of("why-not", KIT, used)
    assert set(data) >= keys
    assert (data["verdict"], data["cost_with"]) == ("chosen", solved["cost"]["total"])
    assert "chosen" in fits(answered("why-not", KIT, used))
    other = "PV-100-36"
    data = data_of("why-not", KIT, other)
    assert (data["verdict"], data["rule"], data["cost_with"]) == ("screened out", "budget", None)
    assert "at most 220 asked" in " ".join(fits(answered("why-not", KIT, other)).split())
    rich = with_no_budget(tmp_path)
    data = data_of("why-not", rich, other)
    assert data["verdict"] == "beaten"
    assert data["cost_with"] > solved["cost"]["total"] == data["cost"]
    assert 0 <= data["enters_below_price"] < data["price"]
    text = fits(answered("why-not", rich, other))
    assert "With it" in text
    assert f"at {data['enters_below_price']:,.2f} USD a piece or less" in " ".join(text.split())
    data = data_of("why-not", IMPOSSIBLE, other)
    assert (data["verdict"], data["cost_with"], data["enters_below_price"]) == ("screened out", None, None)


def test_diff(tmp_path, solved):
    (tmp_path / "a.json").write_text(json.dumps(solved))
    other = json.loads(json.dumps(solved))
    other["bill"][0]["quantity"] += 1
    other["bill"][0]["price"] += 10
    other["cost"]["total"] += 10
    (tmp_path / "b.json").write_text(json.dumps(other))
    data = data_of("diff", tmp_path / "a.json", tmp_path / "a.json")
    assert not any(data[key] for key in ("added", "removed", "changed", "became_binding", "no_longer_binding"))
    assert "Nothing changed." in answered("diff", tmp_path / "a.json", tmp_path / "a.json")
    data = data_of("diff", tmp_path / "a.json", tmp_path / "b.json")
    (line,) = data["changed"]
    assert set(line) >= CHANGE
    assert line["part"] == solved["bill"][0]["part"]
    assert "+10.00" in fits(answered("diff", tmp_path / "a.json", tmp_path / "b.json"))


@pytest.mark.parametrize(("arguments", "code", "said"), [
    (["versus", KIT], 2, "--by"), (["versus", KIT, "--by", "colour"], 2, "colour"), (["curve", KIT, "--over", "wind"], 2, "price:PART"),
    (["curve", KIT, "--over", "sun", "--csv", "--json"], 2, "use one of them"), (["curve", KIT, "--over", "price:PV-100-3"], 3, "PV-100-36"),
    (["why-not", KIT, "PV-100-3"], 3, "PV-100-36"), (["cost-of", "no_such_site"], 3, "no_such_site"),
    (["diff", "none.json", "neither.json"], 3, "neither.json"),
])
def test_wrong_use_and_wrong_files(arguments, code, said):
    result = run(*arguments)
    assert result.exit_code == code
    assert said in result.stderr
    assert "Traceback" not in result.stderr
    assert not result.stdout


@pytest.mark.parametrize("name", ["versus", "cost-of", "curve", "why-not", "diff"])
def test_help_ends_with_an_example_and_names_the_common_options(name):
    text = answered(name, "--help")
    assert text.rstrip().splitlines()[-1].strip().startswith(f"Example: bankstring {name} ")
    assert "--catalog" in text
    assert "--json" in text


def test_progress_goes_to_stderr():
    result = run("versus", KIT, "--by", "voltage", "--json")
    assert "1 of " in result.stderr
    json.loads(result.stdout)


def test_an_answer_stopped_before_proof_has_its_own_exit_code(monkeypatch):
    from dataclasses import replace

    from optimizer.answer import Outcome, solve
    from optimizer.questions import why_not

    monkeypatch.setattr(why_not, "solve", lambda *given: replace(solve(*given), outcome=Outcome.FEASIBLE))
    result = run("why-not", KIT, "PV-100-36")
    assert result.exit_code == 5
    assert "stopped before proof" in " ".join(result.stdout.split())
