"""The battery bank: capacity at a rate and in the cold, storage that must be there, currents it carries."""

from __future__ import annotations

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.rules.book import Values
from optimizer.rules.validity import within

DISCHARGE_RESERVE = 0.9
"""Share of a battery's rated current that a design may use; common practice, no source."""

PARALLEL_SHARE = 0.85
"""Share of each string's current that parallel strings can be counted on for; common practice, no source."""

DAYS_PER_MONTH = 30.4
"""Mean length of a month [d]."""

SELF_DISCHARGE_DOUBLES_PER_K = 10.0
"""Self-discharge doubles per 10 K; common practice, no source."""

STARTING_POWER_FACTOR = 0.6
"""Real watts per volt-ampere of a starting motor, 0.4 to 0.7; common practice, no source."""

SAG_RESERVE_V_PER_12V = 0.3
"""Volts per 12 V of bank that a start must leave above the inverter's cut-out; common practice, no source."""

CABLE_DROP_SHARE = 0.02
"""Share of bank voltage lost in the inverter's cable during a start; common practice, no source."""

WARMEST_CAPACITY_SHARE = 1.25
"""Most that warmth may add to rated capacity before the table must be wrong; common practice, no source."""

LITHIUM_CELLS_PER_12V = 4
"""Lithium iron phosphate cells in series per 12 V of class; common practice, no source."""

FIFTEEN_CELL_PACK = 15
"""Cells of the 48 V lithium pack that is not made of four 12 V classes; common practice, no source."""


def units_in_series(bank_nominal_v: float, unit_cells: int, cells_per_12v: int) -> int:
    """Battery units in series that make a bank's voltage class exactly.

    Formula: N = Vbank / 12 * c12 / c where that is whole, else 0; a pack of 15 lithium cells (c12 = 4) is
    a 48 V class of its own, one unit in series, and never makes any other bank
    bank_nominal_v: bank's voltage class [V]
    unit_cells: cells in series inside one unit [cells]
    cells_per_12v: cells that the chemistry has per 12 V of class, 6 lead-acid and 4 lithium iron phosphate [cells]
    returns: units in series, 0 where none make the class [count]
    Valid: classes of 12, 24, 36 and 48 V; at least 1 cell
    Source: common practice, no source
    >>> units_in_series(48, 4, 4), units_in_series(24, 3, 6), units_in_series(12, 16, 4), units_in_series(48, 15, 4)
    (4, 4, 0, 1)
    """
    if unit_cells < 1 or cells_per_12v < 1:
        raise OutOfRange(
            f"a battery unit of {unit_cells} cells, {cells_per_12v} per 12 V, is outside the range of the rule "
            "for units in series (at least 1 cell each; common practice, no source): correct the cell counts"
        )
    if cells_per_12v == LITHIUM_CELLS_PER_12V and unit_cells == FIFTEEN_CELL_PACK:
        return 1 if bank_nominal_v == 48 else 0
    wanted = bank_nominal_v * cells_per_12v / 12
    units = round(wanted / unit_cells)
    return units if units >= 1 and units * unit_cells == wanted else 0


def discharge_hours(autonomy_d: Values, usable_share: Values) -> Values:
    """Hours in which the load of the autonomy would empty the whole bank: the rate its capacity is read at.

    Formula: t = 24 * D / (DoD * fT * fEoL). A bank passes at this rate exactly when it passes at the rate
    of its own load, since capacity falls with current: see docs/decisions/0003.
    autonomy_d: days of autonomy [d]
    usable_share: depth of discharge x cold factor x end-of-life share [share]
    returns: discharge time of the rated capacity [h]
    Valid: shares of 0 to 1.25, days of 0 or more; nothing usable takes endlessly long
    Source: definition of the average rate
    >>> round(float(discharge_hours(2.5, 0.5)), 1), float(discharge_hours(2.5, 0.0))
    (120.0, inf)
    """
    within(usable_share, 0, WARMEST_CAPACITY_SHARE, "usable share", "", "definition of the average rate")
    within(autonomy_d, 0, np.inf, "autonomy", "d", "definition of the average rate")
    share = np.asarray(usable_share, dtype=float)
    return np.where(share > 0, 24 * np.asarray(autonomy_d) / np.where(share > 0, share, 1.0), np.inf)


