"""Generators with what they charge through, as part of a power core.

A core with a source is a candidate of its own: what the set may bring and what that costs are numbers of the core, so the
program has no product of two decisions. The closed form of what a source burns is in `feeding.py`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Source
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Charger, Generator
from optimizer.inputs.parts import Inverter
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import Needs
from optimizer.rules import generating, lifetime
from optimizer.rules.book import TOLERANCE

SEEN = ("volts", "charging_v", "absorb25_v", "lithium", "most_charge_a", "inverter", "inverter_count")
"""What a source can see of a core."""

SETTING_A = 0.1
"""Step to which the current of chargers is rounded down [A]."""


@dataclass(frozen=True)
class Feed:
    """A generator and the chargers that it feeds, so many of a model; those of the inverters where there is none."""

    generator: Generator
    charger: Charger | None
    count: int

    def source(self, charge_a: float) -> Source:
        """The same with its chargers set to a current."""
        return Source(self.generator, self.charger, self.count, charge_a)

    @property
    def pieces(self) -> list[tuple[str, int]]:
        """Part ids and pieces."""
        return [(self.generator.id, 1), *([(self.charger.id, self.count)] if self.charger is not None else [])]


def feeds_of(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> list[Feed]:
    """Every generator that makes the site's AC, with every number of every charger that it can feed."""
    problem = needs.problem
    allowed = [one for one in catalog.generators if stock.allows(one.id)]
    able = [one for one in allowed if problem.site.ac == "none" or one.ac in generating.AC_OF_SITE[problem.site.ac]]
    if len(able) < len(allowed):
        screening.lost("generator-ac", len(allowed) - len(able), len(able), f"{problem.site.ac} is asked")
    chargers = [one for one in catalog.chargers if stock.allows(one.id)]
    feeds = []
    for one in able:
        feeds.append(Feed(one, None, 0))
        feeds += [
            Feed(one, charger, count) for charger in chargers if one.ac in generating.AC_OF_CHARGER[charger.ac]
            for count in range(1, problem.bounds.chargers + 1)
        ]
    return feeds


def with_sources(
    cores: Table, inverters: list[Inverter], needs: Needs, catalog: Catalog, screening: Screening, stock: Stock,
) -> tuple[Table, list[Feed]]:
    """Every core without a source, unless the problem requires one, and with each that it may have."""
    feeds = feeds_of(needs, catalog, screening, stock)
    key, first, kind = _kinds(cores)
    options = _options(cores.take(first), inverters, feeds, needs, screening, stock) if feeds else None
    parts = [] if needs.problem.generator.required else [_without(cores)]
    if options is not None and len(options):
        options = options.take(_undominated(options, cores, kind, needs, stock, feeds))
        by_kind = [np.nonzero(options.kind == at)[0] for at in range(len(key))]
        rows = np.concatenate([np.full(len(by_kind[at]), row) for row, at in enumerate(kind)]).astype(int)
        parts.append(_with(cores.take(rows), options.take(np.concatenate([by_kind[at] for at in kind])), needs, screening))
    if not parts or not any(len(part) for part in parts):
        if not feeds:
            screening.lost("generator-present", len(cores), 0, "the catalog has no generator for this site")
        return cores.take(np.zeros(0, dtype=int)), feeds
    return Table.joined(parts), feeds


