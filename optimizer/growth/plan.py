"""A plan: the design of every node, what is bought, sold and kept there, and what it costs under each future."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from optimizer.design import Design
from optimizer.growth.ledger import ALLOWANCE, Ledger, Lot
from optimizer.growth.sourced import RUNNING
from optimizer.growth.tree import FIRST, Node, Purchase

if TYPE_CHECKING:
    from optimizer.growth.plan_program import PlanProgram


@dataclass(frozen=True)
class Visit:
    """What happens at one node; money in cents of the day."""

    node: Node
    design: Design
    usage: Mapping[str, int]
    """Pieces of every item that the design uses."""
    bought: Mapping[str, int]
    """Pieces of every item bought one by one, allowances with them."""
    kits: Mapping[str, int]
    sold: Mapping[tuple[str, Lot], int]
    there: Mapping[tuple[str, Lot], int]
    """Pieces of each lot after buying and selling."""
    spent_cents: float
    got_cents: float
    changeover_cents: float
    yearly_cents: float = 0.0
    """What its source burns in a year, at today's prices."""

    @property
    def purchase(self) -> Purchase:
        """What is bought here."""
        return Purchase(self.bought, self.kits)

    @property
    def new_parts(self) -> dict[str, int]:
        """Pieces of real parts that come at this node, those in kits not among them."""
        return {item: n for item, n in self.bought.items() if not item.startswith(ALLOWANCE)}

    @property
    def idle(self) -> dict[str, int]:
        """Pieces that are there and not in the design: bought ahead, replaced, or left over."""
        have: Counter[str] = Counter()
        for (item, _), pieces in self.there.items():
            if not item.startswith(ALLOWANCE):
                have[item] += pieces
        return {item: n - self.design.pieces[item] for item, n in have.items() if n > self.design.pieces[item]}


@dataclass(frozen=True)
class Plan:
    """Visits by the number of their node, with the cost under each future that they serve."""

    ledger: Ledger
    visits: Mapping[int, Visit]
    cost_by_future: Mapping[str, float] = field(default_factory=dict)
    """Present cost [cents]."""

    @property
    def first(self) -> Visit:
        """The first purchase."""
        return self.visits[FIRST]

    @property
    def cents(self) -> float:
        """Expected present cost [cents]; of the first purchase alone, with what it burns, where no future has a probability."""
        chance = self.ledger.tree.chance
        if not any(chance.values()):
            return self.first.spent_cents + self.first.yearly_cents * self.ledger.price(RUNNING, self.first.node)
        return sum(chance[future] * cost for future, cost in self.cost_by_future.items() if chance[future] > 0)


def plan_from(program: PlanProgram) -> Plan:
    """The plan that a solved program holds."""
    ledger = program.ledger
    bought, kits, sold, there = (program.pieces(one) for one in (program.packs, program.kits, program.gone, program.there))
    chosen = program.chosen()
    visits: dict[int, Visit] = {}
    for node in program.nodes:
        column = chosen[node.number][0]
        design, usage = column.design, column.usage
        items = {item: packs * ledger.pack(item) for (item, number), packs in bought.items() if number == node.number}
        in_kits = {kit: count for (kit, number), count in kits.items() if number == node.number}
        lots = {(item, lot.node): lot for item in program.items for lot in ledger.lots(item, node)}  # owned ones are of other years
        gone = {(item, lots[item, lot]): n for (item, lot, number), n in sold.items() if number == node.number}
        kept = {(item, lots[item, lot]): n for (item, lot, number), n in there.items() if number == node.number}
        before = visits[node.parent].design if node.parent is not None else None
        changed = before is not None and before.bank.volts != design.bank.volts
        visits[node.number] = Visit(
            node, design, usage, items, in_kits, gone, kept,
            spent_cents=spent(ledger, node, items, in_kits),
            got_cents=sum(ledger.resale(item, node, lot) * n for (item, lot), n in gone.items()),
            changeover_cents=ledger.changeover_cents if changed else 0.0, yearly_cents=column.yearly_cents,
        )
    plan = Plan(ledger, visits)
    futures = [future for future in ledger.tree.chance if all(node.number in visits for node in ledger.tree.of_future(future))]
    return Plan(ledger, visits, {future: cost_of_future(plan, future) for future in futures})


def spent(ledger: Ledger, node: Node, bought: Mapping[str, int], kits: Mapping[str, int]) -> float:
    """What the purchases of a node cost [cents of the day]; the fixed freight is that of the first purchase."""
    fixed = ledger.prices.fixed_freight_cents * ledger.on_top if node.parent is None else 0.0
    offered = {kit.id: kit for kit in ledger.kits}
    return (
        fixed + sum(ledger.price(item, node) * n for item, n in bought.items())
        + sum(ledger.kit_price(offered[kit], node) * n for kit, n in kits.items())
    )


def cost_of_future(plan: Plan, future: str) -> float:
    """Present cost of a plan if a future comes true: purchases, changeovers and what is burnt, less what is sold and what is left [cents]."""
    ledger, nodes = plan.ledger, plan.ledger.tree.of_future(future)
    total = running_of_future(plan, future)
    for node in nodes:
        visit = plan.visits[node.number]
        total += ledger.discount(node.year) * (visit.spent_cents + visit.changeover_cents - visit.got_cents)
    left = plan.visits[nodes[-1].number].there
    worth = sum(ledger.end_value(item, lot) * n for (item, lot), n in left.items())
    return total - ledger.discount(ledger.growth.horizon_years) * worth


def running_of_future(plan: Plan, future: str) -> float:
    """What the sources of a plan burn if a future comes true, fuel and service or energy that is paid for, as it counts today [cents]."""
    ledger = plan.ledger
    return sum(plan.visits[node.number].yearly_cents * ledger.years_worth(node, future) for node in ledger.tree.of_future(future))
