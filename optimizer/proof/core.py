"""Rules of the bank with its inverters and converters: loads on the battery's side, storage, discharge, AC."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from optimizer.design import Bank, ConverterUse, InverterBank
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Tables
from optimizer.needs.site import (
    CONVERTER_RESERVE,
    HEATING_BELOW_C,
    PRACTICAL_BANK_A,
    UNCERTAINTY,
    Needs,
    SeasonNeeds,
)
from optimizer.proof.lines import Line, Lines
from optimizer.rules import balance, charging, inverting
from optimizer.rules import bank as rules


@dataclass(frozen=True)
class Core:
    """A bank, its inverters and its converters, with what follows from the three together."""

    needs: Needs
    tables: Tables
    bank: Bank
    inverters: InverterBank
    converters: tuple[ConverterUse, ...]
    kept: np.ndarray | None = None
    """Share of the energy of each supply that its cables leave, AC first; None where they are not sized."""
    fed: bool = False
    """Whether the design itself has a generator."""

    # --- loads on the battery's side

    @cached_property
    def supply_efficiency(self) -> np.ndarray:
        """Efficiency of each supply, AC first, shape (supplies,)."""
        inverter = self.inverters.inverter
        through = {use.load_v: use.converter.efficiency for use in self.converters}
        efficiency = np.array([inverter.efficiency if inverter else 1.0, *(through.get(v, 1.0) for v in self.needs.demand.dc_volts)])
        return efficiency if self.kept is None else efficiency * self.kept

    def bank_standby_wh(self, season: SeasonNeeds) -> float:
        """What the bank itself takes a day: its electronics, its heaters, its self-discharge [Wh/day]."""
        battery, bank = self.bank.battery, self.bank
        heater = battery.heater_wh_day if season.battery_lowest_c < HEATING_BELOW_C else 0.0
        electronics = battery.bms_w * 24 if battery.bms else 0.0
        lost = rules.self_discharge_wh_day(
            bank.nominal_v * battery.capacity_20h_ah * bank.strings, battery.self_discharge_pct_month, season.battery_mean_c
        )
        return bank.units * (heater + electronics) + float(lost)

    def standing_wh(self, at: int, *, week: bool) -> float:
        """Idle and standby energy of a use-day, or of a day averaged over the week, in a season [Wh/day]."""
        on, searching, week_on, week_searching = self.needs.inverter_hours[at]
        idle = 0.0
        if self.inverters.inverter is not None:
            hours = (week_on, week_searching) if week else (on, searching)
            idle = float(inverting.idle_energy_wh(self.inverters.inverter.idle_w, self.inverters.inverter.search_w, *hours, self.inverters.count))
            idle += self.needs.transformer_w * float(hours[0])
        idle += sum(use.converter.idle_w * use.count * 24 for use in self.converters)
        return idle + self.bank_standby_wh(self.needs.seasons[at])

    def load_wh(self, supply_wh: np.ndarray, at: int, *, week: bool) -> float:
        """Battery-side load [Wh/day] of energies by supply, in a season."""
        return float(balance.battery_side_load_wh(supply_wh, self.supply_efficiency, self.standing_wh(at, week=week)))

    @cached_property
    def efficiency(self) -> np.ndarray:
        """Battery efficiency for the load of each season, shape (seasons,)."""
        shares = np.array([season.demand.night_share for season in self.needs.seasons])
        return np.asarray(rules.throughput_efficiency(self.bank.battery.efficiency_wh, shares))

    @cached_property
    def average_wh(self) -> np.ndarray:
        """Battery-side load averaged over the week, by season [Wh/day]."""
        return np.array([self.load_wh(s.demand.average_wh, at, week=True) for at, s in enumerate(self.needs.seasons)])

    @cached_property
    def critical_wh(self) -> np.ndarray:
        """Battery-side load of the critical loads averaged over the week, by season [Wh/day]."""
        return np.array([self.load_wh(s.demand.critical_wh, at, week=True) for at, s in enumerate(self.needs.seasons)])

    @cached_property
    def autonomy_load_wh(self) -> np.ndarray:
        """Battery-side load of a day without sun, by season [Wh/day]."""
        return np.array([self.load_wh(s.demand.carried_wh, at, week=False) for at, s in enumerate(self.needs.seasons)])

    @cached_property
    def swing_wh(self) -> np.ndarray:
        """What the days of use take beyond the week's average, battery side, by season [Wh]."""
        swings = []
        for at, season in enumerate(self.needs.seasons):
            extra = season.demand.swing_wh / self.supply_efficiency
            idle = self.standing_wh(at, week=False) - self.standing_wh(at, week=True)
            days = np.minimum(season.demand.swing_days, season.demand.inverter_days)
            swings.append(float(np.max(extra.sum(axis=1) + days * idle)))
        return np.array(swings)

    @cached_property
    def needed_wh(self) -> dict[str, np.ndarray]:
        """Harvest that each energy rule asks for, by month of use [Wh/day]."""
        needs, battery = self.needs, self.bank.battery
        at = needs.season_of_month
        load, efficiency = self.average_wh[at], self.efficiency[at]
        needed = {"monthly-balance": balance.balance_needed_wh(load, efficiency, needs.array_to_load)}
        needed["uncertainty"] = UNCERTAINTY * balance.balance_needed_wh(load, efficiency, 1.0)
        if needs.array_alone:
            missing = np.array([season.autonomy_d for season in needs.seasons]) * self.autonomy_load_wh
            needed["recovery"] = balance.recovery_needed_wh(
                load, efficiency, missing[at], battery.efficiency_wh, needs.problem.autonomy.recovery_days
            )
            if self.bank.is_lead_acid:
                shallow = battery.dod_daily * battery.capacity_20h_ah * self.bank.nominal_v * self.bank.strings
                needed["full-recharge"] = balance.recovery_needed_wh(
                    load, efficiency, shallow, battery.efficiency_wh, needs.problem.balance.full_recharge_days
                )
        return needed

    # --- storage

    def usable(self, season: SeasonNeeds) -> tuple[float, float]:
        """Usable storage and whole storage at the autonomy's rate, cold and at the end of its life [Wh]."""
        battery, bank = self.bank.battery, self.bank
        end_of_life = self.needs.problem.autonomy.end_of_life_share
        cold = float(rules.cold_capacity_factor(season.battery_mean_c, *self.tables.cold_capacity[battery.chemistry], battery.chemistry))
        hours = rules.discharge_hours(season.autonomy_d, battery.dod_autonomy * cold * end_of_life)
        capacity = rules.capacity_at_hours_ah(hours, battery.capacity_5h_ah, battery.capacity_20h_ah, battery.capacity_100h_ah)
        usable = rules.usable_storage_wh(capacity, bank.nominal_v, bank.strings, cold, battery.dod_autonomy, end_of_life)
        whole = rules.usable_storage_wh(capacity, bank.nominal_v, bank.strings, 1.0, 1.0, end_of_life)
        return float(usable), float(whole)

    # --- discharge

    @property
    def lowest_v(self) -> float:
        """Voltage down to which the loads draw: the inverter's cut-out, or empty cells without one [V]."""
        inverter = self.inverters.inverter
        return inverter.dc_low_cut_v if inverter else self.bank.chemistry.empty_v_cell * self.bank.cells

    def dc_current_a(self, power_w: np.ndarray) -> float:
        """Current of DC loads at the bank's lowest voltage [A]; `power_w` by DC voltage."""
        return float(np.sum(power_w / self.supply_efficiency[1:])) / self.lowest_v

    @property
    def daytime_a(self) -> float:
        """Least current that daytime loads leave the battery short of, in the busiest season [A]."""
        busiest = max(float(np.sum(s.demand.daytime_wh / self.supply_efficiency)) for s in self.needs.seasons)
        return float(charging.daytime_load_current_a(busiest, self.bank.nominal_v))


