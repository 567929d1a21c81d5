"""Mounts of charging blocks: every block takes the cheapest set that may carry its array, so they are a price and a weight of the block."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.table import Table
from optimizer.inputs.parts import Module
from optimizer.mounts import Fact, Mounts

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays


def mountable(mounts: Mounts, planes: Sequence[str | None], modules: list[Module], screening: Screening) -> np.ndarray:
    """Which modules some mount of the catalog may carry on some plane, with a record of what each rule on mounts removed."""
    if not mounts.mounts:
        screening.lost("mount-parts", 1, 0, "the catalog has no mounts: it needs a mounts.csv where the problem has [mounting]")
        return np.zeros(len(modules), dtype=bool)
    left = [(plane, mount) for plane in planes for mount in mounts.mounts]
    names = [mount.id + _on(plane) for plane, mount in left]
    table = _held(Table({"mount": np.arange(len(left))}), [list(mounts.on(plane).site_facts(mount)) for plane, mount in left], names, screening)
    pairs = [(*left[at], module) for at in table.mount for module in modules]
    facts = [list(mounts.on(plane).module_facts(mount, module)) for plane, mount, module in pairs]
    _held(Table({"pair": np.arange(len(pairs))}), facts, [f"{module.id} on {mount.id}{_on(plane)}" for plane, mount, module in pairs], screening)
    able = [left[at] for at in table.mount]
    return np.array([any(mounts.on(plane).fewest(mount, module) is not None for plane, mount in able) for module in modules], dtype=bool)


def _on(plane: str | None) -> str:
    return "" if plane is None else f" on plane '{plane}'"


def _held(table: Table, facts: list[list[Fact]], names: list[str], screening: Screening) -> Table:
    """Rows whose facts hold, one rule after the other; the first column numbers facts and names."""
    number = next(iter(table.columns))
    for rule in _rules(facts):
        rows = table.columns[number]
        found = [next((fact for place, fact in enumerate(facts[row]) if (place, fact[0]) == rule), None) for row in rows]
        where = np.array([fact is not None for fact in found], dtype=bool)
        known = [fact for fact in found if fact is not None]
        actual, required = (np.array([0.0 if fact is None else fact[side] for fact in found]) for side in (1, 2))
        of_row = [names[row] for row in rows]
        if known and isinstance(known[0][1], bool):
            table = screening.hold(table, rule[1], actual == required, True, of_row.__getitem__, where=where)
        else:
            table = screening.hold(table, rule[1], actual, required, of_row.__getitem__, where=where)
    return table


def _rules(facts: list[list[Fact]]) -> list[tuple[int, str]]:
    """Each rule with its place among the facts, in the order in which they are held."""
    return list(dict.fromkeys((place, fact[0]) for found in facts for place, fact in enumerate(found)))


def with_mounts(arrays: Arrays, table: Table) -> Table:
    """Blocks with the price and the weight of their mounts; those that no set of mounts may carry are gone."""
    prices, modules = arrays.stock.prices, arrays.modules
    mounts = prices.mounts
    counts = np.zeros((len(table), len(mounts.mounts)), dtype=int)
    found = np.zeros(len(table), dtype=bool)
    planes = arrays.needs.planes
    for plane, at in sorted(set(zip(table.plane.tolist(), table.module.tolist(), strict=True))):
        rows = np.nonzero((table.plane == plane) & (table.module == at))[0]
        wanted = table.modules_each[rows]
        cover = mounts.on(planes[plane]).cover(modules[at], int(wanted.max()))
        counts[rows], found[rows] = cover.counts[wanted], cover.found[wanted]
    kept = arrays.screening.hold(
        table, "mount-parts", found, True,
        lambda row: f"{table.modules_each[row]} modules of {modules[table.module[row]].id}{_on(planes[table.plane[row]])} with any mounts of the catalog",
    )
    counts = counts[found] if len(kept) < len(table) else counts
    bought, beside, kg = (
        counts @ np.array([price(mount) for mount in mounts.mounts])
        for price in (prices.bought_cents, prices.beside_cents, lambda mount: mount.weight_kg)
    )
    kept.add(
        cost=kept.cost + bought + beside, least_cost=kept.least_cost + bought + beside, bill_cost=kept.bill_cost + bought, weight_kg=kept.weight_kg + kg,
        mount_cents=bought,
    )
    return kept
