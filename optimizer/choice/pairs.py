"""Designs of two kinds of block on a core, priced one by one.

Pairs are not looked at in a table of all blocks by all blocks: for each first block the second ones are ranked by what they
cost for what is still missing, so only those are seen that leave the design a chance to cost no more than the limit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.dominance import uses_terminals
from optimizer.choice.feeding import whole_wh
from optimizer.choice.rectangles import each_fits
from optimizer.choice.table import Table
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch

AT_ONCE = 400_000
"""Designs that are looked at in one step."""

Supply = tuple[float, np.ndarray]
"""What a core asks for, and what each block gives of it, shape (blocks,)."""


def priced_pairs(
    search: CandidateSearch, number: int, core: int, months: list[int], most_cents: float,
) -> Iterator[tuple[int, np.ndarray, np.ndarray, np.ndarray, np.ndarray]]:
    """Designs of two kinds on a core at most as dear as `most_cents`: how many of the first block there are, the first blocks, the
    second ones, the fewest of the second that then carry the need, and the cost [cents]; all of shape (designs,).
    """
    blocks, table, controllers = search.blocks[number], search.cores.table, search.problem.bounds.controllers
    limit, cost = search.most_of_each(blocks, core), blocks.least_cost
    together = _Together(search, number, core)
    for reached in _reached(search, number, core, months, most_cents):
        n = reached.n
        for found in _in_steps(reached.rows, reached.reach, reached.order):
            first, second = _kept((found[0] != found[1]) & blocks.parallel_ok[found[1]], *found)
            many = np.max([rest[first] / given[second] for rest, given in zip(reached.rests, reached.givens, strict=True)], axis=0)
            many = np.ceil(together.with_spare(n, first, second, many) * (1 - TOLERANCE))
            cents = table.least_cost[core] + n * cost[first] + many * cost[second]
            fits = (many <= limit[second]) & (n + many <= controllers) & (cents <= most_cents)
            first, second, many, cents = _kept(fits, first, second, many, cents)
            first, second, many, cents = _kept(together.fit(n, first, second, many), first, second, many, cents)
            if len(first):
                yield n, first, second, many, cents


def few_pairs(search: CandidateSearch, number: int, cores: list[int], months: list[int], most_cents: float, most: int) -> bool:
    """Whether `priced_pairs` looks at no more than `most` designs on all of these cores together."""
    seen = 0
    for core in cores:
        for reached in _reached(search, number, core, months, most_cents):
            seen += int(reached.reach.sum())
            if seen > most:
                return False
    return True


@dataclass(frozen=True)
class _Reached:
    """Pairs with n of the first block that what they cost for what is missing leaves a chance."""

    n: int
    rows: np.ndarray
    """First blocks."""
    reach: np.ndarray
    """How many second blocks, from the front of the order, each first block is looked at with."""
    order: np.ndarray
    rests: list[np.ndarray]
    """What n of each block leave missing of each supply."""
    givens: list[np.ndarray]


def _reached(search: CandidateSearch, number: int, core: int, months: list[int], most_cents: float) -> Iterator[_Reached]:
    blocks, table = search.blocks[number], search.cores.table
    limit, cost = search.most_of_each(blocks, core), blocks.least_cost
    supplies = _supplies(search, number, core, months)
    one_more = np.ones(len(blocks))  # there is at least one of the second kind, whatever is missing
    givens = [one_more, *(np.maximum(given, 1e-9) for _, given in supplies)]
    rates = [cost / given for given in givens]
    orders = [np.argsort(rate, kind="stable") for rate in rates]
    for n in range(1, search.problem.bounds.controllers):
        rests = [one_more, *(np.maximum(asked - n * given, 0.0) for asked, given in supplies)]
        left = most_cents - table.least_cost[core] - n * cost
        least = np.max([rest * rate.min() for rest, rate in zip(rests, rates, strict=True)], axis=0)
        rows = np.nonzero((n <= limit) & blocks.parallel_ok & (least <= left))[0]
        if not len(rows):
            continue
        with np.errstate(divide="ignore", invalid="ignore"):
            reaches = [
                np.searchsorted(rate[order] * (1 - TOLERANCE), np.nan_to_num(left[rows] / rest[rows], nan=np.inf, posinf=np.inf), side="right")
                for rest, rate, order in zip(rests, rates, orders, strict=True)
            ]
        tightest = int(np.argmin([reach.sum() for reach in reaches]))
        yield _Reached(n, rows, reaches[tightest], orders[tightest], rests, givens)


def _supplies(search: CandidateSearch, number: int, core: int, months: list[int]) -> list[Supply]:
    """All that two kinds must bring together."""
    blocks, table = search.blocks[number], search.cores.table
    needed = whole_wh(table.take(np.array([core])))[0]
    supplies = [(needed[month], blocks.harvest_wh[:, month]) for month in months] + [(table.least_a[core], blocks.low_a)]
    if uses_terminals(search.needs):
        supplies.append((table.terminal_a[core], np.minimum(blocks.terminal_a, 1e6)))
    return supplies + search.demanded_pieces(blocks)


def _in_steps(rows: np.ndarray, reach: np.ndarray, order: np.ndarray) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Each row beside each block in its reach of the order, in steps of a bounded length."""
    up_to = np.cumsum(reach)
    for step in np.unique(up_to // AT_ONCE):
        of_step = np.nonzero(up_to // AT_ONCE == step)[0]
        begins = up_to[of_step] - reach[of_step]
        first = np.repeat(rows[of_step], reach[of_step])
        yield first, order[np.arange(len(first)) - np.repeat(begins - begins[0], reach[of_step])]


def _kept(mask: np.ndarray, *arrays: np.ndarray) -> list[np.ndarray]:
    return [array[mask] for array in arrays]


class _Together:
    """What two kinds of block may be together on a core."""

    def __init__(self, search: CandidateSearch, number: int, core: int) -> None:
        self.search, self.blocks, self.core = search, search.blocks[number], core
        self.table: Table = search.cores.table
        self.resources = [(self.blocks.columns[column], limited) for column, limited in search.resources(core)]
        self.spans = self.blocks.harvest_wh.shape[1] if "spare_wh" in self.table.columns else 0

    def with_spare(self, n: int, first: np.ndarray, second: np.ndarray, many: np.ndarray) -> np.ndarray:
        """How many of the second there must be so that the largest of all may fail."""
        for span in range(self.spans):
            one, other = self.blocks.harvest_wh[first, span], self.blocks.harvest_wh[second, span]
            many = np.maximum(many, (self.table.spare_wh[self.core, span] + np.maximum(one, other) - n * one) / np.maximum(other, 1e-9))
        return many

    def fit(self, n: int, first: np.ndarray, second: np.ndarray, many: np.ndarray) -> np.ndarray:
        """Whether they are within every limit, shape (designs,)."""
        blocks, search = self.blocks, self.search
        fits = ~(blocks.built_in[first] & blocks.built_in[second]) | (n + many <= self.table.inverter_count[self.core])
        for each, limited in self.resources:
            fits &= n * each[first] + many * each[second] <= limited
        if search.rectangles:
            fits &= each_fits(search.rectangles, blocks, first, n * blocks.modules_each[first], second, many * blocks.modules_each[second])
        return np.asarray(fits & ~search.forbidden(self.core, blocks, first, second))
