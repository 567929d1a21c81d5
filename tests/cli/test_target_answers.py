"""A problem with a loss-of-load limit at the command line: the section, figures in JSON and text, `check`, the requirement's ladder."""

from __future__ import annotations

import json
import shutil

import pytest

from optimizer import load_problem
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import Problem, Reliability
from optimizer.needs.requirements import NO_LIMIT, requirements

KEPT_H = 20
"""Hours a year that the cheapest light kit keeps in 100 years of seed 1 (19.4; pinned)."""


@pytest.fixture
def kit(tmp_path):
    """The shipped light kit with a limit of so many hours."""
    def write(section, site="light_kit"):
        shutil.copy(shipped_folder("problems") / f"{site}_loads.csv", tmp_path)
        path = tmp_path / "limited.toml"
        path.write_text((shipped_folder("problems") / f"{site}.toml").read_text(encoding="utf-8") + f"\n[reliability]\n{section}\n", encoding="utf-8")
        return path

    return write


def test_the_answer_carries_what_was_lived(run, kit, tmp_path):
    problem = kit(f"loss_of_load_hours_max = {KEPT_H}")
    ran = run("solve", problem, "--json")
    assert ran.code == 0
    answer = json.loads(ran.out)
    lived = answer["reliability"]
    assert (lived["rounds"], lived["years"], lived["seed"], lived["loss_of_load_hours_max"]) == (1, 100, 1, KEPT_H)
    assert lived["interval_95"][0] < lived["loss_of_load_hours"] < min(KEPT_H, lived["interval_95"][1])
    assert 0 < lived["unmet_fraction"] < 0.01
    assert lived["critical_loss_hours"] is None
    (line,) = (one for one in answer["checks"] if one["rule"] == "loss-of-load")
    assert (line["passed"], line["actual"], line["required"], line["unit"]) == (True, lived["loss_of_load_hours"], KEPT_H, "h")

    text = " ".join(run("solve", problem).out.split())
    assert f"Lived loads off {lived['loss_of_load_hours']:.3g} h a year (95 %:" in text
    assert f"{KEPT_H} h allowed" in text
    assert "100 synthetic years, seed 1" in text
    assert "Replayed 1 design on the way to this one" in text

    (tmp_path / "answer.json").write_text(ran.out, encoding="utf-8")
    checked = run("check", problem, tmp_path / "answer.json", "--json")
    assert checked.code == 0
    assert json.loads(checked.out)["reliability"]["loss_of_load_hours"] == lived["loss_of_load_hours"]
    replayed = json.loads(run("replay", problem, tmp_path / "answer.json", "--years", "100", "--json").out)
    assert replayed["loss_of_load_hours"] == lived["loss_of_load_hours"]

    tighter = kit("loss_of_load_hours_max = 10")
    refused = run("check", tighter, tmp_path / "answer.json")
    assert refused.code == 4
    assert "the choice breaks 1 rule." in refused.out
    assert "Loads are off no more hours a year than the site allows" in refused.out


def test_a_limit_that_no_design_keeps_is_said_so(run, kit):
    """The kit's budget buys no larger array."""
    ran = run("solve", kit("loss_of_load_hours_max = 5"), "--json")
    assert ran.code == 4
    answer = json.loads(ran.out)
    assert answer["outcome"] == "infeasible"
    assert answer["choice"] is None
    assert "loads off at most 5 h a year" in answer["reason"]
    assert answer["reliability"]["unmet_fraction"] is None


def test_without_the_section_nothing_is_said(run):
    answer = json.loads(run("solve", "light_kit", "--json").out)
    assert (answer["reliability"], answer["lived"]) == (None, None)
    assert "Lived" not in run("solve", "light_kit").out


def test_where_loads_have_hours_the_answer_tells_what_replay_tells(run):
    """The clinic's loads say when they run; it has no limit."""
    answer = json.loads(run("solve", "clinic", "--json").out)
    lived, replayed = answer["lived"], json.loads(run("replay", "clinic", "--years", "100", "--json").out)
    assert answer["reliability"] is None
    assert (lived["years"], lived["seed"], lived["weather"]) == (100, 1, "synthetic years")
    for key in ("unmet_fraction", "loss_of_load_hours", "interval_95"):
        assert lived[key] == pytest.approx(replayed[key], rel=1e-4)
    assert lived["critical_loss_hours"] <= lived["loss_of_load_hours"]


@pytest.mark.parametrize(("section", "words"), [
    ("years = 10", "reliability.loss_of_load_hours_max"),
    ("loss_of_load_hours_max = -1", "reliability.loss_of_load_hours_max"),
    ("loss_of_load_hours_max = 9000", "reliability.loss_of_load_hours_max"),
    ("loss_of_load_hours_max = 5\nyears = 0", "reliability.years"),
    ("loss_of_load_hours_max = 5\nround_max = 5", "rounds_max"),
])
def test_errors_name_the_key(kit, section, words):
    with pytest.raises(InputError) as bad:
        load_problem(kit(section))
    assert words in "\n".join(bad.value.problems)


def test_sections_that_do_not_agree_are_refused(kit):
    with pytest.raises(InputError, match="no load is critical"):
        load_problem(kit("loss_of_load_hours_max = 5\ncritical_only = true"))
    with pytest.raises(InputError, match="a plan is not held to a loss-of-load limit"):
        load_problem(kit("loss_of_load_hours_max = 5", "market_stall"))


def test_beside_another_source_the_limit_is_doubted(kit):
    problem = load_problem(kit("loss_of_load_hours_max = 5", "camper"))
    assert any(text.startswith("reliability: the alternator carries whatever is missing") for text in problem.doubts())


def test_the_limit_is_a_requirement_with_a_ladder(kit):
    problem = load_problem(kit("loss_of_load_hours_max = 6"))
    (one,) = (one for one in requirements(problem) if one.name == "reliability.loss_of_load_hours_max")
    assert (one.now, one.looser, one.tighter, one.without) == (6, (12, 60, NO_LIMIT), (3,), NO_LIMIT)
    assert one.with_value(12).reliability == Reliability(loss_of_load_hours_max=12)
    assert isinstance(one.with_value(NO_LIMIT), Problem)
    assert one.with_value(NO_LIMIT).reliability is None
    assert all(one.name != "reliability.loss_of_load_hours_max" for one in requirements(one.with_value(NO_LIMIT)))
