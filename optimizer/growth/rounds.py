"""The best plan, proven: prices of the items from the program's relaxation, designs from every node at these prices.

Each node by itself is the program of a single design with other part prices. Relaxed, the plan's program over the designs
known so far prices the items; at these prices each node offers its cheapest designs; when none of them is cheaper than the
program already thinks, the relaxation is at its least, which is a lower bound of every plan. The program over whole
numbers then gives a plan. Any plan that is better uses only designs whose cost at the prices lies within the gap of their
node's cheapest: all of them are put on offer, and the program over whole numbers with all of them is the proof.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.solver import Ending
from optimizer.design import Design
from optimizer.growth.by_first import ByFirst
from optimizer.growth.first_plan import first_plan
from optimizer.growth.ledger import ALLOWANCE, KIND_NAMES, MOUNTS, Ledger, circuits_at
from optimizer.growth.met import best_of_met
from optimizer.growth.offers import CoreFilter, TooManyDesigns
from optimizer.growth.one_step import is_one_step
from optimizer.growth.plan import Plan, plan_from
from optimizer.growth.plan_program import OF_CORE, Column, Duals, PlanProgram
from optimizer.growth.planned import SLACK_CENTS, Center, NodePrices, Planned
from optimizer.growth.pool import undominated_columns
from optimizer.growth.prices import Prices
from optimizer.growth.sourced import RUNNING
from optimizer.growth.starting_prices import starting_prices, worth_of_owned
from optimizer.growth.tree import FIRST, Node, Tree

if TYPE_CHECKING:
    from optimizer.growth.plan_search import PlanSearch

ROUNDS_MOST = 200
EARLY_PLANS, EARLY_GAP = (0, 2), 0.02
"""Rounds before which a first plan is made of what is on offer, and the share of its cost that it is not worth waiting for."""

PROBE_SHARE = 0.005
PROBE_GAP = 0.002
PROBE_MOST = 6_000
PROBE_S = 5.0
"""Where the rounds hope for so small a share more than the bound, a plan is probed, its program solved to the gap; if no more
designs than these lie within what is left, found in so many seconds, the rounds end. Before that a plan takes long and is poor."""

NEIGHBOURS_MOST = 2
NEIGHBOUR_SHARES = (0.0, 0.5)
"""Times that a plan is bettered by designs that share parts with its other dates, and the shares of their price that such parts are asked at."""

ROUNDS_SHARE = 0.6
"""Share of the time that goes to prices; the rest is for plans of whole numbers."""

HOPELESS_X = 20
"""Times what it costs to buy the cheapest design of every node anew: beyond such a bound no plan is looked for any longer."""

SMOOTHING = 0.7
CLOSE_SHARE = 1e-4
"""Share of the bound by which it is not worth another round."""

WIDTH = 0.5
"""Share by which prices may leave those of the best bound in one round."""

BEGINNING_SHARE = 0.05
NEAR_SHARE = 0.005
"""Cores whose best design is so near to a node's cheapest put it on offer: at the beginning, and in a round."""

TAKEN_MOST = 60
"""Designs that a node adds at a time."""

LEAST_LIMIT_SHARE, DEEPER_X = 0.002, 2
"""Share of a plan's cost within which designs are put on offer first, and how many times as much next: a better plan makes the gap itself smaller."""

ON_OFFER_MOST = 60_000
"""Designs within the gap, all nodes together, up to which the whole program is tried as a proof."""


NOTHING = Prices({})
"""Prices of a node that is not reached."""