def capacity_at_hours_ah(
    hours: Values, capacity_5h_ah: Values, capacity_20h_ah: Values, capacity_100h_ah: Values
) -> Values:
    """Capacity at a discharge time, between rated points and never beyond them.

    Formula: power law between the two rated points around t (5, 20, 100 h); the end points outside:
    a published power law carried beyond its points promises capacity that no sheet gives
    hours: discharge time [h]
    capacity_5h_ah: capacity at 5 h [Ah]
    capacity_20h_ah: capacity at 20 h [Ah]
    capacity_100h_ah: capacity at 100 h [Ah]
    returns: capacity [Ah]
    Valid: 5 h and slower; faster than 5 h the 5 h figure is scaled down by Peukert's law through 5 and 20 h, which
    promises too much below 3 h
    Source: Peukert's law (1897), clamped to the sheet; common practice, no source
    >>> [round(float(capacity_at_hours_ah(t, 171, 225, 250)), 1) for t in (5, 10, 20, 100, 500)]
    [171.0, 196.2, 225.0, 250.0, 250.0]
    """
    within(hours, 0, np.inf, "discharge time", "h", "Peukert's law, clamped to the sheet: common practice, no source")
    slow = np.log(np.asarray(capacity_100h_ah) / capacity_20h_ah) / np.log(100 / 20)
    fast = np.log(np.asarray(capacity_20h_ah) / capacity_5h_ah) / np.log(20 / 5)
    bounded = np.minimum(hours, 100.0)
    return np.where(
        bounded >= 20, capacity_20h_ah * (bounded / 20) ** slow, capacity_20h_ah * (bounded / 20) ** fast
    )


def cold_capacity_factor(temperature_c: Values, table_c: Values, table_share: Values, where: str) -> Values:
    """Share of its capacity that a battery gives at a temperature.

    Formula: linear between the points of the chemistry's table
    temperature_c: battery temperature [C]
    table_c: temperatures of the table, rising [C]
    table_share: share of capacity at each [share]
    where: name of the table, for the message [text]
    returns: share of rated capacity [share]
    Valid: within the table
    Source: editable table tables/cold_capacity.csv with its own sources
    >>> round(float(cold_capacity_factor(5.0, [0, 10, 25], [0.8, 0.9, 1.0], "flooded")), 3)
    0.85
    """
    low, high = float(np.min(table_c)), float(np.max(table_c))
    if np.any(np.asarray(temperature_c) < low) or np.any(np.asarray(temperature_c) > high):
        raise OutOfRange(
            f"battery temperature {np.min(temperature_c)} to {np.max(temperature_c)} C is outside the "
            f"capacity table of {where} ({low:g} to {high:g} C, tables/cold_capacity.csv): move the battery or extend the table"
        )
    return np.interp(temperature_c, table_c, table_share)


def usable_storage_wh(
    capacity_ah: Values, bank_v: Values, strings: Values, cold_factor: Values, depth: Values, end_of_life_share: Values
) -> Values:
    """Energy that a bank can give in the autonomy, cold and at the end of its life.

    Formula: W = C * V * Np * fT * DoD * fEoL
    capacity_ah: capacity of a string at the autonomy's rate [Ah]
    bank_v: bank's nominal voltage (by cells, so 12.8 for four LFP cells) [V]
    strings: strings in parallel [count]
    cold_factor: share of capacity at the battery's temperature [share]
    depth: allowed depth of discharge [share]
    end_of_life_share: share of capacity left at the end of its life [share]
    returns: usable energy [Wh]
    Valid: depth and end-of-life share of 0 to 1, cold factor of 0 to 1.25
    Source: common practice, no source
    >>> round(float(usable_storage_wh(100, 12.8, 2, 0.9, 0.9, 0.8)), 1)
    1658.9
    """
    source = "usable storage: common practice, no source"
    within(cold_factor, 0, WARMEST_CAPACITY_SHARE, "cold factor", "", source)
    within(depth, 0, 1, "depth of discharge", "", source)
    within(end_of_life_share, 0, 1, "end-of-life share", "", source)
    return capacity_ah * bank_v * strings * cold_factor * depth * end_of_life_share


