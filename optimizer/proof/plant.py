"""A design as the replay steps it: what its arrays give in an hour, what its bank holds, what its loads take.

All power is counted at the battery's terminals. The formulas are those of `rules/`, fed with the weather of an hour
instead of the mean of a month.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, Design
from optimizer.inputs.parts import Module
from optimizer.needs.hours import HourLoads
from optimizer.needs.site import FULL_SUN_W_M2, HEATING_BELOW_C, HOT_VOC_COEFFICIENT_PCT_K, Needs
from optimizer.proof.array import Way, derated_output_a
from optimizer.proof.circuits import kept_shares
from optimizer.proof.core import Core
from optimizer.rules import array, inverting
from optimizer.rules import bank as rules

HOTTEST_SUN_W_M2 = 1200.0
"""Irradiance above which cells are taken to be no hotter: the end of the rule's range."""

ABSORPTION_FROM = 0.8
"""State of charge from which a lead-acid bank takes less and less; common practice, no source."""

TAIL_SHARE = 0.02
"""Charging current, as a share of C20, at which a lead-acid bank counts as full; common practice, no source."""


# --- arrays


@dataclass(frozen=True)
class Harvest:
    """Energy of arrays in some hours [Wh]: what they could give at their best, what is lost on the way, what is left.

    best_wh: at the maximum power point and the cells' temperature, soiling and unequal modules taken off
    """

    best_wh: np.ndarray
    wire_wh: np.ndarray
    conversion_wh: np.ndarray
    clipped_wh: np.ndarray
    pwm_voltage_wh: np.ndarray
    bus_wh: np.ndarray


def block_harvest(needs: Needs, bank: Bank, block: Block, sun_w_m2: np.ndarray, air_c: np.ndarray, way: Way = Way()) -> Harvest:  # noqa: B008 (frozen)
    """What the controllers of one block can put into the bank in each hour."""
    device, module = block.device, block.module
    cells_c = array.cell_c(air_c, module.noct_c, np.minimum(sun_w_m2, HOTTEST_SUN_W_M2), needs.mounting_factor)
    suns = sun_w_m2 / FULL_SUN_W_M2
    factor = needs.array_factor
    best = block.array_w * block.count * array.power_factor_at_cell(module.tc_pmax_pct_k, cells_c) * suns * factor
    nothing = np.zeros_like(best)
    if device.kind == "pwm":
        held_v = bank.charging_v + device.run_over_bank_v + suns * way.lost_v(block)
        current_a = string_current_a(module, block.series, cells_c, held_v) * suns * factor * block.strings * block.count
        reached = current_a * bank.charging_v
        bus = reached * device.efficiency
        return Harvest(best, nothing, reached * (1 - device.efficiency), nothing, best - reached, bus)
    limit_a = derated_output_a(needs, block)
    if block.limit_a is not None:
        limit_a = min(limit_a, block.limit_a)
    limit_w = limit_a * bank.charging_v * block.count
    wire = way.kept_share(needs, bank, block, limit_a, np.minimum(sun_w_m2, HOTTEST_SUN_W_M2))
    arrived = best * wire
    converted = arrived * device.efficiency
    return Harvest(
        best, best * (1 - wire), arrived * (1 - device.efficiency), np.maximum(converted - limit_w, 0.0), nothing, np.minimum(converted, limit_w),
    )


def string_current_a(module: Module, series: int, cells_c: np.ndarray, held_v: np.ndarray | float) -> np.ndarray:
    """Current of strings held at a voltage, at their cells' temperatures and in full sun [A]."""
    coefficient = module.tc_voc_pct_k if module.tc_voc_pct_k is not None else HOT_VOC_COEFFICIENT_PCT_K
    vmp = array.vmp_at_cell_v(module.vmp_v, module.tc_pmax_pct_k, module.tc_isc_pct_k, cells_c) * series
    voc = np.maximum(array.voc_at_cell_v(module.voc_v, coefficient, cells_c) * series, vmp * 1.01)
    isc = array.current_at_cell_a(module.isc_a, module.tc_isc_pct_k, cells_c)
    imp = array.current_at_cell_a(module.imp_a, module.tc_isc_pct_k, cells_c)
    return np.asarray(array.current_at_voltage_a(held_v, isc, imp, vmp, voc))


