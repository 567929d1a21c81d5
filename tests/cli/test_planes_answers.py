"""A site with two roofs in answers: choice and check, sun and replay, and what is refused."""

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
from optimizer.needs.daylight import MEAN_DAY, sunset_rad
from optimizer.needs.sunlight import EAST_WEST_BIAS, by_plane, monthly_sun_h, plane_hours_w_m2
from optimizer.needs.synthetic import hour_shares, hour_shares_on_plane, skies_of, sky_of
from optimizer.proof.lived import weather_year
from optimizer.questions.replay import replay
from optimizer.rules.sunlight import monthly_mean_sun_h

DATA = Path(pvlib.__file__).parent / "data"
HOURS = np.arange(24) + 0.5


@pytest.fixture(scope="module")
def problem():
    return load_problem(shipped_folder("problems") / "gable_house.toml")


@pytest.fixture(scope="module")
def answer(problem):
    return solve(problem, load_catalog())


def test_the_house_uses_both_roofs_and_its_choice_passes_the_check(problem, answer):
    assert {one.plane for one in answer.choice.charging} == {"east roof", "west roof"}
    report = check(answer.choice, problem, load_catalog())
    assert report.valid
    assert report.bill.total_cents == answer.report.bill.total_cents
    assert {line.where for line in report.lines if line.rule == "array-rectangles"} == {"plane 'east roof'", "plane 'west roof'"}


def test_the_harvest_is_that_of_each_plane(answer):
    """hand: the same array on both roofs gives in proportion to the sun where no limit binds, less the controllers' own use."""
    whole = answer.report.whole
    east, west = (facts.harvest_wh for facts in whole.facts)
    needs = whole.needs
    assert needs.planes == ("east roof", "west roof")
    assert west / east == pytest.approx(needs.plane_sun_h[1] / needs.plane_sun_h[0])
    watts = np.array([block.array_w for block in answer.report.design.blocks])
    mean = watts / watts.sum() @ needs.plane_sun_h
    assert [month.sun_h for month in answer.report.months] == pytest.approx(mean.tolist())


def test_everything_on_one_roof_is_too_much_for_it(problem, answer):
    moved = answer.choice.model_copy(update={"charging": tuple(one.model_copy(update={"plane": "east roof"}) for one in answer.choice.charging)})
    report = check(moved, problem, load_catalog())
    line = next(one for one in report.lines if one.rule == "array-rectangles" and one.where == "plane 'east roof'")
    assert (line.required, line.passed) == (4.0, line.actual >= 4.0)
    assert next(one for one in report.lines if one.rule == "array-rectangles" and one.where == "plane 'west roof'").required == 0


@pytest.mark.parametrize(("plane", "words"), [
    ("north roof", "choice: charging 1: plane 'north roof' is not a plane of the problem (east roof, west roof)"),
    (None, "choice: charging 1: plane is required: one of east roof, west roof"),
])
def test_a_choice_names_planes_of_the_problem(problem, answer, plane, words):
    first, *rest = answer.choice.charging
    wrong = answer.choice.model_copy(update={"charging": (first.model_copy(update={"plane": plane}), *rest)})
    with pytest.raises(InputError) as bad:
        check(wrong, problem, load_catalog())
    assert bad.value.problems == [words]


def test_answers_name_planes_and_only_where_there_are_some(run):
    told = json.loads(run("solve", "gable_house", "--json").out)
    assert [one["plane"] for one in told["choice"]["charging"]] == ["east roof", "west roof"]
    assert told["plane"] is None
    assert [(one["name"], one["azimuth_deg"]) for one in told["planes"]] == [("east roof", 90), ("west roof", 270)]
    plain = json.loads(run("solve", "light_kit", "--json").out)
    assert "planes" not in plain
    assert "plane" not in plain["choice"]["charging"][0]
    words = " ".join(run("solve", "gable_house").out.split())
    assert "on plane 'east roof'" in words
    assert "west roof: monthly means on the horizontal, tilt 35 deg, azimuth 270 deg" in words


def test_sun_tells_each_plane(run):
    told = json.loads(run("sun", "gable_house", "--json").out)
    assert (told["tilt_deg"], [one["name"] for one in told["planes"]]) == (None, ["east roof", "west roof"])
    january = [one["months"][0]["sun_h"] for one in told["planes"]]
    assert january[1] == pytest.approx(0.8 * january[0])
    assert told["months"][0]["sun_h"] == pytest.approx(sum(january) / 2)
    assert EAST_WEST_BIAS.strip() in told["bias"]
    text = run("sun", "gable_house").out
    assert "Sun by month on plane 'east roof'" in text
    assert "Sun by month on plane 'west roof'" in text


