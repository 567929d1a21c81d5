"""The program of a plan: one design a node from those on offer, and the parts that make it, bought, kept or sold.

Sets
    V            nodes of the tree, the first purchase before all others; v' the node before v
    D(v)         designs on offer at a node
    I            items: parts, and allowances by what they are counted per
    L(i,v)       lots of an item that can be there; one for all where the date of purchase does not matter
    G(i,v)       groups of lots of a battery that may stand in one bank at v

Variables
    d[v,j,g] in {0,1}     design j is the one of node v, its bank from the lots of group g
    h[i,l,v,j]            pieces of lot l that are there at v, after buying and selling, in layers: the first layer holds
                          as many as the smallest design uses, the next what the next larger one uses more, the last any
                          others; a layer is there or not for parts of the core, so a bank is kept whole or not at all
    k[i,v] in Z, >= 0     packs of an item bought at v
    s[i,l,v,j] >= 0       pieces sold of it at v
    z[t,v] in Z, >= 0     kits bought at v
    q[m,e,l,v] in Z, >= 0 controllers with e modules m of lot l on each
    c[u,v] >= 0           the bank's voltage becomes u at v
    w[m,v] in {0,1}       modules m are bought at v

Objective: expected present money in cents
    min  sum weight (price k - resale s + changeover c + years burnt d) - value at the horizon

Constraint families
    one_design   exactly one design a node
    flow         h[i,l,v,j] = h[i,l,v',j] + its share of pack k + contents z - s
    used         pieces there >= pieces that the design uses; by layers for parts of the core
    bank         the same for the group of lots on which the bank stands
    trackers     controllers by the lot of their modules: those of the design in all, modules there at most
    changeover   c[u,v] >= voltage u at v less voltage u at v'
    one_array    at most one model of module is bought at a later node
    stock, budget  kits that the problem demands are in the first purchase
    given        packs and kits of a first purchase that is known already
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pulp

from optimizer.bill import PriceList
from optimizer.choice.solver import Solved, row_duals, run
from optimizer.design import Design
from optimizer.growth.ledger import Ledger, Lot, usage_of
from optimizer.growth.prices import Prices
from optimizer.growth.sourced import RUNNING, yearly_cents
from optimizer.growth.tree import Node

ROOM_SHARE = 0.02
"""Room above a price of nothing, as a share of what the item costs."""

OF_CORE = ("battery", "inverter", "converter")
"""Kinds of which a design holds one bank, one stack: kept whole or not at all."""


@dataclass(frozen=True)
class Column:
    """A design on offer with what it uses; `trackers` counts its controllers by module and modules on each."""

    design: Design
    usage: Mapping[str, int]
    trackers: Mapping[tuple[str, int], int]
    yearly_cents: float = 0.0
    """What its source burns in a year, at today's prices."""

    @classmethod
    def of(cls, design: Design, prices: PriceList) -> Column:
        """The column of a design."""
        trackers: Counter[tuple[str, int]] = Counter()
        for block in design.blocks:
            trackers[block.module.id, block.modules_each] += block.count
        return cls(design, usage_of(design, prices), trackers, yearly_cents(design, prices))

    @property
    def volts(self) -> int:
        """Voltage of its bank."""
        return self.design.bank.volts

    @property
    def battery(self) -> str:
        """Battery of its bank."""
        return self.design.bank.battery.id

    def cost(self, prices: Prices) -> float:
        """What it costs at some prices, with what its source burns."""
        return prices.cost(self.usage, self.volts) + prices.of(RUNNING, self.yearly_cents)

    @property
    def key(self) -> tuple[object, ...]:
        """Columns that agree in this are the same to a plan."""
        return (self.volts, frozenset(self.usage.items()), frozenset(self.trackers.items()), self.yearly_cents)


Group = tuple[Lot, ...]


@dataclass
class Duals:
    """What the rows of a solved relaxation are worth [cents, present and expected]."""

    item: dict[tuple[int, str], float] = field(default_factory=dict)
    """By node and item, from the lot or group of lots where it is worth least."""
    pieces: dict[tuple[int, str], np.ndarray] = field(default_factory=dict)
    """By node and item: what the first so many pieces are worth together, from no piece on; not known beyond the last."""
    by_lots: dict[tuple[int, str, Group], np.ndarray] = field(default_factory=dict)
    """By node, item and lots: the same, or the worth of one piece where each is worth the same."""
    volts: dict[int, dict[int, float]] = field(default_factory=dict)
    """By node: what a design of a voltage pays for changes of voltage before and behind it."""
    node: dict[int, float] = field(default_factory=dict)


