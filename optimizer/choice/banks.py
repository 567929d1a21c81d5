"""Battery banks as candidates: every battery in every allowed voltage and number of strings."""

from __future__ import annotations

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.circuits.wiring import DEVICE_COMPENSATION_C, Wiring
from optimizer.design import age_spread_months
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery
from optimizer.needs.site import (
    HEATING_BELOW_C,
    LEAD_ACID_STRINGS_MOST,
    LEAD_ACID_STRINGS_PREFERRED,
    WARM_BATTERY_C,
    Needs,
)
from optimizer.rules import bank as rules
from optimizer.rules import charging, protection

BATTERY_FIELDS = (
    "unit_v", "cells", "capacity_5h_ah", "capacity_20h_ah", "capacity_100h_ah", "dod_daily", "dod_autonomy", "efficiency_wh",
    "charge_min_share", "charge_max_a", "discharge_cont_a", "discharge_peak_a", "discharge_peak_s", "charge_t_min_c",
    "charge_t_max_c", "discharge_t_min_c", "absorb_v", "equalise_v", "tcomp_mv_k", "max_series", "max_parallel",
    "internal_resistance_mohm", "self_discharge_pct_month", "bms", "bms_low_v", "bms_high_v", "bms_cold_cut_out", "bms_w",
    "heater_wh_day", "energy_kwh", "weight_kg", "fault_current_a",
)

CLASS_COLUMNS = (
    "volts", "nominal_v", "charging_v", "absorb25_v", "equalise25_v", "tcomp_bank_mv_k", "empty_v", "lithium", "lead_acid", "bms",
    "bms_high_bank_v", "cold_cut_out_needed", "fault_step",
)
"""What a charging block can see of a bank: banks that agree in these are one bank class."""


