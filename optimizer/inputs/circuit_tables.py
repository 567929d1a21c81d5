"""Tables of conductors: ampacity and resistance, factors for heat and bundling, standard ratings of devices."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from optimizer.errors import OutOfRange
from optimizer.inputs.text_tables import read_records, shown

AMPACITY_C: Mapping[str, tuple[int, ...]] = {"NEC": (60, 75, 90), "IEC": (70, 90)}
"""Insulation temperatures that the tables of each family are written for [C]."""

Family = Literal["NEC", "IEC"]
Above0 = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    family: Family
    source: str


class Conductor(_Row):
    """A copper conductor: a row of tables/conductors.csv. A blank ampacity is not known."""

    size: str
    area_mm2: Above0
    r20_ohm_km: Above0
    ampacity_60_a: Above0 | None = None
    ampacity_70_a: Above0 | None = None
    ampacity_75_a: Above0 | None = None
    ampacity_90_a: Above0 | None = None
    device_max_a: Above0 | None = None

    def rated_at_c(self, insulation_c: float) -> int:
        """The hottest conductor temperature, up to that of the insulation (or of a terminal), with a known ampacity [C]."""
        known = [c for c in (60, 70, 75, 90) if c <= insulation_c and getattr(self, f"ampacity_{c}_a") is not None]
        if not known:
            raise OutOfRange(
                f"insulation {insulation_c:g} C of {self.size} is below every ampacity of the {self.family} family (tables/conductors.csv)"
            )
        return known[-1]

    def ampacity_a(self, insulation_c: float) -> float:
        """Ampacity at 30 C, not bundled, at `rated_at_c(insulation_c)` [A]; its ambient factor is that of the same temperature."""
        return float(getattr(self, f"ampacity_{self.rated_at_c(insulation_c)}_a"))


class AmbientFactor(_Row):
    """A row of tables/ambient_factors.csv."""

    insulation_c: int
    ambient_to_c: Annotated[float, Field(ge=-60, le=120)]
    factor: Annotated[float, Field(gt=0, le=2)]


class BundlingFactor(_Row):
    """A row of tables/bundling_factors.csv."""

    conductors_to: Annotated[int, Field(ge=1)]
    factor: Annotated[float, Field(gt=0, le=1)]


class StandardRating(_Row):
    """A row of tables/standard_ratings.csv."""

    rated_a: Above0


@dataclass(frozen=True, kw_only=True)
class CircuitTables:
    """Tables of conductors and devices, steps in rising order."""

    conductors: Mapping[tuple[str, str], Conductor] = field(default_factory=dict)
    ambient_factors: Mapping[tuple[str, int], tuple[tuple[float, float], ...]] = field(default_factory=dict)
    bundling_factors: Mapping[str, tuple[tuple[float, float], ...]] = field(default_factory=dict)
    ratings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def conductor(self, family: str, size: str) -> Conductor:
        """A conductor by family and size; raises OutOfRange where there is none."""
        try:
            return self.conductors[family, size]
        except KeyError:
            raise OutOfRange(f"conductor '{size}' of family {family} is not in tables/conductors.csv") from None

    def ambient_factor(self, family: str, insulation_c: int, ambient_c: float) -> float:
        """Factor of the first step that is not colder than the air; the first step holds for all colder air, which is cautious."""
        steps = self.ambient_factors.get((family, insulation_c), ())
        return _step(steps, ambient_c, f"ambient temperature {ambient_c:g} C", f"{family} at {insulation_c:g} C", "C", "ambient_factors.csv")

    def bundling_factor(self, family: str, conductors: int) -> float:
        """Factor of conductors that carry current side by side."""
        steps = self.bundling_factors.get(family, ())
        return _step(steps, conductors, f"{conductors:g} conductors in a bundle", family, "conductors", "bundling_factors.csv")

    def standard_ratings(self, family: str) -> tuple[float, ...]:
        """Standard ratings of devices, rising [A]."""
        if family not in self.ratings:
            raise OutOfRange(f"family '{family}' is not in tables/standard_ratings.csv")
        return self.ratings[family]


def _step(steps: tuple[tuple[float, float], ...], value: float, asked: str, where: str, unit: str, table: str) -> float:
    for top, factor in steps:
        if value <= top:
            return factor
    known = f"which ends at {steps[-1][0]:g} {unit}" if steps else "which has no such rows"
    raise OutOfRange(f"{asked} is outside the table of {where}, {known} (tables/{table})")


def load_circuit_tables(folder: Path, shipped: Path, problems: list[str]) -> dict[str, Any]:
    """The fields of `CircuitTables`; the shipped file stands in for each that the folder lacks."""

    def home(name: str) -> Path:
        return folder / name if (folder / name).is_file() else shipped / name

    conductors: dict[tuple[str, str], Conductor] = {}
    path = home("conductors.csv")
    for line, row in read_records(path, Conductor, problems):
        where = f"{shown(path)}:{line}"
        if (row.family, row.size) in conductors:
            problems.append(f"{where}: size: '{row.size}' stands twice in the {row.family} family")
        if not any(getattr(row, f"ampacity_{c}_a") for c in AMPACITY_C[row.family]):
            problems.append(f"{where}: ampacity: at least one is required")
        amps = [amp for c in (60, 70, 75, 90) if (amp := getattr(row, f"ampacity_{c}_a")) is not None]
        if amps != sorted(amps):
            problems.append(f"{where}: ampacity: must not fall from one insulation to a hotter one")
        conductors[row.family, row.size] = row
    ambient: dict[tuple[str, int], list[tuple[float, float]]] = {}
    path = home("ambient_factors.csv")
    for _, heat in read_records(path, AmbientFactor, problems):
        ambient.setdefault((heat.family, heat.insulation_c), []).append((heat.ambient_to_c, heat.factor))
    for (family, insulation_c), steps in ambient.items():
        _must_not_rise(steps, f"{shown(path)}: {family} at {insulation_c} C", problems)
    bundling: dict[str, list[tuple[float, float]]] = {}
    path = home("bundling_factors.csv")
    for _, bundle in read_records(path, BundlingFactor, problems):
        bundling.setdefault(bundle.family, []).append((bundle.conductors_to, bundle.factor))
    for family, steps in bundling.items():
        _must_not_rise(steps, f"{shown(path)}: {family}", problems)
    ratings: dict[str, set[float]] = {}
    for _, rating in read_records(home("standard_ratings.csv"), StandardRating, problems):
        ratings.setdefault(rating.family, set()).add(rating.rated_a)
    return {
        "conductors": conductors,
        "ambient_factors": {key: tuple(sorted(steps)) for key, steps in ambient.items()},
        "bundling_factors": {key: tuple(sorted(steps)) for key, steps in bundling.items()},
        "ratings": {family: tuple(sorted(amps)) for family, amps in ratings.items()},
    }


def _must_not_rise(steps: list[tuple[float, float]], where: str, problems: list[str]) -> None:
    factors = [factor for _, factor in sorted(steps)]
    if len({top for top, _ in steps}) < len(steps):
        problems.append(f"{where}: a step stands twice")
    elif factors != sorted(factors, reverse=True):
        problems.append(f"{where}: factor: must not rise from step to step")
