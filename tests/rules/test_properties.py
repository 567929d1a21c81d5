"""What must always hold, whatever the numbers."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal
from itertools import pairwise
from math import ceil, nextafter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from optimizer.errors import OutOfRange
from optimizer.rules import array, bank, charging, inverting, money

few = settings(max_examples=60, deadline=None)

celsius = st.floats(-60, 100)
share = st.floats(0, 1)
coefficient_voc = st.floats(-0.6, -0.15)
coefficient_pmax = st.floats(-0.6, -0.2)


@st.composite
def curves(draw: st.DrawFn) -> dict[str, float]:
    """Four points of a string that a sheet could hold."""
    voc_v = draw(st.floats(5, 600))
    isc_a = draw(st.floats(0.5, 40))
    return {
        "isc_a": isc_a, "imp_a": isc_a * draw(st.floats(0.85, 0.985)),
        "vmp_v": voc_v * draw(st.floats(0.7, 0.88)), "voc_v": voc_v,
    }


@st.composite
def sheets(draw: st.DrawFn) -> tuple[float, float, float]:
    """Capacities at 5, 20 and 100 h, rising as a sheet's do."""
    at_20 = draw(st.floats(5, 3000))
    return at_20 * draw(st.floats(0.6, 1.0)), at_20, at_20 * draw(st.floats(1.0, 1.4))


# --- modules


@few
@given(voc_v=st.floats(1, 100), tc=coefficient_voc, warm=st.floats(-60, 40), colder=st.floats(0, 60))
def test_colder_never_lowers_open_circuit_voltage(voc_v: float, tc: float, warm: float, colder: float) -> None:
    cold = max(-60.0, warm - colder)
    assert array.cold_voc_v(voc_v, tc, cold) >= array.cold_voc_v(voc_v, tc, warm)
    assert array.voc_at_cell_v(voc_v, tc, cold) >= array.voc_at_cell_v(voc_v, tc, warm)


STEPS_C = [20, 15, 10, 5, 0, -5, -10, -15, -20, -25, -30, -35, -40]
FACTORS = [1.02, 1.04, 1.06, 1.08, 1.10, 1.12, 1.14, 1.16, 1.18, 1.20, 1.21, 1.23, 1.25]


@few
@given(a=st.floats(-40, 40), b=st.floats(-40, 40))
def test_colder_never_lowers_the_table_factor(a: float, b: float) -> None:
    cold, warm = sorted((a, b))
    assert array.cold_voc_factor(cold, STEPS_C, FACTORS) >= array.cold_voc_factor(warm, STEPS_C, FACTORS)


@few
@given(lowest_c=st.floats(-100, -40, exclude_max=True))
def test_table_factor_raises_below_its_last_step(lowest_c: float) -> None:
    with pytest.raises(OutOfRange):
        array.cold_voc_factor(lowest_c, STEPS_C, FACTORS)


@few
@given(points=curves(), low=st.floats(0, 1.2), more=st.floats(0, 0.5))
def test_current_never_rises_with_voltage(points: dict[str, float], low: float, more: float) -> None:
    low_v, high_v = points["voc_v"] * low, points["voc_v"] * (low + more)
    at_low, at_high = (float(array.current_at_voltage_a(v, **points)) for v in (low_v, high_v))
    assert at_high <= at_low + 1e-9 * points["isc_a"]
    assert at_high >= 0.0
    assert at_low <= points["isc_a"] * (1 + 1e-12)


@few
@given(points=curves())
def test_current_curve_meets_its_points_without_a_jump(points: dict[str, float]) -> None:
    at = [float(array.current_at_voltage_a(v, **points)) for v in (
        nextafter(points["vmp_v"], 0), points["vmp_v"], nextafter(points["vmp_v"], np.inf),
    )]
    assert at == pytest.approx([points["imp_a"]] * 3, rel=1e-9)
    assert at[0] == pytest.approx(at[2], rel=1e-9)
    assert float(array.current_at_voltage_a(points["voc_v"], **points)) == 0.0
    assert float(array.current_at_voltage_a(0.0, **points)) == pytest.approx(points["isc_a"])


@few
@given(points=curves(), past_knee=st.floats(0, 1))
def test_no_held_voltage_gives_more_power_than_the_maximum(points: dict[str, float], past_knee: float) -> None:
    # One diode has its maximum power at Vmp; past it the formula must respect that exactly.
    held_v = points["vmp_v"] + past_knee * (points["voc_v"] - points["vmp_v"])
    power_w = held_v * float(array.current_at_voltage_a(held_v, **points))
    assert power_w <= points["vmp_v"] * points["imp_a"] * (1 + 1e-9)


