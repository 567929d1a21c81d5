"""Charging blocks: every controller with every array that it may carry on a bank class."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.bill import block_allowances
from optimizer.choice.block_circuits import way_drop_v, with_circuits
from optimizer.choice.block_mounts import mountable, with_mounts
from optimizer.choice.hot_strings import hold_hot, string_current_a
from optimizer.choice.planes import on_planes
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table, product_rows
from optimizer.design import Bank, Block, charging_device
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Controller, Inverter, Module
from optimizer.needs.site import (
    ARC_FAULT_V,
    FULL_SUN_W_M2,
    HARVEST_W_M2,
    HEATING_BELOW_C,
    HOT_VOC_COEFFICIENT_PCT_K,
    LEAST_HEAT_SHARE,
    POLARITIES,
    SHUTDOWN_V,
    Needs,
)
from optimizer.rules import array, charging, wiring

MODULE_FIELDS = (
    "pmax_w", "voc_v", "isc_a", "vmp_v", "imp_a", "tc_isc_pct_k", "tc_pmax_pct_k", "tc_voc_pct_k", "noct_c", "max_system_v",
    "bifacial_pct", "series_cells", "length_mm", "width_mm", "weight_kg",
)
DEVICE_FIELDS = (
    "output_a", "pv_voc_max_v", "pv_voc_operating_max_v", "pv_isc_max_a", "pv_w_soft_x", "pv_w_hard_x", "start_over_bank_v",
    "run_over_bank_v", "mppt_min_v", "efficiency", "self_w", "load_terminal_a", "load_shares_rating", "lfp_profile",
    "temperature_compensated", "tcomp_t_min_c", "tcomp_t_max_c", "equalises", "low_t_cut_out", "battery_loss_ok", "parallel_ok",
    "charge_limit_settable", "full_output_t_max_c", "derating_pct_k", "pv_nominal_rule",
)


UNSEEN = {"name", "loads", "seasons", "autonomy", "inverter", "solver", "growth"}
"""Sections of a problem that no block sees. Months of use, which follow from loads and seasons, are seen by themselves."""

ADDED = ("cost", "least_cost", "bill_cost", "weight_kg", "pieces")
"""Columns that add up over a block's controller, its strings and its modules."""


@dataclass
class Arrays:
    """Strings on controllers that hold on any bank, and the parts that the columns `device` and `module` count in."""

    needs: Needs
    stock: Stock
    screening: Screening
    parts: list[Controller | Inverter]
    modules: list[Module]
    devices: Table
    panels: Table
    strings: Table
    """device, module, series, most_strings: screened by the rules that do not know the bank."""

    @cached_property
    def costs(self) -> dict[str, np.ndarray]:
        """Cost, weight and pieces of each device, module and string."""
        return _costs(self)

    @cached_property
    def seen(self) -> tuple[object, ...]:
        """Everything of a problem that a block may see."""
        needs = self.needs
        text = needs.problem.model_dump_json(exclude=UNSEEN)
        figures = (
            needs.months, needs.air_c, needs.plane_sun_h, needs.span_weights, needs.array_factor,
            needs.battery_lowest_c, needs.battery_highest_c, needs.electronics_highest_c,
        )
        ids = [part.id for part in (*self.parts, *self.modules)]
        return text, needs.severities.key, *(np.asarray(one).tobytes() for one in figures), *ids

    def name(self, table: Table, row: int) -> str:
        """What a row is called in the screening table."""
        return f"{table.series[row]} x {self.modules[table.module[row]].id} on {self.parts[table.device[row]].id}"

    def namer(self, table: Table) -> Callable[[int], str]:
        """Names of the rows of a table."""
        return lambda row: self.name(table, row)

    def block(self, table: Table, row: int, count: int = 1) -> Block:
        """The part records of a block."""
        limit = float(table.limit_a[row])
        wiring = self.stock.prices.wiring
        return Block(
            self.parts[table.device[row]], self.modules[table.module[row]], int(table.series[row]), int(table.strings[row]), count,
            None if np.isnan(limit) else limit, wiring.runs.cables[table.cable[row]] if wiring.active else None,
            plane=self.needs.planes[table.plane[row]],
        )