def core_lines(core: Core) -> list[Line]:
    """Rules 1, 3, 4, 8, 44, 54-58, 64, 69-75, 77, 78 and 94 for bank, inverters and converters together."""
    lines = Lines(core.needs.severities, "bank and inverters")
    _converters(lines, core)
    _storage(lines, core)
    _discharge(lines, core)
    _inverters(lines, core)
    return lines.lines


def _converters(lines: Lines, core: Core) -> None:
    demand, bank = core.needs.demand, core.bank
    feeding = {use.load_v: use for use in core.converters}
    for at, volts in enumerate(demand.dc_volts):
        use = feeding.get(volts)
        where = f"DC {volts:g} V loads"
        if use is None:
            lines.add("dc-load-on-bank", float(bank.volts), volts, where)
            continue
        converter = use.converter
        lines.add("converter-input", float(bank.volts), tuple(float(v) for v in converter.bank_v), where)
        lines.add("converter-output-voltage", converter.out_v, volts, where)
        needed = CONVERTER_RESERVE * float(demand.coincident_dc_w[at]) / volts
        lines.add("dc-load-voltage", converter.output_a * use.count, needed, where)


def _storage(lines: Lines, core: Core) -> None:
    needs, bank, battery = core.needs, core.bank, core.bank.battery
    for at, season in enumerate(needs.seasons):
        where = f"{battery.id}, season {season.demand.name}"
        try:
            usable, _ = core.usable(season)
        except OutOfRange:
            lines.add("cold-capacity-known", None, True, where)
            continue
        lines.add("weekly-swing", usable, core.swing_wh[at], where)
        use_day = core.load_wh(season.demand.use_day_wh, at, week=False)
        daily = battery.dod_daily * battery.capacity_20h_ah * bank.nominal_v * bank.strings
        lines.add("daily-depth", daily, use_day * season.demand.night_share, where)


