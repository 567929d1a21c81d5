"""The bill of a design: kits, parts in whole packs, allowances, freight, margin and tax; in whole cents."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, Cable, SoftStarter
from optimizer.inputs.kits import Kit
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Battery, Inverter, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import starters_of
from optimizer.kit_prices import KitPrices
from optimizer.lifecycle import LifeCycle, Lives, Replacement, through_wh_day
from optimizer.mounts import Mounts
from optimizer.needs.site import Needs
from optimizer.rules.book import TOLERANCE, meets
from optimizer.rules.money import bought_pieces, cents, share_of_cents


@dataclass(frozen=True)
class BillLine:
    """One line of the bill; money in cents."""

    part: str
    description: str
    quantity: int
    unit_cents: int
    price_cents: int


def by_the_metre(part: Part | Kit) -> str:
    """What a line says after the description of a part whose pieces are metres."""
    return " [m]" if isinstance(part, Cable) else ""


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

    def __init__(self, problem: Problem, catalog: Catalog, needs: Needs | None = None) -> None:
        """needs: those of the problem, where they are known already."""
        self.problem, self._needs = problem, needs
        self._piece_cents = catalog.piece_cents.setdefault(problem.price.model_dump_json(), {})
        self.owned = Counter[str]()
        for own in problem.owned:
            self.owned[own.part] += own.quantity
        self._freight_per_kg = problem.price.freight_per_kg
        self._per_kg = problem.objective.price_per_kg
        self.distinct_cents = cents(problem.objective.price_per_distinct_part)
        self.connection_cents = cents(problem.objective.price_per_connection)
        self.fixed_freight_cents = cents(problem.price.freight)
        self.lives = Lives(problem, catalog.tables, self.bought_cents)
        self.allowances = tuple(one for one in catalog.allowances if not (one.for_mounts and problem.mounting is not None))
        self.allowance_cents = Counter[str]()
        self.allowance_bill_cents = Counter[str]()
        self.allowance_kg: dict[str, float] = {}
        for allowance in self.allowances:
            self.allowance_cents[allowance.per] += self.bought_cents(allowance) + self.beside_cents(allowance)
            self.allowance_bill_cents[allowance.per] += self.bought_cents(allowance)
            self.allowance_kg[allowance.per] = self.allowance_kg.get(allowance.per, 0.0) + allowance.weight_kg
        self._catalog = catalog
        self.starters = starters_of(problem)
        """Soft starters and an autotransformer that every design has, since the problem says that they are fitted."""
        fitted = [(catalog.by_id[part], n) for part, n in self.starters.items()]
        self.starters_cents = sum(n * (self.bought_cents(part) + self.beside_cents(part)) for part, n in fitted)
        self.starters_bill_cents = sum(n * self.bought_cents(part) for part, n in fitted)
        self.starters_kg = sum(n * part.weight_kg for part, n in fitted)
        self.kits = KitPrices(self, catalog)

    @cached_property
    def wiring(self) -> Wiring:
        """Sizes the circuits of designs."""
        return Wiring(self._needs or Needs(self.problem), self._catalog, self.bought_cents)

    @cached_property
    def mounts(self) -> Mounts:
        """Chooses the mounts of designs."""
        return Mounts(self.problem, self._catalog, lambda part: self.bought_cents(part) + self.beside_cents(part))

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
        """Freight of one bought piece, with what is asked on top for dangerous goods [cents]."""
        return cents(self._freight_per_kg * part.weight_kg) + self.dangerous_cents(part)

    def dangerous_cents(self, part: Part) -> int:
        """What carriers ask on top for one piece of dangerous goods, by its class [cents]."""
        goods = part.dangerous_goods if isinstance(part, Battery) else ""
        return cents(self.problem.price.dangerous_goods_per_kg.get(goods, 0.0) * part.weight_kg) if goods else 0

    def beside_cents(self, part: Part) -> int:
        """What the objective adds for one piece: the price on its weight and, where they count, its replacements [cents]."""
        return cents(self._per_kg * part.weight_kg) + (self.lives.piece_cents(part) if self.lives.minimised else 0)

    def bought_cents(self, part: Part) -> int:
        """Price of one bought piece with its freight [cents]."""
        known = self._piece_cents.get(part.id)
        if known is None or known[0] is not part:  # a worn or a gentle part may bear the id of another
            known = self._piece_cents[part.id] = part, part.price_cents + self.freight_cents(part)
        return known[1]

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
        sized = self.starters + self.mounts.pieces(design) + self.wiring.pieces(self.wiring.circuits(design))
        sized += self.wiring.busbar_pieces(design.bank, design.inverters, design.converters)
        for part_id, times in sorted(sized.items()):
            part = self._catalog.by_id[part_id]
            lines.append(BillLine(part.id, f"{part.description}{by_the_metre(part)}", times, part.price_cents, times * part.price_cents))
            freight += times * self.freight_cents(part)
            beside += times * self.beside_cents(part) if isinstance(part, Autotransformer | Mount | SoftStarter) else 0  # prices beside the bill leave circuits out
            weight += times * part.weight_kg
        if freight:
            dangerous = sum(line.quantity * self.dangerous_cents(self._catalog.by_id[line.part]) for line in lines if line.part in self._catalog.by_id)
            dangerous += sum(use.count * n * self.dangerous_cents(self._catalog.by_id[one]) for use in self._kit_uses(kits, design) for one, n in use.kit.parts)
            asked = (("freight", "Freight", freight - dangerous), ("dangerous-goods", "Freight: what is asked on top for dangerous goods", dangerous))
            lines += [BillLine(name, text, 1, sum_, sum_) for name, text, sum_ in asked if sum_]
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
