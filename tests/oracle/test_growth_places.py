"""Plans whose arrays lie on several planes and stand on mounts: against all plans, and against the answer for one date."""

from __future__ import annotations

import random
from functools import cache

import pytest
from growth_enumerate import EveryPlan, growth_case
from mounted import mounted_case
from test_growth_single import agreed, at_once

from optimizer.growth.ledger import MOUNTS
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.tree import tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem

ON_PLANES = (1, 19, 25, 33, 35, 51)
MOUNTED = (1, 2, 3, 4, 6, 8, 9, 11)


def on_two_planes(seed: int) -> tuple[Problem, Catalog]:
    """A site that grows, with two planes that are both small."""
    problem, catalog = growth_case(seed)
    rng = random.Random(seed * 31 + 7)
    data = problem.model_dump(exclude_unset=True)
    sun = data["array"].pop("sun_h")
    data["planes"] = [
        {"name": name, "tilt_deg": 30.0, "azimuth_deg": azimuth, "area_m2": round(rng.uniform(2.0, 6.0), 1), "sun_h": [round(h * rng.uniform(0.85, 1.1), 2) for h in sun]}
        for name, azimuth in (("east", 100.0), ("west", 260.0))
    ]
    data["bounds"]["array_kinds"] = 2
    return Problem.model_validate(data), catalog


@cache
def of_planes(seed: int) -> Plan:
    problem, catalog = on_two_planes(seed)
    every = EveryPlan(problem, catalog)
    assert every.possible, seed
    planned = PlanSearch(every.tree, catalog).best()
    assert planned.plan is not None
    assert planned.proven
    assert planned.plan.cents == pytest.approx(every.best().cents, abs=SLACK_CENTS)
    assert check_plan(planned.plan, catalog) == ()
    return planned.plan


@pytest.mark.parametrize("seed", ON_PLANES)
def test_the_best_plan_on_planes_is_the_best_of_all_plans(seed: int) -> None:
    of_planes(seed)


def test_some_designs_lie_on_both_planes() -> None:
    used = [{block.plane for block in visit.design.blocks} for seed in ON_PLANES for visit in of_planes(seed).visits.values()]
    assert {"east", "west"} in used
    assert {"east"} in used or {"west"} in used


@cache
def of_mounted(seed: int) -> Plan | None:
    problem, catalog = mounted_case(seed)
    return agreed(at_once(problem), catalog)


@pytest.mark.parametrize("seed", MOUNTED)
def test_mounts_of_one_date_cost_what_they_cost_in_an_answer(seed: int) -> None:
    of_mounted(seed)


def test_mounts_are_in_plans() -> None:
    plans = [plan for seed in MOUNTED if (plan := of_mounted(seed)) is not None]
    assert len(plans) >= 4
    assert all(plan.first.bought[MOUNTS] > 0 for plan in plans)


def test_mounts_that_are_there_are_paid_once() -> None:
    """A site that does not change lays its mounts once; one that needs more modules pays for what more mounts cost."""
    problem, catalog = mounted_case(1)
    data = at_once(problem).model_dump(exclude_unset=True)
    data["growth"] = {"futures": [{"name": "stays", "probability": 1.0, "steps": [{"year": 2.0}]}]}
    plan = PlanSearch(tree_of(Problem.model_validate(data)), catalog).best().plan
    assert plan is not None
    assert plan.first.bought[MOUNTS] > 0
    assert not plan.visits[1].bought.get(MOUNTS)
    assert check_plan(plan, catalog) == ()


def test_a_budget_that_is_too_small_ends_the_search() -> None:
    """The bound rises without end where no first purchase can be paid; it is not followed until the solver gives up."""
    problem, catalog = mounted_case(9)
    assert problem.limits.budget == 45
    planned = PlanSearch(tree_of(at_once(problem)), catalog).best()
    assert planned.plan is None
    assert "budget" in planned.reason
