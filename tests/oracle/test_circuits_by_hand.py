"""Circuits worked by hand: each expected figure is written out beside its check, so that a reader can follow it."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from cases import inverter, lithium_battery
from wired import shipped

from optimizer.answer import Outcome, solve
from optimizer.circuits.circuit import Ask, Circuit
from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, Design, InverterBank
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.circuit_parts import Protection
from optimizer.inputs.problem import Problem
from optimizer.inputs.problem_file import load_problem
from optimizer.needs.site import Needs
from optimizer.proof.check import Report, check_design
from optimizer.proof.circuits import circuit_lines
from optimizer.proof.lines import Line
from optimizer.questions.gaps import FIELDS, gaps
from optimizer.questions.opening import Opening


def problem_of(family: str = "NEC", dc_w: float = 24.0, **ways: Any) -> Problem:
    """A site at 30 C everywhere, where ambient factors are 1, with DC loads of 12 V and a motor."""
    return Problem.model_validate({
        "name": "by hand", "site": {"ac": "120 V 60 Hz"}, "array": {"sun_h": [5.0] * 12},
        "temperatures": {
            "lowest_c": 0.0, "hottest_c": 30.0, "air_c": [20.0] * 12, "battery_c": [20.0] * 12, "battery_lowest_c": 20.0, "electronics_highest_c": 30.0,
        },
        "autonomy": {"days": 1.0}, "wiring": {"family": family, "conductors_together": 2, **ways},
        "loads": [
            {"item": "lamps", "watts": dc_w, "supply": "DC", "volts": 12, "hours": {"all": 1.0}},
            {"item": "saw", "watts": 1500, "supply": "AC", "volts": 120, "hours": {"all": 0.5}},
        ],
    })


def fuse(amps: float, interrupt_a: float = 20_000, price: float | None = None, kind: str = "fuse") -> Protection:
    """A fuse; the larger, the dearer, so that the smallest that serves is taken."""
    return Protection.model_validate({
        "id": f"F-{kind.replace(' ', '-')}-{amps:g}-{interrupt_a:g}", "kind": kind, "rated_a": amps, "dc_v_max": 500, "interrupt_a": interrupt_a, "load_break": False,
        "polarised": False, "weight_kg": 0.1, "price": 5 + amps / 100 if price is None else price,
    })


def with_fuses(*fuses: Protection) -> Catalog:
    """The shipped catalog with other fuses between battery, inverter and controller, and for strings; switches stay."""
    rest = tuple(one for one in shipped().protection if one.kind not in ("fuse", "breaker", "string fuse"))
    return replace(shipped(), protection=(*fuses, *rest))


def every_size(family: str, interrupt_a: float = 20_000) -> Catalog:
    """One fuse of each standard rating of a family."""
    ratings = shipped().tables.standard_ratings(family)
    strings = [fuse(amps, kind="string fuse") for amps in ratings if 10 <= amps <= 40]
    return with_fuses(*(fuse(amps, interrupt_a) for amps in ratings if amps <= 800), *strings)


def sized(problem: Problem, catalog: Catalog) -> Wiring:
    return Wiring(Needs(problem), catalog, lambda part: part.price_cents)


def bank_of(catalog: Catalog, series: int = 1, strings: int = 1) -> Bank:
    """12.8 V units of 100 Ah, 3,500 A in a dead short each."""
    unit = lithium_battery("B-LFP-100", 4, 100, 245)
    return Bank(unit, catalog.chemistry(unit), 12 * series, series, strings)


def lines_of(report: Report, circuit: str) -> dict[str, Line]:
    return {line.rule: line for line in report.lines if line.where.startswith(circuit)}


# --- current of an inverter's circuit


@pytest.mark.parametrize(("series", "drawn_a", "device_a"), [
    # hand: 2,000 W / 0.90 / 10.5, 21, 42 V; times 1.25: 264.6, 132.3, 66.1 A; next of NFPA 70 (NEC) 240.6(A): 300, 150, 70 A
    (1, 211.64, 300), (2, 105.82, 150), (4, 52.91, 70),
])
def test_a_2000_w_inverter_asks_for_half_the_device_at_twice_the_volts(series: int, drawn_a: float, device_a: float) -> None:
    catalog = every_size("NEC")
    model = inverter("I-2000", 12 * series, "120", 2000, 300, efficiency=0.90)
    circuit, _ = sized(problem_of(), catalog).inverter_circuits(bank_of(catalog, series), InverterBank(model, 1))
    assert circuit.ask.steady_a == pytest.approx(drawn_a, abs=0.01)
    assert circuit.device is not None
    assert circuit.device.rated_a == device_a


# --- fuses of strings


def strings_of(catalog: Catalog, strings: int) -> Design:
    """Strings of one module of 430 W, Isc 13.95 A, that stands 25 A back, on a 12 V bank."""
    module = catalog.by_id["PV-430-108H"]
    assert (module.isc_a, module.max_series_fuse_a) == (13.95, 25)
    controller = next(one for one in catalog.controllers if one.kind == "mppt" and 12 in one.bank_v)
    return Design(bank_of(catalog), (Block(controller, module, 1, strings),), InverterBank(None))


@pytest.mark.parametrize("family", ["NEC", "IEC"])
def test_a_string_of_13_95_a_takes_a_fuse_of_25_a(family: str) -> None:
    # hand, NEC 690.8: 1.5625 x 13.95 = 21.80 A, so 25 of 15 20 25 30. IEC 62548 (second-hand): 1.5 x 13.95 = 20.93 A, at
    # most 2.4 x 13.95 = 33.5 A and the module's 25 A: of 20, 25 and 32 only 25.
    problem, catalog = problem_of(family), every_size(family)
    design = strings_of(catalog, 3)
    circuit = sized(problem, catalog).block_circuits(design.bank, design.blocks[0])[0]
    assert circuit.device is not None
    assert circuit.device.rated_a == 25


@pytest.mark.parametrize(("strings", "back_a", "fused"), [
    # hand: (n - 1) x 1.25 x 13.95 = 17.4 A for two and 34.9 A for three, against the 25 A that a module stands
    (1, 0.0, False), (2, 17.44, False), (3, 34.88, True),
])
def test_three_strings_need_fuses_two_do_not(strings: int, back_a: float, fused: bool) -> None:
    assert (back_a > 25) is fused
    problem, catalog = problem_of(), every_size("NEC")
    report = check_design(strings_of(catalog, strings), Needs(problem), catalog)
    of_strings = [circuit for circuit in report.circuits if circuit.ask.kind == "array string"]
    assert len(of_strings) == (strings > 1)
    for circuit in of_strings:
        assert (circuit.device is not None) is fused
        assert circuit.ask.count == strings
    assert ("string-fuse" in lines_of(report, "array string circuit")) is fused


@pytest.mark.parametrize(("amps", "broken"), [(20, "device-rating"), (25, None), (30, "string-fuse")])
def test_the_check_says_what_is_wrong_with_another_string_fuse(amps: float, broken: str | None) -> None:
    # hand: at least 21.80 A, at most the module's 25 A; 10 AWG may have up to 30 A before it, 240.4(D)
    problem, catalog = problem_of(), every_size("NEC")
    wiring, design = sized(problem, catalog), strings_of(catalog, 3)
    circuit = replace(wiring.block_circuits(design.bank, design.blocks[0])[0], device=fuse(amps, kind="string fuse"))
    lines = circuit_lines(wiring.needs, catalog.tables, (circuit,), wiring)
    assert [line.rule for line in lines if line.fails] == ([broken] if broken else [])


# --- voltage drop


@pytest.mark.parametrize(("family", "cable", "drop_pct"), [
    # hand, NFPA 70 (NEC) Chapter 9 Table 8: 10 AWG 1.24 ohm/1000 ft at 75 C = 4.068 ohm/km; 2 x 20 m x 10 A: 1.627 V of 48 V
    ("NEC", "CB-10AWG", 3.390),
    # hand, IEC 60228 class 5 tinned (second-hand): 6 mm2 3.39 ohm/km at 20 C, x (1 + 0.00393 x 55) = 4.123 at 75 C; 1.649 V
    ("IEC", "CB-6mm2", 3.435),
])
def test_the_drop_of_a_known_cable_over_a_known_length(family: str, cable: str, drop_pct: float) -> None:
    catalog = every_size(family)
    wiring = sized(problem_of(family), catalog)
    ask = Ask("charge", "", 20.0, 2, 10.0, 58.0, 3500.0, 30.0, 10.0, 48.0, 3.4)
    lines = circuit_lines(wiring.needs, catalog.tables, (Circuit(ask, catalog.by_id[cable], fuse(15)),), wiring)
    line = next(one for one in lines if one.rule == "voltage-drop")
    assert line.actual == pytest.approx(drop_pct, abs=0.002)
    assert line.passed is (drop_pct <= 3.4)


def test_the_published_wire_example_takes_4_awg() -> None:
    """12 V, 20 A, 25 ft one way, 3 %: 29,861 circular mils, so 4 AWG (41,740), since 6 AWG has 26,240 (wire example, read)."""
    catalog = every_size("NEC")
    wiring = sized(problem_of(dc_w=240.0, dc_run_m=7.62, dc_drop_pct=3.0), catalog)
    (branch,) = wiring.dc_circuits(bank_of(catalog), ())
    assert branch.ask.steady_a == pytest.approx(20.0)
    assert branch.cable is not None
    assert branch.cable.size == "4 AWG"
    # hand: 0.308 ohm/1000 ft at 75 C x 50 ft x 20 A = 0.308 V; with 6 AWG 0.491 V, above 0.36 V
    assert branch.drop_v(catalog.tables) == pytest.approx(0.308, abs=0.001)


# --- the next standard size


@pytest.mark.parametrize(("family", "size", "device_a"), [
    # hand, NEC: 1.25 x 66 = 82.5 A; 4 AWG carries 85 A at 75 C; 90 A is the next rating above 85 A and may stand before it, 240.4(B)
    ("NEC", "4 AWG", 90),
    # hand, IEC: 25 mm2 carries 90 A (at 70 C), enough for 82.5 A; but of 80 and 100 A only 100 A serves, above 90 A: so 35 mm2
    ("IEC", "35 mm2", 100),
])
def test_the_next_standard_size_is_of_one_family_only(family: str, size: str, device_a: float) -> None:
    catalog = every_size(family)
    wiring = sized(problem_of(family), catalog)
    ask = Ask("inverter", "", 1.0, 2, 66.0, 30.0, 3500.0, 30.0, 66.0, 25.6, 2.0)
    fit = wiring.fit_of(wiring.inverting, ask)
    cable, device = wiring.inverting.cables[int(fit.cable[0])], wiring.inverting.devices[int(fit.device[0])]
    assert (cable.size, device.rated_a) == (size, device_a)


@pytest.mark.parametrize(("family", "cable", "amps", "holds"), [
    ("NEC", "CB-4AWG", 90, True), ("NEC", "CB-4AWG", 100, False), ("IEC", "CB-25mm2", 80, True), ("IEC", "CB-25mm2", 100, False),
    ("NEC", "CW-12AWG", 20, True), ("NEC", "CW-12AWG", 25, False),  # NEC 240.4(D): 20 A before 12 AWG, though it carries 25 A
])
def test_the_check_knows_the_largest_device_before_a_conductor(family: str, cable: str, amps: float, holds: bool) -> None:
    catalog = every_size(family)
    wiring = sized(problem_of(family), catalog)
    ask = Ask("DC branch", "12 V loads", 1.0, 2, 10.0, 30.0, 3500.0, 30.0, 10.0, 25.6, 2.0)
    lines = circuit_lines(wiring.needs, catalog.tables, (Circuit(ask, catalog.by_id[cable], fuse(amps)),), wiring)
    assert next(line.passed for line in lines if line.rule == "device-protects") is holds


# --- fault current


@pytest.mark.parametrize(("strings", "fault_a", "interrupt_a"), [
    # hand: 3,500 A for each string: 7,000 A are below 10 kA, 10,500 A are not
    (1, 3_500, 10_000), (2, 7_000, 10_000), (3, 10_500, 20_000),
])
def test_every_string_adds_its_fault_current(strings: int, fault_a: float, interrupt_a: float) -> None:
    catalog = with_fuses(*(fuse(300, interrupt, price) for interrupt, price in ((10_000, 20), (20_000, 40))))
    model = inverter("I-2000", 12, "120", 2000, 300, efficiency=0.90)
    circuit, _ = sized(problem_of(), catalog).inverter_circuits(bank_of(catalog, 1, strings), InverterBank(model, 1))
    assert circuit.ask.fault_a == fault_a
    assert circuit.device is not None
    assert circuit.device.interrupt_a == interrupt_a


def test_the_check_refuses_a_device_that_cannot_break_the_fault() -> None:
    catalog = every_size("NEC", interrupt_a=10_000)
    bank = bank_of(catalog, 1, 3)
    problem = problem_of()
    model = inverter("I-2000", 12, "120", 2000, 300, efficiency=0.90)
    wiring = sized(problem, catalog)
    circuit, _ = wiring.inverter_circuits(bank, InverterBank(model, 1))
    assert not circuit.complete
    (line,) = [one for one in circuit_lines(wiring.needs, catalog.tables, (circuit,), wiring) if one.rule == "circuit-parts"]
    assert line.fails
    assert "10,500 A to break" in line.where
    given = replace(circuit, cable=catalog.by_id["CB-2x1/0AWG"], device=fuse(300, 10_000))
    broken = [(one.rule, one.actual, one.required) for one in circuit_lines(wiring.needs, catalog.tables, (given,), wiring) if one.fails]
    assert broken == [("interrupt-rating", 10_000, 10_500)]


# --- a gap of the catalog


def small_shop() -> tuple[Problem, Catalog]:
    """A 12 V bank with an inverter of 2,000 W and every size of fuse."""
    catalog = replace(
        every_size("NEC"), batteries=(lithium_battery("B-LFP-100", 4, 100, 245),), controllers=(shipped().by_id["CM-A40-V110"],),
        inverters=(inverter("I-2000", 12, "120", 2000, 300, efficiency=0.90),), modules=(shipped().by_id["PV-430-108H"],), converters=(), kits=(),
    )
    problem = problem_of()
    return problem.model_copy(update={"bank": problem.bank.model_copy(update={"volts": (12,)})}), catalog


def with_weak_fuses(catalog: Catalog) -> Catalog:
    return replace(catalog, protection=tuple(
        one.model_copy(update={"interrupt_a": 3_000.0}) if one.kind == "fuse" and (one.rated_a or 0) >= 200 else one for one in catalog.protection
    ))


def test_a_circuit_without_a_part_is_reported_with_its_figures() -> None:
    """No large fuse breaks what the bank can drive: there is no design, and the answer says what a part would have to stand."""
    problem, catalog = small_shop()
    good = solve(problem, catalog)
    assert good.report is not None, good.reason
    answer = solve(problem, with_weak_fuses(catalog))
    assert answer.outcome is Outcome.INFEASIBLE
    (row,) = [one for one in answer.screening if one.rule == "circuit-parts" and not one.left]
    # hand: 2,000 W / 0.90 / 10.5 V = 211.6 A; 4 cells x 3.55 V = 14.2 V; 3,500 A a string
    assert re.search(r"to an inverter: 211\.6 A for hours, 14\.2 V, (3,500|7,000|10,500) A to break", row.example), row.example
    assert row.example in answer.reason


def test_the_gap_that_relax_names_is_the_fault_current() -> None:
    problem, catalog = small_shop()
    weak = with_weak_fuses(catalog)
    good = solve(problem, catalog).report
    assert good is not None
    opening = Opening()
    asked = [one for one in FIELDS if one.kind == "protection"]
    found = {gap.field.name: gap for gap in gaps(problem, weak, opening) if gap.field in asked}
    assert set(found) == {"interrupt_a"}
    # hand: 3,500 A for each string; the least that opens it is what one of the possible banks drives, found to 1 %
    least = min(abs(found["interrupt_a"].needed / (3_500 * strings) - 1) for strings in (1, 2, 3))
    assert least <= 0.01
    assert found["interrupt_a"].sufficient


# --- terminals


def switch(mm2: float, price: float) -> Protection:
    return Protection.model_validate({
        "id": f"S-{mm2:g}", "kind": "array switch", "rated_a": 32, "dc_v_max": 150, "load_break": True, "polarised": False, "terminal_mm2_max": mm2,
        "weight_kg": 0.2, "price": price,
    })


@pytest.mark.parametrize(("cable", "taken"), [
    # hand: 10 AWG has 5.26 mm2 and goes into terminals for 6 mm2; 8 AWG has 8.37 mm2 and does not
    ("CA-10AWG", "S-6"), ("CA-8AWG", "S-16"),
])
def test_a_thicker_run_takes_the_switch_that_it_goes_into(cable: str, taken: str) -> None:
    catalog = every_size("NEC")
    rest = tuple(one for one in catalog.protection if one.kind != "array switch")
    catalog = replace(catalog, protection=(*rest, switch(6, 10), switch(16, 20)))
    problem = problem_of(array_run_m=5.0)
    design = strings_of(catalog, 1)
    design = replace(design, blocks=(replace(design.blocks[0], cable=catalog.by_id[cable]),))
    wiring = sized(problem, catalog)
    (run,) = [one for one in wiring.block_circuits(design.bank, design.blocks[0]) if one.ask.kind == "array run"]
    assert run.device is not None
    assert run.device.id == taken
    small = replace(run, device=switch(6, 10))
    lines = circuit_lines(wiring.needs, catalog.tables, (small,), wiring)
    assert [line.rule for line in lines if line.fails] == ([] if taken == "S-6" else ["terminal-size"])


def test_every_run_of_the_shipped_camper_goes_into_its_switch() -> None:
    """Its small switches have terminals for 6 mm2: 8 AWG, 8.37 mm2, would not go in."""
    answer = solve(load_problem(shipped_folder("problems") / "camper.toml"), shipped())
    assert answer.report is not None
    runs = [one for one in answer.report.circuits if one.ask.kind == "array run"]
    assert len(runs) == 2
    for run in runs:
        assert run.cable is not None
        assert run.device is not None
        assert run.device.terminal_mm2_max is not None
        assert shipped().tables.conductors[run.cable.family, run.cable.size].area_mm2 <= run.device.terminal_mm2_max
