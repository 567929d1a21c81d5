"""Generators, alternators and shore power with what they charge through, as part of a power core.

A core with a source is a candidate of its own: what the set may bring and what that costs are numbers of the core, so the
program has no product of two decisions. The closed form of what a source burns is in `feeding.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.circuits.core_side import Banks
from optimizer.circuits.source_side import SourcesAt
from optimizer.circuits.wiring import Wiring
from optimizer.design import Source
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.generator import AlternatorUse, GeneratorUse, ShoreUse
from optimizer.inputs.parts import Inverter
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import Needs
from optimizer.rules import charging, generating, lifetime
from optimizer.rules.book import TOLERANCE

SEEN = ("volts", "charging_v", "absorb25_v", "lithium", "most_charge_a", "inverter", "inverter_count")
"""What a source can see of a core."""

SETTING_A = 0.1
"""Step to which the current of chargers is rounded down [A]."""


@dataclass(frozen=True)
class Feed:
    """Chargers, so many of a model or those of the inverters, with the generator that feeds them; None for alternator and shore power."""

    generator: Generator | None
    charger: Charger | AlternatorCharger | None
    count: int

    def source(self, charge_a: float) -> Source:
        """The same with its chargers set to a current."""
        return Source(self.generator, self.charger, self.count, charge_a)

    @property
    def pieces(self) -> list[tuple[str, int]]:
        """Part ids and pieces."""
        return [(part.id, n) for part, n in self.source(1.0).pieces]

    @property
    def units(self) -> int:
        """Devices that somebody connects."""
        return self.source(1.0).devices

    @property
    def name(self) -> str:
        """What a screening says was not enough."""
        return self.generator.id if self.generator is not None else self.charger.id if self.charger is not None else "the inverters' own chargers"


def feeds_of(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> list[Feed]:
    """Every number of every charger that the site's source can feed, with every generator where it is one."""
    problem, most = needs.problem, needs.problem.bounds.chargers
    chargers = [one for one in catalog.chargers if stock.allows(one.id)]
    use = problem.source_use
    if isinstance(use, AlternatorUse):
        found = [one for one in catalog.alternator_chargers if stock.allows(one.id)]
        fits = [one for one in found if one.input_v == use.volts]
        if len(fits) < len(found):
            screening.lost("alternator-input", len(found) - len(fits), len(fits), f"the alternator's system has {use.volts} V")
        return [Feed(None, charger, count) for charger in fits for count in range(1, most + 1)]
    if isinstance(use, ShoreUse):
        fitting = [one for one in chargers if int(one.ac) == use.volts]
        return [Feed(None, None, 0), *(Feed(None, charger, count) for charger in fitting for count in range(1, most + 1))]
    allowed = [one for one in catalog.generators if stock.allows(one.id)]
    able = [one for one in allowed if problem.site.ac == "none" or one.ac in generating.AC_OF_SITE[problem.site.ac]]
    if len(able) < len(allowed):
        screening.lost("generator-ac", len(allowed) - len(able), len(able), f"{problem.site.ac} is asked")
    feeds = []
    for one in able:
        feeds.append(Feed(one, None, 0))
        feeds += [
            Feed(one, charger, count) for charger in chargers if one.ac in generating.AC_OF_CHARGER[charger.ac] for count in range(1, most + 1)
        ]
    return feeds


def with_sources(
    cores: Table, inverters: list[Inverter], needs: Needs, catalog: Catalog, screening: Screening, stock: Stock,
) -> tuple[Table, list[Feed]]:
    """Every core without a source, unless the problem requires one, and with each that it may have."""
    feeds = feeds_of(needs, catalog, screening, stock)
    key, first, kind = _kinds(cores, stock.prices.wiring)
    options = _options(cores.take(first), inverters, feeds, needs, screening, stock) if feeds else None
    parts = [] if needs.problem.source_use.required else [_without(cores)]
    if options is not None and len(options):
        options = options.take(_undominated(options, cores, kind, needs, stock, feeds))
        by_kind = [np.nonzero(options.kind == at)[0] for at in range(len(key))]
        rows = np.concatenate([np.full(len(by_kind[at]), row) for row, at in enumerate(kind)]).astype(int)
        parts.append(_with(cores.take(rows), options.take(np.concatenate([by_kind[at] for at in kind])), needs, screening))
    if not parts or not any(len(part) for part in parts):
        if not feeds:
            other = needs.problem.site.other_source
            rule, lacks = ("generator-present", "generator") if other == "generator" else ("source-present", f"charger for the {other}")
            screening.lost(rule, len(cores), 0, f"the catalog has no {lacks} at this site")
        return cores.take(np.zeros(0, dtype=int)), feeds
    return Table.joined(parts), feeds


