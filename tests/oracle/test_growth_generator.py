"""Plans that buy a generator with its chargers, keep it and sell it, and pay its fuel: against all plans, and against the answer for one date."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from cases import inverter
from growth_enumerate import EveryPlan, burnt, growth_case
from test_generator_in_design import chargers, fed, sets
from test_growth_single import at_once
from test_visiting_sources import dc_chargers, visited

from optimizer.answer import check, solve
from optimizer.design import choice_of
from optimizer.growth.plan import Plan, running_of_future
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.rounds import SLACK_CENTS
from optimizer.growth.tree import tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.proof.source import Fed

KINDS = ("generator", "charger")


def fed_growth(seed: int) -> tuple[Problem, Catalog]:
    """A house that grows with dark winters, one or two generators and a charger or those of its inverters."""
    problem, catalog = growth_case(seed)
    rng = random.Random(seed * 47 + 7)
    data = problem.model_dump(exclude_unset=True)
    data["site"]["other_source"] = "generator"
    dark = rng.choice((0.2, 0.35, 0.6))
    data["array"]["sun_h"] = [round(sun * (dark if month in (0, 1, 10, 11) else 1.0), 2) for month, sun in enumerate(data["array"]["sun_h"])]
    data["generator"] = {"in_design": True, "hours_per_day_max": rng.choice((1.0, 3.0, 10.0)), "fuel_price_per_l": rng.choice((0.3, 1.6, 4.0)), "required": rng.random() < 0.15}
    if rng.random() < 0.4:
        data["balance"] = {"minimum_solar_share": rng.choice((0.6, 0.85))}
    data["bounds"] |= {"array_kinds": rng.choice((1, 1, 2)), "chargers": rng.choice((1, 2))}
    data["growth"]["price_trend_pct"] = {**data["growth"].get("price_trend_pct", {}), **{kind: round(rng.uniform(-6, 0), 1) for kind in KINDS}, "running": rng.choice((0.0, 3.0, 9.0))}
    for key, most in (("resale_share", 0.7), ("end_value_share", 0.5)):
        data["growth"][key] = {**data["growth"].get(key, {}), **{kind: round(rng.uniform(0, most), 2) for kind in KINDS}}
    for stage in data["growth"]["stages"]:
        if rng.random() < 0.25:
            stage["set"] = {**stage.get("set", {}), "generator.fuel_price_per_l": rng.choice((0.5, 6.0))}
    volts = rng.choice(data["bank"]["volts"])
    makes = tuple(
        inverter(f"I-{v}-{watts}", v, "230", watts, round(0.25 * watts * rng.uniform(0.6, 1.4), 2), charge_a=rng.choice((0.0, 25.0)), charge_power_factor=0.9)
        for v, watts in ((24, 900), (24, 2000), (48, 2500))
    )
    found = sets(rng, "230 V 50 Hz")
    owned = [own for own in data.get("owned", []) if own["part"] not in {one.id for one in catalog.inverters}]
    if rng.random() < 0.2:
        owned.append({"part": "G-S", "quantity": 1})
    return Problem.model_validate({**data, "owned": owned}), replace(catalog, inverters=makes, generators=found, chargers=chargers(rng, "230 V 50 Hz", volts))


def visited_growth(kind: str, seed: int) -> tuple[Problem, Catalog]:
    """The same house with shore power or an alternator in place of the generator."""
    problem, catalog = fed_growth(seed)
    rng = random.Random(seed * 91 + 1)
    data = problem.model_dump(exclude_unset=True)
    del data["generator"]
    data["site"]["other_source"] = kind
    for stage in data["growth"]["stages"]:
        stage["set"] = {name: value for name, value in stage.get("set", {}).items() if not name.startswith("generator")}
    hours = rng.choice(((0.3, 1.0), (1.0, 2.5), (3.0, 9.0)))
    data[kind] = {
        "in_design": True, "hours_per_day": [round(rng.uniform(*hours), 2) for _ in range(12)], "price_per_kwh": rng.choice((0.0, 0.4, 1.5)),
        "rated_a": rng.choice((60, 110, 250)) if kind == "alternator" else rng.choice((4, 10, 16)), **({"volts": 230} if kind == "shore" else {}),
    }
    data["owned"] = [own for own in data.get("owned", []) if own["part"] != "G-S"]
    found = dc_chargers(rng, data["bank"]["volts"][0]) if kind == "alternator" else ()
    return Problem.model_validate(data), replace(catalog, alternator_chargers=found)


def at_once_with_fuel(problem: Problem) -> Problem:
    """Nothing ahead, over the years and at the discount that `solve` counts what is burnt with."""
    asked = at_once(problem)
    growth = asked.growth.model_copy(update={"horizon_years": problem.source_use.years, "discount_pct": problem.life_cycle.discount_pct})
    return asked.model_copy(update={"growth": growth})


# --- against all plans

NOW, LATER, KEEPS, SELLS, BURNS = "bought at first", "bought later", "kept in use", "sold", "burns"

PLANNED = {15: {NOW, KEEPS, SELLS, BURNS}, 16: {LATER, BURNS}, 19: {LATER, BURNS}, 38: {NOW, KEEPS, BURNS}}
"""Cases with few enough plans to look at all, each with what its best plan does with a generator and its chargers."""


def _features(plan: Plan) -> set[str]:
    catalog, seen = plan.ledger.catalog, set[str]()
    ids = {part.id for part in (*catalog.generators, *catalog.chargers)}
    for visit in plan.visits.values():
        bought = {item for item in visit.new_parts if item in ids}
        seen |= {BURNS} if visit.yearly_cents else set()
        if visit.node.parent is None:
            seen |= {NOW} if bought else set()
            continue
        seen |= {LATER} if bought else set()
        seen |= {KEEPS} if any(part in ids and part not in bought for part in visit.design.pieces) else set()
        seen |= {SELLS} if any(item in ids for item, _ in visit.sold) else set()
    return seen


@cache
def planned(seed: int) -> Plan:
    """The best plan, after it was found to be the best of all."""
    return best_of_all(*fed_growth(seed))


def best_of_all(problem: Problem, catalog: Catalog) -> Plan:
    """The best plan of a case with few enough plans to look at all."""
    every = EveryPlan(problem, catalog)
    assert every.possible
    found = PlanSearch(every.tree, catalog).best()
    assert found.plan is not None
    assert found.proven
    assert found.plan.cents == pytest.approx(every.best().cents, abs=SLACK_CENTS)
    assert check_plan(found.plan, catalog) == ()
    return found.plan


@pytest.mark.parametrize("seed", PLANNED)
def test_the_best_plan_with_a_generator_is_the_best_of_all(seed: int) -> None:
    assert _features(planned(seed)) == PLANNED[seed]


@pytest.mark.parametrize(("kind", "seed"), [("shore", 15), ("alternator", 19)])
def test_the_best_plan_with_a_source_that_comes_and_goes_is_the_best_of_all(kind: str, seed: int) -> None:
    plan = best_of_all(*visited_growth(kind, seed))
    chargers_at = [visit.design.source.pieces if visit.design.source is not None else () for visit in plan.visits.values()]
    assert any(chargers_at)
    assert len(set(map(bool, chargers_at))) == 2, "chargers of their own at some dates, not at all"


def test_the_cases_are_of_every_kind() -> None:
    """What each case does is asserted with its plan."""
    assert all(any(one in features for features in PLANNED.values()) for one in (NOW, LATER, KEEPS, SELLS, BURNS))


def test_what_is_said_of_them_follows_from_the_months() -> None:
    """Fuel of a date, counted again from the report of its design; and its share of each future's cost."""
    plan = planned(38)
    catalog, growth = plan.ledger.catalog, plan.ledger.growth
    for visit in plan.visits.values():
        report = check(choice_of(visit.design), visit.node.problem, catalog)
        assert report.valid
        assert visit.yearly_cents == pytest.approx(burnt(Fed(report.whole, visit.design.source), visit.node.problem))
    dates = [*(node.year for node in plan.ledger.tree.nodes), growth.horizon_years]
    each = (1 + growth.price_trend_pct["running"] / 100) / (1 + growth.discount_pct / 100)
    # hand: each date's fuel at the end of every year until the next, the year that a date falls into shared by the interest of its parts.
    paid = [sum(each**year for year in range(1, int(date) + 1)) + each ** (int(date) + 1) * (1 - each ** (date % 1)) / (1 - each) for date in dates]
    expected = sum(visit.yearly_cents * (until - since) for visit, since, until in zip(plan.visits.values(), paid[:-1], paid[1:], strict=True))
    assert running_of_future(plan, "grows") == pytest.approx(expected)


