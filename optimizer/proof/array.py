"""Rules of one controller with its array, from the part records."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.circuits.circuit import Circuit
from optimizer.design import Bank, Block
from optimizer.inputs.catalog import Tables
from optimizer.inputs.parts import Module
from optimizer.needs.site import (
    AGED_VMP_SHARE,
    ARC_FAULT_V,
    FULL_SUN_W_M2,
    HARVEST_W_M2,
    HEATING_BELOW_C,
    HOT_VOC_COEFFICIENT_PCT_K,
    LEAST_HEAT_SHARE,
    POLARITIES,
    PWM_GOOD_SHARE,
    PWM_HARD_SHARE,
    SHUTDOWN_V,
    Needs,
)
from optimizer.proof.lines import Line, Lines
from optimizer.rules import array, charging, wiring
from optimizer.rules.book import Values


def _hot_coefficient(module: Module) -> float:
    return module.tc_voc_pct_k if module.tc_voc_pct_k is not None else HOT_VOC_COEFFICIENT_PCT_K


def cold_string_v(needs: Needs, tables: Tables, module: Module, series: int) -> float:
    """Open-circuit voltage of a string at the lowest expected temperature [V]."""
    lowest = needs.problem.temperatures.lowest_c
    if module.tc_voc_pct_k is not None:
        return float(array.cold_voc_v(module.voc_v, module.tc_voc_pct_k, lowest)) * series
    return module.voc_v * array.cold_voc_factor(lowest, *tables.voc_factors) * series


def pwm_string_current_a(module: Module, series: int, cell_temperature_c: float, string_v: float) -> float:
    """Current of a string held at a voltage, at a cell temperature and in full sun [A]."""
    vmp = float(array.vmp_at_cell_v(module.vmp_v, module.tc_pmax_pct_k, module.tc_isc_pct_k, cell_temperature_c)) * series
    voc = float(array.voc_at_cell_v(module.voc_v, _hot_coefficient(module), cell_temperature_c)) * series
    isc = array.current_at_cell_a(module.isc_a, module.tc_isc_pct_k, cell_temperature_c)
    imp = array.current_at_cell_a(module.imp_a, module.tc_isc_pct_k, cell_temperature_c)
    return float(array.current_at_voltage_a(string_v, isc, imp, vmp, max(voc, vmp * 1.01)))


@dataclass(frozen=True)
class Way:
    """What the cables between modules and bank lose, for one controller with its array."""

    run_v: float = 0.0
    """Lost between modules and controller at the current of full power [V]."""
    charge_ohm: float = 0.0
    """Resistance between controller and bank, there and back [ohm]."""
    sized: bool = False
    """Whether the cables are sized; if not, a share stands for them."""

    @classmethod
    def of(cls, circuits: tuple[Circuit, ...], tables: Tables) -> Way:
        """From the circuits of the block."""
        if not circuits:
            return cls()
        by_kind = {circuit.ask.kind: circuit for circuit in circuits}
        lost = sum(by_kind[kind].drop_v(tables) for kind in ("array string", "array run") if kind in by_kind)
        charge = by_kind.get("charge")
        ohm = charge.drop_v(tables) / charge.ask.drop_a if charge is not None else 0.0
        return cls(lost, ohm, sized=True)

    def lost_v(self, block: Block) -> float:
        """Lost between modules and bank at the current of full power [V]."""
        return self.run_v + self.charge_ohm * block.module.imp_a * block.strings

    def kept_share(self, needs: Needs, bank: Bank, block: Block, limit_a: float, irradiance_w_m2: Values = HARVEST_W_M2) -> Values:
        """Share of the energy that the way leaves to a tracking controller, at an irradiance."""
        share = needs.wire_share(sized=self.sized)
        if not self.sized:
            return share
        flowing = min(limit_a, block.array_w / bank.nominal_v)
        run = wiring.loss_share(self.run_v / (block.module.vmp_v * block.series), irradiance_w_m2)
        charge = wiring.loss_share(flowing * self.charge_ohm / bank.charging_v, irradiance_w_m2)
        return share * (1 - run) * (1 - charge)


@dataclass(frozen=True)
class BlockFacts:
    """What one controller with its array brings to the whole; all values for one of the `count` controllers."""

    harvest_wh: np.ndarray
    """Energy a day into the bank by month of use [Wh/day]."""
    low_a: float
    """Charging current that it gives at least in full sun, at absorption [A]."""
    high_a: float
    """Charging current that it can give at most [A]."""
    highest_v: float
    """Highest voltage that it puts on the bank with loads connected [V]."""
    load_terminal_a: float
    way_share: float = 1.0
    """Share of the energy that the cables leave to a tracking controller."""


def derated_output_a(needs: Needs, block: Block) -> float:
    """Rated output of a controller at its room's temperature and height [A]."""
    device = block.device
    factor = charging.heat_and_height_factor(
        needs.electronics_highest_c, device.full_output_t_max_c, device.derating_pct_k, needs.problem.site.elevation_m
    )
    return device.output_a * float(factor)


