"""Plans of one problem: what is asked is answered by rounds of prices, which share designs from question to question."""

from __future__ import annotations

import copy
from collections.abc import Callable, Mapping
from dataclasses import replace

from optimizer.design import Design
from optimizer.growth.fitted import offers_of
from optimizer.growth.ledger import Ledger
from optimizer.growth.met import best_of_met
from optimizer.growth.offers import CoreFilter
from optimizer.growth.plan import Plan
from optimizer.growth.planned import Center, Planned
from optimizer.growth.pool import Pool
from optimizer.growth.rounds import Rounds
from optimizer.growth.tree import Node, Purchase, Tree
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem

Progress = Callable[[str], None]

NOT_FIXED: Mapping[int, Design] = {}


class PlanSearch:
    """Plans of one problem: offers are built once, pools of designs grow from question to question."""

    def __init__(self, tree: Tree, catalog: Catalog, progress: Progress = lambda _: None) -> None:
        self.tree, self.catalog, self.progress = tree, catalog, progress
        self.plans: list[Plan] = []
        """Every plan that was met: each is a plan for other probabilities as well."""
        self.centers: list[Center] = []
        self.proven: list[Planned] = []
        """Plans that are proven to be the best of all for their probabilities."""
        by_problem: list[tuple[Problem, Pool]] = []
        self.pools: dict[int, Pool] = {}
        for node in tree.nodes:
            asked = _within_owned_banks(node, tree, catalog)
            pool = next((pool for other, pool in by_problem if other == asked), None)
            if pool is None:
                progress(f"designs for {node.name}")
                pool = Pool(offers_of(asked, catalog))
                by_problem.append((asked, pool))
            self.pools[node.number] = pool

    def later(self, years: float) -> PlanSearch:
        """The same site with every step so many years later; designs on offer are shared."""
        other = copy.copy(self)
        other.tree, other.plans, other.centers, other.proven = self.tree.later(years), [], [], []
        return other

    def up_to(self, steps: int) -> tuple[PlanSearch, tuple[int, ...]]:
        """The same site as if nothing came after so many steps of each future, and the numbers that its nodes have here."""
        other = copy.copy(self)
        other.tree, kept = self.tree.up_to(steps)
        other.pools = {at: self.pools[number] for at, number in enumerate(kept)}
        other.plans, other.centers, other.proven = [], [], []
        return other, kept

    def impossible(self) -> str:
        """The first node that no design serves, in words; empty where all are served."""
        for node in self.tree.nodes:
            if not self.pools[node.number].offers.possible:
                return f"no design serves {node.name}: {self.pools[node.number].offers.base.missing}"
        return ""

    def best_met(self) -> Plan | None:
        """The cheapest plan of all that were met, the futures of those that begin alike joined; None where a future is in none of them."""
        return best_of_met(self.plans, Ledger(self.tree, self.catalog), lambda _node, _design: True)

    def best(
        self, chance: Mapping[str, float] | None = None, *, first: CoreFilter | None = None, fixed: Mapping[int, Design] = NOT_FIXED,
        given: Purchase | None = None, seconds: float = 60.0, gap: float = 0.0, name: str = "",
    ) -> Planned:
        """The plan of least expected present cost.

        chance: probability of each future; the problem's own where not given.
        first: kinds that the first purchase is held to.
        fixed: the one design that a node makes, by the number of the node.
        given: the first purchase, where it was made already; any where not given.
        seconds: when to stop with what is known.
        gap: share of the cost at which a plan is good enough.
        """
        tree = self.tree if chance is None else self.tree.with_chance(chance)
        for one in self.proven:
            if one.plan is not None and one.plan.ledger.tree.chance == tree.chance and not fixed and given is None and (first is None or first.keeps(one.plan.first.design)):
                return one  # the best of all is the best of those that begin as it does
        planned = Rounds(self, replace(tree, given=given), first, fixed, seconds, gap, name).result()
        if planned.proven and planned.plan is not None and first is None and not fixed and given is None:
            self.proven.append(planned)
        return planned


def _within_owned_banks(node: Node, tree: Tree, catalog: Catalog) -> Problem:
    """What a node asks; at first of a battery that the customer has no more than may stand in one bank, where new ones may not join them."""
    if node.parent is not None:
        return node.problem
    ledger, locks = Ledger(tree, catalog), node.problem.locks
    most = dict(locks.at_most)
    for item, lots in ledger.owned_lots.items():
        groups = ledger.together(item, node) if ledger.kind(item) == "battery" else ()
        if groups and all(lot.owned for group in groups for lot in group):
            stand = max(sum(lots[lot] for lot in group) for group in groups)
            most[item] = min(most.get(item, stand), stand)
    return node.problem if most == locks.at_most else node.problem.model_copy(update={"locks": locks.model_copy(update={"at_most": most})})
