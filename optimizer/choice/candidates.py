"""All candidates of a problem: cores, and the blocks of each bank class, screened and then pruned exactly."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.choice.blocks import Arrays, arrays, blocks_of_class
from optimizer.choice.cores import Cores, power_cores
from optimizer.choice.prune import completion_bound, undominated
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import MONTHS
from optimizer.needs.site import Needs
from optimizer.rules import array

CORES_TRIED = 40
"""Cores, most promising first, on which single-kind designs are tried for an upper bound."""

PAIRS_MOST = 1_500_000
"""Pairs of blocks, times cores, up to which designs of two kinds are priced one by one before the program sees them."""

SLACK_CENTS = 0.5
"""Costs are whole cents; sums of floating numbers are not."""


@dataclass
class Candidates:
    """Cores and blocks that the program chooses from; block rows carry the number of their bank class."""

    needs: Needs
    catalog: Catalog
    stock: Stock
    cores: Cores
    arrays: Arrays
    blocks: Table
    most_cents: float
    """Objective of a design that is known to exist; infinite where none was found."""

    def design(self, core: int, counts: list[tuple[int, int]]) -> Design:
        """The design of a core and of (block row, count) pairs."""
        bank, inverters, converters = self.cores.parts(core, self.needs, self.catalog)
        return Design(bank, tuple(self.arrays.block(self.blocks, row, n) for row, n in counts), inverters, converters)

    def block_pieces(self, row: int) -> list[tuple[str, int]]:
        """Part ids and pieces of one block."""
        return block_pieces(self.arrays, self.blocks, row)

    def part_ids(self) -> set[str]:
        """Every part that some candidate uses."""
        of_cores = {part for row in range(len(self.cores.table)) for part, _ in self.cores.pieces(row)}
        return of_cores | {part for row in range(len(self.blocks)) for part, _ in self.block_pieces(row)}

    def block_key(self, row: int) -> tuple[object, ...]:
        """What orders equal blocks: the tuple of ids and counts."""
        blocks = self.blocks
        limit = float(blocks.limit_a[row])
        return (
            self.arrays.parts[blocks.device[row]].id, self.arrays.modules[blocks.module[row]].id, int(blocks.series[row]),
            int(blocks.strings[row]), -1.0 if np.isnan(limit) else limit,
        )


def block_pieces(arrays_: Arrays, blocks: Table, row: int) -> list[tuple[str, int]]:
    """Part ids and pieces of one block of a table."""
    pieces = [(arrays_.modules[blocks.module[row]].id, int(blocks.modules_each[row]))]
    return pieces if blocks.built_in[row] else [*pieces, (arrays_.parts[blocks.device[row]].id, 1)]


def candidates(needs: Needs, catalog: Catalog, stock: Stock, screening: Screening, *, prune: bool) -> CandidateSearch:
    """Screen, and bound by the cost of a design that is known to exist."""
    cores = power_cores(needs, catalog, screening, stock)
    there = {int(i) for i in cores.table.columns.get("inverter", np.zeros(0)) if i >= 0}
    trackers = [inverter for at, inverter in enumerate(cores.inverters) if at in there and inverter.kind == "all-in-one"]
    strings = arrays(needs, catalog, screening, stock, trackers)
    return CandidateSearch(needs, catalog, stock, screening, cores, strings, prune=prune)


class CandidateSearch:
    """Builds the blocks class by class while an upper bound gets tighter; `pruned` may be asked again with more special parts."""

    def __init__(
        self, needs: Needs, catalog: Catalog, stock: Stock, screening: Screening, cores: Cores, strings: Arrays, *, prune: bool,
    ) -> None:
        self.needs, self.catalog, self.stock, self.screening = needs, catalog, stock, screening
        self.cores, self.arrays, self.prune, self.most = cores, strings, prune, np.inf
        self.blocks: dict[int, Table] = {}
        self.core_rows: dict[int, np.ndarray] = {}
        self.problem = needs.problem
        self.missing, self.short = cores.missing, ""

        table = cores.table
        classes = sorted(set(table.bank_class.tolist()), key=lambda k: float(table.least_cost[table.bank_class == k].min())) if len(table) else []
        for number in classes:
            self._build(number)
        if not self.blocks and not self.missing:
            self.missing = f"No array with its controller is left after the rule {screening.emptied_by}."
        if prune:
            self.tighten()
            self.price_pairs()
            self.tighten()
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

    def pruned(self) -> Candidates:
        """Candidates without the dominated ones."""
        rows, tables = [], []
        for number in self.blocks:
            of_class, blocks = self._rows(number), self.blocks[number]
            kept = self.core_rows[number]
            if self.prune:
                blocks = blocks.take(self._undominated_blocks(of_class, blocks))
                kept = kept[self._undominated_cores(of_class, blocks)]
            rows.append(kept)
            tables.append(blocks)
        table = self.cores.table
        cores = replace(self.cores, table=table.take(np.concatenate(rows)) if rows else table.take(np.zeros(0, dtype=int)))
        joined = Table.joined(tables) if tables else Table({"bank_class": np.zeros(0, dtype=int)})
        return Candidates(self.needs, self.catalog, self.stock, cores, self.arrays, joined, self.most)

    # --- one class

    def _rows(self, number: int) -> Table:
        return self.cores.table.take(self.core_rows[number])

    def _build(self, number: int) -> None:
        table = self.cores.table
        rows = np.nonzero(table.bank_class == number)[0]
        cores = table.take(rows)
        room = self.most - float(cores.least_cost.min()) if self.prune else np.inf
        if self.stock.prices.budget_cents is not None and not self.stock.owned and self.screening.enforced("budget") and not self._beside:
            room = min(room, self.stock.prices.budget_cents - float(cores.least_cost.min()))
        most_a = float(cores.most_charge_a.max()) if self.screening.enforced("maximum-charge-current") else np.inf
        blocks = blocks_of_class(self.arrays, self.cores.classes[number], float(cores.ceiling_v.max()), most_a, room)
        if not len(blocks):
            return
        blocks.add(bank_class=np.full(len(blocks), number))
        self.blocks[number], self.core_rows[number] = blocks, rows
        if self.prune:
            self._upper_bound(number)

    @property
    def _beside(self) -> bool:
        prices = self.stock.prices
        return bool(prices.distinct_cents or prices.connection_cents or self.problem.objective.price_per_kg)

    def _rates(self, number: int) -> np.ndarray:
        """Least cost of a watt-hour a day in each month [cents d/Wh]; infinite where no block harvests."""
        blocks = self.blocks[number]
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = blocks.least_cost[:, None] / np.where(blocks.harvest_wh > 0, blocks.harvest_wh, np.nan)
        return np.where(np.isnan(rate).all(axis=0), np.inf, np.nanmin(np.where(np.isnan(rate), np.inf, rate), axis=0))

    def _core_bounds(self, number: int) -> np.ndarray:
        """Least cost of a design on each core of a class."""
        cores, rate = self._rows(number), self._rates(number)
        with np.errstate(invalid="ignore"):
            energy = np.nan_to_num(cores.needed_wh * rate, nan=0.0, posinf=np.inf).max(axis=1)
        return np.asarray(cores.least_cost + np.maximum(energy, self.blocks[number].least_cost.min()))

    def _upper_bound(self, number: int) -> None:
        """Try the most promising cores with one kind of block each."""
        bounds = self._core_bounds(number)
        for row in np.argsort(bounds, kind="stable")[:CORES_TRIED]:
            if bounds[row] >= self.most:
                break
            self._try_core(number, int(self.core_rows[number][row]))

    def _try_core(self, number: int, core: int) -> None:
        blocks, table = self.blocks[number], self.cores.table
        counts = self.single_kind_counts(number, core)
        with np.errstate(invalid="ignore"):
            cost = table.least_cost[core] + counts * blocks.least_cost
        cost = np.where(np.isnan(cost), np.inf, cost)
        for _ in range(4):
            row = int(np.argmin(cost))
            if not cost[row] < self.most or self._known(number, core, [(row, int(counts[row]))]) <= cost[row] + SLACK_CENTS:
                return
            cost[row] = np.inf

    def _known(self, number: int, core: int, counts: list[tuple[int, int]]) -> float:
        """Objective of a design, kept as the upper bound where stock, limits and budget allow the design."""
        bank, inverters, converters = self.cores.parts(core, self.needs, self.catalog)
        chosen = tuple(self.arrays.block(self.blocks[number], row, count) for row, count in counts)
        design = Design(bank, chosen, inverters, converters)
        bill = self.stock.prices.bill(design)
        budget = self.stock.prices.budget_cents
        within = budget is None or not self.screening.enforced("budget") or bill.parts_and_freight_cents <= budget
        if not within or not self.stock.holds(design.pieces, self.screening.enforced):
            return np.inf
        self.most = min(self.most, float(bill.objective_cents))
        return float(bill.objective_cents)

    def _try_pairs(self, number: int) -> None:
        """Every design of one or two kinds on a class, priced at the least: an upper bound from the best of them that
        holds, and out with the cores and blocks that no such design at most as dear contains.
        """
        kinds = self.problem.bounds.array_kinds
        if number not in self.blocks or kinds > 2:
            return
        blocks, rows = self.blocks[number], self.core_rows[number]
        if len(rows) * len(blocks) ** 2 > PAIRS_MOST:
            return
        months = telling_months(blocks.harvest_wh, self._rows(number).needed_wh)
        block_least, core_least = np.full(len(blocks), np.inf), np.full(len(rows), np.inf)
        for at in np.argsort(self._core_bounds(number), kind="stable"):
            core = int(rows[at])
            alone = self.cores.table.least_cost[core] + self.single_kind_counts(number, core) * blocks.least_cost
            least = np.where(np.isnan(alone), np.inf, alone)
            if kinds == 2:
                least = np.minimum(least, self._pair_core(number, core, months))
            block_least, core_least[at] = np.minimum(block_least, least), least.min()
        most = self.most + SLACK_CENTS
        if not (core_least <= most).any():
            self._drop(number)
            return
        self.core_rows[number] = rows[core_least <= most]
        self.blocks[number] = blocks.take(block_least <= most)

    def _pair_core(self, number: int, core: int, months: list[int]) -> np.ndarray:
        """Least cost of a design of two kinds on a core that contains each block [cents], shape (blocks,)."""
        blocks, table, problem = self.blocks[number], self.cores.table, self.problem
        limit = self._most_of_each(blocks, core)
        needed, harvest = table.needed_wh[core][months], blocks.harvest_wh[:, months]
        both = blocks.built_in[:, None] & blocks.built_in[None, :]
        able = blocks.parallel_ok[:, None] & blocks.parallel_ok[None, :] & ~np.eye(len(blocks), dtype=bool)
        block_least = np.full(len(blocks), np.inf)
        for first in range(1, problem.bounds.controllers):
            with np.errstate(divide="ignore", invalid="ignore"):
                second = np.ones((len(blocks), len(blocks)))
                for month in range(len(months)):
                    rest = np.maximum(needed[month] - first * harvest[:, month], 0.0)
                    second = np.maximum(second, rest[:, None] / np.maximum(harvest[None, :, month], 1e-9))
                short = np.maximum(table.least_a[core] - first * blocks.low_a, 0.0)
                second = np.maximum(second, short[:, None] / np.maximum(blocks.low_a, 1e-9)[None, :])
            second = np.ceil(second * (1 - 1e-7))
            fits = able & (first <= limit)[:, None] & (second <= limit[None, :]) & (first + second <= problem.bounds.controllers)
            fits &= ~both | (first + second <= table.inverter_count[core])
            for column, most in self._resources(core):
                each = blocks.columns[column]
                fits &= first * each[:, None] + second * each[None, :] <= most
            cost = np.where(fits, table.least_cost[core] + first * blocks.least_cost[:, None] + second * blocks.least_cost[None, :], np.inf)
            block_least = np.minimum(block_least, np.minimum(cost.min(axis=0), cost.min(axis=1)))
            i, j = np.unravel_index(int(np.argmin(cost)), cost.shape)
            if cost[i, j] < self.most and not self._terminals and not problem.array.rectangles:
                self._known(number, core, [(int(i), first), (int(j), int(second[i, j]))])
        return block_least

    def _resources(self, core: int) -> list[tuple[str, float]]:
        """Columns of blocks that add up to a limit, with what a core leaves of it."""
        table, problem, enforced = self.cores.table, self.problem, self.screening.enforced
        limits = [("self_w", float(table.room_w[core]))]
        if enforced("maximum-charge-current"):
            limits.append(("high_a", float(table.most_charge_a[core]) * (1 + 1e-7)))
        if problem.array.area_m2 is not None and enforced("array-area"):
            limits.append(("area_m2", problem.array.area_m2))
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            limits.append(("weight_kg", problem.limits.total_kg_max - float(table.weight_total_kg[core])))
        return limits

    def _most_of_each(self, blocks: Table, core: int) -> np.ndarray:
        """How many of each block a core can have, by its controllers, trackers and voltage."""
        table = self.cores.table
        most = np.where(blocks.parallel_ok, float(self.problem.bounds.controllers), 1.0)
        inverter = table.inverter[core]
        same = np.array([inverter >= 0 and part.id == self.cores.inverters[inverter].id for part in self.arrays.parts], dtype=bool)
        most = np.where(blocks.built_in, np.where(same[blocks.device], np.minimum(most, table.inverter_count[core]), 0), most)
        return np.where(blocks.highest_v <= table.ceiling_v[core] * (1 + 1e-7), most, 0)

    def single_kind_counts(self, number: int, core: int) -> np.ndarray:
        """How often each block must be taken on a core if it is the only kind; NaN where it cannot be."""
        blocks, table, problem = self.blocks[number], self.cores.table, self.problem
        needed = table.needed_wh[core]
        with np.errstate(divide="ignore", invalid="ignore"):
            counts = np.where(blocks.harvest_wh > 0, needed[None, :] / blocks.harvest_wh, np.where(needed[None, :] <= 0, 0, np.inf)).max(axis=1)
            counts = np.maximum(counts, table.least_a[core] / blocks.low_a)
            if self._terminals:
                counts = np.maximum(counts, np.where(blocks.terminal_a > 0, table.terminal_a[core] / blocks.terminal_a, np.inf))
            counts = np.maximum(1, np.ceil(counts * (1 - 1e-7)))
        fits = counts <= self._most_of_each(blocks, core)
        for column, limit in self._resources(core):
            fits &= counts * blocks.columns[column] <= limit
        if problem.array.rectangles and self.screening.enforced("array-rectangles"):
            fits &= counts * blocks.modules_each <= rectangle_room(self.needs, self.arrays).sum(axis=0)[blocks.module]
        return np.where(fits, counts, np.nan)

    @property
    def _terminals(self) -> bool:
        return self.problem.dc.loads_on == "controller load terminals" and self.screening.enforced("load-terminal-current")

    # --- pruning

    def _drop(self, number: int) -> None:
        self.blocks.pop(number)
        self.core_rows.pop(number)
        if not self.blocks:
            self.missing = f"The array cannot carry the load: {self.short}." if self.short else "No array and bank fit together."

    def _bounded(self, number: int) -> None:
        """Drop what cannot be part of a design at most as dear as the one that is known."""
        for _ in range(2):
            alive = self._core_bounds(number) <= self.most + SLACK_CENTS
            alive &= self._reachable(number)
            if not alive.any():
                self._drop(number)
                return
            self.core_rows[number] = self.core_rows[number][alive]
            if not np.isfinite(self.most):
                return
            cores, blocks, rate = self._rows(number), self.blocks[number], self._rates(number)
            bound = blocks.least_cost + cores.least_cost.min()
            if np.isfinite(rate).all():
                weight = cores.needed_wh * rate
                for month in set(np.argmax(weight, axis=1).tolist()):
                    at = completion_bound(blocks.least_cost, blocks.harvest_wh[:, month], cores.least_cost, cores.needed_wh[:, month], rate[month])
                    bound = np.maximum(bound, at)
            alive = bound <= self.most + SLACK_CENTS
            if not alive.any():
                self._drop(number)
                return
            self.blocks[number] = blocks.take(alive)

    def _reachable(self, number: int) -> np.ndarray:
        """Cores whose need the blocks can meet at all within area, controllers and charge current."""
        blocks, problem = self.blocks[number], self.problem
        within = f"{problem.bounds.controllers} controllers, our bound, harvest"
        alive = self._met_by(number, problem.bounds.controllers * blocks.harvest_wh.max(axis=0)[None, :], within)
        if problem.array.area_m2 is not None and self.screening.enforced("array-area"):
            each = (blocks.harvest_wh / blocks.area_m2[:, None]).max(axis=0)
            alive &= self._met_by(number, problem.array.area_m2 * each[None, :], f"{problem.array.area_m2:g} m2 of modules harvest")
        if self.screening.enforced("maximum-charge-current"):
            each = (blocks.harvest_wh / np.maximum(blocks.high_a, 1e-9)[:, None]).max(axis=0)
            most = self._rows(number).most_charge_a[:, None] * each[None, :]
            alive &= self._met_by(number, most, "as much array as the bank may be charged by harvests")
        return alive

    def _met_by(self, number: int, most_wh: np.ndarray, what: str) -> np.ndarray:
        """Cores whose need stays within a harvest in every month; where none does, the month that is shortest."""
        needed = self._rows(number).needed_wh
        fits = np.asarray((needed <= most_wh * (1 + 1e-6) + 1e-6).all(axis=1))
        if not fits.all():
            share = most_wh / np.maximum(needed, 1e-9)
            row, month = np.unravel_index(int(np.argmin(np.where(share.min(axis=1) == share.min(axis=1).max(), 0, 1)[:, None] + share)), share.shape)
            example = f"in {MONTHS[int(self.needs.months[month])]} {what} at most {100 * share[row, month]:.0f} % of what is needed"
            self.screening.lost("monthly-balance", int((~fits).sum()), int(fits.sum()), example)
            if not fits.any():
                self.short = example
        return fits

    def _undominated_blocks(self, cores: Table, blocks: Table) -> np.ndarray:
        problem, enforced = self.problem, self.screening.enforced
        controllers = problem.bounds.controllers
        smaller: list[np.ndarray] = []
        # Months in which every block and every core is at least as well off as in another say nothing more.
        months = telling_months(blocks.harvest_wh, cores.needed_wh)
        smaller += [-np.minimum(blocks.harvest_wh[:, m], cores.needed_wh[:, m].max()) for m in months]
        smaller.append(-np.minimum(blocks.low_a, cores.least_a.max()))
        if enforced("maximum-charge-current") and self._current_matters(cores, blocks):
            smaller.append(blocks.high_a)
        if (blocks.highest_v.max() > cores.ceiling_v).any():
            smaller.append(blocks.highest_v)
        if (controllers * blocks.self_w.max() > cores.room_w).any():
            smaller.append(blocks.self_w)
        smaller.append((~blocks.parallel_ok).astype(float))
        for part in np.unique(blocks.device[blocks.built_in]):
            smaller.append((blocks.built_in & (blocks.device == part)).astype(float))
        if self._terminals:
            smaller.append(-np.minimum(blocks.terminal_a, cores.terminal_a.max()))
        if problem.array.area_m2 is not None and enforced("array-area"):
            smaller.append(blocks.area_m2)
        if problem.array.rectangles and enforced("array-rectangles"):
            smaller += [np.where(blocks.module == m, blocks.modules_each, 0).astype(float) for m in np.unique(blocks.module)]
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            smaller.append(blocks.weight_kg)
        pieces = [dict(block_pieces(self.arrays, blocks, row)) for row in range(len(blocks))] if self.stock.special or self._beside else []
        kinds = 2 * self.stock.prices.distinct_cents
        arrays_, limit = self.arrays, np.nan_to_num(blocks.limit_a, nan=-1.0)
        devices, modules = _id_ranks([part.id for part in arrays_.parts]), _id_ranks([module.id for module in arrays_.modules])
        order = (limit, blocks.strings, blocks.series, modules[blocks.module], devices[blocks.device], blocks.pieces)
        return self._undominated(blocks, smaller, pieces, order, kinds)

    def _undominated_cores(self, cores: Table, blocks: Table) -> np.ndarray:
        problem, enforced = self.problem, self.screening.enforced
        smaller = [cores.needed_wh[:, m] for m in telling_months(blocks.harvest_wh, cores.needed_wh)]
        smaller += [cores.least_a, -np.minimum(cores.room_w, problem.bounds.controllers * blocks.self_w.max())]
        if enforced("maximum-charge-current"):
            smaller.append(-np.minimum(cores.most_charge_a, problem.bounds.controllers * blocks.high_a.max()))
        smaller.append(-np.minimum(cores.ceiling_v, blocks.highest_v.max()))
        for part in np.unique(blocks.device[blocks.built_in]):
            inverter_id = self.arrays.parts[part].id
            same = np.array([inverter.id == inverter_id for inverter in self.cores.inverters], dtype=bool)[cores.inverter] & (cores.inverter >= 0)
            smaller.append(-np.where(same, cores.inverter_count, 0).astype(float))
        if self._terminals:
            smaller.append(cores.terminal_a)
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            smaller.append(cores.weight_total_kg)
        special = Cores(cores, self.cores.classes, self.cores.batteries, self.cores.inverters, self.cores.ways)
        pieces = [dict(special.pieces(row)) for row in range(len(cores))] if self.stock.special or self._beside else []
        keys = [special.key(row) for row in range(len(cores))]
        rank = np.empty(len(cores), dtype=int)
        rank[sorted(range(len(cores)), key=keys.__getitem__)] = np.arange(len(cores))
        return self._undominated(cores, smaller, pieces, (rank, cores.pieces), 5 * self.stock.prices.distinct_cents)

    def _undominated(self, table: Table, smaller: list[np.ndarray], pieces: list[dict[str, int]], order: Sequence[np.ndarray], kinds_cents: int) -> np.ndarray:
        """Dominance with owned, limited, demanded and packed parts compared piece by piece."""
        cost = table.cost.astype(float)
        replaced = cost - kinds_cents
        for part_id in sorted(self.stock.special):
            used = np.array([piece.get(part_id, 0) for piece in pieces], dtype=float)
            if not used.any():
                continue
            # Equal use is the one comparison that holds for packs, owned pieces, stock and demands alike.
            smaller += [used, -used]
        budget = self.stock.prices.budget_cents
        if budget is not None and self._beside:
            smaller.append(table.bill_cost.astype(float))
        rank = np.empty(len(table), dtype=int)
        rank[np.lexsort(order)] = np.arange(len(table))
        return undominated(cost, replaced, np.column_stack(smaller), rank)

    def _current_matters(self, cores: Table, blocks: Table) -> bool:
        """Whether money could buy more charge current than some core stands."""
        controllers = self.problem.bounds.controllers
        if (controllers * blocks.high_a.max() <= cores.most_charge_a).all():
            return False
        if not np.isfinite(self.most) or self.stock.owned:
            return True
        each = float((blocks.high_a / np.maximum(blocks.least_cost, 1e-9)).max())
        return bool(((self.most + SLACK_CENTS - cores.least_cost) * each > cores.most_charge_a).any())


def _id_ranks(ids: list[str]) -> np.ndarray:
    """Place of each id in the order of all."""
    rank = np.empty(len(ids), dtype=int)
    rank[np.argsort(np.array(ids), kind="stable")] = np.arange(len(ids))
    return rank


def telling_months(harvest_wh: np.ndarray, needed_wh: np.ndarray) -> list[int]:
    """Months of use that are not implied by another month: there every block gives at least as much for at most the need."""
    months = list(range(needed_wh.shape[1]))
    for month in list(months):
        for other in months:
            if other != month and (harvest_wh[:, month] >= harvest_wh[:, other]).all() and (needed_wh[:, month] <= needed_wh[:, other]).all():
                months.remove(month)
                break
    return months


def rectangle_room(needs: Needs, arrays_: Arrays) -> np.ndarray:
    """Modules of each kind that fit each free rectangle, shape (rectangles, modules)."""
    gap = needs.problem.array.gap_m
    length, width = arrays_.panels.length_mm / 1000, arrays_.panels.width_mm / 1000
    return np.array([array.modules_in_rectangle(a, b, length, width, gap) for a, b in needs.problem.array.rectangles])
