"""Made-up years against published geometry, published statistics of days, a measured station, and the problem's own figures.

Marks as in test_published.py: *published*, *hand*, *computed* (with the named library and file), *from memory*.
"""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pvlib
import pytest
from pvlib.iotools import read_tmy3
from scipy.stats import norm

from optimizer import load_problem
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs import daylight, synthetic
from optimizer.needs.daylight import DAYS, MEAN_DAY, MONTH_OF_DAY

PUBLISHED = Path(__file__).parent.parent / "published"
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def rows(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def site(name):
    return load_problem(shipped_folder("problems") / f"{name}.toml")


@pytest.fixture(scope="module")
def years():
    """2,000 years of a temperate site, as days on the plane [kWh/m2]."""
    problem = site("year_round_home")
    sky = synthetic.sky_of(problem)
    normal = sky.normal_days(2000, np.random.default_rng(7))
    return problem, sky, normal, sky.plane_days_wh_m2(normal) / 1000


# --- geometry


def test_light_above_the_air():
    # published: Duffie & Beckman (2013), Table 1.10.1 (second-hand); 0.3 MJ is what Cooper's declination leaves.
    for row in rows("daylight_above_the_air.csv"):
        told = [float(row[month]) for month in MONTHS]
        found = daylight.above_the_air_wh_m2(float(row["latitude_deg"]), MEAN_DAY) * 0.0036
        assert found == pytest.approx(told, abs=0.3), row["latitude_deg"]


def test_declination_is_that_of_an_open_library():
    # computed: pvlib, declination_cooper69.
    days = np.arange(1, 366)
    assert daylight.declination_rad(days) == pytest.approx(pvlib.solarposition.declination_cooper69(days), abs=1e-9)


def test_light_on_a_tilted_plane():
    # published: Duffie & Beckman (2013), Example 2.19.1 (second-hand), with its own ground month by month.
    for row, day in zip(rows("daylight_tilted_example.csv"), MEAN_DAY, strict=True):
        horizontal, above = float(row["horizontal_mj"]), float(row["above_mj"])
        sunset = float(daylight.sunset_rad(43, day))
        diffuse = synthetic.monthly_diffuse_share(horizontal / above, sunset)
        beam = daylight.beam_ratio(43, 60, 180, float(day))
        ratio = synthetic.plane_ratio(diffuse, beam, 60) + (float(row["ground"]) - synthetic.GROUND) * (1 - math.cos(math.radians(60))) / 2
        assert horizontal * ratio == pytest.approx(float(row["plane_mj"]), abs=0.12), row["month"]


def test_clearness_is_found_back_from_the_plane():
    # published: the same example, turned round; months with the ordinary ground.
    for row, day in zip(rows("daylight_tilted_example.csv"), MEAN_DAY, strict=True):
        if float(row["ground"]) == synthetic.GROUND:
            above = float(row["above_mj"]) / 0.0036
            found = synthetic.clearness_from_plane(
                float(row["plane_mj"]) / 0.0036, above, daylight.beam_ratio(43, 60, 180, float(day)), 60, float(daylight.sunset_rad(43, day)),
            )
            assert found == pytest.approx(float(row["horizontal_mj"]) / float(row["above_mj"]), abs=0.006), row["month"]


@pytest.mark.parametrize("latitude", [0, 25, 45, 60])
def test_hours_of_a_day_follow_light_above_the_air(latitude):
    """The published profile is light above the air times a + b cos w, and adds up to a day by itself."""
    # published: Collares-Pereira and Rabl (1979) say so of their formula (from memory); 1.5 % is what it leaves here.
    for day in (17, 105, 198, 288):
        sunset = float(daylight.sunset_rad(latitude, day))
        w = np.radians(np.arange(-180, 180, 0.25) + 0.125)
        above = np.maximum(np.sin(np.radians(latitude)) * np.sin(daylight.declination_rad(day)) + np.cos(np.radians(latitude)) * np.cos(daylight.declination_rad(day)) * np.cos(w), 0)
        a, b = 0.409 + 0.5016 * math.sin(sunset - math.pi / 3), 0.6609 - 0.4767 * math.sin(sunset - math.pi / 3)
        course = above / above.sum() * (a + b * np.cos(w))
        assert course.sum() == pytest.approx(1, abs=0.015)
        assert synthetic.hour_shares(sunset) == pytest.approx(course.reshape(24, 60).sum(axis=1) / course.sum(), abs=0.002)


def test_a_day_adds_up_and_is_bright_at_noon():
    for month in range(12):
        shares = synthetic.sky_of(site("winter_hut")).hour_share[month]
        assert shares.sum() == pytest.approx(1, abs=1e-12)
        assert shares.argmax() in (11, 12)


# --- distribution of days


@pytest.mark.parametrize("mean", [0.3, 0.4, 0.5, 0.6, 0.7])
def test_the_distribution_has_its_mean_and_its_ends(mean):
    # hand: mean over equal shares of probability.
    middle = (np.arange(200_000) + 0.5) / 200_000
    days = synthetic.clearness_at(middle, mean)
    assert days.mean() == pytest.approx(mean, abs=1e-6)
    assert synthetic.clearness_at(np.array([0.0, 1.0]), mean) == pytest.approx([0.05, float(synthetic.greatest_clearness(mean))])


@pytest.mark.parametrize("mean", [0.3, 0.4, 0.5, 0.6, 0.7])
def test_gamma_agrees_with_a_published_fit(mean):
    # from memory: Herzog (1985), gamma = -1.498 + (1.184 x - 27.182 exp(-1.5 x)) / (Kmax - Kmin), x = (Kmax - Kmin) / (Kmax - K).
    width = float(synthetic.greatest_clearness(mean)) - synthetic.LEAST_CLEARNESS
    x = width / (float(synthetic.greatest_clearness(mean)) - mean)
    assert synthetic.steepness(mean) == pytest.approx(-1.498 + (1.184 * x - 27.182 * math.exp(-1.5 * x)) / width, abs=0.25)


def test_days_remember_the_day_before(years):
    # published: Graham, Hollands and Huget (1988), lag-one autocorrelation 0.29 (second-hand).
    _, _, normal, _ = years
    assert normal.mean() == pytest.approx(0, abs=0.01)
    assert normal.std() == pytest.approx(1, abs=0.01)
    lag = np.mean(normal[:, 1:] * normal[:, :-1])
    assert lag == pytest.approx(0.29, abs=4 / math.sqrt(normal.size))
    assert np.mean(normal[:, 2:] * normal[:, :-2]) == pytest.approx(0.29**2, abs=4 / math.sqrt(normal.size))


def test_made_up_days_have_the_published_distribution(years):
    """Shares of days below given levels of energy are those that the distribution says."""
    _, sky, _, days = years
    for month in (0, 6):
        found = days[:, month == MONTH_OF_DAY].ravel()
        for probability in (0.1, 0.25, 0.5, 0.75, 0.9):
            level = np.interp(norm.ppf(probability), synthetic.NORMAL, sky.day_wh_m2[month]) / 1000
            assert (found < level).mean() == pytest.approx(probability, abs=0.01)


def measured_days():
    """Daily clearness of a station, mean by month, from the open weather file of the installed pvlib."""
    table, _ = read_tmy3(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", coerce_year=1990, map_variables=True)
    ground, above = (table[name].to_numpy().reshape(DAYS, 24).sum(axis=1) for name in ("ghi", "ghi_extra"))
    means = np.array([ground[month == MONTH_OF_DAY].sum() / above[month == MONTH_OF_DAY].sum() for month in range(12)])
    return ground / above, means


def test_a_measured_station_remembers_and_varies_alike():
    """One station proves little, but it would show a wrong bound, a wrong memory, or too little spread."""
    # computed: pvlib 0.16.1, 723170TYA.CSV: lag-one 0.32; spread of days 0.153 measured, 0.191 made up, so the made-up
    # days are the rougher ones; no measured day is clearer than the distribution's clearest.
    days, means = measured_days()
    grid = np.linspace(0, 1, 2001)
    normal, made_up, measured = np.empty(DAYS), [], []
    for month, mean in enumerate(means):
        here = month == MONTH_OF_DAY
        levels = synthetic.clearness_at(grid, mean)
        normal[here] = norm.ppf(np.clip(np.interp(days[here], levels, grid), 0.005, 0.995))
        made_up.append(levels.std())
        measured.append(days[here].std())
        assert days[here].max() < synthetic.greatest_clearness(mean)
        assert days[here].min() > synthetic.LEAST_CLEARNESS
    assert np.corrcoef(normal[:-1], normal[1:])[0, 1] == pytest.approx(0.29, abs=0.1)
    assert 1.0 <= np.mean(made_up) / np.mean(measured) <= 1.35


# --- the problem's own figures


def test_long_run_monthly_means_are_those_of_the_problem(years):
    problem, _, _, days = years
    for month, wanted in enumerate(problem.array.sun_h):
        found = days[:, month == MONTH_OF_DAY].mean()
        assert found == pytest.approx(wanted * problem.array.shade[month], rel=0.01)


def test_every_two_hundred_years_lie_within_three_standard_errors(years):
    problem, _, _, days = years
    outside = 0
    for month, wanted in enumerate(problem.array.sun_h):
        monthly = days[:, month == MONTH_OF_DAY].mean(axis=1).reshape(10, 200)
        errors = np.abs(monthly.mean(axis=1) - wanted * problem.array.shade[month]) / (monthly.std(axis=1, ddof=1) / math.sqrt(200))
        outside += int((errors > 3).sum())
    assert outside == 0


def test_same_seed_same_years_however_many():
    sky = synthetic.sky_of(site("light_kit"))
    few, many = (sky.plane_w_m2(count, np.random.default_rng(5)) for count in (3, 6))
    assert few.shape == (3, 8760)
    assert np.array_equal(few, many[:3])
    assert not np.array_equal(few, sky.plane_w_m2(3, np.random.default_rng(6)))


def test_hours_add_up_to_days():
    sky = synthetic.sky_of(site("weekend_cabin"))
    hours = sky.plane_w_m2(2, np.random.default_rng(3))
    days = sky.plane_days_wh_m2(sky.normal_days(2, np.random.default_rng(3)))
    assert hours.reshape(2, DAYS, 24).sum(axis=2) == pytest.approx(days)
    assert hours.min() >= 0


def test_dull_days_lose_more_on_a_steep_winter_plane():
    """Diffuse light does not gain by the tilt: the dullest winter day lies further below its mean on a steep plane."""
    problem = site("year_round_home")
    steep, flat = (
        synthetic.sky_of(problem.model_copy(update={"array": problem.array.model_copy(update={"tilt_deg": tilt})})) for tilt in (70.0, 0.0)
    )
    dull = int(np.searchsorted(synthetic.NORMAL, -1.5))
    share = [sky.day_wh_m2[11][dull] / (problem.array.sun_h[11] * 1000) for sky in (steep, flat)]
    assert share[0] < share[1]


def test_what_is_unknown_is_said():
    problem = site("light_kit")
    unknown = problem.model_copy(update={"site": problem.site.model_copy(update={"latitude_deg": None})})
    assert any("latitude unknown" in text for text in synthetic.sky_of(unknown).assumed)
    assert synthetic.sky_of(problem).assumed == ()


def test_air_averages_to_its_monthly_mean():
    air = synthetic.air_hours_c(tuple(range(12)))
    for month in range(12):
        assert air.reshape(DAYS, 24)[month == MONTH_OF_DAY].mean() == pytest.approx(month, abs=1e-9)
    assert air.reshape(DAYS, 24)[0].argmax() in (14, 15)
