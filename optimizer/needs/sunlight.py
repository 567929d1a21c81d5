"""Sun by month on the array's plane: as the problem gives it, from monthly means on the horizontal, or from a weather file.

Geometry, sky and ground of the hourly method are pvlib's, which is imported only where a weather file is read; the monthly-mean
method stands in `rules/sunlight.py`. A problem with several tilts keeps one plane a design: `planes` says which to try.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.inputs.planes import array_on, mounting_on
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.demand import Demand
from optimizer.needs.positions import all_year, most_in_the_weakest, positions, ways_to_set
from optimizer.rules.sunlight import (
    LOW_NOON_DEG,
    MEAN_DAYS,
    declination_deg,
    effective_sun_h,
    extraterrestrial_kwh_m2,
    monthly_mean_sun_h,
    noon_height_deg,
)

if TYPE_CHECKING:
    from optimizer.inputs.weather import Weather

MODEL = "haydavies"
"""Sky of the hourly method: a bright ring around the sun and an even rest; Hay & Davies 1980, as pvlib has it."""

MONTHLY_BIAS = (
    "Sun on the plane from monthly means, with an even sky. Against hourly sums in three places, tilt = latitude (docs/sunlight.md), it was 2 % low "
    "to 3 % high at 26 N, 3 % low to 5 % high at 36 N, and 7 % low to 23 % high at cloudy 55 N, highest in January. "
    "The error is largest in the months that size an array: where an hourly weather file exists, use it."
)

EAST_WEST_BIAS = " On planes of 35 deg to the east and to the west it was 1 % low to 10 % high at 26 and 36 N."


@dataclass(frozen=True)
class PlaneSun:
    """Twelve monthly sun hours on one plane, before shade, snow and soiling, with words on where they come from."""

    sun_h: tuple[float, ...]
    origin: str
    tilt_deg: float | None
    """None where it is not known, or not the same in every month."""
    tilt_deg_by_month: tuple[float, ...] | None = None
    """Tilts of an array that is set anew through the year."""

    def tilt_in(self, month: int) -> float | None:
        """Tilt in a month, 0 is January; None where it is not known [deg]."""
        return self.tilt_deg if self.tilt_deg_by_month is None else self.tilt_deg_by_month[month]


# --- the hourly method


@contextmanager
def quiet() -> Iterator[None]:
    """Without the warnings that pvlib sets off in a newer pandas: they are for its authors."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        warnings.simplefilter("ignore", FutureWarning)
        yield


@lru_cache(maxsize=8)
def _sky(weather: Weather) -> dict[str, Any]:
    """Where the sun stands each hour, and what reaches the edge of the air."""
    with quiet():
        from pvlib import atmosphere, irradiance, solarposition

        times = weather.sun_times
        sun = solarposition.get_solarposition(times, weather.latitude_deg, weather.longitude_deg, weather.elevation_m)
        zenith = sun["apparent_zenith"].to_numpy()
        return {
            "zenith": zenith, "azimuth": sun["azimuth"].to_numpy(), "extra": irradiance.get_extra_radiation(times).to_numpy(),
            "air_mass": atmosphere.get_relative_airmass(zenith),
        }


def plane_hours_w_m2(
    weather: Weather, tilt_deg: float | Sequence[float], azimuth_deg: float, albedo: float | Sequence[float], model: str = MODEL,
) -> np.ndarray:
    """Sun on a plane in each hour of a weather file [W/m2], shape (8760,).

    tilt_deg: one tilt, or twelve by month
    albedo: one share, or twelve by month
    model: sky by pvlib: "isotropic", "haydavies" or "perez"
    """
    sky = _sky(weather)
    tilt, ground = (np.broadcast_to(np.asarray(one, dtype=float), (12,))[weather.month] for one in (tilt_deg, albedo))
    with quiet():
        from pvlib.irradiance import get_total_irradiance

        total = get_total_irradiance(
            tilt, azimuth_deg, sky["zenith"], sky["azimuth"], weather.dni, weather.ghi, weather.dhi, dni_extra=sky["extra"],
            airmass=sky["air_mass"], albedo=ground, model=model,
        )
    # At night the air mass is not a number, and a model that needs it gives none: there is no sun then.
    on_plane: np.ndarray = np.asarray(total["poa_global"], dtype=float)
    return np.where(on_plane > 0, on_plane, 0.0)


def monthly_sun_h(weather: Weather, tilt_deg: float, azimuth_deg: float, albedo: float | Sequence[float], model: str = MODEL) -> np.ndarray:
    """Mean sun hours of a day in each month [h/day], shape (12,)."""
    return weather.by_month(plane_hours_w_m2(weather, tilt_deg, azimuth_deg, albedo, model)) * 24 / 1000


