"""Where many candidates are left, or no design is known, as in an impossible problem: which blocks and cores no array within the limits can contain.

A limit that adds up (controllers, area, charge current, weight, the controllers' own use, money below a known design) is shared by all blocks. What a
block leaves of it is given to the block that makes the most of it; if even that does not meet what the core asks for,
the block is in no design on this core. The mean of several limits, each in shares of its own, is such a limit as well,
and often a tighter one.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.dominance import SLACK_CENTS, telling_months
from optimizer.choice.feeding import floor_wh
from optimizer.choice.planes import areas, most_on_all_planes, rectangle_limits, whole_area_m2
from optimizer.choice.table import Table
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.choice.candidates import CandidateSearch


MANY = 5_000
"""Blocks times cores from which it pays to look at them once more."""


CORES_PAIRED = 3
BLOCKS_PAIRED = 2500
"""Cores of a class, the cheapest first, and most blocks of which every pair is priced to come by a known design."""


def narrow(search: CandidateSearch) -> None:
    """Drop blocks and cores that are in no array within the limits, and price what is left in pairs, while that helps."""
    while sum(len(blocks) * len(search.core_rows[number]) for number, blocks in search.blocks.items()) > (MANY if np.isfinite(search.most) else 0):
        before = search.most
        for number in list(search.blocks):
            _narrow_class(search, number)
        search.price_pairs()
        if not search.most < before:
            _pair_some(search)
        if not search.most < before:
            return


def have_room(search: CandidateSearch, cores: Table, blocks: Table) -> np.ndarray:
    """Cores of a class whose energy fits each limit by itself, even with the block that makes the most of that limit."""
    area, most_controllers = whole_area_m2(search.needs), search.problem.bounds.controllers
    limits = [("bounds", np.ones(len(blocks)), np.full(len(cores), float(most_controllers)), "controllers")]
    if area is not None and search.screening.enforced("array-area"):
        limits.append(("array-area", blocks.area_m2, np.full(len(cores), area), "m2"))
    if search.screening.enforced("maximum-charge-current"):
        limits.append(("maximum-charge-current", blocks.high_a, cores.most_charge_a, "A of charge"))
    room = np.ones(len(cores), dtype=bool)
    for rule, taken, most, unit in limits:
        with np.errstate(divide="ignore", invalid="ignore"):
            best = np.nan_to_num(blocks.harvest_wh / taken[:, None], nan=0.0, posinf=np.inf).max(axis=0)
            by_month = np.nan_to_num(floor_wh(cores) * (1 - TOLERANCE) / best, nan=0.0, posinf=np.inf)
        least = by_month.max(axis=1)
        fits = np.asarray(least <= most * (1 + TOLERANCE))
        if (room & ~fits).any():
            at = int(np.argmin(np.where(room & ~fits, least / np.maximum(most, 1e-9), np.inf)))
            month = search.needs.span_name(int(by_month[at].argmax()))
            text = f"with the best array the loads ask for {least[at]:.3g} {unit} in {month}, {most[at]:.3g} may be"
            search.screening.lost(rule, int((room & ~fits).sum()), int((room & fits).sum()), text)
        room &= fits
    return room


def narrow_once(search: CandidateSearch) -> None:
    """Drop blocks and cores that are in no array within the limits."""
    for number in list(search.blocks):
        _narrow_class(search, number)


def _pair_some(search: CandidateSearch) -> None:
    """Designs of two kinds on a few cores of each class, though they are too many to be priced on all."""
    if search.problem.bounds.array_kinds != 2:
        return
    for number, blocks in search.blocks.items():
        if len(blocks) <= BLOCKS_PAIRED and not search.is_fed(number):
            months = telling_months(blocks.harvest_wh, search.cores.table.take(search.core_rows[number]).needed_wh)
            for at in np.argsort(search.cores.table.least_cost[search.core_rows[number]], kind="stable")[:CORES_PAIRED]:
                search.pair_core(number, int(search.core_rows[number][at]), months)


def _narrow_class(search: CandidateSearch, number: int) -> None:
    left = -1
    while number in search.blocks and left != (left := len(search.blocks[number]) * len(search.core_rows[number])):
        blocks, rows = search.blocks[number], search.core_rows[number]
        cores = search.cores.table.take(rows)
        fits = np.ones((len(rows), len(blocks)), dtype=bool)
        for taken in _shares_taken(search, blocks, rows):
            fits &= completable(given_by(blocks), np.where(fits, taken, np.inf), asked_by(cores))
        if not fits.any():
            search.drop(number)
        else:
            search.core_rows[number] = rows[np.asarray(fits.any(axis=1))]
            search.blocks[number] = blocks.take(np.asarray(fits.any(axis=0)))


def _shares_taken(search: CandidateSearch, blocks: Table, rows: np.ndarray) -> Iterator[np.ndarray]:
    """Share that each block takes of each limit of each core, and mixtures; each of shape (cores, blocks)."""
    stands = np.array([search.most_of_each(blocks, int(core)) for core in rows])
    controllers = np.where(blocks.parallel_ok, 1 / search.problem.bounds.controllers, 1.0)  # one that shares no bank is alone
    limits = [dict(search.resources(int(core))) for core in rows]
    with np.errstate(divide="ignore", invalid="ignore"):
        each = [np.where(stands > 0, controllers, np.inf)]
        if blocks.built_in.any():
            each.append(np.where(blocks.built_in, 1 / stands, 0.0))
        for column in limits[0]:
            most = np.array([limit[column] for limit in limits])
            each.append(blocks.columns[column] / np.maximum(most, 1e-9)[:, None])
    if np.isfinite(search.most):
        money = search.most + SLACK_CENTS - search.cores.table.least_cost[rows]
        each.append(blocks.least_cost / np.maximum(money, 1e-9)[:, None])
    yield from each
    for one, other in combinations(each, 2):
        for part in (0.75, 0.5, 0.25):
            yield part * one + (1 - part) * other
    yield np.sum(each, axis=0) / len(each)


def given_by(blocks: Table) -> np.ndarray:
    """What blocks give towards needs that add up: energy by month, and charge current at least."""
    return np.column_stack([blocks.harvest_wh, blocks.low_a])


def asked_by(cores: Table) -> np.ndarray:
    """What cores ask for, in the same columns."""
    return np.column_stack([floor_wh(cores), cores.least_a])


def completable(supply: np.ndarray, taken: np.ndarray, demand: np.ndarray) -> np.ndarray:
    """Which blocks can be part of an array that meets all that a core asks for, one limit at a time.

    supply: what a block gives towards needs that add up [Wh/day and A], shape (blocks, needs)
    taken: share of a limit of the core that a block takes, shape (cores, blocks); infinite where they do not fit
    demand: what a core asks for, in the same columns, shape (cores, needs)
    Returns a mask of shape (cores, blocks). What a block leaves of the limit is given to the block that makes the most of
    it, in each need another one; no real array beats that.
    """
    taken = np.maximum(taken, 1e-12)
    rest = 1.0 + TOLERANCE - taken
    fits = rest >= 0
    with np.errstate(invalid="ignore"):
        for need in range(supply.shape[1]):
            best = np.maximum(supply[:, need] / taken, 0.0).max(axis=1)
            given = supply[:, need] + np.where(fits, rest, 0.0) * best[:, None]
            fits &= given >= demand[:, need, None] * (1 - 2 * TOLERANCE) - TOLERANCE
    return np.asarray(fits)


def reachable(search: CandidateSearch, number: int) -> tuple[np.ndarray, str]:
    """Cores of a class whose need the blocks can meet at all within area, controllers and charge current; where one of
    these leaves no core, what it falls short by.
    """
    blocks, problem, enforced = search.blocks[number], search.problem, search.screening.enforced
    cores = search.cores.table.take(search.core_rows[number])
    ways = [(problem.bounds.controllers * blocks.harvest_wh.max(axis=0)[None, :], f"{problem.bounds.controllers} controllers, our bound, harvest")]
    area = whole_area_m2(search.needs)
    if area is not None and enforced("array-area"):
        most = np.zeros(blocks.harvest_wh.shape[1])
        for column, at, of_plane in areas(search.needs):
            there = blocks.plane == at
            if there.any():  # a block that takes more than it harvests is best left out
                most += of_plane * np.maximum((blocks.harvest_wh[there] / blocks.columns[column][there, None]).max(axis=0), 0.0)
        ways.append((most[None, :], f"{area:g} m2 of modules harvest"))
    if len(search.needs.planes) > 1:
        limits = rectangle_limits(search.rectangles, blocks)
        if enforced("array-area"):
            limits += [(column, area) for column, _, area in areas(search.needs)]
        on_all = most_on_all_planes(search.needs, limits, blocks)
        if on_all is not None:
            ways.append((on_all[None, :], "modules on all planes harvest"))
    if enforced("maximum-charge-current"):
        each = (blocks.harvest_wh / np.maximum(blocks.high_a, 1e-9)[:, None]).max(axis=0)
        ways.append((cores.most_charge_a[:, None] * each[None, :], "as much array as the bank may be charged by harvests"))
    alive, short = np.ones(len(cores), dtype=bool), ""
    for most_wh, what in ways:
        fits = np.asarray((floor_wh(cores) <= most_wh * (1 + 1e-6) + 1e-6).all(axis=1))
        if not fits.all():
            example = _shortest_month(search, floor_wh(cores), most_wh, what)
            search.screening.lost("monthly-balance", int((~fits).sum()), int(fits.sum()), example)
            short = short if fits.any() else example
        alive &= fits
    return alive, short


def _shortest_month(search: CandidateSearch, needed_wh: np.ndarray, most_wh: np.ndarray, what: str) -> str:
    """In words the month in which the core that comes nearest to its need is shortest."""
    share = most_wh / np.maximum(needed_wh, 1e-9)
    row, month = np.unravel_index(int(np.argmin(np.where(share.min(axis=1) == share.min(axis=1).max(), 0, 1)[:, None] + share)), share.shape)
    return f"in {search.needs.span_name(int(month))} {what} at most {100 * share[row, month]:.0f} % of what is needed"
