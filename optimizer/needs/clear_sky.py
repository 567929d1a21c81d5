"""A ceiling for sun hours: what a sky without clouds would give, and what a figure above it most likely is.

Asked for by `sun` and `lint` only: pvlib takes a second to import, and a doubt changes no design.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import timedelta, timezone
from functools import lru_cache

import numpy as np
import pandas as pd

from optimizer.errors import OutOfRange
from optimizer.inputs.planes import key_of
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.inputs.weather import HOURS, YEAR, Weather
from optimizer.needs.sunlight import (
    PlaneSun,
    azimuth_of,
    by_plane,
    latitude_of,
    monthly_sun_h,
    plane_names,
    quiet,
    sun_on_plane,
    weather_of,
)
from optimizer.rules.sunlight import MEAN_DAYS, declination_deg, sunset_hour_angle_deg

ANY_TILT_DEG = (0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0)
"""Tilts of which the sunniest is the ceiling where the problem does not say what plane its sun hours are for."""

LIKE_DAYLIGHT = 0.15
"""Share within which sun hours look like hours of daylight; common practice, no source."""

CLEAR_SKY_ERROR = 1.05
"""Sun over that of the model's clear sky from which a figure is called out: very dry air gives a little more; common practice, no source."""

CLOUDY_SHARE = 0.4
"""Share of a clear sky's sun that cloudy places have at least over the year; common practice, no source."""

FAR_DEG = 1.0
"""Difference of latitude or longitude from which a weather file is called that of another place; common practice, no source."""


@lru_cache(maxsize=8)
def clear_year(latitude_deg: float, longitude_deg: float, elevation_m: float) -> Weather:
    """A year without clouds: Ineichen's clear sky with the monthly turbidity of the place, both as pvlib has them."""
    zone = timezone(timedelta(hours=round(longitude_deg / 15)))
    times = pd.date_range(f"{YEAR}-01-01", periods=HOURS, freq="h", tz=zone)
    middles = times + pd.Timedelta(hours=0.5)
    with quiet():
        from pvlib import atmosphere, clearsky, irradiance, solarposition

        sun = solarposition.get_solarposition(middles, latitude_deg, longitude_deg, elevation_m)
        mass = atmosphere.get_absolute_airmass(
            atmosphere.get_relative_airmass(sun["apparent_zenith"]), atmosphere.alt2pres(elevation_m),
        )
        turbidity = clearsky.lookup_linke_turbidity(middles, latitude_deg, longitude_deg)
        sky = clearsky.ineichen(sun["apparent_zenith"], mass, turbidity, elevation_m, irradiance.get_extra_radiation(middles))
    ghi, dni, dhi = (np.nan_to_num(sky[key].to_numpy(dtype=float)) for key in ("ghi", "dni", "dhi"))
    return Weather(latitude_deg, longitude_deg, elevation_m, times, ghi, dni, dhi, np.zeros(HOURS), np.zeros(HOURS), name="a sky without clouds")


def _clear_sky_of(problem: Problem) -> Weather | None:
    latitude = latitude_of(problem)
    if latitude is None:
        return None
    weather, site = weather_of(problem), problem.site
    longitude = weather.longitude_deg if weather is not None else site.longitude_deg or 0.0
    elevation = weather.elevation_m if weather is not None else site.elevation_m
    return clear_year(latitude, longitude, elevation)


def ceiling_sun_h(problem: Problem, sun: PlaneSun) -> tuple[float, ...] | None:
    """Twelve sun hours on a plane under a sky without clouds; None without a latitude.

    Without a tilt the sunniest of several in each month; without an azimuth the plane faces the equator; without a
    longitude the turbidity of the air is that of longitude 0.
    """
    clear = _clear_sky_of(problem)
    if clear is None:
        return None
    azimuth = azimuth_of(problem)
    if azimuth is None:
        azimuth = 180.0 if clear.latitude_deg >= 0 else 0.0
    ground = problem.array.albedo_by_month
    tilts = {tilt for month in range(12) if (tilt := sun.tilt_in(month)) is not None} or ANY_TILT_DEG
    each = {tilt: monthly_sun_h(clear, tilt, azimuth, ground) for tilt in tilts}
    hours = [each[tilt][month] if (tilt := sun.tilt_in(month)) is not None else max(one[month] for one in each.values()) for month in range(12)]
    return tuple(float(one) for one in hours)


