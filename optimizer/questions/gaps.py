"""Gaps of a catalog: the kind of part, the field and the value that would open an impossible problem."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from optimizer.inputs.catalog import FILES, Catalog
from optimizer.inputs.circuit_parts import OF_SOURCES
from optimizer.inputs.parts import Inverter, Part
from optimizer.inputs.problem import Problem
from optimizer.questions.opening import Opening

Progress = Callable[[str], None]

FURTHEST_X = 4.0
"""How much better than the best of the catalog a part is imagined: a multiple, or a part of it."""

COLDEST_C = -40.0
"""Lowest temperature that a battery is imagined for [C]."""

RESOLUTION = 0.01
"""Share of the value to which a gap is found."""


@dataclass(frozen=True)
class Field:
    """A figure of a kind of part that could be better; `along` are fields that change in the same proportion."""

    kind: str
    name: str
    unit: str
    rises: bool
    along: tuple[str, ...] = ()

    @property
    def sense(self) -> str:
        """How the value needed is meant."""
        return "at least" if self.rises else "at most"

    def values(self, catalog: Catalog) -> list[float]:
        """What the parts of the catalog have; a device for AC has no DC voltage."""
        return [float(value) for part in getattr(catalog, self.kind) if (value := getattr(part, self.name)) is not None]

    def furthest(self, catalog: Catalog) -> float:
        """The best value that is imagined."""
        if self.unit == "C":
            return COLDEST_C
        if self.unit == "money":
            return 0.0
        return max(self.values(catalog)) * FURTHEST_X if self.rises else min(self.values(catalog)) / FURTHEST_X

    def lifted(self, catalog: Catalog, value: float) -> Catalog:
        """The catalog with every part of the kind at least as good as a value."""
        return replace(catalog, **{self.kind: tuple(self._part(part, value) for part in getattr(catalog, self.kind))})  # type: ignore[arg-type]

    def _part(self, part: Part, value: float) -> Part:
        if getattr(part, self.name) is None:
            return part
        now = float(getattr(part, self.name))
        better = max(now, value) if self.rises else min(now, value)
        if better == now:
            return part
        whole = isinstance(getattr(part, self.name), int)
        changes: dict[str, Any] = {self.name: int(better) if whole else better}
        changes |= {name: getattr(part, name) * better / now for name in self.along}
        return part.model_copy(update=changes)


@dataclass(frozen=True)
class Variant:
    """A word or a voltage that no part of a kind has for this site: every part of the kind, made for it as well."""

    kind: str
    name: str
    value: str | int | bool
    unit: str = ""
    sense: str = "equals"

    def lifted(self, catalog: Catalog) -> Catalog:
        """The catalog with a twin of every part of the kind, made for the value."""
        parts = getattr(catalog, self.kind)
        twins = [twin for part in parts if (twin := self._twin(part)) is not None]
        return replace(catalog, **{self.kind: tuple(sorted((*parts, *twins), key=lambda part: part.id))})  # type: ignore[arg-type]

    def _twin(self, part: Any) -> Part | None:
        now = getattr(part, self.name)
        if now == self.value or (isinstance(now, tuple) and self.value in now):
            return None
        changes: dict[str, Any] = {"id": f"{part.id[:30]}+{self.value}".replace("/", "-"), self.name: (self.value,) if isinstance(now, tuple) else self.value}
        if isinstance(part, Inverter) and isinstance(self.value, int):
            changes |= {field: getattr(part, field) * self.value / part.bank_v for field in ("dc_low_cut_v", "dc_max_v")}
        twin: Part = part.model_copy(update=changes)
        return twin


def _variants(problem: Problem) -> list[Variant]:
    """What a site's AC and its bank voltages ask of parts."""
    asked = {"120 V 60 Hz": "120", "120/240 V 60 Hz": "120/240", "230 V 50 Hz": "230"}.get(problem.site.ac)
    found = [Variant("inverters", "ac", asked)] if asked else []
    for volts in problem.bank.volts:
        found += [Variant("inverters", "bank_v", volts, "V"), Variant("controllers", "bank_v", volts, "V")]
    if problem.mounting is not None:
        found += [Variant("mounts", "place", place) for place in problem.mounting.places]
        found += [Variant("mounts", "salt", value=True)] if problem.mounting.salt else []
    return found


