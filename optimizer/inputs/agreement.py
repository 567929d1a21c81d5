"""Whether a problem and a catalog speak of the same parts."""

from __future__ import annotations

from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, Cable, Protection, SoftStarter
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import nearest

MAY_NAME_KITS = ("locks.exclude", "locks.at_most", "locks.at_least")


def unknown_parts(problem: Problem, catalog: Catalog, name: str) -> list[str]:
    """Messages for the parts that a problem locks or owns and that the catalog does not hold."""
    locks = problem.locks
    named = {
        "locks.only": locks.only, "locks.exclude": locks.exclude, "locks.at_most": locks.at_most, "locks.at_least": locks.at_least,
        "owned.part": [own.part for own in problem.owned],
    }
    sized = [
        f"{name}: {key}: '{part}' is sized with what it serves: it cannot be owned, limited or demanded"
        for key, parts in named.items() for part in parts if isinstance(catalog.by_id.get(part), Autotransformer | Cable | Protection | SoftStarter)
    ]
    sized += [
        f"{name}: {key}: '{part}' is chosen with its array: it cannot be owned or demanded, nor limited to more than none"
        for key, parts in named.items() if key not in ("locks.only", "locks.exclude")
        for part in parts if isinstance(catalog.by_id.get(part), Mount) and not (key == "locks.at_most" and locks.at_most[part] == 0)
    ]
    classes = sorted({battery.dangerous_goods for battery in catalog.batteries if battery.dangerous_goods})
    sized += [
        f"{name}: price.dangerous_goods_per_kg: class '{goods}' is that of no battery of the catalog{nearest(goods, classes)}"
        for goods in problem.price.dangerous_goods_per_kg if goods not in classes
    ]
    if not catalog.cables:
        sized += [
            f"{name}: wiring.{key}: the catalog has no cables, so no circuit is sized that it could be part of"
            for key in ("arc_fault_detectors", "rapid_shutdown") if getattr(problem.wiring, key)
        ]
    return sized + [
        f"{name}: {key}: part '{part}' is not in the catalog{nearest(part, list(known))}"
        for key, parts in named.items()
        for known in (catalog.sold if key in MAY_NAME_KITS else catalog.by_id,)
        for part in parts if part not in known
    ]


def refuse_unknown_parts(problem: Problem, catalog: Catalog) -> None:
    """Raises InputError naming every part of the problem that the catalog does not hold."""
    messages = unknown_parts(problem, catalog, problem.name)
    if messages:
        raise InputError(messages)
