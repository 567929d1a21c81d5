"""The mixed-integer program.

Sets
    C            power cores (bank, inverters, converters), K(c) the bank class of a core
    B            charging blocks (controller and its array, on one plane), K(b) the bank class of a block
    M, S         months of use; seasons
    P            parts with an inventory: owned, limited, demanded, in packs, in kits that may save

Variables
    x[c] in {0,1}      core c is chosen
    n[b] in Z, >= 0    how many of block b
    y[b] in {0,1}      block b is used
    c[k] in [0,1]      class k is that of the core
    alone in [0,1]     the one controller shares no bank
    k[p] in Z, >= 0    packs bought of part p
    q[i] in Z, >= 0    kits bought of kit i
    d[p] in {0,1}      part p is used at all (only with a price on distinct parts)
    z[r,m] in {0,1}    free rectangle r holds modules of kind m (only with rectangles)
    g[s,m] >= 0        energy a day that source s brings in month m (only with a generator in the design)

Objective: money in whole cents
    min  sum cost'[c] x[c] + sum cost'[b] n[b] + sum price[p] pack[p] k[p] + sum price[i] q[i] + price_distinct sum d[p]
    where cost' leaves out the parts of P; with the life-cycle objective it holds what replacements count today;
    + sum fuel[s,m] g[s,m], what fuel and service count today.

Constraint families, each one function below; every constraint is named family__index
    one_core      exactly one core
    class_link    blocks only of the class of the core
    use_link      n[b] <= N y[b], N the bound on controllers
    kinds         at most so many kinds of block
    controllers   at most N controllers in all
    exclusive     a controller that shares no bank is alone
    energy        harvest of the blocks + what the source brings >= need of the core; harvest >= what the source leaves to it, every month of use
    spare         harvest with any one controller out >= need of the critical loads, every month of use
    self_use      controllers' own use <= what the autonomy leaves
    least_charge  current at absorption >= what the bank asks for
    most_charge   current at most <= what the bank stands
    ceiling       no block above the voltage that inverter and loads stand
    trackers      built-in trackers used <= inverters of that model
    terminals     load terminals >= DC loads
    area, rectangles (of every plane), weight, budget
    inventory     pack k + owned + those in kits >= pieces; pieces and kits bought <= stock; at most, at least
    distinct      d[p] >= x[c], y[b] that use p
    source        g[s,m] <= what source s may bring; its year within what the solar share leaves (only with a generator in the design)
    known_kind    no design of a kind that was found before (only for the next-best that differ in kind)
    beaten        arrays that give more than is known to be too little (only with a loss-of-load limit)
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pulp

from optimizer.choice.candidate_set import Candidates
from optimizer.choice.dominance import telling_months
from optimizer.choice.feeding import Feeding
from optimizer.choice.hours import Beaten
from optimizer.choice.planes import areas
from optimizer.choice.rectangles import rectangle_rooms
from optimizer.choice.solver import Solved, run
from optimizer.inputs.kits import Kit
from optimizer.rules.book import TOLERANCE

BEATEN_SLACK = 2e-6
"""What the solver's tolerance may take from a row, twice: a design that reaches the least exactly is not cut off."""