def storage_needed_wh(load_use_day_wh: Values, autonomy_d: Values) -> Values:
    """Energy that the store must give without any sun.

    Formula: W = D * L
    load_use_day_wh: battery-side load of a day of use [Wh/day]
    autonomy_d: days of autonomy [d]
    returns: energy [Wh]
    Valid: D of 0 or more
    Source: definition of autonomy
    >>> float(storage_needed_wh(1000, 2.5))
    2500.0
    """
    within(autonomy_d, 0, np.inf, "autonomy", "d", "definition of autonomy")
    return load_use_day_wh * autonomy_d


def freezing_depth(lowest_c: float, table_depth: Values, table_c: Values) -> float:
    """Deepest discharge at which a lead-acid electrolyte does not freeze at a temperature.

    Formula: linear between the points (depth of discharge, freezing temperature); 1 above the warmest point
    lowest_c: lowest temperature of the battery [C]
    table_depth: depth of discharge, falling to 0 [share]
    table_c: freezing temperature at that depth, falling [C]
    returns: deepest allowed discharge; 0 below the coldest point [share]
    Valid: lead-acid
    Source: editable table tables/freezing.csv with its own sources
    >>> round(freezing_depth(-30.0, [1.0, 0.5, 0.25, 0.0], [-9, -24, -37, -57]), 3)
    0.385
    """
    return float(np.interp(lowest_c, np.asarray(table_c)[::-1], np.asarray(table_depth)[::-1], left=0.0, right=1.0))


def self_discharge_wh_day(capacity_wh: Values, pct_month: Values, temperature_c: Values) -> Values:
    """Energy a day that a bank loses by itself.

    Formula: W = C * s / 100 / 30.4 * 2 ** ((T - 25) / 10)
    capacity_wh: rated energy of the bank [Wh]
    pct_month: self-discharge at 25 C [%/month]
    temperature_c: battery temperature [C]
    returns: loss [Wh/day]
    Valid: -60 to 60 C
    Source: common practice, no source
    >>> round(float(self_discharge_wh_day(53000, 5, 25)), 1)
    87.2
    """
    within(temperature_c, -60, 60, "battery temperature", "C", "self-discharge doubling per 10 K: common practice, no source")
    return capacity_wh * pct_month / 100 / DAYS_PER_MONTH * 2.0 ** ((np.asarray(temperature_c) - 25) / SELF_DISCHARGE_DOUBLES_PER_K)


def idle_loss_share(months: Values, pct_month: Values) -> Values:
    """Share of its charge that a battery loses while it stands unused.

    Formula: s = months * rate / 100
    months: months without charging [months]
    pct_month: self-discharge at 25 C [%/month]
    returns: share lost [share]
    Valid: months of 0 or more; above 1 the battery is empty before the months are over
    Source: common practice, no source
    >>> round(float(idle_loss_share(5, 3)), 2)
    0.15
    """
    within(months, 0, np.inf, "idle time", "months", "linear self-discharge: common practice, no source")
    return months * pct_month / 100


def throughput_efficiency(efficiency_wh: Values, through_share: Values) -> Values:
    """Efficiency with which a bank returns the load's energy, when only a part of it passes the battery.

    Formula: eta = 1 - f * (1 - eta_wh)
    efficiency_wh: energy efficiency of the battery [share]
    through_share: share of the load's energy that passes the battery [share]
    returns: efficiency [share]
    Valid: shares of 0 to 1
    Source: common practice, no source
    >>> round(float(throughput_efficiency(0.8, 0.6)), 2)
    0.88
    """
    for what, share in (("battery efficiency", efficiency_wh), ("share through the battery", through_share)):
        within(share, 0, 1, what, "", "throughput efficiency: common practice, no source")
    return 1 - through_share * (1 - efficiency_wh)


