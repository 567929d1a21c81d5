"""A generator in the design: program against enumeration, generators, chargers and settings walked as well."""

from __future__ import annotations

import json
import random
from collections import Counter
from dataclasses import replace
from functools import cache

import pytest
from cases import case
from enumerate import Best, best_choice
from wired import wired_case

from optimizer import check, load_catalog, load_problem
from optimizer.answer import solve
from optimizer.design import choice_of
from optimizer.errors import WrongUse
from optimizer.handover.as_json import choice_data
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.circuit_parts import Charger, Generator
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.requirements import with_section
from optimizer.questions.near import near
from optimizer.questions.versus import versus

SEEDS = (2, 4, 104, 116, 124, 134, 140, 142, 144, 146, 148, 152, 154, 160, 204, 206)
UNPRUNED = SEEDS[::2]

AC = {"none": ("120", "120"), "120 V 60 Hz": ("120", "120"), "120/240 V 60 Hz": ("120/240", "240"), "230 V 50 Hz": ("230", "230"), "230/400 V 50 Hz": ("230/400", "230")}


def sets(rng: random.Random, ac: str) -> tuple[Generator, ...]:
    """A small petrol set that is cheap to buy and one that is cheap to run; sometimes one of a wrong AC that costs nearly nothing."""
    makes, _ = AC[ac]
    found = [
        Generator(id="G-S", price=round(rng.uniform(150, 400), 2), weight_kg=30, rated_va=rng.choice((1800, 2500, 4000, 9000)), power_factor=rng.choice((0.8, 1.0)), ac=makes,
                  fuel="petrol", litres_per_kwh=0.5, idle_l_per_h=0.3, service_per_h=0.2, least_load_share=0.2),
        Generator(id="G-L", price=round(rng.uniform(500, 1500), 2), weight_kg=150, rated_va=rng.choice((6000, 12000)), power_factor=0.8, ac=makes, fuel="diesel",
                  litres_per_kwh=0.3, service_per_h=0.35, least_load_share=0.4, fuel_share=rng.choice((1, 0.9))),
    ]
    if rng.random() < 0.5:
        found.append(found[0].model_copy(update={"id": "G-X", "price": 20.0, "ac": "230" if makes != "230" else "120"}))
    return tuple(sorted(found, key=lambda one: one.id))


def chargers(rng: random.Random, ac: str, volts: int) -> tuple[Charger, ...]:
    """A charger for the bank, and sometimes one that does not suit it."""
    def charger(part_id: str, **more: object) -> Charger:
        return Charger(**{
            "id": part_id, "price": round(rng.uniform(60, 300), 2), "weight_kg": 5, "bank_v": volts, "ac": AC[ac][1], "output_a": rng.choice((20, 35, 60)),
            "efficiency": 0.9, "power_factor": rng.choice((0.7, 0.98)), "lfp_profile": True, "current_settable": True, **more,
        })

    odd = rng.choice(({"lfp_profile": False}, {"current_settable": False}, {"bank_v": 24 if volts != 24 else 12}))
    return (charger("H-A"), *((charger("H-B", price=15.0, **odd),) if rng.random() < 0.6 else ()))


def fed(seed: int, wired: bool = False) -> tuple[Problem, Catalog]:
    """A case with dark winters, generators and chargers, hours, fuel and solar share of all kinds; with circuits where asked."""
    problem, catalog = wired_case(seed) if wired else case(seed)
    rng = random.Random(seed)
    data = problem.model_dump(exclude_unset=True)
    data["site"]["other_source"] = "generator"
    data["rules"] = {rule: severity for rule, severity in data.get("rules", {}).items() if rule != "uncertainty"}
    dark = rng.choice((0.25, 0.45, 0.8))
    data["array"]["sun_h"] = [round(sun * (dark if month in (0, 1, 10, 11) else 1.0), 2) for month, sun in enumerate(data["array"]["sun_h"])]
    data["generator"] = {
        "in_design": True, "hours_per_day_max": rng.choice((0.4, 1.0, 3.0, 10.0)), "fuel_price_per_l": rng.choice((0.3, 1.6, 4.0)), "years": rng.choice((3, 10)),
        "required": rng.random() < 0.3,
    }
    data["life_cycle"] = {"discount_pct": rng.choice((0.0, 6.0))}
    if rng.random() < 0.5:
        data.setdefault("balance", {})["minimum_solar_share"] = rng.choice((0.6, 0.85, 0.95))
    if rng.random() < 0.3:
        data["rules"]["generator-load"] = "requirement"
    data["bounds"] |= {"controllers": 3 if seed % 2 else 2, "chargers": 2}
    inverters = tuple(one.model_copy(update={"charge_a": rng.choice((0.0, 25.0)), "charge_power_factor": 0.9}) if one.kind == "inverter" else one for one in catalog.inverters)
    volts = data["bank"]["volts"][0]
    site = data["site"]["ac"]
    return Problem.model_validate(data), replace(catalog, inverters=inverters, generators=sets(rng, site), chargers=chargers(rng, site, volts))