@lru_cache(maxsize=4096)
def _monthly_sun_h(weather: Weather, tilt_deg: float, azimuth_deg: float, albedo: tuple[float, ...]) -> tuple[float, ...]:
    return tuple(float(hours) for hours in monthly_sun_h(weather, tilt_deg, azimuth_deg, albedo))


@lru_cache(maxsize=4096)
def _from_monthly_means(
    horizontal_kwh_m2: tuple[float, ...], latitude_deg: float, tilt_deg: float, azimuth_deg: float, albedo: tuple[float, ...],
) -> tuple[float, ...]:
    means = monthly_mean_sun_h(np.array(horizontal_kwh_m2), latitude_deg, tilt_deg, azimuth_deg, np.array(albedo))
    return tuple(float(hours) for hours in means)


# --- the site's own sun


def weather_of(problem: Problem) -> Weather | None:
    """The weather file of the problem; None where it names none."""
    if problem.array.weather_file is None:
        return None
    from optimizer.inputs.weather import load_weather

    return load_weather(problem.array.weather_file)


def latitude_of(problem: Problem) -> float | None:
    """Latitude of the site, or that of its weather file; None where neither is known [deg]."""
    weather = weather_of(problem)
    return problem.site.latitude_deg if weather is None else weather.latitude_deg


def azimuth_of(problem: Problem) -> float | None:
    """Azimuth of the array; towards the equator where the sun on its plane is calculated and none is given [deg]."""
    if problem.array.azimuth_deg is not None or problem.array.sun_h is not None:
        return problem.array.azimuth_deg
    return 180.0 if (latitude_of(problem) or 0.0) >= 0 else 0.0


def on_tilt(problem: Problem, tilt_deg: float) -> PlaneSun:
    """Sun on the plane of one tilt, for a problem that gives it on the horizontal or in a weather file."""
    hours = _hours_on(problem, tilt_deg)
    return PlaneSun(hours, _origin(problem, f"tilt {tilt_deg:g} deg"), tilt_deg)


def on_tilts(problem: Problem, tilt_deg_by_month: Sequence[float]) -> PlaneSun:
    """Sun on an array that is set anew through the year: in each month that of the month's tilt."""
    tilts = tuple(float(tilt) for tilt in tilt_deg_by_month)
    each = {tilt: _hours_on(problem, tilt) for tilt in set(tilts)}
    words = "tilt " + ", ".join(one.words for one in positions(tilts))
    return PlaneSun(tuple(each[tilt][month] for month, tilt in enumerate(tilts)), _origin(problem, words), None, tilts)


def _origin(problem: Problem, tilt: str) -> str:
    plane = f"{tilt}, azimuth {azimuth_of(problem):g} deg"
    weather = weather_of(problem)
    if weather is not None:
        return f"hourly from {Path(weather.name).name}, {plane}, Hay-Davies sky"
    return f"monthly means on the horizontal, {plane}, even (isotropic) sky"


def _hours_on(problem: Problem, tilt_deg: float) -> tuple[float, ...]:
    """Twelve sun hours on the plane of one tilt [h/day]."""
    array, azimuth = problem.array, azimuth_of(problem)
    assert azimuth is not None, "there is one where the sun on the plane is calculated"
    weather = weather_of(problem)
    if weather is not None:
        return _monthly_sun_h(weather, tilt_deg, azimuth, array.albedo_by_month)
    assert array.horizontal_kwh_m2 is not None, "one of three ways is given"
    assert problem.site.latitude_deg is not None, "the problem was refused without a latitude"
    try:
        return _from_monthly_means(array.horizontal_kwh_m2, problem.site.latitude_deg, tilt_deg, azimuth, array.albedo_by_month)
    except OutOfRange as bad:
        raise OutOfRange(f"array.horizontal_kwh_m2: {_out_of_range(problem)}{bad}; a weather_file, or sun_h on the plane, has no such limit, and 0 is the cautious figure") from None


def bias_words(problem: Problem) -> str:
    """How far the sun on the plane may be off, where it was calculated from monthly means; nothing where it was not."""
    return "" if problem.array.horizontal_kwh_m2 is None else MONTHLY_BIAS + (EAST_WEST_BIAS if problem.planes else "")


def _out_of_range(problem: Problem) -> str:
    """Months outside the method's range: too cloudy, too clear, or the sun too low."""
    horizontal, above = np.array(problem.array.horizontal_kwh_m2), extraterrestrial_kwh_m2(problem.site.latitude_deg, np.array(MEAN_DAYS))
    noon_deg = noon_height_deg(problem.site.latitude_deg, declination_deg(np.array(MEAN_DAYS)))
    inside = (horizontal >= 0.3 * above) & (horizontal <= 0.8 * above) & (noon_deg >= LOW_NOON_DEG)
    out = [MONTHS[at] for at in range(12) if horizontal[at] > 0 and not inside[at]]
    return f"{', '.join(out)}: " if out else ""


