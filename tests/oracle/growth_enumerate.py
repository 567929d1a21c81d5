"""Small random sites that grow, and the best plan of each found by looking at all: nothing of the plan's program.

Every valid design of every node is written down and checked. For each combination of designs over the nodes the purchases
are priced item by item, by looking at every number of pieces that can be bought, kept or sold at every node. Items do not
touch each other, but for modules: at a later node one model is bought at most, so every allotment of models is tried.
What the source of a design burns is paid for each year that the design stands.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache, cached_property
from itertools import combinations, product
from typing import Any

import numpy as np
from cases import ALLOWANCES, TABLES, controller, inverter, lead_battery, lithium_battery, module
from enumerate import OF_SOURCE_AND_ARRAY, Walk

from optimizer.bill import allowance_counts
from optimizer.design import Bank, Block, Design
from optimizer.growth.tree import Node, Tree, tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import (
    AlternatorCharger,
    Autotransformer,
    Charger,
    Generator,
    SoftStarter,
)
from optimizer.inputs.parts import Allowance, Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import fits, with_starters
from optimizer.needs.site import Needs
from optimizer.needs.stepping import carries, stepped_up, without_transformer
from optimizer.proof.array import block_lines
from optimizer.proof.bank import bank_lines
from optimizer.proof.check import check_design
from optimizer.proof.core import Core, core_lines
from optimizer.proof.source import Fed, source_lines
from optimizer.proof.whole import Whole
from optimizer.rules import generating
from optimizer.rules.bank import units_in_series

SHAPES = ("stays or grows", "two ways", "two steps")
"""Forms of the years ahead: one node beside the first in the first form, two in the others."""

DRAWN = ((Module, "module"), (Battery, "battery"), (Controller, "controller"), (Inverter, "inverter"), (Converter, "converter"))
"""Kinds whose shares are drawn for a case."""

KINDS = (
    *DRAWN, (SoftStarter, "soft_starter"), (Autotransformer, "autotransformer"), (Generator, "generator"), (Charger, "charger"),
    (AlternatorCharger, "alternator_charger"),
)


# --- cases


def _sorted(parts: list[Any]) -> tuple[Any, ...]:
    return tuple(sorted(parts, key=lambda part: part.id))


def _catalog(rng: random.Random) -> Catalog:
    """One or two models of module, two or three batteries, one or two controllers, an inverter for each voltage or two."""
    def price(amount: float) -> float:
        return round(amount * rng.uniform(0.6, 1.5), 2)

    modules = [module("M60-300", 60, 300, price(116)), module("M54-430", 54, 430, price(142)), module("M72-200", 72, 200, price(90))]
    batteries = [
        lithium_battery("B-LFP8-100", 8, 100, price(455)), lithium_battery("B-LFP8-50", 8, 50, price(250)), lead_battery("B-AGM-200", "agm", 6, 200, price(398)),
        lithium_battery("B-LFP16-100", 16, 100, price(900)), lithium_battery("B-LFP4-200", 4, 200, price(430)),
    ]
    controllers = [
        controller("C-MPPT-30", "mppt", 30, (12, 24, 48), price(168)), controller("C-MPPT-60", "mppt", 60, (24, 48), price(380)),
        controller("C-MPPT-40", "mppt", 40, (12, 24), price(150)),
    ]
    inverters = [inverter("I-24-900", 24, "230", 900, price(160)), inverter("I-24-2000", 24, "230", 2000, price(380)), inverter("I-48-2500", 48, "230", 2500, price(470))]
    packed = rng.random() < 0.2
    return Catalog(
        name="growth", currency="USD",
        modules=_sorted([part.model_copy(update={"pack_qty": 2}) if packed else part for part in rng.sample(modules, rng.choice((1, 2)))]),
        batteries=_sorted(rng.sample(batteries, 3)), controllers=_sorted(rng.sample(controllers[:2], 1) if rng.random() < 0.5 else controllers[:2]),
        inverters=_sorted(inverters if rng.random() < 0.5 else inverters[1:]), converters=(),
        allowances=_sorted([Allowance(id=name, per=per, price=round(each * rng.uniform(0.8, 2.5), 2), weight_kg=kg) for name, per, each, kg in ALLOWANCES]),
        tables=TABLES,
    )


def _growth(rng: random.Random, shape: str) -> dict[str, Any]:
    years = sorted(rng.sample((1.0, 1.5, 2.0, 3.0, 5.0, 7.0, 13.0), 2))
    freezer: dict[str, Any] = {"item": "freezer", "watts": rng.choice((80, 120, 160)), "supply": "AC", "volts": 230, "hours": {"all": rng.choice((6, 9, 12))},
                               "power_factor": 0.8, "surge_x": 4, "surge_s": 0.5}
    tools: dict[str, Any] = {"item": "tools", "watts": rng.choice((500, 900, 1400)), "supply": "AC", "volts": 230, "hours": {"all": 0.7}, "power_factor": 0.9, "night_share": 0}
    more: dict[str, Any] = {"name": "more", "loads": [freezer]}
    if rng.random() < 0.35:
        more["set"] = {"bank.volts": (48,)}
    work: dict[str, Any] = {"name": "work", "loads": [tools]}
    if rng.random() < 0.3:
        work["remove"] = ["lights"]
    chance = round(rng.uniform(0.2, 0.8), 2)
    futures: dict[str, list[dict[str, Any]]] = {
        "stays or grows": [{"name": "stays", "probability": 1 - chance}, {"name": "grows", "probability": chance, "steps": [{"year": years[0], "stage": "more"}]}],
        "two ways": [
            {"name": "cold", "probability": 1 - chance, "steps": [{"year": years[0], "stage": "more"}]},
            {"name": "busy", "probability": chance, "steps": [{"year": years[1], "stage": "work"}]},
        ],
        "two steps": [{"name": "grows", "probability": 1.0, "steps": [
            {"year": years[0], "stage": "work" if chance > 0.5 else ""}, {"year": years[1], "stage": "more"},
        ]}],
    }
    used = {step["stage"] for future in futures[shape] for step in future.get("steps", ())}

    discount = rng.choice((2.0, 6.0, 12.0))
    trend = {kind: round(rng.uniform(-8, 12), 1) for kind in ("module", "battery", "controller", "inverter", "allowance") if rng.random() < 0.7}
    horizon = years[1] + rng.choice((1.0, 6.0))

    def shares(most: float) -> dict[str, float]:
        """Shares so small that nobody buys a part only to sell it again when prices have risen."""
        rises = {kind: max(1.0, ((1 + trend.get(kind, 0.0) / 100) / (1 + discount / 100)) ** horizon) for _, kind in DRAWN}
        return {kind: round(rng.uniform(0, min(most, 0.9 / rises[kind])), 2) for _, kind in DRAWN if rng.random() < 0.7}

    return {
        "stages": [stage for stage in (more, work) if stage["name"] in used], "futures": futures[shape], "horizon_years": horizon,
        "discount_pct": discount, "price_trend_pct": trend, "resale_share": shares(0.7), "end_value_share": shares(0.6),
        "voltage_changeover": rng.choice((0.0, 60.0, 900.0)), "later_allowance_x": rng.choice((1.0, 1.5, 4.0)),
    }


@cache
def growth_case(seed: int) -> tuple[Problem, Catalog]:
    """A small house that grows, the same for the same seed; its shape is `SHAPES[seed % 3]`."""
    rng = random.Random(seed * 6007 + 5)
    catalog = _catalog(rng)
    scale = rng.uniform(0.4, 1.0)
    air = [8.0, 9.0, 12.0, 15.0, 18.0, 21.0, 22.0, 21.0, 18.0, 14.0, 10.0, 8.0]
    data: dict[str, Any] = {
        "name": "growing house", "site": {"ac": "230 V 50 Hz"},
        "array": {"sun_h": [3.2, 3.6, 4.2, 4.8, 5.2, 5.4, 5.4, 5.0, 4.4, 3.8, 3.2, 3.0]},
        "temperatures": {"lowest_c": -3.0, "hottest_c": 34.0, "air_c": air, "battery_c": air, "battery_lowest_c": 7.0, "electronics_highest_c": 40.0},
        "autonomy": {"days": 1.0}, "bank": {"volts": rng.choice(((24,), (24, 48)))},
        "loads": [
            {"item": "lights", "watts": round(60 * scale), "supply": "AC", "volts": 230, "hours": {"all": 5}, "power_factor": 0.9, "night_share": 0.9},
            {"item": "refrigerator", "watts": 80, "supply": "AC", "volts": 230, "hours": {"all": round(8 * scale, 1)}, "surge_x": 4, "surge_s": 0.5, "power_factor": 0.8, "starts_by_itself": True},
        ],
        "bounds": {"modules_in_series": 2, "strings_per_controller": 2, "controllers": 2, "array_kinds": rng.choice((1, 2)), "battery_strings": 2, "inverters": 1, "charge_limit_steps": (1.0,)},
        "growth": _growth(rng, SHAPES[seed % 3]),
    }
    if rng.random() < 0.3:
        data["bank"]["age_spread_months_max"] = rng.choice((0.0, 40.0, 90.0))
    if rng.random() < 0.5:
        data["price"] = {"freight": 25.0, "freight_per_kg": 0.4, "margin_pct": rng.choice((0.0, 12.5)), "tax_pct": rng.choice((0.0, 7.7))}
    if rng.random() < 0.4:
        data["owned"] = [
            {"part": rng.choice(catalog.batteries).id, "quantity": rng.choice((1, 2)), "age_months": rng.choice((6, 30))},
            {"part": rng.choice((*catalog.modules, *catalog.inverters)).id, "quantity": 1},
        ]
    return Problem.model_validate(data), catalog


# --- designs of a node


@dataclass(frozen=True)
class Way:
    """What a plan sees of a design: voltage, pieces of everything, and controllers by model of module and modules on each."""

    volts: int
    used: tuple[tuple[str, int], ...]
    trackers: tuple[tuple[str, int], ...]
    """Model of module and modules, once a controller."""
    yearly: float = 0.0
    """What its source burns in a year [cents]."""

    @classmethod
    def of(cls, design: Design, priced: frozenset[str], fitted: Mapping[str, int], yearly: float) -> Way:
        used = Counter(design.pieces)
        used.update(fitted)
        for per, times in allowance_counts(design).items():
            if per in priced and times:
                used["per " + per] += times
        trackers = sorted((block.module.id, block.modules_each) for block in design.blocks for _ in range(block.count))
        return cls(design.bank.volts, tuple(sorted(used.items())), tuple(trackers), yearly)


def valid_designs(problem: Problem, catalog: Catalog) -> Iterator[tuple[Design, float]]:
    """Every design that the check accepts, with what its source burns in a year. A half that breaks a rule by itself is left out before the whole
    is checked.
    """
    walk, bounds = Walk(problem, catalog), problem.bounds
    needs = Needs(problem)
    parts = [*catalog.controllers, *(one for one in catalog.inverters if one.kind == "all-in-one")]
    blocks = [Block(part, one, series, strings, plane=plane) for part, one, series, strings, plane in product(
        parts, catalog.modules, range(1, bounds.modules_in_series + 1), range(1, bounds.strings_per_controller + 1), needs.planes)]
    for battery, volts, strings in product(catalog.batteries, (12, 24, 36, 48), range(1, bounds.battery_strings + 1)):
        chemistry = catalog.chemistry(battery)
        series = units_in_series(volts, battery.cells, chemistry.cells_per_12v)
        if not series:
            continue
        bank = Bank(battery, chemistry, volts, series, strings)
        if any(line.fails for line in bank_lines(needs, bank)):
            continue
        fit = [block for block in blocks if not any(line.fails for line in block_lines(needs, catalog.tables, bank, block, ""))]
        arrays = [(replace(block, count=n),) for block in fit for n in range(1, bounds.controllers + 1)]
        arrays += list(combinations(fit, 2)) if bounds.array_kinds > 1 else []
        for inverters, converters in product(walk.inverter_banks(), walk.converter_ways()):
            for source in walk.sources(bank, inverters):
                core = Core(needs, catalog.tables, bank, inverters, converters, None, source is not None)
                bare = Whole(needs, core, Design(bank, (), inverters, converters, source), ())
                said = source_lines(bare, Fed(bare, source) if source is not None else None)
                if any(line.fails and line.rule not in OF_SOURCE_AND_ARRAY for line in (*core_lines(core), *said)):
                    continue
                for array in arrays:
                    design = Design(bank, array, inverters, converters, source)
                    report = check_design(design, needs, catalog, walk.prices)
                    if report.valid:
                        yield design, burnt(Fed(report.whole, source), problem) if source is not None else 0.0


def burnt(fed: Fed, problem: Problem) -> float:
    """What a source costs in a year, from the energy that the array leaves to it [cents]."""
    use, generator = problem.source_use, fed.source.generator
    into_wh = float(np.maximum(fed.needed_wh - fed.whole.harvest_wh, 0.0) @ fed.days)
    if generator is None:
        return 100 * into_wh / fed.efficiency / 1000 * use.price_per_kwh
    litres_per_h = float(generating.fuel_l_per_h(fed.charge_w / fed.efficiency, generator.litres_per_kwh, generator.idle_l_per_h))
    return 100 * into_wh / fed.charge_w * (litres_per_h * use.fuel_price_per_l + generator.service_per_h)


def every_way(problem: Problem, catalog: Catalog) -> Iterator[tuple[Problem, Counter[str]]]:
    """The problem with each starter, or none, before each load that may have one, or with each autotransformer or none; and what is fitted."""
    if problem.inverter.autotransformer == "may":
        yield without_transformer(problem), Counter()
        yield from ((stepped_up(problem, part), Counter({part.id: 1})) for part in catalog.autotransformers if carries(problem, part))
        return
    may = [load for load in problem.loads if load.soft_starter == "may"]
    plain = problem.model_copy(update={"loads": tuple(load.model_copy(update={"soft_starter": None}) for load in problem.loads)})
    for way in product(*([None, *(one for one in catalog.soft_starters if fits(one, load))] for load in may)):
        fitted: Counter[str] = Counter()
        for load, one in zip(may, way, strict=True):
            if one is not None:
                fitted[one.id] += load.qty
        yield with_starters(plain, catalog, {load.item: one.id for load, one in zip(may, way, strict=True) if one}), fitted


def ways_of(problem: Problem, catalog: Catalog) -> list[tuple[Way, Design]]:
    """Designs that differ to a plan, without those that use more than one with the same trackers and voltage."""
    priced = frozenset(one.per for one in catalog.allowances)
    found: dict[Way, Design] = {}
    for asked, fitted in every_way(problem, catalog):
        for design, yearly in valid_designs(asked, catalog):
            found.setdefault(Way.of(design, priced, fitted, yearly), design)
    return [(way, design) for way, design in found.items() if not any(_less(other, way) for other in found)]


def _less(other: Way, way: Way) -> bool:
    if other == way or other.volts != way.volts or other.trackers != way.trackers or other.yearly > way.yearly:
        return False
    of_other, of_way = Counter(dict(other.used)), Counter(dict(way.used))
    return all(of_way[item] >= n for item, n in of_other.items())


# --- purchases


class Money:
    """Prices of a case in each year, from the catalog alone [present cents]."""

    def __init__(self, tree: Tree, catalog: Catalog) -> None:
        self.tree, self.catalog, self.growth, self.asked = tree, catalog, tree.growth, tree.asked
        self.on_top = (1 + self.asked.price.margin_pct / 100) * (1 + self.asked.price.tax_pct / 100)

    def kind(self, item: str) -> str:
        part = self.catalog.by_id.get(item)
        return next((name for kind, name in KINDS if isinstance(part, kind)), "allowance")

    def _listed(self, part: Part) -> int:
        return round(100 * part.price) + round(100 * self.asked.price.freight_per_kg * part.weight_kg)

    def _year(self, kind: str, year: float) -> float:
        return float(((1 + self.growth.price_trend_pct.get(kind, 0) / 100) / (1 + self.growth.discount_pct / 100)) ** year)

    def weight(self, node: Node) -> float:
        return 1.0 if node.parent is None else self.tree.chance[node.future]

    def buy(self, item: str, node: Node) -> float:
        """Expected price of a piece."""
        if item in self.catalog.by_id:
            cents = float(self._listed(self.catalog.by_id[item]))
        else:
            cents = float(sum(self._listed(one) for one in self.catalog.allowances if "per " + one.per == item))
            cents *= 1.0 if node.parent is None else self.growth.later_allowance_x
        return self.weight(node) * cents * self.on_top * self._year(self.kind(item), node.year)

    def sell(self, item: str, node: Node, bought: float) -> float:
        """What a used piece brings, bought in a year; expected."""
        if self.worn(item, bought, node.year) or item not in self.catalog.by_id:
            return 0.0
        share = self.growth.resale_share.get(self.kind(item), 0.0)
        return self.weight(node) * share * round(100 * self.catalog.by_id[item].price) * self._year(self.kind(item), node.year)

    def left(self, item: str, node: Node, bought: float) -> float:
        """What a piece that is there after a node is worth in the futures that end with it; expected."""
        year = self.growth.horizon_years
        ends = sum(chance for future, chance in self.tree.chance.items() if self.tree.last(future).number == node.number)
        if self.worn(item, bought, year) or item not in self.catalog.by_id:
            return 0.0
        share = self.growth.end_value_share.get(self.kind(item), 0.0)
        return ends * share * round(100 * self.catalog.by_id[item].price) * self._year(self.kind(item), year)

    def years(self, node: Node) -> float:
        """What a coin counts that is spent in every year from a node to the next; expected."""
        return sum(
            chance * (self._up_to(min([*(one.year for one in nodes if one.year > node.year), self.growth.horizon_years])) - self._up_to(node.year))
            for future, chance in self.tree.chance.items() if node in (nodes := self.tree.of_future(future))
        )

    def _up_to(self, year: float) -> float:
        """The same from today on, year by year; of a year that has begun the share that has passed, with the interest of that share."""
        each = (1 + self.growth.price_trend_pct.get("running", 0) / 100) / (1 + self.growth.discount_pct / 100)
        paid, past = 0.0, 1.0
        while year >= 1:
            past, year = past * each, year - 1
            paid += past
        return paid + past * each * (year if each == 1 else (1 - each**year) / (1 - each))

    def worn(self, item: str, bought: float, year: float) -> bool:
        part = self.catalog.by_id.get(item)
        return isinstance(part, Battery) and year - bought > self.catalog.chemistry(part).calendar_life_years + 1e-9


Demand = Any
"""What a node asks of one item: pieces, or for modules the sizes of the controllers that hold them."""

Held = tuple[tuple[float, int], ...]
"""Pieces by the year in which they were bought, owned ones before year 0."""

IMPOSSIBLE = float("inf")


class Purchases:
    """Least expected present cost of one item for what each node asks of it."""

    def __init__(self, money: Money, item: str, barred: frozenset[int] = frozenset()) -> None:
        self.money, self.item, self.barred = money, item, barred
        """barred: nodes at which none is bought."""
        self.kind = money.kind(item)
        part = money.catalog.by_id.get(item)
        self.pack = part.pack_qty if part is not None else 1
        self.stock = part.stock if part is not None else None
        self.tree = money.tree
        self.known: dict[Any, float] = {}
        owned = [own for own in money.asked.owned if own.part == item]
        ages: Counter[float] = Counter()
        for own in owned:
            ages[-own.age_months / 12 if self.kind == "battery" else 0.0] += own.quantity
        self.owned: Held = tuple(sorted(ages.items()))

    def pieces(self, demand: Demand) -> int:
        return sum(demand) if self.kind == "module" else demand

    def cost(self, demands: tuple[Demand, ...]) -> float:
        """By the number of the node."""
        if self.kind == "allowance":
            return self._unbound(demands)
        return self._from(self.tree.nodes[0], self.owned, demands)

    def _unbound(self, demands: tuple[int, ...]) -> float:
        """Cable and fuses: nothing brings them back and the date does not matter, so each piece is looked at alone."""
        total = 0.0
        for reach in sorted(set(demands) - {0}):
            below = max((one for one in demands if one < reach), default=0)
            wanted = [one >= reach for one in demands]
            total += (reach - below) * min(self._first(wanted), sum(
                self._later(child, wanted) for child in self.tree.children(self.tree.nodes[0])) if not wanted[0] else IMPOSSIBLE)
        return total

    def _first(self, wanted: list[bool]) -> float:
        return self.money.buy(self.item, self.tree.nodes[0])

    def _later(self, node: Node, wanted: list[bool]) -> float:
        """Least cost of a piece that is not there before a node."""
        here = self.money.buy(self.item, node)
        if wanted[node.number]:
            return here
        later = sum(self._later(child, wanted) for child in self.tree.children(node))
        return min(here, later)

    def _from(self, node: Node, held: Held, demands: tuple[Demand, ...]) -> float:
        """Least cost from a node on, with what is there before it."""
        under = [one.number for one in self.tree.nodes if node in self.tree.path(one)]
        key = (node.number, held, tuple(demands[n] for n in under))
        if key in self.known:
            return self.known[key]
        most = max(self.pieces(demands[n]) for n in under)
        least = IMPOSSIBLE
        keeps = [range(n + 1) for _, n in held] if node.parent is not None else [(n,) for _, n in held]
        top = 0 if node.number in self.barred else -(-most // self.pack) * self.pack
        top = top if self.stock is None else min(top, self.stock)
        for bought in range(0, top + 1, self.pack):
            for kept in product(*keeps):
                now = self._joined((*((year, n) for (year, _), n in zip(held, kept, strict=True)), (node.year, bought)))
                if not self._serves(node, now, demands[node.number]):
                    continue
                cost = bought * self.money.buy(self.item, node)
                cost -= sum((n - k) * self.money.sell(self.item, node, year) for (year, n), k in zip(held, kept, strict=True))
                cost -= sum(n * self.money.left(self.item, node, year) for year, n in now)
                if cost < least or self.tree.children(node):
                    least = min(least, cost + sum(self._from(child, now, demands) for child in self.tree.children(node)))
        self.known[key] = least
        return least

    def _joined(self, held: tuple[tuple[float, int], ...]) -> Held:
        """Without empty lots; parts whose date does not matter as one."""
        if self.kind not in ("module", "battery"):
            count = sum(n for _, n in held)
            return ((0.0, count),) if count else ()
        if self.kind == "module":  # owned modules are as those of the first purchase
            held = tuple((max(year, 0.0), n) for year, n in held)
        together: Counter[float] = Counter()
        for year, n in held:
            together[year] += n
        return tuple(sorted((year, n) for year, n in together.items() if n))

    def _serves(self, node: Node, held: Held, demand: Demand) -> bool:
        if not demand:
            return True
        if self.kind == "module":
            return any(self._fits(demand, choice, held) for choice in product(range(len(held)), repeat=len(demand)))
        if self.kind == "battery":
            part = self.money.catalog.by_id[self.item]
            assert isinstance(part, Battery)
            months = self.money.asked.bank.age_spread_months_max
            spread = (self.money.catalog.chemistry(part).age_spread_months_max if months is None else months) / 12 + 1e-9
            alive = [(year, n) for year, n in held if not self.money.worn(self.item, year, node.year)]
            groups = [[(year, n) for year, n in alive if 0 <= year - first <= spread] for first, _ in alive]
            own = [one for one in alive if one in self.owned]
            if node.parent is None and own:  # where some are owned, new ones come only to all of them
                groups = [[one for one in group if one in self.owned or all(other in group for other in own)] for group in groups]
            return any(sum(n for _, n in group) >= demand for group in groups)
        return sum(n for _, n in held) >= demand

    @staticmethod
    def _fits(sizes: tuple[int, ...], choice: tuple[int, ...], held: Held) -> bool:
        used: Counter[int] = Counter()
        for size, lot in zip(sizes, choice, strict=True):
            used[lot] += size
        return all(n <= held[lot][1] for lot, n in used.items())


# --- plans


@dataclass(frozen=True)
class BestPlan:
    """Least expected present cost [cents], and the designs and ways that make it, by node."""

    cents: float
    ways: tuple[Way, ...]
    designs: tuple[Design, ...]


class EveryPlan:
    """All plans of a case."""

    def __init__(self, problem: Problem, catalog: Catalog) -> None:
        self.tree, self.catalog = tree_of(problem), catalog
        self.money = Money(self.tree, catalog)
        by_problem: list[tuple[Problem, list[tuple[Way, Design]]]] = []
        self.ways: list[list[tuple[Way, Design]]] = []
        for node in self.tree.nodes:
            known = next((ways for other, ways in by_problem if other == node.problem), None)
            if known is None:
                known = ways_of(node.problem, catalog)
                by_problem.append((node.problem, known))
            self.ways.append(known)

    @property
    def possible(self) -> bool:
        return all(self.ways)

    @cached_property
    def totals(self) -> np.ndarray:
        """Least cost of every combination of designs, a dimension a node [cents]."""
        shape = tuple(len(ways) for ways in self.ways)
        asked = self.money.asked
        total = np.full(shape, round(100 * asked.price.freight) * self.money.on_top)
        owned = {own.part for own in asked.owned}
        items = sorted(owned | {item for ways in self.ways for way, _ in ways for item, _ in way.used})
        modules = [item for item in items if self.money.kind(item) == "module"]
        for item in items:
            if item not in modules:
                total += self._table(Purchases(self.money, item), item)
        total += self._changes(shape)
        for node, ways in zip(self.tree.nodes, self.ways, strict=True):
            paid = self.money.years(node) * np.array([way.yearly for way, _ in ways])
            total = total + np.expand_dims(paid, [n for n in range(len(shape)) if n != node.number])
        later = [node.number for node in self.tree.nodes if node.parent is not None]
        allotted = []
        for models in product(modules, repeat=len(later)):
            barred = {item: frozenset(n for n, model in zip(later, models, strict=True) if model != item) for item in modules}
            allotted.append(sum(self._module_table(item, barred[item]) for item in modules))
        return total + np.min(allotted, axis=0)

    @cache  # noqa: B019  # lives as long as the test
    def _module_table(self, item: str, barred: frozenset[int]) -> np.ndarray:
        return self._table(Purchases(self.money, item, barred), item)

    def _table(self, purchases: Purchases, item: str) -> np.ndarray:
        """Cost of one item in every combination."""
        asked = [[self._demand(way, item) for way, _ in ways] for ways in self.ways]
        different = [sorted(set(of_node)) for of_node in asked]
        small = np.array([purchases.cost(demands) for demands in product(*different)]).reshape([len(one) for one in different])
        return small[np.ix_(*([of.index(one) for one in of_node] for of, of_node in zip(different, asked, strict=True)))]

    def _demand(self, way: Way, item: str) -> Demand:
        if self.money.kind(item) == "module":
            return tuple(size for model, size in way.trackers if model == item)
        return dict(way.used).get(item, 0)

    def _changes(self, shape: tuple[int, ...]) -> np.ndarray:
        """Cost of changes of voltage."""
        total = np.zeros(shape)
        volts = [np.array([way.volts for way, _ in ways]) for ways in self.ways]
        for node in self.tree.nodes[1:]:
            at = [np.ones(1)] * len(shape)
            each = self.money.weight(node) * (1 + self.money.growth.discount_pct / 100) ** -node.year * 100 * self.money.growth.voltage_changeover * self.money.on_top
            here = np.expand_dims(volts[node.number], [n for n in range(len(at)) if n != node.number])
            before = np.expand_dims(volts[node.parent or 0], [n for n in range(len(at)) if n != (node.parent or 0)])
            total = total + each * (here != before)
        return total

    def best(self) -> BestPlan:
        """The plan of least expected present cost."""
        at = np.unravel_index(int(np.argmin(self.totals)), self.totals.shape)
        chosen = [ways[int(n)] for ways, n in zip(self.ways, at, strict=True)]
        return BestPlan(float(self.totals.min()), tuple(way for way, _ in chosen), tuple(design for _, design in chosen))
