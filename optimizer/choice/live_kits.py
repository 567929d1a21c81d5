"""Kits that can still be on a bill, once parts are gone from the candidates: the fewer, the less the others may cost at least.

A kit that costs no less than those of its pieces that some candidate uses is on no bill. Without it the least prices of its
parts rise, which drops candidates, and with them other kits.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.table import Table

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch


def parts_left(search: CandidateSearch) -> set[str]:
    """Every part that some candidate uses."""
    arrays = search.arrays
    used = {part for rows in search.core_rows.values() for part in search.cores.part_ids(rows)}
    for blocks in search.blocks.values():
        used |= {arrays.parts[at].id for at in np.unique(blocks.device)} | {arrays.modules[at].id for at in np.unique(blocks.module)}
    return used


def without_dead_kits(search: CandidateSearch) -> bool:
    """Leave out kits that can be on no bill, as long as that drops candidates. Returns whether there was one."""
    found = False
    while search.blocks and search.kits and len(live := search.stock.kits(parts_left(search))) < len(search.kits):
        found = True
        _reprice(search, {kit.id for kit in live})
        search.tighten()
    return found


def _reprice(search: CandidateSearch, live: set[str]) -> None:
    """Least costs of all candidates with these kits alone."""
    prices, stock = search.stock.prices.kits, search.stock
    before = prices.cuts_of(search.kits)
    search.kits = [kit for kit in search.kits if kit.id in live]
    now = prices.cuts_of(search.kits)
    more = {part: before.get(part, 0) - now.get(part, 0) for part in {*before, *now} if part not in stock.owned}
    more = {part: cents for part, cents in more.items() if cents}
    cores = search.cores
    dearer = cores.table.least_cost + cores.total(lambda part_id: more.get(part_id, 0))
    search.cores = replace(cores, table=Table({**cores.table.columns, "least_cost": dearer}))
    devices = np.array([more.get(part.id, 0) for part in search.arrays.parts])
    modules = np.array([more.get(module.id, 0) for module in search.arrays.modules])
    for number, blocks in search.blocks.items():
        added = np.where(blocks.built_in, 0, devices[blocks.device]) + modules[blocks.module] * blocks.modules_each
        search.blocks[number] = Table({**blocks.columns, "least_cost": blocks.least_cost + added})
