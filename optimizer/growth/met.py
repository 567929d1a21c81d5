"""The best plan that is known already: of all plans that were met, with the futures of those that begin alike joined."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from optimizer.design import Design
from optimizer.growth.ledger import Ledger
from optimizer.growth.plan import Plan, Visit
from optimizer.growth.tree import FIRST, Node

Serves = Callable[[Node, Design], bool]


def best_of_met(plans: Iterable[Plan], ledger: Ledger, serves: Serves) -> Plan | None:
    """The cheapest plan for the ledger's probabilities; None where no plan that was met covers a future that may come.

    After the same first purchase the futures do not hang together: each may go on as in the plan that is cheapest for it.
    serves: whether a node may have a design.
    """
    tree = ledger.tree
    futures = [future for future, chance in tree.chance.items() if chance > 0]
    going_on: dict[object, tuple[Visit, dict[str, Plan]]] = {}
    for plan in plans:
        if serves(plan.first.node, plan.first.design):
            _, by_future = going_on.setdefault(_start(plan.first), (plan.first, {}))
            for future in futures:
                if future in plan.cost_by_future and all(serves(node, plan.visits[node.number].design) for node in tree.of_future(future)):
                    known = by_future.get(future)
                    if known is None or plan.cost_by_future[future] < known.cost_by_future[future]:
                        by_future[future] = plan
    joined = [_joined(ledger, first, by_future) for first, by_future in going_on.values() if len(by_future) == len(futures)]
    return min(joined, key=lambda plan: plan.cents, default=None)


def _start(first: Visit) -> object:
    """First purchases that agree in this leave the same for whatever comes."""
    return (
        first.design.bank.volts, frozenset(first.usage.items()), frozenset(first.there.items()), first.spent_cents, first.got_cents, first.yearly_cents,
    )


def _joined(ledger: Ledger, first: Visit, by_future: Mapping[str, Plan]) -> Plan:
    visits = {FIRST: first}
    for future, plan in by_future.items():
        visits |= {node.number: plan.visits[node.number] for node in ledger.tree.of_future(future) if node.number != FIRST}
    return Plan(ledger, visits, {future: plan.cost_by_future[future] for future, plan in by_future.items()})