def weekly_swing_wh(use_day_wh: Values, week_average_wh: Values, use_days_per_week: Values) -> Values:
    """Energy that idle days must leave in the store for the days of use.

    Formula: W = d * (Luse - Lavg)
    use_day_wh: battery-side load of a day of use [Wh/day]
    week_average_wh: battery-side load averaged over the week [Wh/day]
    use_days_per_week: days of use in a week [d]
    returns: energy [Wh]
    Valid: a week's harvest spread evenly over its days
    Source: arithmetic of a week
    >>> float(weekly_swing_wh(700, 250, 2.5))
    1125.0
    """
    return use_days_per_week * (use_day_wh - week_average_wh)


def discharge_current_a(power_w: Values, efficiency: Values, lowest_v: Values, dc_load_a: Values = 0.0) -> Values:
    """Current that the bank gives at its lowest voltage.

    Formula: I = P / (eta * Vmin) + Idc
    power_w: AC power [W]
    efficiency: inverter efficiency [share]
    lowest_v: inverter's low cut-out [V]
    dc_load_a: current of DC loads beside it [A]
    returns: current from the bank [A]
    Valid: Vmin above 0
    Source: common practice, no source
    >>> round(float(discharge_current_a(2000, 0.9, 10.5)), 1)
    211.6
    """
    return power_w / (efficiency * lowest_v) + dc_load_a


def carried_current_a(rated_a: Values, strings: Values) -> Values:
    """Current that a bank of parallel strings can be counted on for.

    Formula: I = 0.9 * Irated * Np * share, share 0.85 where strings are in parallel
    rated_a: rated current of a string [A]
    strings: strings in parallel [count]
    returns: current [A]
    Valid: identical strings
    Source: common practice, no source
    >>> float(carried_current_a(100, 1)), round(float(carried_current_a(100, 3)), 1)
    (90.0, 229.5)
    """
    return DISCHARGE_RESERVE * rated_a * strings * np.where(np.asarray(strings) > 1, PARALLEL_SHARE, 1.0)


def starting_power_w(running_w: Values, starting_va: Values) -> Values:
    """Real power while a motor starts, beside what already runs.

    Formula: P = Prun + 0.6 * Sstart
    running_w: power of the loads that already run [W]
    starting_va: apparent power of the starting load [VA]
    returns: power [W]
    Valid: single-phase motors
    Source: common practice, no source
    >>> float(starting_power_w(1000, 5000))
    4000.0
    """
    return running_w + STARTING_POWER_FACTOR * starting_va


def sagged_voltage_v(half_charged_v: Values, current_a: Values, string_resistance_ohm: Values, strings: Values) -> Values:
    """Voltage at the inverter while the worst load starts from a half-charged bank.

    Formula: V = Voc - I * R / Np - 0.02 * Voc
    half_charged_v: open-circuit voltage of the bank, half charged [V]
    current_a: current from the bank during the start [A]
    string_resistance_ohm: internal resistance of a string at its temperature [ohm]
    strings: strings in parallel [count]
    returns: voltage at the inverter [V]
    Valid: starts of a few seconds
    Source: Ohm's law; cable share is common practice, no source
    >>> round(float(sagged_voltage_v(12.2, 300, 0.006, 2)), 3)
    11.056
    """
    return half_charged_v * (1 - CABLE_DROP_SHARE) - current_a * string_resistance_ohm / strings


def ripple_capacity_ah(inverter_w: Values, bank_nominal_v: Values) -> Values:
    """Smallest bank that keeps an inverter's ripple harmless.

    Formula: C = 100 Ah per kW at 12 V, in proportion 50 at 24 V and 25 at 48 V
    inverter_w: continuous power of the inverters [W]
    bank_nominal_v: bank's nominal voltage [V]
    returns: capacity at 20 h [Ah]
    Valid: lead-acid
    Source: common practice, no source
    >>> float(ripple_capacity_ah(2000, 24))
    100.0
    """
    return inverter_w / 1000 * 1200 / bank_nominal_v
