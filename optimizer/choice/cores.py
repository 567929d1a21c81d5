"""Power cores: bank, inverters and converters together, with what the program must know of them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from optimizer.bill import inverter_dc_amperes
from optimizer.choice.banks import storage
from optimizer.choice.core_frames import Ways, remembered_frames
from optimizer.choice.screening import Screening
from optimizer.choice.sources import Feed, with_sources
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Bank, ConverterUse, InverterBank, Source
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Inverter
from optimizer.inputs.problem import MONTHS
from optimizer.needs.site import UNCERTAINTY, Needs
from optimizer.rules import balance, charging, inverting, lifetime
from optimizer.rules import bank as rules


@dataclass
class Cores:
    """Screened cores of every bank class, and the parts that their columns count in."""

    table: Table
    classes: list[Bank]
    """One bank of each class: every bank of the class looks the same to a charging block."""
    batteries: list[Battery]
    inverters: list[Inverter]
    ways: list[Ways]
    missing: str = ""
    """Why there is no core at all, in words."""
    feeds: list[Feed] = field(default_factory=list)
    """Generators with their chargers that the column `feed` counts in, -1 for none; empty where the design has none to choose."""

    @property
    def fed(self) -> bool:
        """Whether the design may have a generator."""
        return "feed" in self.table.columns

    def source(self, row: int) -> Source | None:
        """Generator and chargers of a core."""
        if not self.fed or self.table.feed[row] < 0:
            return None
        feed = self.feeds[int(self.table.feed[row])]
        return feed.source(float(self.table.feed_a[row]))

    def parts(self, row: int, needs: Needs, catalog: Catalog) -> tuple[Bank, InverterBank, tuple[ConverterUse, ...]]:
        """The part records of a core."""
        table = self.table
        battery = self.batteries[table.battery[row]]
        bank = Bank(battery, catalog.chemistry(battery), int(table.volts[row]), int(table.series[row]), int(table.strings[row]))
        inverter = int(table.inverter[row])
        uses = tuple(
            ConverterUse(way[0], way[1], volts)
            for way, volts in zip(self.ways[table.way[row]], needs.demand.dc_volts, strict=True) if way is not None
        )
        return bank, InverterBank(self.inverters[inverter] if inverter >= 0 else None, int(table.inverter_count[row])), uses

    def pieces(self, row: int) -> list[tuple[str, int]]:
        """Part ids and pieces of a core."""
        table = self.table
        used = [(self.batteries[table.battery[row]].id, int(table.units[row]))]
        if table.inverter[row] >= 0:
            used.append((self.inverters[table.inverter[row]].id, int(table.inverter_count[row])))
        used += [(way[0].id, way[1]) for way in self.ways[table.way[row]] if way is not None]
        return used + (self.feeds[table.feed[row]].pieces if self.fed and table.feed[row] >= 0 else [])

    def part_ids(self, rows: np.ndarray) -> set[str]:
        """Every part that some of these cores use."""
        table = self.table.take(rows)
        used = {self.batteries[at].id for at in np.unique(table.battery)} | {self.inverters[at].id for at in np.unique(table.inverter) if at >= 0}
        used |= {way[0].id for at in np.unique(table.way) for way in self.ways[at] if way is not None}
        return used | {part for at in (np.unique(table.feed) if self.fed else ()) if at >= 0 for part, _ in self.feeds[at].pieces}

    def total(self, price: Callable[[str], float]) -> np.ndarray:
        """Sum over the pieces of each core, given a price of one piece."""
        table = self.table
        battery = np.array([price(one.id) for one in self.batteries])[table.battery]
        inverter = np.array([*(price(one.id) for one in self.inverters), 0])[table.inverter]
        converters = np.array([sum(price(use[0].id) * use[1] for use in way if use) for way in self.ways])[table.way]
        total = np.asarray(battery * table.units + inverter * table.inverter_count + converters)
        if not self.fed:
            return total
        return np.asarray(total + np.array([*(sum(price(part) * count for part, count in feed.pieces) for feed in self.feeds), 0])[table.feed])

    def key(self, row: int) -> tuple[int, tuple[tuple[str, int], ...], int, float]:
        """What orders equal cores: voltage, ids and counts; of two settings of chargers the higher."""
        setting_a = float(self.table.feed_a[row]) if self.fed else 0.0
        return int(self.table.volts[row]), tuple(self.pieces(row)), int(self.table.strings[row]), -setting_a


def power_cores(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> Cores:
    """All cores that meet every rule on bank, inverters and converters."""
    frames = remembered_frames(needs, catalog, screening, stock)
    screening.absorb(frames.screening)
    missing = frames.missing
    context = catalog.tables.charge_context[needs.charge_context]
    tables: list[Table] = []
    for frame in frames.each:
        screening.absorb(frame.screening)
        if frame.table is not None:
            table = _lasting(needs, catalog, Table(frame.table.columns), frames.ways[frame.way], context, screening)
            if len(table):
                tables.append(table)
    table = Table.joined(tables) if tables else Table({"bank_class": np.zeros(0, dtype=int)})
    if not tables and not missing:
        missing = f"No battery bank with its inverters is left after the rule {screening.emptied_by}."
    feeds: list[Feed] = []
    if tables and needs.problem.source_in_design:
        table, feeds = with_sources(table, frames.inverters, needs, catalog, screening, stock)
        if not len(table):
            tables, missing = [], f"No battery bank with its source is left after the rule {screening.emptied_by}."
    cores = Cores(table, frames.classes, frames.batteries, frames.inverters, frames.ways, missing, feeds)
    if tables:
        _costs(cores, catalog, stock)
    return cores


def _lasting(needs: Needs, catalog: Catalog, table: Table, way: Ways, context: float, screening: Screening) -> Table:
    """Cores that last through the night, the week and the days without sun."""
    if len(table):
        storage(needs, catalog, table)
        _energy(needs, table, way, context)
        for at in range(len(needs.seasons)):
            table = screening.hold(table, "weekly-swing", table.usable_wh[:, at], table.swing_wh[:, at], lambda _: "bank and the days of use")
    if len(table) and screening.enforced("daily-depth"):
        daily = table.dod_daily * table.capacity_20h_ah * table.nominal_v * table.strings
        table = screening.hold(table, "daily-depth", daily, table.night_wh.max(axis=1), lambda _: "bank too small for the night")
    if len(table):
        days = np.array([season.autonomy_d for season in needs.seasons])
        for rule_id, column in (("freezing-floor", "above_freezing_wh"), ("autonomy", "usable_wh")):
            stored, drawn, rows = table.columns[column], table.autonomy_wh * days, np.arange(len(table))
            worst = np.argmin(stored / np.maximum(drawn, 1e-9), axis=1)
            table = screening.hold(table, rule_id, stored[rows, worst], drawn[rows, worst], lambda _: "bank and the days without sun")
        table.add(room_w=_self_use_room(needs, table, screening))
    return table


def _energy(needs: Needs, table: Table, way: Ways, context: float) -> None:
    """Columns: harvest needed by month, storage drawn by season, currents and ceilings that the blocks must respect."""
    demand, problem = needs.demand, needs.problem
    efficiency = table.supply_efficiency
    converter_idle = sum(use[0].idle_w * use[1] * 24 for use in way if use is not None)
    hours = needs.inverter_hours

    def standing(at: int, *, week: bool) -> np.ndarray:
        on, searching = hours[at][2:] if week else hours[at][:2]
        idle = inverting.idle_energy_wh(table.idle_w, table.search_w, on, searching, table.inverter_count)
        idle = idle + np.where(table.inverter >= 0, needs.transformer_w * on, 0.0)
        return np.asarray(idle + converter_idle + table.standby_wh[:, at])

    shape = (len(table), len(needs.seasons))
    average, carried, critical, swing, night = (np.zeros(shape) for _ in range(5))
    for at, season in enumerate(needs.seasons):
        week, use_day = standing(at, week=True), standing(at, week=False)
        average[:, at] = balance.battery_side_load_wh(season.demand.average_wh, efficiency, week)
        critical[:, at] = balance.battery_side_load_wh(season.demand.critical_wh, efficiency, week)
        carried[:, at] = balance.battery_side_load_wh(season.demand.carried_wh, efficiency, use_day)
        night[:, at] = balance.battery_side_load_wh(season.demand.use_day_wh, efficiency, use_day) * season.demand.night_share
        days = np.minimum(season.demand.swing_days, season.demand.inverter_days)
        patterns = [
            (extra / efficiency).sum(axis=1) + count * (use_day - week)
            for extra, count in zip(season.demand.swing_wh, days, strict=True)
        ]
        swing[:, at] = np.max(patterns, axis=0)
    month = needs.season_of_month
    shares = np.array([season.demand.night_share for season in needs.seasons])
    through = rules.throughput_efficiency(table.efficiency_wh[:, None], shares)[:, month]
    load = average[:, month]
    battery_wh = table.efficiency_wh[:, None]
    enforced = needs.severities.enforced
    needed = np.zeros_like(load)
    if enforced("monthly-balance"):
        needed = balance.balance_needed_wh(load, through, needs.array_to_load)
    if enforced("uncertainty"):
        needed = np.maximum(needed, UNCERTAINTY * balance.balance_needed_wh(load, through, 1.0))
    if needs.array_alone:
        if enforced("recovery"):
            days = np.array([season.autonomy_d for season in needs.seasons])
            missing = (carried * days)[:, month]
            needed = np.maximum(needed, balance.recovery_needed_wh(load, through, missing, battery_wh, problem.autonomy.recovery_days))
        if enforced("full-recharge"):
            shallow = (table.dod_daily * table.capacity_20h_ah * table.nominal_v * table.strings)[:, None]
            full = balance.recovery_needed_wh(load, through, shallow, battery_wh, problem.balance.full_recharge_days)
            needed = np.where(table.lead_acid[:, None], np.maximum(needed, full), needed)
    if needs.problem.redundancy.controllers and enforced("spare-controller"):
        spare = balance.balance_needed_wh(critical[:, month], through, 1.0)
        table.add(spare_wh=spare @ needs.span_weights.T if needs.problem.balance.carry_over else spare)
    if needs.problem.balance.carry_over:
        needed = _carried_need(needs, table, load, through, carried)
    asked = needs.severities.asked
    busiest = np.max([(season.demand.daytime_wh / efficiency).sum(axis=1) for season in needs.seasons], axis=0)
    table.add(
        needed_wh=needed if needs.problem.balance.carry_over else asked("monthly-balance", needed), autonomy_wh=carried, swing_wh=swing, night_wh=night,
        least_a=np.where(table.lead_acid, asked("minimum-charge-current", table.least_charge_a * context) + charging.daytime_load_current_a(busiest, table.nominal_v), 0.0),
        ceiling_v=_ceiling(needs, table, way),
        through_wh_day=(average * shares)[:, month].sum(axis=1) / len(MONTHS),
        terminal_a=asked("load-terminal-current", (demand.peak_dc_w / efficiency[:, 1:]).sum(axis=1) / table.nominal_v),
    )
    if problem.source_in_design:
        table.add(fed_wh=balance.balance_needed_wh(load, through, 1.0))
    if not enforced("minimum-charge-current"):
        table.columns["least_a"] = np.zeros(len(table))


def _carried_need(needs: Needs, table: Table, load: np.ndarray, through: np.ndarray, carried: np.ndarray) -> np.ndarray:
    """Harvest that each run of months asks for beside what the bank carries into it [Wh/day], shape (cores, spans).

    A store that starts full runs dry in some run of months or in none, so these runs say all there is to say of it.
    """
    days = np.array([season.autonomy_d for season in needs.seasons])
    stored = np.where(table.lead_acid[:, None], np.minimum(table.usable_wh, table.above_freezing_wh), table.usable_wh)
    spare = np.maximum((stored - carried * days).min(axis=1), 0.0)
    by_month = balance.balance_needed_wh(load, through, needs.array_to_load)
    whole = len(needs.spans) - 1
    given = spare[:, None] / through.max(axis=1)[:, None] / needs.span_days[None, :]
    given[:, whole] = -balance.refill_wh(spare, table.efficiency_wh) / needs.span_days[whole]
    needed = by_month @ needs.span_weights.T - given
    if not needs.severities.enforced("carry-over"):
        needed[:, :whole] = 0.0
    if not needs.severities.enforced("carry-over-year"):
        needed[:, whole] = 0.0
    return np.asarray(np.maximum(needed, 0.0))


def _ceiling(needs: Needs, table: Table, way: Ways) -> np.ndarray:
    """Highest voltage that inverter, DC loads and converters of a core stand [V]."""
    asked = needs.severities.asked
    ceiling = np.where(table.inverter >= 0, asked("inverter-dc-window", table.dc_max_v), np.inf)
    for use, stands in zip(way, needs.demand.dc_volts_max, strict=True):
        ceiling = np.minimum(ceiling, asked("dc-load-upper-voltage", stands if use is None else use[0].in_max_v))
    return ceiling


def _self_use_room(needs: Needs, table: Table, screening: Screening) -> np.ndarray:
    """Watts that controllers may take for themselves before the autonomy is short [W]."""
    days = np.array([season.autonomy_d for season in needs.seasons])
    stored, with_margin = np.full(table.usable_wh.shape, np.inf), needs.severities.asked("autonomy", 1.0)
    if screening.enforced("autonomy"):
        stored = np.minimum(stored, table.usable_wh / with_margin)
    if screening.enforced("freezing-floor"):
        stored = np.minimum(stored, table.above_freezing_wh / with_margin)
    return np.asarray(((stored - table.autonomy_wh * days) / (24 * days)).min(axis=1))


def _costs(cores: Cores, catalog: Catalog, stock: Stock) -> None:
    """Columns: exact cost, least cost, pieces, weight, connections [cents, cents, count, kg]."""
    prices, table = stock.prices, cores.table
    allowance, kg = prices.allowance_cents, prices.allowance_kg

    amperes = np.array([*(inverter_dc_amperes(inverter) for inverter in cores.inverters), 0])[table.inverter] * table.inverter_count
    lithium_series = np.where(table.lithium & (table.series > 1), table.units, 0)
    way_units = np.array([sum(use[1] for use in way if use) for way in cores.ways])[table.way]

    def allowances(each: Mapping[str, float]) -> np.ndarray:
        get = each.get
        return np.asarray(
            get("system", 0) + get("battery unit", 0) * table.units + get("battery string", 0) * table.strings
            + get("series lithium unit", 0) * lithium_series + get("inverter", 0) * table.inverter_count
            + get("inverter dc ampere", 0) * amperes + get("converter", 0) * way_units
        )

    replaced = _replacements(cores, catalog, stock) if prices.lives.minimised else 0
    fed_units = np.array([*(feed.units for feed in cores.feeds), 0])[table.feed] if cores.fed else 0
    connections = table.units + table.strings + 2 * (table.inverter_count + way_units + fed_units)
    fixed = allowances(allowance) + prices.fixed_freight_cents + prices.starters_cents + prices.connection_cents * connections + table.wiring_cents + replaced
    table.add(
        cost=cores.total(stock.price_cents) + fixed, least_cost=cores.total(stock.least_cents) + fixed + _beyond_owned(cores, stock),
        bill_cost=cores.total(stock.bill_cents) + allowances(prices.allowance_bill_cents) + prices.fixed_freight_cents + prices.starters_bill_cents + table.wiring_cents,
        weight_total_kg=cores.total(lambda part_id: catalog.by_id[part_id].weight_kg) + allowances(kg) + table.wiring_kg + prices.starters_kg, pieces=table.units + table.inverter_count + way_units + fed_units,
    )


def _beyond_owned(cores: Cores, stock: Stock) -> np.ndarray:
    """What the pieces of each core that the customer does not have cost at least [cents]; no block holds a part that a core may hold."""
    cents = np.zeros(len(cores.table), dtype=np.int64)
    for part_id in sorted(stock.owned):
        used = cores.total(lambda one, part_id=part_id: float(one == part_id)).astype(np.int64)  # type: ignore[misc]  # one that is bound at once
        if used.any():
            cents += stock.beyond_cents(part_id, used)
    return cents


def _replacements(cores: Cores, catalog: Catalog, stock: Stock) -> np.ndarray:
    """What later banks of each core count today, by how long they live [cents]."""
    lives, table, batteries = stock.prices.lives, cores.table, cores.batteries
    calendar = np.array([lives.calendar_years(catalog.chemistry(one)) for one in batteries])[table.battery]
    cycles, depth = (np.array([getattr(one, name) for one in batteries])[table.battery] for name in ("cycles", "cycles_dod"))
    rated_wh = table.nominal_v * table.capacity_20h_ah * table.strings
    years = lifetime.bank_life_years(lifetime.cycle_life_years(cycles, depth, rated_wh, table.through_wh_day), calendar)
    alike, back = np.unique(np.column_stack([table.battery, table.units, years]), axis=0, return_inverse=True)
    cents = [lives.bank_cents(batteries[int(battery)], int(units), float(life)) for battery, units, life in alike]
    return np.array(cents, dtype=np.int64)[back.ravel()]
