"""The least life-cycle cost is that of the enumeration, with banks that many cycles wear out at different years."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import pytest
from cases import case
from enumerate import best_choice
from wired import wired_case

from optimizer.answer import solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Owned, Problem

SEEDS = (2, 4, 12, 13, 24, 36, 48, 50, 58, 74, 76, 89, 115, 116, 120, 148, 152, 184, 189, 198)
WIRED = (12, 22)


def lived(problem: Problem, catalog: Catalog, seed: int) -> tuple[Problem, Catalog]:
    """A case over some years, at some rate, some of them hot, with batteries that stand few cycles, some of them owned and old."""
    rng = random.Random(seed)
    data = problem.model_dump(exclude_unset=True)
    data["life_cycle"] = {"objective": "life-cycle", "years": rng.choice((8.0, 15.0, 25.0, 30.0)), "discount_pct": rng.choice((0.0, 3.0, 6.0, 12.0))}
    asked = Problem.model_validate(data)
    if seed % 3 == 0:
        warmer = tuple(min(28.0, c + 12) for c in asked.temperatures.battery_c)
        asked = asked.model_copy(update={"temperatures": asked.temperatures.model_copy(update={"battery_c": warmer})})
    if seed % 4 == 0:
        old = Owned(part=rng.choice(catalog.batteries).id, quantity=rng.randint(1, 4), age_months=rng.choice((4, 9)))
        asked = asked.model_copy(update={"owned": (*asked.owned, old)})
    batteries = tuple(one.model_copy(update={"cycles": rng.choice((150, 400, 900, 2500))}) for one in catalog.batteries)
    return asked, replace(catalog, batteries=batteries)


@cache
def found(seed: int, *, wired: bool = False) -> tuple[bool, str, bool]:
    """Program against enumeration, pruned and not; whether another design wins than by the purchase, what ends its bank, and whether it is on offer."""
    problem, catalog = lived(*(wired_case(seed) if wired else case(seed)), seed)
    best = best_choice(problem, catalog)
    answer = solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, f"seed {seed}: {answer.reason}"
    if not wired:
        unpruned = solve(problem, catalog, prune=False)
        assert (unpruned.report.bill.objective_cents if unpruned.report else None) == best.cost_cents, f"seed {seed}, unpruned"
    if answer.report is None:
        return False, "", False
    assert answer.bound_cents == pytest.approx(best.cost_cents, abs=0.5), "the program's objective is the bill's"
    cheapest = solve(problem.model_copy(update={"life_cycle": problem.life_cycle.model_copy(update={"objective": "purchase"})}), catalog)
    assert cheapest.report is not None
    assert answer.report.life_cycle.total_cents <= cheapest.report.life_cycle.total_cents or any(problem.objective.model_dump().values())
    assert cheapest.report.bill.total_cents <= answer.report.bill.total_cents or any(problem.objective.model_dump().values())
    return answer.choice != cheapest.choice, answer.report.life_cycle.bank.limited_by, True


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_finds_the_least_life_cycle_cost(seed: int) -> None:
    found(seed)


@pytest.mark.parametrize("seed", WIRED)
def test_and_where_cables_take_their_share_of_the_energy(seed: int) -> None:
    found(seed, wired=True)


def test_the_life_cycle_decides_some_cases() -> None:
    results = [found(seed) for seed in SEEDS]
    assert sum(possible for _, _, possible in results) == len(SEEDS)
    assert sum(other for other, _, _ in results) >= 15
    assert {limit for _, limit, _ in results} >= {"cycles", "calendar"}
