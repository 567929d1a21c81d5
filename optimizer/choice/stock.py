"""Parts that cannot simply be bought one by one at their price: owned, limited, demanded, in packs, in kits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator

import numpy as np

from optimizer.bill import PriceList
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.kits import Kit
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.rules.money import bought_pieces

KINDS: tuple[type[Part], ...] = (Module, Battery, Controller, Inverter, Converter, Generator, Charger, AlternatorCharger)

ABOVE_ANY_CENTS = 10**12
"""More than any design costs."""


class Stock:
    """What the problem's locks and the customer's own parts do to each part.

    `special` parts and parts in packs or kits get inventory rows in the program. Parts with a stock become special only
    when a design would break it: without the row the program is a relaxation, so its optimum stands when it breaks none.
    """

    def __init__(self, problem: Problem, catalog: Catalog, prices: PriceList) -> None:
        self.catalog = catalog
        self.prices = prices
        self.owned = prices.owned
        locks = problem.locks
        # What the locks say of a kit is with the prices: a kit is bought, parts are used.
        self.at_most: dict[str, int] = {part: most for part, most in locks.at_most.items() if part in catalog.by_id}
        self.at_least: Counter[str] = Counter({part: least for part, least in locks.at_least.items() if part in catalog.by_id})
        for own in problem.owned:
            if own.must_use:
                self.at_least[own.part] = max(self.at_least[own.part], self.owned[own.part])
        self._barred = {*locks.exclude, *(part for part, most in self.at_most.items() if most == 0)}
        kept = [catalog.by_id.get(part_id) for part_id in locks.only]
        for kind in KINDS:
            only = {part.id for part in kept if isinstance(part, kind)}
            if only:
                self._barred |= {part.id for part in catalog.parts() if isinstance(part, kind) and part.id not in only}
        self.special: set[str] = {*self.owned, *self.at_most, *self.at_least}
        self.packs: set[str] = {part.id for part in catalog.parts() if part.pack_qty > 1 and isinstance(part, KINDS)}
        demanded = {part for kit in prices.kits.least for part in prices.kits.offered[kit].contents}
        # What a kit saves says nothing of whole packs, nor of pieces that are not bought: there equal use is compared.
        self.special |= prices.kits.together({*self.special, *self.packs, *demanded})
        self.packs |= prices.kits.parts

    def allows(self, part_id: str) -> bool:
        """Whether the locks leave the part in."""
        return part_id not in self._barred

    def part(self, part_id: str) -> Part:
        """A part's record."""
        return self.catalog.by_id[part_id]

    def price_cents(self, part_id: str) -> int:
        """Price of a piece with freight, nothing owned, no pack rounding, and the price on its weight [cents]."""
        return self.bill_cents(part_id) + self.prices.beside_cents(self.part(part_id))

    def bill_cents(self, part_id: str) -> int:
        """Price of a piece with freight: what the bill and the budget see of one that is in no kit [cents]."""
        return self.prices.bought_cents(self.part(part_id))

    def kits(self, used: set[str] | None = None) -> list[Kit]:
        """Kits that can make a bill less, or bring pieces that are scarce, where only these parts are used."""
        kits = self.prices.kits
        return [
            kit for kit in kits.offered.values()
            if kit.id in kits.least or not self.special.isdisjoint(kit.contents) or kits.saves(kit, used) > 0
        ]

    def packed(self, kits: list[Kit]) -> list[str]:
        """Parts in packs or in some of these kits, those aside of which only equal use is compared."""
        in_kits = {part for kit in kits for part in kit.contents}
        return sorted(part for part in self.packs - self.special if part in in_kits or self.part(part).pack_qty > 1)

    def kit_loss_cents(self, part_id: str, pieces: np.ndarray, kits: list[Kit]) -> np.ndarray:
        """Most that kits save on so many pieces: what is lost where each kit that brings one of them is bought no more [cents].

        Every kit that brings one is opened, and what else it brought is bought by itself: that loses what the kit saves.
        """
        prices = self.prices.kits
        saved = [(prices.saves(kit), kit.contents[part_id], prices.most.get(kit.id, np.inf)) for kit in kits if part_id in kit.contents]
        by_kit = [cents * np.minimum(np.ceil(pieces / each), most) for cents, each, most in saved if cents > 0]
        by_piece = pieces * max((cents for cents, _, _ in saved), default=0)
        return np.asarray(np.minimum(np.sum(by_kit, axis=0), np.maximum(by_piece, 0))) if by_kit else np.zeros(len(pieces))

    def least_cents(self, part_id: str) -> int:
        """Least that a piece can add to the objective: owned pieces cost only the price on their weight [cents]."""
        part = self.part(part_id)
        return self.prices.beside_cents(part) + (0 if part_id in self.owned else self.prices.kits.least_cents(part))

    def beyond_cents(self, part_id: str, used: np.ndarray) -> np.ndarray:
        """What so many pieces of an owned part cost at least beside `least_cents`: those that are not there already are bought [cents].

        More than there are and can be had cost more than any design: the program gives the part a row for that.
        """
        part, more = self.part(part_id), np.maximum(used - self.owned[part_id], 0)
        bought = more * self.prices.kits.least_cents(part)
        if part.stock is None or part_id in self.prices.kits.parts or not self.prices.kits.stock_holds:
            return np.asarray(bought)
        return np.asarray(np.where(more > part.stock, ABOVE_ANY_CENTS, bought))

    def broken(self, pieces: Counter[str]) -> Iterator[str]:
        """Parts outside `special` whose stock a design would break."""
        for part_id, used in pieces.items():
            part = self.part(part_id)
            bought = int(bought_pieces(used, self.owned[part_id], part.pack_qty))
            if part_id not in self.special and part.stock is not None and bought > part.stock:
                yield part_id

    def holds(self, pieces: Counter[str], enforced: Callable[[str], bool]) -> bool:
        """Whether a design's pieces respect stock, limits and demands."""
        kits = self.prices.kits.cheapest(pieces)
        if any(count > self.prices.kits.most.get(kit, count) for kit, count in kits.items()):
            return False
        in_kits = self.prices.kits.supplied(kits)
        for part_id, used in pieces.items():
            part = self.part(part_id)
            bought = int(bought_pieces(used, self.owned[part_id] + in_kits[part_id], part.pack_qty))
            if part.stock is not None and bought > part.stock and enforced("stock"):
                return False
            if used > self.at_most.get(part_id, used) and enforced("part-limit"):
                return False
        return not enforced("part-demanded") or all(pieces[part_id] >= least for part_id, least in self.at_least.items())