@cache
def walked(seed: int) -> Best:
    return best_choice(*fed(seed))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_finds_the_cheapest_with_its_fuel(seed: int) -> None:
    problem, catalog = fed(seed)
    best = walked(seed)
    answer = solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, answer.reason
    if answer.report is not None:
        assert answer.outcome.value == "optimal"
        assert answer.bound_cents == best.cost_cents, "the program's objective, rounded, is the bill's"
        assert answer.gap == 0


@pytest.mark.parametrize("seed", (4, 116, 142, 152))
def test_the_program_finds_the_cheapest_with_the_circuits_of_the_set(seed: int) -> None:
    problem, catalog = fed(seed, wired=True)
    best, answer = best_choice(problem, catalog), solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, answer.reason


@pytest.mark.parametrize("seed", UNPRUNED)
def test_pruning_changes_nothing_beside_a_generator(seed: int) -> None:
    answer = solve(*fed(seed), prune=False)
    assert (answer.report.bill.objective_cents if answer.report else None) == walked(seed).cost_cents


def test_generators_decide_these_cases() -> None:
    alone: Counter[str] = Counter()
    with_source = without = burning = 0
    for seed in SEEDS:
        best = walked(seed)
        alone += best.alone
        if best.design is not None:
            with_source += best.design.source is not None
            without += best.design.source is None
            bill = check(choice_of(best.design), *fed(seed)).bill
            burning += bill.running_cents > 0
    assert with_source >= 8
    assert without >= 3
    assert burning >= 6
    decided = {rule for rule, count in alone.items() if count}
    assert decided >= {
        "generator-present", "generator-ac", "generator-power", "generator-load", "generator-hours", "generator-refill", "solar-share", "all-sources-current",
        "charger-profile", "charger-bank-voltage",
    }


@pytest.mark.parametrize("seed", (2, 4, 152, 204))
def test_without_a_set_in_the_catalog_it_is_a_site_without_other_source(seed: int) -> None:
    problem, catalog = fed(seed)
    problem = problem.model_copy(update={"generator": problem.generator.model_copy(update={"required": False})})
    alone = solve(problem.model_copy(update={"site": problem.site.model_copy(update={"other_source": "none"})}), catalog)
    bare = solve(problem, replace(catalog, generators=()))
    assert bare.choice == alone.choice
    assert bare.outcome == alone.outcome
    offered = solve(problem, catalog)
    if alone.report is not None:
        assert offered.report is not None
        assert offered.report.bill.objective_cents <= alone.report.bill.objective_cents


# --- on the shipped catalog


@pytest.fixture(scope="module")
def station() -> Problem:
    return load_problem(shipped_folder("problems") / "ranger_station.toml")


def use(problem: Problem, **values: object) -> Problem:
    return with_section(problem, "generator", **values)


def test_fuel_hours_and_share_follow_from_the_months(station: Problem) -> None:
    """Worked again from the months that the answer prints."""
    report = solve(station, load_catalog()).report
    assert report is not None
    source, plan, bank = report.design.source, report.generator, report.design.bank
    assert source is not None
    days = dict(zip(MONTHS, DAYS_OF_MONTH, strict=True))
    efficiency = dict(zip((month.month for month in report.months), report.whole.core.efficiency[report.whole.needs.season_of_month], strict=True))
    # hand: what is missing at the load is more into the bank.
    missing = {month.month: max(0.0, month.load_wh - month.array_wh) / efficiency[month.month] for month in report.months}
    assert {month.month: month.missing_wh for month in plan.months} == pytest.approx({name: wh for name, wh in missing.items() if wh > 0})
    hours = sum(wh * days[name] for name, wh in missing.items()) / (source.charge_a * bank.charging_v)
    assert plan.hours_a_year == pytest.approx(hours)
    efficiency_of_charger = source.charger.efficiency if source.charger is not None else 0.88
    litres = sum(wh * days[name] for name, wh in missing.items()) / 1000 / efficiency_of_charger * source.generator.litres_per_kwh
    assert plan.litres_a_year == pytest.approx(litres)
    yearly = litres * station.generator.fuel_price_per_l + hours * source.generator.service_per_h
    worth = sum(1.06**-year for year in range(1, 11))
    assert report.bill.running_cents == round(100 * yearly * worth)
    assert report.bill.objective_cents == report.bill.parts_and_freight_cents + report.bill.running_cents
    assert plan.solar_share == pytest.approx(1 - sum(wh * days[name] for name, wh in missing.items()) / sum(
        month.load_wh / efficiency[month.month] * days[month.month] for month in report.months
    ))


