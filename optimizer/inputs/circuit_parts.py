"""What a catalog row of the circuits may be: cable by the metre, and what opens a circuit or guards it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field

from optimizer.inputs.circuit_tables import AMPACITY_C, Conductor
from optimizer.inputs.parts import (
    Complaint,
    Count,
    NotNegative,
    Part,
    Positive,
    Volts,
    YesNo,
    _outside,
    _whole_number,
)
from optimizer.inputs.text_tables import nearest

COPPER_KG_M_MM2 = 0.00889
"""Weight of a metre of copper of 1 mm2: 8,890 kg/m3 at 20 C, IEC 60028, from memory."""


class Cable(Part):
    """One conductor by the metre: price, weight and stock are of a metre of it."""

    family: Literal["NEC", "IEC"]
    size: str
    use: Literal["array", "battery", "building"]
    insulation_c: Annotated[Literal[60, 70, 75, 90], BeforeValidator(_whole_number)]
    dc_v_max: Positive
    tinned: YesNo
    sunlight_ok: YesNo
    weight_kg: Positive

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if self.insulation_c not in AMPACITY_C[self.family]:
            known = ", ".join(str(c) for c in AMPACITY_C[self.family])
            yield "insulation_c", f"the ampacity tables of the {self.family} family are for {known} C"
        if self.use == "array" and not self.sunlight_ok:
            yield "sunlight_ok", "cable of an array lies in the sun: it must be y"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.price and _outside(self.price / self.weight_kg, 5, 60):
            yield "price", f"{self.price / self.weight_kg:.2f} a kilogram, usually 5 to 60: is it the price of a metre of one conductor?"
        if self.dc_v_max < 60:
            yield "dc_v_max", "is usually 60 V or more"

    def misfits(self, conductors: Mapping[tuple[str, str], Conductor]) -> Iterator[Complaint]:
        """What does not fit the table of conductors."""
        conductor = conductors.get((self.family, self.size))
        if conductor is None:
            known = [size for family, size in conductors if family == self.family]
            yield "size", f"is not in tables/conductors.csv for the {self.family} family{nearest(self.size, known)}"
        elif self.weight_kg < 0.9 * COPPER_KG_M_MM2 * conductor.area_mm2:
            copper_kg = COPPER_KG_M_MM2 * conductor.area_mm2
            yield "weight_kg", f"is less than the copper in it ({copper_kg:.3f} kg a metre): is it the weight of one metre?"


INTERRUPTS = ("string fuse", "fuse", "breaker", "ac breaker")
OPENS_UNDER_LOAD = ("breaker", "array switch", "ac breaker", "array shutdown")
ON_DC = ("string fuse", "fuse", "breaker", "array switch", "combiner", "arc-fault detector", "array shutdown")


class Protection(Part):
    """A fuse with its holder, a breaker, a switch, a combiner, a surge arrester, or what a roof's code adds."""

    kind: Literal["string fuse", "fuse", "breaker", "array switch", "combiner", "surge arrester", "ac breaker", "arc-fault detector", "array shutdown"]
    rated_a: Positive | None = None
    dc_v_max: Positive | None = None
    ac_v_max: Positive | None = None
    interrupt_a: Positive | None = None
    load_break: YesNo
    polarised: YesNo
    ways: Count | None = None
    terminal_mm2_max: Positive | None = None
    weight_kg: Positive

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if self.kind in ON_DC and self.dc_v_max is None:
            yield "dc_v_max", f"is required for a {self.kind}: what has no DC voltage must not be used on DC"
        if self.kind == "ac breaker" and self.ac_v_max is None:
            yield "ac_v_max", "is required for an ac breaker"
        if self.kind == "surge arrester" and self.dc_v_max is None and self.ac_v_max is None:
            yield "dc_v_max", "a surge arrester needs dc_v_max or ac_v_max"
        if self.kind != "surge arrester" and self.rated_a is None:
            yield "rated_a", f"is required for {_a(self.kind)}"
        if self.kind in INTERRUPTS and self.interrupt_a is None:
            yield "interrupt_a", f"is required for {_a(self.kind)}: the fault current that it can break"
        if self.interrupt_a is not None and self.rated_a is not None and self.interrupt_a <= self.rated_a:
            yield "interrupt_a", f"must be above rated_a ({self.rated_a:g} A)"
        if self.load_break != (self.kind in OPENS_UNDER_LOAD):
            yield "load_break", f"must be {'y' if self.kind in OPENS_UNDER_LOAD else 'n'} for {_a(self.kind)}"
        if self.polarised and self.kind not in ("breaker", "array switch"):
            yield "polarised", f"must be n for {_a(self.kind)}: only DC breakers and switches know a direction"
        if (self.kind == "combiner") != (self.ways is not None):
            yield "ways", "combiners, and only they, have a number of strings that they take"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.interrupt_a is not None and _outside(self.interrupt_a, 1000, 300_000):
            yield "interrupt_a", "is usually 1,000 to 300,000 A: is it in kA?"
        if self.kind == "string fuse" and self.rated_a is not None and self.rated_a > 40:
            yield "rated_a", "string fuses are usually 40 A or less"
        if self.price and _outside(self.price, 2, 1000):
            yield "price", "is usually 2 to 1,000 a piece"