def sun_on_plane(problem: Problem) -> PlaneSun:
    """Sun on the array's plane, whichever way the problem gives it. Where its tilt is open, that with most sun in the weakest month of use."""
    array = on_one_plane(problem).array
    if array.sun_h is not None:
        return PlaneSun(array.sun_h, "given on the plane of the array", next(iter(array.tilts), None), array.tilt_deg_by_month)
    return on_tilts(problem, array.tilt_deg_by_month) if array.tilt_deg_by_month is not None else on_tilt(problem, array.tilts[0])


def plane_names(problem: Problem) -> tuple[str | None, ...]:
    """Names of the planes that arrays may lie on; one without a name where the problem has no [[planes]]."""
    return tuple(plane.name for plane in problem.planes) or (None,)


def by_plane(problem: Problem) -> tuple[Problem, ...]:
    """The problem as each of its planes sees it, as if there were no other; the problem itself where it names none."""
    return tuple(
        problem.model_copy(update={"array": array_on(problem.array, plane), "mounting": mounting_on(problem.mounting, plane), "planes": ()})
        for plane in problem.planes
    ) or (problem,)


def left_by_month(problem: Problem) -> np.ndarray:
    """Share of the sun that shade, snow and monthly soiling leave, shape (12,)."""
    array = problem.array
    left: np.ndarray = np.array(array.shade) * np.array(array.snow)
    return left if array.soiling_by_month is None else np.asarray(left * np.array(array.soiling_by_month))


def sun_hours_that_count(problem: Problem, sun: PlaneSun | None = None) -> np.ndarray:
    """Twelve sun hours on the plane after shade, snow and monthly soiling; of several planes the mean [h/day]."""
    if problem.planes:
        return np.asarray(np.mean([sun_hours_that_count(one) for one in by_plane(problem)], axis=0))
    return np.asarray(effective_sun_h(np.array((sun or sun_on_plane(problem)).sun_h), left_by_month(problem)))


def with_sun_percent(problem: Problem, percent: float) -> Problem:
    """The problem with so much of its sun on each of its planes, as `sun_h`; an open tilt is that with most sun in the weakest month of use."""
    scaled = [tuple(min(14.0, hours * percent / 100) for hours in sun_on_plane(one).sun_h) for one in by_plane(problem)]
    array, given = problem.array, {"horizontal_kwh_m2": None, "weather_file": None}
    if problem.planes:
        planes = tuple(plane.model_copy(update={"sun_h": sun_h}) for plane, sun_h in zip(on_one_plane(problem).planes, scaled, strict=True))
        return problem.model_copy(update={"planes": planes, "array": array.model_copy(update=given)})
    if array.sun_h is None:
        array = on_one_plane(problem).array.model_copy(update={**given, "azimuth_deg": azimuth_of(problem)})
    return problem.model_copy(update={"array": array.model_copy(update={"sun_h": scaled[0]})})


# --- several tilts


def best_first(sun: Mapping[float, np.ndarray]) -> tuple[float, ...]:
    """Tilts in order: most sun in the weakest of some months first, of equals most in the next weakest, of equals the lowest.

    sun: sun hours in these months by tilt [h/day]
    """
    return tuple(sorted(sun, key=lambda tilt: ([-round(hours, 9) for hours in sorted(sun[tilt].tolist())], tilt)))


def _best_first(problem: Problem) -> tuple[float, ...]:
    """The tilts of the problem, that with most sun in the weakest month of use first."""
    tilts = problem.array.tilts
    if len(tilts) < 2:
        return tilts
    months = list(Demand(problem).months_of_use) or list(range(12))
    return best_first({tilt: sun_hours_that_count(problem, on_tilt(problem, tilt))[months] for tilt in tilts})


def at_tilt(problem: Problem, tilt_deg: float) -> Problem:
    """The problem on one of its planes."""
    return problem.model_copy(update={"array": problem.array.model_copy(update={"tilt_deg": tilt_deg, "adjustments_per_year": 0})})


def at_tilts(problem: Problem, tilt_deg_by_month: Sequence[float]) -> Problem:
    """The problem with its array set through the year, or on one plane where the tilt never changes."""
    tilts = tuple(float(tilt) for tilt in tilt_deg_by_month)
    if len(set(tilts)) == 1:
        return at_tilt(problem, tilts[0])
    return problem.model_copy(update={
        "array": problem.array.model_copy(update={"tilt_deg": None, "tilt_deg_by_month": tilts, "adjustments_per_year": 0}),
    })


