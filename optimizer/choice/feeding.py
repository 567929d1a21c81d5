"""Array and source together: what the source brings beside an array, in closed form, as bounds and as rows of the program.

In each month the generator brings what the array leaves missing to the need, at a price a watt-hour that the core knows.
That falls with more array in every month, so dominance by harvest holds; what a core asks of its array alone (its floor)
is the need less the most that its source brings. Of an alternator or shore power only what the loads take is paid for, while
its floor has all that is asked of an array alone: the two are apart, and a row of the program each.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pulp

from optimizer.choice.rectangles import most_modules
from optimizer.choice.table import Table
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch
    from optimizer.choice.program import Program


def floor_wh(cores: Table) -> np.ndarray:
    """Energy that the array of each core must bring whatever stands beside it [Wh/day], shape (cores, months)."""
    return np.asarray(cores.columns.get("floor_wh", cores.needed_wh))


def whole_wh(cores: Table) -> np.ndarray:
    """Energy that is enough whatever the source brings: what is paid for and the floor, whichever is more [Wh/day], shape (cores, months)."""
    return np.asarray(np.maximum(cores.needed_wh, floor_wh(cores)))


def least_wh(cores: Table, row: int) -> np.ndarray:
    """What the array of a core must bring by month: its floor, without a source within the tolerance [Wh/day]."""
    return np.asarray(cores.needed_wh[row] * (1 - TOLERANCE) if cores.feed[row] < 0 else cores.floor_wh[row])


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


@dataclass(frozen=True)
class EnergyPrices:
    """Prices of energy by month that bound every design on the cores whose generators burn alike.

    A design pays each watt-hour that is missing at the fuel's price, so at any price below; and its array reaches the floor.
    Hence with prices `needed` of at most the fuel's and `floor` of any size, a design costs at least
    core + needed x need + floor x floor_wh + sum over its blocks of (cost - (needed + floor) x harvest).
    They are such that no block's last term is negative.
    """

    needed: np.ndarray
    floor: np.ndarray
    """Cents for a watt-hour a day, shape (months,)."""
    excess: np.ndarray
    """What each block costs beyond its harvest at these prices [cents]."""

    @classmethod
    def of(cls, need_wh: np.ndarray, floor_wh: np.ndarray, fuel_cents: np.ndarray, cost: np.ndarray, by_month: np.ndarray, worth: np.ndarray) -> EnergyPrices:
        """Raised month after month, those first in which a coin buys least of the need, until some block is worth its cost.

        cost, by_month: of the blocks, harvest of shape (months, blocks); worth: most harvest for a coin by month
        """
        left, prices = cost, np.zeros((2, len(need_wh)))
        asked = np.stack([need_wh, floor_wh])
        for kind, month in zip(*np.unravel_index(np.argsort(-asked / np.maximum(worth, 1e-12), axis=None, kind="stable"), asked.shape), strict=True):
            if asked[kind, month] <= 0 or worth[month] <= 0:
                continue
            harvest = by_month[month]
            step = float((left / np.where(harvest > 0, harvest, 1e-12)).min())
            if step <= 1e-9 * (prices.max() + 1e-9):
                break  # a block is worth its cost: no price can rise where it harvests
            step = min(step, float(fuel_cents[month])) if kind == 0 else step
            prices[kind, month] += step
            left = left - step * harvest
        return cls(prices[0], prices[1], np.maximum(left, 0.0))

    def least_cents(self, need_wh: np.ndarray, floor_wh: np.ndarray) -> np.ndarray:
        """Least that array and generator of cores cost beside the excess of their blocks [cents]."""
        return np.asarray(need_wh @ self.needed + floor_wh @ self.floor)


def bounds_alike(cores: Table, blocks: Table) -> Iterator[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Cores of a class that burn alike: their rows, the least of a design on each, and what each block adds to it [cents]."""
    _, kind = np.unique(cores.feed_cents, axis=0, return_inverse=True)
    cost, by_month = blocks.least_cost.astype(float), np.ascontiguousarray(blocks.harvest_wh.T)
    worth = (by_month / np.maximum(cost, 1e-9)).max(axis=1)
    need, floor, kind = cores.needed_wh, floor_wh(cores), kind.ravel()
    by_kind = np.split(np.argsort(kind, kind="stable"), np.cumsum(np.bincount(kind))[:-1])
    for rows in by_kind:
        cheapest = rows[np.argmin(cores.least_cost[rows])]
        prices = EnergyPrices.of(need[cheapest], floor[cheapest], cores.feed_cents[cheapest], cost, by_month, worth)
        yield rows, cores.least_cost[rows] + prices.least_cents(need[rows], floor[rows]), prices.excess


def bounds_with_fuel(cores: Table, blocks: Table) -> tuple[np.ndarray, np.ndarray]:
    """Least objective of a design on each core, and of one with each block [cents]."""
    of_cores, of_blocks = np.zeros(len(cores)), np.full(len(blocks), np.inf)
    for rows, least, excess in bounds_alike(cores, blocks):
        of_cores[rows] = least
        of_blocks = np.minimum(of_blocks, least.min() + excess)
    return of_cores, of_blocks


def rough_bounds(cores: Table, blocks: Table) -> np.ndarray:
    """About the same of each core from some blocks: tells which cores are promising and proves nothing [cents]."""
    some = np.argsort(blocks.least_cost / np.maximum(blocks.harvest_wh.min(axis=1), 1e-9), kind="stable")[:200]
    return bounds_with_fuel(cores, Table({name: blocks.columns[name][some] for name in ("least_cost", "harvest_wh")}))[0]


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
    fits &= (harvest >= least_wh(table, core)).all(axis=2)
    fits &= (missing @ search.days) <= table.share_wh[core]
    for column, most in search.resources(core):
        fits &= count * blocks.columns[column][:, None] <= most
    if search.rectangles:
        fits &= count * blocks.modules_each[:, None] <= most_modules(search.rectangles, blocks)[:, None]
    cost = np.where(fits & ~search.forbidden(core, blocks)[:, None], cost, np.inf)
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

    def floors(self, cores: np.ndarray, blocks: np.ndarray) -> None:
        """sum harvest[b,m] n[b] >= sum floor[c,m] x[c]: what a source that comes and goes leaves to the array of a class."""
        program, found = self.program, self.program.candidates
        if found.needs.source_h is None:
            return
        table = found.cores.table
        floor = np.where(table.feed[:, None] >= 0, table.floor_wh, table.needed_wh * (1 - TOLERANCE))
        for month in range(floor.shape[1]):
            scale = max(1.0, float(floor[cores, month].max()))
            given = np.minimum(found.blocks.harvest_wh[:, month] / scale, 1.0)
            program.row("energy", program.of_blocks(given, blocks) - program.of_cores(floor[:, month] / scale, cores) >= 0)

    def brought(self, cores: np.ndarray, month: int) -> list[Any]:
        """What the sources of some cores bring in a month, in shares of `scale_wh`."""
        return [columns[month] for rows, columns in self.kinds if rows[0] in cores]

    def cost(self) -> list[Any]:
        """What they burn [cents]."""
        cents = self.program.candidates.cores.table.columns.get("feed_cents")
        return [
            float(cents[rows[0], m] * self.scale_wh) * brought for rows, columns in self.kinds for m, brought in enumerate(columns)
        ] if cents is not None else []
