"""Designs of one and two kinds of block beside a generator, priced one by one: the counterpart of the smallest counts.

With fuel the smallest counts are not the cheapest, so every number of both kinds is looked at. What keeps them few is the
excess of the blocks: a design costs at least the bound of its core and the excess of all its blocks (`EnergyPrices`).
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.dominance import SLACK_CENTS, uses_terminals
from optimizer.choice.feeding import bounds_alike, least_wh
from optimizer.choice.rectangles import each_fits, most_modules
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch

DESIGNS_MOST = 30_000_000
"""Designs of a class that are priced one by one; where there are more, the program chooses among them."""

AT_ONCE = 400_000
"""Designs that are priced in one step."""


def try_fed_pairs(search: CandidateSearch, number: int) -> None:
    """Price the designs of a class, keep the best as a known one, drop cores and blocks that no design as cheap has."""
    blocks, rows = search.blocks[number], search.core_rows[number]
    cores = search.cores.table.take(rows)
    bounds, excess = np.zeros(len(rows)), np.zeros((len(rows), len(blocks)))
    for alike, least, beyond in bounds_alike(cores, blocks):
        bounds[alike], excess[alike] = least, beyond
    left = DESIGNS_MOST
    block_least, core_least = np.full(len(blocks), np.inf), np.full(len(rows), np.inf)
    for at in np.argsort(bounds, kind="stable"):
        if bounds[at] > search.most + SLACK_CENTS:
            break
        for first, n, second, m in numbers_within(search, number, int(rows[at]), excess[at], search.most + SLACK_CENTS - bounds[at]):
            left -= len(first)
            if left < 0:
                return
            cost = fed_cents(search, number, int(rows[at]), first, n, second, m, search.most + SLACK_CENTS)
            np.minimum.at(block_least, first, cost)
            np.minimum.at(block_least, second, cost)
            core_least[at] = min(core_least[at], float(cost.min(initial=np.inf)))
            _keep(search, number, int(rows[at]), (first, n, second, m), cost)
    search.keep_cheap(number, core_least, block_least)


def numbers_within(search: CandidateSearch, number: int, core: int, excess: np.ndarray, room_cents: float) -> Iterator[tuple[np.ndarray, int, np.ndarray, int]]:
    """So many of a first block and so many of a second whose excess leaves a chance; a block alone is its own second, 0 times."""
    blocks, most = search.blocks[number], search.most_of_each(search.blocks[number], core)
    controllers = search.problem.bounds.controllers
    order = np.argsort(excess, kind="stable")
    ranked = excess[order]
    for n in range(1, controllers + 1):
        alone = np.nonzero((n * excess <= room_cents) & (n <= most))[0]
        if len(alone):
            yield alone, n, alone, 0
        if search.problem.bounds.array_kinds < 2:
            continue
        able = alone[blocks.parallel_ok[alone]]
        for m in range(1, controllers + 1 - n):
            reach = np.searchsorted(ranked, (room_cents - n * excess[able]) / m, side="right")
            up_to = np.cumsum(reach)
            for step in np.unique(up_to // AT_ONCE):
                rows = np.nonzero(up_to // AT_ONCE == step)[0]
                first = np.repeat(able[rows], reach[rows])
                place = np.arange(len(first)) - np.repeat(up_to[rows] - reach[rows] - (up_to[rows[0]] - reach[rows[0]]), reach[rows])
                second = order[place]
                kept = (first != second) & blocks.parallel_ok[second] & (m <= most[second])
                if n == m:
                    kept &= first < second  # the other way round is the same design
                if kept.any():
                    yield first[kept], n, second[kept], m


def fed_cents(
    search: CandidateSearch, number: int, core: int, first: np.ndarray, n: int, second: np.ndarray, m: int, most_cents: float,
) -> np.ndarray:
    """Cost of designs on a core with their fuel, infinite where they do not fit or cost more than `most_cents` [cents]."""
    blocks, table = search.blocks[number], search.cores.table
    whole, place = np.full(len(first), np.inf), np.arange(len(first))

    def both(column: np.ndarray) -> np.ndarray:
        return np.asarray(n * column[first] + m * column[second]) if m else np.asarray(n * column[first])

    cost, taken, least = table.least_cost[core] + both(blocks.least_cost), np.zeros(len(first)), least_wh(table, core)
    # Where most may be missing first: after a few months few designs are left.
    for month in np.argsort(-table.needed_wh[core] * table.feed_cents[core], kind="stable"):
        harvest = both(blocks.harvest_wh[:, month])
        missing = np.maximum(table.needed_wh[core, month] - harvest, 0.0)
        cost = cost + table.feed_cents[core, month] * missing
        taken += missing * search.days[month]
        left = (harvest >= least[month]) & (cost <= most_cents)
        if not left.all():
            first, second, place, cost, taken = first[left], second[left], place[left], cost[left], taken[left]
    fits = taken <= table.share_wh[core]
    fits &= both(blocks.low_a) >= table.least_a[core] * (1 - TOLERANCE)
    if uses_terminals(search.needs):
        fits &= both(np.minimum(blocks.terminal_a, 1e6)) >= table.terminal_a[core] * (1 - TOLERANCE)
    for asked, pieces in search.demanded_pieces(blocks):
        fits &= both(pieces) >= asked
    for span in range(blocks.harvest_wh.shape[1] if "spare_wh" in table.columns else 0):
        each = blocks.harvest_wh[:, span]
        largest = np.maximum(each[first], each[second]) if m else each[first]
        fits &= both(each) - largest >= table.spare_wh[core, span] * (1 - TOLERANCE)
    fits &= ~(blocks.built_in[first] & blocks.built_in[second]) | (n + m <= table.inverter_count[core])
    for column, most in search.resources(core):
        fits &= both(blocks.columns[column]) <= most
    if search.rectangles:
        modules, room = blocks.modules_each, search.rectangles
        fits &= each_fits(room, blocks, first, n * modules[first], second, m * modules[second]) if m else n * modules[first] <= most_modules(room, blocks)[first]
    if m:
        fits &= ~search.forbidden(core, blocks, first, second)
    elif search.kinds.forbidden:
        fits &= ~search.forbidden(core, blocks)[first]
    whole[place[fits]] = cost[fits]
    return whole


def _keep(search: CandidateSearch, number: int, core: int, numbers: tuple[np.ndarray, int, np.ndarray, int], cost: np.ndarray) -> None:
    """The cheapest that is there, as a known design."""
    first, n, second, m = numbers
    for at in np.argsort(cost, kind="stable")[:4]:
        if not cost[at] < search.most:
            return
        search.known_cents(number, core, [(int(first[at]), n), *([(int(second[at]), m)] if m else [])])
