"""Weather files: a typical year hour by hour, read by pvlib, refused where an hour or a value is missing.

TMY3, TMY2 and EPW files, and typical years of satellite data as CSV or JSON (pvlib's `read_pvgis_tmy`). What a file is, its
first lines say, not its name.
"""

from __future__ import annotations

import re
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from datetime import timedelta, timezone
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from optimizer.errors import InputError
from optimizer.inputs.text_tables import shown

YEAR = 2001
"""A year without a leap day: months of a typical year come from different years."""

HOURS = 8760

LIMITS = {"ghi": (0.0, 1500.0), "dni": (0.0, 1500.0), "dhi": (0.0, 1500.0), "air_c": (-90.0, 60.0), "wind": (0.0, 120.0)}
"""What a value can be on Earth; files mark missing ones with figures far outside. Common practice, no source."""

READ = "TMY3, TMY2, EPW, or a typical year of satellite data as CSV or JSON"


@dataclass(frozen=True, eq=False)
class Weather:
    """A typical year at one place, hour by hour.

    times: starts of the 8,760 hours from 1 January, in the file's zone (UTC files: whole hours nearest to the place); values are means over the hour
    ghi, dni, dhi: sun on the horizontal, straight from the sun, from the sky [W/m2]
    air_c, wind: air temperature [C], wind [m/s]
    sun_at_h: part of the hour at which the sun's position is taken: its middle, or what the file states [h]
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    times: pd.DatetimeIndex
    ghi: np.ndarray
    dni: np.ndarray
    dhi: np.ndarray
    air_c: np.ndarray
    wind: np.ndarray
    sun_at_h: float = 0.5
    name: str = ""

    @property
    def sun_times(self) -> pd.DatetimeIndex:
        """Times at which the sun's position is taken."""
        return self.times + pd.Timedelta(hours=self.sun_at_h)

    @property
    def month(self) -> np.ndarray:
        """Month of each hour, 0 is January."""
        return np.asarray(self.times.month) - 1

    def by_month(self, values: np.ndarray) -> np.ndarray:
        """Mean of hourly values in each month, shape (12,)."""
        return np.bincount(self.month, weights=values, minlength=12) / np.bincount(self.month, minlength=12)

    @property
    def lowest_c(self) -> float:
        """Lowest hour of the year [C]."""
        return round(float(self.air_c.min()), 1)

    @property
    def hottest_c(self) -> float:
        """Hottest hour of the year [C]."""
        return round(float(self.air_c.max()), 1)

    @property
    def monthly_air_c(self) -> tuple[float, ...]:
        """Monthly means of the air [C]."""
        return tuple(round(float(c), 1) for c in self.by_month(self.air_c))


@dataclass(frozen=True)
class _Rows:
    """What a file holds: start of each row's hour as it stands there, values by our names, place and zone."""

    starts: pd.Series
    values: dict[str, Any]
    place: tuple[float, float, float]
    zone_h: float | None
    """None where times are UTC."""
    sun_at_h: float = 0.5


def load_weather(path: str | Path) -> Weather:
    """Read a weather file; raises InputError with a sentence where it is not one, or an hour of the year is missing."""
    file = Path(path)
    if not file.is_file():
        raise InputError(f"{path}: no such weather file; weather_file names one beside the problem file")
    at = file.stat()
    return _loaded(str(file), at.st_mtime_ns, at.st_size)


@lru_cache(maxsize=8)
def _loaded(path: str, _changed_ns: int, _size: int) -> Weather:
    file = Path(path)
    name = shown(file)
    kind, reading = _kind(file)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # columns that nobody reads may be of mixed kinds
            rows = reading(file)
            return _year(rows, file.name, name)
    except InputError:
        raise
    except Exception as bad:  # noqa: BLE001  (readers of files that others wrote fail in every way there is)
        raise InputError(f"{name}: cannot be read as {kind}: {str(bad).splitlines()[0] if str(bad) else type(bad).__name__}") from None


def _kind(file: Path) -> tuple[str, Callable[[Path], _Rows]]:
    """What a file is, by its first lines."""
    try:
        with file.open(encoding="latin-1") as text:
            first, second = text.readline(), text.readline()
    except OSError as bad:
        raise InputError(f"{shown(file)}: {bad.strerror or bad}") from None
    if first.startswith("LOCATION,"):
        return "an EPW file", _read_epw
    if second.startswith("Date (MM/DD/YYYY)"):
        return "a TMY3 file", _read_tmy3
    if first.lstrip().startswith("{"):
        return "a typical year in JSON", _read_satellite
    if first.startswith("Latitude (decimal degrees)"):
        return "a typical year of satellite data in CSV", _read_satellite
    if re.match(r"^ \d{5} .{22}", first) and re.match(r"^ \d{8}", second):
        return "a TMY2 file", _read_tmy2
    raise InputError(f"{shown(file)}: is no weather file that can be read: {READ}")