def _a(kind: str) -> str:
    return f"an {kind}" if kind[0] in "ao" else f"a {kind}"


class SoftStarter(Part):
    """What stands before one motor and lets it start gently: `surge_x` and `start_s` are what is left of its start."""

    ac_v: Volts
    va_max: Positive
    surge_x: Annotated[float, Field(ge=1, le=5)]
    start_s: Annotated[float, Field(gt=0, le=60)]
    weight_kg: Positive

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.va_max < 100:
            yield "va_max", "is usually 100 VA or more: is it in kVA?"
        if self.surge_x < 1.5:
            yield "surge_x", "is usually 1.5 or more: a motor that must turn takes more than it runs with"


class Generator(Part):
    """A set that an engine drives: what charges the bank when the array does not.

    `service_per_h` is money for an hour's wear and oil. `litres_per_kwh` is the slope above `idle_l_per_h`, the fuel without
    a load; without the latter it is the fuel of a kilowatt-hour at the load for which it is stated.
    """

    rated_va: Positive
    power_factor: Annotated[float, Field(gt=0.5, le=1)]
    ac: Literal["120", "120/240", "230", "230/400"]
    fuel: Literal["petrol", "diesel", "gas"]
    fuel_share: Annotated[float, Field(gt=0.5, le=1)] = 1.0
    litres_per_kwh: Annotated[float, Field(gt=0.1, le=2)]
    idle_l_per_h: Annotated[float, Field(ge=0, le=20)] = 0.0
    least_load_share: Annotated[float, Field(ge=0, le=0.8)] = 0.25
    service_per_h: NotNegative = 0.0
    starts_by_itself: YesNo = False
    weight_kg: Positive

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.rated_va < 500:
            yield "rated_va", "is usually 500 VA or more: is it in kVA?"
        if self.rated_va and self.idle_l_per_h > self.litres_per_kwh * self.rated_va / 1000:
            yield "idle_l_per_h", "is more than the whole load takes: is it the fuel at full load?"

    @property
    def legs(self) -> int:
        """Legs or phases between which its rating is divided."""
        return {"120/240": 2, "230/400": 3}.get(self.ac, 1)


class Charger(Part):
    """A battery charger that a generator or shore power feeds. `output_a` is what it can be set to at most; `ac` the voltage between its two conductors."""

    bank_v: Annotated[Literal[12, 24, 36, 48], BeforeValidator(_whole_number)]
    ac: Literal["120", "240", "230"]
    output_a: Positive
    efficiency: Annotated[float, Field(gt=0.5, le=1)]
    power_factor: Annotated[float, Field(gt=0.4, le=1)]
    lfp_profile: YesNo
    current_settable: YesNo
    weight_kg: Positive

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.price and _outside(self.price / (self.output_a * self.bank_v), 0.05, 2):
            yield "price", f"{self.price / (self.output_a * self.bank_v):.2f} a watt, usually 0.05 to 2"


class AlternatorCharger(Part):
    """A DC-DC charger between an alternator and the bank; `no_load_w` is what it takes beside what it converts while the engine runs."""

    input_v: Annotated[Literal[12, 24], BeforeValidator(_whole_number)]
    bank_v: Annotated[Literal[12, 24, 36, 48], BeforeValidator(_whole_number)]
    output_a: Positive
    efficiency: Annotated[float, Field(gt=0.5, le=1)]
    no_load_w: NotNegative = 0.0
    lfp_profile: YesNo
    current_settable: YesNo
    weight_kg: Positive

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.no_load_w > 0.05 * self.output_a * self.bank_v:
            yield "no_load_w", "is more than 5 % of what it gives"
        if self.price and _outside(self.price / (self.output_a * self.bank_v), 0.05, 2):
            yield "price", f"{self.price / (self.output_a * self.bank_v):.2f} a watt, usually 0.05 to 2"


class Autotransformer(Part):
    """What makes 240 V of the 120 V of inverters, for the loads that ask for it; `surge_va` for the seconds of a start."""

    rated_va: Positive
    surge_va: Positive
    no_load_w: NotNegative
    efficiency: Annotated[float, Field(gt=0.8, le=1)]
    weight_kg: Positive

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if self.surge_va < self.rated_va:
            yield "surge_va", f"must be at least rated_va ({self.rated_va:g})"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.rated_va < 300:
            yield "rated_va", "is usually 300 VA or more: is it in kVA?"
        if self.no_load_w > 0.03 * self.rated_va:
            yield "no_load_w", "is more than 3 % of its rating"


class Busbar(Part):
    """One busbar with its cover; a bank has two. `ways` are the conductors that its studs take."""

    rated_a: Positive
    ways: Count
    dc_v_max: Positive
    weight_kg: Positive

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.dc_v_max < 32:
            yield "dc_v_max", "is usually 48 V or more"
        if self.price and _outside(self.price / self.rated_a, 0.02, 1):
            yield "price", f"{self.price / self.rated_a:.2f} an ampere, usually 0.02 to 1: is it the price of one bar?"


OF_SOURCES: Mapping[type[Part], tuple[str, ...]] = {
    Generator: ("generator",), Charger: ("generator", "shore"), AlternatorCharger: ("alternator",),
}
"""Kinds of part that only a design with some source beside its array has."""
