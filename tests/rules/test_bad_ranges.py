"""Outside its range a rule raises a sentence with the value, the range and the source; it never clamps in silence."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from test_docstrings import rule_functions

from optimizer.errors import InputError, OutOfRange
from optimizer.rules import (
    array,
    bank,
    charging,
    earthing,
    generating,
    inverting,
    lifetime,
    money,
    mounting,
    protection,
    sunlight,
    wiring,
)
from optimizer.rules.validity import within

CURVE = {"isc_a": 5.86, "imp_a": 5.38, "vmp_v": 18.6, "voc_v": 22.3}

BAD: list[tuple[Callable[[], Any], list[str]]] = [
    # call, and what the sentence must say: value, range, source
    (lambda: array.cold_voc_v(38.7, -0.25, -61), ["-61 C", "-60 to 100 C", "common practice, no source"]),
    (lambda: array.cold_voc_factor(-41, [20, -40], [1.02, 1.25]), ["-41 C", "-40 C", "NEC Table 690.7(A)", "tc_voc_pct_k"]),
    (lambda: array.cell_c(35, 45, 1201), ["1201 W/m2", "0 to 1200 W/m2", "common practice, no source"]),
    (lambda: array.cell_c(35, 45, -1), ["-1 W/m2", "0 to 1200 W/m2"]),
    (lambda: array.voc_at_cell_v(40, -0.3, 101), ["101 C", "-60 to 100 C", "De Soto"]),
    (lambda: array.vmp_at_cell_v(32, -0.4, 0.05, 101), ["101 C", "-60 to 100 C", "De Soto"]),
    (lambda: array.current_at_cell_a(9, 0.05, -61), ["-61 C", "-60 to 100 C", "De Soto"]),
    (lambda: array.power_factor_at_cell(-0.4, np.array([25, 110])), ["110 C", "-60 to 100 C", "De Soto"]),
    (lambda: array.current_at_voltage_a(14, **{**CURVE, "imp_a": 5.86}), ["5.86 A", "Imp below Isc", "no source"]),
    (lambda: array.current_at_voltage_a(14, **{**CURVE, "vmp_v": 22.3}), ["22.3 V", "Vmp below Voc", "no source"]),
    (lambda: earthing.earth_by_device_mm2(900), ["900 A", "up to 800 A", "earth conductors"]),
    (lambda: bank.units_in_series(12, 0, 6), ["0 cells", "at least 1 cell", "no source"]),
    (lambda: bank.discharge_hours(3, -0.1), ["-0.1", "0 to 1.25", "definition"]),
    (lambda: bank.discharge_hours(-1, 0.5), ["-1 d", "0 d or more", "definition"]),
    (lambda: bank.capacity_at_hours_ah(-5, 171, 225, 250), ["-5 h", "0 h or more", "no source"]),
    (lambda: bank.cold_capacity_factor(-45, [-40, 25], [0.3, 1.0], "flooded"), ["-45", "-40 to 25 C", "flooded", "cold_capacity.csv"]),
    (lambda: bank.cold_capacity_factor(26, [-40, 25], [0.3, 1.0], "flooded"), ["26", "-40 to 25 C", "cold_capacity.csv"]),
    (lambda: bank.usable_storage_wh(100, 12, 1, 1.3, 0.5, 0.8), ["cold factor 1.3", "0 to 1.25", "no source"]),
    (lambda: bank.usable_storage_wh(100, 12, 1, 1.0, 50, 0.8), ["depth of discharge 50", "0 to 1", "no source"]),
    (lambda: bank.usable_storage_wh(100, 12, 1, 1.0, 0.5, 80), ["end-of-life share 80", "0 to 1", "no source"]),
    (lambda: bank.storage_needed_wh(1000, -1), ["-1 d", "0 d or more", "definition"]),
    (lambda: bank.self_discharge_wh_day(1000, 3, 61), ["61 C", "-60 to 60 C", "no source"]),
    (lambda: bank.idle_loss_share(-1, 3), ["-1 months", "0 months or more", "no source"]),
    (lambda: bank.throughput_efficiency(80, 0.5), ["battery efficiency 80", "0 to 1", "no source"]),
    (lambda: bank.throughput_efficiency(0.8, 1.5), ["share through the battery 1.5", "0 to 1", "no source"]),
    (lambda: charging.heat_and_height_factor(40, 40, 2.5, 5001), ["5001 m", "-500 to 5000 m", "no source"]),
    (lambda: inverting.idle_energy_wh(75, 30, 20, 5, 1), ["25 h/day", "0 to 24 h/day", "24 hours"]),
    (lambda: lifetime.cycle_life_years(900, 50, 1200, 200), ["depth of discharge 50", "0 to 1", "no source"]),
    (lambda: lifetime.cycle_life_years(900, 0.5, 1200, -1), ["-1 Wh/day", "0 Wh/day or more", "no source"]),
    (lambda: lifetime.calendar_life_years(6, 61), ["61 C", "-60 to 60 C", "no source"]),
    (lambda: lifetime.bank_life_years(-1, 6), ["-1 years", "0 years or more", "definition"]),
    (lambda: lifetime.replacement_years(0, 0, 15), ["life 0 years", "0.01 years or more", "definition"]),
    (lambda: lifetime.used_share(16, 4, 15), ["-1 years", "0 years or more", "definition"]),
    (lambda: lifetime.present_worth(5, -6), ["-6 %", "0 % or more", "compound interest"]),
    (lambda: money.cents(10_000_001), ["10000001", "0 to 10000000", "arithmetic"]),
    (lambda: money.cents(-0.01), ["-0.01", "0 to 10000000", "arithmetic"]),
    (lambda: money.share_of_cents(100, -5), ["-5 %", "0 % or more", "arithmetic"]),
    (lambda: mounting.roof_load_kn_m2(20, 2, 8, 2, 86, 1), ["tilt on a roof 86 deg", "0 to 85 deg", "no source"]),
    (lambda: protection.least_device_a(631, (500, 630)), ["631 A", "630 A", "standard_ratings.csv"]),
    (lambda: generating.generator_gives_va(5000, 5001, 20), ["elevation 5001", "-500 to 5000 m", "engines"]),
    (lambda: generating.generator_gives_va(5000, 0, 61), ["61 C", "-60 to 60 C", "engines"]),
    (lambda: generating.fuel_l_per_h(-1, 0.3, 0.4), ["-1 W", "0 W or more", "no source"]),
    (lambda: generating.uneven_share(0, 2), ["number 0 units", "1 units or more", "arithmetic"]),
    (lambda: generating.uneven_share(1, 4), ["legs 4", "1 to 3", "arithmetic"]),
    (lambda: lifetime.years_worth(10, -1), ["-1 %", "0 % or more", "compound interest"]),
    (lambda: lifetime.years_worth(-1, 5), ["-1 years", "0 years or more", "compound interest"]),
    (lambda: wiring.resistance_at_ohm_km(1.83, 151), ["151 C", "-60 to 150 C", "no source"]),
    (lambda: wiring.loss_share(3, 500), ["voltage drop 3", "0 to 1", "definition"]),
    (lambda: wiring.loss_share(0.03, 1201), ["1201 W/m2", "0 to 1200 W/m2", "no source"]),
    (lambda: wiring.least_area_cmil(20, 50, 0), ["0 V", "definition"]),
    (lambda: sunlight.effective_sun_h(4, 1.1), ["1.1", "0 to 1", "definition"]),
    (lambda: sunlight.declination_deg(367), ["367 of the year", "1 to 366", "definition"]),
    (lambda: sunlight.sunset_hour_angle_deg(-91, 0), ["-91 deg", "-90 to 90 deg", "definition"]),
    (lambda: sunlight.diffuse_share(np.array([0.5, 0.29]), 90), ["0.29", "0.3 to 0.8", "Erbs, Klein & Duffie 1982"]),
    (lambda: sunlight.diffuse_share(0.81, 90), ["0.81", "0.3 to 0.8", "Erbs, Klein & Duffie 1982"]),
    (lambda: sunlight.noon_height_deg(91, 0), ["91 deg", "-90 to 90 deg", "definition"]),
    (lambda: sunlight.monthly_mean_sun_h([0.02] + [0.0] * 11, 68, 80, 180, 0.2), ["noon 1.083", "6 to 90 deg", "docs/sunlight.md"]),
    (lambda: sunlight.beam_ratio(40, 0, 91, 180), ["91 deg", "0 to 90 deg", "definition"]),
    (lambda: sunlight.isotropic_plane_kwh_m2(5, 0.4, 1, 30, 1.2), ["albedo 1.2", "0 to 1", "definition"]),
    (lambda: sunlight.isotropic_plane_kwh_m2(5, 1.4, 1, 30, 0.2), ["diffuse share 1.4", "0 to 1", "definition"]),
]


def called_rule(call: Callable[[], Any]) -> str:
    return next(name for name in reversed(call.__code__.co_names) if callable_named(name))


def callable_named(name: str) -> bool:
    return any(function.__name__ == name for function in rule_functions())


@pytest.mark.parametrize(("call", "words"), BAD, ids=[f"{called_rule(call)}-{words[0]}" for call, words in BAD])
def test_bad_range_is_named(call: Callable[[], Any], words: list[str]) -> None:
    with pytest.raises(OutOfRange) as caught:
        call()
    sentence = str(caught.value)
    for word in words:
        assert word in sentence, sentence
    assert isinstance(caught.value, InputError)
    assert caught.value.exit_code == 3


def test_every_rule_that_can_raise_is_listed() -> None:
    raising = set()
    for function in rule_functions():
        called = {
            node.func.id for node in ast.walk(ast.parse(inspect.getsource(function)))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
        }
        if called & {"within", "OutOfRange"}:
            raising.add(function.__name__)
    assert raising == {called_rule(call) for call, _ in BAD}


# --- the ends of a range are inside it, and an unknown value is not called wrong


def test_ends_of_the_range_are_inside() -> None:
    assert array.voc_at_cell_v(40, -0.3, 100) == pytest.approx(31.0)  # hand: 40 x (1 - 0.003 x 75)
    assert array.cold_voc_v(40, -0.3, -60) == pytest.approx(50.2)  # hand: 40 x (1 + 0.003 x 85)
    assert array.cell_c(20, 45, 1200) == pytest.approx(57.5)  # hand: 20 + 25 / 800 x 1,200
    assert sunlight.effective_sun_h(4, 0) == 0.0
    assert inverting.idle_energy_wh(10, 1, 20, 4, 1) == 204.0  # hand
    assert bank.cold_capacity_factor(-40, [-40, 25], [0.3, 1.0], "flooded") == 0.3


@pytest.mark.parametrize(
    ("value", "low", "high", "sentence"),
    [
        (-1, 0, 5, "x -1 W is outside the rule's range, 0 to 5 W (somewhere)"),
        (6, 0, 5, "x 6 W is outside the rule's range, 0 to 5 W (somewhere)"),
        ([1, 7, 9], 0, 5, "x 7 W is outside the rule's range, 0 to 5 W (somewhere)"),
        (-1, 0, np.inf, "x -1 W is outside the rule's range, 0 W or more (somewhere)"),
        (6, -np.inf, 5, "x 6 W is outside the rule's range, 5 W at most (somewhere)"),
    ],
)
def test_sentence_of_a_range(value: Any, low: float, high: float, sentence: str) -> None:
    with pytest.raises(OutOfRange) as caught:
        within(value, low, high, "x", "W", "somewhere")
    assert str(caught.value) == sentence


def test_unknown_value_passes_a_range_and_stays_unknown() -> None:
    answers = array.voc_at_cell_v(np.array([40.0, np.nan]), -0.3, np.array([25.0, np.nan]))
    assert answers[0] == 40.0
    assert np.isnan(answers[1])