FIELDS = (
    Field("modules", "length_mm", "mm", rises=False),
    Field("modules", "weight_kg", "kg", rises=False),
    Field("modules", "pmax_w", "W", rises=True, along=("isc_a", "imp_a")),
    Field("modules", "price", "money", rises=False),
    Field("batteries", "capacity_20h_ah", "Ah", rises=True, along=("capacity_5h_ah", "capacity_100h_ah")),
    Field("batteries", "charge_max_a", "A", rises=True),
    Field("batteries", "discharge_cont_a", "A", rises=True),
    Field("batteries", "discharge_peak_a", "A", rises=True),
    Field("batteries", "charge_t_min_c", "C", rises=False),
    Field("batteries", "discharge_t_min_c", "C", rises=False),
    Field("batteries", "max_parallel", "count", rises=True),
    Field("batteries", "weight_kg", "kg", rises=False),
    Field("batteries", "price", "money", rises=False),
    Field("controllers", "pv_voc_max_v", "V", rises=True, along=("pv_voc_operating_max_v",)),
    Field("controllers", "pv_isc_max_a", "A", rises=True),
    Field("controllers", "output_a", "A", rises=True),
    Field("controllers", "price", "money", rises=False),
    Field("inverters", "cont_w", "W", rises=True, along=("cont_va",)),
    Field("inverters", "surge_va", "VA", rises=True),
    Field("inverters", "idle_w", "W", rises=False),
    Field("inverters", "price", "money", rises=False),
    Field("converters", "output_a", "A", rises=True),
    Field("converters", "price", "money", rises=False),
    Field("protection", "interrupt_a", "A", rises=True),
    Field("protection", "dc_v_max", "V", rises=True),
    Field("busbars", "rated_a", "A", rises=True),
    Field("busbars", "ways", "count", rises=True),
    Field("mounts", "wind_max_m_s", "m/s", rises=True),
    Field("mounts", "snow_max_kn_m2", "kN/m2", rises=True),
    Field("mounts", "tilt_max_deg", "deg", rises=True),
    Field("mounts", "tilt_min_deg", "deg", rises=False),
    Field("mounts", "module_length_max_mm", "mm", rises=True),
    Field("mounts", "module_width_max_mm", "mm", rises=True),
    Field("mounts", "ballast_kg", "kg", rises=False),
    Field("generators", "rated_va", "VA", rises=True),
    Field("chargers", "output_a", "A", rises=True),
    Field("alternator_chargers", "output_a", "A", rises=True),
)
"""What a maker or a supplier could offer better; all of them figures that some rule of the trade reads."""


@dataclass(frozen=True)
class Gap:
    """A part that the catalog lacks: one like those of its kind, with a field of at least (or at most) `needed`.

    sufficient: whether it opens the problem by itself; otherwise no design is possible without it, however much
    better every other field is imagined.
    """

    field: Field | Variant
    needed: float | str
    sufficient: bool


def gaps(problem: Problem, catalog: Catalog, opening: Opening, progress: Progress = lambda _: None) -> Iterator[Gap]:
    """Fields that open the problem alone, and those without which nothing does.

    Each field is first imagined at its furthest; the value needed is then found by halving, to 1 %. A better field may
    bring dearer cable with it, so under a budget a gap may be missed; one that is named was seen to open the problem.
    """
    asked = {"mounts": problem.mounting is not None, **{
        kind: problem.source_in_design and problem.site.other_source in OF_SOURCES[record] for kind, record in FILES.items() if record in OF_SOURCES
    }}
    fields = [field for field in FIELDS if field.values(catalog) and asked.get(field.kind, True)]
    alone: list[Field] = []
    opened = False
    for field in fields:
        progress(f"with other {field.kind}: {field.name}")
        if opening.of(problem, field.lifted(catalog, field.furthest(catalog))):
            alone.append(field)
            yield Gap(field, _needed(problem, catalog, field, opening), sufficient=True)
    for variant in _variants(problem):
        progress(f"with {variant.kind} of {variant.name} {variant.value}")
        lifted = variant.lifted(catalog)
        if len(getattr(lifted, variant.kind)) > len(getattr(catalog, variant.kind)) and opening.of(problem, lifted):
            yield Gap(variant, variant.value, sufficient=True)
            opened = True
    if alone or opened:
        return  # what opens the problem by itself makes nothing else necessary
    if not opening.of(problem, _all(catalog, fields, None)):
        return
    for field in fields:
        progress(f"without better {field.kind}: {field.name}")
        others = _all(catalog, fields, field)
        if not opening.of(problem, others):
            yield Gap(field, _needed(problem, others, field, opening), sufficient=False)


def _all(catalog: Catalog, fields: list[Field], but: Field | None) -> Catalog:
    """The catalog with every field at its furthest but one."""
    better = catalog
    for field in fields:
        if field != but:
            better = field.lifted(better, field.furthest(catalog))
    return better


def _needed(problem: Problem, catalog: Catalog, field: Field, opening: Opening) -> float:
    """The least that opens the problem, given that the furthest does."""
    values = field.values(catalog)
    closed, open_ = (min(values), field.furthest(catalog)) if field.rises else (max(values), field.furthest(catalog))
    if field.unit == "count":
        while open_ - closed > 1:
            middle = (closed + open_) // 2
            closed, open_ = (closed, middle) if opening.of(problem, field.lifted(catalog, middle)) else (middle, open_)
        return open_
    while abs(open_ - closed) > RESOLUTION * max(abs(open_), 1.0):
        middle = (closed + open_) / 2
        closed, open_ = (closed, middle) if opening.of(problem, field.lifted(catalog, middle)) else (middle, open_)
    return open_