class Rounds:
    """Rounds of prices and designs for one question to a search, a plan, and its proof."""

    def __init__(self, search: PlanSearch, tree: Tree, first: CoreFilter | None, fixed: Mapping[int, Design], seconds: float, gap: float, name: str) -> None:
        self.search, self.tree, self.first, self.fixed, self.gap, self.name = search, tree, first, fixed, gap, name
        self.ledger = Ledger(tree, search.catalog)
        self.nodes = tuple(node for node in tree.nodes if node.parent is None or tree.weight(node) > 0)
        self.ends = time.perf_counter() + seconds
        items = [part.id for part in search.catalog.parts() if type(part) in KIND_NAMES]
        items += [ALLOWANCE + per for per in self.ledger.prices.allowance_bill_cents]
        items += [RUNNING, MOUNTS, *(circuits_at(volts) for volts in (12, 24, 36, 48))]
        start = {item: starting_prices(self.ledger, self.nodes, item) for item in items}
        self.start: NodePrices = {node.number: Prices({item: start[item][node.number] for item in items}) for node in self.nodes}
        self.bound = -np.inf
        self.known: Plan | None = None
        self.working: dict[int, dict[tuple[object, ...], Column]] = {node.number: {} for node in self.nodes}
        """Designs in the relaxation: of all on offer those that were cheap at some prices."""
        self.in_kits = self._counts_in_kits()
        self.whole_proven = False
        self.one_step = is_one_step(self.ledger, self.nodes) and all(self._exact(node) for node in self.nodes)
        self.anew_cents = 0.0
        """What the cheapest designs cost where each node buys all of its own."""
        self.best_prices = dict(self.start)
        self.start_beside = {item: -worth_of_owned(self.ledger, self.nodes, item, start[item]) for item in items}
        self.best_beside = sum(self.start_beside.values())

    def _counts_in_kits(self) -> dict[str, set[int]]:
        """Numbers in which cores use the parts of kits: a kit ties its parts' prices, so none may be left to the starting ones."""
        parts = {part for kit in self.ledger.kits for part in kit.contents if self.ledger.kind(part) in OF_CORE}
        return {part: {n for node in self.nodes for n in self.search.pools[node.number].offers.counts(part)} for part in parts}

    def left_s(self) -> float:
        """Time that is left."""
        return self.ends - time.perf_counter()

    # --- what is on offer

    def offered(self, node: Node) -> list[Column]:
        """Designs of a node that are known."""
        if self._fixed(node):
            return self._fixed_column(node)
        columns = list(self.search.pools[node.number].columns.values())
        if node.number != FIRST:
            return columns
        return [column for column in columns if self.first is None or self.first.keeps(column.design)]

    def _ask(self, node: Node, prices: Prices) -> float:
        """Take the cheapest designs of a node into work; what the cheapest costs at these prices."""
        if self._fixed(node):
            return self.column(node, self.fixed[node.number]).cost(prices)
        known = self._take(node, prices)
        search = self.search.pools[node.number].offers.priced(prices, known, self.first if node.number == FIRST else None)
        found = search.cheapest(NEAR_SHARE) if search.blocks else []
        self._add(node, [offer.design for offer in found[:TAKEN_MOST]])
        return min(known, found[0].cents if found else np.inf)

    def _in_work(self) -> dict[int, list[Column]]:
        """Designs of each node that are in the relaxation."""
        return {node.number: self._fixed_column(node) or list(self.working[node.number].values()) for node in self.nodes}

    def _take(self, node: Node, prices: Prices) -> float:
        """Take the cheapest designs that are known already into work; what the cheapest costs."""
        columns = self.offered(node)
        ranked = sorted((column.cost(prices), at) for at, column in enumerate(columns))
        for cents, at in ranked[:TAKEN_MOST]:
            if cents <= ranked[0][0] + NEAR_SHARE * abs(ranked[0][0]):
                self.working[node.number].setdefault(columns[at].key, columns[at])
        return ranked[0][0] if ranked else np.inf

    def _add(self, node: Node, designs: Sequence[Design]) -> None:
        """Put designs of a node on offer and take them into work."""
        self.search.pools[node.number].add(designs)
        known = self.search.pools[node.number].columns
        for design in designs:
            column = self.column(node, design)
            if column.key in known:
                self.working[node.number].setdefault(column.key, column)

    # --- rounds

    def result(self) -> Planned:
        """Rounds to the least relaxation, a plan, and the proof."""
        for node in self.nodes:
            self._begin(node)
            if not self.offered(node):
                return Planned(None, np.inf, proven=True, reason=f"no design serves {node.name}")
        self._known_before()
        try:
            return self._proven()
        except KeyboardInterrupt:
            return Planned(self.known, self.bound, proven=False, reason="stopped")

    def _proven(self) -> Planned:
        """The plan with its proof, as far as the time goes."""
        self._descend()
        if self.tree.given is None:  # a purchase that is given makes prices valid that else are none
            self.search.centers.append(Center(dict(self.tree.chance), self.best_prices, self.best_beside))
        gap = EARLY_GAP if self.one_step else 0.0  # there the proof finds better plans on its way
        self.plan_of(self._in_work(), gap=gap)
        self._share_parts(gap=gap)
        plan = self.known
        if plan is None and not self._hopeless():
            plan = first_plan(self, HOPELESS_X * self.anew_cents)
        if plan is None:
            reason = "budget, stock or what must be used leave none" if self._hopeless() else "no plan was found in the time that was given"
            return Planned(None, self.bound, proven=False, reason=reason)
        if self.one_step and plan.cents - self.bound > max(SLACK_CENTS, self.gap * plan.cents):
            return ByFirst(self, plan).planned()
        return self._deeper(plan)

    def _deeper(self, plan: Plan) -> Planned:
        """The proof by designs that lie little above their node's cheapest, more and more of them.

        A plan costs more than the bound by what its designs cost more than the cheapest, and more. So where the best plan of all designs
        within a limit lies within it, it is the best of all plans: a better one has no design beyond the limit.
        """
        limit = max(SLACK_CENTS, LEAST_LIMIT_SHARE * plan.cents)  # what is sold may bring more than what is bought costs
        while True:
            within = plan.cents - self.bound
            if within <= max(SLACK_CENTS, self.gap * plan.cents):
                return Planned(plan, self.bound, proven=within <= SLACK_CENTS)
            limit = min(limit, within)
            if self.left_s() <= 0 or not all(self._exact(node) for node in self.nodes) or not self.put_on_offer(self.nodes, limit):
                return Planned(plan, self.bound, proven=False)
            plan = self._better(limit) or plan
            if self.whole_proven and plan.cents - self.bound <= limit + SLACK_CENTS:
                return Planned(plan, plan.cents, proven=True)
            if limit >= within and not self.whole_proven:
                return Planned(plan, self.bound, proven=False)
            limit *= DEEPER_X

    def _begin(self, node: Node) -> None:
        """The best designs of each voltage at the starting prices, and at list prices."""
        if self._fixed(node):
            return
        pool = self.search.pools[node.number]
        first = self.first if node.number == FIRST and self.first is not None else CoreFilter()
        listed = self._listed(node)
        for volts in first.volts or node.problem.bank.volts:
            for prices in (self.start[node.number], listed):
                search = pool.offers.priced(prices, np.inf, CoreFilter((volts,), first.chemistries))
                if search.blocks:
                    self._add(node, [offer.design for offer in search.cheapest(BEGINNING_SHARE)[:TAKEN_MOST]])
        self._take(node, self.start[node.number])
        self.anew_cents += self._take(node, listed)

    def _exact(self, node: Node) -> bool:
        return self.search.pools[node.number].offers.exact or self._fixed(node)

    def _descend(self) -> None:
        """Price the items and ask the nodes, until no node has anything cheaper."""
        constant = self.ledger.prices.fixed_freight_cents * self.ledger.on_top
        for prices, beside in self._centers():
            self._ask_all(prices, beside, constant)
        ends = time.perf_counter() + ROUNDS_SHARE * self.left_s()
        drawn, near = SMOOTHING, True
        close = np.inf  # half of what was left at the last probe is what the next one waits for
        for number in range(ROUNDS_MOST):
            offered = self._in_work()
            if number in EARLY_PLANS:
                self.plan_of(offered, gap=EARLY_GAP)
                self._share_parts(gap=EARLY_GAP)
            around = self.best_prices if near else None
            program = PlanProgram(self.ledger, self.nodes, offered, whole=False, around=around, width=WIDTH, counts=self.in_kits)
            solved = program.solve(max(1.0, self.left_s()))
            if solved.ending is not Ending.OPTIMAL or solved.objective is None:
                return
            duals, least = program.duals(), solved.objective + constant
            if near and least < self.bound - SLACK_CENTS:
                near = False  # prices that another question left may be none that this relaxation can have: it goes on without them
                continue
            # What rows beside the designs are worth (owned parts, stock, budget): the rest of the dual objective.
            beside = solved.objective - sum(duals.node.values())
            beside += sum(value for item, value in self.start_beside.items() if item not in program.items)
            before, known = self.bound, sum(map(len, self.working.values()))
            prices = {n: price.drawn_to(self.best_prices[n], drawn) for n, price in self._prices(duals).items()}
            self._ask_all(prices, (1 - drawn) * beside + drawn * self.best_beside, constant)
            # Prices drawn to the best ones that bring nothing would be asked again for ever: the next ones are the relaxation's own.
            near |= self.bound > before
            drawn = SMOOTHING if self.bound > before or sum(map(len, self.working.values())) > known else 0.0
            self.search.progress(f"{self.name}: round {number + 1}, hoped for {least / 100:,.2f}, bound {self.bound / 100:,.2f}")
            if self._hopeless():
                return
            if time.perf_counter() > ends or least - before < max(SLACK_CENTS, CLOSE_SHARE * abs(before)):
                return  # no better prices near the best ones; the bound is concave in them, so there are none at all
            if least - self.bound < min(close, PROBE_SHARE * abs(least)):
                if self.one_step:
                    return
                close = (least - self.bound) / 2
                self.plan_of(self._in_work(), gap=PROBE_GAP)
                if self._few_within():
                    return

    def _hopeless(self) -> bool:
        """Whether every plan costs so much that there is none: prices rise without end where designs cannot be bought."""
        return self.known is None and self.bound > HOPELESS_X * self.anew_cents

    def _few_within(self) -> bool:
        """Whether so few designs lie within the gap that the proof may begin."""
        if self.known is None or not all(self._exact(node) for node in self.nodes):
            return False
        return self.put_on_offer(self.nodes, self.known.cents - self.bound, most=PROBE_MOST, seconds=PROBE_S)

    def _centers(self) -> Iterator[tuple[NodePrices, float]]:
        """Prices to begin with: the starting ones, those that were best for the same probabilities, and mixtures.

        What makes prices valid is linear in the probabilities, so prices that are valid for several futures alone, mixed
        as the probabilities mix these futures, are valid here.
        """
        yield self.best_prices, self.best_beside
        same = [one for one in self.search.centers if one.chance == self.tree.chance]
        if same:
            yield same[-1].prices, same[-1].beside
            return
        alone = {future: one for one in self.search.centers for future, chance in one.chance.items() if chance == 1}
        mixed = [(chance, alone[future]) for future, chance in self.tree.chance.items() if chance > 0 and future in alone]
        if not mixed or len(mixed) < sum(chance > 0 for chance in self.tree.chance.values()):
            return
        weight, (_, first) = mixed[0][0], mixed[0]
        prices, beside = dict(first.prices), mixed[0][0] * first.beside
        for share, other in mixed[1:]:
            weight, beside = weight + share, beside + share * other.beside
            for node in self.nodes:
                mine, its = prices.get(node.number, NOTHING), other.prices.get(node.number, NOTHING)
                prices[node.number] = mine.drawn_to(its, share / weight)
        yield {node.number: prices[node.number] for node in self.nodes}, beside

    def _prices(self, duals: Duals) -> NodePrices:
        """Prices of the relaxation; starting prices for items and pieces that it does not hold."""
        found = {}
        for node in self.nodes:
            each = dict(self.start[node.number].each)
            each |= {item: worth for (number, item), worth in duals.item.items() if number == node.number}
            together = {item: worth for (number, item), worth in duals.pieces.items() if number == node.number}
            by_lots = {(item, lots): worth for (number, item, lots), worth in duals.by_lots.items() if number == node.number}
            found[node.number] = Prices(each, together, duals.volts.get(node.number, {}), by_lots)
        return found

    def _ask_all(self, prices: NodePrices, beside: float, constant: float) -> None:
        """Ask every node at some prices, and keep the bound that follows where it is the best."""
        bound = sum(self._ask(node, prices[node.number]) for node in self.nodes) + beside + constant
        if self.bound < bound < np.inf:
            self.bound, self.best_prices, self.best_beside = bound, prices, beside

    # --- whole numbers

    def _share_parts(self, gap: float = 0.0) -> None:
        """Better the known plan by designs that use what its designs of other dates use, while that helps."""
        for _ in range(NEIGHBOURS_MOST):
            plan = self.known
            if plan is None or self.left_s() <= 0:
                return
            for node in self.nodes:
                if not self._fixed(node):
                    for share in NEIGHBOUR_SHARES:
                        self._ask_beside(node, plan, share)
            self.plan_of(self._in_work(), gap=gap)
            if self.known is plan:
                return

    def _ask_beside(self, node: Node, plan: Plan, share: float) -> None:
        """Put the cheapest designs on offer where parts of the plan's dates before and after cost so small a share of their price."""
        near = [other for other in self.nodes if other.number == node.parent or other.parent == node.number]
        there = {item for other in near for item in plan.visits[other.number].usage}
        listed = self._listed(node).each
        prices = Prices({item: cents * (share if item in there else 1.0) for item, cents in listed.items()})
        search = self.search.pools[node.number].offers.priced(prices, np.inf, self.first if node.number == FIRST else None)
        self._add(node, [offer.design for offer in search.cheapest(NEAR_SHARE)[:TAKEN_MOST]] if search.blocks else [])

    def _listed(self, node: Node) -> Prices:
        """What everything costs that is bought at a node."""
        weight = self.tree.weight(node) * self.ledger.discount(node.year)
        return Prices({item: weight * self.ledger.price(item, node) for item in self.start[node.number].each})

    def _better(self, within: float) -> Plan | None:
        """A better plan than the known one, of the designs on offer whose cost lies so near to that of their node's cheapest."""
        below = self.known.cents if self.known is not None else np.inf
        return self.plan_of({node.number: self.trimmed(node, within) for node in self.nodes}, below)

    def plan_of(self, offered: Mapping[int, Sequence[Column]], below: float = np.inf, gap: float = 0.0) -> Plan | None:
        """The best plan of some designs; one that the check does not accept goes, and the rest is tried again."""
        left = {number: list(columns) for number, columns in offered.items()}
        while all(left.values()):
            program = PlanProgram(self.ledger, self.nodes, left, whole=True)
            self.search.progress(f"{self.name}: a plan of {sum(len(one) for one in left.values())} designs on offer")
            if np.isfinite(below):
                program.cost_below(below - SLACK_CENTS)
            solved = program.solve(max(1.0, self.left_s()), gap)
            self.whole_proven = gap == 0 and solved.ending in (Ending.OPTIMAL, Ending.INFEASIBLE)
            if not solved.has_solution:
                return None
            chosen = program.chosen()
            fails = [node.number for node in self.nodes if not self._fixed(node) and not self.search.pools[node.number].holds(chosen[node.number][0])]
            if not fails:
                return self._keep(plan_from(program))
            for number in fails:
                self.working[number].pop(chosen[number][0].key, None)
                left[number] = [column for column in left[number] if column.key != chosen[number][0].key]
        return None

    def _keep(self, plan: Plan) -> Plan:
        """Hold a plan against the best one that is known."""
        self.search.plans.append(plan)
        if self.known is None or plan.cents < self.known.cents:
            self.known = plan
            gap = (plan.cents - self.bound) / max(1.0, plan.cents)
            self.search.progress(f"{self.name}: a plan of {plan.cents / 100:,.2f}, another may cost up to {100 * gap:.1f} % less")
        return plan

    def _known_before(self) -> None:
        """The best plan of those that were met for other questions and that serve here."""
        plans = [plan for plan in self.search.plans if self.tree.given in (None, plan.first.purchase)]
        self.known = best_of_met(plans, self.ledger, self._serves)
        if self.known is not None:
            for node in self.nodes:
                if not self._fixed(node):
                    self._add(node, [self.known.visits[node.number].design])

    def _serves(self, node: Node, design: Design) -> bool:
        """Whether a node may have a design here."""
        if self._fixed(node):
            return self.column(node, design).key == self.column(node, self.fixed[node.number]).key
        return node.number != FIRST or self.first is None or self.first.keeps(design)

    def _fixed_column(self, node: Node) -> list[Column]:
        return [self.column(node, self.fixed[node.number])] if self._fixed(node) else []

    def column(self, node: Node, design: Design) -> Column:
        """The column of a node's design."""
        return Column.of(design, self.search.pools[node.number].offers.of(design).stock.prices)

    def _fixed(self, node: Node) -> bool:
        return node.number in self.fixed

    def trimmed(self, node: Node, within: float) -> list[Column]:
        """Designs on offer without those that are too dear, and those that use more of everything than another."""
        columns = self.offered(node)
        if np.isfinite(within):
            costs = [column.cost(self.best_prices[node.number]) for column in columns]
            limit = min(costs) + within + SLACK_CENTS
            columns = [column for column, cost in zip(columns, costs, strict=True) if cost <= limit]
        return undominated_columns(columns, lots=node.number != FIRST)

    def put_on_offer(self, nodes: Sequence[Node], within: float, most: int = ON_OFFER_MOST, seconds: float = np.inf) -> bool:
        """Every design within the gap of its node's cheapest, at the prices of the best bound; False where they are too many."""
        ends = min(self.ends, time.perf_counter() + seconds)
        total = 0
        for node in nodes:
            if self._fixed(node):
                continue
            prices, pool = self.best_prices[node.number], self.search.pools[node.number]
            least = min(column.cost(prices) for column in self.offered(node))
            limit = least + within + SLACK_CENTS
            search = pool.offers.priced(prices, limit, self.first if node.number == FIRST else None)
            try:
                for offer in search.within(limit) if search.blocks else ():
                    pool.add([offer.design])
                    total += 1
                    if total > most or time.perf_counter() > ends:
                        return False
            except TooManyDesigns:
                return False
        return True
