"""The bill of a design: parts in whole packs, allowances, freight, margin and tax; in whole cents."""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import dataclass, field
from functools import cached_property

from optimizer.design import Bank, Block, Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Inverter, Part
from optimizer.inputs.problem import Problem
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


@dataclass(frozen=True)
class Bill:
    """Lines in cents, their sum, and what the objective adds without putting it on the bill."""

    lines: tuple[BillLine, ...]
    parts_and_freight_cents: int
    total_cents: int
    beside_cents: int = 0
    weight_kg: float = field(default=0.0)

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
        self.allowances = catalog.allowances
        self.allowance_cents = Counter[str]()
        self.allowance_bill_cents = Counter[str]()
        self.allowance_kg: dict[str, float] = {}
        for allowance in catalog.allowances:
            self.allowance_cents[allowance.per] += self.bought_cents(allowance) + self.beside_cents(allowance)
            self.allowance_bill_cents[allowance.per] += self.bought_cents(allowance)
            self.allowance_kg[allowance.per] = self.allowance_kg.get(allowance.per, 0.0) + allowance.weight_kg

    @property
    def has_prices_beside_the_bill(self) -> bool:
        """Whether the objective holds prices that are not on the bill."""
        return bool(self.distinct_cents or self.connection_cents or self._per_kg)

    def freight_cents(self, part: Part) -> int:
        """Freight of one bought piece [cents]."""
        return cents(self._freight_per_kg * part.weight_kg)

    def beside_cents(self, part: Part) -> int:
        """The objective's price on the weight of one piece [cents]."""
        return cents(self._per_kg * part.weight_kg)

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
        weight = 0.0
        for part in design.parts:
            used = design.pieces.get(part.id, 0)
            if not used:
                continue
            bought = int(bought_pieces(used, self.owned[part.id], part.pack_qty))
            note = f" ({min(used, self.owned[part.id])} owned)" if self.owned[part.id] else ""
            note += f" ({bought - max(0, used - self.owned[part.id])} spare: packs of {part.pack_qty})" if bought > max(0, used - self.owned[part.id]) else ""
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
        if freight:
            lines.append(BillLine("freight", "Freight", 1, freight, freight))
        base = sum(line.price_cents for line in lines)
        margin, tax, total = self.total_of(base)
        lines += [BillLine(name, text, 1, sum_, sum_) for name, text, sum_ in (("margin", "Margin", margin), ("tax", "Tax", tax)) if sum_]
        return Bill(tuple(lines), base, total, beside, weight)