class PlanProgram:
    """The program over some designs; relaxed it gives prices of the items, whole it gives a plan."""

    def __init__(
        self, ledger: Ledger, nodes: Sequence[Node], offers: Mapping[int, Sequence[Column]], *, whole: bool,
        around: Mapping[int, Prices] | None = None, width: float = 0.0, counts: Mapping[str, set[int]] | None = None,
    ) -> None:
        """counts: of parts of the core, numbers beside those of the designs that layers are made for."""
        self.ledger, self.nodes, self.offers, self.whole = ledger, tuple(nodes), offers, whole
        self.around, self.width, self._counts = around, width, counts or {}
        self.strayed: list[Any] = []
        """Pieces lent and borrowed at the edge of the prices that were allowed."""
        self.tree = ledger.tree
        self.model: Any = pulp.LpProblem("plan", pulp.LpMinimize)
        self.rows = 0
        self.terms: list[Any] = []
        self.there: dict[tuple[str, int, int], Any] = {}
        """Pieces by item, lot and node."""
        self.layers: dict[tuple[str, int, int], list[Any]] = {}
        """The same as shares of each layer of a part of the core."""
        self.packs: dict[tuple[str, int], Any] = {}
        self.gone: dict[tuple[str, int, int], Any] = {}
        self.kits: dict[tuple[str, int], Any] = {}
        self.chosen_at: dict[int, list[tuple[Any, Column, Group]]] = {}
        self.split: dict[tuple[str, int, int, int], Any] = {}
        self._rows_of: dict[tuple[int, str], dict[Group, list[int]]] = {}
        """Rows that say 'pieces there', by node, item and the lots that bring them."""
        self._volt_rows: dict[tuple[int, int], int] = {}
        self._node_rows: dict[int, int] = {}
        self._layers_of: dict[tuple[str, int, int], list[Any]] = {}
        self.items = sorted({item for node in self.nodes for column in offers[node.number] for item in column.usage} | self._in_kits() | set(+ledger.owned) | set(self._given()))
        self.sizes = {item: self._sizes(item) for item in self.items}
        self._designs()
        self._flow()
        self._used()
        self._changeover()
        self._bought_together()
        self.constant = ledger.prices.fixed_freight_cents * ledger.on_top
        self.model += pulp.lpSum(self.terms)

    # --- helpers

    def _in_kits(self) -> set[str]:
        return {part for kit in self.ledger.kits for part in kit.contents}

    def _given(self) -> Mapping[str, int]:
        """Pieces of every item that are bought at first, where that is known already."""
        return self.tree.given.bought if self.tree.given is not None else {}

    def _sizes(self, item: str) -> list[int]:
        """Layers of a part of the core: what each count that some design uses adds to the next smaller one."""
        if self.ledger.kind(item) not in OF_CORE:
            return []
        used = {column.usage[item] for node in self.nodes for column in self.offers[node.number] if column.usage.get(item)}
        counts = sorted(used | self._counts.get(item, set()))
        return [count - before for before, count in zip([0, *counts], counts, strict=False)]

    def _row(self, family: str, constraint: Any) -> int:
        """Add a row; its number, by which its dual is read."""
        self.model += (constraint, f"{family}__{self.rows}")
        self.rows += 1
        return self.rows - 1

    def _variable(self, name: str, most: float | None = None, *, integer: bool = False) -> Any:
        return self.model.add_variable(name, 0, most, cat="Integer" if integer and self.whole else "Continuous")

    def _weight(self, node: Node) -> float:
        return self.tree.weight(node) * self.ledger.discount(node.year)

    def _previous(self, node: Node) -> Node | None:
        return None if node.parent is None else self.tree.nodes[node.parent]

    # --- families

    def _designs(self) -> None:
        """sum d = 1, and what the source of each design burns until the next dates."""
        for node in self.nodes:
            found = []
            burns = self._weight(node) * self.ledger.price(RUNNING, node)
            for at, column in enumerate(self.offers[node.number]):
                for number, group in enumerate(self.ledger.together(column.battery, node)):
                    # Only the row bounds it: a bound of its own would take a share of the row's dual, and the node's price with it.
                    found.append((self._variable(f"d{node.number}_{at}_{number}", integer=True), column, group))
                    if column.yearly_cents:
                        self.terms.append(burns * column.yearly_cents * found[-1][0])
            self.chosen_at[node.number] = found
            self._node_rows[node.number] = self._row("one_design", pulp.lpSum(d for d, _, _ in found) == 1)

    def _flow(self) -> None:
        """h[i,l,v] = h[i,l,v'] + pack k + contents z - s, and the money of it."""
        ledger = self.ledger
        for node in self.nodes:
            weight = self._weight(node)
            for kit in ledger.kits:
                z = self.kits[kit.id, node.number] = self._variable(f"z{len(self.kits)}", integer=True)
                self.terms.append(weight * ledger.kit_price(kit, node) * z)
                if kit.id in ledger.prices.kits.most:
                    self._row("stock", z <= ledger.prices.kits.most[kit.id])
                if node.parent is None and self.tree.given is not None:
                    self._row("given", z == self.tree.given.kits.get(kit.id, 0))
                if node.parent is None and kit.id in ledger.prices.kits.least:
                    self._row("stock", z >= ledger.prices.kits.least[kit.id])
        for at, item in enumerate(self.items):
            part, sizes = ledger.catalog.by_id.get(item), self.sizes[item]
            for node in self.nodes:
                name, weight = f"{at}_{node.number}", self._weight(node)
                k = self.packs[item, node.number] = self._variable("k" + name, integer=True)
                self.terms.append(weight * ledger.price(item, node) * ledger.pack(item) * k)
                if node.parent is None and self.tree.given is not None:
                    self._row("given", ledger.pack(item) * k == self._given().get(item, 0))
                if part is not None and part.stock is not None and ledger.enforced("stock"):
                    self._row("stock", ledger.pack(item) * k <= part.stock)
                bought = ledger.pack(item) * k + pulp.lpSum(
                    kit.contents[item] * self.kits[kit.id, node.number] for kit in ledger.kits if item in kit.contents
                )
                for lot in ledger.lots(item, node):
                    key = (item, lot.node, node.number)
                    here = [self._variable(f"u{name}_{_numbered(lot)}_{j}", 1, integer=True) for j in range(len(sizes))]
                    rest = self._variable(f"h{name}_{_numbered(lot)}")
                    self.layers[key], self.there[key] = here, pulp.lpSum([*(size * u for size, u in zip(sizes, here, strict=True)), rest])
                    self._balance(item, lot, node, [*here, rest], bought)
                    self._value_at_the_end(item, lot, node, self.there[key])

    def _balance(self, item: str, lot: Lot, node: Node, here: list[Any], bought: Any) -> None:
        """One lot of one item at one node: what was there, what comes, what is sold, layer by layer."""
        ledger, before = self.ledger, self._previous(node)
        sizes, name = [*self.sizes[item], 1], f"{self.items.index(item)}_{node.number}_{_numbered(lot)}"
        past = self._layers_of.get((item, lot.node, before.number)) if before is not None else None
        comes = lot.node == (node.number if ledger.has_lots(item) else lot.node)
        gone, come = [], []
        for j, (size, h) in enumerate(zip(sizes, here, strict=True)):
            balance = h
            if past is not None:
                sold = self._variable(f"s{name}_{j}")
                gone.append(size * sold)
                balance = balance - past[j] + sold
            if comes or past is None:
                more = self._variable(f"i{name}_{j}")
                come.append(size * more)
                balance = balance - more
            self._row("flow", balance == 0)
        self._layers_of[item, lot.node, node.number] = here
        if gone:
            self.gone[item, lot.node, node.number] = pulp.lpSum(gone)
            self.terms.append(-self._weight(node) * ledger.resale(item, node, lot) * pulp.lpSum(gone))
        if come:
            own = ledger.owned_lots.get(item, {}).get(lot, 0) if before is None else 0
            self._row("flow", pulp.lpSum(come) - (bought if comes else 0) == own)

    def _value_at_the_end(self, item: str, lot: Lot, node: Node, h: Any) -> None:
        """A part that is still there counts in every future that ends at this node."""
        value = self.tree.ending_at(node) * self.ledger.end_value(item, lot) * self.ledger.discount(self.ledger.growth.horizon_years)
        if value:
            self.terms.append(-value * h)

    def _used(self) -> None:
        """Pieces there >= pieces used: of the whole, of a group of lots, or by trackers of one lot each."""
        ledger = self.ledger
        for node in self.nodes:
            chosen = self.chosen_at[node.number]
            for item in self.items:
                lots = ledger.lots(item, node)
                if ledger.kind(item) == "module" and len(lots) > 1:
                    self._rows_of[node.number, item] = self._trackers(node, item, lots, chosen)
                    continue
                battery = ledger.kind(item) == "battery"
                for group in ledger.together(item, node) if battery else (lots,):
                    using = [(n, d) for d, column, of in chosen if (n := column.usage.get(item)) and (not battery or of == group)]
                    self._rows_of.setdefault((node.number, item), {})[group] = self._met(item, node, group, using)

    def _met(self, item: str, node: Node, group: Group, using: list[tuple[int, Any]]) -> list[int]:
        """Rows by which pieces of some lots carry the designs that use them: one a layer where they are of one lot."""
        if self._in_layers(item, group):
            reach = 0
            rows = []
            for size, layer in zip(self.sizes[item], self.layers[item, group[0].node, node.number], strict=True):
                reach += size
                free = self._held_near(node, item, group, reach - size, reach)
                rows.append(self._row("used", _sum([(layer, 1), *((d, -1) for n, d in using if n >= reach)]) + free >= 0))
            return rows
        have = pulp.lpSum(self.there[item, lot.node, node.number] for lot in group)
        return [self._row("used", _sum([(d, -n) for n, d in using]) + have + self._held_near(node, item, group, 0, 1) >= 0)]

    def _held_near(self, node: Node, item: str, lots: Group, fewer: int, more: int) -> Any:
        """Pieces to borrow and to lend at prices a little above and below given ones: it keeps the relaxation's prices near
        them, which steadies the rounds. Nothing where no prices are given.
        """
        if self.around is None:
            return 0
        worth = self.around[node.number].between(item, lots, fewer, more)
        name = f"{len(self.strayed)}"
        borrowed, lent = self._variable("b" + name), self._variable("l" + name)
        least = ROOM_SHARE * self._weight(node) * self.ledger.price(item, node) * (more - fewer)
        self.terms += [(worth * (1 + self.width) + least) * borrowed, -worth * (1 - self.width) * lent]
        self.strayed += [borrowed, lent]
        return borrowed - lent

    def _trackers(self, node: Node, module: str, lots: tuple[Lot, ...], chosen: list[tuple[Any, Column, Group]]) -> dict[Group, list[int]]:
        """sum over lots of q = controllers with e modules each; sum over e of e q <= h."""
        sizes = sorted({each for _, column, _ in chosen for part, each in column.trackers if part == module})
        of_lot: dict[int, list[Any]] = {lot.node: [] for lot in lots}
        for each in sizes:
            parts = []
            for lot in lots:
                q = self.split[module, each, lot.node, node.number] = self._variable(f"q{len(self.split)}", integer=True)
                parts.append(q)
                of_lot[lot.node].append(each * q)
            wanted = [(d, -column.trackers[module, each]) for d, column, _ in chosen if column.trackers.get((module, each))]
            self._row("trackers", _sum(wanted) + pulp.lpSum(parts) == 0)
        rows: dict[Group, list[int]] = {}
        for lot in lots:
            have = self.there[module, lot.node, node.number] + self._held_near(node, module, (lot,), 0, 1)
            rows[lot,] = [self._row("trackers", have - pulp.lpSum(of_lot[lot.node]) >= 0)]
        return rows

    def _changeover(self) -> None:
        """c[u,v] >= share of voltage u at v less that at v'."""
        each = self.ledger.changeover_cents
        if not each:
            return
        for node in self.nodes:
            before = self._previous(node)
            if before is None:
                continue
            for volts in sorted({column.volts for _, column, _ in self.chosen_at[node.number]}):
                now = pulp.lpSum(d for d, column, _ in self.chosen_at[node.number] if column.volts == volts)
                then = pulp.lpSum(d for d, column, _ in self.chosen_at[before.number] if column.volts == volts)
                c = self._variable(f"c{node.number}_{volts}")
                self._volt_rows[node.number, volts] = self._row("changeover", c - now + then >= 0)
                self.terms.append(self._weight(node) * each * c)

    def _bought_together(self) -> None:
        """At most one model of module a later node; the first purchase within the budget."""
        ledger = self.ledger
        budget = ledger.prices.budget_cents
        for node in self.nodes:
            if node.parent is None:
                if budget is not None and ledger.enforced("budget"):
                    spent = [ledger.price(item, node) / ledger.on_top * ledger.pack(item) * self.packs[item, node.number] for item in self.items]
                    spent += [ledger.kit_price(kit, node) / ledger.on_top * self.kits[kit.id, node.number] for kit in ledger.kits]
                    self._row("budget", pulp.lpSum(spent) + ledger.prices.fixed_freight_cents <= budget)
            elif self.whole:
                kinds: list[Any] = []
                for item in self.items:
                    if ledger.kind(item) == "module":
                        w = self._variable(f"w{len(kinds)}_{node.number}", 1, integer=True)
                        most = self._most_from(node, item)
                        self._row("one_array", ledger.pack(item) * self.packs[item, node.number] - (most + ledger.pack(item)) * w <= 0)
                        for kit in ledger.kits:
                            if item in kit.contents:
                                useful = max(-(-self._most_from(node, part) // each) for part, each in kit.parts)
                                self._row("one_array", self.kits[kit.id, node.number] - useful * w <= 0)
                        kinds.append(w)
                self._row("one_array", pulp.lpSum(kinds) <= 1)

    def _most_from(self, node: Node, item: str) -> int:
        """Most pieces of an item that a design on offer uses at a node or behind it: more are never bought there."""
        behind = [other for other in self.nodes if node in self.tree.path(other)]
        return max((column.usage.get(item, 0) for other in behind for column in self.offers[other.number]), default=0)

    # --- solving

    def solve(self, seconds: float, gap: float = 0.0) -> Solved:
        """Solve as it stands."""
        return run(self.model, "highs", seconds, gap)

    def cost_below(self, cents: float) -> None:
        """Only plans that cost less: where there is none, the one that is known is proven the best."""
        self._row("below", pulp.lpSum(self.terms) <= cents - self.constant)

    def duals(self) -> Duals:
        """Prices of the items after solving the relaxation."""
        found, worths = Duals(), row_duals(self.model, self.rows)
        for (number, item), groups in self._rows_of.items():
            tables = {group: self._worth_of_pieces(item, group, [max(0.0, worths[row]) for row in rows]) for group, rows in groups.items()}
            found.by_lots |= {(number, item, group): table for group, table in tables.items()}
            if self.sizes[item]:
                whole = [table if len(table) > 1 else table[0] * np.arange(sum(self.sizes[item]) + 1) for table in tables.values()]
                found.pieces[number, item] = np.min(whole, axis=0)
            else:
                found.item[number, item] = float(min(table[0] for table in tables.values()))
        found.node = {number: worths[row] for number, row in self._node_rows.items()}
        for (number, volts), row in self._volt_rows.items():
            worth = max(0.0, worths[row])
            of_node = found.volts.setdefault(number, {})
            of_node[volts] = of_node.get(volts, 0.0) + worth
            before = found.volts.setdefault(int(self.tree.nodes[number].parent or 0), {})
            before[volts] = before.get(volts, 0.0) - worth
        return found

    def _in_layers(self, item: str, group: Group) -> bool:
        """Whether pieces of some lots are counted layer by layer."""
        return bool(self.sizes[item]) and len(group) == 1

    def _worth_of_pieces(self, item: str, group: Group, worths: list[float]) -> np.ndarray:
        """What so many pieces are worth together, from none on; or only the worth of one, where each is worth the same."""
        if not self._in_layers(item, group):
            return np.array([worths[0]])
        each = [worth / size for worth, size in zip(worths, self.sizes[item], strict=True) for _ in range(size)]
        return np.concatenate([[0.0], np.cumsum(each)])

    def chosen(self) -> dict[int, tuple[Column, Group]]:
        """The design of each node."""
        return {
            number: max(found, key=lambda one: float(one[0].value() or 0.0))[1:] for number, found in self.chosen_at.items()
        }

    def pieces(self, variables: Mapping[Any, Any]) -> dict[Any, int]:
        """Whole numbers of some variables, zeros left out."""
        counts = {key: round(float(pulp.value(variable) or 0.0)) for key, variable in variables.items()}
        return {key: count for key, count in counts.items() if count}


def _numbered(lot: Lot) -> str:
    """A lot in the name of a variable, which has no minus."""
    return f"o{-lot.node}" if lot.owned else str(lot.node)


def _sum(terms: Iterable[tuple[Any, float]]) -> Any:
    """Sum of variables, each as often as is said; added in place, since there are very many. PuLP 3 and 4 both do it so."""
    total = pulp.lpSum([])
    for variable, times in terms:
        total.addterm(variable, times)
    return total