def _said(plan: Plan, number: int, **changes: Any) -> tuple[str, ...]:
    visit = replace(plan.visits[number], **changes)
    return check_plan(replace(plan, visits={**plan.visits, number: visit}), plan.ledger.catalog)


def test_the_check_knows_what_is_burnt_and_what_burns_it() -> None:
    plan = planned(15)
    first = plan.first
    burns = _said(plan, 0, yearly_cents=first.yearly_cents + 1)
    assert burns == (
        f"first purchase: the source of the design costs {first.yearly_cents / 100:,.4f} a year, the plan says {(first.yearly_cents + 1) / 100:,.4f}",
    )
    away = _said(plan, 0, there={key: n for key, n in first.there.items() if key[0] != "G-S"})
    assert any("the design uses 1 of 'G-S', 0 are there" in said for said in away)
    cheaper = replace(plan, cost_by_future={future: cost - 5 for future, cost in plan.cost_by_future.items()})
    assert all("its cost is" in said for said in check_plan(cheaper, plan.ledger.catalog))
    assert check_plan(cheaper, plan.ledger.catalog)


# --- against the answer for one date


def agreed(problem: Problem, catalog: Catalog) -> Plan | None:
    """The plan, after it was found to cost what `solve` says with what is burnt, rounded there to a cent."""
    asked = at_once_with_fuel(problem)
    report = solve(asked.model_copy(update={"growth": None}), catalog, explain=False).report
    found = PlanSearch(tree_of(asked), catalog).best()
    if report is None:
        assert found.plan is None
        return None
    assert found.proven
    assert found.plan is not None
    assert round(found.plan.cents) == report.bill.objective_cents
    assert running_of_future(found.plan, "now") == pytest.approx(report.bill.running_cents, abs=0.5)
    assert check_plan(found.plan, catalog) == ()
    return found.plan


@pytest.mark.parametrize("seed", [4, 104, 134, 146, 154])
def test_a_generator_is_planned_for_one_date_as_it_is_solved(seed: int) -> None:
    plan = agreed(*fed(seed))
    assert plan is not None
    assert plan.first.yearly_cents > 0


def test_the_circuits_of_a_generator_are_planned_as_they_are_solved() -> None:
    plan = agreed(*fed(4, wired=True))
    assert plan is not None
    assert plan.first.yearly_cents > 0


@pytest.mark.parametrize(("kind", "seed"), [("alternator", 4), ("alternator", 104), ("shore", 140), ("shore", 104)])
def test_sources_that_come_and_go_are_planned_as_they_are_solved(kind: str, seed: int) -> None:
    plan = agreed(*visited(kind, seed))
    assert plan is not None
    assert plan.first.design.source is not None
