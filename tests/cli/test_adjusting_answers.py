"""An array that is set anew through the year, in answers: what is chosen, told and checked, the sun of it, and its years hour by hour."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pvlib
import pytest

from optimizer import check, load_catalog, load_problem, solve
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.weather import load_weather
from optimizer.needs.clear_sky import ceiling_sun_h
from optimizer.needs.daylight import MONTH_OF_DAY
from optimizer.needs.positions import all_year, ways_to_set
from optimizer.needs.sunlight import (
    at_tilt,
    at_tilts,
    monthly_sun_h,
    on_one_plane,
    on_tilt,
    plane_hours_w_m2,
    sun_on_plane,
    with_sun_percent,
)
from optimizer.needs.synthetic import sky_of
from optimizer.proof.lived import weather_year
from optimizer.questions.replay import replay

CATALOG = load_catalog()
STATION = load_problem(shipped_folder("problems") / "bird_station.toml")
PLAN = (75.0,) * 3 + (30.0,) * 6 + (75.0,) * 3


def allowing(changes, tilts="best"):
    """The station with its array set anew at most so many times a year."""
    return STATION.model_copy(update={"array": STATION.array.model_copy(update={"adjustments_per_year": changes, "tilt_deg": tilts})})


@pytest.fixture(scope="module")
def answer(answer_of):
    return answer_of("bird_station")


def test_the_station_saves_by_setting_its_array_anew(answer):
    """pinned: 4,990.09 with two positions; no tilt that stays does as well."""
    assert answer.outcome.value == "optimal"
    assert answer.choice.tilt_deg_by_month == PLAN
    stays = solve(allowing(0), CATALOG, explain=False)
    saved = stays.report.bill.total_cents - answer.report.bill.total_cents
    assert (answer.report.bill.total_cents, saved) == (499009, 6500)
    taken = answer.report.prices.mounts.pieces(answer.report.design)
    assert all(CATALOG.by_id[mount].adjustable for mount in taken)


def test_its_choice_passes_the_check_and_stands_on_no_single_tilt(answer):
    report = check(answer.choice.model_dump(mode="json"), STATION, CATALOG)
    assert report.valid
    assert report.bill == answer.report.bill
    assert report.months == answer.report.months
    for tilt in (30.0, 45.0, 60.0, 75.0):
        alone = answer.choice.model_copy(update={"tilt_deg": tilt, "tilt_deg_by_month": None})
        assert "monthly-balance" in {line.rule for line in check(alone, STATION, CATALOG).failures}, tilt


@pytest.mark.parametrize(("changed", "rules"), [
    ({"adjustable": False}, {"mount-adjustable"}), ({"tilt_min_deg": 31.0}, {"mount-tilt"}), ({"tilt_max_deg": 74.0}, {"mount-tilt"}),
])
def test_every_tilt_of_the_year_is_held_against_the_mounts(answer, changed, rules):
    from dataclasses import replace

    catalog = replace(CATALOG, mounts=tuple(one.model_copy(update=changed) if one.id == "MT-GROUND-2J" else one for one in CATALOG.mounts))
    charging = tuple(one.model_copy(update={"mounts": {"MT-GROUND-2J": 1}}) for one in answer.choice.charging)
    report = check(answer.choice.model_copy(update={"charging": charging}), STATION, catalog)
    assert {line.rule for line in report.failures} == rules


@pytest.mark.parametrize(("tilts", "said"), [
    ((75.0, 30.0) * 6, "changes 12 times a year, the problem allows 2"), ((33.0,) * 6 + (75.0,) * 6, "33 is not a tilt of the problem"),
])
def test_a_choice_beyond_what_was_agreed_is_refused(answer, tilts, said):
    with pytest.raises(InputError, match=said):
        check(answer.choice.model_copy(update={"tilt_deg_by_month": tilts}), STATION, CATALOG)
    with pytest.raises(InputError, match="adjustments_per_year"):
        check(answer.choice, allowing(0), CATALOG)


def test_a_settled_plan_costs_what_the_answer_costs(answer):
    settled = at_tilts(STATION, PLAN)
    report = solve(settled, CATALOG, explain=False).report
    assert report.bill.objective_cents == answer.report.bill.objective_cents
    assert check(answer.choice, settled, CATALOG).valid


def test_the_answer_says_the_positions_and_when(run, answer):
    text = run("solve", "bird_station").out
    assert "Set anew   2 times a year: at the beginning of Apr to 30 deg" in text
    assert "set anew 2 times a year, at the beginning of the months" in " ".join(text.split())
    data = json.loads(run("solve", "bird_station", "--json").out)
    assert data["choice"]["tilt_deg_by_month"] == list(PLAN)
    assert "tilt_deg" not in data["choice"]
    assert data["plane"]["tilt_deg"] is None
    assert data["plane"]["positions"][0] == {"tilt_deg": 30.0, "months": ["Apr", "May", "Jun", "Jul", "Aug", "Sep"]}
    sheet = next(one for one in data["schedules"]["settings"] if one["as"].startswith("mounts"))
    assert sheet["settings"] == {"from the beginning of Apr [deg]": 30.0, "from the beginning of Oct [deg]": 75.0}
    assert {one["rule"] for one in sheet["agrees"]} == {"mount-tilt", "mount-adjustable"}


def test_a_plan_that_only_some_months_stand_has_a_reason():
    heavy = STATION.model_copy(update={"loads": tuple(one.model_copy(update={"watts": 40 * one.watts}) for one in STATION.loads)})
    answer = solve(heavy, CATALOG)
    assert answer.outcome.value == "infeasible"
    assert answer.report is None
    assert answer.reason


# --- the sun of it


def test_the_sun_of_a_month_is_that_of_its_tilt():
    plane = sun_on_plane(at_tilts(STATION, PLAN))
    each = {tilt: on_tilt(STATION, tilt).sun_h for tilt in set(PLAN)}
    assert plane.sun_h == tuple(each[tilt][month] for month, tilt in enumerate(PLAN))
    assert (plane.tilt_deg, plane.tilt_deg_by_month) == (None, PLAN)
    ceiling = ceiling_sun_h(STATION, plane)
    assert ceiling is not None
    assert [ceiling[month] for month in (0, 6)] == [ceiling_sun_h(STATION, on_tilt(STATION, tilt))[month] for month, tilt in ((0, 75.0), (6, 30.0))]


def test_sun_prints_the_best_positions(run):
    data = json.loads(run("sun", "bird_station", "--json").out)
    two, four = data["adjusted"]
    by_tilt = {one["tilt_deg"]: one["sun_h"] for one in data["tilts"]}
    fixed = min(by_tilt[data["best_tilt_deg"]])
    assert two["weakest_sun_h"] == min(two["sun_h"]) >= fixed
    assert two["gain_share"] == pytest.approx(min(two["sun_h"]) / fixed - 1)
    assert four["year_gain_share"] >= two["year_gain_share"] > 0
    # hand: no pair of tilts with one run of months each has as much in the weakest month and more in all
    best = max(
        (min(hours := [by_tilt[a if month in run_ else b][month] for month in range(12)]), sum(hours))
        for a in by_tilt for b in by_tilt for run_ in [{(first + n) % 12 for n in range(long)} for first in range(12) for long in range(1, 12)]
    )
    assert (min(two["sun_h"]), sum(two["sun_h"])) == pytest.approx(best, abs=1e-9)
    assert "Set 2 x" in run("sun", "bird_station").out


def test_ways_hold_every_undominated_one():
    """Random suns: no way of all, listed one by one, beats every way that is kept in some month without another kept one being as good everywhere."""
    from itertools import product

    rng = np.random.default_rng(3)
    for _ in range(12):
        sun = rng.uniform(0.5, 5.0, (3, 5))
        for changes in (2, 3, 4):
            kept = sun[ways_to_set(sun, changes), np.arange(5)]
            for way in product(range(3), repeat=5):
                if sum(way[at] != way[at - 1] for at in range(5)) <= changes:
                    mine = sun[list(way), np.arange(5)]
                    assert (kept >= mine).all(axis=1).any()
            listed = ways_to_set(sun, changes)
            assert max(sum(way[at] != way[at - 1] for at in range(5)) for way in listed.tolist()) <= changes


def test_months_without_loads_keep_the_tilt():
    """hand: of months 2, 5 and 9 the last stands until 2 comes round again."""
    assert all_year(np.array([[1, 2, 3]]), (2, 5, 9)).tolist() == [[3, 3, 1, 1, 1, 2, 2, 2, 2, 3, 3, 3]]


def test_the_sun_by_percent_keeps_the_positions():
    settled = on_one_plane(STATION)
    assert len(settled.array.positions_deg) == 2
    half = with_sun_percent(STATION, 50.0)
    assert half.array.tilt_deg_by_month == settled.array.tilt_deg_by_month
    assert half.array.sun_h == pytest.approx([hours / 2 for hours in sun_on_plane(settled).sun_h])


def test_a_weather_file_is_lived_on_the_tilt_of_each_month():
    """By pvlib hour by hour: in each month the plane of its tilt, and nothing of the other."""
    file = str(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV")
    weather = load_weather(file)
    tilted = plane_hours_w_m2(weather, PLAN, 180.0, 0.2)
    steep, flat = (plane_hours_w_m2(weather, tilt, 180.0, 0.2) for tilt in (75.0, 30.0))
    winter = np.isin(weather.month, [0, 1, 2, 9, 10, 11])
    assert np.array_equal(tilted, np.where(winter, steep, flat))
    array = STATION.array.model_copy(update={"horizontal_kwh_m2": None, "weather_file": file, "tilt_deg": None, "tilt_deg_by_month": PLAN, "adjustments_per_year": 0})
    problem = STATION.model_copy(update={"array": array})
    year, _ = weather_year(problem)
    sun = sun_on_plane(problem)
    assert sun.sun_h[6] == pytest.approx(monthly_sun_h(weather, 30.0, 180.0, 0.2)[6])
    in_july = year[0][np.repeat(MONTH_OF_DAY, 24) == 6].sum() / 31 / 1000
    assert in_july == pytest.approx(sun.sun_h[6])


def test_replay_lives_each_month_on_its_tilt(answer):
    """The sky of the plan is, month by month, that of the month's tilt alone."""
    year = sky_of(at_tilts(STATION, PLAN))
    for month, tilt in ((0, 75.0), (6, 30.0)):
        alone = sky_of(at_tilt(STATION, tilt))
        assert year.clearness[month] == alone.clearness[month]
        assert np.array_equal(year.day_wh_m2[month], alone.day_wh_m2[month])
    lived = replay(STATION, CATALOG, answer.choice, years=2)
    assert lived.problem.array.tilt_deg_by_month == PLAN


def test_a_choice_that_names_no_tilt_is_held_against_the_one_with_most_sun_in_the_weakest_month(answer):
    report = check(answer.choice.model_copy(update={"tilt_deg_by_month": None}), STATION, CATALOG)
    settled = on_one_plane(STATION).array
    assert report.whole.needs.problem.array.tilt_deg_by_month == settled.tilt_deg_by_month
    assert "mount-parts" in {line.rule for line in report.failures}  # 80 degrees: no mount of the catalog that can be set anew reaches them
    open_tilt = STATION.model_copy(update={"array": STATION.array.model_copy(update={"adjustments_per_year": 0, "tilt_deg": (40.0, 60.0)})})
    assert check(answer.choice.model_copy(update={"tilt_deg_by_month": None}), open_tilt, CATALOG).whole.needs.problem.array.tilt_deg == 60.0