def at_best_of(problem: Problem, tilts_deg: Sequence[float]) -> Problem:
    """The problem of one plane that has in each month the sun of the best of some tilts there: none of them has more in any month."""
    most = np.max([on_tilt(problem, tilt).sun_h for tilt in tilts_deg], axis=0)
    given = {"horizontal_kwh_m2": None, "weather_file": None, "azimuth_deg": azimuth_of(problem)}
    return problem.model_copy(update={"array": at_tilt(problem, tilts_deg[0]).array.model_copy(update={**given, "sun_h": tuple(most.tolist())})})


def on_one_plane(problem: Problem) -> Problem:
    """The problem with its array as it gets most sun in the weakest month of use, where it leaves the tilt open."""
    array = problem.array
    if problem.planes:
        return on_tilts_of_planes(problem, {name: on_one_plane(one).array.tilts[0] for name, one in open_planes(problem).items()})
    if not array.tilt_is_open:
        return problem
    if not array.adjustments_per_year:
        return at_tilt(problem, _best_first(problem)[0])
    return at_tilts(problem, best_tilts(problem, array.tilts, array.adjustments_per_year))


def best_tilts(problem: Problem, tilts: Sequence[float], changes: int) -> tuple[float, ...]:
    """The way to set an array at most so many times a year with most sun in the weakest month of use: a tilt for each month [deg].

    Of equals, for a tilt that stays the one with most in the next weakest, for several the ones with most in all months of use.
    """
    months = list(Demand(problem).months_of_use) or list(range(12))
    sun = np.array([sun_hours_that_count(problem, on_tilt(problem, tilt)) for tilt in tilts])[:, months]
    ways = np.concatenate([ways_to_set(sun, most) for most in dict.fromkeys((0, min(2, changes), changes))])
    got = sun[ways, np.arange(len(months))]
    best = ways[most_in_the_weakest(got if changes < 2 else np.column_stack([got.min(axis=1), got.sum(axis=1)]))]
    return tuple(float(tilt) for tilt in all_year(np.array(tilts)[best][None, :], months)[0])


def on_tilts_of_planes(problem: Problem, tilts_deg: Mapping[str, float]) -> Problem:
    """The problem with some of its planes on one tilt each, by their names."""
    planes = tuple(plane.model_copy(update={"tilt_deg": float(tilts_deg[plane.name])}) if plane.name in tilts_deg else plane for plane in problem.planes)
    return problem.model_copy(update={"planes": planes})


def open_planes(problem: Problem) -> dict[str, Problem]:
    """Planes whose tilt the design chooses, each with the problem as it sees it."""
    each = zip(problem.planes, by_plane(problem), strict=True) if problem.planes else ()
    return {plane.name: one for plane, one in each if one.array.tilt_is_open}


class SetUp(Protocol):
    """How a choice sets the array up."""

    @property
    def tilt_deg(self) -> float | None:
        """One tilt, where the problem leaves it open."""

    @property
    def tilt_deg_by_month(self) -> Sequence[float] | None:
        """Twelve tilts, where the array is set anew through the year."""

    @property
    def tilt_deg_by_plane(self) -> Mapping[str, float]:
        """Tilts of planes that leave theirs open."""


def with_tilt(problem: Problem, choice: SetUp) -> Problem:
    """The problem with its array set as a choice says; as it is where the choice names no tilt."""
    if choice.tilt_deg_by_plane:
        return on_tilts_of_planes(problem, choice.tilt_deg_by_plane)
    if choice.tilt_deg_by_month is not None:
        return at_tilts(problem, choice.tilt_deg_by_month)
    return problem if choice.tilt_deg is None else at_tilt(problem, choice.tilt_deg)


def planes(problem: Problem) -> tuple[float | None, ...]:
    """Tilts that a design is looked for on, the likeliest first.

    A tilt is dropped where another one has no less sun in every month of use: every rule that sees the sun asks for
    enough of it, so a design on the first is a design on the second. Where mounts are chosen every tilt is looked at.
    """
    if len(problem.array.tilts) < 2:
        return problem.array.tilts or (None,)
    months = list(Demand(problem).months_of_use)
    kept: list[float] = []
    suns: list[np.ndarray] = []
    order = _best_first(problem)
    if problem.mounting is not None:
        return tuple(order)  # a tilt with less sun may be the one that the cheapest mounts reach
    sun = {tilt: sun_hours_that_count(problem, on_tilt(problem, tilt))[months] for tilt in order}
    for tilt in sorted(order, key=lambda one: (-float(sun[one].sum()), order.index(one))):  # what beats another has no smaller sum
        if not any((other >= sun[tilt]).all() for other in suns):
            kept.append(tilt)
            suns.append(sun[tilt])
    return tuple(sorted(kept, key=order.index))