# --- replay


def test_all_planes_share_the_same_days_and_each_has_its_own_sun(problem):
    years = skies_of(problem).plane_w_m2(300, np.random.default_rng(3))
    assert years.shape == (2, 300, 8760)
    days = years.reshape(2, 300, 365, 24).sum(axis=-1)
    for month, span in ((0, slice(0, 31)), (6, slice(181, 212))):
        for plane, one in enumerate(by_plane(problem)):
            expected = sky_of(one).day_wh_m2  # its mean is the problem's figure: held by the tests of the sky
            assert days[plane, :, span].mean() == pytest.approx(float(np.average(expected[month], weights=_normal())), rel=0.02)
        assert np.corrcoef(days[0, :, span].ravel(), days[1, :, span].ravel())[0, 1] > 0.99
    course = years.reshape(2, 300, 365, 24)[:, :, 181:212].mean(axis=(1, 2))
    east, west = course @ HOURS / course.sum(axis=1)
    assert east == pytest.approx(24 - west, abs=0.01)
    assert 10.5 < east < 11.2


def _normal():
    x = np.linspace(-6, 6, 2401)
    return np.exp(-(x**2) / 2)


def test_a_flat_plane_has_the_course_of_the_horizontal():
    for latitude, day in ((0, 17), (43, 162), (-35, 344), (60, 75)):
        sunset = float(sunset_rad(latitude, day))
        assert hour_shares_on_plane(latitude, day, 0.5, 0, 90) == pytest.approx(hour_shares(sunset))


def test_a_design_on_two_planes_is_lived_and_its_energy_adds_up(problem, answer):
    lived = replay(problem, load_catalog(), answer.choice, years=20)
    assert lived.figures.balance_error < 1e-9
    swapped = answer.choice.model_copy(update={
        "charging": tuple(
            one.model_copy(update={"plane": {"east roof": "west roof", "west roof": "east roof"}[one.plane]}) for one in answer.choice.charging
        ),
    })
    # hand: the same array on both roofs: to swap them changes nothing
    assert replay(problem, load_catalog(), swapped, years=20).figures.energy_kwh["array"] == pytest.approx(lived.figures.energy_kwh["array"])


def test_the_weather_files_own_year_is_lived_on_each_plane(problem):
    file = str(DATA / "723170TYA.CSV")
    array = problem.array.model_copy(update={"horizontal_kwh_m2": None, "weather_file": file})
    sun, air = weather_year(problem.model_copy(update={"array": array}))
    assert sun.shape == (2, 1, 8760)
    assert air.shape == (8760,)
    weather = load_weather(file)
    assert sun[0, 0] == pytest.approx(plane_hours_w_m2(weather, 35, 90, 0.2))


# --- measured: figures that docs/sunlight.md and docs/replay.md state


def test_how_far_monthly_means_are_off_to_the_east_and_west():
    off = []
    for name in ("12839.tm2", "723170TYA.CSV"):
        weather = load_weather(DATA / name)
        horizontal = weather.by_month(weather.ghi) * 24 / 1000
        for azimuth in (90, 270):
            off += list(monthly_mean_sun_h(horizontal, weather.latitude_deg, 35, azimuth, np.full(12, 0.2)) / monthly_sun_h(weather, 35, azimuth, 0.2) - 1)
    assert (round(100 * min(off)), round(100 * max(off))) == (-1, 10)


def test_how_far_the_course_of_the_day_is_off_to_the_east_and_west():
    off = []
    for name in ("12839.tm2", "723170TYA.CSV"):
        weather = load_weather(DATA / name)
        for month in (0, 5, 8):
            centre = {azimuth: _centre(weather, month, azimuth) for azimuth in (90, 180, 270)}
            for azimuth, side in ((90, -1), (270, 1)):
                made_up = hour_shares_on_plane(weather.latitude_deg, float(MEAN_DAY[month]), 0.55, 35, azimuth) @ HOURS - 12
                off.append(side * (made_up - (centre[azimuth] - centre[180])))
    assert min(off) == pytest.approx(-0.05, abs=0.03)
    assert max(off) == pytest.approx(0.25, abs=0.05)


def _centre(weather, month, azimuth):
    sun = plane_hours_w_m2(weather, 35, azimuth, 0.2)[weather.month == month].reshape(-1, 24).sum(axis=0)
    return sun @ HOURS / sun.sum()
