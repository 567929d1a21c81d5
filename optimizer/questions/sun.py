"""How much sun the array gets: by month on its plane, by tilt, under a sky without clouds; temperatures; where each is from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from optimizer.inputs.array import GRID_DEG
from optimizer.inputs.problem import Problem
from optimizer.needs.clear_sky import ceiling_sun_h, doubts
from optimizer.needs.demand import Demand
from optimizer.needs.sunlight import (
    PlaneSun,
    azimuth_of,
    best_first,
    best_tilts,
    bias_words,
    by_plane,
    left_by_month,
    on_tilt,
    plane_names,
    planes,
    sun_hours_that_count,
    sun_on_plane,
    weather_of,
)

GIVEN = "given in the problem file"


@dataclass(frozen=True)
class TiltSun:
    """Sun hours that count on one tilt."""

    tilt_deg: float
    sun_h: tuple[float, ...]
    weakest: int
    """Month of use with the least sun, 0 is January."""
    tried: bool
    """Whether `solve` looks for a design on it."""

    @property
    def weakest_h(self) -> float:
        """Sun hours of the weakest month of use [h/day]."""
        return self.sun_h[self.weakest]


@dataclass(frozen=True)
class AdjustedSun:
    """Sun hours that count on an array that is set anew so many times a year: the way with most in its weakest month of use."""

    changes: int
    tilt_deg_by_month: tuple[float, ...]
    sun_h: tuple[float, ...]
    weakest: int
    """Month of use with the least sun, 0 is January."""
    gain_share: float
    """More sun in the weakest month of use than on the best tilt all year, as a share of that."""
    year_gain_share: float
    """More sun in all months of use than on the best tilt all year, as a share of that."""

    @property
    def weakest_h(self) -> float:
        """Sun hours of the weakest month of use [h/day]."""
        return self.sun_h[self.weakest]


@dataclass(frozen=True)
class Sun:
    """The sun of a problem on one plane. `counts` is what is left of the plane's sun after shade, snow and monthly soiling."""

    problem: Problem
    """The problem as this plane sees it."""
    name: str | None
    """Name of the plane, where the problem has [[planes]]."""
    plane: PlaneSun
    azimuth_deg: float | None
    counts: tuple[float, ...]
    left: tuple[float, ...]
    ceiling: tuple[float, ...] | None
    months_of_use: tuple[int, ...]
    tilts: tuple[TiltSun, ...]
    adjusted: tuple[AdjustedSun, ...]
    """Two and four positions a year, where more than one plane is known."""
    origins: Mapping[str, str]
    warnings: tuple[str, ...]
    bias: str

    @property
    def best(self) -> TiltSun | None:
        """The tilt with most sun in its weakest month of use; None where only one plane is known."""
        if not self.tilts:
            return None
        months = list(self.months_of_use) or list(range(12))
        first = best_first({one.tilt_deg: np.array(one.sun_h)[months] for one in self.tilts})[0]
        return next(one for one in self.tilts if one.tilt_deg == first)

    @property
    def method(self) -> str:
        """How the sun on the plane was found: given, monthly means, or hourly."""
        return {"sun_h": "given", "horizontal_kwh_m2": "monthly means", "weather_file": "hourly"}[self.problem.array.sun_way]


def sun(problem: Problem) -> tuple[Sun, ...]:
    """How much sun each plane gets; one where the problem has no [[planes]]. What is said of the whole problem stands with each."""
    warnings = [text for text in problem.doubts() if text.startswith(("array.", "planes"))] + list(doubts(problem))
    return tuple(_sun(one, name, warnings, bias_words(problem)) for name, one in zip(plane_names(problem), by_plane(problem), strict=True))


def _sun(problem: Problem, name: str | None, warnings: list[str], bias: str) -> Sun:
    array, plane = problem.array, sun_on_plane(problem)
    months = Demand(problem).months_of_use
    tilts = () if array.sun_h is not None or name is not None else _by_tilt(problem, months)
    return Sun(
        problem=problem, name=name, plane=plane, azimuth_deg=azimuth_of(problem), counts=_hours(sun_hours_that_count(problem, plane)),
        left=_hours(left_by_month(problem)), ceiling=ceiling_sun_h(problem, plane), months_of_use=months,
        tilts=tilts, adjusted=_adjusted(problem, months, tilts), origins=_origins(problem, plane), warnings=tuple(warnings),
        bias=bias,
    )


def _hours(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(one) for one in values)


def _by_tilt(problem: Problem, months: tuple[int, ...]) -> tuple[TiltSun, ...]:
    tried = planes(problem)
    rows = []
    for tilt in sorted({*GRID_DEG, *problem.array.tilts}):
        hours = _hours(sun_hours_that_count(problem, on_tilt(problem, tilt)))
        weakest = min(months or range(12), key=lambda month, hours=hours: hours[month])
        rows.append(TiltSun(tilt, hours, weakest, tilt in tried))
    return tuple(rows)


def _adjusted(problem: Problem, months: tuple[int, ...], tilts: tuple[TiltSun, ...]) -> tuple[AdjustedSun, ...]:
    """The best way to set the array two and four times a year, of the tilts that are shown."""
    use, each = list(months or range(12)), {one.tilt_deg: one.sun_h for one in tilts}
    found = []
    for changes in (2, 4) if len(tilts) > 1 and len(use) >= 2 else ():
        by_month = best_tilts(problem, list(each), changes)
        fixed = np.array(each[best_tilts(problem, list(each), 0)[0]])[use]
        hours = tuple(each[tilt][month] for month, tilt in enumerate(by_month))
        weakest = use[int(np.argmin([hours[month] for month in use]))]
        pairs = ((hours[weakest], fixed.min()), (sum(hours[month] for month in use), fixed.sum()))
        found.append(AdjustedSun(changes, by_month, hours, weakest, *(float(new / old - 1) if old > 0 else 0.0 for new, old in pairs)))
    return tuple(found)


def _origins(problem: Problem, plane: PlaneSun) -> dict[str, str]:
    """Where each figure comes from, by its key."""
    found = {"sun_h": plane.origin}
    array, weather = problem.array, weather_of(problem)
    if array.adjustments_per_year:
        found["tilt_deg"] = "of the ways to set the array through the year, that with most sun in the weakest month of use"
    elif array.tilt_is_open:
        found["tilt_deg"] = "of the tilts to try, that with most sun in the weakest month of use"
    if array.sun_h is None and array.azimuth_deg is None:
        found["azimuth_deg"] = "towards the equator"
    if weather is not None:
        found["place"] = f"latitude {weather.latitude_deg:g}, longitude {weather.longitude_deg:g}, {weather.elevation_m:g} m, from {weather.name}"
    for key in ("lowest_c", "hottest_c", "air_c"):
        found[key] = problem.temperatures.origins.get(key, GIVEN)
    return found
