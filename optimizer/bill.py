"""The bill of a design: kits, parts in whole packs, allowances, freight, margin and tax; in whole cents."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Cable, Charger, Generator, Protection
from optimizer.inputs.kits import Kit
from optimizer.inputs.parts import Allowance, Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.lifecycle import LifeCycle, Lives, Replacement, through_wh_day
from optimizer.needs.site import Needs
from optimizer.rules.book import TOLERANCE, Severities, meets
from optimizer.rules.money import bought_pieces, cents, share_of_cents


@dataclass(frozen=True)
class BillLine:
    """One line of the bill; money in cents."""

    part: str
    description: str
    quantity: int
    unit_cents: int
    price_cents: int


@dataclass(frozen=True)
class KitUse:
    """A kit that is bought: how many, and which of its pieces the design does not use."""

    kit: Kit
    count: int
    left_over: Mapping[str, int]


@dataclass(frozen=True)
class Bill:
    """Lines in cents, their sum, and what the objective adds without putting it on the bill."""

    lines: tuple[BillLine, ...]
    parts_and_freight_cents: int
    total_cents: int
    beside_cents: int = 0
    weight_kg: float = field(default=0.0)
    kits: tuple[KitUse, ...] = ()
    running_cents: int = 0
    """Fuel and service over the years, as they count today; not on the bill [cents]."""

    @property
    def paid_cents(self) -> int:
        """What the questions compare: the bill, with fuel and service as they count today."""
        return self.total_cents + self.running_cents

    @property
    def objective_cents(self) -> int:
        """What the program minimises: parts and freight (the lines on top rise with them) and the stated extra prices."""
        return self.parts_and_freight_cents + self.beside_cents


def allowance_counts(design: Design) -> Counter[str]:
    """How many times each kind of allowance (`per`) applies to a design."""
    counts: Counter[str] = Counter({"system": 1})
    counts += bank_allowances(design.bank)
    for block in design.blocks:
        for per, each in block_allowances(block).items():
            counts[per] += each * block.count
    if design.inverters.inverter is not None:
        counts["inverter"] += design.inverters.count
        counts["inverter dc ampere"] += inverter_dc_amperes(design.inverters.inverter) * design.inverters.count
    counts["converter"] += sum(use.count for use in design.converters)
    return counts


def bank_allowances(bank: Bank) -> Counter[str]:
    """Allowances that a battery bank asks for."""
    counts = Counter({"battery unit": bank.units, "battery string": bank.strings})
    if bank.is_lithium and bank.series > 1:
        counts["series lithium unit"] = bank.units
    return counts


def block_allowances(block: Block) -> Counter[str]:
    """Allowances that one controller with its array asks for."""
    counts = Counter({"module": block.modules_each, "array string": block.strings})
    if not block.built_in:
        counts["controller"] = 1
        counts["controller ampere"] = math.ceil(block.device.output_a)
    return counts


def inverter_dc_amperes(inverter: Inverter) -> int:
    """Whole amperes that one inverter draws at its low cut-out."""
    return math.ceil(inverter.cont_w / (inverter.efficiency * inverter.dc_low_cut_v))


class PriceList:
    """What a piece of each part and each allowance costs in one problem, in cents."""

    def __init__(self, problem: Problem, catalog: Catalog) -> None:
        self.problem = problem
        self.owned = Counter[str]()
        for own in problem.owned:
            self.owned[own.part] += own.quantity
        self._freight_per_kg = problem.price.freight_per_kg
        self._per_kg = problem.objective.price_per_kg
        self.distinct_cents = cents(problem.objective.price_per_distinct_part)
        self.connection_cents = cents(problem.objective.price_per_connection)
        self.fixed_freight_cents = cents(problem.price.freight)
        self.lives = Lives(problem, catalog.tables, self.bought_cents)
        self.allowances = catalog.allowances
        self.allowance_cents = Counter[str]()
        self.allowance_bill_cents = Counter[str]()
        self.allowance_kg: dict[str, float] = {}
        for allowance in catalog.allowances:
            self.allowance_cents[allowance.per] += self.bought_cents(allowance) + self.beside_cents(allowance)
            self.allowance_bill_cents[allowance.per] += self.bought_cents(allowance)
            self.allowance_kg[allowance.per] = self.allowance_kg.get(allowance.per, 0.0) + allowance.weight_kg
        self._catalog = catalog
        self.kits = KitPrices(self, catalog)

    @cached_property
    def wiring(self) -> Wiring:
        """Sizes the circuits of designs."""
        return Wiring(Needs(self.problem), self._catalog, self.bought_cents)

    @property
    def has_prices_beside_the_bill(self) -> bool:
        """Whether the objective holds prices that are not on the bill."""
        return bool(self.distinct_cents or self.connection_cents or self._per_kg or self.lives.minimised or self.problem.source_in_design)

    @property
    def marked_up(self) -> float:
        """What a coin of parts and freight is for the customer, with margin and tax."""
        return (1 + self.problem.price.margin_pct / 100) * (1 + self.problem.price.tax_pct / 100)

    def with_running(self, bill: Bill, running_cents: float) -> Bill:
        """A bill with what a generator burns beside it.

        The customer buys fuel and service himself: neither margin nor tax come on top, as they do on what the objective counts.
        So they are divided by both there, and fuel weighs against parts as it does for the customer.
        """
        return replace(bill, running_cents=round(running_cents), beside_cents=bill.beside_cents + round(running_cents / self.marked_up))

    def freight_cents(self, part: Part) -> int:
        """Freight of one bought piece [cents]."""
        return cents(self._freight_per_kg * part.weight_kg)

    def beside_cents(self, part: Part) -> int:
        """What the objective adds for one piece: the price on its weight and, where they count, its replacements [cents]."""
        return cents(self._per_kg * part.weight_kg) + (self.lives.piece_cents(part) if self.lives.minimised else 0)

    def bought_cents(self, part: Part) -> int:
        """Price of one bought piece with its freight [cents]."""
        return part.price_cents + self.freight_cents(part)

    def total_of(self, parts_and_freight_cents: int) -> tuple[int, int, int]:
        """Margin, tax and total on top of parts and freight [cents]; rises with them."""
        margin = share_of_cents(parts_and_freight_cents, self.problem.price.margin_pct)
        tax = share_of_cents(parts_and_freight_cents + margin, self.problem.price.tax_pct)
        return margin, tax, parts_and_freight_cents + margin + tax

    @cached_property
    def budget_cents(self) -> int | None:
        """Most that parts and freight may cost for the total to stay within the budget [cents]."""
        if self.problem.limits.budget is None:
            return None
        budget = self.problem.limits.budget
        low, high = -1, int(cents(budget) * (1 + TOLERANCE)) + 1
        while low < high:
            middle = (low + high + 1) // 2
            fits = bool(meets(self.total_of(middle)[2] / 100, budget, "at most"))  # as the check judges it, to the cent
            low, high = (middle, high) if fits else (low, middle - 1)
        return low

    def bill(self, design: Design) -> Bill:
        """The bill of a design, line by line."""
        lines: list[BillLine] = []
        freight = self.fixed_freight_cents
        beside = self.distinct_cents * len(design.pieces) + self.connection_cents * design.connections
        if self.lives.minimised:
            life = self.lives.bank_life(design.bank, through_wh_day(self.wiring, design.bank, design.inverters, design.converters))
            beside += self.lives.bank_cents(design.bank.battery, design.bank.units, life.years)
        weight = 0.0
        kits = self.kits.cheapest(design.pieces)
        from_kits = self.kits.supplied(kits)
        for use in self._kit_uses(kits, design):
            each = use.kit.price_cents
            lines.append(BillLine(use.kit.id, _kit_words(use), use.count, each, use.count * each))
            freight += use.count * self.kits.freight_cents(use.kit)
        for part in design.parts:
            used = design.pieces.get(part.id, 0)
            if not used:
                continue
            missing = max(0, used - self.owned[part.id] - from_kits[part.id])
            bought = int(bought_pieces(missing, 0, part.pack_qty))
            note = f" ({min(used, self.owned[part.id])} owned)" if self.owned[part.id] else ""
            in_kits = min(max(0, used - self.owned[part.id]), from_kits[part.id])
            note += f" ({in_kits} in kits)" if in_kits else ""
            note += f" ({bought - missing} spare: packs of {part.pack_qty})" if bought > missing else ""
            lines.append(BillLine(part.id, part.description + note, bought, part.price_cents, bought * part.price_cents))
            freight += bought * self.freight_cents(part)
            beside += used * self.beside_cents(part)
            weight += used * part.weight_kg
        counts = allowance_counts(design)
        for allowance in self.allowances:
            times = counts[allowance.per]
            if times:
                lines.append(BillLine(allowance.id, allowance.description, times, allowance.price_cents, times * allowance.price_cents))
                freight += times * self.freight_cents(allowance)
                beside += times * self.beside_cents(allowance)
                weight += times * allowance.weight_kg
        for part_id, times in sorted(self.wiring.pieces(self.wiring.circuits(design)).items()):
            part = self._catalog.by_id[part_id]
            lines.append(BillLine(part.id, f"{part.description}{' [m]' if isinstance(part, Cable) else ''}", times, part.price_cents, times * part.price_cents))
            freight += times * self.freight_cents(part)
            weight += times * part.weight_kg
        if freight:
            lines.append(BillLine("freight", "Freight", 1, freight, freight))
        base = sum(line.price_cents for line in lines)
        margin, tax, total = self.total_of(base)
        lines += [BillLine(name, text, 1, sum_, sum_) for name, text, sum_ in (("margin", "Margin", margin), ("tax", "Tax", tax)) if sum_]
        return Bill(tuple(lines), base, total, beside, weight, self._kit_uses(kits, design))

    def life_cycle(self, design: Design, bill: Bill) -> LifeCycle:
        """What a design costs over the years, whether or not that is minimised.

        Margin and tax are put on the sum of the bill and all replacements; each replacement takes its part of them.
        """
        life = self.lives.bank_life(design.bank, through_wh_day(self.wiring, design.bank, design.inverters, design.converters))
        base, total = bill.parts_and_freight_cents, bill.total_cents
        bought = []
        for one in sorted(self.lives.replacements(design, life), key=lambda one: (one.year, one.part)):
            base, before = base + one.cents, total
            total = self.total_of(base)[2]
            bought.append(Replacement(one.part, one.pieces, one.year, total - before))
        asked = self.lives.asked
        return LifeCycle(asked.years, asked.discount_pct, asked.objective, life, tuple(bought), total)

    def _kit_uses(self, kits: Mapping[str, int], design: Design) -> tuple[KitUse, ...]:
        """Kits bought, each with what it leaves over; of several with the same part the last ones."""
        open_ = Counter({part: max(0, used - self.owned[part]) for part, used in design.pieces.items()})
        uses = []
        for kit_id, count in kits.items():
            kit = self.kits.offered[kit_id]
            left_over = {}
            for part, each in kit.parts:
                taken = min(open_[part], each * count)
                open_[part] -= taken
                if taken < each * count:
                    left_over[part] = each * count - taken
            uses.append(KitUse(kit, count, left_over))
        return tuple(uses)


def _kit_words(use: KitUse) -> str:
    """A kit on the bill: what it is, what is in it and what of it is not used."""
    said = f"{use.kit.description + ': ' if use.kit.description else ''}{_listed(use.kit.contents)}"
    return f"{said} (left over: {_listed(use.left_over)})" if use.left_over else said


def _listed(pieces: Mapping[str, int]) -> str:
    return ", ".join(f"{count} x {part}" for part, count in pieces.items())


class KitPrices:
    """The kits that one problem may buy, and which of them make a bill least."""

    def __init__(self, prices: PriceList, catalog: Catalog) -> None:
        self._prices, self._parts = prices, catalog.by_id
        locks, severities = prices.problem.locks, Severities(prices.problem.rules)
        self._stock_holds = severities.enforced("stock")
        self.offered: dict[str, Kit] = {}
        self.least: dict[str, int] = {}
        """Kits that the problem demands, with their number."""
        self.most: dict[str, int] = {}
        """Most of a kit that stock and the problem's locks allow."""
        for kit in catalog.kits:
            if kit.id in locks.exclude or locks.at_most.get(kit.id) == 0 or any(part not in self._parts for part in kit.contents):
                continue
            if kit.stock is not None and self._stock_holds:
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
            if part.stock is not None and self._stock_holds:
                beyond += max(0, bought - part.stock)
        return beyond, cost

    def rest_cents(self, cuts: Mapping[str, int], needed: Mapping[str, int]) -> int:
        """Least that pieces cost with kits of which these are the cuts [cents]."""
        return sum(pieces * (self._prices.bought_cents(self._parts[part]) - cuts.get(part, 0)) for part, pieces in needed.items())


SCARCE_FIRST: tuple[type[Part], ...] = (Generator, Inverter, Charger, Battery, Controller, Converter, Module, Allowance, Cable, Protection)
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
