"""The section of the problem file on the array: where its sun comes from, its plane, what takes sun away, where modules may go."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from optimizer.inputs.load import Section
from optimizer.inputs.parts import Positive, Share

MountingWay = Literal["open rack", "close to a roof", "flat on a vehicle"]

SUN_WAYS = ("sun_h", "horizontal_kwh_m2", "weather_file")
"""Keys that say how much sun there is: exactly one of them is given."""

GRID_DEG = tuple(float(tilt) for tilt in range(0, 91, 5))
"""Tilts that are tried where the best is asked for [deg]."""

ALBEDO = 0.2
"""Share that bare or green ground throws back; common practice, no source. Snow throws back 0.4 to 0.8."""


def twelve(value: Any) -> Any:
    """Twelve values from one number; a list of another length is refused."""
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return (value,) * 12
    if isinstance(value, list | tuple) and len(value) != 12:
        raise ValueError(f"needs 12 values, January to December (got {len(value)})")
    return value


SunHours = Annotated[float, Field(ge=0, le=14, allow_inf_nan=False)]
TwelveSunHours = Annotated[tuple[SunHours, ...], BeforeValidator(twelve)]
TwelveShares = Annotated[tuple[Share, ...], BeforeValidator(twelve)]
Tilt = Annotated[float, Field(ge=0, le=90)]


def tilts_in(value: Any) -> Any:
    """A tilt as it is, `best`, or several, the lowest first and none twice; a list of one is that one."""
    if value is None or value == "best":
        return value
    several = value if isinstance(value, list | tuple) else [value]
    for one in several:
        if isinstance(one, bool) or not isinstance(one, (int, float)) or not 0 <= one <= 90:
            raise ValueError(f'a tilt is a number from 0 to 90, a list of such numbers, or "best" (got {one!r})')
    if not several:
        raise ValueError("needs one tilt or more")
    distinct = tuple(sorted({float(one) for one in several}))
    return distinct if len(distinct) > 1 else distinct[0]


Tilts = Annotated[Tilt | tuple[Tilt, ...] | Literal["best"], BeforeValidator(tilts_in)]


def sides(text: str) -> tuple[float, float]:
    """The two sides of a rectangle [m]."""
    try:
        a, b = (float(side) for side in text.lower().split("x"))
    except ValueError:
        raise ValueError(f"a rectangle is written as '2.10 x 1.10' in metres (got '{text}')") from None
    if not (0 < a <= 200 and 0 < b <= 200):
        raise ValueError(f"a rectangle's sides lie between 0 and 200 m (got '{text}')")
    return a, b


def _rectangle(text: str) -> str:
    sides(text)
    return text


Rectangles = tuple[Annotated[str, AfterValidator(_rectangle)], ...]


class Array(Section):
    """Sun on the array's plane, and where modules may go."""

    sun_h: TwelveSunHours | None = None
    horizontal_kwh_m2: TwelveSunHours | None = None
    weather_file: Annotated[str, Field(min_length=1)] | None = None
    tilt_deg: Tilts | None = None
    tilt_deg_by_month: Annotated[tuple[Tilt, ...] | None, BeforeValidator(twelve)] = None
    adjustments_per_year: Literal[0, 2, 3, 4] = 0
    azimuth_deg: Annotated[float, Field(ge=0, lt=360)] | None = None
    albedo: TwelveShares | None = None
    shade: TwelveShares = (1.0,) * 12
    snow: TwelveShares = (1.0,) * 12
    soiling: Annotated[float, Field(gt=0, le=1)] = 0.95
    soiling_by_month: TwelveShares | None = None
    mismatch: Annotated[float, Field(gt=0, le=1)] = 0.97
    wire: Annotated[float, Field(gt=0, le=1)] | None = None
    mounting: MountingWay = "open rack"
    area_m2: Positive | None = None
    rectangles_m: Rectangles = ()
    gap_m: Annotated[float, Field(ge=0, le=1)] = 0.02
    volts_max: Positive | None = None
    cold_voltage_margin_pct: Annotated[float, Field(ge=0, le=20)] = 0.0

    @property
    def sun_way(self) -> str:
        """Which of the keys says how much sun there is."""
        return next((way for way in SUN_WAYS if getattr(self, way) is not None), "sun_h")

    @property
    def tilts(self) -> tuple[float, ...]:
        """Tilts to try, the lowest first; none where none is stated."""
        if self.tilt_deg == "best":
            return GRID_DEG
        if isinstance(self.tilt_deg, tuple):
            return self.tilt_deg
        return () if self.tilt_deg is None else (float(self.tilt_deg),)

    @property
    def positions_deg(self) -> tuple[float, ...]:
        """Tilts that the array has in a year, the lowest first: one where it stays as it is, none where its tilt is open or not stated."""
        if self.tilt_deg_by_month is not None:
            return tuple(sorted(set(self.tilt_deg_by_month)))
        return self.tilts if len(self.tilts) == 1 else ()

    @property
    def tilt_is_open(self) -> bool:
        """Whether the design chooses the tilt, or the tilts of a year."""
        return len(self.tilts) > 1

    @property
    def albedo_by_month(self) -> tuple[float, ...]:
        """Share of the sun that the ground throws back, by month."""
        return self.albedo if self.albedo is not None else (ALBEDO,) * 12

    def sun_defaults(self) -> Iterator[str]:
        """What is taken where the sun on the plane is calculated and the file says nothing."""
        if self.sun_h is None and self.albedo is None:
            yield f"albedo = {ALBEDO:g}"
        if self.sun_h is None and self.azimuth_deg is None:
            yield "azimuth_deg: towards the equator"

    @property
    def rectangles(self) -> tuple[tuple[float, float], ...]:
        """Free rectangles as pairs of sides [m]."""
        return tuple(sides(text) for text in self.rectangles_m)

    def lacking(self) -> Iterator[str]:
        """What an array whose plane stands in this section must say, and does not."""
        given = [way for way in SUN_WAYS if getattr(self, way) is not None]
        if not given:
            yield (
                "sun_h: is required: twelve monthly sun hours on the array's plane; docs/problem-file.md says where to get them, "
                "and what horizontal_kwh_m2 or weather_file take in their place"
            )
        elif given != ["sun_h"] and self.tilt_deg is None and self.tilt_deg_by_month is None:
            yield f'tilt_deg: is required with {given[0]}: a number, a list, or "best"'

    @model_validator(mode="after")
    def _one_way_to_the_sun(self) -> Array:
        complaints = []
        given = [way for way in SUN_WAYS if getattr(self, way) is not None]
        if len(given) > 1:
            complaints.append(f"{' and '.join(given)} say the same thing: give one of them")
        elif given == ["sun_h"] and len(self.tilts) > 1:
            complaints.append("tilt_deg: sun_h is for one plane: several tilts need horizontal_kwh_m2 or weather_file")
        if self.tilt_deg is not None and self.tilt_deg_by_month is not None:
            complaints.append("tilt_deg and tilt_deg_by_month say the same thing: give one of them")
        if self.adjustments_per_year and self.tilt_deg_by_month is not None:
            complaints.append("adjustments_per_year: tilt_deg_by_month says already when the array is adjusted: leave one of them out")
        elif self.adjustments_per_year and not self.tilt_is_open:
            complaints.append('adjustments_per_year: needs tilts to choose from: tilt_deg as a list or "best", with horizontal_kwh_m2 or weather_file')
        if self.soiling_by_month is not None and "soiling" in self.model_fields_set:
            complaints.append("soiling and soiling_by_month say the same thing: give one of them")
        if complaints:
            raise ValueError("\n".join(complaints))
        return self
