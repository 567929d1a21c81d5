"""Frames of power cores: bank, inverters and converters that stand every current, before anyone asks how long they last.

No frame sees how many days a bank must last. So the frames of one problem serve the next that differs only in that; the memory
lies with the catalog, whose parts they are of. A problem's own text is the key, so whatever frames may see builds anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from optimizer.choice.banks import bank_classes, bank_table
from optimizer.choice.core_circuits import with_load_circuits, with_string_circuits
from optimizer.choice.inverters import converter_options, inverter_table
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table, product_rows
from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Converter, Inverter
from optimizer.needs.site import Needs
from optimizer.rules import bank as rules

Ways = tuple[tuple[Converter, int] | None, ...]

UNSEEN: Mapping[str, bool | set[str]] = {"name": True, "solver": True, "growth": True, "autonomy": {"days", "recovery_days"}}
"""What of a problem no frame sees."""

KEPT_MOST = 4
"""Problems whose frames are kept, those first out that were not asked for longest."""


@dataclass(frozen=True)
class Frame:
    """What is left on one bank voltage with one way of feeding the DC loads; None where no inverter fits the voltage."""

    table: Table | None
    way: int
    screening: Screening


@dataclass(frozen=True)
class Frames:
    """All frames of a problem, and the parts that their columns count in."""

    each: list[Frame]
    classes: list[Bank]
    batteries: list[Battery]
    inverters: list[Inverter]
    ways: list[Ways]
    missing: str
    screening: Screening
    """What became of banks and inverters before they met."""


def remembered_frames(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> Frames:
    """The frames of a problem; nothing is told to `screening`."""
    text = needs.problem.model_dump_json(exclude=dict(UNSEEN))
    key = (text, repr(needs.problem.inverter.stepped_up), needs.severities.key, screening.key)
    memory: dict[object, Frames] = catalog.frames
    known = memory.pop(key) if key in memory else _frames(needs, catalog, screening.anew(), stock)
    memory[key] = known
    while len(memory) > KEPT_MOST:
        del memory[next(iter(memory))]
    return known


def _frames(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> Frames:
    banks, batteries = bank_table(needs, catalog, screening, stock)
    missing = f"No battery bank is left after the rule {screening.emptied_by}." if not len(banks) else ""
    inverters, inverter_records = inverter_table(needs, catalog, screening, stock)
    if not len(inverters) and not missing:
        missing = f"No inverter is left after the rule {screening.emptied_by}."
    number, first = bank_classes(banks)
    banks.add(bank_class=number)
    classes = []
    for row in first:
        battery = batteries[banks.battery[row]]
        classes.append(Bank(battery, catalog.chemistry(battery), int(banks.volts[row]), int(banks.series[row]), int(banks.strings[row])))
    ways: list[Ways] = []
    each: list[Frame] = []
    for volts in sorted({int(v) for v in banks.volts}):
        of_volts = banks.take(banks.volts == volts)
        told = screening.anew()
        fits = inverters.take((inverters.inverter < 0) | (inverters.bank_v == volts)) if screening.enforced("inverter-bank-voltage") else inverters
        if not len(fits):
            told.lost("inverter-bank-voltage", len(of_volts), 0, f"no inverter is left for a {volts} V bank")
        options = converter_options(needs, catalog, told, stock, volts)
        each.append(Frame(None, -1, told))
        for way in options:
            ways.append(way)
            if len(fits):
                told = screening.anew()
                table = _crossed(needs, of_volts, fits, inverter_records, way, len(ways) - 1, told, stock.prices.wiring)
                each.append(Frame(table, len(ways) - 1, told))
    return Frames(each, classes, batteries, inverter_records, ways, missing, screening)


def _crossed(
    needs: Needs, banks: Table, inverters: Table, records: list[Inverter], way: Ways, way_at: int, screening: Screening, wiring: Wiring,
) -> Table:
    """Every bank with every inverter bank for one way of feeding the DC loads."""
    b, i = product_rows(len(banks), len(inverters))
    table = banks.take(b)
    for column in ("inverter", "idle_w", "search_w", "dc_low_cut_v", "dc_max_v", "cont_w"):
        table.add(**{column: inverters.columns[column][i]})
    efficiency = np.column_stack([inverters.efficiency[i], *(np.full(len(table), 1.0 if use is None else use[0].efficiency) for use in way)])
    table.add(inverter_count=inverters.count[i], supply_efficiency=efficiency, way=np.full(len(table), way_at))
    table.add(wiring_cents=np.zeros(len(table), dtype=np.int64), wiring_kg=np.zeros(len(table)))
    if wiring.active:
        table = with_load_circuits(table, records, way, screening, wiring)
    table = _held_currents(needs, table, screening)
    if wiring.active and len(table):
        table = with_string_circuits(table, records, way, screening, wiring)
    return table


def _held_currents(needs: Needs, table: Table, screening: Screening) -> Table:
    demand = needs.demand
    has = table.inverter >= 0
    empty = table.empty_v_cell * table.cells * table.series
    table.add(lowest_v=np.where(has, table.dc_low_cut_v, empty))
    table.add(dc_a=(demand.coincident_dc_w / table.supply_efficiency[:, 1:]).sum(axis=1) / table.lowest_v)

    def hold(rule_id: str, actual: object, required: object, what: str, where: object = True) -> None:
        nonlocal table
        table = screening.hold(table, rule_id, actual, required, lambda _: what, where=where)

    hold("cut-out-order", table.dc_low_cut_v, table.bms_low_v * table.series, "inverter's cut-out", has & table.bms)
    with_ac = rules.discharge_current_a(demand.coincident_w, table.supply_efficiency[:, 0], table.lowest_v, table.dc_a)
    table.add(steady_a=np.where(table.inverter >= 0, with_ac, table.dc_a))
    hold("continuous-discharge", rules.carried_current_a(table.discharge_cont_a, table.strings), table.steady_a, "bank under the coincident load")
    one_out = rules.carried_current_a(table.discharge_cont_a, np.maximum(table.strings - 1, 1))
    hold("one-string-out", one_out, table.steady_a, "bank with one string out", table.strings > 1)
    peak_dc = (demand.peak_dc_w / table.supply_efficiency[:, 1:]).sum(axis=1)
    hold("surge-discharge", rules.carried_current_a(table.discharge_peak_a, table.strings), peak_dc / table.lowest_v, "bank under the worst DC start")
    for start in demand.starts:
        rated = np.where(start.seconds <= table.discharge_peak_s, table.discharge_peak_a, table.discharge_cont_a)
        able = rules.carried_current_a(rated, table.strings)
        drawn = rules.discharge_current_a(start.power_w, table.supply_efficiency[:, 0], table.lowest_v, table.dc_a)
        hold("surge-discharge", able, drawn, f"bank at the start of {start.item}", table.inverter >= 0)
        drawn = rules.discharge_current_a(start.power_w, table.supply_efficiency[:, 0], table.lowest_v, table.dc_a)
        rest = table.half_charged_v_cell * table.cells * table.series
        sagged = rules.sagged_voltage_v(rest, drawn, table.internal_resistance_mohm * table.series / 1000, table.strings)
        asked = table.lowest_v + rules.SAG_RESERVE_V_PER_12V * table.volts / 12
        hold("sag-above-cut-out", sagged, asked, f"bank at the start of {start.item}", (table.inverter >= 0) & table.lead_acid)
    ripple = rules.ripple_capacity_ah(table.cont_w * table.inverter_count, table.volts)
    hold("ripple-minimum", table.capacity_20h_ah * table.strings, ripple, "bank behind the inverters", (table.inverter >= 0) & table.lead_acid)
    return table