def arrays(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock, trackers: list[Inverter]) -> Arrays:
    """Controllers and built-in trackers with the strings that they stand on any bank."""
    problem = needs.problem
    modules = [module for module in catalog.modules if stock.allows(module.id)]
    parts: list[Controller | Inverter] = [controller for controller in catalog.controllers if stock.allows(controller.id)]
    parts += trackers
    seen = [charging_device(part) for part in parts]
    devices = Table.of_records(seen, DEVICE_FIELDS)
    heat = charging.heat_and_height_factor(
        needs.electronics_highest_c, devices.full_output_t_max_c, devices.derating_pct_k, problem.site.elevation_m
    )
    devices.add(
        device=np.arange(len(parts)), derated_a=devices.output_a * heat, built_in=np.array([isinstance(part, Inverter) for part in parts], dtype=bool),
        kind=np.array([device.kind for device in seen], dtype=object), weight_kg=np.array([device.weight_kg for device in seen]),
    )
    devices.add(pwm=devices.kind == "pwm", boost=devices.kind == "boost")
    limit = problem.limits.piece_kg_max
    ok = devices
    ok = screening.hold(ok, "controller-room-temperature", ok.derated_a, LEAST_HEAT_SHARE * ok.output_a, lambda row: parts[ok.device[row]].id)
    suits = np.array([seen[d].polarity in POLARITIES[problem.site.earthing] for d in ok.device], dtype=bool)
    ok = screening.hold(ok, "earthing-polarity", suits, True, lambda row: parts[ok.device[row]].id)
    panels = Table.of_records(modules, MODULE_FIELDS)
    panels.add(module=np.arange(len(modules)), cold_voc_v=np.array([_cold_voc_v(needs, catalog, module) for module in modules]))
    panels.add(hot_tc_voc=np.where(np.isnan(panels.tc_voc_pct_k.astype(float)), HOT_VOC_COEFFICIENT_PCT_K, panels.tc_voc_pct_k))
    panels.add(hot_cell_c=array.cell_c(problem.temperatures.hottest_c, panels.noct_c, FULL_SUN_W_M2, needs.mounting_factor))
    panels.add(area_m2=(panels.length_mm / 1000 + problem.array.gap_m) * (panels.width_mm / 1000 + problem.array.gap_m))
    light = panels
    if limit is not None:
        ok = screening.hold(ok, "heaviest-piece", ok.weight_kg, limit, lambda row: parts[ok.device[row]].id)
        light = screening.hold(light, "heaviest-piece", light.weight_kg, limit, lambda row: modules[light.module[row]].id)
    if stock.prices.mounts.active:
        light = light.take(mountable(stock.prices.mounts, needs.planes, modules, screening)[light.module])
    d, m, s = product_rows(len(ok), len(light), problem.bounds.modules_in_series)
    strings = Table({"device": ok.device[d], "module": light.module[m], "series": s + 1})
    result = Arrays(needs, stock, screening, parts, modules, devices, panels, strings)
    _screen_any_bank(result)
    return result


def _cold_voc_v(needs: Needs, catalog: Catalog, module: Module) -> float:
    lowest = needs.problem.temperatures.lowest_c
    if module.tc_voc_pct_k is not None:
        return float(array.cold_voc_v(module.voc_v, module.tc_voc_pct_k, lowest))
    try:
        return module.voc_v * array.cold_voc_factor(lowest, *catalog.tables.voc_factors)
    except OutOfRange:
        return float("nan")


