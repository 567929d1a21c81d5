"""`bankstring replay`: every shipped site, text and JSON, a given choice, seeds, a site without a design."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pvlib
import pytest

from optimizer import load_problem
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs.sunlight import sun_on_plane
from optimizer.questions import replay as question
from optimizer.questions.replay import interval_95, replay, share_interval_95

STATION = Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"
SITES = sorted(path.stem for path in shipped_folder("problems").glob("*.toml"))

CONTRACT = {"years", "unmet_fraction", "loss_of_load_hours", "interval_95", "soc_by_month", "generator_h", "balance_error"}


@pytest.fixture
def solved(monkeypatch, answer_of):
    """Sites are solved once for all tests."""
    names = {load_problem(shipped_folder("problems") / f"{site}.toml").name: site for site in SITES}
    monkeypatch.setattr(question, "solve", lambda problem, _catalog: answer_of(names[problem.name]))


def test_every_site_replays_or_says_why_not(run, solved, site, answer_of):
    ran = run("replay", site, "--years", "3", "--json")
    found = json.loads(ran.out)
    assert ran.code == 0
    assert set(found) >= CONTRACT
    if answer_of(site).report is None:
        assert found["choice"] is None
        assert found["unmet_fraction"] is None
        assert found["reason"]
        return
    assert found["years"] == 3
    assert found["balance_error"] < 1e-9
    assert 0 <= found["unmet_fraction"] < 0.05, "a checked design carries nearly all"
    assert [month["month"] for month in found["soc_by_month"]][:2] == ["Jan", "Feb"]
    assert all(0 <= month["lowest"] <= month["mean"] <= 1 for month in found["soc_by_month"])
    assert 0 <= found["interval_95"][0] <= found["loss_of_load_hours"] <= found["interval_95"][1]
    energy = found["energy_kwh"]
    assert energy["served"] + energy["unmet"] + energy["waiting"] == pytest.approx(energy["load"], rel=1e-6)
    if answer_of(site).problem.site.other_source != "none":
        assert found["unmet_fraction"] == 0
        assert found["generator_h"] is None or found["generator_h"] > 0
    else:
        assert (found["generator_h"], found["other_source_kwh"]) == (0, 0)


def test_the_text_says_the_same(run, solved):
    text = run("replay", "clinic", "--years", "4").out
    found = json.loads(run("replay", "clinic", "--years", "4", "--json").out)
    assert "Clinic, general loads: 4 synthetic years, seed 1" in text
    assert f"{100 * found['unmet_fraction']:.2g} % of the loads' energy" in text
    assert f"{found['loss_of_load_hours']:,.3g} h a year (95 %: " in " ".join(text.split())
    assert f"{found['worst_fortnight']['first']} to {found['worst_fortnight']['last']}" in " ".join(text.split())
    assert all(len(line) <= 79 for line in text.splitlines())
    assert "Cautions for this design" in text
    assert "preliminary" in text


def test_an_other_source_carries_what_is_missing(run, solved):
    text = " ".join(run("replay", "year_round_home", "--years", "3").out.split())
    assert "Source the generator carries" in text
    assert "h a year at the charging current of the inverters" in text
    assert "Load off" not in text


def test_a_site_without_a_design_is_answered(run):
    ran = run("replay", "coast_house")
    assert ran.code == 0
    assert ran.out.startswith("Coast house: nothing to replay.\nimpossible. ")


def test_a_choice_is_lived_as_it_is(run, tmp_path, solved, answer_of):
    choice = answer_of("light_kit").choice.model_dump(mode="json")
    (tmp_path / "mine.json").write_text(json.dumps(choice))
    given = json.loads(run("replay", "light_kit", "mine.json", "--years", "3", "--json").out)
    found = json.loads(run("replay", "light_kit", "--years", "3", "--json").out)
    assert (given["outcome"], found["outcome"]) == ("choice", "optimal")
    assert all(given[key] == found[key] for key in CONTRACT)
    choice["charging"][0]["strings"] += 1
    (tmp_path / "more.json").write_text(json.dumps(choice))
    more = json.loads(run("replay", "light_kit", "more.json", "--years", "3", "--json").out)
    assert more["unmet_fraction"] <= given["unmet_fraction"]
    assert more["surplus_kwh"] > given["surplus_kwh"]
    if not more["valid"]:
        assert "`bankstring check` says which" in " ".join(run("replay", "light_kit", "more.json", "--years", "1").out.split())


def test_a_choice_that_is_none_exits_3(run, tmp_path):
    (tmp_path / "mine.json").write_text('{"bank": {}}')
    ran = run("replay", "light_kit", "mine.json")
    assert ran.code == 3
    assert "mine.json" in ran.err


def test_a_battery_that_its_table_does_not_know_so_cold_exits_3(run, tmp_path, answer_of):
    (tmp_path / "mine.json").write_text(json.dumps(answer_of("light_kit").choice.model_dump(mode="json")))
    folder = shipped_folder("problems")
    text = re.sub(r"(?m)^battery_c = .*$", "battery_c = -55", (folder / "light_kit.toml").read_text(encoding="utf-8"))
    (tmp_path / "cold.toml").write_text(text, encoding="utf-8")
    (tmp_path / "light_kit_loads.csv").write_text((folder / "light_kit_loads.csv").read_text(encoding="utf-8"), encoding="utf-8")
    ran = run("replay", "cold.toml", "mine.json", "--years", "1")
    assert ran.code == 3
    assert "mine.json: battery temperature -55" in ran.err


def test_a_bank_that_could_freeze_is_said(run, solved, monkeypatch):
    """River lodge has lead-acid: with an electrolyte that freezes early, the months in which it is drawn that far are named."""
    calm = run("replay", "river_lodge", "--years", "2").out
    assert "Ice" not in calm
    monkeypatch.setattr(question, "freezing_depth", lambda *_: 0.3)
    text = " ".join(run("replay", "river_lodge", "--years", "2").out.split())
    assert "Ice - Jan: charge fell to" in text
    assert "below 70 % the electrolyte freezes" in text
    found = json.loads(run("replay", "river_lodge", "--years", "2", "--json").out)
    assert {month["freezes_below"] for month in found["soc_by_month"]} <= {None, 0.7}


def test_seeds_and_years(run, solved):
    one, again, other, more = (
        json.loads(run("replay", "light_kit", "--json", *words).out)
        for words in (("--years", "2"), ("--years", "2"), ("--years", "2", "--seed", "2"), ("--years", "1"))
    )
    assert one == again
    assert one["surplus_kwh"] != other["surplus_kwh"]
    assert more["interval_95"] is None
    assert run("replay", "light_kit", "--years", "0").code == 2


def test_a_new_bank_carries_no_less(run, solved):
    old, new = (json.loads(run("replay", "light_kit", "--years", "5", "--json", *words).out) for words in ((), ("--new",)))
    assert (old["bank"], new["bank"]) == ("end of life", "new")
    assert old["unmet_fraction"] > 0
    assert new["unmet_fraction"] < old["unmet_fraction"]


def test_chunks_of_years_are_put_together(monkeypatch, solved, catalog):
    """Years in several chunks give the figures that come from adding the chunks up by hand."""
    problem = load_problem(shipped_folder("problems") / "light_kit.toml")
    monkeypatch.setattr(question, "CHUNK", 2)
    told = []
    whole = replay(problem, catalog, years=4, progress=told.append).figures
    first = replay(problem, catalog, years=2).figures
    assert told[-1] == "years 3 to 4 of 4"
    assert whole.worst.missing_wh >= first.worst.missing_wh
    assert min(month.lowest for month in whole.charge) <= min(month.lowest for month in first.charge)
    assert whole.energy_kwh["load"] == pytest.approx(first.energy_kwh["load"])
    assert whole.loss_of_load_hours != first.loss_of_load_hours


def test_the_year_of_a_weather_file_is_lived(catalog):
    """A problem that names a weather file is lived through its own year; its sun of a month is that of the monthly table, shade taken off."""
    problem = load_problem(shipped_folder("problems") / "light_kit.toml")
    array = problem.array.model_copy(update={"sun_h": None, "weather_file": str(STATION), "tilt_deg": 36.0, "shade": (0.9,) * 12})
    problem = problem.model_copy(update={"array": array})
    plane, air = question.weather_year(problem)
    assert plane.shape == (1, 8760)
    assert air.mean() == pytest.approx(14.4, abs=0.1)  # computed with pvlib from the file, tests of sunlight
    january = plane[0, : 31 * 24].sum() / 31 / 1000
    assert january == pytest.approx(0.9 * sun_on_plane(problem).sun_h[0], rel=1e-9)
    found = replay(problem, catalog, years=50)
    assert (found.years, found.weather) == (1, question.FROM_FILE)
    assert found.figures.interval_95 is None


def test_intervals():
    # hand: mean 2, standard deviation 2.01 over 100 years, 1.96 x 0.201 to either side; published: Wilson (1927), 0 of 100, from memory 3.7 %.
    assert interval_95(np.array([0.0, 4.0] * 50)) == pytest.approx((2 - 0.394, 2 + 0.394), abs=0.001)
    assert share_interval_95(0, 100) == pytest.approx((0, 0.037), abs=0.001)
    assert share_interval_95(50, 100) == pytest.approx((0.404, 0.596), abs=0.001)
