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