def _screen_any_bank(arrays: Arrays) -> None:
    needs, screening, site = arrays.needs, arrays.screening, arrays.needs.problem.array
    table = arrays.strings
    cold = arrays.panels.cold_voc_v[table.module] * table.series
    table.add(cold_v=cold)
    devices, panels = arrays.devices, arrays.panels

    def hold(rule_id: str, limit: np.ndarray | float) -> None:
        nonlocal table
        current = table
        table = screening.hold(current, rule_id, current.cold_v, limit, lambda row: arrays.name(current, row))

    hold("cold-open-circuit", devices.pv_voc_max_v[table.device] * (1 - site.cold_voltage_margin_pct / 100))
    hold("operating-open-circuit", devices.pv_voc_operating_max_v[table.device])
    hold("module-system-voltage", panels.max_system_v[table.module])
    if site.volts_max is not None:
        hold("extra-low-voltage", site.volts_max)
    if needs.problem.site.on_building and not needs.problem.wiring.arc_fault_detectors:
        hold("arc-fault", ARC_FAULT_V)
    if needs.problem.wiring.rapid_shutdown:
        hold("rapid-shutdown", SHUTDOWN_V)
    # Strings in parallel that the controller's input stands, by division: the rows beyond are never made.
    bounded = np.full(len(table), needs.problem.bounds.strings_per_controller)
    per_string = panels.isc_a[table.module] * (1 + panels.bifacial_pct[table.module] / 100)
    absolute = np.array([charging_device(part).isc_basis == "max" for part in arrays.parts], dtype=bool)[table.device]
    drawn = per_string * np.where(absolute, array.EDGE_OF_CLOUD, 1.0)
    bounded = _most(screening, "controller-input-current", bounded, arrays.devices.pv_isc_max_a[table.device], drawn)
    pwm = devices.pwm[table.device]
    rating = np.where(pwm, devices.derated_a[table.device], np.inf)
    bounded = _most(screening, "pwm-rating", bounded, rating, per_string * array.EDGE_OF_CLOUD)
    table.add(most_strings=bounded)
    arrays.strings = table.take(bounded >= 1)


def _most(screening: Screening, rule_id: str, most: np.ndarray, limit: np.ndarray, each: np.ndarray) -> np.ndarray:
    """Fewer of `most` strings where `limit` stands only so many of `each`."""
    if not screening.enforced(rule_id):
        return most
    stands = np.floor(np.minimum(screening.asked(rule_id, limit) * (1 + 1e-6) / each, 1e6)).astype(int)
    fewer = np.maximum(np.minimum(most, stands), 0)
    removed = int((most - fewer).sum())
    if removed:
        screening.lost(rule_id, removed, int(fewer.sum()), "the next string in parallel")
    return np.asarray(fewer)


def blocks_of_class(arrays: Arrays, bank: Bank, ceiling_v: float, most_a: float, most_cents: float) -> Table:
    """Blocks on one bank class.

    ceiling_v, most_a: the highest voltage and charge current that any core of the class stands.
    most_cents: what a block may cost at most.
    """
    table = _screen_strings(arrays, bank, ceiling_v)
    if len(table):
        table = _parallel(arrays, bank, table, most_cents)
    if len(table) and arrays.stock.prices.wiring.active:
        table = with_circuits(arrays, bank, table)
    if len(table):
        table = _with_limits(arrays, bank, table)
        table = arrays.screening.hold(table, "maximum-charge-current", table.high_a, most_a, arrays.namer(table), as_it_is=True)
    if len(table):
        table = on_planes(arrays, table)
    if len(table) and arrays.stock.prices.mounts.active:
        table = with_mounts(arrays, table)
    if len(table):
        _harvest(arrays, bank, table)
    return table


