"""What to buy now and what later: the best plan, the regret of each first purchase, doors, and where the answer flips."""

from __future__ import annotations

import math
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from itertools import pairwise

from optimizer.choice.owned import owned_parts, unfit_demands
from optimizer.growth.greedy import step_by_step
from optimizer.growth.offers import CoreFilter
from optimizer.growth.plan import Plan, running_of_future
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS, Planned
from optimizer.growth.tree import FIRST, tree_of
from optimizer.inputs.agreement import refuse_unknown_parts
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery
from optimizer.inputs.problem import Problem
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.sunlight import on_one_plane
from optimizer.questions.doors import doors
from optimizer.questions.grown import CostLine, Flip, Grown, NamedPlan, Regret, words_of
from optimizer.questions.wait import waits

Progress = Callable[[str], None]

MINUTES = 15.0
"""Time for the whole question."""

MAIN_SHARE = 0.25
"""Share of the time that the plan in expectation may take."""

LEAST_S = 10.0
"""Time that any one plan gets that is begun, however many there are."""

NEARLY = 1e-6
"""Probability that is as good as none, but asks for a plan."""

CONTINUED_S = 20.0
"""Time for a plan whose first design is given."""

PLANS_FIRST = ("in expectation", "growth for certain")
"""Plans that are said before those of single futures."""


def grow(problem: Problem, catalog: Catalog, progress: Progress = lambda _: None, *, minutes: float = MINUTES) -> Grown:
    """Plans over the stages and futures of a problem.

    minutes: time for the whole; each plan that it was not enough for carries its gap, and once it is over no other is begun: `complete` is
    False then as well, and `not_asked` names the plan.
    Raises InputError for a problem without a [growth] section, and for parts that the catalog does not hold.
    Stopped by Ctrl-C it returns what is known so far, `complete` False.
    """
    refuse_unknown_parts(problem, catalog)
    problem, catalog = with_worn_parts(problem, catalog)
    problem = on_one_plane(problem)  # an array that stands keeps its tilt, whatever comes
    grown = Grown(problem, catalog)
    asking = _Asking(grown, problem, catalog, progress, minutes)
    try:
        asking.run()
    except KeyboardInterrupt:
        grown.complete = False
    return grown


_Start = tuple[str, Plan, dict[str, float], Planned]
"""Why a first purchase is looked at, the best plan with it, its costs under every future, and what is proven of it."""


class _Stopped(KeyboardInterrupt):
    """A plan was stopped from the keyboard, or the time is over."""


