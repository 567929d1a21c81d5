"""What a plan counts: parts and allowances as items, with their prices by year, their lots and their ages."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from optimizer.bill import PriceList, allowance_counts
from optimizer.design import Design
from optimizer.errors import InputError
from optimizer.growth.sourced import RUNNING
from optimizer.growth.tree import FIRST, Node, Tree
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import (
    AlternatorCharger,
    Autotransformer,
    Charger,
    Generator,
    SoftStarter,
)
from optimizer.inputs.kits import Kit
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.worn import condition_of
from optimizer.rules.book import Severities

KIND_NAMES: dict[type[Part], str] = {
    Module: "module", Battery: "battery", Controller: "controller", Inverter: "inverter", Converter: "converter",
    SoftStarter: "soft_starter", Autotransformer: "autotransformer", Generator: "generator", Charger: "charger", AlternatorCharger: "alternator_charger",
}

ALLOWANCE = "allowance: "
"""Before the `per` of allowances that are counted like parts."""

CIRCUITS = "circuits at"

MOUNTS = f"{ALLOWANCE}mounts"
"""The item that stands for the mounts of all arrays, counted in cents."""

GAIN_CENTS = 1e-6
"""Gain that is only the rounding of floats."""

LEAST_RATE = 1e-9
"""Interest a year below which nothing is discounted."""

OWNED = -1
"""Number of the oldest lot that the customer has already; of younger ones the numbers go on below it."""


def usage_of(design: Design, prices: PriceList) -> Counter[str]:
    """Pieces of every item that a design uses: parts, allowances by what they are counted per, and cents of its circuits and mounts."""
    used = Counter(design.pieces)
    for per, times in allowance_counts(design).items():
        used[ALLOWANCE + per] += times
    used[circuits_at(design.bank.volts)] += prices.wiring.cents(design)
    used[MOUNTS] += prices.mounts.cents(design)
    return +used


def is_in_cents(item: str) -> bool:
    """Whether an item is counted in cents, as what is sized with a design is: a piece costs a cent."""
    return item == MOUNTS or item.startswith(ALLOWANCE + CIRCUITS)


def circuits_at(volts: int) -> str:
    """The item that stands for the circuits of a bank voltage, counted in cents: those of another voltage are of no use to it."""
    return f"{ALLOWANCE}{CIRCUITS} {volts} V"


@dataclass(frozen=True)
class Lot:
    """Pieces of one part that were bought on one date."""

    node: int
    """Number of the node; OWNED or below for the customer's own."""
    year: float

    @property
    def owned(self) -> bool:
        """Whether the customer had them before the first purchase."""
        return self.node <= OWNED


