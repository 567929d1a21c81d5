"""An array that is set anew some times a year: its positions, their months, and every way to set it that may be worth it.

A way is a tilt for each month. Months of one position follow each other around the year, so that the tilt is changed as often
as there are runs of months.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from optimizer.inputs.problem import MONTHS


@dataclass(frozen=True)
class Position:
    """A tilt and the months in which the array has it, in their order around the year; 0 is January."""

    tilt_deg: float
    months: tuple[int, ...]

    @property
    def words(self) -> str:
        """A position as a person says it.

        >>> Position(60.0, (9, 10, 11, 0, 1)).words
        '60 deg Oct to Feb'
        """
        first, last = MONTHS[self.months[0]], MONTHS[self.months[-1]]
        return f"{self.tilt_deg:g} deg {first}" + (f" to {last}" if first != last else "")


def positions(tilt_deg_by_month: Sequence[float]) -> tuple[Position, ...]:
    """Runs of months with one tilt; the first is the one that begins first in the year. One with all months where the tilt never changes.

    >>> [one.words for one in positions([60] * 2 + [20] * 7 + [60] * 3)]
    ['20 deg Mar to Sep', '60 deg Oct to Feb']
    """
    starts = [month for month in range(12) if tilt_deg_by_month[month] != tilt_deg_by_month[month - 1]] or [0]
    runs = zip(starts, [*starts[1:], starts[0] + 12], strict=True)
    return tuple(Position(float(tilt_deg_by_month[start]), tuple(month % 12 for month in range(start, end))) for start, end in runs)


def changes_a_year(tilt_deg_by_month: Sequence[float]) -> int:
    """How often the tilt is changed in a year.

    >>> changes_a_year([60] * 2 + [20] * 7 + [60] * 3), changes_a_year([30] * 12)
    (2, 0)
    """
    runs = len(positions(tilt_deg_by_month))
    return runs if runs > 1 else 0


def all_year(tilt_by_use: np.ndarray, months_of_use: Sequence[int]) -> np.ndarray:
    """Tilts of all twelve months from those of the months of use; in the others the array stays as it was last. Shape (ways, 12)."""
    last = [max((at for at, one in enumerate(months_of_use) if one <= month), default=len(months_of_use) - 1) for month in range(12)]
    return np.asarray(tilt_by_use[:, last])


def ways_to_set(sun_h: np.ndarray, changes: int) -> np.ndarray:
    """Every way to set an array that may be worth it: which of some tilts it has in each month, shape (ways, months).

    sun_h: sun hours that count, by tilt and month of use [h/day]
    changes: times a year that the tilt may be changed; below 2 it stays as it is
    For each way to cut the year into so many runs of months, each run takes each tilt that no other beats in every month of the
    run: in a way with a beaten tilt, the other tilt in its place gives no less in any month and is changed no more often.
    """
    months = sun_h.shape[1]
    return np.array(_ways_to_set(tuple(map(tuple, sun_h.tolist())), min(changes, months)), dtype=int).reshape(-1, months)


@lru_cache(maxsize=64)
def _ways_to_set(sun_h: tuple[tuple[float, ...], ...], changes: int) -> np.ndarray:
    sun = np.array(sun_h)
    months = sun.shape[1]
    unbeaten: dict[tuple[int, ...], np.ndarray] = {}
    found = []
    for cuts in combinations(range(months), changes) if changes >= 2 else ((0,),):
        runs = [tuple(month % months for month in range(start, end)) for start, end in zip(cuts, [*cuts[1:], cuts[0] + months], strict=True)]
        for run in runs:
            if run not in unbeaten:
                unbeaten[run] = _unbeaten(sun[:, run])
        each = np.meshgrid(*(unbeaten[run] for run in runs), indexing="ij")
        ways = np.empty((each[0].size, months), dtype=np.int16)
        for run, tilt in zip(runs, each, strict=True):
            ways[:, run] = tilt.ravel()[:, None]
        found.append(ways)
    return np.unique(np.concatenate(found), axis=0)


def _unbeaten(sun_h: np.ndarray) -> np.ndarray:
    """Tilts that no other beats in every month; of equals the first."""
    kept: list[int] = []
    for at in np.argsort(-sun_h.sum(axis=1), kind="stable"):  # what beats another has no smaller sum
        if not any((sun_h[other] >= sun_h[at]).all() for other in kept):
            kept.append(int(at))
    return np.array(sorted(kept))


def most_in_the_weakest(sun_h: np.ndarray) -> int:
    """The row with the greatest least value, of equals with the greatest next, of equals the first.

    sun_h: by way and month of use, or what stands for them [h/day]
    """
    in_order = np.round(np.sort(sun_h, axis=1), 9)
    left = np.arange(len(sun_h))
    for column in in_order.T:
        left = left[column[left] == column[left].max()]
    return int(left[0])
