"""What a hot day asks of strings on a bank: working voltage and current at absorption, losses on the way taken off."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.table import Table
from optimizer.design import Bank, charging_device
from optimizer.needs.site import AGED_VMP_SHARE, PWM_GOOD_SHARE, PWM_HARD_SHARE
from optimizer.rules import array

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays


def hold_hot(arrays: Arrays, bank: Bank, table: Table, run_drop_v: np.ndarray, charge_drop_v: np.ndarray) -> Table:
    """Rows whose strings still charge on a hot day; what is lost before and behind the controller by row [V]."""
    d, panels, screening = arrays.devices, arrays.panels, arrays.screening
    hot_absorb = np.array([bank.absorb_at_v(charging_device(part), arrays.needs.battery_highest_c) for part in arrays.parts])
    hot_vmp = array.vmp_at_cell_v(panels.vmp_v, panels.tc_pmax_pct_k, panels.tc_isc_pct_k, panels.hot_cell_c)
    needed = hot_absorb + d.run_over_bank_v
    buck = ~d.boost & ~d.pwm
    table = Table({**table.columns, "hot_drop_v": run_drop_v, "way_drop_v": run_drop_v + charge_drop_v})

    def hold(rule_id: str, actual: object, required: object, where: object) -> None:
        nonlocal table
        table = screening.hold(table, rule_id, actual, required, arrays.namer(table), where=where)

    hold("hot-run-voltage", hot_vmp[table.module] * table.series - table.hot_drop_v, needed[table.device], buck[table.device])
    hold("aged-run-voltage", AGED_VMP_SHARE * hot_vmp[table.module] * table.series - table.hot_drop_v, needed[table.device], buck[table.device])
    hold("tracker-window", hot_vmp[table.module] * table.series - table.hot_drop_v, d.mppt_min_v[table.device], ~d.pwm[table.device])
    if len(table) and d.pwm[table.device].any():
        for rule_id, share in (("pwm-absorption-current", PWM_HARD_SHARE), ("pwm-absorption-current-full", PWM_GOOD_SHARE)):
            hold(rule_id, _pwm_share(panels, table, needed[table.device] + table.way_drop_v), share, d.pwm[table.device])
    return Table({name: column for name, column in table.columns.items() if name not in ("hot_drop_v", "way_drop_v")})


def string_current_a(panels: Table, table: Table, cell_c: np.ndarray, held_v: np.ndarray) -> np.ndarray:
    """Current of the strings held at a voltage; `cell_c` one a row or one a row and month."""
    def of(name: str) -> np.ndarray:
        column = panels.columns[name][table.module]
        return np.asarray(column if cell_c.ndim == 1 else column[:, None])

    series = table.series if cell_c.ndim == 1 else table.series[:, None]
    vmp = array.vmp_at_cell_v(of("vmp_v"), of("tc_pmax_pct_k"), of("tc_isc_pct_k"), cell_c) * series
    voc = np.maximum(array.voc_at_cell_v(of("voc_v"), of("hot_tc_voc"), cell_c) * series, vmp * 1.01)
    isc = array.current_at_cell_a(of("isc_a"), of("tc_isc_pct_k"), cell_c)
    imp = array.current_at_cell_a(of("imp_a"), of("tc_isc_pct_k"), cell_c)
    held = held_v if cell_c.ndim == 1 else held_v[:, None]
    return np.asarray(array.current_at_voltage_a(held, isc, imp, vmp, voc))


def _pwm_share(panels: Table, table: Table, held_v: np.ndarray) -> np.ndarray:
    cell = panels.hot_cell_c[table.module]
    imp = array.current_at_cell_a(panels.imp_a[table.module], panels.tc_isc_pct_k[table.module], cell)
    return np.asarray(string_current_a(panels, table, cell, held_v) / imp)
