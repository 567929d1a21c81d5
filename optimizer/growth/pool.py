"""Designs on offer for one site's demands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from optimizer.choice.prune import undominated
from optimizer.design import Design
from optimizer.growth.fitted import OffersOfWays
from optimizer.growth.offers import Offers
from optimizer.growth.plan_program import Column
from optimizer.proof.check import check_design


class Pool:
    """Designs of one site's demands that are on offer, none twice. A plan's designs are checked; one that fails goes for good."""

    def __init__(self, offers: Offers | OffersOfWays) -> None:
        self.offers = offers
        self.columns: dict[tuple[object, ...], Column] = {}
        self._barred: set[tuple[object, ...]] = set()
        self._held: set[tuple[object, ...]] = set()

    def holds(self, column: Column) -> bool:
        """Whether the check accepts a design; one that it does not accept is taken off the offer."""
        if column.key in self._held:
            return True
        offers = self.offers.of(column.design)
        if check_design(column.design, offers.needs, offers.catalog, offers.stock.prices).valid:
            self._held.add(column.key)
            return True
        self._barred.add(column.key)
        self.columns.pop(column.key, None)
        return False

    def add(self, designs: Iterable[Design]) -> None:
        """Put designs on offer."""
        for design in designs:
            stock = self.offers.of(design).stock
            column, most = Column.of(design, stock.prices), stock.at_most
            if column.key not in self._barred and all(column.usage.get(part, 0) <= limit for part, limit in most.items()):
                self.columns.setdefault(column.key, column)


def undominated_columns(columns: Sequence[Column], *, lots: bool) -> list[Column]:
    """Columns of which no other of the same voltage uses at most as much of every item.

    lots: whether modules of several lots may be there: then only columns whose controllers hold the same modules compare.
    """
    groups: dict[object, list[Column]] = {}
    for column in columns:
        groups.setdefault((column.volts, frozenset(column.trackers.items()) if lots else None), []).append(column)
    kept: list[Column] = []
    for group in groups.values():
        items = sorted({item for column in group for item in column.usage})
        used = np.array([[*(column.usage.get(item, 0) for item in items), column.yearly_cents] for column in group], dtype=float)
        flat = np.zeros(len(group))
        mask = undominated(flat, flat, used, np.arange(len(group)))
        kept += [column for column, stays in zip(group, mask, strict=True) if stays]
    return kept