def bank_table(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> tuple[Table, list[Battery]]:
    """Screened banks, and the batteries that their column `battery` counts in."""
    problem = needs.problem
    batteries = [battery for battery in catalog.batteries if stock.allows(battery.id)]
    rows = []
    for at, battery in enumerate(batteries):
        cells_per_12v = catalog.chemistry(battery).cells_per_12v
        for volts in problem.bank.volts:
            series = rules.units_in_series(volts, battery.cells, cells_per_12v)
            rows += [(at, volts, series, strings) for strings in range(1, problem.bounds.battery_strings + 1)]
    columns = np.array(rows, dtype=int).reshape(-1, 4)
    table = Table.of_records(batteries, BATTERY_FIELDS).take(columns[:, 0])
    table.add(battery=columns[:, 0], volts=columns[:, 1], series=columns[:, 2], strings=columns[:, 3])
    chemistries = [catalog.chemistry(battery) for battery in batteries]
    for field in ("charging_v_cell", "half_charged_v_cell", "empty_v_cell", "gasses", "needs_water"):
        table.add(**{field: np.array([getattr(chemistry, field) for chemistry in chemistries])[table.battery] if len(table) else []})
    family = np.array([chemistry.family for chemistry in chemistries])[table.battery] if len(table) else np.array([], dtype=str)
    table.add(lithium=family == "lithium", lead_acid=family == "lead-acid", units=table.series * table.strings)

    def name(current: Table) -> object:
        return lambda row: f"{batteries[current.battery[row]].id} at {current.volts[row]} V, {current.strings[row]} in parallel"

    def hold(rule_id: str, actual: object, required: object, where: object = True) -> None:
        nonlocal table
        table = screening.hold(table, rule_id, actual, required, name(table), where=where)  # type: ignore[arg-type]

    hold("battery-series-count", table.series >= 1, True)
    hold("battery-series-limit", table.series, table.max_series)
    hold("battery-parallel-limit", table.strings, table.max_parallel)
    hold("lead-acid-parallel", table.strings, LEAD_ACID_STRINGS_MOST, table.lead_acid)
    hold("lead-acid-parallel-preferred", table.strings, LEAD_ACID_STRINGS_PREFERRED, table.lead_acid)
    if problem.owned:
        spread = [age_spread_months(problem, batteries[b].id, int(n)) for b, n in zip(table.battery, table.units, strict=True)]
        asked = problem.bank.age_spread_months_max
        most = np.array([chemistry.age_spread_months_max if asked is None else asked for chemistry in chemistries])
        hold("battery-age", np.array(spread), most[table.battery] if len(table) else [])
    if problem.bank.chemistries:
        hold("chemistry-allowed", np.array([batteries[b].chemistry in problem.bank.chemistries for b in table.battery], dtype=bool), True)
    hold("charge-temperature", needs.battery_lowest_c, table.charge_t_min_c, table.lithium)
    hold("discharge-temperature", needs.battery_lowest_c, table.discharge_t_min_c)
    hold("battery-too-hot", needs.battery_highest_c, table.charge_t_max_c)
    hold("battery-warm", float(needs.battery_c.mean()), WARM_BATTERY_C)
    hold("storage-months", rules.idle_loss_share(problem.bank.idle_months, table.self_discharge_pct_month), problem.bank.idle_loss_share_max)
    if problem.bank.place == "living space":
        hold("battery-ventilation", ~table.gasses, True)
    if not problem.site.attended:
        hold("attendance", ~table.needs_water, True)
    hold("battery-unit-energy", table.energy_kwh, problem.bank.unit_kwh_max)
    if problem.bank.total_kwh_max is not None:
        hold("battery-place-energy", table.energy_kwh * table.units, problem.bank.total_kwh_max)
    if problem.limits.piece_kg_max is not None:
        hold("heaviest-piece", table.weight_kg, problem.limits.piece_kg_max)
    cold = [[_cold_factor(catalog, battery, season.battery_mean_c) for season in needs.seasons] for battery in batteries]
    table.add(cold_share=np.array(cold).reshape(-1, len(needs.seasons))[table.battery])
    hold("cold-capacity-known", ~np.isnan(table.cold_share).any(axis=1), True)
    _class_columns(needs, table, stock.prices.wiring)
    return table, batteries


def storage(needs: Needs, catalog: Catalog, table: Table) -> None:
    """Columns by season: usable storage, storage above the freezing floor, standby [Wh, Wh, Wh/day]; of banks, or of cores with their banks."""
    shape = (len(table), len(needs.seasons))
    usable, above_freezing, standby = np.full(shape, np.nan), np.full(shape, np.inf), np.zeros(shape)
    end_of_life = needs.problem.autonomy.end_of_life_share
    nominal = table.unit_v * table.series
    for at, season in enumerate(needs.seasons):
        cold = table.cold_share[:, at]
        known = ~np.isnan(cold)
        share = table.dod_autonomy * cold * end_of_life
        with np.errstate(invalid="ignore"):
            hours = rules.discharge_hours(season.autonomy_d, np.where(known, share, 1.0))
        capacity = rules.capacity_at_hours_ah(hours, table.capacity_5h_ah, table.capacity_20h_ah, table.capacity_100h_ah)
        whole = capacity * nominal * table.strings * end_of_life
        usable[:, at] = whole * cold * table.dod_autonomy
        depth = rules.freezing_depth(season.battery_lowest_c, *catalog.tables.freezing)
        above_freezing[table.lead_acid, at] = (whole * depth)[table.lead_acid]
        heater = table.heater_wh_day * (season.battery_lowest_c < HEATING_BELOW_C)
        lost = rules.self_discharge_wh_day(nominal * table.capacity_20h_ah * table.strings, table.self_discharge_pct_month, season.battery_mean_c)
        standby[:, at] = table.units * (heater + table.bms_w * 24 * table.bms) + lost
    table.add(usable_wh=usable, above_freezing_wh=above_freezing, standby_wh=standby)


def _cold_factor(catalog: Catalog, battery: Battery, temperature_c: float) -> float:
    table_c, share = catalog.tables.cold_capacity[battery.chemistry]
    if not table_c[0] <= temperature_c <= table_c[-1]:
        return float("nan")
    return float(rules.cold_capacity_factor(temperature_c, table_c, share, battery.chemistry))


def _class_columns(needs: Needs, table: Table, wiring: Wiring) -> None:
    cells = table.cells * table.series
    least = charging.minimum_charge_current_a(table.charge_min_share, 1.0, table.capacity_20h_ah, table.strings)
    table.add(
        nominal_v=table.unit_v * table.series, charging_v=table.charging_v_cell * cells, absorb25_v=table.absorb_v * table.series,
        equalise25_v=table.equalise_v * table.series, tcomp_bank_mv_k=table.tcomp_mv_k * table.series,
        empty_v=table.empty_v_cell * cells, bms_high_bank_v=table.bms_high_v * table.series,
        cold_cut_out_needed=table.lithium & (needs.battery_lowest_c < HEATING_BELOW_C) & ~table.bms_cold_cut_out.astype(bool),
        least_charge_a=np.where(table.lead_acid, least, 0.0), most_charge_a=needs.severities.asked("maximum-charge-current", table.charge_max_a * table.strings),
    )
    table.columns["bms"] = table.bms.astype(bool)
    fault_a = protection.bank_fault_a(table.fault_current_a, table.strings)
    setpoint = np.maximum(table.absorb_v, np.nan_to_num(table.equalise_v.astype(float), nan=0.0)) * table.series
    top_v = charging.compensated_v(setpoint, table.tcomp_bank_mv_k, needs.battery_lowest_c, *DEVICE_COMPENSATION_C)
    table.add(fault_a=fault_a, top_v=top_v, fault_step=wiring.fault_step(fault_a))


def bank_classes(table: Table) -> tuple[np.ndarray, np.ndarray]:
    """Class number of each bank, and the first row of each class."""
    if not len(table):
        return np.zeros(0, dtype=int), np.zeros(0, dtype=int)
    key = np.column_stack([np.nan_to_num(table.columns[name].astype(float), nan=-1.0).round(6) for name in CLASS_COLUMNS])
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    return number.ravel(), first
