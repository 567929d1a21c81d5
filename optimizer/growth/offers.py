"""Designs of one node under given prices of the items: the cheapest, or all within a limit. No program is needed for it."""

from __future__ import annotations

import copy
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from optimizer.bill import allowance_counts, block_allowances
from optimizer.choice.candidates import CandidateSearch, candidates
from optimizer.choice.dominance import SLACK_CENTS, Dominance, telling_months
from optimizer.choice.feeding import bounds_with_fuel, running_cents
from optimizer.choice.narrow import asked_by, given_by
from optimizer.choice.pairs import priced_pairs
from optimizer.choice.prune import undominated_in_groups
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Block, Design
from optimizer.growth.ledger import ALLOWANCE, MOUNTS, circuits_at
from optimizer.growth.prices import Prices
from optimizer.growth.sourced import RUNNING, PlanPrices, burnt_cents, fed_arrays, least_beside
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Inverter
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import fittings_of
from optimizer.needs.site import Needs

FEW = 100
"""Blocks of a class up to which dominated ones are not worth looking for."""

IN_CENTS = ("wiring_cents", "mount_cents")
"""Columns of what is sized with a block: circuits and mounts."""

LISTED_MOST = 3_000_000
"""Designs of one core that are listed: more would take too much room."""

Items = dict[str, float]
"""Pieces of each item."""


class TooManyDesigns(Exception):
    """A limit leaves more designs than can be listed."""


@dataclass(frozen=True)
class Offer:
    """A design and what it costs at the prices that were asked for [cents]."""

    cents: float
    design: Design


@dataclass(frozen=True)
class Listed:
    """Designs of one core: rows of its class's blocks, how many of each, the second none where there is one kind; all of shape (designs,)."""

    number: int
    core: int
    first: np.ndarray
    n: np.ndarray
    second: np.ndarray
    many: np.ndarray
    cents: np.ndarray

    def take(self, rows: np.ndarray) -> Listed:
        """Some of them."""
        return Listed(self.number, self.core, self.first[rows], self.n[rows], self.second[rows], self.many[rows], self.cents[rows])


