"""What must hold for any problem, whatever its numbers: held against the whole program on random small cases."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cases import RULES_TRAPPED, case

from optimizer.answer import check, solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Controller, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.rules.book import RULES

GROUPS = {"modules": Module, "batteries": Battery, "controllers": Controller, "inverters": Inverter}


def seeds(first: int, count: int) -> list[int]:
    """Seeds spread over the traps and over the rounds of the traps."""
    step = len(RULES_TRAPPED) // count
    return [first + at * step + at % 4 * len(RULES_TRAPPED) for at in range(count)]


def cost(problem: Problem, catalog: Catalog) -> float:
    """Least objective [cents]; endless where there is no design."""
    report = solve(problem, catalog).report
    return report.bill.objective_cents if report is not None else np.inf


def changed(problem: Problem, section: str, **values: Any) -> Problem:
    """The problem with some keys of a section changed."""
    return problem.model_copy(update={section: getattr(problem, section).model_copy(update=values)})


def replaced(catalog: Catalog, change: Any) -> Catalog:
    """The catalog with every part changed."""
    groups = (*GROUPS, "converters", "allowances")
    return replace(catalog, **{group: tuple(change(part) for part in getattr(catalog, group)) for group in groups})


@pytest.mark.parametrize("seed", seeds(1, 14))
def test_a_dearer_copy_of_a_part_changes_nothing(seed: int) -> None:
    problem, catalog = case(seed)
    before = solve(problem, catalog)
    for group in GROUPS:
        parts = getattr(catalog, group)
        copies = tuple(part.model_copy(update={"id": f"{part.id}.copy", "price": part.price + 1}) for part in parts)
        more = replace(catalog, **{group: tuple(sorted(parts + copies, key=lambda part: part.id))})
        limited = any(part.stock is not None for part in parts) or problem.locks.at_most or problem.locks.exclude or problem.locks.only
        after = solve(problem, more)
        if limited:  # a copy of a part that runs short is of use: it may help, and never harms
            if before.report is not None:
                assert after.report is not None
                assert after.report.bill.objective_cents <= before.report.bill.objective_cents
            continue
        assert after.outcome is before.outcome
        if after.report is not None and before.report is not None:
            assert after.report.bill.objective_cents == before.report.bill.objective_cents
            if not any(part_id.endswith(".copy") for part_id in after.report.design.pieces):
                assert after.choice == before.choice


@pytest.mark.parametrize("seed", seeds(2, 12))
def test_more_load_never_costs_less(seed: int) -> None:
    problem, catalog = case(seed)
    costs = []
    for share in (0.7, 1.0, 1.3):
        loads = tuple(load.model_copy(update={"watts": load.watts * share}) for load in problem.loads)
        costs.append(cost(problem.model_copy(update={"loads": loads}), catalog))
    assert costs == sorted(costs)


@pytest.mark.parametrize("seed", seeds(0, 10))
def test_fewer_days_of_autonomy_never_cost_more(seed: int) -> None:
    problem, catalog = case(seed)
    problem = problem.model_copy(update={"rules": {**problem.rules, "weekly-swing": "off"}})  # read at the autonomy's rate
    days = problem.autonomy.days
    costs = []
    for share in (1.5, 1.0, 0.5, 0.1):
        fewer = {season: d * share for season, d in days.items()} if isinstance(days, dict) else days * share
        costs.append(cost(changed(problem, "autonomy", days=fewer), catalog))
    assert costs == sorted(costs, reverse=True)


@pytest.mark.parametrize("seed", seeds(3, 6))
def test_more_room_weight_and_money_never_cost_more(seed: int) -> None:
    problem, catalog = case(seed)
    free = solve(problem, catalog)
    if free.report is None:
        # Room and money are not always what is short: a limit on top opens nothing.
        assert cost(changed(problem, "limits", budget=1.0), catalog) == np.inf
        assert cost(changed(problem, "array", area_m2=0.1), catalog) == np.inf
        return
    bill, design = free.report.bill, free.report.design
    area = sum(block.modules * block.module.area_m2 for block in design.blocks)
    for section, key, most in (
        ("limits", "budget", bill.total_cents / 100), ("limits", "total_kg_max", bill.weight_kg), ("array", "area_m2", area),
    ):
        costs = [cost(changed(problem, section, **{key: most * share}), catalog) for share in (0.6, 0.9, 1.1, 1.5)]
        assert costs == sorted(costs, reverse=True), key
        assert costs[-1] <= bill.objective_cents, key  # the same design still fits


@pytest.mark.parametrize("budget", [10_000.0, 20_000.0, 40_000.0])
@pytest.mark.parametrize("cents_over", [0, 1, 2, 3, 4, 5, 6])
def test_the_budget_is_the_same_to_the_cent_in_check_and_program(budget: float, cents_over: int) -> None:
    problem, catalog = case(13)
    problem = changed(problem, "price", margin_pct=0.0, tax_pct=0.0)
    total = solve(problem, catalog).report.bill.total_cents
    wanted = round(budget * 100) + cents_over
    problem = changed(problem, "price", freight=problem.price.freight + (wanted - total) / 100)
    problem = changed(problem, "limits", budget=None)
    free = solve(problem, catalog)
    assert free.report.bill.total_cents == wanted
    limited = changed(problem, "limits", budget=budget)
    valid = check(free.choice, limited, catalog).valid
    assert valid == (cents_over <= budget * 1e-4)  # a millionth of the budget in cents
    assert (solve(limited, catalog).choice == free.choice) == valid


@pytest.mark.parametrize("seed", seeds(4, 10))
def test_a_rule_switched_off_never_costs_more(seed: int) -> None:
    problem, catalog = case(seed)
    full = cost(problem, catalog)
    raised = [rule for rule, severity in problem.rules.items() if severity == "requirement"]
    asked = [rule for rule, one in RULES.items() if one.severity == "requirement" and rule not in problem.rules]
    trapped = RULES_TRAPPED[seed % len(RULES_TRAPPED)]
    loosened = {*raised, *asked[seed % 3 :: 5], *({trapped} & {*raised, *asked})}
    for rule in sorted(loosened):
        less = problem.model_copy(update={"rules": {**problem.rules, rule: "off"}})
        assert cost(less, catalog) <= full, rule


@pytest.mark.parametrize("seed", seeds(5, 16))
def test_prices_times_a_whole_number_multiply_the_objective(seed: int) -> None:
    problem, catalog = case(seed)

    def whole_kg(part: Part) -> Part:  # so that freight of a piece is whole cents before and after
        return part.model_copy(update={"weight_kg": float(round(part.weight_kg))})

    catalog = replaced(catalog, whole_kg)
    times = 2 + seed % 5

    def dearer(part: Part) -> Part:
        return part.model_copy(update={"price": part.price_cents * times / 100})

    dear = problem
    for section, keys in (
        ("price", ("freight", "freight_per_kg")), ("objective", ("price_per_kg", "price_per_distinct_part", "price_per_connection")),
        ("limits", ("budget",)),
    ):
        values = {key: getattr(getattr(problem, section), key) for key in keys}
        dear = changed(dear, section, **{key: value * times for key, value in values.items() if value is not None})
    first, second = solve(problem, catalog), solve(dear, replaced(catalog, dearer))
    assert first.outcome is second.outcome
    if first.report is not None and second.report is not None:
        assert second.report.bill.objective_cents == times * first.report.bill.objective_cents
        assert second.choice == first.choice
