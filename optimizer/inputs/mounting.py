"""The section of the problem file on what the array is mounted on: place, wind, snow, roof, salt."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field

from optimizer.inputs.array import Array
from optimizer.inputs.load import Section
from optimizer.inputs.mount_parts import ROOFS, Place

STEEP_ROOF_DEG = 70.0
"""Tilt from which a place on a roof is doubted; common practice, no source."""


RoofLoad = Annotated[float, Field(gt=0, le=50)]


class Mounting(Section):
    """Where arrays may stand, and what their mounts must stand there; wind and snow are those that local code gives."""

    places: tuple[Place, ...] = ()
    wind_m_s: Annotated[float, Field(gt=0, le=120)]
    snow_kn_m2: Annotated[float, Field(ge=0, le=30)]
    roof_load_max_kn_m2: RoofLoad | None = None
    salt: bool = False

    def allows(self, place: str) -> bool:
        """Whether an array may stand there; no place named means any."""
        return not self.places or place in self.places

    @property
    def on_a_roof(self) -> bool:
        """Whether an array may stand on a roof."""
        return any(self.allows(place) for place in ROOFS)

    def complaints(self, array: Array) -> Iterator[str]:
        """What does not agree with the section on the array."""
        if array.tilt_deg is None and array.tilt_deg_by_month is None:
            yield "array.tilt_deg: is required with [mounting]: mounts are made for a range of tilts"

    def doubts(self, array: Array) -> Iterator[str]:
        """What is possible but unlikely."""
        if self.wind_m_s < 15:
            yield f"mounting.wind_m_s: {self.wind_m_s:g} m/s, usually 25 to 70: is it a mean wind, not that of the code?"
        if self.on_a_roof and self.roof_load_max_kn_m2 is None:
            yield "mounting.roof_load_max_kn_m2: is not given: what the roof bears is not looked at"
        if self.roof_load_max_kn_m2 is not None and self.roof_load_max_kn_m2 <= self.snow_kn_m2:
            yield f"mounting.roof_load_max_kn_m2: snow alone is {self.snow_kn_m2:g} kN/m2: nothing is left for an array"
        if self.places == ("pitched roof",) and len(array.tilts) > 1:
            yield "array.tilt_deg: several tilts, but modules lie flush with a pitched roof: its own tilt is the only one"
        if self.places == ("pitched roof",) and array.mounting == "open rack":
            yield 'array.mounting: is "open rack", but modules lie flush with a pitched roof: they get hotter "close to a roof"'
        if self.on_a_roof and array.tilts and min(array.tilts) > STEEP_ROOF_DEG:
            yield f"array.tilt_deg: {min(array.tilts):g} deg is steep for a roof"


def adjusting_complaints(array: Array, *, bare: bool, several: bool, limited: bool) -> Iterator[str]:
    """Where an array that is adjusted through the year cannot be: without [mounting], on several planes, with a loss-of-load limit."""
    by_month = array.tilt_deg_by_month is not None
    if not by_month and not array.adjustments_per_year:
        return
    key = "array.tilt_deg_by_month" if by_month else "array.adjustments_per_year"
    if bare:
        yield f"{key}: needs a section [mounting]: an allowance does not say which mounts can be set anew, nor what they cost"
    if several:
        yield f"{key}: is for an array on one plane: leave [[planes]] out"
    if limited and not by_month:
        yield f"{key}: tilts are told apart by the sun of months, which a loss-of-load limit does not see: give tilt_deg_by_month, or leave [reliability] out"
