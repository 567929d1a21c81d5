"""The pair of busbars of a bank: worked by hand on the shipped catalog, and program against enumeration with few bars."""

from __future__ import annotations

from dataclasses import replace

import pytest
from enumerate import best_choice
from wired import shipped, wired_case

from optimizer import check, load_problem
from optimizer.answer import solve
from optimizer.design import choice_of
from optimizer.handover.schedules import schedules_data
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.circuit_parts import Busbar
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section
from optimizer.questions.why_not import why_not


@pytest.fixture(scope="module")
def home() -> Problem:
    return load_problem(shipped_folder("problems") / "year_round_home.toml")


def bar(part_id: str, rated_a: float, ways: int, price: float, volts: float = 60) -> Busbar:
    return Busbar(id=part_id, price=price, weight_kg=1, rated_a=rated_a, ways=ways, dc_v_max=volts)


def test_the_pair_carries_loads_and_charge_and_has_its_ways(home: Problem) -> None:
    report = solve(home, shipped()).report
    (row,) = schedules_data(report)["busbars"]
    design = report.design
    inverter, battery = design.inverters.inverter, design.bank.battery
    # hand: an inverter of 12,000 W at 42 V through 0.935 draws 305.6 A; three packs of 140 A take 420 A.
    loads = design.inverters.count * inverter.cont_w / (inverter.efficiency * inverter.dc_low_cut_v)
    charge = battery.charge_max_a * design.bank.strings
    assert row["carries_a"] == pytest.approx(max(loads, charge))
    assert row["conductors"] == design.bank.strings + design.inverters.count + home.bounds.controllers
    line = next(line for line in report.bill.lines if line.part == row["part"])
    assert (line.quantity, line.unit_cents) == (2, 8200)
    rules = {one.rule: one for one in report.lines if one.rule.startswith("busbar-")}
    assert set(rules) == {"busbar-rating", "busbar-ways", "busbar-voltage"}
    assert rules["busbar-rating"].required == pytest.approx(max(loads, report.whole.charge_a("high_a")))
    able = [one for one in shipped().busbars if one.rated_a >= row["carries_a"] and one.ways >= row["conductors"] and one.dc_v_max >= row["voltage_v"]]
    assert row["part"] == min(able, key=lambda one: one.price).id


def test_fewer_controllers_at_most_take_fewer_ways(home: Problem) -> None:
    few = [bar("SMALL", 600, 8, 10), bar("LARGE", 600, 12, 500)]
    catalog = replace(shipped(), busbars=tuple(few))
    parts = [{line.part for line in solve(with_section(home, "bounds", controllers=n), catalog).report.bill.lines} for n in (6, 3)]
    assert ["LARGE" in parts[0], "SMALL" in parts[1]] == [True, True]


def test_where_no_bar_serves_the_answer_says_which_would(home: Problem) -> None:
    catalog = replace(shipped(), busbars=(bar("TINY", 5, 20, 10),))
    answer = solve(home, catalog)
    assert answer.report is None
    said = next(row for row in answer.screening if row.rule == "circuit-parts")
    assert "a pair of busbars" in said.example
    assert " A, " in said.example


def test_a_kit_on_load_terminals_has_no_busbars_and_a_catalog_may_have_none(home: Problem) -> None:
    kit = load_problem(shipped_folder("problems") / "light_kit.toml")
    assert schedules_data(solve(kit, shipped()).report)["busbars"] == []
    bare = solve(home, replace(shipped(), busbars=())).report
    with_bars = solve(home, shipped()).report
    assert schedules_data(bare)["busbars"] == []
    assert with_bars.bill.total_cents - bare.bill.total_cents == 2 * 8200


def test_the_check_holds_a_bar_against_the_circuits_of_the_design(home: Problem) -> None:
    """More controllers than the problem allows are soft: their conductors still ask for a way."""
    answer = solve(home, shipped())
    data = choice_of(answer.report.design).model_dump()
    data["charging"] = [{**data["charging"][0], "controller": "CM-A60-V150", "count": 12, "series": 1, "strings": 1, "module": "PV-100-36", "cable": None}]
    broken = {line.rule for line in check(data, home, shipped()).failures}
    assert "busbar-ways" in broken


def test_why_not_another_bar(home: Problem) -> None:
    found = why_not(home, shipped(), "BB-400-18")
    assert (found.verdict, found.blocking.rule) == ("screened out", "busbar-rating")
    found = why_not(home, shipped(), "BB-1000-18")
    assert (found.verdict, found.more_cents) == ("beaten", 2 * (16500 - 8200))


SEEDS = (2, 5, 7, 10, 11, 15, 104, 142)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_finds_the_cheapest_among_few_bars(seed: int) -> None:
    problem, catalog = wired_case(seed)
    bars = (bar("B-1", 90, 10, 9.0), bar("B-2", 180, 14, 60.0), bar("B-3", 900, 30, 400.0, 100), bar("B-X", 900, 30, 1.0, 10))
    catalog = replace(catalog, busbars=bars)
    best, answer = best_choice(problem, catalog), solve(problem, catalog)
    assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, answer.reason