def block_facts(needs: Needs, bank: Bank, block: Block, way: Way = Way()) -> BlockFacts:
    """What a block brings, from the part records."""
    device, module = block.device, block.module
    rise = module.noct_c - 20
    cells_c = array.cell_c(needs.air_c, module.noct_c, HARVEST_W_M2, needs.mounting_factor)
    equalised = needs.problem.bank.equalise == "connected"
    highest = bank.highest_v(device, needs.battery_lowest_c, equalise_connected=equalised)
    derated = derated_output_a(needs, block)
    array_a = float(array.array_input_current_a(module.isc_a, block.strings, module.bifacial_pct))
    shared = max(0.0, derated - array_a) if device.load_shares_rating else np.inf
    terminal = min(device.load_terminal_a, shared)
    kept = 1.0
    if device.kind == "pwm":
        drop = device.run_over_bank_v
        lost = way.lost_v(block)
        held = bank.charging_v + drop + HARVEST_W_M2 / FULL_SUN_W_M2 * lost
        currents = [pwm_string_current_a(module, block.series, float(t), held) for t in cells_c]
        harvest = array.pwm_harvest_wh(
            np.array(currents), block.strings, bank.charging_v, needs.sun_h_on(block.plane), needs.array_factor, device.efficiency
        )
        warmest = float(np.max(needs.air_c)) + rise * needs.mounting_factor
        low = block.strings * pwm_string_current_a(module, block.series, warmest, bank.absorb_v + drop + lost)
        high = array_a / array.EDGE_OF_CLOUD
    else:
        limit = min(derated, block.limit_a) if block.limit_a is not None else derated
        kept = float(way.kept_share(needs, bank, block, limit))
        harvest = array.power_tracking_harvest_wh(
            block.array_w, module.tc_pmax_pct_k, cells_c, needs.sun_h_on(block.plane), needs.array_factor * kept,
            device.efficiency, limit * bank.charging_v,
        )
        low = float(charging.tracker_charge_current_a(block.array_w, device.efficiency, bank.absorb_v, limit))
        gain = 1 + module.bifacial_pct / 100
        high = float(charging.tracker_charge_current_a(block.array_w * gain, device.efficiency, bank.nominal_v, limit))
    return BlockFacts(np.asarray(harvest), float(low), float(high), highest, terminal, kept)


def block_lines(needs: Needs, tables: Tables, bank: Bank, block: Block, where: str = "", way: Way = Way()) -> list[Line]:
    """Rules 6, 7, 10-12, 14-21, 23-28, 31, 32, 47 and 94 for one block on its bank."""
    lines = Lines(needs.severities, where or f"{block.part.id} with {block.module.id}")
    _string_voltage(lines, needs, tables, bank, block, way.run_v)
    _controller(lines, needs, bank, block)
    if block.device.kind == "pwm":
        _pwm_string(lines, needs, bank, block, way.lost_v(block))
    return lines.lines


