"""Made-up years against a measured one, in what counts: what designs make of them.

The station is the open weather file of the installed pvlib (723170TYA.CSV), turned onto a tilted plane by pvlib. Designs are
solved for its monthly means, then lived through its own hours and through made-up years around the same means.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pvlib
import pytest
from pvlib.iotools import read_tmy3

from optimizer import load_catalog, load_problem, solve
from optimizer.bill import PriceList
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs.daylight import DAYS, HOURS, MONTH_OF_DAY
from optimizer.needs.hours import hour_loads
from optimizer.needs.synthetic import air_hours_c, sky_of
from optimizer.proof.plant import plant_of
from optimizer.proof.replay import live

TILT = 36.1


@cache
def station():
    """Plane irradiance [W/m2] and air [C] of each hour, and the latitude."""
    table, place = read_tmy3(Path(pvlib.__file__).parent / "data" / "723170TYA.CSV", coerce_year=1990, map_variables=True)
    sun = pvlib.solarposition.get_solarposition(table.index - np.timedelta64(30, "m"), place["latitude"], place["longitude"])
    plane = pvlib.irradiance.get_total_irradiance(
        TILT, 180, sun["apparent_zenith"].to_numpy(), sun["azimuth"].to_numpy(), *(table[name].to_numpy() for name in ("dni", "ghi", "dhi")), albedo=0.2,
    )["poa_global"]
    return np.maximum(np.nan_to_num(plane), 0), table["temp_air"].to_numpy(), place["latitude"]


def by_month(hours):
    """Mean over the days of each month of what a day adds up to."""
    days = hours.reshape(DAYS, 24).sum(axis=1)
    return tuple(float(days[month == MONTH_OF_DAY].mean()) for month in range(12))


def test_the_station_is_on_its_plane_as_the_references_say():
    # computed with pvlib 0.16.1, isotropic sky, mid-hour sun.
    plane, _, _ = station()
    assert [total / 1000 for total in by_month(plane)] == pytest.approx([3.43, 4.09, 4.85, 5.48, 5.25, 5.60, 5.53, 5.45, 4.80, 4.41, 3.40, 3.45], abs=0.02)


@pytest.mark.parametrize("name", ["hill_school", "clinic", "light_kit", "year_round_home"])
def test_a_measured_year_is_one_of_the_made_up_ones(name):
    # computed: unmet 0.70, 0.45, 1.70, 0.98 % in the measured year; 0.74, 0.58, 2.46, 1.29 % in the mean of 300 made-up ones;
    # mean charge of a month apart by 0.11 at most. Made-up years are the harder ones, see test_synthetic_weather.py.
    plane, air, latitude = station()
    problem = load_problem(shipped_folder("problems") / f"{name}.toml")
    changes = {
        "site": {"latitude_deg": latitude, "other_source": "none"}, "temperatures": {"air_c": tuple(mean / 24 for mean in by_month(air))},
        "array": {"sun_h": tuple(total / 1000 for total in by_month(plane)), "shade": (1.0,) * 12, "tilt_deg": TILT, "azimuth_deg": 180.0},
    }
    problem = problem.model_copy(update={section: getattr(problem, section).model_copy(update=values) for section, values in changes.items()})
    answer = solve(problem, load_catalog(), explain=False)
    needs = answer.report.whole.needs
    plant = plant_of(needs, answer.report.design, PriceList(answer.problem, answer.catalog).wiring, hour_loads(needs))
    measured = live(plant, plane.reshape(1, HOURS), air)
    made_up = live(plant, sky_of(problem).plane_w_m2(300, np.random.default_rng(1)), air_hours_c(problem.temperatures.air_c))
    unmet, all_unmet = (lived.year["unmet_wh"] / lived.year["load_wh"] for lived in (measured, made_up))
    assert np.quantile(all_unmet, 0.025) <= unmet[0] <= np.quantile(all_unmet, 0.975)
    assert measured.year["array_wh"][0] == pytest.approx(made_up.year["array_wh"].mean(), rel=0.01)
    assert measured.year["discharged_wh"][0] == pytest.approx(made_up.year["discharged_wh"].mean(), rel=0.03)
    for month in range(12):
        here = month == MONTH_OF_DAY
        assert measured.mean_charge[here].mean() == pytest.approx(made_up.mean_charge[here].mean(), abs=0.13), month
