"""What a row of mounts.csv may be: what holds modules on a roof, on the ground or on a pole."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field

from optimizer.inputs.parts import Complaint, Count, NotNegative, Part, Positive, YesNo, _outside

Place = Literal["pitched roof", "flat roof", "ground", "pole"]

ROOFS: tuple[Place, ...] = ("pitched roof", "flat roof")
"""Places that bear the weight of an array and its snow."""

Angle = Annotated[float, Field(ge=0, le=90)]


class Mount(Part):
    """What holds up to so many modules; `adjustable`: made to be set to other tilts through the year.

    `ballast_kg` is laid on it, bought where the array stands, and is not in `weight_kg`.
    """

    place: Place
    modules: Count
    module_length_max_mm: Positive
    module_width_max_mm: Positive
    tilt_min_deg: Angle
    tilt_max_deg: Angle
    wind_max_m_s: Positive
    snow_max_kn_m2: NotNegative
    salt: YesNo
    ballast_kg: NotNegative = 0.0
    adjustable: YesNo = False
    weight_kg: Positive

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if self.tilt_min_deg > self.tilt_max_deg:
            yield "tilt_min_deg", f"must not be above tilt_max_deg ({self.tilt_max_deg:g})"
        if self.adjustable and self.tilt_min_deg == self.tilt_max_deg:
            yield "adjustable", "a mount that can be set to one tilt only is not adjustable: say y with a range of tilts, or n"
        if self.adjustable and self.place == "pitched roof":
            yield "adjustable", "modules lie flush with a pitched roof: its pitch is their only tilt"
        if self.module_width_max_mm > self.module_length_max_mm:
            yield "module_width_max_mm", f"is the short side: it must not be above module_length_max_mm ({self.module_length_max_mm:g})"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if _outside(self.wind_max_m_s, 20, 90):
            yield "wind_max_m_s", "is usually 20 to 90 m/s: is it in km/h or in mph?"
        if self.snow_max_kn_m2 > 15:
            yield "snow_max_kn_m2", "is usually 15 kN/m2 or less: is it in kg/m2?"
        if self.module_length_max_mm < 200:
            yield "module_length_max_mm", "is usually 200 mm or more: is it in inches?"
        if self.modules > 60:
            yield "modules", "is usually 60 or fewer: modules on one mount"
        if self.ballast_kg and self.place != "flat roof":
            yield "ballast_kg", f"ballast is for a flat roof, not for {'a ' if self.place != 'ground' else 'the '}{self.place}"
        if self.price and _outside(self.price / self.modules, 4, 400):
            yield "price", f"{self.price / self.modules:.2f} a module, usually 4 to 400"
