"""Worn parts and verdicts on owned ones, against the enumeration of every choice."""

from __future__ import annotations

import random
from functools import cache

import pytest
from enumerate import best_choice
from test_enumeration import tiny

from optimizer.answer import solve
from optimizer.choice.owned import cannot_serve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Module
from optimizer.inputs.problem import Owned, Problem
from optimizer.inputs.worn import with_worn_parts

SEEDS = (1, 4, 7, 13, 20, 21, 26, 31, 39, 46, 49, 56, 62, 71, 77, 83)


@cache
def with_worn(seed: int) -> tuple[Problem, Catalog]:
    """A tiny case whose customer has some battery and some module that have lost a share."""
    problem, catalog = tiny(seed)
    rng = random.Random(seed)
    owned = tuple(
        Owned(part=rng.choice(kind).id, quantity=rng.randint(1, 4), condition=rng.choice((0.6, 0.85, 0.95)), age_months=rng.choice((0, 30)))
        for kind in (catalog.batteries, catalog.modules)
    )
    return problem.model_copy(update={"owned": owned}), catalog


@cache
def held(seed: int) -> set[type]:
    """Kinds of worn parts in the answer, after program and enumeration were found to agree."""
    problem, catalog = with_worn(seed)
    best = best_choice(*with_worn_parts(problem, catalog))
    answer = solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, seed
    if answer.report is None:
        return set()
    pieces = answer.report.design.pieces
    worn = {own.part: own.quantity for own in answer.problem.owned}
    assert all(pieces[part] <= most for part, most in worn.items())
    return {type(answer.catalog.by_id[part]) for part in worn if pieces[part]}


@pytest.mark.parametrize("seed", SEEDS)
def test_worn_parts_are_used_where_enumeration_uses_them(seed: int) -> None:
    held(seed)


def test_worn_parts_are_in_some_answers_and_not_in_others() -> None:
    found = [held(seed) for seed in SEEDS]
    assert sum(Battery in kinds for kinds in found) >= 3
    assert sum(Module in kinds for kinds in found) >= 3
    assert sum(not kinds for kinds in found) >= 2


def test_no_choice_holds_a_part_that_is_said_not_to_serve() -> None:
    unfit = 0
    for seed in SEEDS:
        problem, catalog = tiny(seed)
        for part in catalog.parts():
            if part in catalog.allowances or cannot_serve(problem, catalog, part.id) is None:
                continue
            unfit += 1
            locks = problem.locks.model_copy(update={"at_least": {**problem.locks.at_least, part.id: 1}})
            assert best_choice(problem.model_copy(update={"locks": locks}), catalog).cost_cents is None, (seed, part.id)
    assert unfit >= 10
