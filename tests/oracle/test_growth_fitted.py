"""Plans that buy soft starters and autotransformers, keep them and sell them: against all plans, and against the answer for one date."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from cases import inverter
from growth_enumerate import EveryPlan, growth_case
from test_autotransformers import split_case
from test_growth_single import agreed, at_once
from test_soft_starters import starting_case

from optimizer.answer import check
from optimizer.design import choice_of
from optimizer.errors import InputError
from optimizer.growth import fitted
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS, Planned
from optimizer.growth.tree import tree_of
from optimizer.handover.as_json import choice_data
from optimizer.handover.grow_text import grow_text
from optimizer.handover.questions_text import in_words
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, SoftStarter
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import Fittings
from optimizer.questions.grown import Grown, NamedPlan

AT_ONCE_STARTERS = (5, 7, 24, 50, 73, 110, 113)
AT_ONCE_TRANSFORMERS = (1, 3, 4, 9, 13)


def _with_loads(problem: Problem, rng: random.Random, change: Callable[[dict[str, Any]], None], **growth: Any) -> dict[str, Any]:
    """The problem as plain data, each of its loads changed, those of its stages with them."""
    data = problem.model_dump(exclude_unset=True)
    data["loads"] = [dict(load) for load in data["loads"]]
    data["growth"]["stages"] = [{**stage, "loads": [dict(load) for load in stage["loads"]]} for stage in data["growth"]["stages"]]
    for load in (*data["loads"], *(load for stage in data["growth"]["stages"] for load in stage["loads"])):
        change(load)
    for key, value in growth.items():
        data["growth"][key] = {**data["growth"].get(key, {}), **value}
    return data


def _shares(rng: random.Random, kind: str) -> dict[str, Any]:
    """Worth less every year, so that nobody buys one only to sell it again."""
    return {
        "price_trend_pct": {kind: round(rng.uniform(-6, 0), 1)}, "resale_share": {kind: round(rng.uniform(0, 0.7), 2)},
        "end_value_share": {kind: round(rng.uniform(0, 0.5), 2)},
    }


def motors(seed: int) -> tuple[Problem, Catalog]:
    """A house that grows whose motors start hard, and two soft starters."""
    problem, catalog = growth_case(seed)
    rng = random.Random(seed * 41 + 3)

    def hard(load: dict[str, Any]) -> None:
        if load["item"] != "lights":
            hardest = {"refrigerator": (4.0, 4.0, 20.0), "freezer": (12.0, 18.0), "tools": (4.0, 6.0)}[load["item"]]
            load |= {"soft_starter": "may", "surge_s": 0.5, "surge_x": rng.choice(hardest)}

    starters = tuple(SoftStarter(
        id=f"SS-{at}", ac_v=(230,), va_max=va_max, surge_x=rng.choice((1.5, 2.0)), start_s=rng.choice((0.4, 2.0)), weight_kg=0.5, price=round(rng.uniform(5, 60), 2),
    ) for at, va_max in enumerate((150.0, 1800.0)))
    data = _with_loads(problem, rng, hard, **_shares(rng, "soft_starter"))
    data["bounds"]["array_kinds"] = 1
    inverters = tuple(inverter(f"I-{volts}-{watts}", volts, "230", watts, round(0.25 * watts * rng.uniform(0.6, 1.4), 2)) for volts, watts in ((24, 900), (24, 2000), (48, 2500)))
    data["owned"] = [own for own in data.get("owned", []) if own["part"] not in {one.id for one in catalog.inverters}]
    return Problem.model_validate(data), replace(catalog, inverters=inverters, soft_starters=starters)


def two_legs(seed: int) -> tuple[Problem, Catalog]:
    """A house of 120 V that grows, with loads of 240 V at once or later, and two autotransformers."""
    problem, catalog = growth_case(seed)
    rng = random.Random(seed * 43 + 5)
    high = rng.choice((("freezer", "tools"), ("refrigerator", "tools"), ("refrigerator",)))

    def of_legs(load: dict[str, Any]) -> None:
        load["volts"] = 240.0 if load["item"] in high else 120.0

    data = _with_loads(problem, rng, of_legs, **_shares(rng, "autotransformer"))
    data["site"]["ac"] = "120/240 V 60 Hz"
    data["inverter"] = {"autotransformer": "may", "on": rng.choice(("always", "search"))}
    inverters = (
        inverter("I-24-1500", 24, "120", 1500, round(rng.uniform(180, 320), 2)), inverter("I-24-S2000", 24, "120/240", 2000, round(rng.uniform(400, 900), 2)),
        inverter("I-48-2500", 48, "120", 2500, round(rng.uniform(350, 600), 2)),
    )
    parts = tuple(
        Autotransformer(id=f"T-{at}", price=round(rng.uniform(60, 250), 2), weight_kg=10, rated_va=va, surge_va=3 * va, no_load_w=rng.choice((2.0, 8.0)), efficiency=0.97)
        for at, va in enumerate((600.0, 2000.0))
    )
    owned = [own for own in data.get("owned", []) if own["part"] not in {one.id for one in catalog.inverters}]
    return Problem.model_validate({**data, "owned": owned}), replace(catalog, inverters=inverters, autotransformers=parts)


# --- against all plans

NOW, LATER, KEEPS, LEAVES, SELLS = "bought at first", "bought later", "kept in use", "no more in use", "sold"

MOTORS = {
    12: {NOW, LATER, KEEPS}, 24: {NOW, LATER}, 43: {LATER}, 45: {NOW, LEAVES, SELLS}, 48: {LATER}, 49: {LATER}, 59: {LATER, KEEPS},
}
TWO_LEGS = {0: {NOW, KEEPS}, 9: {NOW, LEAVES, SELLS}, 12: {LATER}, 18: {NOW, KEEPS}}
"""Cases with few enough plans to look at all, each with what its best plan does with starters or transformers."""


def _features(plan: Plan) -> set[str]:
    catalog, seen = plan.ledger.catalog, set[str]()
    ids = {part.id for part in (*catalog.soft_starters, *catalog.autotransformers)}
    for visit in plan.visits.values():
        fitted = visit.design.fittings.pieces
        if visit.node.parent is None:
            seen |= {NOW} if fitted else set()
            continue
        before = plan.visits[visit.node.parent].design.fittings.pieces
        new = {part for part in ids if visit.bought.get(part)}
        seen |= {LATER} if new else set()
        seen |= {KEEPS} if any(fitted[part] and part not in new for part in before) else set()
        seen |= {LEAVES} if before and not fitted else set()
        seen |= {SELLS} if any(item in ids for item, _ in visit.sold) else set()
    return seen


@cache
def planned(make: Callable[[int], tuple[Problem, Catalog]], seed: int) -> Plan:
    """The best plan, after it was found to be the best of all."""
    problem, catalog = make(seed)
    every = EveryPlan(problem, catalog)
    assert every.possible, seed
    found = PlanSearch(every.tree, catalog).best()
    assert found.plan is not None
    assert found.proven
    assert found.plan.cents == pytest.approx(every.best().cents, abs=SLACK_CENTS)
    assert found.bound_cents <= every.best().cents + SLACK_CENTS
    assert check_plan(found.plan, catalog) == ()
    return found.plan


@pytest.mark.parametrize("seed", MOTORS)
def test_the_best_plan_with_starters_is_the_best_of_all(seed: int) -> None:
    assert _features(planned(motors, seed)) == MOTORS[seed]


@pytest.mark.parametrize("seed", TWO_LEGS)
def test_the_best_plan_with_transformers_is_the_best_of_all(seed: int) -> None:
    assert _features(planned(two_legs, seed)) == TWO_LEGS[seed]


def test_the_cases_are_of_every_kind() -> None:
    """What each case does is asserted with its plan."""
    assert all(any(one in features for features in MOTORS.values()) for one in (NOW, LATER, KEEPS, LEAVES, SELLS))
    assert all(any(one in features for features in TWO_LEGS.values()) for one in (NOW, LATER, KEEPS, LEAVES, SELLS))


# --- against the answer for one date


@pytest.mark.parametrize("seed", AT_ONCE_STARTERS)
def test_starters_are_planned_for_one_date_as_they_are_solved(seed: int) -> None:
    problem, catalog = starting_case(seed)
    plan = agreed(at_once(problem), catalog)
    assert plan is None or len(plan.first.design.fittings.starters) == sum(plan.first.usage.get(part.id, 0) > 0 for part in catalog.soft_starters)


@pytest.mark.parametrize("seed", AT_ONCE_TRANSFORMERS)
def test_transformers_are_planned_for_one_date_as_they_are_solved(seed: int) -> None:
    problem, catalog = split_case(seed)
    agreed(at_once(problem), catalog)


# --- what is said of them


def test_a_stage_is_read_back_as_a_choice() -> None:
    """The choice of each stage names what is fitted, and the check of single answers accepts it for the site of that stage."""
    for make, seed in ((motors, 12), (two_legs, 0)):
        plan = planned(make, seed)
        catalog = plan.ledger.catalog
        for visit in plan.visits.values():
            report = check(json.loads(json.dumps(choice_data(choice_of(visit.design)))), visit.node.problem, catalog)
            assert report.valid
            assert report.prices.starters == visit.design.fittings.pieces
        words = in_words(plan.first.design)
        assert all(part in words for part in plan.first.design.fittings.pieces)


def _said(plan: Plan, number: int, **changes: Any) -> tuple[str, ...]:
    visit = replace(plan.visits[number], **changes)
    return check_plan(replace(plan, visits={**plan.visits, number: visit}), plan.ledger.catalog)


def test_the_check_knows_what_is_fitted() -> None:
    plan = planned(motors, 12)
    first = plan.first
    (item, part, _), *_ = first.design.fittings.starters
    without = _said(plan, 0, design=replace(first.design, fittings=Fittings()))
    assert any("the design breaks 'surge'" in said or "the design breaks 'surge-discharge'" in said for said in without)
    away = _said(plan, 0, there={key: n for key, n in first.there.items() if key[0] != part})
    assert any(f"the design uses 1 of '{part}', 0 are there" in said for said in away)
    wrong = _said(plan, 0, design=replace(first.design, fittings=Fittings((("lights", part, 1),))))
    assert wrong == ("first purchase: choice: soft_starters: load 'lights' may have none: its soft_starter is not \"may\"",)
    none_counted = _said(plan, 0, design=replace(first.design, fittings=Fittings(((item, part, 0),))), there={key: n for key, n in first.there.items() if key[0] != part})
    assert any(f"the design uses 1 of '{part}', 0 are there" in said for said in none_counted)
    stepped = _said(plan, 0, design=replace(first.design, fittings=Fittings((), "T-0")))
    assert stepped == ("first purchase: 'T-0' is fitted, but the site may have no autotransformer",)


def test_too_many_ways_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    problem, catalog = motors(12)
    monkeypatch.setattr(fitted, "WAYS_MOST", 1)
    with pytest.raises(InputError, match="ways to fit soft starters before refrigerator differ, more than 1"):
        PlanSearch(tree_of(problem), catalog)


def test_the_answer_says_what_to_know_of_them() -> None:
    for make, seed, words in ((motors, 12, "Soft starters are counted on before freezer, refrigerator: not every"), (two_legs, 0, "An autotransformer makes the 240 V")):
        plan = planned(make, seed)
        best = NamedPlan("in expectation", Planned(plan, plan.cents, proven=True), plan.cost_by_future, plan.cents)
        text = " ".join(grow_text(Grown(*make(seed), plans=[best])).split())
        assert words in text
        assert all(f"{n} x {part}" in best.first_purchase for part, n in plan.first.design.fittings.pieces.items())