def _kinds(cores: Table, wiring: Wiring) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kinds of core that sources cannot tell apart, the first core of each, and the kind of each core."""
    seen = [cores.columns[name].astype(float) for name in (*SEEN, *(("nominal_v", "top_v") if wiring.active else ()))]
    if wiring.active:
        seen.append(wiring.fault_step(cores.fault_a).astype(float))
    key, first, kind = np.unique(np.column_stack(seen), axis=0, return_index=True, return_inverse=True)
    return key, first, kind.ravel()


def _options(kinds: Table, inverters: list[Inverter], feeds: list[Feed], needs: Needs, screening: Screening, stock: Stock) -> Table:
    """Sources with the settings of their chargers, for each kind of core."""
    wiring, circuits = stock.prices.wiring, None
    if wiring.active:
        circuits = SourcesAt(wiring.sources, Banks(kinds.nominal_v, kinds.top_v, kinds.fault_a), kinds.absorb25_v)
    tables = [_settings(kinds, inverters, feed, at, needs, stock, circuits) for at, feed in enumerate(feeds)]
    table = Table.joined(tables)

    def hold(rule: str, actual: np.ndarray, required: np.ndarray) -> None:
        nonlocal table
        current = table
        table = screening.hold(current, rule, actual, required, lambda row: feeds[int(current.feed[row])].name)

    table = screening.hold(table, "circuit-parts", table.wired, True, lambda row: feeds[int(table.feed[row])].name)
    if needs.problem.site.other_source == "alternator":
        hold("alternator-load", table.takes_a + table.a_each_a * SETTING_A, table.spare_a)
        return table.take(table.feed_a >= SETTING_A)
    size = "generator-size" if needs.source_h is None else "shore-size"
    hold(size, table.gives_va, table.loads_va + table.va_each_a * SETTING_A)
    if needs.source_h is None:
        hold("generator-power", table.gives_w, needs.demand.coincident_w + table.w_each_a * SETTING_A)
    table = table.take(table.feed_a >= SETTING_A)
    if needs.source_h is None:
        hold("generator-load", table.load_share, table.least_load_share)
    return table


def _settings(
    kinds: Table, inverters: list[Inverter], feed: Feed, at: int, needs: Needs, stock: Stock, circuits: SourcesAt | None,
) -> Table:
    """One source with each setting, on each kind of core that it may serve."""
    problem, charger, rows = needs.problem, feed.charger, len(kinds)
    has = kinds.inverter >= 0
    ok = np.ones(rows, dtype=bool)
    if needs.has_ac_source:
        ok = ~has | (np.array([*(inverter.neutral_bond != "fixed" for inverter in inverters), True])[kinds.inverter])
    if charger is None:
        output_a = np.array([*(one.charge_a for one in inverters), 0.0])[kinds.inverter] * kinds.inverter_count
        settable = True
    else:
        ok = ok & (kinds.volts == charger.bank_v) & (charger.lfp_profile | ~kinds.lithium.astype(bool))
        output_a, settable = np.full(rows, charger.output_a * feed.count), charger.current_settable
    columns, room_a, efficiency = _room(kinds, inverters, feed, needs)
    most_a = np.minimum(np.minimum(output_a, kinds.most_charge_a), room_a)
    ok = ok & (output_a > 0)
    side = circuits.of(feed.generator, charger, feed.count) if circuits is not None else None
    zero = np.zeros(rows)
    columns |= {
        "kind": np.arange(rows), "feed": np.full(rows, at), "wired": np.ones(rows, dtype=bool) if side is None else side.ok,
        "circuit_cents": zero if side is None else side.cents, "circuit_kg": zero if side is None else side.kg,
    }
    tables = []
    for step in problem.bounds.charge_limit_steps if settable else (1.0,):
        feed_a = np.floor(step * most_a / SETTING_A + 1e-6) * SETTING_A if settable else np.where(output_a <= most_a, output_a, 0.0)
        feed_a = np.round(feed_a, 6)
        charge_w = np.maximum(feed_a, SETTING_A) * kinds.charging_v
        table = Table({**columns, "feed_a": feed_a, "charge_w": charge_w, "rate_cents": _rate_cents(charge_w, efficiency, feed.generator, needs, stock)})
        if feed.generator is not None:
            one = feed.generator
            table.add(load_share=feed_a * columns["w_each_a"] / (one.rated_va * one.power_factor), least_load_share=np.full(rows, one.least_load_share))
        tables.append(table.take(ok))
    return Table.joined(tables)


def _room(kinds: Table, inverters: list[Inverter], feed: Feed, needs: Needs) -> tuple[dict[str, np.ndarray], np.ndarray, float]:
    """What the source of a site gives and its chargers take, the current that this leaves room for [A], their efficiency."""
    problem, demand, charger, rows = needs.problem, needs.demand, feed.charger, len(kinds)
    use, one = problem.source_use, feed.generator
    if isinstance(charger, AlternatorCharger):
        assert isinstance(use, AlternatorUse), "an alternator's charger stands where there is one"
        spare_a = charging.alternator_spare_a(use.rated_a or 0.0, use.idle_share)
        takes_a = np.full(rows, feed.count * charger.no_load_w / use.volts)
        a_each_a = kinds.absorb25_v / charger.efficiency / use.volts
        return {"spare_a": np.full(rows, spare_a), "takes_a": takes_a, "a_each_a": a_each_a}, np.maximum(spare_a - takes_a, 0.0) / a_each_a, charger.efficiency
    legs = one.legs if one is not None else 1
    if charger is None:
        of = [*((generating.OLD_CHARGER_POWER_FACTOR if i.charge_power_factor is None else i.charge_power_factor, i.ac) for i in inverters), (1.0, "")]
        factor, efficiency = np.array([pf for pf, _ in of])[kinds.inverter], generating.CHARGER_EFFICIENCY
        uneven = np.where(
            np.isin(np.array([ac for _, ac in of])[kinds.inverter], ("120/240", "")), 1.0, generating.uneven_share(np.maximum(kinds.inverter_count, 1), legs),
        )
    else:
        factor, efficiency = np.full(rows, charger.power_factor), charger.efficiency
        uneven = np.full(rows, 1.0 if charger.ac == "240" else float(generating.uneven_share(feed.count, legs)))
    if one is not None:
        gives_va = float(generating.generator_gives_va(one.rated_va, problem.site.elevation_m, problem.temperatures.hottest_c, one.fuel_share))
    else:
        assert isinstance(use, ShoreUse), "without a generator it is shore power"
        gives_va = (use.volts or 0) * (use.rated_a or 0.0)
    loads_va = demand.coincident_leg_va if demand.legs > 1 else legs * demand.coincident_va
    va_each_a = uneven * generating.charging_va(1.0, kinds.absorb25_v, factor, efficiency)
    w_each_a = kinds.absorb25_v / efficiency
    room_a, gives_w = (gives_va - loads_va) / va_each_a, np.full(rows, np.inf)
    if one is not None:
        gives_w = np.full(rows, gives_va * one.power_factor)
        room_a = np.minimum(room_a, (gives_w - demand.coincident_w) / w_each_a)
    return {
        "gives_va": np.full(rows, gives_va), "gives_w": gives_w, "loads_va": np.full(rows, loads_va), "va_each_a": va_each_a, "w_each_a": w_each_a,
    }, room_a, efficiency


def _rate_cents(charge_w: np.ndarray, efficiency: float, one: Generator | None, needs: Needs, stock: Stock) -> np.ndarray:
    """What a watt-hour into the bank counts in the objective if it is brought every year [cents today]."""
    use = needs.problem.source_use
    if isinstance(use, GeneratorUse):
        assert one is not None, "a generator burns fuel"
        each_h = use.fuel_price_per_l * generating.fuel_l_per_h(charge_w / efficiency, one.litres_per_kwh, one.idle_l_per_h) + one.service_per_h
    else:
        each_h = use.price_per_kwh * charge_w / efficiency / 1000
    worth = lifetime.years_worth(use.years, needs.problem.life_cycle.discount_pct)
    return np.asarray(100 * each_h / charge_w * worth / stock.prices.marked_up)


def _undominated(options: Table, cores: Table, kind: np.ndarray, needs: Needs, stock: Stock, feeds: list[Feed]) -> np.ndarray:
    """Rows that no other source of the same kind of core beats: cost, rate, current for the bank, current left to the array."""
    use = needs.problem.source_use
    wanted_w = np.full(int(kind.max()) + 1, np.inf)
    if isinstance(use, GeneratorUse) and needs.severities.enforced("generator-hours"):
        most_wh = np.maximum(cores.fed_wh.max(axis=1), _refill_wh(cores, needs) / needs.problem.autonomy.recovery_days)
        wanted_w[:] = 0.0
        np.maximum.at(wanted_w, kind, most_wh * (1 + TOLERANCE) / use.hours_per_day_max)
    each = np.array([_cost(feed, stock) for feed in feeds])
    wired = np.column_stack([options.circuit_cents, options.circuit_cents, options.circuit_kg])
    enough = np.minimum(options.charge_w, wanted_w[options.kind])
    smaller = np.column_stack([options.rate_cents, -enough, options.feed_a, (each[options.feed] + wired)[:, 1:]])
    hard = {part for feed in feeds for part, _ in feed.pieces} & (stock.special | stock.packs)
    if hard:  # pieces of such parts are compared by equal use alone
        smaller = np.column_stack([smaller, options.feed, -options.feed])
    ids = [(feed.count, feed.generator.id if feed.generator else "", feed.charger.id if feed.charger else "") for feed in feeds]
    place = np.argsort(sorted(range(len(feeds)), key=ids.__getitem__))
    rank = np.empty(len(options), dtype=int)
    rank[np.lexsort((-options.feed_a, place[options.feed]))] = np.arange(len(options))
    keep = np.zeros(len(options), dtype=bool)
    cost = each[options.feed, 0] + options.circuit_cents
    for at in np.unique(options.kind):
        rows = np.nonzero(options.kind == at)[0]
        of_rows = np.column_stack([cost[rows], smaller[rows]])
        under = np.ones((len(rows), len(rows)), dtype=bool)
        for column in of_rows.T:
            under &= column[:, None] <= column[None, :]
        keep[rows] = ~(under & (~under.T | (rank[rows][:, None] < rank[rows][None, :]))).any(axis=0)
    return keep


def _cost(feed: Feed, stock: Stock) -> tuple[float, float, float]:
    """Objective and bill [cents] and weight [kg] of a source."""
    prices = stock.prices
    objective = sum(count * stock.price_cents(part) for part, count in feed.pieces) + len(feed.pieces) * prices.distinct_cents
    bill = sum(count * stock.bill_cents(part) for part, count in feed.pieces)
    weight = sum(count * stock.part(part).weight_kg for part, count in feed.pieces)
    return objective + prices.connection_cents * 2 * feed.units, bill, weight


def _refill_wh(cores: Table, needs: Needs) -> np.ndarray:
    """Energy into the bank that fills it again after its days without sun [Wh]."""
    days = np.array([season.autonomy_d for season in needs.seasons])
    return np.asarray((cores.autonomy_wh * days).max(axis=1) / cores.efficiency_wh)


def _without(cores: Table) -> Table:
    """Cores without a source: nothing but the array carries the loads."""
    nothing = np.zeros_like(cores.fed_wh)
    return Table({
        **cores.columns, "feed": np.full(len(cores), -1), "feed_a": np.zeros(len(cores)), "floor_wh": cores.needed_wh, "feed_wh": nothing,
        "feed_cents": nothing, "share_wh": np.full(len(cores), np.inf),
    })


def _with(cores: Table, options: Table, needs: Needs, screening: Screening) -> Table:
    """Cores with their sources: what these may bring, and what the array must bring itself."""
    problem, days, use = needs.problem, np.array(DAYS_OF_MONTH)[needs.months], needs.problem.source_use
    share = problem.balance.minimum_solar_share if screening.enforced("solar-share") else None
    paid_wh = cores.fed_wh
    if needs.source_h is None:
        assert isinstance(use, GeneratorUse), "only a generator runs when it is wanted"
        hours = use.hours_per_day_max
        feed_wh = np.repeat((options.charge_w * hours if screening.enforced("generator-hours") else np.full(len(cores), np.inf))[:, None], len(days), axis=1)
        floor_wh = np.maximum(cores.fed_wh - feed_wh * (1 + TOLERANCE), 0.0)
    else:  # it comes and goes: all that is asked of an array alone holds, with what it may bring added to the harvest
        paid_wh = np.minimum(cores.fed_wh, cores.needed_wh)
        feed_wh = np.full_like(paid_wh, np.inf)  # the floor says what it brings at most
        floor_wh = np.maximum(cores.needed_wh * (1 - TOLERANCE) - options.charge_w[:, None] * needs.source_h[None, :], 0.0)
    share_wh = np.full(len(cores), np.inf) if share is None else (1 - share * (1 - TOLERANCE)) * (paid_wh @ days)
    table = Table({
        **cores.columns, "feed": options.feed, "feed_a": options.feed_a, "needed_wh": paid_wh, "feed_wh": feed_wh,
        "floor_wh": floor_wh, "feed_cents": options.rate_cents[:, None] * days, "share_wh": share_wh,
        "wiring_cents": cores.wiring_cents + options.circuit_cents.astype(np.int64), "wiring_kg": cores.wiring_kg + options.circuit_kg,
        "most_charge_a": cores.most_charge_a - options.feed_a, "refill_h": _refill_wh(cores, needs) / options.charge_w,
    })
    if needs.source_h is None:
        most_h = problem.generator.hours_per_day_max * problem.autonomy.recovery_days
        table = screening.hold(table, "generator-refill", table.refill_h, most_h, lambda _: "charger and the days without sun")
    table.columns.pop("refill_h")
    return table
