"""Designs of a later date as rows of numbers; of few of them a column for a program is made."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np

from optimizer.choice.prune import undominated_in_groups
from optimizer.growth.offers import Listed, Priced
from optimizer.growth.plan_program import Column

Trackers = tuple[tuple[str, int, int], ...]
"""Controllers of a design: module, modules on each, number."""


@dataclass(frozen=True)
class Followers:
    """Designs that may be those of one later date, the cheapest first; arrays of shape (designs,), `used` (designs, items)."""

    cents: np.ndarray
    """Cost at the prices at which designs are listed."""
    used: np.ndarray
    yearly_cents: np.ndarray
    """What their sources burn in a year."""
    volts: np.ndarray
    trackers: tuple[Trackers, ...]
    _make: tuple[Callable[[], Column], ...]
    _made: dict[int, Column] = field(default_factory=dict)

    def column(self, at: int) -> Column:
        """A design as a column."""
        if at not in self._made:
            self._made[at] = self._make[at]()
        return self._made[at]

    @classmethod
    def of_columns(cls, columns: Sequence[Column], cents: Sequence[float], items: Sequence[str]) -> Followers:
        """Designs that are columns already."""
        used = np.array([[column.usage.get(item, 0) for item in items] for column in columns], dtype=float)
        trackers = [tuple((module, each, n) for (module, each), n in column.trackers.items()) for column in columns]
        yearly = np.array([column.yearly_cents for column in columns])
        return cls._of(np.array(cents), used, yearly, np.array([column.volts for column in columns]), trackers, [_same(column) for column in columns])

    @classmethod
    def of_listed(cls, found: Iterable[tuple[Priced, Listed]], items: Sequence[str], most: int, ends: float) -> Followers | None:
        """Designs that a search lists, without those that use more of everything than another; None where there are none, more than
        `most`, or where the clock comes to `ends` [s].
        """
        cents, used, yearly, volts = [], [], [], []
        trackers: list[Trackers] = []
        make: list[Callable[[], Column]] = []
        for search, listed in found:
            if len(make) + len(listed.cents) > most or time.perf_counter() > ends:
                return None
            cents.append(listed.cents)
            used.append(search.usage(listed, items))
            yearly.append(search.yearly_cents(listed))
            volts.append(np.full(len(listed.cents), search.cores.classes[listed.number].volts))
            trackers += search.trackers(listed)
            make += [_made(search, listed, at) for at in range(len(listed.cents))]
        if not make:
            return None
        return cls._of(np.concatenate(cents), np.concatenate(used), np.concatenate(yearly), np.concatenate(volts), trackers, make)

    @classmethod
    def _of(
        cls, cents: np.ndarray, used: np.ndarray, yearly_cents: np.ndarray, volts: np.ndarray, trackers: Sequence[Trackers], make: Sequence[Callable[[], Column]],
    ) -> Followers:
        numbers: dict[object, int] = {}
        group = np.array([numbers.setdefault((int(u), tuple(sorted(one))), len(numbers)) for u, one in zip(volts, trackers, strict=True)])
        rows = np.nonzero(undominated_in_groups(group, np.column_stack([used, yearly_cents])))[0]
        rows = rows[np.argsort(cents[rows], kind="stable")]
        return cls(cents[rows], used[rows], yearly_cents[rows], volts[rows], tuple(trackers[row] for row in rows.tolist()), tuple(make[row] for row in rows.tolist()))


def _same(column: Column) -> Callable[[], Column]:
    return lambda: column


def _made(search: Priced, listed: Listed, at: int) -> Callable[[], Column]:
    return lambda: Column.of(search.design(listed, at), search.offers.stock.prices)