def _screen_strings(arrays: Arrays, bank: Bank, ceiling_v: float) -> Table:
    needs, screening, devices, panels = arrays.needs, arrays.screening, arrays.devices, arrays.panels
    seen = [charging_device(part) for part in arrays.parts]
    equalised = needs.problem.bank.equalise == "connected"
    highest = np.array([bank.highest_v(device, needs.battery_lowest_c, equalise_connected=equalised) for device in seen])
    table = arrays.strings
    d = devices

    def hold(rule_id: str, actual: object, required: object, where: object = True, *, as_it_is: bool = False) -> None:
        nonlocal table
        table = screening.hold(table, rule_id, actual, required, arrays.namer(table), where=where, as_it_is=as_it_is)

    supports = np.array([bank.volts in device.bank_v for device in seen], dtype=bool)
    hold("controller-bank-voltage", supports[table.device], True)
    if bank.is_lithium:
        hold("charge-profile", d.lfp_profile[table.device].astype(bool), True)
    if bank.battery.bms:
        hold("battery-loss", d.battery_loss_ok[table.device].astype(bool), True)
        hold("charge-below-cut-off", highest[table.device], (bank.battery.bms_high_v or 0.0) * bank.series)
    if bank.is_lithium and needs.battery_lowest_c < HEATING_BELOW_C and not bank.battery.bms_cold_cut_out:
        hold("low-temperature-cut-out", d.low_t_cut_out[table.device].astype(bool), True)
    hold("inverter-dc-window", highest[table.device], ceiling_v, as_it_is=True)
    volts_max = needs.problem.array.volts_max
    if volts_max is not None:
        cold_absorb = np.array([bank.absorb_at_v(device, needs.battery_lowest_c) for device in seen])
        hold("extra-low-voltage", cold_absorb[table.device], volts_max)
    table.add(highest_v=highest[table.device])
    hold("boost-voltage", table.cold_v, bank.chemistry.empty_v_cell * bank.cells, d.boost[table.device])
    table = hold_hot(arrays, bank, table, np.zeros(len(table)), np.zeros(len(table)))
    hot_voc = array.voc_at_cell_v(panels.voc_v, panels.hot_tc_voc, panels.hot_cell_c)
    buck = ~d.boost & ~d.pwm
    start = hot_voc[table.module] * table.series * array.LOW_LIGHT_VOC_SHARE
    hold("start-voltage", start, bank.volts + d.start_over_bank_v[table.device], buck[table.device])
    wanted = float(array.series_cells_wanted(bank.volts))
    hold("pwm-nominal-rule", panels.series_cells[table.module] * table.series, wanted, d.pwm[table.device] & d.pv_nominal_rule[table.device].astype(bool))
    hold("pwm-nominal-match", panels.series_cells[table.module] * table.series, wanted, d.pwm[table.device])
    return table


def _parallel(arrays: Arrays, bank: Bank, table: Table, most_cents: float) -> Table:
    """Strings in parallel, with cost, area and weight of one block."""
    screening, devices, panels = arrays.screening, arrays.devices, arrays.panels
    d, m = table.device, table.module
    rating = devices.output_a[d] * bank.volts
    watts = panels.pmax_w[m] * table.series
    tracks = ~devices.pwm[d]
    most = table.most_strings
    most = _most(screening, "controller-input-power", most, np.where(tracks, devices.pv_w_hard_x[d] * rating, np.inf), watts)
    most = _most(screening, "array-above-rating", most, np.where(tracks, devices.pv_w_soft_x[d] * rating, np.inf), watts)
    most = _most(screening, "quick-controller-size", most, devices.output_a[d], charging.quick_controller_current_a(watts, bank.volts))
    areas = [one.area_m2 for one in arrays.needs.arrays]
    if None not in areas:
        largest = max(area for area in areas if area is not None)
        most = _most(screening, "array-area", most, np.full(len(table), largest), panels.area_m2[m] * table.series)
    costs = arrays.costs
    each = {name: costs["device_" + name][d] + 0 * most for name in ADDED}
    with_string = {name: costs["module_" + name][m] * table.series + costs["string_" + name] for name in ADDED}
    if np.isfinite(most_cents):
        with np.errstate(divide="ignore"):
            pays = np.floor((most_cents - each["least_cost"] + 0.5) / np.maximum(with_string["least_cost"], 1e-9))
        most = np.minimum(most, np.clip(pays, 0, 1e6).astype(int))
    rows = np.repeat(np.arange(len(table)), most)
    first = np.repeat(np.cumsum(most) - most, most)
    strings = np.arange(len(rows)) - first + 1
    table = table.take(rows)
    modules_each = table.series * strings
    table.add(
        strings=strings, modules_each=modules_each, area_m2=panels.area_m2[table.module] * modules_each,
        **{name: each[name][rows] + with_string[name][rows] * strings for name in each},
    )
    return table


