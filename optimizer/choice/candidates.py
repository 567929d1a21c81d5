"""All candidates of a problem: cores, and the blocks of each bank class, screened and then pruned exactly."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np

from optimizer.choice.block_memory import remembered_blocks
from optimizer.choice.blocks import Arrays, arrays, pieces_in, with_cheapest_cables
from optimizer.choice.candidate_set import Candidates
from optimizer.choice.cores import Cores, power_cores
from optimizer.choice.dominance import SLACK_CENTS, Dominance, telling_months, uses_terminals
from optimizer.choice.fed_pairs import try_fed_pairs
from optimizer.choice.feeding import (
    bounds_with_fuel,
    floor_wh,
    rough_bounds,
    running_of,
    try_fed_core,
    whole_wh,
)
from optimizer.choice.hours import LIVED_MOST
from optimizer.choice.kinds import Kinds
from optimizer.choice.live_kits import without_dead_kits
from optimizer.choice.narrow import asked_by, given_by, have_room, narrow, narrow_once, reachable
from optimizer.choice.pairs import few_pairs, priced_pairs
from optimizer.choice.planes import areas, few_of_each_plane, rectangle_limits, whole_area_m2
from optimizer.choice.prune import completion_bound
from optimizer.choice.rectangles import Rectangles, most_modules, rectangle_rooms
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import Needs
from optimizer.rules.book import TOLERANCE

CORES_TRIED = 40
"""Cores, most promising first, on which single-kind designs are tried for an upper bound."""

CORES_PAIRED = 10
"""Cores, most promising first, on which designs on two planes are tried for an upper bound."""

PAIRS_MOST = 1_500_000
"""Pairs of blocks, times cores, up to which designs of two kinds are priced one by one before the program sees them."""

PAIRS_MOST_ON_PLANES = 6_000_000
"""The same where arrays may lie on several planes: the program then takes longer than the pairs."""


def candidates(
    needs: Needs, catalog: Catalog, stock: Stock, screening: Screening, *, prune: bool, known_cents: float = np.inf, kinds: Kinds | None = None,
    any_design: bool = False, air_lived_c: tuple[float, float] | None = None, cheapest_cables: bool = False,
) -> CandidateSearch:
    """Screen and prune; `known_cents` is the objective of a design that is known already. any_design: end with the first that is met.

    cheapest_cables: leave out blocks that differ from another only in a dearer cable; not beside a source, where a thicker one saves fuel.
    """
    cores = power_cores(needs, catalog, screening, stock)
    there = {int(i) for i in cores.table.columns.get("inverter", np.zeros(0)) if i >= 0}
    trackers = [inverter for at, inverter in enumerate(cores.inverters) if at in there and inverter.kind == "all-in-one"]
    strings = arrays(needs, catalog, screening, stock, trackers)
    return CandidateSearch(needs, catalog, stock, screening, cores, strings, known_cents, prune=prune, kinds=kinds or Kinds(), any_design=any_design, air_lived_c=air_lived_c, cheapest_cables=cheapest_cables)


class CandidateSearch:
    """Builds the blocks class by class while an upper bound gets tighter, then drops what no optimum needs."""

    def __init__(
        self, needs: Needs, catalog: Catalog, stock: Stock, screening: Screening, cores: Cores, strings: Arrays, known: float, *, prune: bool,
        kinds: Kinds, any_design: bool = False, air_lived_c: tuple[float, float] | None = None, cheapest_cables: bool = False,
    ) -> None:
        self.needs, self.catalog, self.stock, self.screening = needs, catalog, stock, screening
        self.cores, self.arrays, self.prune, self.most = cores, strings, prune, known
        self.kinds, self.kits, self.air_lived_c, self.too_many, self.cheapest_cables = kinds, stock.kits(), air_lived_c, False, cheapest_cables
        self.known: Design | None = None
        self.blocks: dict[int, Table] = {}
        self.core_rows: dict[int, np.ndarray] = {}
        self.problem, self.days = needs.problem, np.array(DAYS_OF_MONTH)[needs.months]
        self.missing, self.short = cores.missing, ""

        self._drop_cores_without_demanded()
        table = cores.table
        classes = sorted(set(table.bank_class.tolist()), key=lambda k: float(table.least_cost[table.bank_class == k].min())) if len(table) else []
        for number in classes:
            self._build(number)
            if any_design and self.known is not None:
                return
        if not self.blocks and not self.missing:
            self.missing = f"No array with its controller is left after the rule {screening.emptied_by}."
        if prune:
            self.tighten()
            self.too_many = air_lived_c is not None and sum(map(len, self.blocks.values())) > LIVED_MOST
        if prune and not self.too_many:
            without_dead_kits(self)
            if len(self.needs.planes) > 1:  # more blocks, and fewer of them drop each other: first out with those that no limit leaves a place
                narrow_once(self)
            self._dominate_all()
            if not np.isfinite(self.most):  # no price bounds the pairs: there may be no design at all
                narrow_once(self)
            self.price_pairs()
            self.tighten()
            self.price_pairs()
            narrow(self)
            if without_dead_kits(self):
                self._dominate_all()
                self.price_pairs()

    def tighten(self, known_cents: float = np.inf) -> None:
        """Drop what cannot be part of a design at most as dear as the cheapest that is known."""
        self.most = min(self.most, known_cents)
        for number in list(self.blocks):
            self._bounded(number)

    def price_pairs(self) -> None:
        """Price designs of one and two kinds one by one where they are few enough."""
        for number in list(self.blocks):
            self._try_pairs(number)

    def result(self) -> Candidates:
        """What is left."""
        table = self.cores.table
        rows = [self.core_rows[number] for number in self.blocks] or [np.zeros(0, dtype=int)]
        joined = Table.joined(list(self.blocks.values())) if self.blocks else Table({"bank_class": np.zeros(0, dtype=int)})
        cores = replace(self.cores, table=table.take(np.concatenate(rows)))
        return Candidates(self.needs, self.catalog, self.stock, cores, self.arrays, joined, self.most, self.kinds)

    def _dominate_all(self) -> None:
        for number in list(self.blocks):
            self._dominate(number)

    def _dominate(self, number: int) -> None:
        dominance = Dominance(self.needs, self.stock, self.screening, self.arrays, self.cores, self.most, self.kinds, self.kits, self.air_lived_c)
        of_class, blocks = self._rows(number), self.blocks[number]
        self.blocks[number] = blocks.take(dominance.blocks(of_class, blocks))
        self.core_rows[number] = self.core_rows[number][dominance.cores_of(of_class, self.blocks[number])]

    def _drop_cores_without_demanded(self) -> None:
        """A demanded battery, inverter or converter must be in the core; nothing else can bring it."""
        demanded = {
            part_id: least for part_id, least in self.stock.at_least.items()
            if least and isinstance(self.stock.part(part_id), Battery | Inverter | Converter | Generator | Charger | AlternatorCharger)
        }
        if not demanded or not self.screening.enforced("part-demanded"):
            return
        has = [all(dict(self.cores.pieces(row)).get(part, 0) >= least for part, least in demanded.items()) for row in range(len(self.cores.table))]
        self.screening.lost("part-demanded", has.count(False), has.count(True), "banks and inverters without a demanded part")
        self.cores.table = self.cores.table.take(np.array(has, dtype=bool))

    # --- one class

    def _rows(self, number: int) -> Table:
        return self.cores.table.take(self.core_rows[number])

    def is_fed(self, number: int) -> bool:
        """Whether a generator may stand behind a class: with fuel the smallest counts of blocks are not the cheapest."""
        return self.cores.fed and bool((self.cores.table.feed[self.core_rows[number]] >= 0).any())

    def _build(self, number: int) -> None:
        table = self.cores.table
        rows = np.nonzero(table.bank_class == number)[0]
        cores = table.take(rows)
        room = self.most - float(cores.least_cost.min()) if self.prune else np.inf
        prices = self.stock.prices
        budgeted = self.screening.enforced("budget") and not self.stock.owned and not prices.has_prices_beside_the_bill
        if prices.budget_cents is not None and budgeted:
            room = min(room, prices.budget_cents - float(cores.least_cost.min()))
            least = self._least_array_cents
            if room < least and not np.isfinite(self.most):
                text = f"the cheapest bank with its inverter leaves {max(room, 0.0) / 100:,.2f} for an array, which costs {least / 100:,.2f} at least"
                self.screening.lost("budget", len(rows), 0, text)
                return
        if room + SLACK_CENTS < self._least_array_cents:
            return  # every design on this class costs more than one that is known
        most_a = float(cores.most_charge_a.max()) if self.screening.enforced("maximum-charge-current") else np.inf
        blocks = remembered_blocks(self.arrays, self.catalog, self.cores.classes[number], float(cores.ceiling_v.max()), most_a, room)
        if not len(blocks):
            return
        if self.cheapest_cables and not (self.cores.fed and bool((cores.feed >= 0).any())):
            blocks = with_cheapest_cables(blocks)
        limited = [part for part in self.stock.at_most if isinstance(self.stock.part(part), Module | Controller)]
        blocks.add(bank_class=np.full(len(blocks), number), **{f"pieces of {part}": pieces_in(self.arrays, blocks, part) for part in limited})
        rows = rows[have_room(self, cores, blocks)]
        if not len(rows):
            return
        self.blocks[number], self.core_rows[number] = blocks, rows
        if self.prune and self.air_lived_c is None:
            self._upper_bound(number)
            if len(self.needs.planes) > 1:
                self._upper_bound_on_planes(number)

    @cached_property
    def rectangles(self) -> dict[int, Rectangles]:
        """What fits the free rectangles of each plane that has any; none where they are not enforced."""
        return rectangle_rooms(self.needs, self.arrays) if self.screening.enforced("array-rectangles") else {}

    @property
    def _least_array_cents(self) -> float:
        """What the least array costs: a controller or a built-in tracker with one module [cents]."""
        costs = self.arrays.costs
        return float(costs["device_least_cost"].min() + costs["module_least_cost"].min()) if self.arrays.modules and self.arrays.parts else 0.0

    def _rates(self, number: int) -> np.ndarray:
        """Least cost of a watt-hour a day in each month, and of an ampere of charge; infinite where no block gives any."""
        blocks, supply = self.blocks[number], given_by(self.blocks[number])
        rate = np.full(supply.shape, np.inf)
        np.divide(np.broadcast_to(blocks.least_cost[:, None], supply.shape), supply, out=rate, where=supply > 0)
        return np.asarray(rate.min(axis=0))

    def _core_bounds(self, number: int) -> np.ndarray:
        """Least cost of a design on each core of a class."""
        cores, rate = self._rows(number), self._rates(number)
        with np.errstate(invalid="ignore"):
            energy = np.nan_to_num(asked_by(cores) * rate, nan=0.0, posinf=np.inf).max(axis=1)
        return np.asarray(cores.least_cost + np.maximum(energy, self.blocks[number].least_cost.min()))

    def _upper_bound(self, number: int) -> None:
        """Try the most promising cores with one kind of block each."""
        bounds = self._core_bounds(number) if not self.cores.fed else rough_bounds(self._rows(number), self.blocks[number])
        for row in np.argsort(bounds, kind="stable")[:CORES_TRIED]:
            if bounds[row] >= self.most:
                break
            (try_fed_core if self.cores.fed else CandidateSearch._try_core)(self, number, int(self.core_rows[number][row]))

    def _upper_bound_on_planes(self, number: int) -> None:
        """Try the most promising cores with pairs of a few blocks: what fits no plane alone is seldom carried by one kind."""
        if self.problem.bounds.array_kinds < 2:
            return
        every, bounds = self.blocks[number], self._core_bounds(number)
        needed = whole_wh(self._rows(number))
        self.blocks[number] = every.take(few_of_each_plane(every, needed.max(axis=0)))
        months = telling_months(self.blocks[number].harvest_wh, needed)
        for row in np.argsort(bounds, kind="stable")[:CORES_PAIRED]:
            if bounds[row] >= self.most:
                break
            self.pair_core(number, int(self.core_rows[number][row]), months)
        self.blocks[number] = every

    def _try_core(self, number: int, core: int) -> None:
        blocks, table = self.blocks[number], self.cores.table
        counts = self.single_kind_counts(self.blocks[number], core)
        with np.errstate(invalid="ignore"):
            cost = table.least_cost[core] + counts * blocks.least_cost
        cost = np.where(np.isnan(cost) | self.forbidden(core, blocks), np.inf, cost)
        for _ in range(4):
            row = int(np.argmin(cost))
            if not cost[row] < self.most or self.known_cents(number, core, [(row, int(counts[row]))]) <= cost[row] + SLACK_CENTS:
                return
            cost[row] = np.inf

    def known_cents(self, number: int, core: int, counts: list[tuple[int, int]]) -> float:
        """Objective of a design, kept as the upper bound where stock, limits and budget allow the design; one that must live is none."""
        if self.air_lived_c is not None:
            return np.inf
        bank, inverters, converters = self.cores.parts(core, self.needs, self.catalog)
        chosen = tuple(self.arrays.block(self.blocks[number], row, count) for row, count in counts)
        design = Design(bank, chosen, inverters, converters, self.cores.source(core))
        bill = self.stock.prices.bill(design)
        objective = bill.objective_cents + running_of(self.cores.table, core, [(self.blocks[number].harvest_wh[row], count) for row, count in counts])
        budget = self.stock.prices.budget_cents
        within = budget is None or not self.screening.enforced("budget") or bill.parts_and_freight_cents <= budget
        if not within or not self.stock.holds(design.pieces, self.screening.enforced):
            return np.inf
        if objective < self.most:
            self.most, self.known = float(objective), design
        return float(objective)

    def _try_pairs(self, number: int) -> None:
        """Every design of one or two kinds on a class, priced at the least: an upper bound from the best of them that
        holds, and out with the cores and blocks that no such design at most as dear contains.
        """
        kinds = self.problem.bounds.array_kinds
        if number not in self.blocks or kinds > 2:
            return
        if self.is_fed(number):
            try_fed_pairs(self, number)
            return
        blocks, rows = self.blocks[number], self.core_rows[number]
        months = telling_months(blocks.harvest_wh, self._rows(number).needed_wh)
        order = np.argsort(self._core_bounds(number), kind="stable")
        most = PAIRS_MOST if len(self.needs.planes) == 1 else PAIRS_MOST_ON_PLANES
        if len(rows) * len(blocks) ** 2 > most and not (
            kinds == 2 and np.isfinite(self.most) and few_pairs(self, number, rows[order].tolist(), months, self.most + SLACK_CENTS, most)
        ):
            return
        block_least, core_least = np.full(len(blocks), np.inf), np.full(len(rows), np.inf)
        for at in order:
            core = int(rows[at])
            alone = self.cores.table.least_cost[core] + self.single_kind_counts(self.blocks[number], core) * blocks.least_cost
            least = np.where(np.isnan(alone) | self.forbidden(core, blocks), np.inf, alone)
            if kinds == 2:
                least = np.minimum(least, self.pair_core(number, core, months))
            block_least, core_least[at] = np.minimum(block_least, least), least.min()
        self.keep_cheap(number, core_least, block_least)

    def keep_cheap(self, number: int, core_least: np.ndarray, block_least: np.ndarray) -> None:
        """Drop cores and blocks of a class whose cheapest design [cents] costs more than one that is known."""
        most = self.most + SLACK_CENTS
        if not (core_least <= most).any():
            self.drop(number)
            return
        self.core_rows[number] = self.core_rows[number][core_least <= most]
        self.blocks[number] = self.blocks[number].take(block_least <= most)

    def forbidden(self, core: int, blocks: Table, first: np.ndarray | None = None, second: np.ndarray | None = None) -> np.ndarray:
        """Blocks alone, or the pairs of blocks in the rows given, that would make a design of a kind that is known already."""
        if not self.kinds.forbidden:
            return np.zeros(1, dtype=bool)
        of_core = self.kinds.of_cores(self.cores, self.cores.table.take(np.array([core])))[0]
        words = self.kinds.of_blocks(self.arrays, blocks)
        if first is None or second is None:
            return self.kinds.forbidden_alone(of_core, *words)
        return self.kinds.forbidden_pairs(of_core, *words, first, second)

    def pair_core(self, number: int, core: int, months: list[int]) -> np.ndarray:
        """Least cost of a design of two kinds on a core that contains each block [cents], shape (blocks,)."""
        blocks = self.blocks[number]
        block_least = np.full(len(blocks), np.inf)
        for n, first, second, many, cents in priced_pairs(self, number, core, months, self.most + SLACK_CENTS):
            np.minimum.at(block_least, first, cents)
            np.minimum.at(block_least, second, cents)
            at = int(np.argmin(cents))
            if cents[at] < self.most:
                self.known_cents(number, core, [(int(first[at]), n), (int(second[at]), int(many[at]))])
        return block_least

    def demanded_pieces(self, blocks: Table) -> list[tuple[float, np.ndarray]]:
        """For each demanded module or controller how many are asked for, and how many are in each block, shape (blocks,)."""
        if not self.screening.enforced("part-demanded"):
            return []
        asked = [(part, least) for part, least in self.stock.at_least.items() if least and isinstance(self.stock.part(part), Module | Controller)]
        return [(float(least), pieces_in(self.arrays, blocks, part)) for part, least in asked]

    def resources(self, core: int) -> list[tuple[str, float]]:
        """Columns of blocks that add up to a limit, with what a core leaves of it."""
        table, problem, enforced = self.cores.table, self.problem, self.screening.enforced
        limits = [("self_w", float(table.room_w[core]))]
        if enforced("maximum-charge-current"):
            limits.append(("high_a", float(table.most_charge_a[core]) * (1 + TOLERANCE)))
        if enforced("array-area"):
            limits += [(column, area * (1 + TOLERANCE)) for column, _, area in areas(self.needs)]
            whole = whole_area_m2(self.needs)
            if whole is not None and len(self.needs.planes) > 1:
                limits.append(("area_m2", whole * (1 + TOLERANCE)))  # follows from those of the planes, and says more in mixtures
        limits += [(column, most * (1 + TOLERANCE)) for column, most in rectangle_limits(self.rectangles, next(iter(self.blocks.values())))]
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            limits.append(("weight_kg", problem.limits.total_kg_max * (1 + TOLERANCE) - float(table.weight_total_kg[core])))
        if enforced("part-limit"):
            limits += [(f"pieces of {part}", float(most)) for part, most in self.stock.at_most.items() if isinstance(self.stock.part(part), Module | Controller)]
        return limits

    def most_of_each(self, blocks: Table, core: int) -> np.ndarray:
        """How many of each block a core can have, by its controllers, trackers and voltage."""
        table = self.cores.table
        most = np.where(blocks.parallel_ok, float(self.problem.bounds.controllers), 1.0)
        inverter = table.inverter[core]
        same = np.array([inverter >= 0 and part.id == self.cores.inverters[inverter].id for part in self.arrays.parts], dtype=bool)
        most = np.where(blocks.built_in, np.where(same[blocks.device], np.minimum(most, table.inverter_count[core]), 0), most)
        return np.where(blocks.highest_v <= table.ceiling_v[core] * (1 + TOLERANCE), most, 0)

    def single_kind_counts(self, blocks: Table, core: int) -> np.ndarray:
        """How often each block must be taken on a core if it is the only kind; NaN where it cannot be."""
        table = self.cores.table
        needed = floor_wh(table)[core]
        with np.errstate(divide="ignore", invalid="ignore"):
            counts = np.where(blocks.harvest_wh > 0, needed[None, :] / blocks.harvest_wh, np.where(needed[None, :] <= 0, 0, np.inf)).max(axis=1)
            counts = np.maximum(counts, table.least_a[core] / blocks.low_a)
            if uses_terminals(self.needs):
                counts = np.maximum(counts, np.where(blocks.terminal_a > 0, table.terminal_a[core] / blocks.terminal_a, np.inf))
            for asked, pieces in self.demanded_pieces(blocks):
                counts = np.maximum(counts, asked / np.maximum(pieces, 1e-9))
            if "spare_wh" in table.columns:
                counts = np.maximum(counts, 1 + np.max(table.spare_wh[core] / np.maximum(blocks.harvest_wh, 1e-9), axis=1))
            counts = np.maximum(1, np.ceil(counts * (1 - TOLERANCE)))
        fits = counts <= self.most_of_each(blocks, core)
        for column, limit in self.resources(core):
            with np.errstate(invalid="ignore"):  # none of what a block takes nothing of, however often: it does not fit anyway
                fits &= counts * blocks.columns[column] <= limit
        if self.rectangles:
            fits &= counts * blocks.modules_each <= most_modules(self.rectangles, blocks)
        return np.where(fits, counts, np.nan)

    # --- pruning

    def drop(self, number: int) -> None:
        """A class that no design can have."""
        self.blocks.pop(number)
        self.core_rows.pop(number)
        if not self.blocks:
            self.missing = f"The array cannot carry the load: {self.short}." if self.short else "No array and bank fit together."

    def _bounded(self, number: int) -> None:
        """Drop what cannot be part of a design at most as dear as the one that is known."""
        for _ in range(2):
            cores, blocks = self._rows(number), self.blocks[number]
            with_fuel = bounds_with_fuel(cores, blocks) if self.cores.fed else (-np.inf, -np.inf)  # in a plan a design may cost less than nothing
            alive = np.maximum(self._core_bounds(number), with_fuel[0]) <= self.most + SLACK_CENTS
            within, short = reachable(self, number)
            self.short = short or self.short
            alive &= within
            if not alive.any():
                self.drop(number)
                return
            every_core = bool(alive.all())
            if not every_core:
                self.core_rows[number] = self.core_rows[number][alive]
                cores = cores.take(alive)
            if not np.isfinite(self.most):
                return
            rate = self._rates(number)
            bound = blocks.least_cost + cores.least_cost.min()
            supply, demand = given_by(blocks), asked_by(cores)
            weight = demand * np.where(np.isfinite(rate), rate, 0.0)
            for at in set(np.argmax(weight, axis=1).tolist()) | {supply.shape[1] - 1}:
                if np.isfinite(rate[at]):
                    whole = completion_bound(blocks.least_cost, supply[:, at], cores.least_cost, demand[:, at], rate[at])
                    bound = np.maximum(bound, whole)
            alive = np.maximum(bound, with_fuel[1]) <= self.most + SLACK_CENTS
            if not alive.any():
                self.drop(number)
                return
            if every_core and alive.all():
                return
            self.blocks[number] = blocks.take(alive)
