"""One controller or one inverter may fail: the program against the enumeration, and what it costs."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from cases import case
from enumerate import best_choice

from optimizer import load_catalog, load_problem, solve
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section

SEEDS = (0, 3, 5, 11, 14, 17, 20, 23, 29, 33, 38, 41, 47, 50, 55, 59)


def spared(seed: int) -> tuple[Problem, Catalog]:
    """A case of which any one controller may fail, and in some any one inverter; some loads are not critical."""
    problem, catalog = case(seed)
    rng = random.Random(seed)
    data = problem.model_dump(exclude_unset=True)
    for load in data["loads"]:
        load["critical"] = rng.choice(("yes", "yes", "no"))
    data["redundancy"] = {"controllers": True, "inverters": rng.random() < 0.4}
    data["bounds"] |= {"controllers": 3, "inverters": 2}
    return Problem.model_validate(data), catalog


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_spares_what_the_check_spares(seed: int) -> None:
    problem, catalog = spared(seed)
    best = best_choice(problem, catalog)
    answer = solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, answer.reason


def test_the_cases_are_about_sparing() -> None:
    alone: Counter[str] = Counter()
    for seed in SEEDS:
        alone += best_choice(*spared(seed)).alone
    assert alone["spare-controller"] > 0
    assert alone["spare-inverter"] > 0


def test_a_spare_is_never_for_nothing() -> None:
    """The clinic with two of each: never cheaper than without, two controllers at least, and half of the inverters still start the worst load."""
    catalog, plain = load_catalog(), load_problem(shipped_folder("problems") / "clinic.toml")
    once = solve(plain, catalog)
    twice = solve(with_section(plain, "redundancy", controllers=True, inverters=True), catalog)
    assert twice.report is not None
    assert twice.report.bill.total_cents > once.report.bill.total_cents
    assert sum(block.count for block in twice.report.design.blocks) >= 2
    assert twice.report.design.inverters.count >= 2
    assert all(line.passed for line in twice.report.lines if line.rule in ("spare-controller", "spare-inverter"))
