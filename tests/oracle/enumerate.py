"""Every choice within the bounds of a small problem, walked by price: what the program must find, without the program.

Uses the demand, the design with its bill, and the check, and nothing of candidates or program. A choice is made of
a core (bank, inverters, converters) and one or two kinds of block (controllers with their arrays). Price, weight and
pieces of the two halves add up exactly, so halves are priced once and a choice costs the sum.

A half that already breaks two different rules is left out: no choice with it is valid, and none of them is kept out
by one rule alone. Of the other choices up to the best known price every rule of the whole design is judged on arrays
made of the very facts that the check uses; the best choice then stands before the full check itself, and so does a
sample of the others, whose broken rules must be those that the arrays said.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from functools import cached_property
from itertools import chain, product

import numpy as np

from optimizer.bill import PriceList, allowance_counts, block_allowances
from optimizer.circuits.circuit import Circuit
from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, ConverterUse, Design, InverterBank, Source
from optimizer.errors import OutOfRange
from optimizer.inputs.array import Array
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import CONVERTER_RESERVE, Needs
from optimizer.proof.array import BlockFacts, Way, block_facts, block_lines
from optimizer.proof.bank import bank_lines
from optimizer.proof.check import check_design
from optimizer.proof.circuits import busbar_lines, circuit_lines, kept_shares
from optimizer.proof.core import Core, core_lines
from optimizer.proof.lines import Line
from optimizer.proof.mounts import Set, mount_lines
from optimizer.proof.source import Fed, source_lines
from optimizer.proof.whole import Whole, _placed, allowed_pieces, array_area_m2
from optimizer.rules import bank as rules
from optimizer.rules import charging, generating
from optimizer.rules.bank import units_in_series
from optimizer.rules.book import RULES, meets
from optimizer.rules.money import bought_pieces

SAMPLE = 6
"""Choices of each problem whose broken rules, as the arrays have them, are held against the full check."""

HOPELESS_ROWS = 30_000
"""Where nothing is valid: choices judged for each core that one rule keeps out; the valid halves are judged whole."""

OF_THE_INVERTERS = (
    "ac-standard", "stacking", "waveform", "neutral-bond", "continuous-power", "continuous-va", "leg-power", "surge", "bank-current-practice",
    "spare-inverter",
)
"""Rules that look at nothing but the inverters."""

OF_SOURCE_AND_ARRAY = ("generator-hours", "solar-share", "all-sources-current")
"""Rules on a source that look at the array as well."""

BANK_FIELDS = (
    "unit_v", "cells", "absorb_v", "equalise_v", "tcomp_mv_k", "bms", "bms_high_v", "bms_cold_cut_out",
)
"""Battery fields that a block can see of its bank; a test holds them against what the check reads."""


@dataclass(frozen=True)
class Best:
    """The cheapest valid choice of a problem, if there is one, and the rules that alone kept out a cheaper one."""

    cost_cents: int | None
    design: Design | None
    alone: Counter[str]
    """Choices cheaper than the best that break this rule and no other."""
    walked: int


@dataclass
class _Core:
    core: Core
    cost: int
    base: int
    kg: float
    known_mask: int
    """Rules broken that show without looking at bank and inverters together."""
    masks: _Masks
    circuit_lines: list[Line] = field(default_factory=list)
    source: Source | None = None
    wiring: Wiring | None = None

    @cached_property
    def mask(self) -> int:
        bars = busbar_lines(self.bare, self.wiring) if self.wiring is not None and self.wiring.active else []
        return self.known_mask | self.masks.of(core_lines(self.core)) | self.masks.of([*self.circuit_lines, *bars]) | self.masks.of(self.source_lines)

    @cached_property
    def source_lines(self) -> list[Line]:
        """Rules on generator and chargers that look at no array."""
        whole = self.bare
        found = source_lines(whole, Fed(whole, self.source) if self.source is not None else None)
        return [line for line in found if line.rule not in OF_SOURCE_AND_ARRAY]

    @property
    def bare(self) -> Whole:
        """The core without an array."""
        core = self.core
        return Whole(core.needs, core, Design(core.bank, (), core.inverters, core.converters, self.source), ())

    @cached_property
    def fed(self) -> Fed:
        """What its source makes of it."""
        assert self.source is not None
        return Fed(self.bare, self.source)

    @cached_property
    def asks(self) -> _Asks:
        return _Asks.of(self.core)


@dataclass(frozen=True)
class _Asks:
    """What a core asks of its blocks."""

    needed: dict[str, np.ndarray]
    usable: list[tuple[float, float, float, float, float]]
    """By season: days, day's load, usable, stored, deepest share [d, Wh/day, Wh, Wh, 1]."""
    least_a: float
    daytime_a: float
    terminal_a: float

    @classmethod
    def of(cls, core: Core) -> _Asks:
        needs, bank = core.needs, core.bank
        usable = []
        for at, season in enumerate(needs.seasons):
            try:
                able, stored = core.usable(season)
            except OutOfRange:
                continue
            depth = rules.freezing_depth(season.battery_lowest_c, *core.tables.freezing) if bank.is_lead_acid else np.inf
            usable.append((season.autonomy_d, float(core.autonomy_load_wh[at]), able, stored, depth))
        least = -np.inf
        if bank.is_lead_acid:
            factor = core.tables.charge_context[needs.charge_context]
            least = float(charging.minimum_charge_current_a(bank.battery.charge_min_share, factor, bank.battery.capacity_20h_ah, bank.strings))
        terminal = float(np.sum(needs.demand.peak_dc_w / core.supply_efficiency[1:])) / bank.nominal_v
        return cls(core.needed_wh, usable, least, core.daytime_a, terminal)