def _discharge(lines: Lines, core: Core) -> None:
    needs, bank, battery = core.needs, core.bank, core.bank.battery
    demand, inverter = needs.demand, core.inverters.inverter
    dc_a = core.dc_current_a(demand.coincident_dc_w)
    steady = dc_a
    if inverter is not None:
        steady = float(rules.discharge_current_a(demand.coincident_w, core.supply_efficiency[0], core.lowest_v, dc_a))
    carried = float(rules.carried_current_a(battery.discharge_cont_a, bank.strings))
    lines.add("continuous-discharge", carried, steady)
    if bank.strings > 1:
        lines.add("one-string-out", float(rules.carried_current_a(battery.discharge_cont_a, bank.strings - 1)), steady)
    lines.add("surge-discharge", float(rules.carried_current_a(battery.discharge_peak_a, bank.strings)), core.dc_current_a(demand.peak_dc_w), "worst DC start")
    if inverter is None:
        return
    peak = float(rules.carried_current_a(battery.discharge_peak_a, bank.strings))
    for start in demand.starts:
        drawn = float(rules.discharge_current_a(start.power_w, core.supply_efficiency[0], core.lowest_v, dc_a))
        able = peak if start.seconds <= battery.discharge_peak_s else carried
        lines.add("surge-discharge", able, drawn, f"start of {start.item}")
        if bank.is_lead_acid:
            rest = bank.chemistry.half_charged_v_cell * bank.cells
            resistance = battery.internal_resistance_mohm * bank.series / 1000
            sagged = float(rules.sagged_voltage_v(rest, drawn, resistance, bank.strings))
            lines.add("sag-above-cut-out", sagged, core.lowest_v + rules.SAG_RESERVE_V_PER_12V * bank.volts / 12, f"start of {start.item}")
    if bank.is_lead_acid:
        needed = float(rules.ripple_capacity_ah(inverter.cont_w * core.inverters.count, bank.volts))
        lines.add("ripple-minimum", battery.capacity_20h_ah * bank.strings, needed)