class _Asking:
    def __init__(self, grown: Grown, problem: Problem, catalog: Catalog, progress: Progress, minutes: float) -> None:
        self.grown, self.problem, self.catalog, self.progress = grown, problem, catalog, progress
        self.ends = time.perf_counter() + 60 * minutes
        self.left = 1
        tree = tree_of(problem)
        self.futures = tree.growth.futures
        self.chance = {future.name: future.probability for future in self.futures}
        grown.probability = sum(future.probability for future in self.futures if future.grows)
        self.tree = tree

    def _unfit(self) -> Iterator[str]:
        """Owned parts that must be used and that cannot serve, in sentences with the rule."""
        problem, catalog = self.problem, self.catalog
        for own in problem.owned:
            part = catalog.by_id[own.part]
            if own.must_use and isinstance(part, Battery) and own.age_months / 12 > catalog.chemistry(part).calendar_life_years:
                life = f"{part.chemistry} lasts {catalog.chemistry(part).calendar_life_years:g} years, and a plan uses none beyond that"
                yield f"owned {own.part}: cannot serve: it is {own.age_months:g} months old; {life}"
        if not self._fitted_openly:
            yield from (one.sentence for one in unfit_demands(problem.model_copy(update={"growth": None}), catalog))

    # --- plans

    def _best(self, search: PlanSearch, name: str, *, chance: Mapping[str, float] | None = None, first: CoreFilter | None = None) -> Planned:
        """A plan in its share of the time that is left."""
        seconds = max(LEAST_S, self._left_s(name) / max(1, self.left))
        self.left = max(1, self.left - 1)
        return self._known(search.best(chance, first=first, seconds=seconds, name=name))

    def _known(self, planned: Planned) -> Planned:
        if planned.stopped:
            raise _Stopped
        self.grown.all_proven &= planned.proven
        return planned

    def _left_s(self, name: str) -> float:
        """Time that is left; once it is over nothing more is begun, and what is known is the answer."""
        left = self.ends - time.perf_counter()
        if left <= 0:
            self.grown.not_asked = name
            raise _Stopped
        return left

    def run(self) -> None:
        """Everything in the order in which it is wanted most."""
        grown = self.grown
        grown.reason = "; ".join(self._unfit())
        if grown.reason:
            return
        search = PlanSearch(self.tree, self.catalog, self.progress)
        grown.reason = search.impossible()
        if grown.reason:
            return
        expected = search.best(seconds=max(LEAST_S, MAIN_SHARE * (self.ends - time.perf_counter())), name="in expectation")
        grown.all_proven &= expected.proven
        if expected.plan is not None:  # stopped or not, what was found until then is known
            self._name(PLANS_FIRST[0], search, expected)
            self._tell(expected.plan)
        self._known(expected)
        if expected.plan is None:
            grown.reason = expected.reason
            return
        try:
            self._beside(search)
        finally:  # stopped or not, what was found counts
            self._better(search)

    def _beside(self, search: PlanSearch) -> None:
        """What is asked beside the plan in expectation."""
        grown, firsts = self.grown, list(self._considered())
        self.left = len(self.futures) + len(firsts) + 12
        alone: dict[str, Planned] = {}
        for future in self.futures:
            name = f"{future.name}, for certain"
            alone[future.name] = self._best(search, name, chance=_only(self.chance, {future.name: 1.0}))
            self._name(name, search, alone[future.name])
        growing = [one for one in self.futures if one.grows and one.probability > 0]
        if len(growing) > 1 and 0 < grown.probability < 1:
            self._name(PLANS_FIRST[1], search, self._best(search, PLANS_FIRST[1], chance=self._at(1.0)))
            grown.plans.sort(key=lambda one: PLANS_FIRST.index(one.name) if one.name in PLANS_FIRST else len(PLANS_FIRST))
        self._step_by_step(search)
        self._regrets(search, firsts, alone)
        self._flips(search)
        grown.doors.extend(doors(self.problem, search, self._better(search), self._later(search), self.progress))

    def _better(self, search: PlanSearch) -> Plan:
        """The plan in expectation; where it has no proof a cheaper one of those that were met for other questions takes its place."""
        named = self.grown.plans[0]
        plan, met = named.planned.plan, search.best_met()
        assert plan is not None, "the plan in expectation is named where there is one"
        if named.planned.proven or met is None or met.cents >= plan.cents - SLACK_CENTS:
            return plan
        running = {future: running_of_future(met, future) for future in met.cost_by_future}
        self.grown.plans[0] = NamedPlan(named.name, Planned(met, named.planned.bound_cents, proven=False), met.cost_by_future, met.cents, running)
        self._tell(met)
        return met

    def _tell(self, plan: Plan) -> None:
        """What the plan in expectation leaves for later, and what becomes of the customer's own parts."""
        self.grown.waits[:] = waits(plan)
        if not self._fitted_openly:
            used: Counter[str] = Counter()
            for visit in plan.visits.values():
                used |= visit.design.pieces
            self.grown.owned[:] = owned_parts(self.problem.model_copy(update={"growth": None}), self.catalog, used)

    @property
    def _fitted_openly(self) -> bool:
        """Whether the design chooses soft starters or an autotransformer: whether a part can serve hangs on these."""
        return self.problem.inverter.autotransformer == "may" or any(load.soft_starter == "may" for load in self.problem.loads)

    def _name(self, name: str, search: PlanSearch, planned: Planned) -> None:
        """A plan under every future: those that it was not made for with the best continuation of its first purchase."""
        if planned.plan is None:
            return
        costs = dict(planned.plan.cost_by_future)
        running = {future: running_of_future(planned.plan, future) for future in costs}
        for future in self.chance:
            if future not in costs:
                continued = self._continuation(search, planned.plan, future)
                costs[future] = continued.cost_by_future[future] if continued is not None else float("inf")
                running[future] = running_of_future(continued, future) if continued is not None else 0.0
        self.grown.plans.append(NamedPlan(name, planned, costs, _expected(self.chance, costs), running))

    def _continued(self, search: PlanSearch, plan: Plan, future: str) -> float:
        """Present cost of a future with the first design of a plan and the best continuation [cents]."""
        found = self._continuation(search, plan, future)
        return found.cost_by_future[future] if found is not None else float("inf")

    def _continuation(self, search: PlanSearch, plan: Plan, future: str) -> Plan | None:
        """The best plan for a future that begins with the first design of a plan and all that it buys for it, or ahead."""
        name = f"{words_of(plan)}, {future}"
        seconds = min(CONTINUED_S, max(LEAST_S, self._left_s(name)))
        chance, fixed = _only(self.chance, {future: 1.0}), {FIRST: plan.first.design}
        return self._known(search.best(chance, fixed=fixed, given=plan.first.purchase, seconds=seconds, name=name)).plan

    def _step_by_step(self, search: PlanSearch) -> None:
        """What is cheapest at each date, chosen as if nothing came after it."""
        found = step_by_step(search, seconds=min(CONTINUED_S, max(LEAST_S, self._left_s("step by step"))))
        if found.stopped:
            raise _Stopped
        if found.plan is not None:
            self.grown.step_by_step_cents = found.plan.cents

    # --- regret

    def _considered(self) -> Iterator[tuple[str, CoreFilter]]:
        """First purchases that anybody would think of: each voltage, each chemistry."""
        for volts in self.tree.nodes[FIRST].problem.bank.volts:
            yield f"{volts} V", CoreFilter(volts=(volts,))
        allowed = self.problem.bank.chemistries
        for chemistry in sorted({battery.chemistry for battery in self.catalog.batteries}):
            if not allowed or chemistry in allowed:
                yield chemistry, CoreFilter(chemistries=(chemistry,))

    def _regrets(self, search: PlanSearch, firsts: list[tuple[str, CoreFilter]], alone: Mapping[str, Planned]) -> None:
        """Costs of the best plan with each kind of first purchase, held against the least that is known for each future."""
        found: list[_Start] = []
        try:
            for kind, first in firsts:
                planned = self._best(search, f"starting with {kind}", first=first)
                if planned.plan is not None:
                    costs = dict(planned.plan.cost_by_future)
                    costs |= {name: self._continued(search, planned.plan, name) for name in self.chance if name not in costs}
                    found.append((kind, planned.plan, costs, planned))
        finally:  # stopped or not, what was found counts
            self._hold_against_the_least(found, alone)

    def _hold_against_the_least(self, found: list[_Start], alone: Mapping[str, Planned]) -> None:
        # A future whose own plan was not proven may be served better by another's.
        least = {name: min([costs[name] for _, _, costs, _ in found] + [one.cost_by_future.get(name, math.inf) for one in self.grown.plans]) for name in alone}
        for kind, plan, costs, planned in found:
            by_future = {name: costs[name] - least[name] for name in least if math.isfinite(least[name])}
            self.grown.regrets.append(Regret(words_of(plan), kind, by_future, plan.cents, planned.proven, plan.cents if planned.proven else planned.bound_cents))
        self.grown.regrets.sort(key=lambda one: (one.expected_cents, one.kind))

    # --- probability of growth

    def _at(self, probability: float) -> dict[str, float]:
        """Probabilities of the futures when growth has this one: growing futures keep their proportions, the others too."""
        found = {}
        for growing in (True, False):
            mine = [one for one in self.futures if one.grows is growing]
            total, whole = sum(one.probability for one in mine), probability if growing else 1 - probability
            for one in mine:
                found[one.name] = whole * (one.probability / total if total > 0 else 1 / len(mine))
        return found

    def _line(self, search: PlanSearch, plan: Plan) -> CostLine:
        costs = {name: plan.cost_by_future[name] if name in plan.cost_by_future else self._continued(search, plan, name) for name in self.chance}
        return CostLine(words_of(plan), *(_expected(self._at(p), costs) for p in (0.0, 1.0)))

    def _flips(self, search: PlanSearch) -> None:
        """All crossings of the plans' cost lines: the least cost is concave in the probability, so they are found by crossing."""
        if not any(one.grows for one in self.futures) or all(one.grows for one in self.futures):
            return
        known: dict[float, CostLine] = {}

        def solved(probability: float) -> CostLine | None:
            # The best for one end alone may leave no plan for the other: then the best of those that serve both.
            for at in (probability, min(max(probability, NEARLY), 1 - NEARLY)):
                if probability not in known:
                    planned = self._best(search, f"growth at {100 * at:.0f} %", chance=self._at(at))
                    line = self._line(search, planned.plan) if planned.plan is not None else None
                    if line is not None and math.isfinite(line.never_cents) and math.isfinite(line.certain_cents):
                        known[probability] = line
            return known.get(probability)

        todo = [(0.0, 1.0)]
        try:
            while todo:
                low, high = todo.pop()
                first, last = solved(low), solved(high)
                if first is None or last is None or abs(_slope(first) - _slope(last)) < 1:
                    continue
                cross = (last.never_cents - first.never_cents) / (_slope(first) - _slope(last))
                if not low + 1e-6 < cross < high - 1e-6:
                    continue
                between = solved(cross)
                if between is not None and between.at(cross) < first.at(cross) - 1:
                    todo += [(low, cross), (cross, high)]
        finally:  # stopped or not, what was found counts
            envelope = lower_envelope(list(known.values())) if {0.0, 1.0} <= known.keys() else []
            self.grown.lines = [line for line, _ in envelope]
            self.grown.flips = [
                Flip(start, before.first_purchase, after.first_purchase)
                for (before, _), (after, start) in pairwise(envelope) if before.first_purchase != after.first_purchase
            ]

    # --- dates

    def _later(self, search: PlanSearch) -> Callable[[int], Plan | None]:
        """The best plan when every step comes so many months later."""
        def at(months: int) -> Plan | None:
            return self._best(search.later(months / 12), f"growth {months} months later").plan

        return at