class Offers:
    """Every candidate of a node, built once and priced again and again."""

    def __init__(self, problem: Problem, catalog: Catalog) -> None:
        self.needs, self.catalog = Needs(problem), catalog
        self.stock = Stock(problem, catalog, PlanPrices(problem, catalog))
        # What is owned, sold in packs or kits, or short of stock is a matter of the purchases; demands and limits stay.
        # Sources are told apart by their parts: one that stands already may be taken though another would cost less.
        sources = (*catalog.generators, *catalog.chargers, *catalog.alternator_chargers) if problem.source_in_design else ()
        self.stock.special, self.stock.packs = {*self.stock.at_most, *self.stock.at_least, *(part.id for part in sources)}, set()
        self.base = candidates(self.needs, catalog, self.stock, Screening(self.needs.severities), prune=False, cheapest_cables=True)
        self.stock.special = {*self.stock.at_most, *self.stock.at_least}
        self.exact = problem.bounds.array_kinds <= 2 and not any(plane.rectangles for plane in self.needs.arrays)
        """Whether every design is seen: those of three kinds of array are not."""
        for number in list(self.base.blocks):
            self._within_limits(number)
        for number in list(self.base.blocks):
            self._without_wasteful(number)
        cores, arrays = self.base.cores, self.base.arrays
        self.fittings = fittings_of(problem)
        """What every design of the problem has fitted."""
        self.core_items: list[Items] = []
        for row in range(len(cores.table)) if len(cores.table) else ():
            bank, inverters, converters = cores.parts(row, self.needs, catalog)
            used = {part: float(n) for part, n in cores.pieces(row)}
            for per, times in allowance_counts(Design(bank, (), inverters, converters)).items():
                used[ALLOWANCE + per] = used.get(ALLOWANCE + per, 0.0) + times
            used[circuits_at(bank.volts)] = float(cores.table.wiring_cents[row])
            used |= {part: float(n) for part, n in self.fittings.pieces.items()}
            self.core_items.append(used)
        self.device_items: list[Items] = []
        for part in arrays.parts if arrays.modules else ():
            used = {} if isinstance(part, Inverter) else {part.id: 1.0}
            counts = block_allowances(Block(part, arrays.modules[0], 1, 1))
            used |= {ALLOWANCE + per: float(n) for per, n in counts.items() if per.startswith("controller")}
            self.device_items.append(used)

    def _within_limits(self, number: int) -> None:
        """Drop cores that use more of a part than the problem allows; for blocks the search sees to it."""
        base = self.base
        fits = [all(n <= self.stock.at_most.get(part, n) for part, n in base.cores.pieces(int(row))) for row in base.core_rows[number]]
        base.core_rows[number] = base.core_rows[number][np.array(fits, dtype=bool)]
        if not any(fits):
            base.drop(number)

    def _without_wasteful(self, number: int) -> None:
        """Drop blocks of a class that hold more than another of the same controller and module, and bring no more."""
        base, blocks = self.base, self.base.blocks[number]
        dominance = Dominance(self.needs, self.stock, base.screening, base.arrays, base.cores, np.inf, base.kinds)
        cores = base.cores.table.take(base.core_rows[number])
        demanded = [-np.minimum(pieces, asked) for asked, pieces in base.demanded_pieces(blocks)]
        used = [blocks.modules_each, blocks.strings, *(blocks.columns[name] for name in IN_CENTS if name in blocks.columns)]
        attributes = np.column_stack([*dominance.block_attributes(cores, blocks), *demanded, *used])
        base.blocks[number] = blocks.take(undominated_in_groups(blocks.device * len(base.arrays.modules) + blocks.module, attributes))

    @cached_property
    def _used(self) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Rows of the cores that use an item, and how much of it, by item."""
        found: dict[str, tuple[list[int], list[float]]] = {}
        for row, items in enumerate(self.core_items):
            for item, n in items.items():
                rows, pieces = found.setdefault(item, ([], []))
                rows.append(row)
                pieces.append(n)
        return {item: (np.array(rows), np.array(pieces)) for item, (rows, pieces) in found.items()}

    def core_cents(self, prices: Prices) -> np.ndarray:
        """Cost of every core at some prices [cents]."""
        cents = np.array([prices.volts.get(int(volts), 0.0) for volts in self.base.cores.table.columns.get("volts", ())])
        for item, (rows, pieces) in self._used.items():
            cents[rows] += prices.of_each(item, pieces)
        return cents

    def counts(self, item: str) -> set[int]:
        """Numbers of an item that some core uses."""
        return {int(n) for n in np.unique(self._used[item][1])} if item in self._used else set()

    def of(self, design: Design) -> Offers:
        """The offers that a design is one of: these."""
        assert design.fittings == self.fittings, "a design is asked where it was offered"
        return self

    @property
    def possible(self) -> bool:
        """Whether there are any candidates at all."""
        return bool(self.base.blocks)

    def priced(self, prices: Prices, most: float, kept: CoreFilter | None = None) -> Priced:
        """The candidates at these prices, none dearer than `most` [cents]."""
        return Priced(self, prices, most, kept)


@dataclass(frozen=True)
class CoreFilter:
    """Only cores of these voltages and chemistries; empty for any."""

    volts: tuple[int, ...] = ()
    chemistries: tuple[str, ...] = ()

    def keeps(self, design: Design) -> bool:
        """Whether a design is one of them."""
        return (not self.volts or design.bank.volts in self.volts) and (
            not self.chemistries or design.bank.battery.chemistry in self.chemistries
        )


class Priced(CandidateSearch):
    """A search over candidates that are there already, at other prices."""

    def __init__(self, offers: Offers, prices: Prices, most: float, kept: CoreFilter | None) -> None:
        self.__dict__.update(copy.copy(offers.base).__dict__)
        self.offers = offers
        table, arrays, price = self.cores.table, self.arrays, prices.each
        core = offers.core_cents(prices)
        self.cores = replace(self.cores, table=Table({**table.columns, "least_cost": core, "cost": core}))
        if self.cores.fed:
            self.cores.table.add(feed_cents=table.feed_cents * offers.stock.prices.marked_up * price.get(RUNNING, 0.0))
        device = np.array([prices.cost(items, 0) for items in offers.device_items])
        module = np.array([price.get(one.id, 0.0) + price.get(ALLOWANCE + "module", 0.0) for one in arrays.modules])
        string = price.get(ALLOWANCE + "array string", 0.0)
        self.blocks, self.core_rows = {}, {}
        for number, blocks in offers.base.blocks.items():
            rows = offers.base.core_rows[number]
            if kept is not None:
                rows = rows[[self._kept(int(row), kept) for row in rows]]
            if len(rows):
                each = device[blocks.device] + string * blocks.strings + module[blocks.module] * blocks.modules_each
                for name, item in zip(IN_CENTS, (circuits_at(offers.base.cores.classes[number].volts), MOUNTS), strict=True):
                    each = each + blocks.columns.get(name, 0) * price.get(item, 0.0)
                self.blocks[number] = Table({**blocks.columns, "least_cost": each, "cost": each})
                self.core_rows[number] = rows
        self.most = self.least = most
        self.best: Offer | None = None

    def _kept(self, row: int, kept: CoreFilter) -> bool:
        table = self.cores.table
        chemistry = self.cores.batteries[table.battery[row]].chemistry
        return (not kept.volts or int(table.volts[row]) in kept.volts) and (not kept.chemistries or chemistry in kept.chemistries)

    def known_cents(self, number: int, core: int, counts: list[tuple[int, int]]) -> float:
        """A design that is there: the new bound, at the prices asked for."""
        blocks = self.blocks[number]
        cents = float(self.cores.table.least_cost[core]) + sum(count * float(blocks.least_cost[row]) for row, count in counts)
        if self.cores.fed:
            cents += float(running_cents(self.cores.table, core, sum(count * blocks.harvest_wh[row] for row, count in counts)))
        if cents < self.most + SLACK_CENTS and (self.best is None or cents < self.best.cents):
            self.best = Offer(cents, self._design(number, core, counts))
        self.most = self.least = min(self.most, cents)
        return cents

    def _design(self, number: int, core: int, counts: list[tuple[int, int]]) -> Design:
        bank, inverters, converters = self.cores.parts(core, self.needs, self.catalog)
        ordered = sorted(counts, key=lambda one: self._block_key(number, one[0]))
        blocks = tuple(self.arrays.block(self.blocks[number], row, n) for row, n in ordered)
        return Design(bank, blocks, inverters, converters, self.cores.source(core), self.offers.fittings)

    def _block_key(self, number: int, row: int) -> tuple[object, ...]:
        block = self.arrays.block(self.blocks[number], row)
        return (block.part.id, block.module.id, block.series, block.strings, -1.0 if block.limit_a is None else block.limit_a, block.plane)

    def cheapest(self, band: float = 0.0) -> list[Offer]:
        """The cheapest design of one or two kinds at most as dear as `most`, and near ones; empty where there is none.

        band: share above the cheapest up to which each core shows its own best as well.
        """
        if not np.isfinite(self.most):
            for number in sorted(self.blocks, key=lambda one: float(self._core_bounds(one).min())):
                self._upper_bound(number)
        self.tighten()
        for number in list(self.blocks):
            if len(self.blocks[number]) > FEW:
                self._dominate(number)
        found = [self.best] if self.best is not None else []
        for listed in self._by_core(lambda: self.least + band * abs(self.least), every=False):
            found.append(Offer(float(listed.cents[0]), self.design(listed, 0)))
            self.least = min(self.least, found[-1].cents)
        return sorted((offer for offer in found if offer.cents <= self.least + band * abs(self.least)), key=lambda offer: offer.cents)

    def listed(self, limit: float) -> Iterator[tuple[Priced, Listed]]:
        """Every design of one or two kinds that costs at most `limit` [cents], as rows, core by core, the cheapest bounds first.

        Raises TooManyDesigns where one core has more than LISTED_MOST.
        """
        self.tighten(limit)
        self.most = limit
        return ((self, listed) for listed in self._by_core(lambda: limit, every=True))

    def within(self, limit: float) -> Iterator[Offer]:
        """The same as designs."""
        return (Offer(float(cents), self.design(listed, at)) for _, listed in self.listed(limit) for at, cents in enumerate(listed.cents))

    def usage(self, listed: Listed, items: Sequence[str]) -> np.ndarray:
        """Pieces of some items that designs of a core use, shape (designs, items)."""
        offers, place = self.offers, {item: at for at, item in enumerate(items)}
        blocks, money = self.blocks[listed.number], (circuits_at(self.cores.classes[listed.number].volts), MOUNTS)

        def counted(used: Items) -> np.ndarray:
            row = np.zeros(len(items))
            for item, n in used.items():
                if item in place:
                    row[place[item]] = n
            return row

        core = counted(offers.core_items[listed.core])
        devices = np.array([counted(used) for used in offers.device_items])
        modules = np.array([counted({module.id: 1.0, ALLOWANCE + "module": 1.0}) for module in self.arrays.modules])
        string, cents = counted({ALLOWANCE + "array string": 1.0}), [counted({item: 1.0}) for item in money]
        rows, row = np.unique(np.concatenate([listed.first, listed.second]), return_inverse=True)
        each = devices[blocks.device[rows]] + modules[blocks.module[rows]] * blocks.modules_each[rows][:, None] + string * blocks.strings[rows][:, None]
        for name, one in zip(IN_CENTS, cents, strict=True):
            if name in blocks.columns:
                each += one * blocks.columns[name][rows][:, None]
        first, second = np.split(row, 2)
        return np.asarray(core + each[first] * listed.n[:, None] + each[second] * listed.many[:, None])

    def yearly_cents(self, listed: Listed) -> np.ndarray:
        """What the sources of designs of a core burn in a year, at today's prices [cents], shape (designs,)."""
        if not self._is_fed(listed.core):
            return np.zeros(len(listed.first))
        harvest_wh, table = self.blocks[listed.number].harvest_wh, self.offers.base.cores.table
        brought_wh = listed.n[:, None] * harvest_wh[listed.first] + listed.many[:, None] * harvest_wh[listed.second]
        return running_cents(table, listed.core, brought_wh) * self.offers.stock.prices.marked_up

    def trackers(self, listed: Listed) -> list[tuple[tuple[str, int, int], ...]]:
        """Controllers of designs of a core: module, modules on each, number."""
        blocks, found = self.blocks[listed.number], []
        ids = [module.id for module in self.arrays.modules]
        kinds = [zip(blocks.module[row].tolist(), blocks.modules_each[row].tolist(), times.tolist(), strict=True) for row, times in ((listed.first, listed.n), (listed.second, listed.many))]
        for pair in zip(*kinds, strict=True):
            count: Counter[tuple[str, int]] = Counter()
            for module, each, n in pair:
                count[ids[module], int(each)] += int(n)
            found.append(tuple((module, each, n) for (module, each), n in count.items() if n))
        return found

    def design(self, listed: Listed, at: int) -> Design:
        """One of the designs of a core."""
        counts = [(int(listed.first[at]), int(listed.n[at]))] + ([(int(listed.second[at]), int(listed.many[at]))] if listed.many[at] else [])
        return self._design(listed.number, listed.core, counts)

    def _by_core(self, most: Callable[[], float], *, every: bool) -> Iterator[Listed]:
        """Designs at most as dear as `most` says, core by core, the cheapest bounds first; or only the cheapest of many."""
        bounds = [(float(bound), number, int(core)) for number in self.blocks for bound, core in zip(self._whole_bounds(number), self.core_rows[number], strict=True)]
        rates = {number: self._rates(number) for number in self.blocks}
        for bound, number, core in sorted(bounds):
            if bound > most() + SLACK_CENTS:
                break
            left = most() + SLACK_CENTS - float(self.cores.table.least_cost[core])
            whole = self.blocks[number]
            chance = whole.least_cost + self._completion(core, whole, rates[number]) <= left
            if self._is_fed(core):
                least, beyond = least_beside(self, whole, core)
                chance &= least + beyond <= most() + SLACK_CENTS
            rows = np.nonzero(chance)[0]
            if len(rows):
                self.blocks[number] = whole.take(rows)
                found = self._of_core(number, core, most, every=every)
                self.blocks[number] = whole
                if found is not None:
                    yield replace(found, first=rows[found.first], second=rows[found.second])

    def _whole_bounds(self, number: int) -> np.ndarray:
        """Least cost of a design on each core of a class, with what its source burns [cents]."""
        bounds = self._core_bounds(number)
        return np.maximum(bounds, bounds_with_fuel(self._rows(number), self.blocks[number])[0]) if self.is_fed(number) else bounds

    def _is_fed(self, core: int) -> bool:
        """Whether a core has a source."""
        return self.cores.fed and bool(self.cores.table.feed[core] >= 0)

    def _completion(self, core: int, blocks: Table, rate: np.ndarray) -> np.ndarray:
        """Least cost of the rest of an array on a core, beside each block: at the best rate of any block [cents]."""
        asked = asked_by(self.cores.table.take(np.array([core])))
        short = np.maximum(asked - given_by(blocks), 0.0)
        with np.errstate(invalid="ignore"):
            return np.asarray(np.nan_to_num(short * rate, nan=0.0, posinf=np.inf).max(axis=1))

    def _of_core(self, number: int, core: int, most: Callable[[], float], *, every: bool) -> Listed | None:
        found: list[tuple[np.ndarray, ...]] = []
        for arrays in self._arrays_of(number, core, most):
            found.append(arrays)
            if every and sum(len(one[0]) for one in found) > LISTED_MOST:
                raise TooManyDesigns
        if not found:
            return None
        first, n, second, many, cents = (np.concatenate(columns) for columns in zip(*found, strict=True))
        kept = np.nonzero(cents <= most())[0]
        if not len(kept):
            return None
        kept = kept[self._unlike(number, core, first[kept], n[kept], second[kept], many[kept])] if every else kept[[int(np.argmin(cents[kept]))]]
        return Listed(number, core, first[kept], n[kept], second[kept], many[kept], cents[kept])

    def _arrays_of(self, number: int, core: int, most: Callable[[], float]) -> Iterator[tuple[np.ndarray, ...]]:
        """First blocks of arrays on a core, how many, second ones, how many of these (none where there is one kind), and cost [cents]."""
        if self._is_fed(core):
            yield from fed_arrays(self, number, core, most)
            return
        blocks = self.blocks[number]
        counts = self.single_kind_counts(blocks, core)
        rows = np.nonzero(np.isfinite(counts))[0]
        yield rows, counts[rows], rows, np.zeros(len(rows)), self.cores.table.least_cost[core] + counts[rows] * blocks.least_cost[rows]
        if self.problem.bounds.array_kinds < 2:
            return
        months = telling_months(blocks.harvest_wh, self.cores.table.needed_wh[[core]])
        for n, first, second, many, cents in priced_pairs(self, number, core, months, most() + SLACK_CENTS):
            yield first, np.full(len(first), float(n)), second, many, cents

    def _unlike(self, number: int, core: int, first: np.ndarray, n: np.ndarray, second: np.ndarray, many: np.ndarray) -> np.ndarray:
        """Arrays but for those that differ from another only in more strings, wire or mounts: no plan needs them."""
        blocks = self.blocks[number]
        kind = (blocks.device * len(self.arrays.modules) + blocks.module) * (int(blocks.modules_each.max()) + 1) + blocks.modules_each
        alike, most = np.unique(kind, return_inverse=True)[1].ravel(), int(max(n.max(), many.max())) + 1
        mine, its = (alike[first] * most + n).astype(int), np.where(many > 0, alike[second] * most + many, -1).astype(int)
        group = np.unique(np.minimum(mine, its) * ((int(alike.max()) + 1) * most) + np.maximum(mine, its), return_inverse=True)[1].ravel()
        columns = [blocks.strings, *(blocks.columns[name] for name in IN_CENTS if name in blocks.columns)]
        used = [n * column[first] + many * column[second] for column in columns]
        used += [burnt_cents(self, number, core, first, n, second, many)] if self.cores.fed else []
        return undominated_in_groups(group, np.column_stack(used))