# --- the store


@dataclass(frozen=True)
class Store:
    """The bank through the year; energies are what it can give at its terminals, arrays have shape (12,).

    full_wh: all that it holds when it is full
    floor_wh: where drawing ends: full less what the autonomy rule counts as usable at the month's temperature
    efficiency: share of the charge that it gives back; all of its loss is counted while it is charged
    charge_w, discharge_w: most that it takes and gives; nothing goes into lithium cells below their least temperature
    leak_share: share of what it holds that is lost in an hour
    taper: whether it takes less and less near full, down to tail_w
    """

    full_wh: float
    floor_wh: np.ndarray
    efficiency: float
    charge_w: np.ndarray
    discharge_w: float
    leak_share: np.ndarray
    taper: bool
    tail_w: float


def store_of(core: Core, *, new: bool) -> Store:
    """The bank of a design, at the end of its life or as `new`."""
    needs, bank, battery = core.needs, core.bank, core.bank.battery
    temperatures = needs.problem.temperatures.battery_c
    more = 1 / needs.problem.autonomy.end_of_life_share if new else 1.0
    usable, whole = np.full(12, np.nan), np.full(12, np.nan)
    for month, at in zip(needs.months, needs.season_of_month, strict=True):
        season = replace(needs.seasons[at], battery_mean_c=temperatures[month])
        usable[month], whole[month] = core.usable(season)
    full = float(np.nanmax(whole)) * more
    # Months without loads: nothing is drawn but what the system itself takes.
    usable = np.where(np.isnan(usable), full * battery.dod_autonomy, usable * more)
    allowed = np.array([not bank.is_lithium or t >= battery.charge_t_min_c for t in temperatures])
    leak = rules.self_discharge_wh_day(1.0, battery.self_discharge_pct_month, np.array(temperatures)) / 24
    return Store(
        full_wh=full, floor_wh=np.maximum(full - usable, 0.0), efficiency=battery.efficiency_wh,
        charge_w=battery.charge_max_a * bank.strings * bank.charging_v * allowed,
        discharge_w=float(rules.carried_current_a(battery.discharge_cont_a, bank.strings)) * bank.nominal_v,
        leak_share=np.asarray(leak), taper=bank.is_lead_acid,
        tail_w=TAIL_SHARE * battery.capacity_20h_ah * bank.strings * bank.charging_v,
    )


# --- what the system takes


@dataclass(frozen=True)
class Takes:
    """Energy at the battery's terminals [Wh], shape (12, 7, 24), and what of it reaches the loads.

    standing: inverters, converters, controllers and the bank itself
    critical, other: loads, what their inverter and converters lose counted in
    critical_loss, other_loss: share of each hour's load that inverter and converters lose
    deferred, deferred_w: loads with a store of their own, and the most that they take [W], shape (12,)
    deferred_most: most of them that can wait: the days of the autonomy, shape (12,); deferred_loss: as above, shape (12,)
    """

    standing: np.ndarray
    critical: np.ndarray
    other: np.ndarray
    deferred: np.ndarray
    critical_loss: np.ndarray
    other_loss: np.ndarray
    deferred_loss: np.ndarray
    deferred_w: np.ndarray
    deferred_most: np.ndarray


def _loss_share(at_loads: np.ndarray, efficiency: np.ndarray) -> np.ndarray:
    """What the supplies lose of what they take, by hour; 0 where nothing runs."""
    lost, taken = (at_loads * (1 / efficiency - 1)).sum(axis=-1), (at_loads / efficiency).sum(axis=-1)
    return np.asarray(np.where(taken > 0, lost / np.where(taken > 0, taken, 1.0), 0.0))