@dataclass
class Program:
    """The program of some candidates; solved again and again with cuts and with other objectives."""

    candidates: Candidates
    left_out: frozenset[str] = frozenset()
    model: Any = field(init=False)
    x: list[Any] = field(init=False)
    n: list[Any] = field(init=False)
    y: list[Any] = field(init=False)
    packs: dict[str, Any] = field(init=False)
    kits: dict[str, Any] = field(init=False)
    cost: Any = field(init=False)
    rows: int = field(init=False, default=0)
    _kits: list[Kit] = field(init=False)
    _cuts: int = field(init=False, default=0)

    def __post_init__(self) -> None:
        cores, blocks = self.candidates.cores.table, self.candidates.blocks
        self.most = self.candidates.needs.problem.bounds.controllers
        self.model = pulp.LpProblem("design", pulp.LpMinimize)
        add = self.model.add_variable
        self.x = [add(f"x{c}", 0, 1, cat="Binary") for c in range(len(cores))]
        self.n = [add(f"n{b}", 0, self.most, cat="Integer") for b in range(len(blocks))]
        self.y = [add(f"y{b}", 0, 1, cat="Binary") for b in range(len(blocks))]
        self.packs, self.kits = {}, {}
        self._kits = self.candidates.stock.kits(self.candidates.part_ids())
        self._usage = self._special_usage()
        self.feeding = Feeding(self)
        self.cost = self._objective()
        self.model += self.cost
        families: dict[str, Callable[[], None]] = {
            "one_core": self._one_core, "class_link": self._class_link, "use_link": self._use_link, "kinds": self._kinds,
            "controllers": self._controllers, "exclusive": self._exclusive, "energy": self._energy, "spare": self._spare, "self_use": self._self_use,
            "least_charge": self._least_charge, "most_charge": self._most_charge, "ceiling": self._ceiling,
            "trackers": self._trackers, "terminals": self._terminals, "area": self._area, "rectangles": self._rectangles,
            "weight": self._weight, "budget": self._budget, "inventory": self._inventory, "known_kind": self._known_kinds,
            "source": self.feeding.rows,
        }
        for name, family in families.items():
            if name not in self.left_out:
                family()

    # --- helpers

    def _enforced(self, rule_id: str) -> bool:
        return self.candidates.needs.severities.enforced(rule_id)

    def row(self, family: str, constraint: Any) -> None:
        """One more constraint of a family."""
        self.model += (constraint, f"{family}__{self.rows}")
        self.rows += 1

    def of_cores(self, values: np.ndarray, rows: np.ndarray) -> Any:
        """Sum of values[c] x[c]."""
        return pulp.lpSum(float(values[c]) * self.x[c] for c in rows if values[c] != 0)

    def of_blocks(self, values: np.ndarray, rows: np.ndarray) -> Any:
        """Sum of values[b] n[b]."""
        return pulp.lpSum(float(values[b]) * self.n[b] for b in rows if values[b] != 0)

    def _classes(self) -> list[tuple[np.ndarray, np.ndarray]]:
        cores, blocks = self.candidates.cores.table.bank_class, self.candidates.blocks.bank_class
        return [(np.nonzero(cores == k)[0], np.nonzero(blocks == k)[0]) for k in np.unique(cores)]

    def _special_usage(self) -> dict[str, tuple[np.ndarray, np.ndarray]]:
        """Pieces of each special part in each core and block."""
        found = self.candidates
        special = found.stock.special | (set(found.stock.packed(self._kits)) & found.part_ids())
        if not special:
            return {}
        used = {part: (np.zeros(len(self.x)), np.zeros(len(self.n))) for part in sorted(special)}
        for c in range(len(self.x)):
            for part, pieces in found.cores.pieces(c):
                if part in used:
                    used[part][0][c] += pieces
        for b in range(len(self.n)):
            for part, pieces in found.block_pieces(b):
                if part in used:
                    used[part][1][b] += pieces
        return used

    # --- objective and families

    def _objective(self) -> Any:
        """Money: candidates without their special parts, packs and kits bought, distinct parts."""
        found, stock = self.candidates, self.candidates.stock
        core_cost, block_cost = found.cores.table.cost.astype(float), found.blocks.cost.astype(float)
        terms = []
        for part, (in_cores, in_blocks) in self._usage.items():
            each = stock.bill_cents(part)
            core_cost, block_cost = core_cost - in_cores * each, block_cost - in_blocks * each
            pack = stock.part(part).pack_qty
            self.packs[part] = self.model.add_variable(f"k{len(self.packs)}", 0, None, cat="Integer")
            terms.append(each * pack * self.packs[part])
        for kit in self._kits:
            self.kits[kit.id] = self.model.add_variable(f"q{len(self.kits)}", 0, None, cat="Integer")
        terms += [*self._kit_terms(), *self._distinct_terms(), *self.feeding.cost()]
        everything = np.arange(len(self.x)), np.arange(len(self.n))
        return self.of_cores(core_cost, everything[0]) + self.of_blocks(block_cost, everything[1]) + pulp.lpSum(terms)

    def _kit_terms(self) -> list[Any]:
        """What the kits cost, with their freight."""
        prices = self.candidates.stock.prices.kits
        return [prices.bought_cents(prices.offered[kit]) * bought for kit, bought in self.kits.items()]

    def _distinct_terms(self) -> list[Any]:
        """A price on each part number that is used at all."""
        found, price = self.candidates, self.candidates.stock.prices.distinct_cents
        if not price:
            return []
        used: dict[str, list[Any]] = {}
        for c in range(len(self.x)):
            for part, _ in found.cores.pieces(c):
                used.setdefault(part, []).append(self.x[c])
        for b in range(len(self.n)):
            for part, _ in found.block_pieces(b):
                used.setdefault(part, []).append(self.y[b])
        terms = []
        for at, (_, variables) in enumerate(sorted(used.items())):
            present = self.model.add_variable(f"d{at}", 0, 1, cat="Binary")
            for variable in variables:
                self.row("distinct", present - variable >= 0)
            terms.append(price * present)
        return terms

    def _one_core(self) -> None:
        """sum x = 1."""
        self.row("one_core", pulp.lpSum(self.x) == 1)

    def _class_link(self) -> None:
        """y[b] <= c[k], c[k] = sum of x over the cores of class k; a used block is there at least once."""
        for at, (cores, blocks) in enumerate(self._classes()):
            chosen = self.model.add_variable(f"c{at}", 0, 1)
            self.row("class_link", chosen - pulp.lpSum(self.x[c] for c in cores) == 0)
            for b in blocks:
                self.row("class_link", self.y[b] - chosen <= 0)
                self.row("class_link", self.n[b] - self.y[b] >= 0)

    def _use_link(self) -> None:
        """n[b] <= N y[b]."""
        for n, y in zip(self.n, self.y, strict=True):
            self.row("use_link", n - self.most * y <= 0)

    def _kinds(self) -> None:
        """1 <= sum y <= kinds of array."""
        self.row("kinds", pulp.lpSum(self.y) <= self.candidates.needs.problem.bounds.array_kinds)
        self.row("kinds", pulp.lpSum(self.y) >= 1)

    def _controllers(self) -> None:
        """sum n <= N."""
        self.row("controllers", pulp.lpSum(self.n) <= self.most)

    def _exclusive(self) -> None:
        """alone >= y[b] for every block whose controller shares no bank; sum n + (N - 1) alone <= N."""
        single = np.nonzero(~self.candidates.blocks.parallel_ok)[0]
        if not len(single):
            return
        alone = self.model.add_variable("alone", 0, 1)
        for b in single:
            self.row("exclusive", alone - self.y[b] >= 0)
        self.row("exclusive", pulp.lpSum(self.n) + (self.most - 1) * alone <= self.most)

    def _energy(self) -> None:
        """sum harvest[b,m] n[b] + g[s,m] >= sum need[c,m] x[c], in shares of the class's greatest need."""
        needed, harvest = self.candidates.cores.table.needed_wh, self.candidates.blocks.harvest_wh
        # What is missing is paid for to the last watt-hour: only the rows of cores without a source take the tolerance.
        tolerance = np.where(self.candidates.cores.table.feed >= 0, 0.0, TOLERANCE) if self.candidates.cores.fed else TOLERANCE
        for cores, blocks in self._classes():
            for month in telling_months(harvest[blocks], needed[cores]) if not self.candidates.cores.fed else range(needed.shape[1]):
                scale = max(1.0, float(needed[cores, month].max()))
                # Harvest above the greatest need is worth nothing: capped, the relaxation is tighter.
                least, given = needed[:, month] * (1 - tolerance) / scale, np.minimum(harvest[:, month] / scale, 1.0)
                brought = pulp.lpSum(self.feeding.scale_wh / scale * column for column in self.feeding.brought(cores, month))
                self.row("energy", self.of_blocks(given, blocks) + brought - self.of_cores(least, cores) >= 0)
            self.feeding.floors(cores, blocks)

    def _spare(self) -> None:
        """sum harvest[b,m] n[b] - harvest[a,m] y[a] >= sum spare[c,m] x[c], for every block a."""
        table, harvest = self.candidates.cores.table, self.candidates.blocks.harvest_wh
        if "spare_wh" not in table.columns:
            return
        for cores, blocks in self._classes():
            for month in range(harvest.shape[1]):
                scale = max(1.0, float(table.spare_wh[cores, month].max()))
                given, least = harvest[:, month] / scale, table.spare_wh[:, month] * (1 - TOLERANCE) / scale
                whole, asked = self.of_blocks(given, blocks), self.of_cores(least, cores)
                for block in blocks:
                    self.row("spare", whole - float(given[block]) * self.y[block] - asked >= 0)

    def _self_use(self) -> None:
        """sum self_w n <= room of the core."""
        room, own = self.candidates.cores.table.room_w, self.candidates.blocks.self_w
        for cores, blocks in self._classes():
            if np.isfinite(room[cores]).all():
                self.row("self_use", self.of_blocks(own, blocks) - self.of_cores(room, cores) <= 0)

    def _least_charge(self) -> None:
        """sum low_a n >= what the bank asks for and daytime loads take."""
        least, low = self.candidates.cores.table.least_a, self.candidates.blocks.low_a
        for cores, blocks in self._classes():
            if (least[cores] > 0).any():
                self.row("least_charge", self.of_blocks(low, blocks) - self.of_cores(least * (1 - TOLERANCE), cores) >= 0)

    def _most_charge(self) -> None:
        """sum high_a n <= what the bank stands."""
        if not self._enforced("maximum-charge-current"):
            return
        most, high = self.candidates.cores.table.most_charge_a, self.candidates.blocks.high_a
        for cores, blocks in self._classes():
            self.row("most_charge", self.of_blocks(high, blocks) - self.of_cores(most * (1 + TOLERANCE), cores) <= 0)

    def _ceiling(self) -> None:
        """A block above a core's ceiling and that core are not chosen together: one row a level."""
        ceiling, highest = self.candidates.cores.table.ceiling_v, self.candidates.blocks.highest_v
        for cores, blocks in self._classes():
            for level in np.unique(highest[blocks]):
                stand = [self.x[c] for c in cores if ceiling[c] * (1 + TOLERANCE) >= level]
                above = [self.y[b] for b in blocks if highest[b] >= level]
                if len(stand) < len(cores):
                    for y in above:
                        self.row("ceiling", y - pulp.lpSum(stand) <= 0)

    def _trackers(self) -> None:
        """sum of built-in trackers of a model <= inverters of that model."""
        found, table = self.candidates, self.candidates.cores.table
        blocks = found.blocks
        if not len(self.n):
            return
        for device in np.unique(blocks.device[blocks.built_in]):
            model = found.arrays.parts[device].id
            there = pulp.lpSum(
                int(table.inverter_count[c]) * self.x[c]
                for c in range(len(self.x)) if table.inverter[c] >= 0 and found.cores.inverters[table.inverter[c]].id == model
            )
            used = [b for b in range(len(self.n)) if blocks.built_in[b] and blocks.device[b] == device]
            self.row("trackers", pulp.lpSum(self.n[b] for b in used) - there <= 0)

    def _terminals(self) -> None:
        """sum terminal_a n >= DC loads."""
        found = self.candidates
        if found.needs.problem.dc.loads_on != "controller load terminals" or not self._enforced("load-terminal-current"):
            return
        able = np.minimum(found.blocks.terminal_a, 1e6)
        for cores, blocks in self._classes():
            self.row("terminals", self.of_blocks(able, blocks) - self.of_cores(found.cores.table.terminal_a * (1 - TOLERANCE), cores) >= 0)

    def _area(self) -> None:
        """sum area n <= area, on every plane."""
        if self._enforced("array-area") and len(self.n):
            for column, _, area in areas(self.candidates.needs):
                self.row("area", self.of_blocks(self.candidates.blocks.columns[column], np.arange(len(self.n))) <= area * (1 + TOLERANCE))

    def _rectangles(self) -> None:
        """On every plane modules of a kind <= room in the rectangles given to it; a rectangle is given to one kind."""
        found = self.candidates
        if not self._enforced("array-rectangles") or not len(self.n):
            return
        for plane, there in rectangle_rooms(found.needs, found.arrays).items():
            room, on = there.room, found.blocks.plane == plane
            kinds = np.unique(found.blocks.module[on])
            given = [[self.model.add_variable(f"z{plane}_{r}_{m}", 0, 1, cat="Binary") for m in kinds] for r in range(len(room))]
            for row in given:
                self.row("rectangles", pulp.lpSum(row) <= 1)
            for at, m in enumerate(kinds):
                placed = pulp.lpSum(int(room[r, m]) * given[r][at] for r in range(len(room)))
                wanted = self.of_blocks(np.where(on & (found.blocks.module == m), found.blocks.modules_each, 0), np.arange(len(self.n)))
                self.row("rectangles", wanted - placed <= 0)

    def _weight(self) -> None:
        """Weight of core and blocks <= payload."""
        most = self.candidates.needs.problem.limits.total_kg_max
        if most is not None and self._enforced("total-weight"):
            core, block = self.candidates.cores.table.weight_total_kg, self.candidates.blocks.weight_kg
            total = self.of_cores(core, np.arange(len(self.x))) + self.of_blocks(block, np.arange(len(self.n)))
            self.row("weight", total <= most * (1 + TOLERANCE))

    def _budget(self) -> None:
        """Parts and freight <= what the budget leaves after margin and tax."""
        found, stock = self.candidates, self.candidates.stock
        most = stock.prices.budget_cents
        if most is None or not self._enforced("budget"):
            return
        core, block = found.cores.table.bill_cost.astype(float), found.blocks.bill_cost.astype(float)
        bought = []
        for part, (in_cores, in_blocks) in self._usage.items():
            each = stock.bill_cents(part)
            core, block = core - in_cores * each, block - in_blocks * each
            bought.append(each * stock.part(part).pack_qty * self.packs[part])
        total = self.of_cores(core, np.arange(len(self.x))) + self.of_blocks(block, np.arange(len(self.n)))
        self.row("budget", total + pulp.lpSum([*bought, *self._kit_terms()]) <= most)

    def _inventory(self) -> None:
        """pack k + owned + those in kits >= pieces; pack k, kits <= stock; pieces, kits within the limits that the problem sets."""
        stock = self.candidates.stock
        kits = stock.prices.kits
        for kit, bought in self.kits.items():
            if kit in kits.most:
                self.row("inventory", bought <= kits.most[kit])
            if kit in kits.least:
                self.row("inventory", bought >= kits.least[kit])
        for part_id, (in_cores, in_blocks) in self._usage.items():
            part = stock.part(part_id)
            pieces = self.of_cores(in_cores, np.arange(len(self.x))) + self.of_blocks(in_blocks, np.arange(len(self.n)))
            in_kits = pulp.lpSum(kits.offered[kit].contents.get(part_id, 0) * bought for kit, bought in self.kits.items())
            self.row("inventory", part.pack_qty * self.packs[part_id] + in_kits - pieces >= -stock.owned[part_id])
            # The stock of a part that is not special stays out: dominance does not know it (see Stock.broken).
            if part_id in stock.special and part.stock is not None and self._enforced("stock"):
                self.row("inventory", part.pack_qty * self.packs[part_id] <= part.stock)
            if part_id in stock.at_most and self._enforced("part-limit"):
                self.row("inventory", pieces <= stock.at_most[part_id])
            if stock.at_least[part_id] and self._enforced("part-demanded"):
                self.row("inventory", pieces >= stock.at_least[part_id])

    def _known_kinds(self) -> None:
        """For every known kind: core of it + its controllers and formats used + no others used <= all of these - 1."""
        found, kinds = self.candidates, self.candidates.kinds
        if not kinds.forbidden:
            return
        of_cores = kinds.of_cores(found.cores, found.cores.table)
        controllers, formats = kinds.of_blocks(found.arrays, found.blocks)
        used = [self._used(list(words)) for words in (controllers, formats)]
        for core, *wanted in sorted(kinds.forbidden, key=str):
            agrees = [pulp.lpSum(self.x[c] for c, kind in enumerate(of_cores) if kind == core)]
            if any(word not in there for there, words in zip(used, wanted, strict=True) for word in words):
                continue  # a part of that kind is not among the candidates
            for there, words in zip(used, wanted, strict=True):
                agrees += [use if word in words else 1 - use for word, use in there.items() if words]
            self.row("known_kind", pulp.lpSum(agrees) <= len(agrees) - 1)

    def _used(self, words: list[str]) -> dict[str, Any]:
        """A 0/1 variable for each word: whether a block of it is used."""
        there: dict[str, Any] = {}
        for word in sorted(set(words)):
            use = self.model.add_variable(f"w{self.rows}", 0, 1, cat="Binary")
            of_word = [self.y[b] for b, other in enumerate(words) if other == word]
            for y in of_word:
                self.row("known_kind", use - y >= 0)
            self.row("known_kind", use - pulp.lpSum(of_word) <= 0)
            there[word] = use
        return there

    # --- solving

    def solve(self, solver: str, time_limit_s: float, gap: float) -> Solved:
        """Solve as it stands."""
        return run(self.model, solver, time_limit_s, gap)

    def chosen(self) -> tuple[int, list[tuple[int, int]]]:
        """Core and (block, count) pairs of the solution, blocks in the order of their keys."""
        core = max(range(len(self.x)), key=lambda c: float(self.x[c].value() or 0.0))
        counts = [(b, round(float(self.n[b].value() or 0.0))) for b in range(len(self.n))]
        used = [(b, count) for b, count in counts if count]
        return core, sorted(used, key=lambda pair: self.candidates.block_key(pair[0]))

    def forbid(self, core: int, counts: list[tuple[int, int]]) -> None:
        """Cut off one exact choice and nothing else."""
        used = dict(counts)
        escapes = [1 - self.x[core]] + [self.y[b] for b in range(len(self.n)) if b not in used]
        for b, count in counts:
            above = self.model.add_variable(f"a{self._cuts}", 0, 1, cat="Binary")
            below = self.model.add_variable(f"b{self._cuts}", 0, 1, cat="Binary")
            self._cuts += 1
            self.row("cut", self.n[b] - (count + 1) * above >= 0)
            self.row("cut", self.n[b] + (self.most - count + 1) * below <= self.most)
            escapes += [above, below]
        self.row("cut", pulp.lpSum(escapes) >= 1)

    def forbid_beaten(self, beaten: Beaten) -> None:
        """sum share[b] n[b] >= least for the cores that are beaten, in shares of the least."""
        at_stake = np.isin(self.candidates.blocks.bank_class, self.candidates.cores.table.bank_class[beaten.cores])
        share = np.minimum(beaten.share / beaten.least, 1.0)
        more = self.of_blocks(share, np.nonzero(at_stake)[0])
        self.row("beaten", more - (1 - BEATEN_SLACK) * pulp.lpSum(self.x[c] for c in beaten.cores) >= 0)

    def forbid_kinds(self, core: int, used: list[int]) -> None:
        """Cut off a core with exactly this set of kinds of block, whatever their counts."""
        others = [self.y[b] for b in range(len(self.n)) if b not in used]
        self.row("cut", pulp.lpSum([1 - self.x[core], *(1 - self.y[b] for b in used), *others]) >= 1)