def _slope(line: CostLine) -> float:
    return line.certain_cents - line.never_cents


def lower_envelope(lines: list[CostLine]) -> list[tuple[CostLine, float]]:
    """Lines that are the lowest somewhere between 0 and 1, in order, each with the probability from which it is."""
    points = {0.0, 1.0}
    for at, one in enumerate(lines):
        for other in lines[at + 1 :]:
            slope = _slope(one) - _slope(other)
            if abs(slope) > 1e-9:
                cross = (other.never_cents - one.never_cents) / slope
                if 0 < cross < 1:
                    points.add(cross)
    found: list[tuple[CostLine, float]] = []
    for start, end in pairwise(sorted(points)):
        middle = (start + end) / 2
        line = min(lines, key=lambda one: (one.at(middle), one.first_purchase))
        if not found or found[-1][0] != line:
            found.append((line, start))
    return found


def _expected(chance: Mapping[str, float], costs: Mapping[str, float]) -> float:
    """Expected cost; what a future costs that cannot come does not matter, nor whether there is a plan for it."""
    return sum(share * costs[name] for name, share in chance.items() if share > 0)


def _only(chance: Mapping[str, float], kept: Mapping[str, float]) -> dict[str, float]:
    """Probabilities with all others at nothing."""
    return {name: kept.get(name, 0.0) for name in chance}