def doubts(problem: Problem) -> Iterator[str]:
    """What is unlikely about the sun of a problem, each with its likely cause; nothing is refused for it."""
    array, latitude = problem.array, latitude_of(problem)
    if latitude is None:
        return
    yield from _another_place(problem)
    planes = by_plane(problem)
    if array.horizontal_kwh_m2 is not None:
        # Monthly means are looked at as they stand: on the plane they may be refused, and the reason is wanted then.
        above = list(_above(planes[0], PlaneSun(array.horizontal_kwh_m2, "", 0.0), "array.horizontal_kwh_m2", latitude))
        yield from above
        for name, one in zip(plane_names(problem), planes, strict=True):
            yield from () if above else _exaggerated(one, f"{key_of(name)}: " if name is not None else "array.horizontal_kwh_m2: ")
        return
    for name, one in zip(plane_names(problem), planes, strict=True):
        yield from _above(one, sun_on_plane(one), f"array.{array.sun_way}" if name is None else key_of(name), latitude)


def _above(problem: Problem, sun: PlaneSun, key: str, latitude: float) -> Iterator[str]:
    """Months in which a plane has more sun than a sky without clouds gives."""
    given = sun.sun_h
    ceiling = ceiling_sun_h(problem, sun)
    assert ceiling is not None, "there is a latitude"
    above = [at for at in range(12) if given[at] > ceiling[at] * CLEAR_SKY_ERROR]
    if above:
        at = max(above, key=lambda one: given[one] - ceiling[one])
        named = ", ".join(MONTHS[one] for one in above)
        yield (
            f"{key}: {named}: more sun than a sky without clouds gives at this latitude (in {MONTHS[at]} {given[at]:.1f} h, at most "
            f"{ceiling[at]:.1f}): {_cause(given, ceiling, latitude)}?"
        )


def _cause(given: tuple[float, ...], ceiling: tuple[float, ...], latitude: float) -> str:
    """The likely slip behind sun hours above the ceiling."""
    figures = np.array(given)
    daylight = 2 / 15 * sunset_hour_angle_deg(latitude, declination_deg(np.array(MEAN_DAYS)))
    if len(set(given)) == 1:
        return "a yearly mean, or the figure of a summer month"
    if (np.abs(figures - daylight) <= LIKE_DAYLIGHT * daylight).all():
        return "hours of daylight instead of sun hours"
    if (np.roll(figures, 6) <= ceiling).all():
        return "months of the other hemisphere, or a latitude with the wrong sign"
    if (figures / 3.6 <= ceiling).all() and figures.mean() / 3.6 >= CLOUDY_SHARE * np.mean(ceiling):
        return "MJ/m2 instead of kWh/m2"
    return "values of another plane or another place"


def _exaggerated(problem: Problem, key: str) -> Iterator[str]:
    """Months in which the monthly-mean method puts more on the plane than a sky without clouds does: where the sun stays low."""
    try:
        sun = sun_on_plane(problem)
    except OutOfRange:  # said as an error by whoever asks for the sun on the plane
        return
    ceiling = ceiling_sun_h(problem, sun)
    assert ceiling is not None, "there is a latitude"
    above = [at for at in range(12) if sun.sun_h[at] > ceiling[at] * CLEAR_SKY_ERROR]
    if above:
        at = max(above, key=lambda one: sun.sun_h[one] - ceiling[one])
        yield (
            f"{key}{', '.join(MONTHS[one] for one in above)}: the monthly-mean method puts more on the plane than a sky without "
            f"clouds gives (in {MONTHS[at]} {sun.sun_h[at]:.1f} h, at most {ceiling[at]:.1f}): it exaggerates where the sun stays low; use a weather_file, or 0"
        )


def _another_place(problem: Problem) -> Iterator[str]:
    weather, site = weather_of(problem), problem.site
    if weather is None:
        return
    for key, ours, theirs in (("latitude_deg", site.latitude_deg, weather.latitude_deg), ("longitude_deg", site.longitude_deg, weather.longitude_deg)):
        if ours is not None and abs(ours - theirs) > FAR_DEG:
            yield f"site.{key}: is {ours:g}, and {weather.name} is for {theirs:g}: the file of another place?"
