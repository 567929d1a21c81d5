"""Array and generator together: what the generator burns beside an array, in closed form, as bounds and as rows of the program.

In each month the generator brings what the array leaves missing to the need, at a price a watt-hour that the core knows.
That falls with more array in every month, so dominance by harvest holds; what a core asks of its array alone (its floor)
is the need less the most that its generator brings.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pulp

from optimizer.choice.table import Table
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch
    from optimizer.choice.program import Program


def floor_wh(cores: Table) -> np.ndarray:
    """Energy that the array of each core must bring whatever stands beside it [Wh/day], shape (cores, months)."""
    return np.asarray(cores.columns.get("floor_wh", cores.needed_wh))


def running_cents(cores: Table, row: int, harvest_wh: np.ndarray) -> np.ndarray:
    """What arrays leave to the generator of a core, as it counts in the objective [cents].

    harvest_wh: of each array by month [Wh/day], shape (..., months)
    """
    return np.asarray((np.maximum(cores.needed_wh[row] - harvest_wh, 0.0) * cores.feed_cents[row]).sum(axis=-1))


def running_of(cores: Table, row: int, arrays: list[tuple[np.ndarray, int]]) -> int:
    """What some blocks, each so many times, leave to the generator of a core; 0 where it has none [whole cents]."""
    if "feed_cents" not in cores.columns:
        return 0
    return round(float(running_cents(cores, row, sum((n * harvest for harvest, n in arrays), np.zeros(cores.needed_wh.shape[1])))))


# --- bounds


def least_cents(cores: Table, harvest_wh: np.ndarray, rate: np.ndarray, at: int) -> np.ndarray:
    """Least that array and generator of each core can cost, by the harvest of one month [cents], shape (cores,).

    harvest_wh: blocks of the class [Wh/day], shape (blocks, months)
    rate: least cost of a watt-hour a day in each month among the blocks [cents d/Wh], shape (months,)
    at: the month by whose harvest H the array is priced

    An array costs at least rate[at] H and harvests in another month at most H times the greatest ratio of any block. Cost and
    what the generator then burns are straight lines in H between the points where a month needs nothing more: the least lies
    on one of these, or at the floor.
    """
    ratio = np.max(np.maximum(harvest_wh, 0.0) / np.maximum(harvest_wh[:, [at]], 1e-9), axis=0)
    floor = (floor_wh(cores) / np.maximum(ratio, 1e-9)).max(axis=1)
    points = np.maximum(np.column_stack([floor, cores.needed_wh / np.maximum(ratio, 1e-9)]), floor[:, None])
    missing = np.maximum(cores.needed_wh[:, None, :] - points[:, :, None] * ratio, 0.0)
    return np.asarray((rate[at] * points + (missing * cores.feed_cents[:, None, :]).sum(axis=2)).min(axis=1))


def bounds_with_fuel(cores: Table, blocks: Table, rates: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Least objective of a design on each core, and of one with each block [cents].

    A block that costs more than the best rate for what it harvests puts that excess on top of the cheapest core.
    """
    of_cores, of_blocks = np.array(cores.least_cost, dtype=float), np.array(blocks.least_cost, dtype=float)
    for at in range(cores.needed_wh.shape[1]):
        if not np.isfinite(rates[at]) or (blocks.harvest_wh[:, at] <= 0).any():
            continue  # a block without harvest in a month has no ratio to it
        whole = cores.least_cost + least_cents(cores, blocks.harvest_wh, rates, at)
        of_cores = np.maximum(of_cores, whole)
        of_blocks = np.maximum(of_blocks, blocks.least_cost - rates[at] * blocks.harvest_wh[:, at] + whole.min())
    return of_cores, of_blocks


BLOCKS_TRIED = 500
"""Blocks, those first that carry the whole need at the least cost, that are tried alone on a core for an upper bound."""


