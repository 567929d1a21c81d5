"""Conductors: resistance, voltage drop, ampacity, resistive loss."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within

COPPER_PER_K = 0.00393
"""Rise of the resistance of copper for each kelvin above 20 C, IEC 60228 (second-hand)."""

SUN_AT_RATING_W_M2 = 1000.0
"""Irradiance of standard test conditions, IEC 61215 (from memory)."""


def resistance_at_ohm_km(r20_ohm_km: Values, conductor_c: Values) -> Values:
    """Resistance of a copper conductor at its working temperature.

    Formula: R(T) = R20 * (1 + 0.00393 * (T - 20))
    r20_ohm_km: resistance at 20 C [ohm/km]
    conductor_c: temperature of the copper [C]
    returns: resistance at that temperature [ohm/km]
    Valid: copper on direct current, -60 to 150 C
    Source: IEC 60228 for the resistance at 20 C, second-hand; 0.00393 for each kelvin is that of annealed copper
    >>> round(float(resistance_at_ohm_km(3.08, 70)), 3)
    3.685
    """
    within(conductor_c, -60, 150, "conductor temperature", "C", "linear resistance of copper: common practice, no source")
    return r20_ohm_km * (1 + COPPER_PER_K * (conductor_c - 20.0))


def voltage_drop_v(current_a: Values, one_way_m: Values, resistance_ohm_km: Values) -> Values:
    """Voltage that both conductors of a circuit drop.

    Formula: dV = 2 * L * R' * I / 1000
    current_a: current [A]
    one_way_m: length of the run, one way [m]
    resistance_ohm_km: resistance of one conductor at its working temperature [ohm/km]
    returns: voltage drop [V]
    Valid: two conductors of one size, direct current or AC at a power factor near 1 in thin cable
    Source: Ohm's law
    >>> round(float(voltage_drop_v(20, 7.62, 1.04)), 3)
    0.317
    """
    return 2 * one_way_m * resistance_ohm_km * current_a / 1000


def corrected_ampacity_a(table_a: Values, ambient_factor: Values, bundling_factor: Values) -> Values:
    """Current that a conductor carries for ever where it lies.

    Formula: Iz = It * kt * kb
    table_a: ampacity of the table, at 30 C and not bundled [A]
    ambient_factor: factor of the air around it, tables/ambient_factors.csv [share]
    bundling_factor: factor of the conductors beside it, tables/bundling_factors.csv [share]
    returns: ampacity [A]
    Valid: all three for the same insulation and family of tables
    Source: NFPA 70 (NEC) 310.15(B) and (C); IEC 60364-5-52
    >>> round(float(corrected_ampacity_a(40, 0.91, 0.80)), 2)
    29.12
    """
    return table_a * ambient_factor * bundling_factor


def loss_share(drop_share: Values, irradiance_w_m2: Values) -> Values:
    """Resistive loss of a source circuit as a share of its power at some irradiance.

    Formula: p = d * G / 1000: the loss goes with the square of the current, the power with the current
    drop_share: volts dropped at Imp, over Vmp [share]
    irradiance_w_m2: irradiance on the array [W/m2]
    returns: share of the power that the conductors take [share]
    Valid: current proportional to irradiance, voltage steady, 0 to 1,200 W/m2
    Source: common practice, no source
    >>> round(float(loss_share(0.02, 500)), 4)
    0.01
    """
    within(drop_share, 0, 1, "voltage drop", "share", "a share of the voltage, by definition")
    within(irradiance_w_m2, 0, 1200, "irradiance", "W/m2", "common practice, no source")
    return drop_share * np.asarray(irradiance_w_m2) / SUN_AT_RATING_W_M2


def least_area_cmil(current_a: Values, loop_ft: Values, drop_v: Values, cmil_ohm_ft: Values = 10.75) -> Values:
    """Least copper area that keeps the voltage drop within a limit.

    Formula: A = k * I * L / dV
    current_a: current [A]
    loop_ft: length of the loop, out and back [ft]
    drop_v: most volts that may be dropped [V]
    cmil_ohm_ft: resistance of a foot of copper of one circular mil [cmil ohm/ft]
    returns: area [cmil]
    Valid: copper near 25 C at the default of 10.75
    Source: widely published wire example, read; 12 V, 20 A, 25 ft one way, 3 %
    >>> round(float(least_area_cmil(20, 50, 0.36)))
    29861
    """
    within(drop_v, 1e-6, np.inf, "voltage drop", "V", "something must be allowed, by definition")
    return cmil_ohm_ft * current_a * loop_ft / drop_v
