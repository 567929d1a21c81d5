"""Plans over years: the program finds what looking at every plan finds, on small random sites that grow."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pytest
from growth_enumerate import SHAPES, EveryPlan, growth_case

from optimizer.design import Design
from optimizer.growth.greedy import cheapest_first
from optimizer.growth.ledger import usage_of
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import SLACK_CENTS, PlanSearch, _Rounds

SEEDS = (0, 1, 5, 7, 8, 9, 12, 15, 16, 17, 18, 19, 23, 24, 25, 27, 28, 31, 32, 33, 34, 35)
"""Cases that every node has a design for, and few enough to look at all plans in a moment."""

LEAST_SEEN = 3
"""Cases in which a plan does a thing that the tests must have seen."""


@dataclass(frozen=True)
class Found:
    """Both answers to one case."""

    search: PlanSearch
    plan: Plan
    bound_cents: float
    proven: bool
    every: EveryPlan
    least_cents: float


@cache
def found(seed: int) -> Found:
    problem, catalog = growth_case(seed)
    every = EveryPlan(problem, catalog)
    assert every.possible, seed
    search = PlanSearch(every.tree, catalog)
    planned = search.best()
    assert planned.plan is not None
    return Found(search, planned.plan, planned.bound_cents, planned.proven, every, every.best().cents)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_best_plan_is_the_best_of_all_plans(seed: int) -> None:
    case = found(seed)
    assert case.plan.cents == pytest.approx(case.least_cents, abs=SLACK_CENTS)
    assert case.proven
    assert check_plan(case.plan, case.search.catalog) == ()


@pytest.mark.parametrize("seed", SEEDS)
def test_no_bound_is_above_the_best_of_all_plans(seed: int) -> None:
    """At the starting prices, where a search is stopped at once, and at its end."""
    case = found(seed)
    rounds = _Rounds(case.search, case.search.tree, None, None, 60.0, 0.0, "")
    at_the_start = rounds.best_beside + rounds.ledger.prices.fixed_freight_cents * rounds.ledger.on_top
    for node, ways in zip(case.search.tree.nodes, case.every.ways, strict=True):
        at_the_start += min(rounds.start[node.number].cost(usage_of(design), design.bank.volts) for _, design in ways)
    early = case.search.best(seconds=0.01)
    for bound in (at_the_start, early.bound_cents, case.bound_cents):
        assert bound <= case.least_cents + SLACK_CENTS
    if early.plan is not None:
        assert early.plan.cents >= case.least_cents - SLACK_CENTS
        assert check_plan(early.plan, case.search.catalog) == ()


@cache
def thrifty(seed: int) -> Plan:
    plan = cheapest_first(found(seed).search).plan
    assert plan is not None
    return plan


@pytest.mark.parametrize("seed", SEEDS)
def test_the_cheapest_first_purchase_is_no_better_a_plan(seed: int) -> None:
    plan = thrifty(seed)
    assert check_plan(plan, found(seed).search.catalog) == ()
    assert plan.cents >= found(seed).least_cents - SLACK_CENTS


def _features(plan: Plan) -> set[str]:
    """What a plan does: the kinds of case that the tests must have seen."""
    seen: set[str] = set()
    for visit in plan.visits.values():
        bank, parent = visit.design.bank, visit.node.parent
        if parent is None:
            continue
        before = plan.visits[parent].design.bank
        standing = {lot: n for (item, lot), n in visit.there.items() if item == bank.battery.id and n}
        if before.volts != bank.volts:
            seen.add("changes the voltage")
        if before.battery.id == bank.battery.id and any(lot.node < visit.node.number for lot in standing):
            seen.add("keeps the battery")
            if any(lot.node == visit.node.number for lot in standing) and sum(standing.values()) == bank.units:
                seen.add("adds to the bank")
        if not any(lot.node < visit.node.number for lot in standing):
            seen.add("replaces the battery")
        if sum(visit.sold.values()):
            seen.add("sells")
    used = usage_of(plan.first.design)
    if any(n > used[item] for item, n in plan.first.bought.items() if plan.ledger.pack(item) == 1):
        seen.add("buys ahead")
    return seen


def test_the_cases_are_of_every_kind() -> None:
    assert {SHAPES[seed % len(SHAPES)] for seed in SEEDS} == set(SHAPES)
    counts = {
        name: sum(name in _features(found(seed).plan) for seed in SEEDS)
        for name in ("keeps the battery", "adds to the bank", "replaces the battery", "changes the voltage", "sells", "buys ahead")
    }
    assert len(SEEDS) >= 20
    assert {name: count for name, count in counts.items() if count < 3} == {}


def test_the_first_purchase_is_not_always_the_cheapest() -> None:
    dearer = [seed for seed in SEEDS if thrifty(seed).cents > found(seed).least_cents + 100]
    assert len(dearer) >= 4