@dataclass
class _Blocks:
    """Blocks on banks that look the same to them, and what they bring."""

    blocks: list[Block] = field(default_factory=list)
    facts: list[BlockFacts] = field(default_factory=list)
    masks: list[int] = field(default_factory=list)
    least: list[int] = field(default_factory=list)
    """Least that each adds to a design [cents]."""
    circuits: list[tuple[Circuit, ...]] = field(default_factory=list)


@dataclass
class _Combos:
    """Sets of at most two kinds of block with their numbers, the cheapest first."""

    first: np.ndarray
    n: np.ndarray
    second: np.ndarray
    m: np.ndarray
    columns: dict[str, np.ndarray]

    def __len__(self) -> int:
        return len(self.first)


class _Masks:
    """Rules as bits."""

    def __init__(self, needs: Needs) -> None:
        self.severities = needs.severities
        self.bits: dict[str, int] = {}

    def bit(self, rule: str) -> int:
        assert rule in RULES
        at = self.bits.setdefault(rule, len(self.bits))
        assert at < 62, "more rules broken in one problem than bits"
        return 1 << at

    def of(self, lines: list[Line]) -> int:
        mask = 0
        for line in lines:
            if line.fails:
                mask |= self.bit(line.rule)
        return mask

    def enforced(self, rule: str) -> bool:
        return self.severities.enforced(rule)

    def named(self, mask: int) -> set[str]:
        return {rule for rule, at in self.bits.items() if mask >> at & 1}


def one_at_most(mask: int) -> bool:
    """Whether at most one rule is broken."""
    return mask & (mask - 1) == 0


