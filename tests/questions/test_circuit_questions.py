"""Questions about circuits: how long the ways are, what may be lost on them, and why a cable or a device is not in the design."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import pairwise

import pytest
from wired import shipped, wired_case

from optimizer.answer import check, solve
from optimizer.errors import InputError
from optimizer.handover.questions_json import why_not_data
from optimizer.handover.questions_text import why_not_text
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.circuit_parts import Cable
from optimizer.inputs.problem_file import load_problem
from optimizer.needs.requirements import requirements, with_section
from optimizer.questions.cost_of import cost_of
from optimizer.questions.curve import axis_of, curve
from optimizer.questions.in_circuits import places_of, serving
from optimizer.questions.relax import relax
from optimizer.questions.why_not import why_not, with_price


@lru_cache(maxsize=4)
def site(name):
    return load_problem(shipped_folder("problems") / f"{name}.toml")


@lru_cache(maxsize=4)
def answer_of(name):
    return solve(site(name), shipped())


def ladders(problem):
    return {one.name: (one.looser, one.tighter) for one in requirements(problem, circuits=True) if one.name.startswith("wiring.")}


# --- requirements


def test_ladders_of_the_ways():
    # hand: half and a quarter of 80 m, twice; limits of 3, 1.5, 2, 3 % to 5 and 10, and half; no DC loads, so no DC branch
    assert ladders(site("workshop")) == {
        "wiring.array_run_m": ((40.0, 20.0), (160.0,)), "wiring.array_drop_pct": ((5.0, 10.0), (1.5,)), "wiring.charge_drop_pct": ((5.0, 10.0), (0.75,)),
        "wiring.inverter_drop_pct": ((5.0, 10.0), (1.0,)), "wiring.ac_drop_pct": ((5.0, 10.0), (1.5,)),
    }
    assert set(ladders(site("light_kit"))) == {"wiring.array_run_m", "wiring.array_drop_pct", "wiring.charge_drop_pct", "wiring.dc_drop_pct"}


def test_what_cannot_be_asked_is_not_offered():
    long = with_section(site("light_kit"), "wiring", array_run_m=400.0, array_drop_pct=10.0, dc_drop_pct=0.3)
    assert ladders(long)["wiring.array_run_m"] == ((200.0, 100.0), ())
    assert ladders(long)["wiring.array_drop_pct"] == ((), (5.0,))
    assert ladders(long)["wiring.dc_drop_pct"] == ((5.0, 10.0), ())
    assert ladders(with_section(long, "wiring", array_run_m=1.5))["wiring.array_run_m"] == ((), (3.0,))
    soft = long.model_copy(update={"rules": {"voltage-drop": "soft"}})
    assert set(ladders(soft)) == {"wiring.array_run_m"}
    assert not [one for one in requirements(long) if one.name.startswith("wiring.")]


def test_a_shorter_run_never_costs_more_and_a_closer_limit_never_less():
    problem, catalog = wired_case(8)
    found = cost_of(problem, catalog)
    base = found.base.report.bill.total_cents
    of_ways = {one.requirement.name: one for one in found.priced if one.requirement.name.startswith("wiring.")}
    assert {"wiring.array_run_m", "wiring.array_drop_pct"} <= set(of_ways)
    for name in ("wiring.array_run_m", "wiring.array_drop_pct"):
        assert of_ways[name].looser.cents <= base
        assert of_ways[name].tighter.cents is None or of_ways[name].tighter.cents >= base
    assert of_ways["wiring.array_run_m"].looser.cents < base, "half the cable"


def test_a_way_out_may_be_a_looser_limit_of_voltage_drop():
    # hand: 5 V x 2.4 A over 40 m: the thickest cable of the family loses more than 0.2 % of 5 V
    problem = with_section(site("light_kit"), "wiring", dc_run_m=40.0, dc_drop_pct=0.2)
    asked = tuple(one for one in requirements(problem, circuits=True) if one.name in ("wiring.dc_drop_pct", "wiring.array_run_m", "limits.budget"))
    found = relax(problem, shipped(), asked=asked, with_gaps=False)
    assert found.base.report is None
    assert "DC" in found.base.reason or "loads" in found.base.reason
    assert found.ways
    assert all("wiring.dc_drop_pct" in {one.requirement.name for one in way.loosen} for way in found.ways)
    assert ("wiring.dc_drop_pct",) in [tuple(one.name for one in group) for group in found.conflicts]


# --- the staircase over the run's length


def test_a_longer_run_never_costs_less():
    problem, catalog = wired_case(8)
    found = curve(problem, catalog, "length")
    assert (found.axis.low, found.axis.high, found.axis.exact) == (min(5.0, problem.wiring.array_run_m), max(100.0, 2 * problem.wiring.array_run_m), False)
    held = [step for step in found.steps if step.answer.report is not None]
    assert len(held) > 1
    costs = [cents for step in held for cents in (step.start_cents, step.end_cents)]
    assert costs == sorted(costs)
    for one, other in pairwise(found.steps):
        assert other.start - one.end == pytest.approx(1.0)
    for step in held:
        for value, cents in ((step.start, step.start_cents), (step.end, step.end_cents)):
            report = check(step.answer.choice, *found.axis.at(value))
            assert report.valid
            assert report.bill.total_cents == cents


def test_above_ten_metres_the_arrester_is_in_the_price():
    axis = axis_of(with_section(site("light_kit"), "limits", budget=None), shipped(), "length")
    near, far = (solve(*axis.at(value)).report for value in (10.0, 11.0))
    assert [[device.kind for circuit in report.circuits for device, _ in circuit.beside] for report in (near, far)] == [[], ["surge arrester"]]


def test_without_cables_the_length_is_no_axis():
    with pytest.raises(InputError, match="no cables"):
        axis_of(site("light_kit"), replace(shipped(), cables=(), protection=()), "length")


# --- why-not


@pytest.mark.parametrize("name", ["camper"])
def test_a_part_that_no_circuit_may_have_is_taken_at_no_price(name):
    """Each verdict against the check: at a hundredth of a cent's price a cable that may serve is laid, and one that may not is not."""
    problem, catalog, report = site(name), shipped(), answer_of(name).report
    seen = set()
    for part in (*catalog.cables, *catalog.protection):
        if serving(report, part):
            seen.add("chosen")
            continue
        places, none = places_of(report, catalog, part)
        serves = any(place.more_cents is not None for place in places)
        assert places or none
        assert all(place.more_cents is None or place.more_cents >= 0 for place in places), part.id
        assert all((place.broken is None and not place.forbids) == (place.more_cents is not None) for place in places), part.id
        if isinstance(part, Cable) and part.use == "array":
            continue  # the run's cable is named by the choice: the check takes that one, whatever another costs
        free = check(answer_of(name).choice, problem, with_price(catalog, part, 1))
        used = any(circuit.pieces[part.id] for circuit in free.circuits)
        if isinstance(part, Cable):
            assert used == serves, part.id
        elif used:  # a device may need so thick a cable that even for nothing it stays out
            assert serves, part.id
        seen.add(serves)
    assert seen == {"chosen", True, False}


