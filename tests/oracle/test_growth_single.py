"""A plan of one future without steps is the answer of `solve`: the same cost, with owned parts and kits."""

from __future__ import annotations

import random
from functools import cache
from pathlib import Path

import pytest
from test_kits_enumerated import SEEDS as WITH_DESIGNS
from test_kits_enumerated import with_kits

import optimizer
from optimizer.answer import solve
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.tree import tree_of
from optimizer.inputs.catalog import Catalog, load_catalog
from optimizer.inputs.growth import Future, Growth
from optimizer.inputs.problem import Objective, Owned, Problem
from optimizer.inputs.problem_file import load_problem

SHIPPED = Path(optimizer.__file__).resolve().parent.parent / "problems"

NOW = Growth(futures=(Future(name="now", probability=1.0),))

TINY = [(seed, draw) for seed in WITH_DESIGNS[:9] for draw in (0, 1)]


def at_once(problem: Problem) -> Problem:
    """Nothing ahead; no margin and no tax, which the objective of `solve` leaves out as well."""
    price = problem.price.model_copy(update={"margin_pct": 0.0, "tax_pct": 0.0})
    return problem.model_copy(update={"growth": NOW, "price": price, "objective": Objective()})


@cache
def tiny_with_owned(seed: int, draw: int) -> tuple[Problem, Catalog]:
    """A tiny case with kits, of which the customer owns some battery and some other part."""
    problem, catalog = with_kits(seed, draw)
    rng = random.Random(100 * seed + draw)
    owned = [
        Owned(part=rng.choice(catalog.batteries).id, quantity=rng.randint(1, 4), age_months=rng.choice((0, 6, 30))),
        Owned(part=rng.choice((*catalog.modules, *catalog.controllers, *catalog.inverters)).id, quantity=rng.randint(1, 2)),
    ]
    return at_once(problem.model_copy(update={"owned": tuple(owned) if draw else ()})), catalog


def agreed(problem: Problem, catalog: Catalog) -> Plan | None:
    """The plan, after it was found to cost what `solve` says."""
    answer = solve(problem.model_copy(update={"growth": None}), catalog, explain=False)
    planned = PlanSearch(tree_of(problem), catalog).best()
    assert planned.proven or planned.plan is None or problem.array.rectangles  # free rectangles are not enumerated
    if answer.report is None:
        assert planned.plan is None
        return None
    assert planned.plan is not None
    assert planned.plan.cents == pytest.approx(answer.report.bill.objective_cents, abs=SLACK_CENTS)
    assert check_plan(planned.plan, catalog) == ()
    return planned.plan


@pytest.mark.parametrize("name", ["light_kit", "weekend_cabin"])
def test_a_shipped_problem_is_planned_as_it_is_solved(name: str) -> None:
    assert agreed(at_once(load_problem(SHIPPED / f"{name}.toml")), load_catalog()) is not None


@cache
def of_tiny(seed: int, draw: int) -> Plan | None:
    return agreed(*tiny_with_owned(seed, draw))


@pytest.mark.parametrize(("seed", "draw"), TINY)
def test_a_tiny_case_is_planned_as_it_is_solved(seed: int, draw: int) -> None:
    of_tiny(seed, draw)


def test_kits_and_owned_parts_are_in_some_plans() -> None:
    plans = [plan for seed, draw in TINY if (plan := of_tiny(seed, draw)) is not None]
    assert len(plans) >= 10
    assert sum(bool(plan.first.kits) for plan in plans) >= 3
    used = [{own.part for own in plan.ledger.tree.asked.owned} & set(plan.first.design.pieces) for plan in plans]
    assert sum(bool(parts) for parts in used) >= 3