def _kinds(cores: Table) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Kinds of core that sources cannot tell apart, the first core of each, and the kind of each core."""
    key, first, kind = np.unique(np.column_stack([cores.columns[name].astype(float) for name in SEEN]), axis=0, return_index=True, return_inverse=True)
    return key, first, kind.ravel()


def _options(kinds: Table, inverters: list[Inverter], feeds: list[Feed], needs: Needs, screening: Screening, stock: Stock) -> Table:
    """Sources with the settings of their chargers, for each kind of core."""
    tables = [_settings(kinds, inverters, feed, at, needs, stock) for at, feed in enumerate(feeds)]
    table = Table.joined(tables)
    name = {at: feed.generator.id for at, feed in enumerate(feeds)}

    def hold(rule: str, actual: np.ndarray, required: np.ndarray) -> None:
        nonlocal table
        current = table
        table = screening.hold(current, rule, actual, required, lambda row: name[int(current.feed[row])])

    hold("generator-size", table.gives_va, table.loads_va + table.va_each_a * SETTING_A)
    hold("generator-power", table.gives_w, needs.demand.coincident_w + table.w_each_a * SETTING_A)
    table = table.take(table.feed_a >= SETTING_A)
    hold("generator-load", table.load_share, table.least_load_share)
    return table


def _settings(kinds: Table, inverters: list[Inverter], feed: Feed, at: int, needs: Needs, stock: Stock) -> Table:
    """One source with each setting, on each kind of core that it may serve."""
    problem, demand, one, charger = needs.problem, needs.demand, feed.generator, feed.charger
    has = kinds.inverter >= 0
    ok = ~has | (np.array([*(inverter.neutral_bond != "fixed" for inverter in inverters), True])[kinds.inverter])
    if charger is None:
        of = [*((i.charge_a, generating.OLD_CHARGER_POWER_FACTOR if i.charge_power_factor is None else i.charge_power_factor, i.ac) for i in inverters), (0.0, 1.0, "")]
        output_a = np.array([a for a, _, _ in of])[kinds.inverter] * kinds.inverter_count
        factor, efficiency = np.array([pf for _, pf, _ in of])[kinds.inverter], generating.CHARGER_EFFICIENCY
        uneven = np.where(
            np.isin(np.array([ac for _, _, ac in of])[kinds.inverter], ("120/240", "")), 1.0, generating.uneven_share(np.maximum(kinds.inverter_count, 1), one.legs),
        )
        settable = True
    else:
        ok = ok & (kinds.volts == charger.bank_v) & (charger.lfp_profile | ~kinds.lithium.astype(bool))
        output_a = np.full(len(kinds), charger.output_a * feed.count)
        factor, efficiency, settable = np.full(len(kinds), charger.power_factor), charger.efficiency, charger.current_settable
        uneven = np.full(len(kinds), 1.0 if charger.ac == "240" else float(generating.uneven_share(feed.count, one.legs)))
    gives_va = float(generating.generator_gives_va(one.rated_va, problem.site.elevation_m, problem.temperatures.hottest_c, one.fuel_share))
    loads_va = demand.coincident_leg_va if demand.legs > 1 else one.legs * demand.coincident_va
    va_each_a = uneven * generating.charging_va(1.0, kinds.absorb25_v, factor, efficiency)
    w_each_a = kinds.absorb25_v / efficiency
    room_a = np.minimum((gives_va - loads_va) / va_each_a, (gives_va * one.power_factor - demand.coincident_w) / w_each_a)
    most_a = np.minimum(np.minimum(output_a, kinds.most_charge_a), room_a)
    ok = ok & (output_a > 0)
    tables = []
    steps = problem.bounds.charge_limit_steps if settable else (1.0,)
    for step in steps:
        feed_a = np.floor(step * most_a / SETTING_A + 1e-6) * SETTING_A if settable else np.where(output_a <= most_a, output_a, 0.0)
        feed_a = np.round(feed_a, 6)
        charge_w = np.maximum(feed_a, SETTING_A) * kinds.charging_v
        table = Table({
            "kind": np.arange(len(kinds)), "feed": np.full(len(kinds), at), "feed_a": feed_a, "charge_w": charge_w,
            "gives_va": np.full(len(kinds), gives_va), "gives_w": np.full(len(kinds), gives_va * one.power_factor), "loads_va": np.full(len(kinds), loads_va),
            "va_each_a": va_each_a, "w_each_a": w_each_a,
            "load_share": feed_a * w_each_a / (one.rated_va * one.power_factor), "least_load_share": np.full(len(kinds), one.least_load_share),
            "rate_cents": _rate_cents(charge_w, efficiency, one, needs, stock),
        })
        tables.append(table.take(ok))
    return Table.joined(tables)


def _rate_cents(charge_w: np.ndarray, efficiency: float, one: Generator, needs: Needs, stock: Stock) -> np.ndarray:
    """What a watt-hour into the bank counts in the objective if it is brought every year [cents today]."""
    problem = needs.problem
    each_h = problem.generator.fuel_price_per_l * generating.fuel_l_per_h(charge_w / efficiency, one.litres_per_kwh, one.idle_l_per_h) + one.service_per_h
    worth = lifetime.years_worth(problem.generator.years, problem.life_cycle.discount_pct)
    return np.asarray(100 * each_h / charge_w * worth / stock.prices.marked_up)


def _undominated(options: Table, cores: Table, kind: np.ndarray, needs: Needs, stock: Stock, feeds: list[Feed]) -> np.ndarray:
    """Rows that no other source of the same kind of core beats: cost, rate, current for the bank, current left to the array."""
    use = needs.problem.generator
    most_wh = np.maximum(cores.fed_wh.max(axis=1), _refill_wh(cores, needs) / needs.problem.autonomy.recovery_days)
    wanted_w = np.zeros(int(kind.max()) + 1)
    np.maximum.at(wanted_w, kind, most_wh * (1 + TOLERANCE) / use.hours_per_day_max)
    each = np.array([_cost(feed, stock) for feed in feeds])
    enough = np.minimum(options.charge_w, wanted_w[options.kind] if needs.severities.enforced("generator-hours") else np.inf)
    smaller = np.column_stack([options.rate_cents, -enough, options.feed_a, each[options.feed, 1:]])
    hard = {part for feed in feeds for part, _ in feed.pieces} & (stock.special | stock.packs)
    if hard:  # pieces of such parts are compared by equal use alone
        smaller = np.column_stack([smaller, options.feed, -options.feed])
    ids = [(feed.count, feed.generator.id, feed.charger.id if feed.charger else "") for feed in feeds]
    place = np.argsort(sorted(range(len(feeds)), key=ids.__getitem__))
    rank = np.empty(len(options), dtype=int)
    rank[np.lexsort((-options.feed_a, place[options.feed]))] = np.arange(len(options))
    keep = np.zeros(len(options), dtype=bool)
    cost = each[options.feed, 0]
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
    return objective + prices.connection_cents * 2 * (1 + feed.count), bill, weight


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
    problem, days = needs.problem, np.array(DAYS_OF_MONTH)[needs.months]
    hours = problem.generator.hours_per_day_max
    feed_wh = np.repeat((options.charge_w * hours if screening.enforced("generator-hours") else np.full(len(cores), np.inf))[:, None], len(days), axis=1)
    share = problem.balance.minimum_solar_share if screening.enforced("solar-share") else None
    share_wh = np.full(len(cores), np.inf) if share is None else (1 - share * (1 - TOLERANCE)) * (cores.fed_wh @ days)
    table = Table({
        **cores.columns, "feed": options.feed, "feed_a": options.feed_a, "needed_wh": cores.fed_wh, "feed_wh": feed_wh,
        "floor_wh": np.maximum(cores.fed_wh - feed_wh * (1 + TOLERANCE), 0.0), "feed_cents": options.rate_cents[:, None] * days, "share_wh": share_wh,
        "most_charge_a": cores.most_charge_a - options.feed_a, "refill_h": _refill_wh(cores, needs) / options.charge_w,
    })
    table = screening.hold(table, "generator-refill", table.refill_h, hours * problem.autonomy.recovery_days, lambda _: "charger and the days without sun")
    table.columns.pop("refill_h")
    return table

