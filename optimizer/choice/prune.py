"""Exact pruning: what may be dropped without touching the optimum. See docs/program.md.

A may drop B only if in everything that a row of the program can see A is at least as good. Energy above the
greatest need is worth nothing; current is compared "at least" and "at most"; parts that are owned, limited,
demanded or in packs are compared piece by piece.
"""

from __future__ import annotations

import numpy as np

CHUNK = 256
"""Rows that are looked at together at first; twice as many each time, up to MOST_AT_ONCE, since fewer of them are left to compare among themselves."""

MOST_AT_ONCE = 1024

FIRST_ASKED, MORE_ASKED_X = 16, 4
"""Kept rows that are asked first what they drop, those that dropped most so far; then so many times as many, of what is left."""


def undominated(cost: np.ndarray, usage_cost: np.ndarray, attributes: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Mask of the rows that no other row dominates.

    cost: what replacing anything by this row costs at most [cents], shape (n,)
    usage_cost: what this row costs at least when it is replaced [cents], shape (n,); never above `cost`, and equal to it without special parts
    attributes: everything else, smaller is better, shape (n, k)
    order: rank of the row among equals, smaller is preferred, shape (n,)
    A drops B when cost[A] <= usage_cost[B] and A is at most B in every attribute; exact equals go by `order`.
    """
    count = len(cost)
    if count < 2:
        return np.ones(count, dtype=bool)
    sequence = np.lexsort((order, cost))
    cost, usage_cost, places = cost[sequence], usage_cost[sequence], attributes[sequence].T
    if count > CHUNK:
        places = _places(places[(places != places[:, :1]).any(axis=1)])
    kept, dropped = np.zeros(0, dtype=int), np.zeros(0, dtype=int)
    start, step = 0, CHUNK
    while start < count:
        rows = np.arange(start, min(start + step, count))
        start, step = start + step, min(2 * step, MOST_AT_ONCE)
        rows = _left_by(kept, dropped, rows, cost, usage_cost, places)
        # Rows of one chunk may still drop later rows of it; what a dropped row drops, the row that dropped it drops as well.
        among = _dominated(cost[rows], places[:, rows], usage_cost[rows], places[:, rows])
        stands = rows[~np.triu(among, 1).any(axis=0)]
        kept, dropped = np.concatenate([kept, stands]), np.concatenate([dropped, np.zeros(len(stands), dtype=int)])
    mask = np.zeros(count, dtype=bool)
    mask[sequence[kept]] = True
    return mask


def _left_by(kept: np.ndarray, dropped: np.ndarray, rows: np.ndarray, cost: np.ndarray, usage_cost: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Rows that none of the kept ones drops; `dropped` counts on how many each has dropped. Most rows fall to a few."""
    order = np.argsort(-dropped, kind="stable")
    at, asked = 0, FIRST_ASKED
    while at < len(kept) and len(rows):
        some = order[at:at + asked]
        at, asked = at + asked, asked * MORE_ASKED_X
        drops = _dominated(cost[kept[some]], places[:, kept[some]], usage_cost[rows], places[:, rows])
        dropped[some] += drops.sum(axis=1)
        rows = rows[~drops.any(axis=0)]
    return rows


def undominated_in_groups(group: np.ndarray, attributes: np.ndarray) -> np.ndarray:
    """Mask of the rows than which no other row of their group is at most as large in every attribute; exact equals go by their row.

    group: number of each row's group, shape (n,); meant for many small groups.
    attributes: smaller is better, shape (n, k)
    """
    places = _places(attributes[:, (attributes != attributes[:1]).any(axis=0)].T)
    # A row that drops another stands before it: its places add up to less.
    sequence = np.lexsort((places.sum(axis=0, dtype=int), group))
    places, of_group = places[:, sequence], group[sequence]
    begins = np.nonzero(np.diff(of_group, prepend=-1))[0]
    sizes = np.diff(begins, append=len(group))
    ends = np.repeat(begins + sizes, sizes)
    kept = np.ones(len(group), dtype=bool)
    for step in range(1, int(sizes.max(initial=0))):
        first = np.nonzero(kept[:-step] & kept[step:] & (ends[:-step] == ends[step:]))[0]
        drops = (places[:, first] <= places[:, first + step]).all(axis=0)
        kept[first[drops] + step] = False
    mask = np.zeros(len(group), dtype=bool)
    mask[sequence[kept]] = True
    return mask


def _places(attributes: np.ndarray) -> np.ndarray:
    """Each value's place among its column's values, shape (k, n): small integers in a row compare several times as fast."""
    narrow = np.int16 if attributes.shape[1] <= np.iinfo(np.int16).max else np.int32
    return np.array([np.unique(column, return_inverse=True)[1].ravel() for column in attributes], dtype=narrow).reshape(attributes.shape)


def _dominated(cost: np.ndarray, places: np.ndarray, usage_cost: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Whether row i of the first drops row j of the second, shape (first, second); places of shape (k, first) and (k, second)."""
    under = cost[:, None] <= usage_cost[None, :]
    for mine, theirs in zip(places, other, strict=True):
        under &= mine[:, None] <= theirs[None, :]
    return under


def completion_bound(cost: np.ndarray, harvest_wh: np.ndarray, core_cost: np.ndarray, needed_wh: np.ndarray, rate: np.ndarray) -> np.ndarray:
    """Least cost of a whole design that takes each block at least once, by the energy of one month.

    cost, harvest_wh: blocks [cents, Wh/day], shape (blocks,)
    core_cost, needed_wh: cores of the class [cents, Wh/day], shape (cores,)
    rate: least cost of a watt-hour a day among the blocks of the class [cents d/Wh]
    The rest of the need is bought at the best rate, which no real block beats.
    """
    order = np.lexsort((needed_wh, core_cost))
    best = np.full(len(cost), np.inf)
    least_need = np.inf
    for row in order:
        if needed_wh[row] >= least_need:
            continue
        least_need = needed_wh[row]
        best = np.minimum(best, core_cost[row] + rate * np.maximum(0.0, least_need - harvest_wh))
    return np.asarray(cost + best)