def _string_voltage(lines: Lines, needs: Needs, tables: Tables, bank: Bank, block: Block, lost_v: float) -> None:
    device, module, site = block.device, block.module, needs.problem
    share = 1 - site.array.cold_voltage_margin_pct / 100
    absorb = bank.absorb_at_v(device, needs.battery_highest_c)
    hot_cell = float(array.cell_c(site.temperatures.hottest_c, module.noct_c, FULL_SUN_W_M2, needs.mounting_factor))
    hot_vmp = block.series * float(array.vmp_at_cell_v(module.vmp_v, module.tc_pmax_pct_k, module.tc_isc_pct_k, hot_cell))

    def cold() -> float:
        return cold_string_v(needs, tables, module, block.series)

    lines.add_or_unknown("cold-open-circuit", device.pv_voc_max_v * share, "", cold)
    lines.add_or_unknown("operating-open-circuit", device.pv_voc_operating_max_v, "", cold)
    lines.add_or_unknown("module-system-voltage", module.max_system_v, "", cold)
    if site.wiring.rapid_shutdown:
        lines.add_or_unknown("rapid-shutdown", SHUTDOWN_V, "", cold)
    if site.site.on_building and not site.wiring.arc_fault_detectors:
        lines.add_or_unknown("arc-fault", ARC_FAULT_V, "", cold)
    if site.array.volts_max is not None:
        lines.add_or_unknown("extra-low-voltage", site.array.volts_max, "", lambda: max(cold(), bank.absorb_at_v(device, needs.battery_lowest_c)))
    if device.kind == "boost":
        lines.add_or_unknown("boost-voltage", bank.chemistry.empty_v_cell * bank.cells, "", cold)
        lines.add("tracker-window", hot_vmp - lost_v, device.mppt_min_v)
        return
    if device.kind == "mppt":
        needed = absorb + device.run_over_bank_v
        lines.add("hot-run-voltage", hot_vmp - lost_v, needed)
        lines.add("aged-run-voltage", hot_vmp * AGED_VMP_SHARE - lost_v, needed)
        hot_voc = float(array.voc_at_cell_v(module.voc_v, _hot_coefficient(module), hot_cell))
        lines.add("start-voltage", block.series * hot_voc * array.LOW_LIGHT_VOC_SHARE, bank.volts + device.start_over_bank_v)
        lines.add("tracker-window", hot_vmp - lost_v, device.mppt_min_v)


def _pwm_string(lines: Lines, needs: Needs, bank: Bank, block: Block, lost_v: float) -> None:
    device, module = block.device, block.module
    wanted = float(array.series_cells_wanted(bank.volts))
    lines.add("pwm-nominal-match", module.series_cells * block.series, wanted)
    if device.pv_nominal_rule:
        lines.add("pwm-nominal-rule", module.series_cells * block.series, wanted)
    hot_cell = float(array.cell_c(needs.problem.temperatures.hottest_c, module.noct_c, FULL_SUN_W_M2, needs.mounting_factor))
    held = bank.absorb_at_v(device, needs.battery_highest_c) + device.run_over_bank_v + lost_v
    imp = float(array.current_at_cell_a(module.imp_a, module.tc_isc_pct_k, hot_cell))
    share = pwm_string_current_a(module, block.series, hot_cell, held) / imp
    lines.add("pwm-absorption-current", share, PWM_HARD_SHARE)
    lines.add("pwm-absorption-current-full", share, PWM_GOOD_SHARE)


def _controller(lines: Lines, needs: Needs, bank: Bank, block: Block) -> None:
    device, module = block.device, block.module
    derated = derated_output_a(needs, block)
    lines.add("controller-bank-voltage", float(bank.volts), tuple(float(v) for v in device.bank_v))
    lines.add("controller-room-temperature", derated, LEAST_HEAT_SHARE * device.output_a)
    maximum = float(array.array_input_current_a(module.isc_a, block.strings, module.bifacial_pct))
    as_rated = maximum / array.EDGE_OF_CLOUD if device.isc_basis == "stc" else maximum
    lines.add("controller-input-current", as_rated, device.pv_isc_max_a)
    if device.kind == "pwm":
        lines.add("pwm-rating", maximum, derated)
    else:
        rating_w = device.output_a * bank.volts
        lines.add("array-above-rating", block.array_w, (device.pv_w_soft_x or 0.0) * rating_w)
        lines.add("controller-input-power", block.array_w, (device.pv_w_hard_x or 0.0) * rating_w)
    lines.add("quick-controller-size", float(charging.quick_controller_current_a(block.array_w, bank.volts)), device.output_a)
    if block.limit_a is not None:
        lines.add("charge-limit", device.charge_limit_settable and device.kind != "pwm", True)
    lines.add("earthing-polarity", device.polarity, POLARITIES[needs.problem.site.earthing])
    if bank.is_lithium:
        lines.add("charge-profile", device.lfp_profile, True)
    if bank.battery.bms:
        lines.add("battery-loss", device.battery_loss_ok, True)
        equalised = needs.problem.bank.equalise == "connected"
        highest = bank.highest_v(device, needs.battery_lowest_c, equalise_connected=equalised)
        lines.add("charge-below-cut-off", highest, (bank.battery.bms_high_v or 0.0) * bank.series)
    if needs_cold_cut_out(needs, bank):
        lines.add("low-temperature-cut-out", device.low_t_cut_out or bank.battery.bms_cold_cut_out, True)


def needs_cold_cut_out(needs: Needs, bank: Bank) -> bool:
    """Whether charging must be able to stop by itself in the cold: lithium, near freezing."""
    return bank.is_lithium and needs.battery_lowest_c < HEATING_BELOW_C
