"""The benchmark's parts work, and the optimum does not depend on pruning. Nothing here is timed."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from make_catalog import SIZES, Size, make_catalog, make_problem
from peers import enumeration

from optimizer import check, solve
from optimizer.answer import Outcome

pytestmark = pytest.mark.benchmark
TINY = Size(4, 4, 3, 3)


def one_kind(problem):
    return problem.model_copy(update={"bounds": problem.bounds.model_copy(update={"array_kinds": 1})})


@pytest.mark.parametrize("name", SIZES)
def test_a_catalog_has_the_size_it_says_and_is_the_same_for_the_same_seed(name):
    catalog = make_catalog(SIZES[name], 5)
    assert (len(catalog.modules), len(catalog.batteries), len(catalog.controllers), len(catalog.inverters)) == SIZES[name]
    assert catalog.modules == make_catalog(SIZES[name], 5).modules
    assert catalog.modules != make_catalog(SIZES[name], 6).modules
    assert not [complaint for part in catalog.parts() for complaint in part.errors()]


@pytest.mark.parametrize("seed", [2, 3])
def test_pruned_and_unpruned_agree_at_a_size_that_bare_solving_can_take(seed):
    catalog, problem = make_catalog(TINY, seed), make_problem(seed)
    pruned, unpruned = solve(problem, catalog), solve(problem, catalog, prune=False)
    assert pruned.outcome is unpruned.outcome
    if pruned.outcome is Outcome.OPTIMAL:
        assert pruned.report.bill.objective_cents == unpruned.report.bill.objective_cents
        assert pruned.sizes["blocks"] <= unpruned.sizes["blocks"]


@pytest.mark.parametrize("seed", range(3))
def test_the_small_size_agrees_with_plain_enumeration_of_one_kind_of_array(seed):
    catalog, problem = make_catalog(SIZES["small"], seed), one_kind(make_problem(seed))
    answer = solve(problem, catalog)
    assert answer.outcome is Outcome.OPTIMAL
    assert check(answer.choice, problem, catalog).valid
    assert answer.report.bill.objective_cents == enumeration(problem, catalog).objective


def test_two_bank_voltages_can_serve_the_site():
    catalog, problem = make_catalog(SIZES["small"], 0), make_problem(0)
    able = []
    for volts in (12, 24, 48):
        only = problem.model_copy(update={"bank": problem.bank.model_copy(update={"volts": (volts,)})})
        if solve(only, catalog).outcome is Outcome.OPTIMAL:
            able.append(volts)
    assert len(able) >= 2