class Walk:
    """All choices of one problem."""

    def __init__(self, problem: Problem, catalog: Catalog) -> None:
        self.problem, self.catalog = problem, catalog
        self.needs = Needs(problem)
        self.prices = PriceList(problem, catalog)
        self.masks = _Masks(self.needs)
        self.best: float = np.inf
        self.found: tuple[_Core, list[tuple[Block, int]]] | None = None
        self.kept_out: dict[int, list[np.ndarray]] = {}
        self.walked = 0
        self.sampled: list[tuple[Design, set[str]]] = []
        self.rng = random.Random(1)
        self.limits = list(allowed_pieces(self.needs, catalog))
        self.demanded = Counter(problem.locks.at_least)
        for own in problem.owned:
            if own.must_use:
                self.demanded[own.part] = max(self.demanded[own.part], self.prices.owned[own.part])
        self._groups: dict[tuple[object, ...], _Blocks] = {}
        self._rooms: dict[tuple[tuple[str, int], ...], int] = {}
        self.most_base = self._most_base()

    # --- price of parts

    def _part_cents(self, part: Part, used: int) -> tuple[int, int]:
        """Objective and bill of so many pieces [cents]."""
        bought = int(bought_pieces(used, self.prices.owned[part.id], part.pack_qty))
        return bought * self.prices.bought_cents(part) + used * self.prices.beside_cents(part), bought * self.prices.bought_cents(part)

    def _most_base(self) -> float:
        """Most that parts and freight may come to [cents]."""
        budget = self.problem.limits.budget
        if budget is None or not self.masks.enforced("budget"):
            return np.inf
        low, high = -1, 10**9
        while low < high:
            middle = (low + high + 1) // 2
            fits = bool(meets(self.prices.total_of(middle)[2] / 100, budget, "at most"))
            low, high = (middle, high) if fits else (low, middle - 1)
        return low

    def _numbers_mask(self, part: Part, used: int) -> int:
        """Stock and limits of one part."""
        mask = 0
        bought = int(bought_pieces(used, self.prices.owned[part.id], part.pack_qty))
        if part.stock is not None and not meets(bought, part.stock, "at most") and self.masks.enforced("stock"):
            mask |= self.masks.bit("stock")
        if self.masks.enforced("part-limit") and any(id_ == part.id and used > most for id_, most in self.limits):
            mask |= self.masks.bit("part-limit")
        return mask

    # --- cores

    def banks(self) -> Iterator[tuple[Bank, int]]:
        for battery, volts in product(self.catalog.batteries, (12, 24, 36, 48)):
            chemistry = self.catalog.chemistry(battery)
            series = units_in_series(volts, battery.cells, chemistry.cells_per_12v)
            for strings in range(1, self.problem.bounds.battery_strings + 1) if series else ():
                bank = Bank(battery, chemistry, volts, series, strings)
                mask = self.masks.of(bank_lines(self.needs, bank)) | self._numbers_mask(battery, bank.units)
                if one_at_most(mask):
                    yield bank, mask

    def inverter_banks(self) -> list[InverterBank]:
        if not self.needs.demand.has_ac:
            return [InverterBank(None)]
        return [InverterBank(None)] + [
            InverterBank(inverter, count) for inverter in self.catalog.inverters for count in range(1, self.problem.bounds.inverters + 1)
        ]

    def converter_ways(self) -> list[tuple[ConverterUse, ...]]:
        demand = self.needs.demand
        ways: list[list[ConverterUse | None]] = []
        for at, volts in enumerate(demand.dc_volts):
            needed = CONVERTER_RESERVE * float(demand.coincident_dc_w[at]) / volts
            ways.append([None, *(ConverterUse(converter, self._least(converter, needed), volts) for converter in self.catalog.converters)])
        return [tuple(use for use in way if use is not None) for way in product(*ways)]

    @staticmethod
    def _least(converter: Converter, needed_a: float) -> int:
        count = 1
        while not meets(converter.output_a * count, needed_a, "at least"):
            count += 1
        return count

    def cores(self) -> list[_Core]:
        banks = list(self.banks())
        if not banks:
            return []
        tables, anywhere = self.catalog.tables, banks[0][0]
        of_inverters = {}
        for inverters in self.inverter_banks():
            lines = core_lines(Core(self.needs, tables, anywhere, inverters, ()))
            own = self.masks.of([line for line in lines if line.rule in OF_THE_INVERTERS])
            if inverters.inverter is not None:
                own |= self._numbers_mask(inverters.inverter, inverters.count)
            if one_at_most(own):
                of_inverters[inverters.inverter.id if inverters.inverter else "", inverters.count] = (inverters, own)
        cores = []
        ways = self.converter_ways()
        for (bank, of_bank), (inverters, own) in product(banks, of_inverters.values()):
            mask = of_bank | own
            if inverters.inverter is not None and inverters.inverter.bank_v != bank.volts and self.masks.enforced("inverter-bank-voltage"):
                mask |= self.masks.bit("inverter-bank-voltage")
            if one_at_most(mask):
                sources = self.sources(bank, inverters)
                cores += [core for way in ways for source in sources if (core := self._core(bank, inverters, way, source, mask)) is not None]
        return sorted(cores, key=lambda core: core.cost)

    def sources(self, bank: Bank, inverters: InverterBank) -> list[Source | None]:
        """No source, and every generator with every number of every charger, in each setting that they can have, and in some that they cannot."""
        found: list[Source | None] = [None]
        if not self.problem.source_in_design:
            return found
        if self.needs.source_h is not None:
            return found + self.visiting(bank, inverters)
        for generator in self.catalog.generators:
            own = inverters.inverter.charge_a * inverters.count if inverters.inverter is not None else 0.0
            ways = [(None, 0, own), *((charger, n, charger.output_a * n) for charger in self.catalog.chargers for n in range(1, self.problem.bounds.chargers + 1))]
            for charger, count, output_a in ways:
                settable = charger is None or charger.current_settable
                most_a = min(output_a, bank.battery.charge_max_a * bank.strings)
                most_set_a = min(most_a, self._room_a(bank, inverters, Source(generator, charger, count, 1.0)))
                steps = self.problem.bounds.charge_limit_steps if settable else (1.0,)
                settings = {round(int(step * most_set_a * 10 + 1e-5) / 10, 6) for step in steps} if settable else {output_a}
                settings |= {beyond for beyond in (round(a, 1) for a in (most_a, 1.05 * most_set_a)) if most_set_a + 0.1 < beyond <= most_a}
                found += [Source(generator, charger, count, a) for a in sorted(settings) if a >= 0.1]
        return found

    def visiting(self, bank: Bank, inverters: InverterBank) -> list[Source | None]:
        """Every number of every charger on alternator or shore power, in each setting; of one that cannot be set its whole output as well."""
        found: list[Source | None] = []
        use = self.problem.source_use
        kinds = self.catalog.alternator_chargers if self.problem.site.other_source == "alternator" else self.catalog.chargers
        ways = [(charger, n, charger.output_a * n) for charger in kinds for n in range(1, self.problem.bounds.chargers + 1)]
        ways = [way for way in ways if isinstance(way[0], AlternatorCharger) or int(way[0].ac) == use.volts]
        if self.problem.site.other_source == "shore" and inverters.inverter is not None and inverters.inverter.charge_a:
            ways.append((None, 0, inverters.inverter.charge_a * inverters.count))
        for charger, count, output_a in ways:
            one = Fed(Whole(self.needs, Core(self.needs, self.catalog.tables, bank, inverters, ()), Design(bank, (), inverters, (), Source(None, charger, count, 1.0)), ()), Source(None, charger, count, 1.0))
            if isinstance(charger, AlternatorCharger):
                idle_a = count * charger.no_load_w / use.volts
                room_a = (0.5 * use.idle_share * use.rated_a - idle_a) / (one.alternator_a - idle_a)
            else:
                room_a = (use.volts * use.rated_a - self.needs.demand.coincident_va) / one.charging_va
            most_a = min(output_a, bank.battery.charge_max_a * bank.strings)
            settable = charger is None or charger.current_settable
            steps = self.problem.bounds.charge_limit_steps if settable else (1.0,)
            settings = {round(int(step * min(most_a, room_a) * 10 + 1e-5) / 10, 6) for step in steps} if settable else {output_a}
            settings |= {round(beyond, 1) for beyond in (most_a, 1.05 * room_a) if settable and room_a + 0.1 < beyond <= most_a}
            found += [Source(None, charger, count, a) for a in sorted(settings) if a >= 0.1]
        return found

    def _room_a(self, bank: Bank, inverters: InverterBank, one_ampere: Source) -> float:
        """Current up to which a generator carries its chargers beside the loads, found from what one ampere asks for."""
        fed = Fed(Whole(self.needs, Core(self.needs, self.catalog.tables, bank, inverters, ()), Design(bank, (), inverters, (), one_ampere), ()), one_ampere)
        by_watts = (fed.gives_va * one_ampere.generator.power_factor - self.needs.demand.coincident_w) / fed.taken_w
        return min((fed.gives_va - fed.loads_va) / fed.charging_va, by_watts)

    def fuel_cents(self, core: _Core, harvest: np.ndarray) -> np.ndarray:
        """What the source of a core burns beside some arrays, as the objective has it [whole cents]."""
        if core.source is None:
            return np.zeros(len(harvest), dtype=np.int64)
        use, generator, fed = self.problem.source_use, core.source.generator, core.fed
        rate = self.problem.life_cycle.discount_pct / 100
        worth = sum((1 + rate) ** -year for year in range(1, round(use.years) + 1))  # whole years, added one by one
        into_wh = np.maximum(fed.needed_wh - harvest, 0.0) @ fed.days
        if generator is None:
            yearly = into_wh / fed.efficiency / 1000 * use.price_per_kwh
        else:
            litres_per_h = float(generating.fuel_l_per_h(fed.charge_w / fed.efficiency, generator.litres_per_kwh, generator.idle_l_per_h))
            yearly = into_wh / fed.charge_w * (litres_per_h * use.fuel_price_per_l + generator.service_per_h)
        price = self.problem.price
        return np.round(100 * yearly * worth / ((1 + price.margin_pct / 100) * (1 + price.tax_pct / 100))).astype(np.int64)

    def _core(self, bank: Bank, inverters: InverterBank, way: tuple[ConverterUse, ...], source: Source | None, mask: int) -> _Core | None:
        kept = kept_shares(self.prices.wiring, Design(bank, (), inverters, way))
        core = Core(self.needs, self.catalog.tables, bank, inverters, way, kept, source is not None)
        for at, volts in enumerate(self.needs.demand.dc_volts):
            use = next((use for use in way if use.load_v == volts), None)
            if use is None and volts != bank.volts and self.masks.enforced("dc-load-on-bank"):
                mask |= self.masks.bit("dc-load-on-bank")
            if use is not None and use.converter.out_v != self.needs.demand.dc_volts[at]:
                mask |= self.masks.bit("converter-output-voltage")
            if use is not None and bank.volts not in use.converter.bank_v:
                mask |= self.masks.bit("converter-input")
        if not one_at_most(mask):
            return None
        design = Design(bank, (), inverters, way, source)
        for part in design.parts:
            mask |= self._numbers_mask(part, design.pieces[part.id])
        mask |= self._core_demands(design) | self._weight_mask(max(part.weight_kg for part in design.parts))
        if not one_at_most(mask):
            return None
        bill = self.prices.bill(design)
        circuits = (*self.prices.wiring.core_circuits(bank, inverters, way), *self.prices.wiring.source_circuits(bank, source))
        lines = circuit_lines(self.needs, self.catalog.tables, circuits, self.prices.wiring)
        return _Core(core, bill.objective_cents, bill.parts_and_freight_cents, bill.weight_kg, mask, self.masks, lines, source, self.prices.wiring)

    def _core_demands(self, design: Design) -> int:
        short = any(
            design.pieces[part_id] < least for part_id, least in self.demanded.items()
            if not isinstance(self.catalog.by_id.get(part_id), Module | Controller)
        )
        return self.masks.bit("part-demanded") if short and self.masks.enforced("part-demanded") else 0

    def _weight_mask(self, heaviest_kg: float) -> int:
        most = self.problem.limits.piece_kg_max
        if most is None or not self.masks.enforced("heaviest-piece") or meets(heaviest_kg, most, "at most"):
            return 0
        return self.masks.bit("heaviest-piece")

    # --- blocks

    def seen(self, bank: Bank) -> tuple[object, ...]:
        """What a block can see of a bank."""
        wiring = self.prices.wiring
        return (*(wiring.seen_of(bank) if wiring.active else ()), bank.volts, bank.series, bank.chemistry.chemistry, *(getattr(bank.battery, name) for name in BANK_FIELDS))

    def blocks(self, bank: Bank, dearest: float) -> _Blocks:
        """Blocks on a bank that break at most one rule and that cost no more than `dearest` [cents]."""
        key = self.seen(bank)
        if key not in self._groups:
            self._groups[key] = _Blocks()
            self._made[key] = -np.inf
        group = self._groups[key]
        for least, block, twins in self._all_blocks:
            if not self._made[key] < least <= dearest:
                continue
            mask = self.masks.of(block_lines(self.needs, self.catalog.tables, bank, block))
            if not one_at_most(mask):
                continue
            mounts = self._mounts_of(block)
            if mounts is None and self.problem.mounting is not None:
                mask |= self.masks.bit("mount-parts")
                if not one_at_most(mask):
                    continue
            for one in (replace(wired, mounts=mounts) for twin in (block, *twins) for wired in self._wired(twin)):
                circuits = self.prices.wiring.block_circuits(bank, one)
                way = Way.of(circuits, self.catalog.tables)
                whole = mask
                if circuits:
                    whole = self.masks.of(block_lines(self.needs, self.catalog.tables, bank, one, "", way)) | self._without_mounts(one)
                    whole |= self.masks.of(circuit_lines(self.needs, self.catalog.tables, circuits, self.prices.wiring))
                    if not one_at_most(whole):
                        continue
                group.blocks.append(one)
                group.facts.append(block_facts(self.needs, bank, one, way))
                group.masks.append(whole)
                group.least.append(least)
                group.circuits.append(circuits)
        self._made[key] = max(self._made[key], dearest)
        return group

    def _wired(self, block: Block) -> list[Block]:
        """A block with every cable that its run may have, whether it may serve or not."""
        if not self.prices.wiring.active:
            return [block]
        return [replace(block, cable=cable) for cable in self.prices.wiring.cables("array")]

    # --- mounts

    def _without_mounts(self, block: Block) -> int:
        """The rule that a block without mounts breaks where mounts are asked for."""
        return self.masks.bit("mount-parts") if block.mounts is None and self.problem.mounting is not None else 0

    def _mounts_of(self, block: Block) -> Set | None:
        """The cheapest set of mounts in one place that the check accepts, of every set of which none is empty: looked at one by one."""
        if self.problem.mounting is None:
            return None
        key = (block.module.id, block.modules_each, block.plane)
        if key not in self._sets:
            sets = [one for place in {mount.place for mount in self.catalog.mounts} for one in self._sets_in(block, place)]
            ranked = [(sum(self._mount_cents(m) * n for m, n in one), sum(round(1000 * m.weight_kg) * n for m, n in one), one) for one in sets]
            self._sets[key] = min(ranked, key=lambda one: one[:2], default=(0, 0.0, None))[2]
        return self._sets[key]

    def _sets_in(self, block: Block, place: str) -> Iterator[Set]:
        able = [mount for mount in self.catalog.mounts if mount.place == place and not self._keeps_out(block, mount)]
        for counts in product(*(range(block.modules_each + 1) for _ in able)):
            taken = tuple((mount, n) for mount, n in zip(able, counts, strict=True) if n)
            enough = sum(mount.modules * n for mount, n in taken) >= block.modules_each >= sum(n for _, n in taken)
            if enough and not any(line.fails for line in mount_lines(self.needs, self.catalog.mounts, block, taken, "")):
                yield taken

    def _keeps_out(self, block: Block, mount: Mount) -> bool:
        """Whether a mount full of these modules, which lies lightest on a roof, breaks a rule: then every set with it does."""
        full = replace(block, series=mount.modules, strings=1)
        return any(line.fails for line in mount_lines(self.needs, self.catalog.mounts, full, ((mount, 1),), ""))

    def _mount_cents(self, mount: Mount) -> int:
        return self.prices.bought_cents(mount) + self.prices.beside_cents(mount)

    @cached_property
    def _sets(self) -> dict[tuple[str, int, str | None], Set | None]:
        return {}

    @cached_property
    def _made(self) -> dict[tuple[object, ...], float]:
        return {}

    @cached_property
    def _all_blocks(self) -> list[tuple[int, Block, tuple[Block, ...]]]:
        """Least price of a block, the block, and the same with charge limits, for every block within the bounds."""
        bounds = self.problem.bounds
        parts: list[Controller | Inverter] = [*self.catalog.controllers, *(i for i in self.catalog.inverters if i.kind == "all-in-one")]
        every = []
        for part, module, series, strings, plane in product(
            parts, self.catalog.modules, range(1, bounds.modules_in_series + 1), range(1, bounds.strings_per_controller + 1), self.needs.planes,
        ):
            block = Block(part, module, series, strings, plane=plane)
            device = block.device
            limits = sorted({round(step * device.output_a, 1) for step in bounds.charge_limit_steps if step < 1})
            able = device.charge_limit_settable and device.kind != "pwm"
            twins = tuple(replace(block, limit_a=limit) for limit in limits) if able else ()
            every.append((self._least_cents(block), block, twins))
        return every

    def _least_cents(self, block: Block) -> int:
        """Least that a block adds to a design: owned pieces are free, packs are shared."""
        each = [(block.module, block.modules_each)] + ([] if block.built_in else [(block.part, 1)])
        cost = sum(n * self.prices.beside_cents(part) for part, n in each)
        cost += sum(n * self.prices.bought_cents(part) for part, n in each if not self.prices.owned[part.id])
        return int(cost + sum(n * self.prices.allowance_cents[per] for per, n in block_allowances(block).items()))

    # --- sets of blocks

    def combos(self, group: _Blocks, dearest: float, kinds: int) -> _Combos:
        """Sets of one kind, or of one and two, that cost at most `dearest` without a core."""
        bounds = self.problem.bounds
        rows = np.arange(len(group.blocks))
        least = np.array(group.least)
        masks = np.array(group.masks, dtype=np.int64)
        chosen = []
        for n in range(1, bounds.controllers + 1):
            alone = rows[n * least <= dearest]
            chosen.append((alone, np.full(len(alone), n), alone, np.zeros(len(alone), dtype=int)))
            for m in range(1, bounds.controllers + 1 - n) if kinds == 2 else ():
                first, second = np.nonzero((n * least[:, None] + m * least[None, :] <= dearest) & (rows[:, None] < rows[None, :]))
                both = masks[first] | masks[second]
                first, second = (axis[both & (both - 1) == 0] for axis in (first, second))
                chosen.append((first, np.full(len(first), n), second, np.full(len(first), m)))
        first, n, second, m = (np.concatenate(columns) for columns in zip(*chosen, strict=True))
        columns = self._columns(group, first, n, second, m)
        ok = (columns["cost"] <= dearest) & (columns["mask"] & (columns["mask"] - 1) == 0)
        order = np.nonzero(ok)[0]
        order = order[np.argsort(columns["cost"][order], kind="stable")]
        return _Combos(first[order], n[order], second[order], m[order], {name: column[order] for name, column in columns.items()})

    def _columns(self, group: _Blocks, first: np.ndarray, n: np.ndarray, second: np.ndarray, m: np.ndarray) -> dict[str, np.ndarray]:
        blocks, facts, prices, masks = group.blocks, group.facts, self.prices, self.masks
        modules, controllers = list(self.catalog.modules), list(self.catalog.controllers)
        trackers = [i.id for i in self.catalog.inverters]
        # one row a block
        module = np.array([modules.index(b.module) for b in blocks], dtype=int)
        panels = np.array([b.modules_each for b in blocks], dtype=int)
        device = np.array([-1 if b.built_in else controllers.index(b.part) for b in blocks], dtype=int)
        tracker = np.array([trackers.index(b.part.id) if b.built_in else -1 for b in blocks], dtype=int)
        allowance = np.array([sum(k * prices.allowance_cents[per] for per, k in block_allowances(b).items()) for b in blocks], dtype=np.int64)
        allowance_base = np.array([sum(k * prices.allowance_bill_cents[per] for per, k in block_allowances(b).items()) for b in blocks], dtype=np.int64)
        allowance_kg = np.array([sum(k * prices.allowance_kg.get(per, 0.0) for per, k in block_allowances(b).items()) for b in blocks])
        circuits = [self._circuits(own) for own in group.circuits]
        allowance, allowance_base = (column + np.array([cents for cents, _ in circuits], dtype=np.int64) for column in (allowance, allowance_base))
        allowance_kg = allowance_kg + np.array([kg for _, kg in circuits])
        mounts = [b.mounts or () for b in blocks]
        allowance = allowance + np.array([sum(self._mount_cents(m) * n for m, n in one) for one in mounts], dtype=np.int64)
        allowance_base = allowance_base + np.array([sum(prices.bought_cents(m) * n for m, n in one) for one in mounts], dtype=np.int64)
        allowance_kg = allowance_kg + np.array([sum(m.weight_kg * n for m, n in one) for one in mounts])
        joints = np.array([b.modules_each + b.strings + (0 if b.built_in else 2) for b in blocks], dtype=int)
        parallel = np.array([b.device.parallel_ok for b in blocks], dtype=bool)
        heavy = np.array([self._weight_mask(max(b.module.weight_kg, b.part.weight_kg)) for b in blocks], dtype=np.int64)
        self_w = np.array([b.device.self_w for b in blocks])
        area = np.array([b.modules_each * array_area_m2(b.module, self.problem.array.gap_m) for b in blocks])
        plane = np.array([self.needs.planes.index(b.plane) for b in blocks], dtype=int)
        own_mask = np.array(group.masks, dtype=np.int64) | heavy

        two = m > 0
        mask = own_mask[first] | np.where(two, own_mask[second], 0)

        def both(column: np.ndarray) -> np.ndarray:
            a, b = column[first], column[second]
            return (a.T * n + b.T * m).T

        cost, base, kg = both(allowance), both(allowance_base), both(allowance_kg)
        cost = cost + prices.connection_cents * both(joints)
        for parts, of, each in ((modules, module, panels), (controllers, device, np.ones(len(blocks), dtype=int))):
            ids = np.where(of[first] >= 0, of[first], -1), np.where(two, of[second], -1)
            used = n * each[first], m * each[second]
            same = ids[0] == ids[1]
            most = int((used[0] + used[1]).max(initial=0))
            table = np.array([[self._part_cents(part, k) for k in range(most + 1)] for part in parts], dtype=np.int64)
            bad = np.array([[self._numbers_mask(part, k) if k else 0 for k in range(most + 1)] for part in parts], dtype=np.int64)
            weight = np.array([part.weight_kg for part in parts])
            for id_, k in ((ids[0], np.where(same, used[0] + used[1], used[0])), (np.where(same, -1, ids[1]), used[1])):
                there = id_ >= 0
                cost = cost + np.where(there, table[id_, k, 0] + prices.distinct_cents, 0)
                base = base + np.where(there, table[id_, k, 1], 0)
                mask |= np.where(there, bad[id_, k], 0)
                kg = kg + np.where(there, weight[id_] * k, 0.0)
            for at, part in enumerate(parts):
                if self.demanded[part.id] and masks.enforced("part-demanded"):
                    total = np.where(ids[0] == at, used[0], 0) + np.where(ids[1] == at, used[1], 0)
                    mask |= np.where(total < self.demanded[part.id], masks.bit("part-demanded"), 0)
        odd = (~parallel[first] | (two & ~parallel[second])) & (n + m > 1)
        if odd.any():
            mask |= np.where(odd, masks.bit("parallel-controllers"), 0)
        for at, site in enumerate(self.needs.arrays):
            if site.area_m2 is not None and masks.enforced("array-area"):
                mask |= np.where(meets(both(np.where(plane == at, area, 0.0)), site.area_m2, "at most"), 0, masks.bit("array-area"))
            if site.rectangles and masks.enforced("array-rectangles"):
                here = np.where(plane == at, module, -1)
                short = self._beyond_rectangles(site, modules, here[first], panels[first] * n, np.where(two, here[second], -1), panels[second] * m)
                mask |= np.where(short, masks.bit("array-rectangles"), 0)
        volts = np.array([f.highest_v for f in facts])
        terminal = np.array([f.load_terminal_a for f in facts])
        if len(terminal) and np.isinf(terminal).any():
            terminal = np.minimum(terminal, 1e9)
        return {
            "cost": cost, "base": base, "kg": kg, "mask": mask, "self_wh": both(self_w) * 24,
            "largest": self._largest(facts, self_w, first, second, two), "harvest": both(np.array([f.harvest_wh for f in facts])) - (both(self_w) * 24)[:, None],
            "low_a": both(np.array([f.low_a for f in facts])), "high_a": both(np.array([f.high_a for f in facts])),
            "terminal_a": both(terminal), "volts": np.maximum(volts[first], np.where(two, volts[second], 0)),
            "tracker": tracker[first], "tracker2": np.where(two, tracker[second], -1),
        }

    @staticmethod
    def _largest(facts: list[BlockFacts], self_w: np.ndarray, first: np.ndarray, second: np.ndarray, two: np.ndarray) -> np.ndarray:
        """Most that one controller of each set harvests, by month."""
        each = np.array([f.harvest_wh for f in facts]) - self_w[:, None] * 24
        return np.maximum(each[first], np.where(two[:, None], each[second], -np.inf))

    def _circuits(self, circuits: tuple[Circuit, ...]) -> tuple[int, float]:
        """Price with freight [cents], and weight [kg], of some circuits."""
        pieces = self.prices.wiring.pieces(circuits)
        parts = [(self.catalog.by_id[part], n) for part, n in pieces.items()]
        return sum(n * self.prices.bought_cents(part) for part, n in parts), sum(n * part.weight_kg for part, n in parts)

    @staticmethod
    def _beyond_rectangles(site: Array, modules: list[Module], a: np.ndarray, n: np.ndarray, b: np.ndarray, m: np.ndarray) -> np.ndarray:
        out = np.zeros(len(a), dtype=bool)
        keys, back = np.unique(np.column_stack([a, n, b, m]), axis=0, return_inverse=True)
        short = np.zeros(len(keys), dtype=bool)
        for row, (one, k, other, l) in enumerate(keys):
            wanted: Counter[str] = Counter()
            shape = {}
            for which, pieces in ((one, k), (other, l)):
                if which >= 0:  # it lies on this plane
                    wanted[modules[which].id] += int(pieces)
                    shape[modules[which].id] = modules[which]
            short[row] = not meets(_placed(site.rectangles, site.gap_m, wanted, shape), sum(wanted.values()), "at least")
        out[:] = short[back.ravel()]
        return out

    # --- judging

    def judge(self, core: _Core, combos: _Combos, group: _Blocks, stop: int) -> None:
        """Every set of blocks up to `stop` on a core."""
        c = combos.columns
        mask = c["mask"][:stop] | core.mask
        rows = np.arange(stop)
        self.walked += stop

        def hold(rule: str, passed: np.ndarray) -> None:
            nonlocal mask, rows
            if passed.all():
                return
            mask = mask | np.where(passed, 0, self.masks.bit(rule))
            few = mask & (mask - 1) == 0
            mask, rows = mask[few], rows[few]

        few = mask & (mask - 1) == 0
        mask, rows = mask[few], rows[few]
        enforced, bank, inverters = self.masks.enforced, core.core.bank, core.core.inverters
        asks = core.asks
        if core.source is not None:
            missing = np.maximum(core.fed.needed_wh - c["harvest"][rows], 0.0)
            if enforced("generator-hours") and core.source.generator is not None:
                hold("generator-hours", meets((missing / core.fed.charge_w).max(axis=1), self.problem.generator.hours_per_day_max, "at most"))
                missing = np.maximum(core.fed.needed_wh - c["harvest"][rows], 0.0)
            if self.problem.balance.minimum_solar_share is not None and enforced("solar-share"):
                share = 1 - missing @ core.fed.days / float(core.fed.needed_wh @ core.fed.days)
                hold("solar-share", meets(share, self.problem.balance.minimum_solar_share, "at least"))
            hold("all-sources-current", meets(c["high_a"][rows] + core.source.charge_a, bank.battery.charge_max_a * bank.strings, "at most"))
        for rule, needed in asks.needed.items():
            if enforced(rule) and (core.source is None or core.source.generator is None):
                harvest = c["harvest"][rows] + core.bare.brought_wh
                worst = np.argmin(harvest / np.maximum(needed, 1e-9), axis=1) if len(rows) else np.zeros(0, dtype=int)
                hold(rule, meets(harvest[np.arange(len(rows)), worst], needed[worst], "at least"))
        if self.problem.redundancy.controllers and enforced("spare-controller"):
            at = self.needs.season_of_month
            asked = core.core.critical_wh[at] / core.core.efficiency[at]
            hold("spare-controller", meets(c["harvest"][rows] - c["largest"][rows], asked, "at least").all(axis=1))
        if self.problem.balance.carry_over:
            if enforced("carry-over"):
                spare, deepest, _ = self._carried(core, c["harvest"][rows])
                hold("carry-over", meets(spare, deepest, "at least"))
            if enforced("carry-over-year"):
                _, _, year = self._carried(core, c["harvest"][rows])
                hold("carry-over-year", meets(year[0], year[1], "at least"))
        for days, load, usable, stored, depth in asks.usable:
            if enforced("autonomy"):
                hold("autonomy", meets(usable, rules.storage_needed_wh(load + c["self_wh"][rows], days), "at least"))
            if bank.is_lead_acid and enforced("freezing-floor"):
                hold("freezing-floor", meets(stored * depth, rules.storage_needed_wh(load + c["self_wh"][rows], days), "at least"))
        if bank.is_lead_acid and enforced("minimum-charge-current"):
            hold("minimum-charge-current", meets(c["low_a"][rows] - asks.daytime_a, asks.least_a, "at least"))
        if enforced("maximum-charge-current"):
            hold("maximum-charge-current", meets(c["high_a"][rows], bank.battery.charge_max_a * bank.strings, "at most"))
        if inverters.inverter is not None and enforced("inverter-dc-window"):
            hold("inverter-dc-window", meets(c["volts"][rows], inverters.inverter.dc_max_v, "at most"))
        feeding = {use.load_v: use.converter for use in core.core.converters}
        for at, volts in enumerate(self.needs.demand.dc_volts):
            ceiling = feeding[volts].in_max_v if volts in feeding else float(self.needs.demand.dc_volts_max[at])
            if enforced("dc-load-upper-voltage"):
                hold("dc-load-upper-voltage", meets(c["volts"][rows], ceiling, "at most"))
        if enforced("tracker-count"):
            hold("tracker-count", self._trackers_there(combos, rows, inverters))
        if self.problem.dc.loads_on == "controller load terminals" and len(self.needs.demand.dc_volts) and enforced("load-terminal-current"):
            hold("load-terminal-current", meets(c["terminal_a"][rows], asks.terminal_a, "at least"))
        most_kg = self.problem.limits.total_kg_max
        if most_kg is not None and enforced("total-weight"):
            hold("total-weight", meets(c["kg"][rows] + core.kg, most_kg, "at most"))
        if self.most_base < np.inf:
            hold("budget", c["base"][rows] + core.base <= self.most_base)
        self._note(core, combos, group, rows, mask)

    def _carried(self, core: _Core, harvest: np.ndarray) -> tuple[float, np.ndarray, tuple[np.ndarray, float]]:
        """A store stepped through two years on every row: what it can carry, what misses at worst, and the year's sums."""
        needs, own = self.needs, core.core
        days = np.array(DAYS_OF_MONTH)[needs.months]
        efficiency = own.efficiency[needs.season_of_month]
        load = own.average_wh[needs.season_of_month] * needs.array_to_load / efficiency
        spare = min((
            (min(usable, stored * depth) if own.bank.is_lead_acid else usable) - d * drawn for d, drawn, usable, stored, depth in core.asks.usable
        ), default=0.0)
        spare = max(spare, 0.0)
        missing, deepest = np.zeros(len(harvest)), np.zeros(len(harvest))
        for month in [*range(len(days)), *range(len(days))]:
            missing = np.maximum(missing - (harvest[:, month] - load[month]) * days[month] * efficiency.max(), 0.0)
            deepest = np.maximum(deepest, missing)
        refill = spare * (1 / own.bank.battery.efficiency_wh - 1)
        return spare, deepest, ((harvest * days).sum(axis=1) / days.sum(), (float((load * days).sum()) + refill) / days.sum())

    def _trackers_there(self, combos: _Combos, rows: np.ndarray, inverters: InverterBank) -> np.ndarray:
        one, other = combos.columns["tracker"][rows], combos.columns["tracker2"][rows]
        n, m = combos.n[rows], combos.m[rows]
        own = next((at for at, i in enumerate(self.catalog.inverters) if inverters.inverter is not None and i.id == inverters.inverter.id), -2)
        passed = np.ones(len(rows), dtype=bool)
        for at in set(one.tolist()) | set(other.tolist()):
            if at >= 0:
                used = np.where(one == at, n, 0) + np.where(other == at, m, 0)
                passed &= used <= (inverters.count if at == own else 0)
        return passed

    def _note(self, core: _Core, combos: _Combos, group: _Blocks, rows: np.ndarray, mask: np.ndarray) -> None:
        if not len(rows):
            return
        costs = combos.columns["cost"][rows] + core.cost + self.fuel_cents(core, combos.columns["harvest"][rows])
        for broken in np.unique(mask[mask > 0]):
            self.kept_out.setdefault(int(broken), []).append(costs[mask == broken])
        if len(self.sampled) < SAMPLE or self.rng.random() < 0.05:
            at = self.rng.randrange(len(rows))
            self._sample(self._design(core, combos, group, int(rows[at])), self.masks.named(int(mask[at])))
        good = np.nonzero(mask == 0)[0]
        if len(good):
            at = good[np.argmin(costs[good])]
            if costs[at] < self.best:
                self.best = int(costs[at])
                self.found = (core, self._kinds(combos, group, int(rows[at])))

    def _sample(self, design: Design, broken: set[str]) -> None:
        if len(self.sampled) < SAMPLE:
            self.sampled.append((design, broken))
        else:
            self.sampled[self.rng.randrange(SAMPLE)] = (design, broken)

    @staticmethod
    def _kinds(combos: _Combos, group: _Blocks, row: int) -> list[tuple[Block, int]]:
        kinds = [(group.blocks[combos.first[row]], int(combos.n[row]))]
        if combos.m[row]:
            kinds.append((group.blocks[combos.second[row]], int(combos.m[row])))
        return kinds

    def _design(self, core: _Core, combos: _Combos, group: _Blocks, row: int) -> Design:
        return design_with(core.core, self._kinds(combos, group, row), core.source)

    # --- the walk

    def result(self) -> Best:
        cores = self.cores()
        self._pass(cores, kinds=1, most_broken=0)
        self.kept_out.clear()
        self._pass(cores, kinds=min(2, self.problem.bounds.array_kinds), most_broken=1)
        alone: Counter[str] = Counter()
        for mask, costs in self.kept_out.items():
            (rule,) = self.masks.named(mask)
            alone[rule] += sum(int((some < self.best).sum()) for some in costs)
        self._hold_samples()
        if self.found is None:
            return Best(None, None, +alone, self.walked)
        design = design_with(self.found[0].core, self.found[1], self.found[0].source)
        report = check_design(design, self.needs, self.catalog, self.prices)
        assert report.valid, f"arrays say valid, the check says {[line.rule for line in report.failures]}"
        assert report.bill.objective_cents == self.best, "price of the halves is not the price of the whole"
        return Best(int(self.best), design, +alone, self.walked)

    def _pass(self, cores: list[_Core], kinds: int, most_broken: int) -> None:
        groups: dict[tuple[object, ...], list[_Core]] = {}
        for core in cores:
            groups.setdefault(self.seen(core.core.bank), []).append(core)
        for members in groups.values():
            able = self._able(members, most_broken)
            first = next(able, None)
            if first is None:
                continue
            group = self.blocks(first.core.bank, self.best - first.cost)
            if not group.blocks:
                continue
            combos = self.combos(group, self.best - first.cost, kinds)
            cost = combos.columns["cost"]
            for core in chain([first], able):
                stop = int(np.searchsorted(cost, self.best - core.cost, side="right"))
                if self.best == np.inf and core.mask:
                    stop = min(stop, HOPELESS_ROWS)
                if stop:
                    self.judge(core, combos, group, stop)

    def _able(self, members: list[_Core], most_broken: int) -> Iterator[_Core]:
        """Cores within the best known price that break no rule, or at most one; `members` by price."""
        for core in members:
            if core.cost + self._cheapest > self.best:
                return
            if core.known_mask.bit_count() <= most_broken and core.mask.bit_count() <= most_broken:
                yield core

    @cached_property
    def _cheapest(self) -> int:
        return min((least for least, _, _ in self._all_blocks), default=0)

    def _hold_samples(self) -> None:
        for design, broken in self.sampled:
            report = check_design(design, self.needs, self.catalog, self.prices)
            said = {line.rule for line in report.failures}
            assert said == broken, f"arrays say {broken}, the check says {said}"


def design_with(core: Core, kinds: list[tuple[Block, int]], source: Source | None = None) -> Design:
    """The design of a core and its blocks."""
    blocks = tuple(replace(b, count=count) for b, count in kinds)
    return Design(core.bank, blocks, core.inverters, core.converters, source)


def best_choice(problem: Problem, catalog: Catalog) -> Best:
    """The cheapest valid choice within the bounds, by looking at all of them."""
    return Walk(problem, catalog).result()


__all__ = ["BANK_FIELDS", "Battery", "Best", "Walk", "allowance_counts", "best_choice"]
