"""Figures of a circuit that need no fitting: fault current, current of an inverter, voltage of a string."""

from __future__ import annotations

import numpy as np

from optimizer.design import Bank
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Inverter, Module
from optimizer.needs.site import FULL_SUN_W_M2, Needs
from optimizer.rules import array, protection


def bank_fault_a(bank: Bank) -> float:
    """Current of a short circuit at the busbars [A]."""
    return float(protection.bank_fault_a(bank.battery.fault_current_a, bank.strings))


def inverter_dc_a(inverter: Inverter) -> float:
    """Greatest current of one inverter's circuit: at its rating and its low cut-out, or what its own tracker charges with [A]."""
    return max(inverter.cont_w / (inverter.efficiency * inverter.dc_low_cut_v), inverter.tracker_output_a or 0.0)


def ac_output_v(inverter: Inverter) -> float:
    """Voltage that carries an inverter's rating: between the outer conductors where there are two legs [V]."""
    return float(max(int(volts) for volts in inverter.ac.split("/")))


def string_a(steady_a: float | np.ndarray, strings: int | np.ndarray, charge_max_a: float | np.ndarray) -> np.ndarray:
    """Current of one battery string: its share of the load, or the greatest charge that it takes, whichever is more [A]."""
    return np.maximum(np.asarray(steady_a) / strings, charge_max_a)


def hot_cell_c(needs: Needs, module: Module) -> float:
    """Cell temperature on the hottest day in full sun [C]."""
    return float(array.cell_c(needs.problem.temperatures.hottest_c, module.noct_c, FULL_SUN_W_M2, needs.mounting_factor))


def cold_string_v(needs: Needs, catalog: Catalog, module: Module, series: int) -> float:
    """Open-circuit voltage of a string at the lowest expected temperature [V]; infinite where the table does not reach."""
    lowest = needs.problem.temperatures.lowest_c
    if module.tc_voc_pct_k is not None:
        return float(array.cold_voc_v(module.voc_v, module.tc_voc_pct_k, lowest)) * series
    try:
        return module.voc_v * float(array.cold_voc_factor(lowest, *catalog.tables.voc_factors)) * series
    except OutOfRange:
        return float("inf")