def _read_tmy3(file: Path) -> _Rows:
    from pvlib import iotools

    data, about = iotools.read_tmy3(str(file), encoding="latin-1", map_variables=True)
    # Rows carry the end of their hour. Taken from the file's own columns: a leap February loses its last hour in the index.
    ends = pd.to_numeric(data["Time (HH:MM)"].str.split(":").str[0])
    starts = pd.to_datetime(data["Date (MM/DD/YYYY)"], format="%m/%d/%Y") + pd.to_timedelta(ends - 1, unit="h")
    return _Rows(starts, _named(data), _place(about), about["TZ"])


def _read_tmy2(file: Path) -> _Rows:
    from pvlib import iotools

    data, about = iotools.read_tmy2(str(file))
    values = {"ghi": data["GHI"], "dni": data["DNI"], "dhi": data["DHI"], "air_c": data["DryBulb"] / 10, "wind": data["Wspd"] / 10}
    return _Rows(pd.Series(data.index.tz_localize(None)), values, _place(about), float(about["TZ"]))


def _read_epw(file: Path) -> _Rows:
    from pvlib import iotools

    data, about = iotools.read_epw(str(file))
    return _Rows(pd.Series(data.index.tz_localize(None)), _named(data), _place(about), about["TZ"])


def _read_satellite(file: Path) -> _Rows:
    from pvlib import iotools

    text = file.read_text(encoding="latin-1")
    form = "json" if text.lstrip().startswith("{") else "csv"
    if form == "csv":  # the reader counts rows; a missing one is named here
        rows = re.findall(r"^(\d{8}:\d{4}),", text, re.MULTILINE)
        _refuse_gaps(pd.Series(pd.to_datetime(rows, format="%Y%m%d:%H%M")), shown(file))
    data, about = iotools.read_pvgis_tmy(str(file), pvgis_format=form)
    inputs = about["inputs"]
    place = inputs.get("location", inputs)
    offset = place.get("irradiance_time_offset", place.get("irradiance time offset"))
    return _Rows(
        pd.Series(data.index.tz_localize(None).floor("h")), _named(data), (place["latitude"], place["longitude"], place["elevation"]), None,
        0.5 if offset is None else float(offset),
    )


def _named(data: pd.DataFrame) -> dict[str, Any]:
    return {"ghi": data["ghi"], "dni": data["dni"], "dhi": data["dhi"], "air_c": data["temp_air"], "wind": data["wind_speed"]}


def _place(about: dict[str, Any]) -> tuple[float, float, float]:
    return float(about["latitude"]), float(about["longitude"]), float(about["altitude"])


def _refuse_gaps(starts: pd.Series, name: str) -> np.ndarray:
    """Place of each row in the year without its leap day, -1 for that day. Raises InputError naming the first hour that is missing."""
    leap = (starts.dt.month == 2) & (starts.dt.day == 29)
    day = pd.to_datetime({"year": YEAR, "month": starts.dt.month, "day": starts.dt.day.where(~leap, 28)}).dt.dayofyear
    hour = np.where(leap, -1, (day - 1) * 24 + starts.dt.hour)
    count = np.bincount(hour[hour >= 0], minlength=HOURS)
    if (count == 1).all():
        return hour
    at = int(np.argmax(count != 1))
    when = (pd.Timestamp(YEAR, 1, 1) + pd.Timedelta(hours=at)).strftime("%d %b, %H:00").lstrip("0")
    if count[at] > 1:
        raise InputError(f"{name}: the hour from {when} stands {count[at]} times: one year is needed, every hour once")
    raise InputError(f"{name}: the hour from {when} is missing; {int((count == 0).sum()):,} of {HOURS:,} hours are")


def _year(rows: _Rows, file_name: str, name: str) -> Weather:
    hour = _refuse_gaps(rows.starts, name)
    latitude, longitude, elevation = rows.place
    if not (abs(latitude) <= 90 and abs(longitude) <= 180 and -450 <= elevation <= 9000):
        raise InputError(f"{name}: the place cannot be: latitude {latitude:g}, longitude {longitude:g}, {elevation:g} m")
    zone_h, roll = rows.zone_h, 0
    if zone_h is None:  # days run from midnight at the place, in whole hours
        zone_h = roll = round(longitude / 15)
    values: dict[str, np.ndarray] = {}
    for key, column in rows.values.items():
        given = np.full(HOURS, np.nan)
        given[hour[hour >= 0]] = np.asarray(column, dtype=float)[hour >= 0]
        low, high = LIMITS[key]
        bad = ~((given >= low) & (given <= high))
        if bad.any():
            at = int(np.argmax(bad))
            when = (pd.Timestamp(YEAR, 1, 1) + pd.Timedelta(hours=at)).strftime("%d %b, %H:00").lstrip("0")
            raise InputError(f"{name}: {key} of the hour from {when} is {given[at]:g}, not {low:g} to {high:g}; {int(bad.sum()):,} hours are missing or wrong")
        values[key] = np.roll(given, roll)
    times = pd.date_range(f"{YEAR}-01-01", periods=HOURS, freq="h", tz=timezone(timedelta(hours=zone_h)))
    return Weather(latitude, longitude, elevation, times, **values, sun_at_h=rows.sun_at_h, name=file_name)