def _costs(arrays: Arrays) -> dict[str, np.ndarray]:
    """Cost of a device, a module and a string with their allowances, freight and stated extra prices."""
    prices, stock = arrays.stock.prices, arrays.stock
    cents, kilos = prices.allowance_cents, prices.allowance_kg
    joint = prices.connection_cents
    counts = [block_allowances(Block(part, arrays.modules[0], 1, 1)) if arrays.modules else {} for part in arrays.parts]

    def of_device(each: Mapping[str, float]) -> np.ndarray:
        return np.array([sum(each.get(per, 0) * n for per, n in count.items() if per.startswith("controller")) for count in counts])

    device_allowance, device_bill, device_kilos = of_device(cents), of_device(prices.allowance_bill_cents), of_device(kilos)
    bought = np.array([not isinstance(part, Inverter) for part in arrays.parts], dtype=bool)

    def device(price: Callable[[str], float]) -> np.ndarray:
        return np.where(bought, [price(part.id) for part in arrays.parts], 0)

    def module(price: Callable[[str], float]) -> np.ndarray:
        return np.array([price(one.id) for one in arrays.modules])

    module_allowance, string_allowance = cents["module"] + joint, cents["array string"] + joint
    return {
        "device_cost": device(stock.price_cents) + device_allowance + 2 * joint * bought,
        "device_bill_cost": device(stock.bill_cents) + device_bill,
        "device_least_cost": device(stock.least_cents) + device_allowance + 2 * joint * bought,
        "device_weight_kg": device(lambda part_id: stock.part(part_id).weight_kg) + device_kilos,
        "device_pieces": bought.astype(int),
        "module_cost": module(stock.price_cents) + module_allowance,
        "module_bill_cost": module(stock.bill_cents) + prices.allowance_bill_cents["module"],
        "module_least_cost": module(stock.least_cents) + module_allowance,
        "module_weight_kg": module(lambda part_id: stock.part(part_id).weight_kg) + kilos.get("module", 0.0),
        "module_pieces": np.ones(len(arrays.modules), dtype=int),
        "string_cost": np.array(string_allowance), "string_least_cost": np.array(string_allowance),
        "string_bill_cost": np.array(prices.allowance_bill_cents["array string"]),
        "string_weight_kg": np.array(kilos.get("array string", 0.0)), "string_pieces": np.array(0),
    }


def _with_limits(arrays: Arrays, bank: Bank, table: Table) -> Table:
    """Charge limits where they can be set and would be met, and the charging currents of one block."""
    devices, panels, needs = arrays.devices, arrays.panels, arrays.needs
    gain = 1 + panels.bifacial_pct[table.module] / 100
    unlimited = panels.pmax_w[table.module] * table.modules_each * gain * devices.efficiency[table.device] / bank.nominal_v
    settable = devices.charge_limit_settable[table.device].astype(bool) & ~devices.pwm[table.device]
    tables = [table]
    table.add(limit_a=np.full(len(table), np.nan))
    for step in needs.problem.bounds.charge_limit_steps:
        limit = np.round(step * devices.output_a, 1)[table.device]
        if step < 1:
            limited = table.take(settable & (unlimited > limit) & (limit < devices.derated_a[table.device]) & (limit > 0))
            limited.add(limit_a=np.round(step * devices.output_a, 1)[limited.device])
            tables.append(limited)
    table = Table.joined([t for t in tables if len(t)] or [table])
    d, m = table.device, table.module
    pwm = devices.pwm[d]
    derated = devices.derated_a[d]
    limit = np.where(np.isnan(table.limit_a), derated, np.minimum(derated, np.nan_to_num(table.limit_a, nan=np.inf)))
    watts = panels.pmax_w[m] * table.modules_each
    efficiency = devices.efficiency[d]
    gain = 1 + panels.bifacial_pct[m] / 100
    low = charging.tracker_charge_current_a(watts, efficiency, bank.absorb_v, limit)
    high = charging.tracker_charge_current_a(watts * gain, efficiency, bank.nominal_v, limit)
    input_a = array.array_input_current_a(panels.isc_a[m], table.strings, panels.bifacial_pct[m])
    if pwm.any():
        warmest = float(np.max(needs.air_c)) + (panels.noct_c[m] - 20) * needs.mounting_factor
        held = np.full(len(table), bank.absorb_v) + devices.run_over_bank_v[d] + way_drop_v(table, panels)
        current = string_current_a(panels, table, warmest, held)
        low = np.where(pwm, table.strings * current, low)
        high = np.where(pwm, input_a / array.EDGE_OF_CLOUD, high)
    shared = np.where(devices.load_shares_rating[d].astype(bool), np.maximum(0.0, derated - input_a), np.inf)
    table.add(
        limit_effective_a=limit, low_a=low, high_a=high, self_w=devices.self_w[d],
        terminal_a=np.minimum(devices.load_terminal_a[d], shared), built_in=devices.built_in[d],
        parallel_ok=devices.parallel_ok[d].astype(bool),
    )
    return table


