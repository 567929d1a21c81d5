"""Circuits of charging blocks: every cable that the run from an array may have makes a block of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.hot_strings import hold_hot
from optimizer.choice.table import Table
from optimizer.circuits.array_side import LACKING, array_side
from optimizer.circuits.figures import bank_fault_a
from optimizer.design import Bank
from optimizer.rules import array, wiring

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays


def with_circuits(arrays: Arrays, bank: Bank, table: Table) -> Table:
    """Blocks with the price, weight and losses of their circuits, one a cable of the run that may serve."""
    found, devices, panels, screening = arrays.stock.prices.wiring, arrays.devices, arrays.panels, arrays.screening
    top, fault = found.top_v(bank), bank_fault_a(bank)
    charge = found.charge_fit(devices.output_a, top, bank.nominal_v, fault)

    def lacks_charge(row: int) -> str:
        amperes = devices.output_a[table.device[row]]
        return f"cable and breaker between {arrays.parts[table.device[row]].id} and the bank: {amperes:g} A for hours, {top:.4g} V, {fault:,.0f} A to break"

    apart = ~devices.built_in  # a built-in tracker charges through its inverter's circuit
    table = screening.hold(table, "circuit-parts", charge.found[table.device], True, lacks_charge, where=apart[table.device])
    if not len(table):
        return table
    key = np.column_stack([table.module, table.series, table.strings])
    _, first, back = np.unique(key, axis=0, return_index=True, return_inverse=True)
    back = back.ravel()
    one = table.take(first)
    hot_vmp = array.vmp_at_cell_v(panels.vmp_v, panels.tc_pmax_pct_k, panels.tc_isc_pct_k, panels.hot_cell_c)
    side = array_side(found, arrays.modules, one.module, one.cold_v, hot_vmp[one.module] * one.series, one.strings)

    def lacks(row: int) -> str:
        return f"{LACKING[side.lacks[back[row]]]} of {table.strings[row]} x {arrays.name(table, row)}: {table.cold_v[row]:.4g} V in the cold"

    screening.hold(table, "circuit-parts", np.asarray(side.run_ok.any(axis=1))[back], True, lacks)
    rows, cable = np.nonzero(side.run_ok[back])
    table = table.take(rows)
    back = back[rows]
    cents = side.cents[back, cable] + np.where(apart, charge.cents, 0)[table.device]
    device_kg = np.array([*(part.weight_kg for part in found.charging.devices), 0.0])
    cable_kg = np.array([*(part.weight_kg for part in found.charging.cables), 0.0])
    charge_kg = np.where(apart, device_kg[charge.device] + cable_kg[charge.cable] * found.charging.metres, 0.0)
    ohm_km = np.append(found.charging.ohm_km, 0.0)[charge.cable]
    ohm = np.where(apart, wiring.voltage_drop_v(1.0, found.asked.charge_run_m, ohm_km), 0.0)
    table.add(
        cable=cable, run_drop_v=side.drop_v[back, cable], charge_ohm=ohm[table.device], wiring_cents=cents,
        **{name: table.columns[name] + cents for name in ("cost", "least_cost", "bill_cost")},
        weight_kg=table.weight_kg + side.kg[back, cable] + charge_kg[table.device],
    )
    return hold_hot(arrays, bank, table, table.run_drop_v, way_drop_v(table, panels) - table.run_drop_v)


def way_drop_v(table: Table, panels: Table) -> np.ndarray:
    """Voltage lost between modules and bank at the current of full power, where circuits are sized [V], shape (blocks,)."""
    if "run_drop_v" not in table.columns:
        return np.zeros(len(table))
    return np.asarray(table.run_drop_v + table.charge_ohm * panels.imp_a[table.module] * table.strings)