AC_UNITS = {
    "120 V 60 Hz": ("120",), "120/240 V 60 Hz": ("120/240", "120 in pairs"), "230 V 50 Hz": ("230",),
    "230/400 V 50 Hz": ("230 in threes",),
}


def _ac_form(core: Core) -> str:
    """What the inverters make together."""
    inverter, count, standard = core.inverters.inverter, core.inverters.count, core.needs.problem.site.ac
    assert inverter is not None, "asked only where there is an inverter"
    if inverter.ac == "120" and standard == "120/240 V 60 Hz" and inverter.series_240 and count % 2 == 0:
        return "120 in pairs"
    if inverter.ac == "230" and standard == "230/400 V 50 Hz" and inverter.three_phase and count % 3 == 0:
        return "230 in threes"
    return inverter.ac


def _inverters(lines: Lines, core: Core) -> None:
    needs, bank, count = core.needs, core.bank, core.inverters.count
    demand, inverter, problem = needs.demand, core.inverters.inverter, needs.problem
    if demand.has_ac:
        lines.add("inverter-present", count, 1)
    if inverter is None:
        return
    lines.add("inverter-bank-voltage", float(inverter.bank_v), float(bank.volts))
    lines.add("ac-standard", _ac_form(core), AC_UNITS.get(problem.site.ac, ()))
    lines.add("stacking", float(count), tuple(float(n) for n in range(1, inverter.max_parallel + 1)))
    if demand.needs_sine:
        lines.add("waveform", inverter.wave, "sine")
    if needs.has_ac_source and (core.fed or not needs.problem.source_in_design):
        lines.add("neutral-bond", inverter.neutral_bond, ("none", "switched"))
    share = float(charging.heat_and_height_factor(
        needs.electronics_highest_c, inverter.full_output_t_max_c, inverter.derating_pct_k, problem.site.elevation_m
    ))
    margin = problem.inverter.power_margin
    lines.add("continuous-power", count * inverter.cont_w * share, margin * demand.coincident_w)
    lines.add("continuous-va", count * inverter.cont_va * share, margin * demand.coincident_va)
    if demand.legs > 1:
        lines.add("leg-power", count * inverter.cont_va * share, margin * demand.coincident_leg_va)
    for start in demand.starts:
        able = count * float(inverting.starting_capability_va(inverter.surge_va, inverter.surge_s, inverter.cont_va * share, start.seconds))
        lines.add("surge", able, max(start.va, start.leg_va) if demand.legs > 1 else start.va, f"start of {start.item}")
    if problem.redundancy.inverters and needs.critical.has_ac:
        _spare_inverter(lines, core, share)
    drawn = inverter.cont_w / (inverter.efficiency * inverter.dc_low_cut_v)
    lines.add("bank-current-practice", drawn, PRACTICAL_BANK_A)
    if bank.battery.bms:
        lines.add("cut-out-order", inverter.dc_low_cut_v, (bank.battery.bms_low_v or 0.0) * bank.series)


def _spare_inverter(lines: Lines, core: Core, share: float) -> None:
    """The critical loads with one inverter out: steady, then each start."""
    needs, inverter, critical = core.needs, core.inverters.inverter, core.needs.critical
    assert inverter is not None, "asked only where there is an inverter"
    rest = core.inverters.count - 1
    if rest and _ac_form(replace(core, inverters=InverterBank(inverter, rest))) not in AC_UNITS.get(needs.problem.site.ac, ()):
        rest = 0
    lines.add("spare-inverter", rest * min(inverter.cont_va * share, inverter.cont_w * share * critical.va_each_w), needs.problem.inverter.power_margin * critical.coincident_va, "one out")
    for start in critical.starts:
        able = rest * float(inverting.starting_capability_va(inverter.surge_va, inverter.surge_s, inverter.cont_va * share, start.seconds))
        lines.add("spare-inverter", able, max(start.va, start.leg_va) if critical.legs > 1 else start.va, f"one out, start of {start.item}")