def takes_of(core: Core, design: Design, loads: HourLoads) -> Takes:
    """What a design takes hour by hour at its battery's terminals."""
    needs, efficiency = core.needs, core.supply_efficiency
    standing = np.zeros((12, 7))
    inverters, battery = core.inverters, core.bank.battery
    electronics = battery.bms_w * 24 if battery.bms else 0.0
    own = sum(block.device.self_w * 24 * block.count for block in design.blocks) + core.bank.units * electronics
    own += sum(use.converter.idle_w * use.count * 24 for use in core.converters)
    waiting = np.zeros(12)
    for month, at in zip(needs.months, needs.season_of_month, strict=True):
        season = needs.seasons[at]
        waiting[month] = season.autonomy_d
        heater = battery.heater_wh_day if season.battery_lowest_c < HEATING_BELOW_C else 0.0
        standing[month] = core.bank.units * heater
        if inverters.inverter is not None:
            standing[month] += _inverters_wh(core, int(at), loads.inverter_day[month])
    standing = np.repeat((standing + own)[:, :, None] / 24, 24, axis=2)
    critical, other, deferred = ((wh / efficiency).sum(axis=-1) for wh in (loads.critical_wh, loads.other_wh, loads.deferred_wh))
    return Takes(
        standing, critical, other, deferred, _loss_share(loads.critical_wh, efficiency), _loss_share(loads.other_wh, efficiency),
        _loss_share(loads.deferred_wh.sum(axis=(1, 2)), efficiency), (loads.deferred_w / efficiency).sum(axis=-1),
        waiting * deferred.sum(axis=(1, 2)) / 7,
    )


def _inverters_wh(core: Core, at: int, used: np.ndarray) -> np.ndarray:
    """Idle and search energy of each day of the week; `used`: share of it on which AC loads run."""
    inverter, count = core.inverters.inverter, core.inverters.count
    assert inverter is not None, "asked only where there is an inverter"
    on, searching, _, _ = core.needs.inverter_hours[at]
    if core.needs.problem.inverter.on == "always":
        used = np.ones(7)
    on_h = on * used
    searching_h = searching * used + (24 * (1 - used) if core.needs.problem.inverter.on == "search" and on > 0 else 0.0)
    return np.asarray(inverting.idle_energy_wh(inverter.idle_w, inverter.search_w, on_h, searching_h, count) + core.needs.transformer_w * on_h)


# --- all together


@dataclass(frozen=True)
class Plant:
    """A design with its store and what it takes."""

    needs: Needs
    design: Design
    core: Core
    store: Store
    takes: Takes
    ways: tuple[Way, ...]

    def harvest(self, sun_w_m2: np.ndarray, air_c: np.ndarray) -> Mapping[str, np.ndarray]:
        """What all arrays give in some hours [Wh], shape (hours, years), by the names of `Harvest`.

        sun_w_m2: on the plane, shape (hours, years); where the problem has [[planes]] on each of them, shape (planes, hours, years)
        """
        each = [
            block_harvest(self.needs, self.design.bank, block, self._on(block, sun_w_m2), air_c, way)
            for block, way in zip(self.design.blocks, self.ways, strict=True)
        ]
        return {name: sum((getattr(one, name) for one in each[1:]), getattr(each[0], name)) for name in Harvest.__dataclass_fields__}

    def _on(self, block: Block, sun_w_m2: np.ndarray) -> np.ndarray:
        """The sun on the plane of a block."""
        return sun_w_m2 if block.plane is None else np.asarray(sun_w_m2[self.needs.planes.index(block.plane)])

    @property
    def has_other_source(self) -> bool:
        """Whether something stands behind the array of this design."""
        return self.needs.has_other_source and (self.design.source is not None or not self.needs.problem.source_in_design)

    @property
    def other_source_w(self) -> float | None:
        """Power at the bank of the chargers [W]; None without one, or where the other source is not AC."""
        if self.needs.problem.source_in_design:
            return self.design.source.charge_a * self.design.bank.charging_v if self.design.source is not None else None
        inverter = self.design.inverters.inverter
        if inverter is None or inverter.charge_a <= 0 or not self.needs.has_ac_source:
            return None
        return inverter.charge_a * self.design.inverters.count * self.design.bank.charging_v


def plant_of(needs: Needs, design: Design, wiring: Wiring, loads: HourLoads, *, new: bool = False) -> Plant:
    """A design made ready to be stepped. Raises OutOfRange where its battery leaves its capacity table."""
    tables = wiring.tables
    core = Core(needs, tables, design.bank, design.inverters, design.converters, kept_shares(wiring, design))
    ways = tuple(Way.of(wiring.block_circuits(design.bank, block), tables) for block in design.blocks)
    return Plant(needs, design, core, store_of(core, new=new), takes_of(core, design, loads), ways)