class Ledger:
    """Prices and lots of every item in one tree. Money in cents of the day; `weighted` ones are present and expected."""

    def __init__(self, tree: Tree, catalog: Catalog) -> None:
        self.tree, self.catalog, self.growth = tree, catalog, tree.growth
        asked = tree.asked.model_copy(update={"growth": None})
        self.prices = PriceList(asked, catalog)
        price = asked.price
        self.on_top = (1 + price.margin_pct / 100) * (1 + price.tax_pct / 100)
        self.owned = Counter[str]()
        ages: dict[str, Counter[float]] = {}
        for own in asked.owned:
            self.owned[own.part] += own.quantity
            ages.setdefault(own.part, Counter())[own.age_months / 12 if self.kind(own.part) == "battery" else 0.0] += own.quantity
        self.owned_lots = {
            item: {Lot(OWNED - at, -age) if self.kind(item) == "battery" else Lot(FIRST, 0.0): of[age] for at, age in enumerate(sorted(of, reverse=True))}
            for item, of in ages.items()
        }
        """Pieces that are there before the first purchase, batteries by their age; others are as those of the first purchase."""
        self._spread_months = asked.bank.age_spread_months_max

        self.kits: tuple[Kit, ...] = tuple(self.prices.kits.offered.values())
        self._severities = Severities(asked.rules)
        gains = list(self._gains())
        if gains:
            raise InputError(gains)

    def _gains(self) -> Iterator[str]:
        """Parts and kits that would be bought only to be sold again, without end: a plan of least cost would not exist."""
        said: set[str] = set()
        shares = {**self.growth.resale_share, **self.growth.end_value_share}
        parts = [part.id for part in self.catalog.parts() if type(part) in KIND_NAMES and shares.get(KIND_NAMES[type(part)])]  # type: ignore[call-overload]
        for future in self.growth.futures:
            nodes = self.tree.of_future(future.name)
            for at, node in enumerate(nodes):
                offers: list[tuple[str, str, float, Sequence[tuple[str, int]]]] = [
                    (part, self.kind(part), self.price(part, node), [(part, 1)]) for part in parts
                ]
                offers += [(kit.id, "kit", self.kit_price(kit, node), kit.parts) for kit in self.kits]
                for name, kind, price, contents in offers:
                    worth = sum(count * self._best_sale(part, node, nodes[at + 1:]) for part, count in contents)
                    if kind not in said and worth > price * self.discount(node.year) + GAIN_CENTS:
                        said.add(kind)
                        yield (
                            f"growth: '{name}' bought in year {node.year:g} brings more later than it costs ({worth / 100:,.2f} of today's money): "
                            f"plans would buy without end; lower resale_share, end_value_share or price_trend_pct of its kind, {kind}"
                        )

    def _best_sale(self, item: str, bought: Node, later: tuple[Node, ...]) -> float:
        """Most that a piece brings after it was bought, sold at a later node or kept to the horizon [present cents]."""
        lot = Lot(bought.number, bought.year)
        sales = [self.discount(node.year) * self.resale(item, node, lot) for node in later]
        return max([*sales, self.discount(self.growth.horizon_years) * self.end_value(item, lot)])

    def enforced(self, rule_id: str) -> bool:
        """Whether a plan may break a rule on its purchases."""
        return self._severities.enforced(rule_id)

    # --- kinds

    def kind(self, item: str) -> str:
        """Kind of an item, as KIND_NAMES has it; allowance for what is none."""
        if item.startswith(ALLOWANCE):
            return "allowance"
        return KIND_NAMES[type(self.catalog.by_id[item])]

    def has_lots(self, item: str) -> bool:
        """Whether it matters when a piece was bought: batteries age, later modules need a tracker of their own."""
        return self.kind(item) in ("battery", "module")

    # --- money

    def years_worth(self, node: Node, future: str) -> float:
        """What a coin counts today that is spent in every year from a node on until the future's next, or the horizon.

        A year is paid at its end, at the price of that year. What is paid up to a year adds up, so it is what is paid up to the next date less what
        is paid up to this one; within a year the share of it that has passed.
        """
        later = [one.year for one in self.tree.of_future(future) if one.year > node.year]
        return max(0.0, self._paid_up_to(min([*later, self.growth.horizon_years])) - self._paid_up_to(node.year))

    def _paid_up_to(self, year: float) -> float:
        """The same from today on."""
        rate = (1 + self.growth.discount_pct / 100) / (1 + self.growth.price_trend_pct.get("running", 0.0) / 100) - 1
        return (1 - (1 + rate) ** -year) / rate if abs(rate) > LEAST_RATE else year

    def _expected_years_worth(self, node: Node) -> float:
        """The same over the futures of a node, by their probabilities; where none is thought of, the site stays as it is to the horizon."""
        if node.parent is not None:
            return self.tree.weight(node) * self.years_worth(node, node.future)
        chance = self.tree.chance
        stays = 1 - sum(chance.values())
        return sum(share * self.years_worth(node, future) for future, share in chance.items()) + stays * self._paid_up_to(self.growth.horizon_years)

    def trend(self, item: str, year: float) -> float:
        """Price of a year as a multiple of today's."""
        return float((1 + self.growth.price_trend_pct.get(self.kind(item), 0.0) / 100) ** year)  # type: ignore[call-overload]

    def discount(self, year: float) -> float:
        """What a coin of a year is worth today."""
        return float((1 + self.growth.discount_pct / 100) ** -year)

    def price(self, item: str, node: Node) -> float:
        """What a piece costs at a node, freight, margin and tax with it [cents of the day].

        Of what a source burns the worth of its years: the customer buys it himself, without margin and tax.
        """
        if item == RUNNING:
            weight = self.tree.weight(node) * self.discount(node.year)
            return self._expected_years_worth(node) / weight if weight else 0.0
        if item.startswith(ALLOWANCE):
            counted = item.removeprefix(ALLOWANCE)
            base = 1.0 if is_in_cents(item) else float(self.prices.allowance_bill_cents[counted])
            base *= self.growth.later_allowance_x if node.parent is not None else 1.0
        else:
            base = float(self.prices.bought_cents(self.catalog.by_id[item]))
        return base * self.on_top * self.trend(item, node.year)

    def resale(self, item: str, node: Node, lot: Lot) -> float:
        """What a piece of a lot brings at a node; nothing once it is worn out, nor for cable and fuses [cents of the day]."""
        share = self.growth.resale_share.get(self.kind(item), 0.0)  # type: ignore[call-overload]
        if not share or item.startswith(ALLOWANCE) or self.worn(item, lot, node.year):
            return 0.0
        return float(share * self._used_cents(item) * self.trend(item, node.year))

    def end_value(self, item: str, lot: Lot) -> float:
        """What a piece of a lot is worth at the horizon [cents of that day]."""
        share = self.growth.end_value_share.get(self.kind(item), 0.0)  # type: ignore[call-overload]
        year = self.growth.horizon_years
        if not share or item.startswith(ALLOWANCE) or self.worn(item, lot, year):
            return 0.0
        return float(share * self._used_cents(item) * self.trend(item, year))

    def _used_cents(self, item: str) -> float:
        """Today's price that shares for used pieces are of: of a worn part as much as is left of it."""
        return float(self.catalog.by_id[item].price_cents * condition_of(item))

    def kit_price(self, kit: Kit, node: Node) -> float:
        """What a kit costs at a node [cents of the day]."""
        trend = (1 + self.growth.price_trend_pct.get("kit", 0.0) / 100) ** node.year
        return float(self.prices.kits.bought_cents(kit) * self.on_top * trend)

    def kit_rate(self, item: str) -> float:
        """Least share of its price at which a kit brings a part; 1 where none does."""
        shares = [
            self.prices.kits.bought_cents(kit) / max(1, sum(self.prices.bought_cents(self.catalog.by_id[part]) * n for part, n in kit.parts))
            for kit in self.kits if item in kit.contents
        ]
        return min([1.0, *shares])

    @property
    def changeover_cents(self) -> float:
        """What it costs to change the bank's voltage [cents of the day]."""
        return self.growth.voltage_changeover * 100 * self.on_top

    def pack(self, item: str) -> int:
        """Pieces in a pack."""
        part = self.catalog.by_id.get(item)
        return part.pack_qty if part is not None else 1

    # --- lots

    def lots(self, item: str, node: Node) -> tuple[Lot, ...]:
        """Lots that can be there at a node, the oldest first; one that stands for all where it does not matter."""
        if not self.has_lots(item):
            return (Lot(0, 0.0),)
        bought = tuple(Lot(one.number, one.year) for one in self.tree.path(node))
        if self.kind(item) == "battery" and self.owned[item]:
            return (*self.owned_lots[item], *bought)
        return bought

    def worn(self, item: str, lot: Lot, year: float) -> bool:
        """Whether a battery is beyond its calendar life."""
        part = self.catalog.by_id.get(item)
        if not isinstance(part, Battery):
            return False
        return year - lot.year > self.catalog.chemistry(part).calendar_life_years + 1e-9

    def spread_years(self, item: str) -> float:
        """Difference of age that pieces of one bank may have [years]."""
        part = self.catalog.by_id[item]
        assert isinstance(part, Battery), "only batteries age"
        if not self.enforced("battery-age"):
            return math.inf
        given = self._spread_months
        return (self.catalog.chemistry(part).age_spread_months_max if given is None else given) / 12

    def together(self, item: str, node: Node) -> tuple[tuple[Lot, ...], ...]:
        """Largest groups of lots of a battery that may stand in one bank at a node: alive, and of an age.

        Where the customer owns some and buys more at once, all owned ones are in the bank, as for a single purchase.
        """
        alive = [lot for lot in self.lots(item, node) if not self.worn(item, lot, node.year)]
        most = self.spread_years(item) + 1e-9
        groups = [tuple(lot for lot in alive if 0 <= lot.year - first.year <= most) for first in alive]
        largest = [one for one in groups if not any(set(one) < set(other) for other in groups)]
        owned = {lot for lot in alive if lot.owned}
        if node.parent is None and owned:
            groups = [one if owned <= set(one) else tuple(lot for lot in one if lot.owned) for one in largest]
            return tuple(dict.fromkeys(one for one in groups if one))
        return tuple(largest)
