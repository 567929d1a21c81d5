"""The energy balance: what the loads take from the battery, and what the array must give for it."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values


def battery_side_load_wh(supply_wh: Values, supply_efficiency: Values, standing_wh: Values) -> Values:
    """Energy a day that the loads take at the battery's terminals.

    Formula: L = sum over supplies of W / eta, + what inverters, converters, controllers and the bank take to stand ready
    supply_wh: energy of each supply (AC, each DC voltage) at the loads, last axis [Wh/day]
    supply_efficiency: efficiency of each supply, last axis [share]
    standing_wh: idle and standby energy [Wh/day]
    returns: battery-side load [Wh/day]
    Valid: efficiencies above 0
    Source: definition
    >>> float(battery_side_load_wh([930.0, 120.0], [0.93, 1.0], 30.0))
    1150.0
    """
    return np.sum(np.asarray(supply_wh) / np.asarray(supply_efficiency), axis=-1) + standing_wh


def balance_needed_wh(load_wh: Values, efficiency: Values, array_to_load: Values) -> Values:
    """Harvest that a month of use asks for.

    Formula: E = A * L / eta
    load_wh: battery-side load [Wh/day]
    efficiency: efficiency of the battery for the share that passes it [share]
    array_to_load: array-to-load ratio, or the least solar share beside a generator [share]
    returns: harvest needed [Wh/day]
    Valid: efficiency above 0
    Source: array-to-load ratio, common practice, no source
    >>> float(balance_needed_wh(900, 0.9, 1.2))
    1200.0
    """
    return array_to_load * load_wh / efficiency


def recovery_needed_wh(load_wh: Values, efficiency: Values, missing_wh: Values, battery_efficiency: Values, days: Values) -> Values:
    """Harvest that carries the load and refills the store within some days.

    Formula: E = L / eta + M / (eta_wh * t)
    load_wh: battery-side load [Wh/day]
    efficiency: efficiency of the battery for the share of the load that passes it [share]
    missing_wh: energy missing in the store [Wh]
    battery_efficiency: energy efficiency of the battery [share]
    days: days in which the store must be full again [d]
    returns: harvest needed [Wh/day]
    Valid: efficiencies and days above 0
    Source: common practice, no source
    >>> float(recovery_needed_wh(900, 0.9, 5600, 0.8, 14))
    1500.0
    """
    return load_wh / efficiency + missing_wh / (battery_efficiency * days)


def refill_wh(carried_wh: Values, battery_efficiency: Values) -> Values:
    """Energy that filling a store again takes beyond what it holds.

    Formula: E = C (1 / eta - 1)
    carried_wh: what it gives from month to month [Wh]
    battery_efficiency: energy out over energy in [share]
    returns: energy lost in filling it [Wh]
    Valid: one filling a year
    Source: definition of efficiency
    >>> round(float(refill_wh(9000, 0.9)), 1)
    1000.0
    """
    return carried_wh * (1 / battery_efficiency - 1)
