"""Generators: how large one must be to charge a bank and carry loads, and what it burns."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within

CHARGER_EFFICIENCY = 0.88
"""Energy into the bank over energy from the generator; common practice, no source."""

OLD_CHARGER_POWER_FACTOR = 0.7
"""Power factor of a charger whose sheet gives none; common practice, no source."""

PORTABLE_SHARE = 0.8
"""Share of its rating that a portable set gives for hours; common practice, no source."""

HEIGHT_LOSS_PER_300_M = 0.035
"""Loss of an engine's power for each 300 m of height; common practice, no source."""

HEAT_LOSS_PER_K, HEAT_FROM_C = 0.01 / 5.5, 25.0
"""Loss of an engine's power for each kelvin of intake air above 25 C; common practice, no source."""

AC_OF_SITE = {
    "120 V 60 Hz": ("120", "120/240"), "120/240 V 60 Hz": ("120/240",), "230 V 50 Hz": ("230",), "230/400 V 50 Hz": ("230/400",),
}
"""What a generator must make to feed a site."""

AC_OF_CHARGER = {"120": ("120", "120/240"), "240": ("120/240",), "230": ("230", "230/400")}
"""What a generator must make to feed a charger."""


def charging_va(charge_a: Values, absorb_v: Values, power_factor: Values, efficiency: Values = CHARGER_EFFICIENCY) -> Values:
    """Apparent power that a charger takes from a generator.

    Formula: S = I V / (eta pf)
    charge_a: charging current [A]
    absorb_v: absorption voltage of the bank [V]
    power_factor: power factor of the charger [share]
    efficiency: energy into the bank over energy taken [share]
    returns: apparent power [VA]
    Valid: power factor and efficiency above 0
    Source: definition of power factor
    >>> round(float(charging_va(60, 57.6, 0.7, 0.9)))
    5486
    """
    return charge_a * absorb_v / (efficiency * power_factor)


def generator_gives_va(rated_va: Values, elevation_m: Values, intake_c: Values, fuel_share: Values = 1.0) -> Values:
    """Apparent power that a generator gives for hours where it stands.

    Formula: S = 0.8 Sr (1 - 0.035 h / 300) (1 - 0.01 (T - 25) / 5.5) k, heat below 25 C and height below 0 left out
    rated_va: rating [VA]
    elevation_m: height above the sea [m]
    intake_c: hottest air that it takes in [C]
    fuel_share: share that the fuel leaves, about 0.9 for gas [share]
    returns: apparent power [VA]
    Valid: up to 5000 m and 60 C
    Source: common practice, no source
    >>> round(float(generator_gives_va(5000, 1500, 25)))
    3300
    """
    within(elevation_m, -500, 5000, "elevation", "m", "derating of engines")
    within(intake_c, -60, 60, "intake air", "C", "derating of engines")
    height = 1 - HEIGHT_LOSS_PER_300_M * np.maximum(elevation_m, 0) / 300
    heat = 1 - HEAT_LOSS_PER_K * np.maximum(intake_c - HEAT_FROM_C, 0)
    return PORTABLE_SHARE * rated_va * height * heat * fuel_share


def fuel_l(energy_wh: Values, litres_per_kwh: Values, efficiency: Values = CHARGER_EFFICIENCY) -> Values:
    """Fuel that puts an energy into the bank.

    Formula: V = E f / (1000 eta)
    energy_wh: energy into the bank [Wh]
    litres_per_kwh: fuel of the generator for a kilowatt-hour that it gives [l/kWh]
    efficiency: energy into the bank over energy taken [share]
    returns: fuel [l]
    Valid: at the load for which the consumption is stated
    Source: definition
    >>> round(float(fuel_l(8800, 0.6, 0.88)), 2)
    6.0
    """
    return energy_wh * litres_per_kwh / (1000 * efficiency)


def fuel_l_per_h(load_w: Values, litres_per_kwh: Values, idle_l_per_h: Values) -> Values:
    """Fuel that a generator burns in an hour at a load.

    Formula: V = V0 + f P / 1000
    load_w: power that it gives [W]
    litres_per_kwh: fuel for each kilowatt-hour above what idling takes [l/kWh]
    idle_l_per_h: fuel that it burns without a load [l/h]
    returns: fuel in an hour [l/h]
    Valid: loads of 0 or more, up to the rating
    Source: straight line through idling and full load; common practice, no source
    >>> round(float(fuel_l_per_h(2000, 0.3, 0.4)), 3)
    1.0
    """
    within(load_w, 0, np.inf, "load", "W", "fuel of engines: common practice, no source")
    return idle_l_per_h + litres_per_kwh * load_w / 1000


def uneven_share(units: Values, legs: Values) -> Values:
    """How much larger a set must be where single-phase units do not load its legs evenly.

    Formula: k = m ceil(n / m) / n, the most loaded leg times the number of legs over the whole
    units: units of the same size, each on one leg [count]
    legs: legs or phases of the set [count]
    returns: multiple of the units' power that the set must be rated for [share]
    Valid: 1 or more of each
    Source: arithmetic
    >>> float(uneven_share(1, 2)), float(uneven_share(3, 2)), float(uneven_share(3, 3))
    (2.0, 1.3333333333333333, 1.0)
    """
    within(units, 1, np.inf, "number", "units", "load of legs: arithmetic")
    within(legs, 1, 3, "legs", "", "load of legs: arithmetic")
    return legs * np.ceil(np.asarray(units) / legs) / units
