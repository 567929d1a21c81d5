"""Arrays that are set anew through the year: the program against every way to set them, each with every choice of parts before the check."""

from __future__ import annotations

from typing import Any

import pytest
from adjusted import adjusted_case, every_way
from enumerate import Walk

from optimizer.answer import check, solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.positions import changes_a_year
from optimizer.needs.sunlight import at_tilts

ADJUSTED = (127, 154, 175, 176, 227)
"""Cases in which an adjusted array is cheaper than any that stays as it is."""
OTHERS = (2,)


def cents(problem: Problem, catalog: Catalog, **how: Any) -> float:
    answer = solve(problem, catalog, explain=False, **how)
    assert answer.outcome.value == ("infeasible" if answer.report is None else "optimal")
    return float("inf") if answer.report is None else answer.report.bill.objective_cents


def least_of_every_way(problem: Problem, catalog: Catalog, known: float) -> float:
    """Price of the cheapest design over every way, each walked by price; only what costs no more than `known` need be found."""
    best = known + 1
    for way in every_way(problem):
        walk = Walk(at_tilts(problem, way), catalog)
        walk.best = best
        cores = walk.cores()
        for kinds in range(1, min(2, problem.bounds.array_kinds) + 1):
            walk._pass(cores, kinds=kinds, most_broken=0)
        best = walk.best
    return best


@pytest.mark.parametrize("seed", (*ADJUSTED, *OTHERS))
def test_the_program_finds_what_every_way_gives(seed: int) -> None:
    problem, catalog = adjusted_case(seed)
    answer = solve(problem, catalog)
    assert answer.report is not None
    assert answer.choice is not None
    found = answer.report.bill.objective_cents
    assert found == least_of_every_way(problem, catalog, found)
    assert found == cents(problem, catalog, prune=False)
    way = answer.choice.tilt_deg_by_month
    assert (way is not None) == (seed in ADJUSTED)
    again = check(answer.choice.model_dump(mode="json"), problem, catalog)
    assert again.valid
    assert again.bill == answer.report.bill
    if way is not None:
        assert way in set(every_way(problem))
        assert 2 <= changes_a_year(way) <= problem.array.adjustments_per_year


@pytest.mark.parametrize("seed", (7, 38))
def test_where_no_way_has_a_design_there_is_none(seed: int) -> None:
    problem, catalog = adjusted_case(seed, months=3, tilts=2)
    answer = solve(problem, catalog)
    assert answer.outcome.value == "infeasible"
    assert answer.reason
    assert least_of_every_way(problem, catalog, float("inf")) == float("inf")


@pytest.mark.parametrize("seed", (34, 127, 13))
def test_more_adjusting_never_costs_more(seed: int) -> None:
    problem, catalog = adjusted_case(seed, months=6, tilts=4)
    found = [cents(problem.model_copy(update={"array": problem.array.model_copy(update={"adjustments_per_year": n})}), catalog) for n in (0, 2, 3, 4)]
    assert found == sorted(found, reverse=True)
