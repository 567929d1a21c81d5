"""The kits that a problem may buy: what they save, and which of them make a bill least."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from typing import Protocol

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import (
    AlternatorCharger,
    Autotransformer,
    Busbar,
    Cable,
    Charger,
    Generator,
    Protection,
    SoftStarter,
)
from optimizer.inputs.kits import Kit
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Allowance, Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.rules.book import Severities
from optimizer.rules.money import bought_pieces


class PiecePrices(Protocol):
    """What kits ask of a price list: pieces one by one."""

    problem: Problem
    owned: Counter[str]

    def freight_cents(self, part: Part) -> int:
        """Freight of one bought piece [cents]."""

    def bought_cents(self, part: Part) -> int:
        """Price of one bought piece with its freight [cents]."""


class KitPrices:
    """The kits that one problem may buy, and which of them make a bill least."""

    def __init__(self, prices: PiecePrices, catalog: Catalog) -> None:
        self._prices, self._parts = prices, catalog.by_id
        locks, severities = prices.problem.locks, Severities(prices.problem.rules)
        self.stock_holds = severities.enforced("stock")
        self.offered: dict[str, Kit] = {}
        self.least: dict[str, int] = {}
        """Kits that the problem demands, with their number."""
        self.most: dict[str, int] = {}
        """Most of a kit that stock and the problem's locks allow."""
        for kit in catalog.kits:
            if kit.id in locks.exclude or locks.at_most.get(kit.id) == 0 or any(part not in self._parts for part in kit.contents):
                continue
            if kit.stock is not None and self.stock_holds:
                self.most[kit.id] = kit.stock
            if kit.id in locks.at_most and severities.enforced("part-limit"):
                self.most[kit.id] = min(locks.at_most[kit.id], self.most.get(kit.id, locks.at_most[kit.id]))
            if kit.id in locks.at_least and severities.enforced("part-demanded"):
                self.least[kit.id] = locks.at_least[kit.id]
            if kit.id in self.least or self._can_save(kit):
                self.offered[kit.id] = kit
        self.parts = frozenset(part for kit in self.offered.values() for part in kit.contents)
        """Parts that some kit holds."""
        self._known: dict[tuple[tuple[str, int], ...], dict[str, int]] = {}
        self._ordered_parts = sorted(self.parts)
        self._cuts = self.cuts_of(list(self.offered.values()))

    def _can_save(self, kit: Kit) -> bool:
        """Whether a kit can make any bill less, or bring pieces that are not to be had otherwise."""
        scarce = any(self._parts[part].stock is not None or self._parts[part].pack_qty > 1 for part in kit.contents)
        return scarce or self.saves(kit) > 0

    def freight_cents(self, kit: Kit) -> int:
        """Freight of one kit: that of its pieces [cents]."""
        return sum(self._prices.freight_cents(self._parts[part]) * count for part, count in kit.parts)

    def bought_cents(self, kit: Kit) -> int:
        """Price of one kit with its freight [cents]."""
        return kit.price_cents + self.freight_cents(kit)

    def saves(self, kit: Kit, used: Collection[str] | None = None) -> int:
        """What a kit costs less than its pieces, or than those of its pieces that are used at all; may be negative [cents]."""
        apart = sum(
            self._prices.bought_cents(self._parts[part]) * count for part, count in kit.parts if used is None or part in used
        )
        return apart - self.bought_cents(kit)

    def cuts_of(self, kits: list[Kit]) -> dict[str, int]:
        """What may be taken off the price of each part so that the pieces of no kit cost more than the kit [cents].

        What a kit saves is taken off the part of which designs have the fewest pieces, as far as its price goes, then off
        the next: so that the fewest designs seem cheaper than they are.
        """
        cuts: dict[str, int] = {}
        for kit in kits:
            left = self.saves(kit) - sum(cuts.get(part, 0) * count for part, count in kit.parts)
            for part, count in sorted(kit.parts, key=lambda one: SCARCE_FIRST.index(type(self._parts[one[0]]))):
                if left > 0:
                    room = self._prices.bought_cents(self._parts[part]) - cuts.get(part, 0)
                    more = min(room, -(-left // count))
                    cuts[part] = cuts.get(part, 0) + more
                    left -= more * count
        return cuts

    def least_cents(self, part: Part) -> int:
        """Least that a bought piece can add to a bill: the sum of these over a kit's pieces is at most its price [cents]."""
        return self._prices.bought_cents(part) - self._cuts.get(part.id, 0)

    def together(self, parts: Iterable[str]) -> set[str]:
        """Of some parts those that are in kits, with every part that shares a kit with one of them, and so on."""
        found = self.parts.intersection(parts)
        while True:
            more = found.union(*(kit.contents for kit in self.offered.values() if not found.isdisjoint(kit.contents)))
            if more == found:
                return set(found)
            found = more

    def supplied(self, kits: Mapping[str, int]) -> Counter[str]:
        """Pieces that so many kits bring."""
        pieces: Counter[str] = Counter()
        for kit_id, count in kits.items():
            for part, each in self.offered[kit_id].parts:
                pieces[part] += each * count
        return pieces

    def cheapest(self, pieces: Mapping[str, int]) -> dict[str, int]:
        """Kits, and how many, that make the bill of some pieces least: first within the stock, then by price.

        Every combination is looked at that the least prices of the kits still open do not rule out.
        """
        owned = self._prices.owned
        needed = {part: pieces[part] - owned[part] for part in self._ordered_parts if pieces.get(part, 0) > owned[part]}
        key = tuple(needed.items())
        if key not in self._known:
            kits = self._worth(needed)
            search = _KitSearch(self, kits)
            search.look(0, needed, 0, ())
            self._known[key] = {kit.id: count for kit, count in zip(kits, search.counts, strict=True) if count}
        return self._known[key]

    def _worth(self, needed: Mapping[str, int]) -> list[Kit]:
        """Kits that may be on the least bill of some pieces.

        Where the stock is enough without kits, one that costs no less than the pieces that it can bring is not: they could
        be bought one by one, and are within the stock then too. Packs are another matter: one piece may cost a whole pack.
        """
        kits = list(self.offered.values())
        if self.apart(needed)[0]:
            return kits
        return [
            kit for kit in kits
            if kit.id in self.least or any(self._parts[part].pack_qty > 1 for part in kit.contents)
            or self.bought_cents(kit) < sum(self._prices.bought_cents(self._parts[part]) * min(n, needed.get(part, 0)) for part, n in kit.parts)
        ]

    def apart(self, needed: Mapping[str, int]) -> tuple[int, int]:
        """Pieces beyond the stock, and price, of what is bought beside the kits [count, cents]."""
        beyond = cost = 0
        for part_id, pieces in needed.items():
            part = self._parts[part_id]
            bought = int(bought_pieces(pieces, 0, part.pack_qty))
            cost += bought * self._prices.bought_cents(part)
            if part.stock is not None and self.stock_holds:
                beyond += max(0, bought - part.stock)
        return beyond, cost

    def rest_cents(self, cuts: Mapping[str, int], needed: Mapping[str, int]) -> int:
        """Least that pieces cost with kits of which these are the cuts [cents]."""
        return sum(pieces * (self._prices.bought_cents(self._parts[part]) - cuts.get(part, 0)) for part, pieces in needed.items())


SCARCE_FIRST: tuple[type[Part], ...] = (
    Generator, Inverter, Charger, AlternatorCharger, Battery, Controller, Converter, SoftStarter, Autotransformer, Module, Mount, Allowance, Cable, Protection, Busbar,
)
"""Kinds of part, those of which designs have the fewest pieces first."""


class _KitSearch:
    """Looks at how many of each kit to buy, kit after kit."""

    def __init__(self, prices: KitPrices, kits: list[Kit]) -> None:
        self.prices, self.kits = prices, kits
        self.cuts = [prices.cuts_of(kits[at:]) for at in range(len(kits) + 1)]
        self.best: tuple[float, float] = (math.inf, math.inf)
        self.counts: tuple[int, ...] = ()

    def look(self, at: int, needed: Mapping[str, int], spent: int, counts: tuple[int, ...]) -> None:
        """Go on from the kits before number `at`: `needed` pieces are still missing, `spent` is paid [cents]."""
        if self.best[0] == 0 and spent + self.prices.rest_cents(self.cuts[at], needed) >= self.best[1]:
            return
        if at == len(self.kits):
            beyond, cost = self.prices.apart(needed)
            if (beyond, spent + cost) < self.best:
                self.best, self.counts = (beyond, spent + cost), counts
            return
        kit = self.kits[at]
        least = self.prices.least.get(kit.id, 0)
        useful = max((-(-needed[part] // each) for part, each in kit.parts if part in needed), default=0)
        most = max(least, min(useful, self.prices.most.get(kit.id, useful)))
        for count in range(least, most + 1):
            taken = {part: each * count for part, each in kit.parts}
            left = {part: pieces - taken.get(part, 0) for part, pieces in needed.items() if pieces > taken.get(part, 0)}
            self.look(at + 1, left, spent + count * self.prices.bought_cents(kit), (*counts, count))
