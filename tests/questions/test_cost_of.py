"""What each requirement costs: looser never more, tighter never less."""

from __future__ import annotations

import pytest
from cases import case

from optimizer.answer import solve
from optimizer.needs.requirements import requirements, with_section
from optimizer.questions.cost_of import cost_of

ORDERED = ("autonomy.days", "array.area_m2", "limits.", "array.rectangles_m", "bank.volts", "bank.chemistries", "load ", "balance.array_to_load",
           "start of ", "bounds.battery_strings", "autonomy.recovery_days", "months of use", "array.volts_max")


def spiced(seed):
    """A case with room, weight, money, voltages and chemistries to give way on; its own design still fits."""
    problem, catalog = case(seed)
    problem = problem.model_copy(update={"rules": {**problem.rules, "weekly-swing": "off"}})  # it eases with more days
    report = solve(problem, catalog).report
    assert report is not None
    area = sum(block.module.area_m2 * block.modules for block in report.design.blocks)
    if problem.array.area_m2 is None:
        problem = with_section(problem, "array", area_m2=round(area * 1.1, 2))
    problem = with_section(problem, "limits", budget=report.bill.total_cents / 100, total_kg_max=round(report.bill.weight_kg * 1.1, 1))
    return with_section(problem, "bank", chemistries=(report.design.bank.battery.chemistry,)), catalog


def cost(notch):
    return float("inf") if notch.answer.report is None else notch.answer.report.bill.objective_cents


@pytest.mark.parametrize("seed", [6, 27])
def test_looser_never_costs_more_and_tighter_never_less(seed):
    problem, catalog = spiced(seed)
    found = cost_of(problem, catalog)
    base = found.base.report.bill.objective_cents
    assert found.exact
    names = [one.requirement.name for one in found.priced]
    assert len(names) == len(set(names)) > 8
    assert {"autonomy.days", "array.area_m2", "limits.budget", "limits.total_kg_max", "bank.chemistries"} <= {
        name.removesuffix(".summer").removesuffix(".winter") for name in names}
    for one in found.priced:
        if one.requirement.name.startswith(ORDERED):
            for easier in (one.looser, one.without):
                assert easier is None or cost(easier) <= base, one.requirement.name
            assert one.tighter is None or cost(one.tighter) >= base, one.requirement.name
            if one.without is not None and one.looser is not None:
                assert cost(one.without) <= cost(one.looser), one.requirement.name
    total = found.base.report.bill.total_cents
    savings = [one.saving_cents(total) for one in found.priced]
    assert savings == sorted(savings, reverse=True)


@pytest.mark.parametrize("seed", [6, 27, 39])
def test_the_present_value_gives_the_present_answer(seed):
    problem, catalog = spiced(seed)
    base = solve(problem, catalog)
    asked = 0
    for requirement in requirements(problem):
        if isinstance(requirement.now, float):
            assert solve(requirement.with_value(requirement.now), catalog).choice == base.choice, requirement.name
            asked += 1
    assert asked >= 4


def test_every_notch_is_a_problem_that_can_be_asked():
    for seed in (3, 27):
        problem, catalog = case(seed)
        busy = [load.model_copy(update={"hours": dict.fromkeys(load.hours, 20.0)}) for load in problem.loads]
        problem = problem.model_copy(update={"loads": tuple(busy)})
        for requirement in requirements(problem):
            for value in (*requirement.looser, *requirement.tighter, *([requirement.without] if requirement.without is not None else [])):
                changed = requirement.with_value(value)
                assert all(0 <= hours <= 24 for load in changed.loads for hours in load.hours.values()), requirement.name
            for value in requirement.looser[-1:]:
                assert solve(requirement.with_value(value), catalog).outcome.value in ("optimal", "infeasible"), requirement.name


def test_an_impossible_problem_prices_nothing():
    problem, catalog = case(0)
    found = cost_of(problem, catalog)
    assert found.base.report is None
    assert found.priced == ()


def test_interrupted_it_keeps_what_is_known():
    def stop(text):
        if text.startswith("3 of"):
            raise KeyboardInterrupt

    found = cost_of(*case(39), progress=stop)
    assert not found.complete
    assert not found.exact
    assert len(found.priced) == 2