@pytest.mark.parametrize("cable", ["CA-6mm2-T", "CA-16mm2-T"])
def test_another_cable_of_the_run_costs_what_the_check_says(cable):
    base = answer_of("workshop")
    found = why_not(site("workshop"), shipped(), cable)
    places, _ = places_of(base.report, shipped(), shipped().by_id[cable])
    assert len(places) == len(base.choice.charging) == 2
    for at, place in enumerate(places):
        charging = tuple(one.model_copy(update={"cable": cable}) if number == at else one for number, one in enumerate(base.choice.charging))
        report = check(base.choice.model_copy(update={"charging": charging}), site("workshop"), shipped())
        assert report.valid == (place.more_cents is not None)
        if report.valid:
            assert report.bill.total_cents - base.report.bill.total_cents == place.more_cents
    assert found.verdict == ("beaten" if any(place.more_cents is not None for place in places) else "screened out")
    data = why_not_data(found, {})
    assert data["cost_with"] == (None if found.more_cents is None else round((base.report.bill.total_cents + found.more_cents) / 100, 2))


@pytest.mark.parametrize(("name", "part", "verdict", "rule", "said"), [
    ("workshop", "CA-10AWG", "screened out", None, "IEC family"),
    ("year_round_home", "CA-10AWG", "chosen", None, "serves the array run circuit"),
    ("workshop", "CA-4mm2-T", "screened out", "voltage-drop", "at most 3 asked"),
    ("workshop", "PF-STRIP-200", "screened out", "interrupt-rating", "2,500 A, at least 13,500 asked"),  # three packs of 4,500 A
    ("workshop", "PB-AC400-32", "screened out", "device-rating", "32 A, at least 32.6087 asked"),  # 1.25 x 6,000 VA / 230 V
    ("workshop", "CA-16mm2-T", "beaten", None, "CA-10mm2-T costs"),
    ("workshop", "PF-BLADE-200", "beaten", None, "it may serve the inverter circuit"),
    ("workshop", "PF-STRING-20", "screened out", None, "no circuit of the cheapest design takes a string fuse"),
])
def test_a_part_of_a_circuit_is_answered_by_its_circuits(name, part, verdict, rule, said):
    found = why_not(site(name), shipped(), part)
    assert found.verdict == verdict
    assert (found.blocking.rule if found.blocking else None) == rule
    text = why_not_text(found)
    assert said in " ".join(text.split())
    assert "budget" not in text
    assert all(len(line) < 80 for line in text.splitlines())
    assert ("With it" in text) == (verdict == "beaten")


def test_no_budget_is_named_where_there_is_one():
    """The light kit has a budget; a cable of its array is answered by its circuit all the same."""
    found = why_not(site("light_kit"), shipped(), "CA-16mm2-T")
    assert site("light_kit").limits.budget is not None
    assert found.verdict == "beaten"
    assert "budget" not in why_not_text(found)


def test_an_impossible_problem_says_so():
    problem = with_section(site("light_kit"), "limits", budget=1.0)
    found = why_not(problem, shipped(), "CA-4mm2-T")
    assert found.verdict == "screened out"
    assert "no design at all" in found.reason


def test_the_price_of_a_cable_is_an_axis():
    problem, catalog = site("light_kit"), shipped()
    cable = catalog.by_id["CA-4mm2-T"]
    base = solve(problem, catalog).report
    dearer = solve(problem, with_price(catalog, cable, cable.price_cents * 10)).report
    assert serving(base, cable)
    assert not serving(dearer, cable)
    assert dearer.bill.total_cents > base.bill.total_cents
    assert not axis_of(problem, catalog, "price:CA-4mm2-T").exact
