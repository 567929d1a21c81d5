"""Rules of batteries and of what is drawn from them against published tables and hand-worked values. Marks as in test_published.py."""

from __future__ import annotations

import numpy as np
import pytest
from test_published import TABLES, column, published, rows

from optimizer.rules import bank, charging, inverting


def chemistry_table(chemistry: str) -> tuple[np.ndarray, np.ndarray]:
    table = [row for row in rows(TABLES / "cold_capacity.csv") if row["chemistry"] == chemistry]
    return column(table, "temperature_c"), column(table, "share")


def fahrenheit_c(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


# --- battery: published


def test_lead_acid_in_the_cold() -> None:
    # published: multipliers on ampere-hours, second-hand. Capacity is their reciprocal.
    table = published("lead_acid_cold_multiplier.csv")
    temperatures, shares = column(table, "temperature_c")[::-1], 1 / column(table, "multiplier")[::-1]
    for row in table:
        share = bank.cold_capacity_factor(float(row["temperature_c"]), temperatures, shares, "published")
        assert 1 / share == pytest.approx(float(row["multiplier"]))
        assert fahrenheit_c(float(row["temperature_f"])) == pytest.approx(float(row["temperature_c"]), abs=0.06)
    # hand: half-way between 40 and 50 F: (1 / 1.30 + 1 / 1.19) / 2 = 0.8048.
    assert bank.cold_capacity_factor(7.2, temperatures, shares, "published") == pytest.approx(0.8048, abs=1e-4)


def test_our_flooded_table_against_the_published_multipliers() -> None:
    # published: the same table, second-hand; ours must say the same to 0.5 %.
    ours = chemistry_table("flooded")
    for row in published("lead_acid_cold_multiplier.csv"):
        share = bank.cold_capacity_factor(fahrenheit_c(float(row["temperature_f"])), *ours, "flooded")
        assert share * float(row["multiplier"]) == pytest.approx(1.0, abs=0.005), row["temperature_f"]


def test_our_flooded_table_against_a_second_set_of_multipliers() -> None:
    # published: IEEE Std 485, Table 1, from memory: no promise rests on it. It starts at 77 F where ours is
    # not yet full; 30 F is 1.43 there, 1.40 here.
    ours = chemistry_table("flooded")
    for row in published("ieee_485_cold_multiplier.csv"):
        share = bank.cold_capacity_factor(fahrenheit_c(float(row["temperature_f"])), *ours, "flooded")
        assert share * float(row["multiplier"]) == pytest.approx(1.0, abs=0.03), row["temperature_f"]


def test_bank_grows_by_half_below_freezing() -> None:
    # common practice, no source: "below freezing, a bank more than half as large again"; the table gets
    # there at about -5 C.
    ours = chemistry_table("flooded")
    assert 1 / bank.cold_capacity_factor(-5.0, *ours, "flooded") == pytest.approx(1.5, abs=0.05)


def test_lead_acid_tables_lie_in_the_common_bands() -> None:
    # common practice, no source: bands that published tables span (they disagree by ten points); within 0.02.
    bands = {25.0: (1.0, 1.0), 20.0: (0.94, 0.97), 10.0: (0.84, 0.90), 0.0: (0.71, 0.84), -10.0: (0.55, 0.70), -20.0: (0.45, 0.55)}
    for chemistry in ("flooded", "agm", "gel", "tubular gel"):
        for temperature_c, (low, high) in bands.items():
            share = bank.cold_capacity_factor(temperature_c, *chemistry_table(chemistry), chemistry)
            assert low - 0.02 <= share <= high + 0.02, (chemistry, temperature_c)
    for temperature_c, (low, high) in {0.0: (0.88, 0.92), -10.0: (0.75, 0.82), -20.0: (0.6, 0.7)}.items():
        assert low <= bank.cold_capacity_factor(temperature_c, *chemistry_table("lfp"), "lfp") <= high


def test_capacity_by_discharge_time() -> None:
    # published: flooded capacity by discharge time, second-hand; a check of interpolation
    # only, never for sizing. Its 5, 20 and 100 h points are given, the points between are asked.
    table = {float(row["hours"]): float(row["share_of_20h"]) for row in published("flooded_capacity_by_hours.csv")}
    ours = {hours: float(bank.capacity_at_hours_ah(hours, table[5], table[20], table[100])) for hours in table}
    for hours in (5, 20, 100):
        assert ours[hours] == pytest.approx(table[hours])
    for hours in (3, 8, 10, 24, 36, 72):
        assert ours[hours] == pytest.approx(table[hours], abs=0.021), hours
    # Faster than 3 h a power law promises more than this table: known, and why no rule here asks it there.
    assert ours[2] - table[2] == pytest.approx(0.05, abs=0.01)
    assert ours[1] - table[1] == pytest.approx(0.16, abs=0.01)


def test_power_law_is_not_carried_past_the_sheet() -> None:
    # hand: 225 Ah at 20 h and an exponent of 1.25 would give 225 x (100 / 20)^0.2 = 310 Ah at 100 h; the
    # sheet says 250 Ah, and 250 is what counts at 100 h and slower.
    carried_ah = 225 * (100 / 20) ** (1 - 1 / 1.25)
    assert carried_ah == pytest.approx(310, abs=0.5)
    assert bank.capacity_at_hours_ah(100, 171, 225, 250) < carried_ah
    assert bank.capacity_at_hours_ah(100, 171, 225, 250) == pytest.approx(250)
    assert bank.capacity_at_hours_ah(400, 171, 225, 250) == pytest.approx(250)


def test_freezing_against_specific_gravity() -> None:
    # published: specific gravity by state of charge and freezing point by specific gravity, both second-hand
    #s; a second table says -69 C at full. Where both tables reach (70 to 100 % charged), our
    # freezing table must not promise more depth than 0.06 beyond theirs.
    charge, gravity = (published("flooded_state_of_charge.csv"), published("electrolyte_freezing.csv"))
    ours = rows(TABLES / "freezing.csv")
    depths, freezing = column(ours, "depth"), column(ours, "freezing_c")
    for row in charge:
        depth = 1 - float(row["state_of_charge"])
        freezes_c = float(np.interp(
            float(row["specific_gravity"]), column(gravity, "specific_gravity")[::-1], column(gravity, "freezing_c")[::-1]
        ))
        allowed = bank.freezing_depth(freezes_c, depths, freezing)
        assert allowed == pytest.approx(depth, abs=0.06), row["state_of_charge"]
    # Below everything that any table says, nothing may be taken out.
    assert bank.freezing_depth(-70.0, depths, freezing) == 0.0
    # An empty cell at a specific gravity of 1.100 freezes at -8 C: ours calls -9 C the end, one kelvin apart.
    assert bank.freezing_depth(-8.0, depths, freezing) == 1.0
    assert bank.freezing_depth(-15.0, depths, freezing) < 0.8


def test_rest_voltage_falls_with_charge() -> None:
    # published: 12 V flooded rest voltage, second-hand. hand: half charged, by the straight
    # line through the published points, is 12.13 V; our chemistry table holds 2.033 V a cell, 12.20 V.
    table = published("flooded_state_of_charge.csv")
    slope, at_empty = np.polyfit(column(table, "state_of_charge"), column(table, "rest_v"), 1)
    (flooded,) = (row for row in rows(TABLES / "chemistry.csv") if row["chemistry"] == "flooded")
    half_charged_v = 6 * float(flooded["half_charged_v_cell"])
    assert half_charged_v == pytest.approx(at_empty + slope * 0.5, abs=0.1)
    # hand: no current, no sag but the cable's 2 %.
    assert bank.sagged_voltage_v(half_charged_v, 0, 0.006, 1) == pytest.approx(0.98 * half_charged_v)


def test_charge_current_of_lead_acid() -> None:
    # published: 5 to 13 % of C20 wanted, 20 % at most, second-hand. hand: 225 Ah in two
    # strings want 22.5 to 58.5 A when cycled daily, half of it at weekends.
    shares = {row["meaning"]: float(row["share_of_20h"]) for row in published("charge_current_lead_acid.csv")}
    assert charging.minimum_charge_current_a(shares["least wanted"], 1.0, 225, 2) == pytest.approx(22.5)
    assert charging.minimum_charge_current_a(shares["most wanted"], 1.0, 225, 2) == pytest.approx(58.5)
    assert charging.minimum_charge_current_a(shares["most at all"], 0.5, 225, 2) == pytest.approx(45.0)


def test_units_in_series() -> None:
    # common practice, no source; nickel-cadmium from memory.
    for row in published("battery_series_units.csv"):
        units = bank.units_in_series(float(row["bank_v"]), int(row["unit_cells"]), int(row["cells_per_12v"]))
        assert units == int(row["units"]), row


def test_end_of_life() -> None:
    # published: end of life at 80 % of capacity, second-hand. hand: 100 Ah, 12.8 V, 90 %
    # deep, at 25 C: 1,152 Wh new, 921.6 Wh at the end.
    assert bank.usable_storage_wh(100, 12.8, 1, 1.0, 0.9, 1.0) == pytest.approx(1152.0)
    assert bank.usable_storage_wh(100, 12.8, 1, 1.0, 0.9, 0.8) == pytest.approx(921.6)


def test_battery_efficiency() -> None:
    # published: energy efficiency of lead-acid about 70 % old to 80-90 % new, second-hand.
    # hand: all through the battery keeps it, nothing through it loses nothing.
    for efficiency in (0.7, 0.8, 0.9):
        assert bank.throughput_efficiency(efficiency, 1.0) == pytest.approx(efficiency)
        assert bank.throughput_efficiency(efficiency, 0.0) == 1.0


# --- battery: hand


def test_discharge_time_and_need() -> None:
    # hand: 3 days at half the bank: 24 x 3 / 0.5 = 144 h; 1,000 Wh a day for 3 days: 3,000 Wh.
    assert bank.discharge_hours(3, 0.5) == pytest.approx(144.0)
    assert bank.storage_needed_wh(1000, 3) == pytest.approx(3000.0)


def test_self_discharge() -> None:
    # hand: 30,400 Wh at 3 % a month lose 912 Wh in 30.4 days, 30 Wh a day; twice that ten kelvin warmer.
    assert bank.self_discharge_wh_day(30400, 3, 25) == pytest.approx(30.0)
    assert bank.self_discharge_wh_day(30400, 3, 35) == pytest.approx(60.0)
    # hand: half a year at 4 %: 24 %.
    assert bank.idle_loss_share(6, 4) == pytest.approx(0.24)


def test_weekly_swing() -> None:
    # hand: two days of 1,400 Wh in a week, 400 Wh on average: 2 x (1,400 - 400).
    assert bank.weekly_swing_wh(1400, 400, 2) == pytest.approx(2000.0)


def test_current_of_an_inverter() -> None:
    # hand: 2,000 W at 0.90 and 10.5, 21, 42 V: 211.6, 105.8, 52.9 A; x 1.25: 264.6, 132.3, 66.1 A, so
    # devices of 300, 150 and 70 A (next standard ratings, NEC 240.6(A), second-hand).
    for lowest_v, current_a, device_a in ((10.5, 211.6, 300), (21, 105.8, 150), (42, 52.9, 70)):
        current = bank.discharge_current_a(2000, 0.90, lowest_v)
        assert current == pytest.approx(current_a, abs=0.05)
        standard = [60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350]
        assert min(size for size in standard if size >= 1.25 * current) == device_a
    # hand: 5 A of DC loads beside it.
    assert bank.discharge_current_a(2000, 0.90, 10.5, 5) == pytest.approx(216.6, abs=0.05)


def test_carried_current() -> None:
    # hand: 0.9 x 200 = 180 A alone; 0.9 x 200 x 2 x 0.85 = 306 A for two strings.
    assert bank.carried_current_a(200, 1) == pytest.approx(180.0)
    assert bank.carried_current_a(200, 2) == pytest.approx(306.0)


def test_start_of_a_pump() -> None:
    # hand: 1,900 W at a power factor of 0.8 are 2.375 kVA running, six times that 14.25 kVA starting;
    # alone on the inverter it needs just that, and 0.6 of it is real power.
    running_va = 1900 / 0.8
    assert running_va == pytest.approx(2375.0)
    assert inverting.starting_va(running_va, running_va, running_va, 6) == pytest.approx(14250.0)
    assert bank.starting_power_w(0, 14250) == pytest.approx(8550.0)
    # hand: 500 VA of lights beside it stay on.
    assert inverting.starting_va(running_va + 500, running_va, running_va, 6) == pytest.approx(14750.0)


def test_sag_of_a_start() -> None:
    # hand: 24.4 V x 0.98 - 200 A x 0.012 ohm / 2 = 23.912 - 1.2 = 22.712 V.
    assert bank.sagged_voltage_v(24.4, 200, 0.012, 2) == pytest.approx(22.712)


def test_ripple() -> None:
    # hand, common practice without source: 3 kW want 300 Ah at 12 V, 150 at 24 V, 75 at 48 V.
    for bank_v, capacity_ah in ((12, 300), (24, 150), (48, 75)):
        assert bank.ripple_capacity_ah(3000, bank_v) == pytest.approx(capacity_ah)
