"""Design to a target: the answer is the cheapest of all designs that pass the same replay, and what it leans on holds."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cases import case
from hypothesis import given, settings
from hypothesis import strategies as st
from test_replay_conserves import random_plant

from optimizer.answer import Outcome, check, solve
from optimizer.bill import PriceList
from optimizer.choice.candidates import candidates
from optimizer.choice.hours import block_hours
from optimizer.choice.screening import Screening
from optimizer.choice.search import search
from optimizer.choice.stock import Stock
from optimizer.errors import OutOfRange
from optimizer.inputs.problem import Reliability
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.site import Needs
from optimizer.proof.array import Way
from optimizer.proof.check import check_design
from optimizer.proof.lived import years_of
from optimizer.proof.plant import block_harvest, takes_of
from optimizer.proof.replay import bus_wh, live, short_hours
from optimizer.questions.replay import replay
from optimizer.target import Target

YEARS = 3
CASES = (3, 6, 12)
"""Seeds of small cases whose cheapest design loses some hours, and whose next ones are few enough to be lived one by one."""


def limited(problem, hours, **more):
    """A case with a limit and nothing else behind the array."""
    asked = Reliability(**{"loss_of_load_hours_max": hours, "years": YEARS, "rounds_max": 100, **more})
    return problem.model_copy(update={"reliability": asked, "site": problem.site.model_copy(update={"other_source": "none"})})


@cache
def hours_without_limit(seed):
    """Hours that the cheapest design of a case loses."""
    problem, catalog = case(seed)
    return solve(limited(problem, 8760), catalog, explain=False).report.loss.loss_of_load_hours


@cache
def solved(seed, share):
    """The answer of a case for a share of these hours."""
    problem, catalog = case(seed)
    return solve(limited(problem, share * hours_without_limit(seed)), catalog, explain=False)


def one_by_one(problem, catalog):
    """Cost of the cheapest design that passes, each that fails cut off alone and nothing pruned; and how many were lived."""
    problem, catalog = with_worn_parts(problem, catalog)
    needs, prices, years, lived = Needs(problem), PriceList(problem, catalog), years_of(problem), []

    def accepts(design):
        lived.append(check_design(design, needs, catalog, prices, years))
        return lived[-1].valid

    found = search(needs, catalog, accepts, prune=False, explain=False, rejections_most=200)
    assert found.ending.value == "optimal", "few enough to be lived one by one"
    return found.objective_cents, len(lived)


# --- the answer


@pytest.mark.parametrize("seed", CASES)
def test_the_answer_is_the_cheapest_of_all_that_pass(seed):
    answer = solved(seed, 0.2)
    cost, lived = one_by_one(answer.problem, case(seed)[1])
    assert lived > 1, "the cheapest design fails"
    assert answer.outcome is Outcome.OPTIMAL
    assert answer.report.valid
    assert answer.report.bill.objective_cents == cost
    assert answer.bound_cents == pytest.approx(cost, abs=1)
    assert answer.gap == 0


@pytest.mark.parametrize("seed", CASES[1:])
def test_a_tighter_limit_never_costs_less(seed):
    answers = [solved(seed, share) for share in (1.0, 0.6, 0.2)]
    costs = [answer.report.bill.objective_cents for answer in answers]
    assert costs == sorted(costs)
    assert costs[0] < costs[-1]
    for share, answer in zip((1.0, 0.6, 0.2), answers, strict=True):
        assert answer.report.loss.loss_of_load_hours <= share * hours_without_limit(seed) * (1 + 1e-6)


def test_the_same_seed_gives_the_same_answer_and_another_seed_other_hours():
    problem, catalog = case(12)
    limit = 0.2 * hours_without_limit(12)
    again = solve(limited(problem, limit), catalog, explain=False)
    assert again.choice == solved(12, 0.2).choice
    assert again.report.loss == solved(12, 0.2).report.loss
    other = check(again.choice, limited(problem, limit, seed=2), catalog)
    assert other.loss.loss_of_load_hours != again.report.loss.loss_of_load_hours


@pytest.mark.parametrize("most", [1, 2, 3])
def test_rounds_are_counted_and_end_the_search(most):
    problem, catalog = case(12)
    best = solved(12, 0.2)
    answer = solve(limited(problem, 0.2 * hours_without_limit(12), rounds_max=most), catalog, explain=False)
    assert 1 <= answer.rounds <= most < best.rounds
    assert answer.bound_cents <= best.report.bill.objective_cents
    if answer.report is None:
        assert answer.outcome is Outcome.STOPPED
        assert f"{answer.rounds} designs were replayed" in answer.reason
    else:
        assert answer.outcome is Outcome.FEASIBLE
        assert answer.report.valid
        assert answer.report.bill.objective_cents >= best.report.bill.objective_cents
        assert answer.gap == pytest.approx(1 - answer.bound_cents / answer.report.bill.objective_cents)


def test_check_and_replay_agree_with_solve():
    answer = solved(12, 0.2)
    problem, catalog = case(12)
    report = check(answer.choice, answer.problem, catalog)
    assert report.valid
    assert report.loss == answer.report.loss
    tighter = limited(problem, 0.5 * report.loss.loss_of_load_hours)
    assert {line.rule for line in check(answer.choice, tighter, catalog).failures} == {"loss-of-load"}
    figures = replay(answer.problem, catalog, answer.choice, years=YEARS, seed=1).figures
    assert figures.loss_of_load_hours == report.loss.loss_of_load_hours
    assert figures.unmet_fraction == report.loss.unmet_fraction
    assert figures.interval_95 == report.loss.interval_95


def test_a_soft_limit_is_lived_and_not_enforced():
    problem, catalog = case(12)
    asked = limited(problem, 0.2 * hours_without_limit(12))
    soft = solve(asked.model_copy(update={"rules": {**asked.rules, "loss-of-load": "soft"}}), catalog, explain=False)
    assert soft.report.loss.loss_of_load_hours == hours_without_limit(12)
    assert soft.rounds == 0
    assert [line.passed for line in soft.report.lines if line.rule == "loss-of-load"] == [False]


def test_without_a_limit_nothing_is_lived():
    problem, catalog = case(12)
    answer = solve(problem, catalog, explain=False)
    assert answer.report.loss is None
    assert answer.rounds == 0
    assert not any(line.rule == "loss-of-load" for line in answer.report.lines)


# --- what it leans on


@pytest.mark.parametrize("seed", range(12))
def test_hours_are_counted_as_the_replay_counts_them(seed):
    try:
        plant, sun, air = random_plant(seed)
    except OutOfRange as bad:
        assert "capacity table" in str(bad)
        return
    lived, bus = live(plant, sun, air), bus_wh(plant, sun, air)
    assert short_hours(plant, bus, [1.0], critical_only=False)[0] == pytest.approx(lived.year["short_h"])
    assert short_hours(plant, bus, [1.0], critical_only=True)[0] == pytest.approx(lived.year["critical_short_h"])


@settings(max_examples=6, deadline=None)
@given(seed=st.integers(0, 300), critical_only=st.booleans())
def test_less_in_some_hours_never_loses_fewer_hours(seed, critical_only):
    """Lead and lithium, loads that wait, months too cold to charge: the store is monotone (docs/program.md)."""
    try:
        plant, sun, air = random_plant(seed)
    except OutOfRange:
        return
    bus = bus_wh(plant, sun, air)
    rng = np.random.default_rng(seed)
    fewer = bus * np.where(rng.random(bus.shape) < 0.3, rng.random(bus.shape), 1.0)
    idle = replace(plant, takes=takes_of(plant.core, replace(plant.design, blocks=()), _loads(plant)))
    some = short_hours(plant, bus, (0.5, 0.9, 1.0, 1.5), critical_only=critical_only)
    assert (np.diff(some, axis=0) <= 0).all()
    assert (short_hours(plant, fewer, [1.0], critical_only=critical_only)[0] >= some[2]).all()
    assert (short_hours(idle, bus, [1.0], critical_only=critical_only)[0] <= some[2]).all()


def _loads(plant):
    from optimizer.needs.hours import hour_loads

    return hour_loads(plant.needs)


@cache
def blocks_of(seed):
    """A target of a case, its candidates without pruning, and a bank of their first class."""
    problem, catalog = case(seed)
    problem, catalog = with_worn_parts(limited(problem, 1.0), catalog)
    needs, prices = Needs(problem), PriceList(problem, catalog)
    found = candidates(needs, catalog, Stock(problem, catalog, prices), Screening(needs.severities), prune=False).result()
    return Target(needs, catalog, prices, 0.0), found, found.cores.parts(0, needs, catalog)[0]


@pytest.mark.parametrize("seed", [3, 6, 12, 21])
def test_shares_bound_every_hour(seed):
    """What the cells say that a block gives at most, and the failed one at least, holds in each hour of the years."""
    target, found, bank = blocks_of(seed)
    rows = np.nonzero(found.blocks.bank_class == found.cores.table.bank_class[0])[0]
    rng = random.Random(seed)
    sun = target.years.sun_w_m2[target.years.sun_w_m2 > 0]
    air = np.broadcast_to(target.years.air_c, target.years.sun_w_m2.shape)[target.years.sun_w_m2 > 0]
    for _ in range(12):
        one, other = (int(rng.choice(rows)) for _ in range(2))
        failed = found.arrays.block(found.blocks, other)
        ways = [Way.of(target.wiring.block_circuits(bank, block), target.catalog.tables) for block in (found.arrays.block(found.blocks, one), failed)]
        floor = target._given(bank, failed, ways[1], high=True)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.max(np.where(target._peak(found, one, bank) > 0, target._peak(found, one, bank) / floor, 0.0))
        given_one = block_harvest(target.needs, bank, found.arrays.block(found.blocks, one), sun, air, ways[0]).bus_wh
        given_other = block_harvest(target.needs, bank, failed, sun, air, ways[1]).bus_wh
        if np.isfinite(share):
            assert (given_one <= share * given_other * (1 + 1e-12)).all()


@pytest.mark.parametrize("seed", [3, 6, 12, 21])
def test_a_block_that_is_no_worse_by_its_columns_is_no_worse_in_any_hour(seed):
    target, found, bank = blocks_of(seed)
    rows = np.nonzero(found.blocks.bank_class == found.cores.table.bank_class[0])[0]
    rows = rows[np.random.default_rng(seed).permutation(len(rows))[:60]]
    table = found.blocks.take(rows)
    columns = np.column_stack(block_hours(found.arrays, bank, table, target.air_c))
    rng = np.random.default_rng(seed)
    sun, air = rng.uniform(1, 1400, 400), rng.uniform(*target.air_c, 400)
    given_by = []
    for row in range(len(table)):
        block = found.arrays.block(table, row)
        way = Way.of(target.wiring.block_circuits(bank, block), target.catalog.tables)
        given_by.append(block_harvest(target.needs, bank, block, sun, air, way).bus_wh)
    compared = 0
    for a in range(len(table)):
        for b in range(len(table)):
            if a != b and (columns[a] <= columns[b]).all():
                compared += 1
                assert (given_by[a] >= given_by[b] * (1 - 1e-9)).all()
    assert compared > 0
