"""Plans that begin alike, joined future by future: held against the best plan of all, and against the check of every piece."""

from __future__ import annotations

from functools import cache

import pytest
from growth_enumerate import growth_case

from optimizer.growth import plan_search
from optimizer.growth.met import best_of_met
from optimizer.growth.offers import CoreFilter
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS, Planned
from optimizer.growth.tree import FIRST, Node, tree_of
from optimizer.inputs.catalog import Catalog

SEEDS = (1, 4, 7)
"""Growing houses with two futures that have steps of their own."""


@cache
def best_and_apart(seed: int) -> tuple[Plan, tuple[Plan, ...], Catalog]:
    """The best plan of a case, and for each future alone the best that goes on from its first purchase."""
    problem, catalog = growth_case(seed)
    search = PlanSearch(tree_of(problem), catalog)
    plan = search.best().plan
    assert plan is not None
    apart, given = PlanSearch(search.tree, catalog), []
    for future in plan.cost_by_future:
        chance = {name: float(name == future) for name in search.tree.chance}
        one = apart.best(chance, fixed={FIRST: plan.first.design}, given=plan.first.purchase).plan
        assert one is not None
        given.append(one)
    return plan, tuple(given), catalog


def anything(_node: Node, _design: object) -> bool:
    return True


@pytest.mark.parametrize("seed", SEEDS)
def test_plans_of_single_futures_after_one_first_purchase_make_the_best_plan(seed: int) -> None:
    plan, apart, catalog = best_and_apart(seed)
    assert len(apart) == 2
    assert not any(set(one.cost_by_future) == set(plan.cost_by_future) for one in apart)
    met = best_of_met(apart, plan.ledger, anything)
    assert met is not None
    assert met.cents == pytest.approx(plan.cents, abs=SLACK_CENTS)
    assert check_plan(met, catalog) == ()


def test_of_several_that_go_on_alike_the_cheapest_is_taken() -> None:
    plan, apart, _ = best_and_apart(SEEDS[0])
    dearer = [Plan(one.ledger, one.visits, {name: cost + 100 for name, cost in one.cost_by_future.items()}) for one in apart]
    met = best_of_met((*dearer, *apart, *dearer), plan.ledger, anything)
    assert met is not None
    assert met.cents == pytest.approx(plan.cents, abs=SLACK_CENTS)


def test_plans_that_begin_otherwise_are_not_joined() -> None:
    plan, (one, other), _ = best_and_apart(SEEDS[0])
    there = {lot: pieces + 1 for lot, pieces in other.first.there.items()}
    first = type(other.first)(**{**vars(other.first), "there": there})
    assert best_of_met((one, Plan(other.ledger, {**other.visits, FIRST: first}, other.cost_by_future)), plan.ledger, anything) is None


def test_a_plan_is_not_met_where_a_node_may_not_have_its_design() -> None:
    plan, apart, _ = best_and_apart(SEEDS[0])
    for forbidden in plan.visits:
        assert best_of_met((plan, *apart), plan.ledger, lambda node, _design, at=forbidden: node.number != at) is None  # type: ignore[misc]


def test_the_best_of_all_is_not_looked_for_again_among_those_that_begin_as_it_does(monkeypatch: pytest.MonkeyPatch) -> None:
    problem, catalog = growth_case(4)
    search = PlanSearch(tree_of(problem), catalog)
    planned = search.best()
    assert planned.proven
    assert planned.plan is not None
    bank = planned.plan.first.design.bank
    asked: list[str] = []
    monkeypatch.setattr(plan_search, "Rounds", lambda *_: asked.append("rounds") or NotAsked())
    assert search.best(first=CoreFilter((bank.volts,))) is planned
    assert search.best(first=CoreFilter((), (bank.battery.chemistry,))) is planned
    assert not asked
    search.best(first=CoreFilter((96,)))
    search.best(fixed={FIRST: planned.plan.first.design})
    search.best(given=planned.plan.first.purchase)
    search.best(dict.fromkeys(search.tree.chance, 0.0))
    search.later(1.0).best()
    assert len(asked) == 5


class NotAsked:
    """Rounds that end with nothing."""

    def result(self) -> Planned:
        return Planned(None, 0.0, proven=False)