def _harvest(arrays: Arrays, bank: Bank, table: Table) -> None:
    """Column: energy a day by month of use, the controller's own use taken off [Wh/day]."""
    needs, devices, panels = arrays.needs, arrays.devices, arrays.panels
    rise = panels.noct_c - 20
    cells = (needs.air_c[None, :] + (rise * HARVEST_W_M2 / 800 * needs.mounting_factor)[:, None])[table.module]
    d, m = table.device, table.module
    watts = panels.pmax_w[m] * table.modules_each
    harvest = array.power_tracking_harvest_wh(
        watts[:, None], panels.tc_pmax_pct_k[m][:, None], cells, needs.plane_sun_h[table.plane], needs.array_factor * _way_kept(arrays, bank, table)[:, None],
        devices.efficiency[d][:, None], (table.limit_effective_a * bank.charging_v)[:, None],
    )
    pwm = np.nonzero(devices.pwm[d])[0]
    if len(pwm):
        some = table.take(pwm)
        held = bank.charging_v + devices.run_over_bank_v[some.device] + HARVEST_W_M2 / FULL_SUN_W_M2 * way_drop_v(some, panels)
        current = string_current_a(panels, some, cells[pwm], held)
        harvest[pwm] = array.pwm_harvest_wh(
            current, some.strings[:, None], bank.charging_v, needs.plane_sun_h[some.plane], needs.array_factor, devices.efficiency[some.device][:, None]
        )
    harvest = harvest - table.self_w[:, None] * 24
    table.add(harvest_wh=harvest @ needs.span_weights.T if needs.problem.balance.carry_over else harvest)


def _way_kept(arrays: Arrays, bank: Bank, table: Table) -> np.ndarray:
    """Share of the energy that the way from modules to bank leaves, shape (blocks,)."""
    panels, sized = arrays.panels, "run_drop_v" in table.columns
    share = np.full(len(table), arrays.needs.wire_share(sized=sized))
    if not sized:
        return share
    flowing = np.minimum(table.limit_effective_a, panels.pmax_w[table.module] * table.modules_each / bank.nominal_v)
    run = wiring.loss_share(table.run_drop_v / (panels.vmp_v[table.module] * table.series), HARVEST_W_M2)
    charge = wiring.loss_share(flowing * table.charge_ohm / bank.charging_v, HARVEST_W_M2)
    return np.asarray(share * (1 - run) * (1 - charge))


def block_pieces(arrays_: Arrays, blocks: Table, row: int) -> list[tuple[str, int]]:
    """Part ids and pieces of one block of a table."""
    pieces = [(arrays_.modules[blocks.module[row]].id, int(blocks.modules_each[row]))]
    return pieces if blocks.built_in[row] else [*pieces, (arrays_.parts[blocks.device[row]].id, 1)]


def pieces_in(arrays_: Arrays, blocks: Table, part_id: str) -> np.ndarray:
    """Pieces of one module or controller in each block of a table, shape (blocks,)."""
    modules = np.array([module.id == part_id for module in arrays_.modules], dtype=float)[blocks.module]
    devices = np.array([part.id == part_id for part in arrays_.parts], dtype=float)[blocks.device]
    return np.asarray(modules * blocks.modules_each + devices * ~blocks.built_in)


def with_cheapest_cables(blocks: Table) -> Table:
    """Of blocks that differ only in the cable of their run the cheapest: plans leave thicker ones out."""
    if "cable" not in blocks.columns:
        return blocks
    key = (np.nan_to_num(blocks.limit_a, nan=-1.0), blocks.strings, blocks.series, blocks.module, blocks.device, blocks.plane)
    order = np.lexsort((blocks.cable, blocks.wiring_cents, *key))
    first = np.ones(len(order), dtype=bool)
    first[1:] = np.any([column[order][1:] != column[order][:-1] for column in key], axis=0)
    return blocks.take(np.sort(order[first]))
