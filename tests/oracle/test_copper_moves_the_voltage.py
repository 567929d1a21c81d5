"""Copper decides the bank voltage: with a longer way or more power the cheapest design goes from 12 to 24 and 48 V.

Shipped catalog, a site of our own. The rule of thumb behind it (common practice, no source): copper for one loss goes with
the square of power times length over voltage, so the voltage rises with both.
"""

from __future__ import annotations

import re
from functools import lru_cache

import pytest
from wired import shipped

from optimizer.answer import Answer, solve
from optimizer.bill import PriceList
from optimizer.handover.terminal import solve_text
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section


def site(watts: float, inverter_run_m: float) -> Problem:
    """One machine of 120 V, an hour a day, in a hut with the battery at one end."""
    return Problem.model_validate({
        "name": "copper", "site": {"ac": "120 V 60 Hz"}, "array": {"sun_h": [4.5] * 12},
        "temperatures": {
            "lowest_c": -5.0, "hottest_c": 32.0, "air_c": [15.0] * 12, "battery_c": [18.0] * 12, "battery_lowest_c": 12.0, "electronics_highest_c": 30.0,
        },
        "autonomy": {"days": 1.0}, "wiring": {"inverter_run_m": inverter_run_m}, "inverter": {"on": "when used"},
        "loads": [{"item": "machine", "watts": watts, "supply": "AC", "volts": 120, "hours": {"all": 1.0}, "night_share": 0.2}],
    })


@lru_cache(maxsize=32)
def cheapest(watts: float, run_m: float, volts: int | None = None) -> Answer:
    problem = site(watts, run_m)
    return solve(problem if volts is None else with_section(problem, "bank", volts=(volts,)), shipped())


def volts(answer: Answer) -> int:
    assert answer.report is not None, answer.reason
    return answer.report.design.bank.volts


def total(answer: Answer) -> int:
    assert answer.report is not None, answer.reason
    return answer.report.bill.total_cents


def circuits_cents(answer: Answer) -> int:
    assert answer.report is not None, answer.reason
    return PriceList(answer.problem, answer.catalog).wiring.cents(answer.report.design)


def test_a_longer_way_moves_a_small_machine_to_24_v() -> None:
    assert [volts(cheapest(600.0, run_m)) for run_m in (1.0, 8.0, 12.0, 16.0)] == [12, 12, 24, 24]


def test_more_power_moves_the_same_hut_to_24_and_48_v() -> None:
    assert [volts(cheapest(watts, 2.0)) for watts in (600.0, 1000.0, 2000.0, 3000.0)] == [12, 24, 24, 48]


def test_it_is_the_copper_that_moves_it() -> None:
    """All but the circuits costs the same at either length, so without them 12 V would stay the cheapest."""
    near, far = (cheapest(600.0, run_m, 12) for run_m in (1.0, 16.0))
    near_24, far_24 = (cheapest(600.0, run_m, 24) for run_m in (1.0, 16.0))
    assert total(near) < total(near_24)
    assert total(far) > total(far_24)
    assert total(far) - circuits_cents(far) < total(far_24) - circuits_cents(far_24)
    assert total(near) - circuits_cents(near) == total(far) - circuits_cents(far)
    assert circuits_cents(far) - circuits_cents(near) > circuits_cents(far_24) - circuits_cents(near_24)


@pytest.mark.parametrize(("watts", "run_m", "rule"), [
    (600.0, 12.0, "voltage-drop"), (600.0, 16.0, "voltage-drop"), (1000.0, 2.0, "device-rating"), (2000.0, 2.0, "device-protects"),
    (3000.0, 2.0, "device-protects"),
])
def test_rules_that_bind_name_the_circuit(watts: float, run_m: float, rule: str) -> None:
    report = cheapest(watts, run_m).report
    assert report is not None
    near = {line.rule for line in report.lines if line.where.startswith("inverter circuit") and line.margin_share is not None and line.margin_share < 0.05}
    assert rule in near
    text = " ".join(solve_text(cheapest(watts, run_m)).split("Rules that bind")[1].split("Cautions")[0].split())
    assert re.search(r"\((inverter|AC output|battery string) circuit, ", text), text