@few
@given(
    pmax_w=st.floats(1, 20_000), more_w=st.floats(0, 5000), tc=coefficient_pmax, cell_c=celsius, sun_h=st.floats(0, 9),
    more_h=st.floats(0, 3), factor=share, efficiency=share, limit_w=st.floats(0, 20_000), more_limit_w=st.floats(0, 5000),
)
def test_more_array_sun_or_controller_never_harvests_less(
    *, pmax_w: float, more_w: float, tc: float, cell_c: float, sun_h: float, more_h: float, factor: float,
    efficiency: float, limit_w: float, more_limit_w: float,
) -> None:
    def harvest(watts: float, hours: float, limit: float, temperature_c: float = cell_c) -> float:
        return float(array.power_tracking_harvest_wh(watts, tc, temperature_c, hours, factor, efficiency, limit))

    base = harvest(pmax_w, sun_h, limit_w)
    slack = 1e-9 * (1 + abs(base))
    assert harvest(pmax_w + more_w, sun_h, limit_w) >= base - slack
    assert harvest(pmax_w, sun_h + more_h, limit_w) >= base - slack
    assert harvest(pmax_w, sun_h, limit_w + more_limit_w) >= base - slack
    assert harvest(pmax_w, sun_h, limit_w, max(-60.0, cell_c - 10)) >= base - slack
    assert base <= limit_w * sun_h + slack


@few
@given(
    length_m=st.floats(0.1, 20), width_m=st.floats(0.1, 20), more_m=st.floats(0, 5), module_m=st.floats(0.3, 2.5),
    module_width_m=st.floats(0.3, 1.4), gap_m=st.floats(0, 0.1),
)
def test_a_larger_rectangle_never_holds_fewer_modules(
    *, length_m: float, width_m: float, more_m: float, module_m: float, module_width_m: float, gap_m: float
) -> None:
    def fit(length: float, width: float, module: float = module_m, gap: float = gap_m) -> int:
        return int(array.modules_in_rectangle(length, width, module, module_width_m, gap))

    here = fit(length_m, width_m)
    assert fit(length_m + more_m, width_m) >= here
    assert fit(length_m, width_m + more_m) >= here
    assert fit(length_m, width_m, module_m + more_m) <= here
    assert fit(length_m, width_m, gap=gap_m + more_m) <= here
    assert fit(width_m, length_m) == here
    # What fits has no more area than there is (the gap at the last module's far edge is free).
    assert here * module_m * module_width_m <= length_m * width_m * (1 + 1e-6)


# --- battery


@few
@given(sheet=sheets(), hours=st.floats(0.1, 400), slower=st.floats(1, 10))
def test_slower_discharge_never_gives_less_and_never_more_than_the_sheet(
    sheet: tuple[float, float, float], hours: float, slower: float
) -> None:
    here = float(bank.capacity_at_hours_ah(hours, *sheet))
    assert float(bank.capacity_at_hours_ah(hours * slower, *sheet)) >= here * (1 - 1e-9)
    assert here <= sheet[2] * (1 + 1e-9)
    if hours >= 5:
        assert here >= sheet[0] * (1 - 1e-9)


@few
@given(sheet=sheets())
def test_capacity_meets_the_sheet_at_its_points(sheet: tuple[float, float, float]) -> None:
    assert bank.capacity_at_hours_ah(np.array([5.0, 20.0, 100.0]), *sheet) == pytest.approx(sheet)


@few
@given(sheet=sheets(), load_w=st.floats(1, 5000), days=st.floats(0.3, 20), usable=st.floats(0.05, 1))
def test_a_bank_passes_at_its_own_rate_when_it_passes_at_the_autonomys(
    sheet: tuple[float, float, float], load_w: float, days: float, usable: float
) -> None:
    # The rate at which capacity is read is that of the load emptying just the bank that is needed: a bank
    # that passes there is at least that large, so its own rate is slower and it passes there too.
    bank_v = 12.0
    needed_wh = load_w * 24 * days

    def passes(hours: float) -> bool:
        return float(bank.capacity_at_hours_ah(hours, *sheet)) * bank_v * usable >= needed_wh

    if passes(float(bank.discharge_hours(days, usable))):
        capacity_ah = float(bank.capacity_at_hours_ah(bank.discharge_hours(days, usable), *sheet))
        own_hours = capacity_ah * bank_v / load_w
        assert passes(own_hours * (1 + 1e-9))


FREEZING = ([1.0, 0.75, 0.5, 0.25, 0.0], [-9, -16, -24, -37, -57])


@few
@given(a=st.floats(-80, 30), b=st.floats(-80, 30))
def test_colder_never_allows_a_deeper_discharge(a: float, b: float) -> None:
    cold, warm = sorted((a, b))
    assert 0.0 <= bank.freezing_depth(cold, *FREEZING) <= bank.freezing_depth(warm, *FREEZING) <= 1.0


@few
@given(a=st.floats(-40, 50), b=st.floats(-40, 50))
def test_colder_never_gives_more_capacity(a: float, b: float) -> None:
    table = ([-40, -20, 0, 25, 50], [0.28, 0.52, 0.80, 1.0, 1.0])
    cold, warm = sorted((a, b))
    assert bank.cold_capacity_factor(cold, *table, "test") <= bank.cold_capacity_factor(warm, *table, "test")