def test_dearer_fuel_is_never_cheaper_and_never_burns_more(station: Problem) -> None:
    found = [solve(use(station, fuel_price_per_l=price, required=True), load_catalog()).report for price in (0.0, 0.5, 2.8, 12.0)]
    costs = [report.bill.objective_cents for report in found]
    assert costs == sorted(costs)
    assert len(set(costs)) == len(costs)
    hours = [report.generator.hours_a_year * report.generator.charge_a for report in found]
    assert hours == sorted(hours, reverse=True)


def test_free_fuel_leaves_the_array_what_the_solar_share_asks(station: Problem) -> None:
    """A set, its chargers and its fuel for nothing: no smaller array has the share that is asked for."""
    catalog = load_catalog()
    free = replace(
        catalog, generators=tuple(one.model_copy(update={"price": 0.0, "service_per_h": 0.0}) for one in catalog.generators),
        chargers=tuple(one.model_copy(update={"price": 0.0}) for one in catalog.chargers),
    )
    arrays, purchases = [], []
    for share in (0.5, 0.8, 0.95):
        asked = with_section(use(station, fuel_price_per_l=0.0, hours_per_day_max=24.0), "balance", minimum_solar_share=share)
        report = solve(asked, free).report
        assert report.generator.solar_share >= share * (1 - 1e-6)
        assert report.bill.running_cents == 0
        arrays.append(sum(block.array_w * block.count for block in report.design.blocks))
        purchases.append(report.bill.objective_cents)
        block = report.design.blocks[0]
        if len(report.design.blocks) == 1 and block.strings > 1:  # one string less is short of the share, of charge current or of nothing
            less = replace(report.design, blocks=(replace(block, strings=block.strings - 1),))
            failures = {line.rule for line in check(choice_of(less), asked, free).failures}
            assert failures, "a smaller array would have served"
    assert purchases == sorted(purchases)
    assert arrays[0] < arrays[-1]


def test_versus_sets_the_design_without_a_generator_beside_it(station: Problem) -> None:
    found = versus(station, load_catalog(), "generator")
    by = {option.value: option.answer.report for option in found.options}
    assert by["generator"].design.source is not None
    assert by["none"].design.source is None
    assert found.free.report.bill.objective_cents == min(report.bill.objective_cents for report in by.values())
    assert found.options[0].value == min(by, key=lambda value: by[value].bill.objective_cents)


def test_a_choice_is_read_back_with_its_source(station: Problem) -> None:
    catalog = load_catalog()
    answer = solve(station, catalog)
    data = json.loads(json.dumps(choice_data(answer.choice)))
    report = check(data, station, catalog)
    assert report.valid
    assert report.bill == answer.report.bill
    source = data["source"]
    pieces = {line.part: line.quantity for line in report.bill.lines}
    assert pieces[source["generator"]] == 1
    assert pieces.get(source["charger"], 0) == source["count"]

    def broken(asked: Problem = station, **changes: object) -> set[str]:
        return {line.rule for line in check({**data, "source": {**source, **changes}}, asked, catalog).failures}

    assert "charger-output" in broken(charge_a=1000.0)
    assert broken(charge_a=1000.0) >= {"generator-size", "generator-power", "all-sources-current"}
    assert "generator-refill" in broken(charge_a=0.5)
    assert "generator-hours" in broken(charge_a=0.5)
    assert "charger-bank-voltage" in broken(charger="CH-B48-25E", count=1)
    assert "generator-ac" in broken(generator="GE-P3500")
    assert "charger-setting" in broken(charger="CH-B12-50TE", count=1, charge_a=40.0)
    assert "bounds" not in broken(count=9)  # soft: reported
    assert "generator-present" in broken(use(station, in_design=False))
    bare = {name: value for name, value in data.items() if name != "source"}
    assert "generator-present" in {line.rule for line in check(bare, use(station, required=True), catalog).failures}


@pytest.mark.parametrize(("changes", "said"), [
    ({"site": {"other_source": "none"}}, "other_source"), ({"balance": {"carry_over": True}}, "carry_over"),
    ({"life_cycle": {"objective": "life-cycle"}}, "life-cycle"), ({"reliability": {"loss_of_load_hours_max": 10}}, "reliability"),
    ({"rules": {"uncertainty": "requirement"}}, "uncertainty"), ({"generator": {"in_design": False, "required": True}}, "generator.required"),
])
def test_what_cannot_be_asked_together_is_said(station: Problem, changes: dict[str, dict[str, object]], said: str) -> None:
    data = station.model_dump(exclude_unset=True)
    for section, values in changes.items():
        data[section] = {**data.get(section, {}), **values}
    with pytest.raises(ValueError, match=said):
        Problem.model_validate(data)


def test_margins_and_orders_are_refused_with_a_sentence(station: Problem) -> None:
    catalog = load_catalog()
    answer = solve(station, catalog)
    with pytest.raises(WrongUse, match="margin"):
        solve(station, catalog, margin_share=0.1)
    with pytest.raises(WrongUse, match="--near"):
        near(station, catalog, answer.choice)