def try_fed_core(search: CandidateSearch, number: int, core: int) -> None:
    """Designs with one kind of block on a core, with as many of it as fuel makes worth while: an upper bound."""
    every, table = search.blocks[number], search.cores.table
    least = search.single_kind_counts(every, core)
    whole = (table.needed_wh[core] / np.maximum(every.harvest_wh, 1e-9)).max(axis=1)
    ranked = np.argsort(np.where(np.isnan(least), np.inf, every.least_cost * np.maximum(np.ceil(whole), least)), kind="stable")
    tried = ranked[:BLOCKS_TRIED]
    blocks, least = every.take(tried), least[tried]
    count = np.arange(1, search.problem.bounds.controllers + 1)
    harvest = blocks.harvest_wh[:, None, :] * count[None, :, None]
    missing = np.maximum(table.needed_wh[core] - harvest, 0.0)
    cost = table.least_cost[core] + blocks.least_cost[:, None] * count + running_cents(table, core, harvest)
    fits = count >= np.where(np.isnan(least), np.inf, least)[:, None]
    fits &= count <= search.most_of_each(blocks, core)[:, None]
    fits &= (missing @ search.days) <= table.share_wh[core]
    for column, most in search.resources(core):
        fits &= count * blocks.columns[column][:, None] <= most
    if search.problem.array.rectangles and search.screening.enforced("array-rectangles"):
        fits &= count * blocks.modules_each[:, None] <= search.rectangles.room.sum(axis=0)[blocks.module][:, None]
    cost = np.where(fits & ~search.forbidden(core, blocks, alone=True)[:, None], cost, np.inf)
    for _ in range(4):
        row, more = np.unravel_index(int(np.argmin(cost)), cost.shape)
        if not cost[row, more] < search.most or search.known_cents(number, core, [(int(tried[row]), int(count[more]))]) <= cost[row, more] + 0.5:
            return
        cost[row, more] = np.inf


# --- the program


@dataclass
class Feeding:
    """Columns g[s,m]: energy that source s brings in month m, for sources that are alike in class, price and most energy.

    g[s,m] <= most[s,m] sum of x over the cores with s; sum days[m] g[s,m] <= sum share[c] x[c] over them
    """

    program: Program
    scale_wh: float = field(init=False)
    kinds: list[tuple[np.ndarray, list[Any]]] = field(init=False, default_factory=list)
    """Rows of the cores of each source, and its columns by month, in shares of `scale_wh`."""

    def __post_init__(self) -> None:
        found = self.program.candidates
        table = found.cores.table
        self.scale_wh = max(1.0, float(table.needed_wh.max(initial=0.0)))
        if not found.cores.fed:
            return
        fed = np.nonzero(table.feed >= 0)[0]
        alike = np.column_stack([table.bank_class[fed], table.feed_cents[fed], np.nan_to_num(table.feed_wh[fed], posinf=1e9)])
        for number, key in enumerate(np.unique(alike, axis=0)):
            rows = fed[(alike == key).all(axis=1)]
            columns = [self.program.model.add_variable(f"g{number}_{m}", 0, None) for m in range(table.needed_wh.shape[1])]
            self.kinds.append((rows, columns))

    def rows(self) -> None:
        """What sources may bring."""
        program, found = self.program, self.program.candidates
        table, days = found.cores.table, found.days
        for rows, columns in self.kinds:
            chosen = pulp.lpSum(program.x[c] for c in rows)
            for m, brought in enumerate(columns):
                most = min(float(table.feed_wh[rows[0], m]) * (1 + TOLERANCE), float(table.needed_wh[rows, m].max()))
                program.row("source", brought - most / self.scale_wh * chosen <= 0)
            if np.isfinite(table.share_wh[rows]).all():
                allowed = pulp.lpSum(float(table.share_wh[c] / self.scale_wh) * program.x[c] for c in rows)
                program.row("source", pulp.lpSum(float(n) * brought for n, brought in zip(days, columns, strict=True)) - allowed <= 0)

    def brought(self, cores: np.ndarray, month: int) -> list[Any]:
        """What the sources of some cores bring in a month, in shares of `scale_wh`."""
        return [columns[month] for rows, columns in self.kinds if rows[0] in cores]

    def cost(self) -> list[Any]:
        """What they burn [cents]."""
        cents = self.program.candidates.cores.table.columns.get("feed_cents")
        return [
            float(cents[rows[0], m] * self.scale_wh) * brought for rows, columns in self.kinds for m, brought in enumerate(columns)
        ] if cents is not None else []
