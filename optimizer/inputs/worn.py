"""Owned parts that have lost capacity or power: parts of their own, as many as there are, never mixed with new ones."""

from __future__ import annotations

from dataclasses import replace

from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Module, Part
from optimizer.inputs.problem import Problem

SCALED = {Battery: ("capacity_5h_ah", "capacity_20h_ah", "capacity_100h_ah"), Module: ("pmax_w", "imp_a", "isc_a")}
"""What falls with the condition. A module loses current; its voltages stay."""


def worn_id(part_id: str, condition: float) -> str:
    """Id of a worn part.

    >>> worn_id("BT-AGM12-100", 0.8)
    'BT-AGM12-100/80pct'
    """
    return f"{part_id}/{100 * condition:.6g}pct"


def condition_of(part_id: str) -> float:
    """What is left of a part of this id; 1 for one that is not worn.

    >>> condition_of("BT-AGM12-100/80pct"), condition_of("BT-AGM12-100")
    (0.8, 1.0)
    """
    _, slash, left = part_id.rpartition("/")
    return float(left.removesuffix("pct")) / 100 if slash and left.endswith("pct") else 1.0


def worn(part: Part, condition: float) -> Part:
    """A part at a share of its rated capacity or power; none of it can be bought."""
    (fields,) = (fields for kind, fields in SCALED.items() if isinstance(part, kind))
    changes: dict[str, object] = {name: getattr(part, name) * condition for name in fields}
    said = f"{part.description}, {100 * condition:.6g} % left"
    return part.model_copy(update={**changes, "id": worn_id(part.id, condition), "description": said, "stock": 0, "pack_qty": 1})


def with_worn_parts(problem: Problem, catalog: Catalog) -> tuple[Problem, Catalog]:
    """Problem and catalog in which each owned part that is worn is a part of its own; both as they are where none is.

    Raises InputError for a worn part of a kind that does not lose capacity or power.
    """
    found = [own for own in problem.owned if own.condition < 1 and own.part in catalog.by_id]
    problems = [
        f"{problem.name}: owned.condition: '{own.part}' is neither a battery nor a module, and only these lose capacity or power: "
        f"leave it out (got {own.condition:g})"
        for own in found if not isinstance(catalog.by_id[own.part], Battery | Module)
    ]
    if problems:
        raise InputError(problems)
    if not found:
        return problem, catalog
    new = {worn_id(own.part, own.condition): worn(catalog.by_id[own.part], own.condition) for own in found}
    new = {part_id: part for part_id, part in new.items() if part_id not in catalog.by_id}
    ids = {own.part: [worn_id(other.part, other.condition) for other in found if other.part == own.part] for own in found}

    def more(parts: tuple[str, ...]) -> tuple[str, ...]:
        """What the locks say of a part holds for its worn pieces too."""
        return tuple(dict.fromkeys([*parts, *(worn_part for part in parts for worn_part in ids.get(part, []))]))

    owned = tuple(
        own.model_copy(update={"part": worn_id(own.part, own.condition), "condition": 1.0}) if own in found else own for own in problem.owned
    )
    locks = problem.locks.model_copy(update={"only": more(problem.locks.only), "exclude": more(problem.locks.exclude)})

    def joined(parts: tuple[Part, ...], kind: type[Part]) -> tuple[Part, ...]:
        return tuple(sorted([*parts, *(part for part in new.values() if isinstance(part, kind))], key=lambda part: part.id))

    return problem.model_copy(update={"owned": owned, "locks": locks}), replace(
        catalog, batteries=joined(catalog.batteries, Battery), modules=joined(catalog.modules, Module),  # type: ignore[arg-type]  # of their kind
    )
