"""The years that a design is held against, and how often its loads would have been off in them."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from optimizer.circuits.wiring import Wiring
from optimizer.design import Design
from optimizer.inputs.problem import Problem, Reliability
from optimizer.needs.daylight import MONTH_OF_DAY
from optimizer.needs.hours import hour_loads
from optimizer.needs.site import Needs
from optimizer.needs.sunlight import (
    azimuth_of,
    by_plane,
    left_by_month,
    plane_hours_w_m2,
    sun_on_plane,
    weather_of,
)
from optimizer.needs.synthetic import air_hours_c, sky_of
from optimizer.proof.plant import plant_of
from optimizer.proof.replay import Lived, live
from optimizer.rules.sunlight import effective_sun_h

NORMAL_95 = 1.96
"""Standard errors to either side of a mean that hold it in 95 of 100 cases."""


@dataclass(frozen=True)
class Years:
    """Weather that is lived: plane irradiance [W/m2], shape (years, 8760), and air [C]; `seed` is None for a weather file's year."""

    sun_w_m2: np.ndarray
    air_c: np.ndarray
    seed: int | None

    @property
    def count(self) -> int:
        """How many years."""
        return len(self.sun_w_m2)


@dataclass(frozen=True)
class Loss:
    """What a design left unmet: shares of the energy, and means of the hours a year in which something was off [h]."""

    years: int
    seed: int | None
    unmet_fraction: float
    loss_of_load_hours: float
    interval_95: tuple[float, float] | None
    """None for a single year."""
    critical_unmet_fraction: float | None
    """None where no load is critical; likewise the hours."""
    critical_loss_hours: float | None
    critical_interval_95: tuple[float, float] | None

    def hours(self, *, critical_only: bool) -> float:
        """The hours that a limit speaks of [h]."""
        return (self.critical_loss_hours or 0.0) if critical_only else self.loss_of_load_hours


def weather_year(problem: Problem) -> tuple[np.ndarray, np.ndarray] | None:
    """The year of the weather file that a problem names: plane irradiance, shape (1, 8760), or with [[planes]] (planes, 1, 8760), and air;
    None where it names none.
    """
    if problem.planes:
        years = [weather_year(one) for one in by_plane(problem)]
        there = [year for year in years if year is not None]
        return (np.array([sun for sun, _ in there]), there[0][1]) if there else None
    weather, sun, azimuth = weather_of(problem), sun_on_plane(problem), azimuth_of(problem)
    if weather is None:
        return None
    tilts = [tilt for month in range(12) if (tilt := sun.tilt_in(month)) is not None]
    assert len(tilts) == 12, "a problem with a weather file was refused without a tilt"
    assert azimuth is not None, "there is one where the sun on the plane is calculated"
    plane = plane_hours_w_m2(weather, tilts, azimuth, problem.array.albedo_by_month)
    share = np.repeat(left_by_month(problem)[MONTH_OF_DAY], 24)
    return np.asarray(effective_sun_h(plane, share))[None, :], np.asarray(weather.air_c)


USUAL = Reliability(loss_of_load_hours_max=8760)
"""Years that are lived where a problem has hours and no limit."""


def has_hours(problem: Problem) -> bool:
    """Whether a problem says more than days: when a load runs, or the weather of every hour."""
    return any(load.runs is not None for load in problem.loads) or weather_of(problem) is not None


def years_of(problem: Problem) -> Years:
    """The years that the problem's limit speaks of: those that `replay` makes up from the same seed, or the weather file's own."""
    asked = problem.reliability or USUAL
    own_year = weather_year(problem)
    if own_year is not None:
        return Years(*own_year, None)
    sun = sky_of(problem).plane_w_m2(asked.years, np.random.default_rng([asked.seed, 0]))
    return Years(sun, air_hours_c(problem.temperatures.air_c), asked.seed)


def loss_of(design: Design, needs: Needs, wiring: Wiring, years: Years | None = None) -> Loss:
    """Live a design, its bank at the end of its life, through the years of the problem's limit.

    years: where they are known already.
    Raises OutOfRange where its battery leaves its capacity table.
    """
    years = years or years_of(needs.problem)
    return loss_in(live(plant_of(needs, design, wiring, hour_loads(needs)), years.sun_w_m2, years.air_c), years.seed)


def loss_in(lived: Lived, seed: int | None) -> Loss:
    """What some years came to."""
    year = lived.year
    load, critical = float(year["load_wh"].sum()), float(year["critical_wh"].sum())
    return Loss(
        len(year["load_wh"]), seed, float(year["unmet_wh"].sum()) / load if load else 0.0, float(year["short_h"].mean()), interval_95(year["short_h"]),
        float(year["critical_unmet_wh"].sum()) / critical if critical else None, float(year["critical_short_h"].mean()) if critical else None,
        interval_95(year["critical_short_h"]) if critical else None,
    )


def interval_95(yearly: np.ndarray) -> tuple[float, float] | None:
    """Interval that holds the long-run mean of a yearly figure in 95 of 100 cases; None for one year.

    By the central limit theorem, so it wants some dozens of years in which anything happened; never below 0.
    >>> [round(end, 2) for end in interval_95(np.array([0.0, 4.0] * 50))]
    [1.61, 2.39]
    """
    if len(yearly) < 2:
        return None
    mean, reach = float(yearly.mean()), NORMAL_95 * float(yearly.std(ddof=1)) / math.sqrt(len(yearly))
    return max(0.0, mean - reach), mean + reach