@few
@given(bank_v=st.sampled_from([12, 24, 36, 48]), unit_cells=st.integers(1, 24), per_12v=st.sampled_from([4, 6, 10]))
def test_units_in_series_make_the_class_exactly_or_not_at_all(bank_v: int, unit_cells: int, per_12v: int) -> None:
    units = bank.units_in_series(bank_v, unit_cells, per_12v)
    if per_12v == 4 and unit_cells == 15:
        assert units == (1 if bank_v == 48 else 0)
    elif units:
        assert units * unit_cells * 12 == bank_v * per_12v
    else:
        assert (bank_v * per_12v) % (12 * unit_cells) != 0


@few
@given(rated_a=st.floats(1, 500), strings=st.integers(1, 8))
def test_another_string_never_carries_less(rated_a: float, strings: int) -> None:
    assert bank.carried_current_a(rated_a, strings + 1) > bank.carried_current_a(rated_a, strings)


@few
@given(room=st.floats(-40, 80), warmer=st.floats(0, 40), full_to=st.floats(20, 60), loss=st.floats(0, 5), height=st.floats(-400, 4000))
def test_heat_and_height_only_take_away(room: float, warmer: float, full_to: float, loss: float, height: float) -> None:
    here = float(charging.heat_and_height_factor(room, full_to, loss, height))
    assert 0.0 <= here <= 1.0
    assert float(charging.heat_and_height_factor(room + warmer, full_to, loss, height)) <= here
    assert float(charging.heat_and_height_factor(room, full_to, loss, height + 900)) <= here


# --- inverter legs, by brute force


def spread_over_legs(loads_va: list[int], legs: int) -> int:
    """Most loaded leg when each load in turn goes to the emptiest leg."""
    leg_va = [0] * legs
    for load in loads_va:
        leg_va[leg_va.index(min(leg_va))] += load
    return max(leg_va)


@settings(max_examples=200, deadline=None)
@given(loads_va=st.lists(st.integers(1, 5000), min_size=1, max_size=9), legs=st.integers(1, 3))
def test_no_spreading_in_turn_exceeds_the_leg_bound(loads_va: list[int], legs: int) -> None:
    bound = float(inverting.leg_load_va(sum(loads_va), max(loads_va), legs))
    greedy = spread_over_legs(loads_va, legs)
    assert greedy <= bound * (1 + 1e-12)
    assert spread_over_legs(sorted(loads_va), legs) <= bound * (1 + 1e-12)
    # No way at all can be better than an even spread or the largest load.
    assert bound >= max(sum(loads_va) / legs, *loads_va) * (1 - 1e-12)


def test_leg_bound_is_reached() -> None:
    # hand: 1, 1, 2 kVA in this order on two legs: 1 + 2 = 3 on one, 1 on the other; (4 + 2) / 2 = 3.
    assert spread_over_legs([1000, 1000, 2000], 2) == 3000 == inverting.leg_load_va(4000, 2000, 2)


# --- money


@few
@given(needed=st.integers(0, 500), owned=st.integers(0, 500), pack=st.integers(1, 30))
def test_bought_pieces_are_the_least_whole_packs(needed: int, owned: int, pack: int) -> None:
    pieces = int(money.bought_pieces(needed, owned, pack))
    assert pieces % pack == 0
    assert owned + pieces >= needed
    assert pieces == 0 or owned + pieces - pack < needed
    assert pieces == ceil(max(0, needed - owned) / pack) * pack


@few
@given(needed=st.lists(st.integers(0, 500), min_size=1, max_size=5), pack=st.integers(1, 30))
def test_bought_pieces_of_an_array_are_those_of_its_numbers(needed: list[int], pack: int) -> None:
    pieces = money.bought_pieces(np.array(needed), 0, pack)
    assert pieces.tolist() == [int(money.bought_pieces(n, 0, pack)) for n in needed]


@settings(max_examples=300, deadline=None)
@given(amount_cents=st.integers(0, 10**9), hundredths=st.integers(0, 10_000))
def test_share_of_cents_is_half_up_to_the_cent(amount_cents: int, hundredths: int) -> None:
    exact = Decimal(amount_cents) * Decimal(hundredths) / Decimal(10_000)
    assert money.share_of_cents(amount_cents, hundredths / 100) == int(exact.quantize(Decimal(1), ROUND_HALF_UP))


@few
@given(price=st.decimals(0, 10_000_000, places=2))
def test_cents_keep_every_cent(price: Decimal) -> None:
    assert money.cents(float(price)) == int(price * 100)


def test_table_steps_used_here_fall_and_factors_rise() -> None:
    assert all(a > b for a, b in pairwise(STEPS_C))
    assert all(a < b for a, b in pairwise(FACTORS))
