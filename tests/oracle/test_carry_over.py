"""Energy carried over from month to month: the program, which asks it of runs of months, against a store stepped through two years."""

from __future__ import annotations

import random
from collections import Counter

import pytest
from cases import case
from enumerate import best_choice

from optimizer import load_catalog, load_problem, solve
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.problem import Problem

SEEDS = (1, 4, 7, 9, 13, 18, 22, 25, 31, 36, 40, 44, 49, 53, 58, 62)


def dark_winter(seed: int) -> tuple[Problem, Catalog]:
    """A case with hardly any sun in some months of winter, and a bank that carries over."""
    problem, catalog = case(seed)
    rng = random.Random(seed)
    data = problem.model_dump(exclude_unset=True)
    data.pop("seasons", None)
    for load in data["loads"]:
        load["hours"] = {"all": max(load["hours"].values()) * 0.5}
    data["autonomy"] = {"days": 0.3}
    data["temperatures"]["battery_lowest_c"] = 6.0
    data["array"]["sun_h"] = [round(hours * (rng.uniform(0.45, 0.9) if month in (0, 10, 11) else 1.5), 2) for month, hours in enumerate(data["array"]["sun_h"])]
    data["balance"] = {"carry_over": True, "array_to_load": 1.0}
    data["bounds"]["battery_strings"] = 4
    data["rules"] = {**data.get("rules", {}), "minimum-charge-current": "soft"}
    return Problem.model_validate(data), catalog


@pytest.mark.parametrize("seed", SEEDS)
def test_runs_of_months_are_a_store_stepped_month_by_month(seed: int) -> None:
    problem, catalog = dark_winter(seed)
    best = best_choice(problem, catalog)
    answer = solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, answer.reason


def test_the_cases_are_about_carrying_over() -> None:
    """Over these cases the store keeps cheaper choices out, and some answer lives through months that their own sun would not carry."""
    alone: Counter[str] = Counter()
    short_months = 0
    for seed in SEEDS:
        problem, catalog = dark_winter(seed)
        best = best_choice(problem, catalog)
        alone += best.alone
        answer = solve(problem, catalog)
        if answer.report is not None:
            short_months += sum(month.ratio < 0.99 for month in answer.report.months)
    assert alone["carry-over"] > 0
    assert short_months > 0


def test_a_hut_in_the_dark_is_carried() -> None:
    problem, catalog = load_problem(shipped_folder("problems") / "winter_hut_carried.toml"), load_catalog()
    report = solve(problem, catalog).report
    assert report is not None
    assert all(month.left_wh is not None and month.left_wh >= -1e-6 for month in report.months)
    assert {line.rule for line in report.lines if line.severity == "soft" and line.passed is False} >= {"monthly-balance"}


def test_every_month_must_be_used() -> None:
    problem = load_problem(shipped_folder("problems") / "camper.toml")
    data = problem.model_dump(exclude_unset=True)
    data["balance"] = {"carry_over": True}
    with pytest.raises((InputError, ValueError), match="carry_over"):
        Problem.model_validate(data)
