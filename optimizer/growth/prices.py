"""Prices that a node is asked to pay for the use of items."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Prices:
    """What a node is asked to pay [cents]: by piece, by so many pieces together, and once by the bank's voltage."""

    each: Mapping[str, float]
    together: Mapping[str, np.ndarray] = field(default_factory=dict)
    """For parts of the core: what so many pieces cost together, from none on; beyond the last the price by piece goes on."""
    volts: Mapping[int, float] = field(default_factory=dict)
    by_lots: Mapping[tuple[str, Any], np.ndarray] = field(default_factory=dict)
    """The same by item and the lots that bring the pieces, of which a node takes the least; as `together`."""

    @cached_property
    def _beyond(self) -> dict[str, float]:
        """What each piece beyond the last of a table costs. Pieces of several lots may all be first ones of theirs, and cost no more than these."""
        found = {item: self.each.get(item, 0.0) for item in self.together}
        for (item, _), table in self.by_lots.items():
            if item in found and len(table) == 1:
                found[item] = min(found[item], float(table[0]))
        return found

    def of(self, item: str, pieces: float) -> float:
        """Cost of so many pieces of an item."""
        table = self.together.get(item)
        if table is None:
            return self.each.get(item, 0.0) * pieces
        last = len(table) - 1
        return float(table[int(pieces)]) if pieces <= last else float(table[last]) + self._beyond[item] * (pieces - last)

    def of_each(self, item: str, pieces: np.ndarray) -> np.ndarray:
        """The same for many numbers of pieces at once."""
        table = self.together.get(item)
        if table is None:
            return self.each.get(item, 0.0) * pieces
        last = len(table) - 1
        return np.asarray(table[np.minimum(pieces, last).astype(int)] + self._beyond[item] * np.maximum(pieces - last, 0.0))

    def cost(self, usage: Mapping[str, float], volts: int) -> float:
        """Cost of a design by what it uses."""
        return sum(self.of(item, n) for item, n in usage.items()) + self.volts.get(volts, 0.0)

    def drawn_to(self, other: Prices, share: float) -> Prices:
        """Between these prices and others, `share` of the others."""
        def mixed(a: float, b: float) -> float:
            return (1 - share) * a + share * b

        def table(item: str, lots: Any) -> np.ndarray:
            mine, its = self.by_lots.get((item, lots)), other.by_lots.get((item, lots))
            long = max(len(one) if one is not None else 0 for one in (mine, its))
            if long == 1:
                return np.array([mixed(self.between(item, lots, 0, 1), other.between(item, lots, 0, 1))])
            return np.array([mixed(self.between(item, lots, 0, n), other.between(item, lots, 0, n)) for n in range(long)])

        each = {item: mixed(self.each.get(item, 0.0), other.each.get(item, 0.0)) for item in {*self.each, *other.each}}
        by_lots = {key: table(*key) for key in {*self.by_lots, *other.by_lots}}
        of_item: dict[str, list[np.ndarray]] = {}
        for (item, _), one in by_lots.items():
            of_item.setdefault(item, []).append(one)
        together: dict[str, np.ndarray] = {}
        for item, tables in of_item.items():
            long = max(len(one) for one in tables)
            if long == 1:
                each[item] = float(min(one[0] for one in tables))
            else:
                together[item] = np.min([one if len(one) == long else one[0] * np.arange(long) if len(one) == 1 else _longer(one, long, each[item]) for one in tables], axis=0)
        volts = {v: mixed(self.volts.get(v, 0.0), other.volts.get(v, 0.0)) for v in {*self.volts, *other.volts}}
        return Prices(each, together, volts, by_lots)

    def between(self, item: str, lots: Any, fewer: int, more: int) -> float:
        """What the pieces beyond `fewer` up to `more` are worth from some lots."""
        table = self.by_lots.get((item, lots))
        if table is None:
            return self.of(item, more) - self.of(item, fewer)
        if len(table) == 1:
            return float(table[0]) * (more - fewer)
        each = self.each.get(item, 0.0)

        def to(pieces: int) -> float:
            return float(table[min(pieces, len(table) - 1)]) + each * max(0, pieces - len(table) + 1)

        return to(more) - to(fewer)


def _longer(table: np.ndarray, long: int, each: float) -> np.ndarray:
    return np.concatenate([table, table[-1] + each * np.arange(1, long - len(table) + 1)])
