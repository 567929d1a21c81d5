"""The staircase of the price: whole, without overlap, valid at both ends, and cheapest where it is asked again."""

from __future__ import annotations

from itertools import pairwise

import pytest
from cases import case

from optimizer.answer import Outcome, check, solve
from optimizer.errors import InputError, WrongUse
from optimizer.questions.curve import axis_of, curve


def cost(answer):
    return float("inf") if answer.report is None else answer.report.bill.objective_cents


def whole(found):
    """The steps cover the axis, one resolution between them, each valid at both ends."""
    axis, steps = found.axis, found.steps
    assert steps[0].start == axis.low
    assert steps[-1].end == axis.high
    for one, other in pairwise(steps):
        assert one.start <= one.end < other.start
        assert other.start - one.end <= axis.resolution + 1e-6
        assert one.answer.choice != other.answer.choice
    for step in steps:
        for value, cents in ((step.start, step.start_cents), (step.end, step.end_cents)):
            if step.answer.choice is None:
                assert cents is None
            else:
                report = check(step.answer.choice, *axis.at(value))
                assert report.valid
                assert report.bill.total_cents == cents
    return steps


@pytest.mark.parametrize("over", ["autonomy", "load", "sun"])
@pytest.mark.parametrize("seed", [6, 48])
def test_a_requirement_never_costs_less_when_it_asks_for_more(seed, over):
    problem, catalog = case(seed)
    problem = problem.model_copy(update={
        "rules": {**problem.rules, "weekly-swing": "off"},
        "loads": tuple(load.model_copy(update={"hours": {s: min(h, 15.0) for s, h in load.hours.items()}}) for load in problem.loads),
    })
    found = curve(problem, catalog, over)
    steps = whole(found)
    assert found.exact
    costs = [cost(step.answer) for step in steps]
    assert costs == sorted(costs, reverse=not found.axis.tightening)
    for step in steps:
        middle = round((step.start + step.end) / 2, 4)
        for value in (step.start, middle, step.end):
            assert cost(solve(*found.axis.at(value))) == cost(step.answer)
        assert bool(step.answer.reason) == (step.answer.report is None)


@pytest.mark.parametrize("seed", [6, 12, 39, 48])
def test_a_bound_on_the_cost_that_the_cheapest_keeps_leaves_it_and_one_below_leaves_nothing(seed):
    problem, catalog = case(seed)
    answer = solve(problem, catalog)
    cents = answer.report.bill.objective_cents
    assert solve(problem, catalog, most_cents=cents).choice == answer.choice
    assert solve(problem, catalog, most_cents=cents - 1, explain=False).outcome is Outcome.INFEASIBLE


def test_a_sampled_axis_says_so_and_is_right_at_its_ends():
    found = curve(*case(12), "temperature")
    steps = whole(found)
    assert not found.exact
    assert len(steps) > 1
    for step in steps:
        for value in {step.start, step.end}:
            assert cost(solve(*found.axis.at(value))) == cost(step.answer)


def test_with_single_days_of_use_the_days_of_autonomy_are_sampled():
    problem, catalog = case(12)
    loads = tuple(load.model_copy(update={"days_per_week": 3}) for load in problem.loads)
    asked = problem.model_copy(update={"loads": loads, "rules": {**problem.rules, "weekly-swing": "requirement"}})
    found = curve(asked, catalog, "autonomy")
    whole(found)
    assert not found.axis.exact


def test_a_price_flips_where_both_designs_cost_the_same():
    flips = 0
    for seed in (6, 39):
        problem, catalog = case(seed)
        design = solve(problem, catalog).report.design
        for part_id in (design.bank.battery.id, design.blocks[0].module.id):
            found = curve(problem, catalog, f"price:{part_id}")
            steps = whole(found)
            assert found.exact
            for one, other in pairwise(steps):
                before, after = (
                    [check(step.answer.choice, *found.axis.at(value)).bill.objective_cents for value in (one.end, other.start)]
                    for step in (one, other)
                )
                pieces = one.answer.report.design.pieces[part_id]
                assert before[0] <= after[0]
                assert after[1] <= before[1]
                assert abs(before[0] - after[0]) <= pieces + 1  # a cent a piece: prices are whole cents
                flips += 1
            costs = [solve(*found.axis.at(step.end)).report.bill.objective_cents for step in steps]
            assert costs == [check(step.answer.choice, *found.axis.at(step.end)).bill.objective_cents for step in steps]
    assert flips >= 3


def test_the_present_value_lies_on_the_axis():
    problem, catalog = case(39)
    for over in ("autonomy", "load", "sun", "temperature", f"price:{catalog.modules[0].id}"):
        axis = axis_of(problem, catalog, over)
        assert axis.low <= axis.now <= axis.high
        assert solve(*axis.at(axis.now)).choice == solve(problem, catalog).choice, over


def test_unknown_axes_and_parts_are_refused():
    with pytest.raises(WrongUse, match="--over wind"):
        curve(*case(39), "wind")
    with pytest.raises(InputError, match="not in the catalog"):
        curve(*case(39), "price:NO-SUCH-PART")


def test_interrupted_it_keeps_what_is_known():
    asked = []

    def stop(text):
        asked.append(text)
        if len(asked) == 2:
            raise KeyboardInterrupt

    problem, catalog = case(39)
    found = curve(problem, catalog, f"price:{solve(problem, catalog).choice.bank.battery}", progress=stop)
    assert not found.complete
    assert not found.exact
    assert len(found.steps) < 2
