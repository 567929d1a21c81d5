"""Controllers and charging: voltages with temperature, currents that may and must flow, ratings in the heat."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within

ALTITUDE_FULL_M = 2000.0
"""Height up to which electronics give their rating; common practice, no source."""

ALTITUDE_LOSS_PER_100_M = 0.01
"""Loss of output per 100 m above that; common practice, no source."""

DAYLIGHT_H = 10.0
"""Hours of a day over which daytime loads are spread; common practice, no source."""


def heat_and_height_factor(room_c: Values, full_output_to_c: Values, derating_pct_k: Values, elevation_m: float) -> Values:
    """Share of its rating that a device gives in a warm room or high up.

    Formula: f = (1 - d / 100 * max(0, T - Tfull)) * (1 - 0.01 * max(0, h - 2000) / 100), at least 0
    room_c: hottest air temperature where the device hangs [C]
    full_output_to_c: temperature up to which the rating holds [C]
    derating_pct_k: loss above it [%/K]
    elevation_m: height above the sea [m]
    returns: share of the rating [share]
    Valid: -500 to 5,000 m
    Source: common practice, no source
    >>> round(float(heat_and_height_factor(50, 40, 2.5, 0)), 3), round(float(heat_and_height_factor(30, 40, 2.5, 3000)), 3)
    (0.75, 0.9)
    """
    within(elevation_m, -500, 5000, "elevation", "m", "derating with height: common practice, no source")
    heat = 1 - derating_pct_k / 100 * np.maximum(0.0, room_c - full_output_to_c)
    height = 1 - ALTITUDE_LOSS_PER_100_M * max(0.0, elevation_m - ALTITUDE_FULL_M) / 100
    return np.maximum(0.0, heat * height)


def compensated_v(setpoint_v: Values, compensation_mv_k: Values, battery_c: Values, clip_low_c: Values, clip_high_c: Values) -> Values:
    """Charging voltage at the battery's temperature, within the limits of the device's compensation.

    Formula: V(T) = V25 + m / 1000 * (Tc - 25), Tc = T clipped to the device's limits
    setpoint_v: voltage at 25 C [V]
    compensation_mv_k: compensation, negative; 0 for lithium [mV/K]
    battery_c: battery temperature [C]
    clip_low_c: lowest temperature that the device compensates for [C]
    clip_high_c: highest [C]
    returns: charging voltage [V]
    Valid: the clip is the device's own, not ours
    Source: common practice, no source
    >>> round(float(compensated_v(14.7, -30, -12, 0, 40)), 2)
    15.45
    """
    return setpoint_v + compensation_mv_k / 1000 * (np.clip(battery_c, clip_low_c, clip_high_c) - 25)


def tracker_charge_current_a(array_w: Values, efficiency: Values, bank_v: Values, current_limit_a: Values) -> Values:
    """Charging current of a power tracker in full sun.

    Formula: I = min(Ilimit, P * eta / V)
    array_w: array power at standard conditions [W]
    efficiency: controller efficiency [share]
    bank_v: bank voltage [V]
    current_limit_a: rated output or the limit that is set [A]
    returns: current into the bank [A]
    Valid: V above 0
    Source: common practice, no source
    >>> round(float(tracker_charge_current_a(860, 0.96, 12.8, 60)), 1)
    60.0
    """
    return np.minimum(current_limit_a, array_w * efficiency / bank_v)


def minimum_charge_current_a(charge_share: Values, context_factor: Values, capacity_20h_ah: Values, strings: Values) -> Values:
    """Charging current below which a lead-acid bank is not charged properly.

    Formula: I = k * c * C20 * Np, with c by context: cycled daily 1, weekends 0.5, long autonomy 0.3
    charge_share: lowest share of C20 that the battery's sheet asks for [share]
    context_factor: multiplier by context, tables/charge_context.csv [share]
    capacity_20h_ah: capacity of a string at 20 h [Ah]
    strings: strings in parallel [count]
    returns: current [A]
    Valid: lead-acid; 0 for lithium
    Source: charge current 5 to 13 % of C20, widely published; context common practice, no source
    >>> float(minimum_charge_current_a(0.1, 0.5, 225, 2))
    22.5
    """
    return charge_share * context_factor * capacity_20h_ah * strings


def daytime_load_current_a(day_wh: Values, bank_v: Values) -> Values:
    """Current that daytime loads take from what the array gives.

    Formula: I = Lday / (10 h * V)
    day_wh: battery-side energy used by day [Wh/day]
    bank_v: bank's nominal voltage [V]
    returns: current [A]
    Valid: loads spread over ten hours
    Source: common practice, no source
    >>> float(daytime_load_current_a(1200, 12))
    10.0
    """
    return day_wh / (DAYLIGHT_H * bank_v)


def quick_controller_current_a(array_w: Values, bank_nominal_v: Values) -> Values:
    """Controller size by the quick rule of the trade.

    Formula: I = P / V * 1.25
    array_w: array power at standard conditions [W]
    bank_nominal_v: bank's nominal voltage [V]
    returns: current that the controller should be rated for [A]
    Valid: a first estimate
    Source: common practice, no source
    >>> round(float(quick_controller_current_a(500, 24)), 2)
    26.04
    """
    return array_w / bank_nominal_v * 1.25


ALTERNATOR_SHARE = 0.5
"""Share of an alternator's output at idle that a charger may take; common practice, no source."""


def alternator_current_a(charge_a: Values, absorb_v: Values, efficiency: Values, no_load_w: Values, system_v: Values) -> Values:
    """Current that a DC-DC charger takes from an alternator.

    Formula: I = (Ic V / eta + P0) / Vs
    charge_a: charging current [A]
    absorb_v: absorption voltage of the bank [V]
    efficiency: energy into the bank over energy converted [share]
    no_load_w: what the charger takes beside [W]
    system_v: nominal voltage of the alternator's system: a running one is higher, so the current is a little too large [V]
    returns: current [A]
    Valid: efficiency and voltage above 0
    Source: definition of power
    >>> round(float(alternator_current_a(30, 14.4, 0.9, 6, 12)), 1)
    40.5
    """
    return (charge_a * absorb_v / efficiency + no_load_w) / system_v


def alternator_spare_a(rated_a: Values, idle_share: Values) -> Values:
    """Current of an alternator that a charger may take for hours.

    Formula: I = 0.5 k Ir
    rated_a: rating of the alternator [A]
    idle_share: what it gives when the engine idles, over its rating [share]
    returns: current [A]
    Valid: alternators that are not made to charge banks for hours
    Source: half of the output at idle: common practice, no source
    >>> float(alternator_spare_a(120, 0.5))
    30.0
    """
    return ALTERNATOR_SHARE * idle_share * rated_a
