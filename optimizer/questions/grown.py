"""What `grow` answers: plans, regrets, cost lines, doors, and what waits."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from optimizer.choice.owned import OwnedPart
from optimizer.growth.ledger import ALLOWANCE
from optimizer.growth.plan import Plan
from optimizer.growth.planned import Planned
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.questions.doors import Door
from optimizer.questions.wait import Wait


@dataclass(frozen=True)
class NamedPlan:
    """A plan and what it is best for; costs under every future, those that it was not made for with the best continuation."""

    name: str
    planned: Planned
    cost_by_future: Mapping[str, float]
    """Present cost [cents]."""
    expected_cents: float
    running_by_future: Mapping[str, float] = field(default_factory=dict)
    """What of the costs is for fuel and service, or energy that is paid for [cents]."""

    @property
    def first_purchase(self) -> str:
        """The first purchase in words."""
        assert self.planned.plan is not None, "a named plan holds a plan"
        return words_of(self.planned.plan)


@dataclass(frozen=True)
class Regret:
    """What a first purchase costs more than the best for each future would have [cents]."""

    first_purchase: str
    kind: str
    """Why it is looked at: a voltage, a chemistry."""
    by_future: Mapping[str, float]
    expected_cents: float
    """Expected present cost of the best plan with it that was found [cents]."""
    proven: bool
    """Whether that plan is the best one; else regrets are of a plan that more time may better, and none is known to be that large."""
    least_cents: float
    """What every plan with it costs at least [cents]."""

    @property
    def greatest(self) -> float:
        """The largest regret of any future [cents]."""
        return max(self.by_future.values())


@dataclass(frozen=True)
class Flip:
    """Probability of growth at which another first purchase becomes the best."""

    probability: float
    before: str
    after: str


@dataclass(frozen=True)
class CostLine:
    """Expected cost of one plan over the probability of growth: a straight line."""

    first_purchase: str
    never_cents: float
    certain_cents: float

    def at(self, probability: float) -> float:
        """Expected present cost at a probability of growth [cents]."""
        return (1 - probability) * self.never_cents + probability * self.certain_cents


@dataclass
class Grown:
    """The answer; parts that were not reached when it was stopped are empty, and `complete` is False."""

    problem: Problem
    catalog: Catalog
    plans: list[NamedPlan] = field(default_factory=list)
    """In expectation first, then growth for certain, growth never, and each future for certain."""
    regrets: list[Regret] = field(default_factory=list)
    lines: list[CostLine] = field(default_factory=list)
    flips: list[Flip] = field(default_factory=list)
    doors: list[Door] = field(default_factory=list)
    waits: list[Wait] = field(default_factory=list)
    owned: list[OwnedPart] = field(default_factory=list)
    """What becomes of the customer's own parts at any date of the plan in expectation; whether one can serve is judged for today's loads."""
    step_by_step_cents: float | None = None
    """Expected present cost when each purchase is the cheapest of its day [cents]."""
    probability: float = 0.0
    """Probability that the site grows."""
    complete: bool = True
    not_asked: str = ""
    """The first plan that the time was over for."""
    all_proven: bool = True
    reason: str = ""

    @property
    def best(self) -> NamedPlan | None:
        """The plan of least expected cost."""
        return self.plans[0] if self.plans else None

    @property
    def proven(self) -> bool:
        """Whether every figure is that of a proven plan."""
        return self.complete and self.all_proven


def words_of(plan: Plan) -> str:
    """A first purchase in words: voltage, battery, arrays, inverter, and what is bought ahead."""
    design = plan.first.design
    bank, inverter = design.bank, design.inverters
    ac = f", {inverter.count} x {inverter.inverter.id}" if inverter.inverter is not None else ""
    arrays = "".join(f", {block.modules} x {block.module.id} on {block.count} x {block.part.id}" for block in design.blocks)
    fitted = "".join(f", {n} x {part}" for part, n in sorted(design.fittings.pieces.items()))
    source = "".join(f", {n} x {part.id}" for part, n in design.source.pieces) if design.source is not None else ""
    return f"{bank.volts} V {bank.battery.chemistry}: {bank.units} x {bank.battery.id}{arrays}{ac}{fitted}{source}{_ahead(plan)}"


def _ahead(plan: Plan) -> str:
    """What a first purchase brings that its design does not use, in words; not the rest of a pack, nor what kits or the customer have beyond."""
    first, ledger = plan.first, plan.ledger
    packs = {part: min(first.idle.get(part, 0) - ledger.owned[part], n) // ledger.pack(part) for part, n in first.new_parts.items()}
    parts = "".join(f", {n * ledger.pack(part)} x {part} ahead" for part, n in sorted(packs.items()) if n > 0)
    laid = sum(ledger.price(item, first.node) * (n - first.usage.get(item, 0)) for item, n in first.bought.items() if item.startswith(ALLOWANCE))
    return parts + (f", cable and fittings for {laid / 100:,.2f} ahead" if laid >= 1 else "")
