"""A finished plan held against everything that is asked of it: knows nothing of the program that found it.

Prices are worked out again from the catalog, the trends and the discount; lots and ages from the tree's years. Only the
parts of a design and the allowances that they ask for are counted where every bill counts them.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Any

from optimizer.answer import as_chosen
from optimizer.bill import PriceList, allowance_counts
from optimizer.design import Design, choice_of
from optimizer.growth.ledger import ALLOWANCE, KIND_NAMES, MOUNTS, OWNED, Lot, circuits_at, is_in_cents
from optimizer.growth.plan import Plan, Visit
from optimizer.growth.tree import Node
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.kits import Kit
from optimizer.inputs.parts import Battery, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import misfits, starters_of
from optimizer.inputs.worn import condition_of
from optimizer.needs.site import Needs
from optimizer.proof.check import check_design
from optimizer.proof.source import fed_design
from optimizer.rules.book import Severities, meets
from optimizer.rules.money import cents, share_of_cents

SAME_CENTS = 0.01
"""Difference of two costs that is only the rounding of sums, for a cost of up to `SAME_SIZE` cents; larger ones in proportion."""

SAME_SIZE = 1e6

AGE_SLACK_YEARS = 1e-9


def check_plan(plan: Plan, catalog: Catalog) -> tuple[str, ...]:
    """Everything that is wrong with a plan, a sentence each; empty where it holds."""
    return tuple(_Check(plan, catalog).sentences())


class _Check:
    def __init__(self, plan: Plan, catalog: Catalog) -> None:
        self.plan, self.catalog, self.tree = plan, catalog, plan.ledger.tree
        self.asked, self.growth = self.tree.asked, self.tree.growth
        self.severities = Severities(self.asked.rules)
        self.kits: dict[str, Kit] = {kit.id: kit for kit in catalog.kits}
        self.yearly: dict[int, float] = {}
        """What the source of each node's design burns in a year [cents]."""

    def sentences(self) -> Iterator[str]:
        """Node after node, then the money of each future."""
        missing = [node for node in self.tree.nodes if (node.parent is None or self.tree.weight(node) > 0) and node.number not in self.plan.visits]
        if missing:
            yield from (f"{node.name}: the plan has no design for it" for node in missing)
            return
        needs: list[Needs] = []
        for number in sorted(self.plan.visits):
            visit = self.plan.visits[number]
            node = self.tree.nodes[number]
            unfit = list(self._fitted(node, visit.design))
            if unfit:
                yield from (f"{node.name}: {said}" for said in unfit)
                continue
            asked = as_chosen(node.problem, self.catalog, choice_of(visit.design))
            known = next((one for one in needs if one.problem == asked), None)
            if known is None:
                known = Needs(asked)
                needs.append(known)
            for said in (*self._design(visit, known), *self._flow(node, visit), *self._used(asked, node, visit), *self._purchase(node, visit)):
                yield f"{node.name}: {said}"
        yield from self._costs()

    # --- the design

    def _design(self, visit: Visit, needs: Needs) -> Iterator[str]:
        """Every rule of the site on the design, and what its source burns."""
        report = check_design(visit.design, needs, self.catalog)
        for line in report.failures:
            yield f"the design breaks '{line.rule}' ({line.where}: has {line.actual}, {line.required} is asked for)"
        fed = fed_design(report.whole)
        burnt = self.yearly[visit.node.number] = 100 * fed.yearly if fed is not None else 0.0
        if abs(burnt - visit.yearly_cents) > SAME_CENTS * max(1.0, burnt / SAME_SIZE):
            yield f"the source of the design costs {burnt / 100:,.4f} a year, the plan says {visit.yearly_cents / 100:,.4f}"

    def _fitted(self, node: Node, design: Design) -> Iterator[str]:
        """What a design has fitted may be, and it counts a starter for each motor."""
        choice = choice_of(design)
        yield from misfits(node.problem, self.catalog, choice.soft_starters)
        if choice.autotransformer is not None and node.problem.inverter.autotransformer != "may":
            yield f"'{choice.autotransformer}' is fitted, but the site may have no autotransformer"

    # --- pieces

    def _part(self, item: str) -> Part | None:
        return None if item.startswith(ALLOWANCE) else self.catalog.by_id[item]

    def _lot_of_purchase(self, item: str, node: Node) -> Lot:
        """Lot of what is bought at a node; one for all where the date does not matter."""
        return Lot(node.number, node.year) if isinstance(self._part(item), Battery | Module) else Lot(0, 0.0)

    def _at_the_start(self) -> dict[tuple[str, Lot], int]:
        """Owned pieces before the first purchase."""
        found: Counter[tuple[str, Lot]] = Counter()
        for own in self.asked.owned:
            lot = Lot(0, 0.0)
            if isinstance(self._part(own.part), Battery):  # numbered by age, the oldest first
                older = {other.age_months for other in self.asked.owned if other.part == own.part and other.age_months > own.age_months}
                lot = Lot(OWNED - len(older), -own.age_months / 12)
            found[own.part, lot] += own.quantity
        return found

    def _brought(self, node: Node, visit: Visit) -> Counter[tuple[str, Lot]]:
        """Pieces that are bought at a node, one by one and in kits."""
        brought: Counter[tuple[str, Lot]] = Counter()
        for item, count in visit.bought.items():
            brought[item, self._lot_of_purchase(item, node)] += count
        for kit, count in visit.kits.items():
            for part, each in self.kits[kit].parts:
                brought[part, self._lot_of_purchase(part, node)] += each * count
        return brought

    def _flow(self, node: Node, visit: Visit) -> Iterator[str]:
        """There = before + bought - sold, of every part and lot."""
        before: Mapping[tuple[str, Lot], int] = self._at_the_start() if node.parent is None else self.plan.visits[node.parent].there
        brought = self._brought(node, visit)
        for key in sorted({*before, *brought, *visit.sold, *visit.there}, key=lambda one: (one[0], one[1].node, one[1].year)):
            item, lot = key
            has, comes, goes, left = before.get(key, 0), brought[key], visit.sold.get(key, 0), visit.there.get(key, 0)
            what = f"'{item}' of {self._lot_name(lot)}"
            if min(comes, goes, left) < 0:
                yield f"{what}: a count is negative ({comes} bought, {goes} sold, {left} there)"
            if goes > has:
                yield f"{what}: {goes} sold, of {has} that were there"
            if goes and node.parent is None:
                yield f"{what}: sold at the first purchase, before which nothing is sold"
            if left != has + comes - goes:
                yield f"{what}: {left} there, but {has} were there, {comes} bought and {goes} sold"

    def _lot_name(self, lot: Lot) -> str:
        return "the customer's own" if lot.node <= OWNED else f"year {lot.year:g}"

    def _used(self, asked: Problem, node: Node, visit: Visit) -> Iterator[str]:
        """Pieces that the design uses are there: banks from lots of an age, the modules of each controller from one lot."""
        there: dict[str, dict[Lot, int]] = {}
        for (item, lot), count in visit.there.items():
            there.setdefault(item, {})[lot] = count
        used: Counter[str] = Counter(visit.design.pieces)
        for per, times in allowance_counts(visit.design).items():
            if ALLOWANCE + per in self._allowances():
                used[ALLOWANCE + per] += times
        for item, count in starters_of(asked).items():
            used[item] = count
        prices = PriceList(asked, self.catalog)
        used[circuits_at(visit.design.bank.volts)] += self._sized_cents(prices.wiring.pieces(prices.wiring.circuits(visit.design)))
        used[MOUNTS] += self._sized_cents(prices.mounts.pieces(visit.design))
        for item, count in sorted((+used).items()):
            have = sum(there.get(item, {}).values())
            if count > have:
                yield f"the design uses {count} of '{item}', {have} are there"
        bank = visit.design.bank
        if not self._bank_stands(node, bank.battery, bank.units, there.get(bank.battery.id, {})):
            yield f"no lots of '{bank.battery.id}' that may stand in one bank bring {bank.units} units"
        for module in sorted({block.module.id for block in visit.design.blocks}):
            sizes = [block.modules_each for block in visit.design.blocks if block.module.id == module for _ in range(block.count)]
            if not placed(sizes, list(there.get(module, {}).values())):
                yield f"controllers with {_listed(sizes)} of '{module}' cannot each have modules of one lot"

    def _bank_stands(self, node: Node, battery: Battery, units: int, lots: Mapping[Lot, int]) -> bool:
        """Whether some lots that are alive and of an age bring enough units."""
        chemistry = self.catalog.chemistry(battery)
        months = self.asked.bank.age_spread_months_max
        most_years = (chemistry.age_spread_months_max if months is None else months) / 12 if self.severities.enforced("battery-age") else math.inf
        alive = [lot for lot, count in lots.items() if count > 0 and node.year - lot.year <= chemistry.calendar_life_years + AGE_SLACK_YEARS]
        for number in range(1, len(alive) + 1):
            for group in combinations(alive, number):
                years = [lot.year for lot in group]
                if max(years) - min(years) <= most_years + AGE_SLACK_YEARS and sum(lots[lot] for lot in group) >= units:
                    return True
        return False

    # --- purchases

    def _purchase(self, node: Node, visit: Visit) -> Iterator[str]:
        """Packs, stock, kits, one model of module later on, the budget at first."""
        for item, count in sorted(visit.bought.items()):
            part = self._part(item)
            if part is None:
                continue
            if count % part.pack_qty:
                yield f"{count} of '{item}' bought, which is sold in packs of {part.pack_qty}"
            if part.stock is not None and count > part.stock and self.severities.enforced("stock"):
                yield f"{count} of '{item}' bought, of which {part.stock} are in stock"
        yield from self._kits(node, visit)
        if node.parent is None:
            yield from self._budget(visit)
        else:
            models = sorted({item for (item, _), count in self._brought(node, visit).items() if count and isinstance(self._part(item), Module)})
            if len(models) > 1:
                yield f"modules of {len(models)} models bought at one later date: {', '.join(models)}"

    def _kits(self, node: Node, visit: Visit) -> Iterator[str]:
        locks = self.asked.locks
        for kit, count in sorted(visit.kits.items()):
            stock = self.kits[kit].stock
            if stock is not None and count > stock and self.severities.enforced("stock"):
                yield f"{count} of kit '{kit}' bought, of which {stock} are in stock"
            most = 0 if kit in locks.exclude else locks.at_most.get(kit)
            if most is not None and count > most and self.severities.enforced("part-limit"):
                yield f"{count} of kit '{kit}' bought, where the problem allows {most}"
        for kit, least in sorted(locks.at_least.items()):
            if node.parent is None and kit in self.kits and visit.kits.get(kit, 0) < least and self.severities.enforced("part-demanded"):
                yield f"{visit.kits.get(kit, 0)} of kit '{kit}' bought, where the problem demands {least}"

    def _budget(self, visit: Visit) -> Iterator[str]:
        budget, price = self.asked.limits.budget, self.asked.price
        if budget is None or not self.severities.enforced("budget"):
            return
        base = cents(price.freight) + sum(count * self._listed_cents(item) for item, count in visit.bought.items())
        base += sum(count * self._kit_cents(self.kits[kit]) for kit, count in visit.kits.items())
        margin = share_of_cents(base, price.margin_pct)
        total = base + margin + share_of_cents(base + margin, price.tax_pct)
        if not meets(total / 100, budget, "at most"):
            yield f"the first purchase costs {total / 100:,.2f}, the budget is {budget:,.2f}"

    # --- money

    def _allowances(self) -> dict[str, int]:
        """Today's price of everything that is counted per something, with its freight [cents]."""
        found: Counter[str] = Counter()
        for one in self.catalog.allowances:
            if one.for_mounts and self.asked.mounting is not None:
                continue
            found[ALLOWANCE + one.per] += cents(one.price) + cents(self.asked.price.freight_per_kg * one.weight_kg)
        return found

    def _sized_cents(self, pieces: Mapping[str, int]) -> int:
        """Today's price of cables, devices or mounts, with their freight [cents]."""
        return sum(n * self._listed_cents(part) for part, n in pieces.items())

    def _listed_cents(self, item: str) -> int:
        """Today's price of a piece with its freight [cents]."""
        part = self._part(item)
        if part is None:
            return self._allowances().get(item, int(is_in_cents(item)))
        return cents(part.price) + self._freight_cents(part)

    def _freight_cents(self, part: Part) -> int:
        """Freight of a piece, with what dangerous goods are asked on top [cents]."""
        price, goods = self.asked.price, part.dangerous_goods if isinstance(part, Battery) else ""
        return cents(price.freight_per_kg * part.weight_kg) + cents(price.dangerous_goods_per_kg.get(goods, 0.0) * part.weight_kg)

    def _kit_cents(self, kit: Kit) -> int:
        """Today's price of a kit with the freight of its pieces [cents]."""
        return cents(kit.price) + sum(n * self._freight_cents(self.catalog.by_id[part]) for part, n in kit.parts)

    def _kind(self, item: str) -> str:
        part = self._part(item)
        return "allowance" if part is None else KIND_NAMES[type(part)]

    def _trend(self, kind: str, year: float) -> float:
        return float((1 + self.growth.price_trend_pct.get(kind, 0.0) / 100) ** year)  # type: ignore[call-overload]

    def _second_hand(self, shares: Mapping[Any, float], item: str, lot: Lot, year: float) -> float:
        """What a used piece is worth in a year, nothing beyond its calendar life [cents of that year]."""
        part = self._part(item)
        if part is None or (isinstance(part, Battery) and year - lot.year > self.catalog.chemistry(part).calendar_life_years + AGE_SLACK_YEARS):
            return 0.0
        return shares.get(self._kind(item), 0.0) * condition_of(item) * cents(part.price) * self._trend(self._kind(item), year)

    def _spent(self, node: Node, visit: Visit) -> float:
        """What the purchases of a node cost, margin and tax with them [cents of the day]."""
        price, later = self.asked.price, node.parent is not None
        base = 0.0 if later else float(cents(price.freight))
        for item, count in visit.bought.items():
            times = self.growth.later_allowance_x if later and self._part(item) is None else 1.0
            base += count * self._listed_cents(item) * times * self._trend(self._kind(item), node.year)
        base += sum(count * self._kit_cents(self.kits[kit]) for kit, count in visit.kits.items()) * self._trend("kit", node.year)
        if later and self.plan.visits[node.parent or 0].design.bank.volts != visit.design.bank.volts:
            base += 100 * self.growth.voltage_changeover
        return base * (1 + price.margin_pct / 100) * (1 + price.tax_pct / 100)

    def _paid(self, year: float) -> float:
        """What a coin counts today that is spent at the end of every year up to one, added up year by year; of the last the share that has passed."""
        each = (1 + self.growth.price_trend_pct.get("running", 0.0) / 100) / (1 + self.growth.discount_pct / 100)
        whole = int(year)
        share = year - whole if math.isclose(each, 1.0, abs_tol=1e-12) else (1 - each ** (year - whole)) / (1 - each)
        return sum(each**one for one in range(1, whole + 1)) + each ** (whole + 1) * share

    def _costs(self) -> Iterator[str]:
        """Every future that can come has its cost, and it is the one that prices, trends and discount make."""
        rate = 1 + self.growth.discount_pct / 100
        for future in self.growth.futures:
            nodes = self.tree.of_future(future.name)
            if any(node.number not in self.plan.visits for node in nodes):
                continue
            said = self.plan.cost_by_future.get(future.name)
            if said is None:
                yield f"future '{future.name}': the plan has no cost for it"
                continue
            dates = [*(node.year for node in nodes), self.growth.horizon_years]
            total = sum(
                self.yearly.get(node.number, 0.0) * (self._paid(until) - self._paid(node.year)) for node, until in zip(nodes, dates[1:], strict=True)
            )
            for node in nodes:
                visit = self.plan.visits[node.number]
                got = sum(count * self._second_hand(self.growth.resale_share, item, lot, node.year) for (item, lot), count in visit.sold.items())
                total += (self._spent(node, visit) - got) / rate**node.year
            horizon, left = self.growth.horizon_years, self.plan.visits[nodes[-1].number].there
            worth = sum(count * self._second_hand(self.growth.end_value_share, item, lot, horizon) for (item, lot), count in left.items())
            total -= worth / rate**horizon
            if abs(total - said) > SAME_CENTS * max(1.0, abs(total) / SAME_SIZE):
                yield f"future '{future.name}': its cost is {total / 100:,.4f}, the plan says {said / 100:,.4f}"


def placed(sizes: list[int], lots: list[int]) -> bool:
    """Whether controllers with so many modules each find them in lots of so many, each controller in one lot.

    The largest first; lots with equal room left are the same to a controller, so one of them is tried.

    >>> placed([4, 4], [6, 4]), placed([4, 4], [3, 5])
    (True, False)
    """
    if not sizes:
        return True
    size, *rest = sorted(sizes, reverse=True)
    for room in {room for room in lots if room >= size}:
        left = list(lots)
        left[left.index(room)] -= size
        if placed(rest, left):
            return True
    return False


def _listed(sizes: list[int]) -> str:
    return " and ".join(str(size) for size in sorted(sizes, reverse=True))
