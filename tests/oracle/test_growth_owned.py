"""Batteries of several ages that the customer has, in plans: against all plans, and against the answer for one date."""

from __future__ import annotations

import random

import pytest
from growth_enumerate import EveryPlan, growth_case
from test_growth_single import agreed, at_once

from optimizer.growth.ledger import Ledger, Lot
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.tree import FIRST, tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Owned, Problem
from optimizer.inputs.worn import with_worn_parts


def of_ages(seed: int, *ages: float) -> tuple[Problem, Catalog]:
    """A growing house whose owner has a battery of each age, all of one model [months]."""
    problem, catalog = growth_case(seed)
    battery = random.Random(seed).choice(catalog.batteries).id
    return problem.model_copy(update={"owned": tuple(Owned(part=battery, quantity=1, age_months=age) for age in ages)}), catalog


@pytest.mark.parametrize("seed", (0, 1, 7))
@pytest.mark.parametrize("ages", ((6, 60), (0, 12, 100)))
def test_the_best_plan_with_owned_batteries_of_several_ages_is_the_best_of_all(seed: int, ages: tuple[float, ...]) -> None:
    problem, catalog = of_ages(seed, *ages)
    every = EveryPlan(problem, catalog)
    planned = PlanSearch(every.tree, catalog).best()
    assert planned.plan is not None
    assert planned.proven
    assert planned.plan.cents == pytest.approx(every.best().cents, abs=SLACK_CENTS)
    assert check_plan(planned.plan, catalog) == ()


@pytest.mark.parametrize("ages", ((6, 60), (6, 6), (0, 6, 60)))
def test_owned_batteries_of_several_ages_stand_in_one_bank_as_in_an_answer(ages: tuple[float, ...]) -> None:
    for seed in (0, 1, 7):
        problem, catalog = of_ages(seed, *ages)
        agreed(at_once(problem), catalog)


def test_a_worn_piece_brings_as_much_less_as_it_has_lost() -> None:
    """A module of which 30 % are left, sold or kept: 0.3 times what a whole one brings."""
    problem, catalog = growth_case(0)
    module = catalog.modules[0].id
    assert problem.growth is not None
    growth = problem.growth.model_copy(update={"resale_share": {"module": 0.4}, "end_value_share": {"module": 0.2}, "price_trend_pct": {}})
    asked, parts = with_worn_parts(problem.model_copy(update={"growth": growth, "owned": (Owned(part=module, quantity=1, condition=0.3),)}), catalog)
    ledger, (worn,) = Ledger(tree_of(asked), parts), asked.owned
    lot, later = Lot(FIRST, 0.0), ledger.tree.nodes[1]
    price = catalog.modules[0].price_cents
    assert [ledger.resale(one, later, lot) for one in (module, worn.part)] == pytest.approx([0.4 * price, 0.12 * price])
    assert [ledger.end_value(one, lot) for one in (module, worn.part)] == pytest.approx([0.2 * price, 0.06 * price])


def test_batteries_too_far_apart_in_age_are_in_no_group() -> None:
    """An age is that of a lot: the youngest is not taken for as old as the oldest, nor the other way round."""
    problem, catalog = of_ages(0, 6, 60)
    asked = problem.model_copy(update={"bank": problem.bank.model_copy(update={"age_spread_months_max": 24.0})})
    ledger = Ledger(tree_of(asked), catalog)
    (groups,) = (ledger.together(own.part, ledger.tree.nodes[FIRST]) for own in asked.owned[:1])
    assert [[12 * lot.year for lot in group] for group in groups] == [[-60], [-6]]
