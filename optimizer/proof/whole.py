"""Rules of the whole design: energy, charge current, voltage on the loads, room, weight, money."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import product

import numpy as np

from optimizer.bill import Bill
from optimizer.circuits.wiring import Wiring
from optimizer.design import Design
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import MONTHS
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import Needs
from optimizer.proof.array import BlockFacts, Way, block_facts
from optimizer.proof.circuits import kept_shares
from optimizer.proof.core import Core
from optimizer.proof.lines import Line, Lines
from optimizer.rules import array, balance, charging, money
from optimizer.rules import bank as rules


@dataclass(frozen=True)
class Whole:
    """A design with the facts that its parts add up to."""

    needs: Needs
    core: Core
    design: Design
    facts: tuple[BlockFacts, ...]

    @classmethod
    def of(cls, needs: Needs, catalog: Catalog, design: Design, wiring: Wiring) -> Whole:
        """Facts of a design from the part records."""
        core = Core(needs, catalog.tables, design.bank, design.inverters, design.converters, kept_shares(wiring, design), design.source is not None)
        facts = tuple(
            block_facts(needs, design.bank, block, Way.of(wiring.block_circuits(design.bank, block), catalog.tables)) for block in design.blocks
        )
        return cls(needs, core, design, facts)

    @cached_property
    def self_use_wh(self) -> float:
        """What the controllers take a day [Wh/day]."""
        return sum(block.device.self_w * 24 * block.count for block in self.design.blocks)

    @cached_property
    def harvest_wh(self) -> np.ndarray:
        """Energy a day into the bank, controllers' own use taken off, by month of use [Wh/day]."""
        total = sum(facts.harvest_wh * block.count for facts, block in zip(self.facts, self.design.blocks, strict=True))
        return np.asarray(total - self.self_use_wh)

    @cached_property
    def brought_wh(self) -> np.ndarray:
        """Most that an alternator or shore power in the design brings into the bank, by month of use [Wh/day]; 0 without one."""
        source, hours = self.design.source, self.needs.source_h
        if source is None or hours is None:
            return np.zeros(len(self.needs.months))
        return np.asarray(source.charge_a * self.design.bank.charging_v * hours)

    @cached_property
    def carried(self) -> CarryOver:
        """The store stepped from month to month."""
        return CarryOver.of(self)

    def charge_a(self, kind: str) -> float:
        """Charging current of all blocks together, `low_a` or `high_a` [A]."""
        return float(sum(getattr(facts, kind) * block.count for facts, block in zip(self.facts, self.design.blocks, strict=True)))

    def autonomy_held_d(self, at: int) -> tuple[float, float]:
        """Days without sun that the usable storage carries in a season: at the end of its life, and new [d]."""
        season = self.needs.seasons[at]
        usable, _ = self.core.usable(season)
        held = season.autonomy_d * usable / float(rules.storage_needed_wh(self.core.autonomy_load_wh[at] + self.self_use_wh, season.autonomy_d))
        return held, held / self.needs.problem.autonomy.end_of_life_share

    @property
    def highest_v(self) -> float:
        """Highest voltage on the bank with loads connected [V]."""
        return max(facts.highest_v for facts in self.facts)


@dataclass(frozen=True)
class CarryOver:
    """What a bank carries from month to month, beside what the autonomy keeps."""

    spare_wh: float
    """What it can carry [Wh]."""
    left_wh: np.ndarray
    """What of it is left at the end of each month of use [Wh]."""
    drawn_wh: float
    """Most that is drawn from it; more than it can carry where the months ask too much [Wh]."""
    emptied: int
    emptiest: int
    """Places of the months in which the longest draw begins and ends."""
    year_wh: float
    year_needed_wh: float
    """Harvest over the year, and what loads and refilling ask for [Wh/day]."""

    @classmethod
    def of(cls, whole: Whole) -> CarryOver:
        """Two years, month after month, from a full store."""
        needs, core = whole.needs, whole.core
        at = needs.season_of_month
        efficiency = core.efficiency[at]
        needed = balance.balance_needed_wh(core.average_wh[at], efficiency, needs.array_to_load)
        days = np.array(DAYS_OF_MONTH)[needs.months]
        spare = max(0.0, min(_spare_wh(core, place) for place in range(len(needs.seasons))))
        change = (whole.harvest_wh - needed) * days * float(efficiency.max())
        missing, left, deepest, began, emptied, emptiest = 0.0, np.zeros(len(days)), 0.0, 0, 0, 0
        for step in range(2 * len(days)):
            month = step % len(days)
            if missing <= 0:
                began = month
            missing = max(0.0, missing - float(change[month]))
            left[month] = spare - missing
            if missing > deepest:
                deepest, emptied, emptiest = missing, began, month
        refill = float(balance.refill_wh(spare, core.bank.battery.efficiency_wh))
        share = days / days.sum()
        return cls(spare, left, deepest, emptied, emptiest, float(whole.harvest_wh @ share), float(needed @ share) + refill / float(days.sum()))


def _spare_wh(core: Core, at: int) -> float:
    """What the store holds beyond a season's autonomy [Wh]."""
    season = core.needs.seasons[at]
    try:
        usable, stored = core.usable(season)
    except OutOfRange:
        return 0.0  # said by cold-capacity-known
    if core.bank.is_lead_acid:
        usable = min(usable, stored * float(rules.freezing_depth(season.battery_lowest_c, *core.tables.freezing)))
    return usable - season.autonomy_d * float(core.autonomy_load_wh[at])


def whole_lines(whole: Whole, catalog: Catalog, bill: Bill) -> list[Line]:
    """Rules 5, 29, 30, 36, 41, 46, 52, 53, 59-63, 66, 68, 75, 96, 97, 99, 100, 102-104 and 109."""
    lines = Lines(whole.needs.severities, "whole design")
    _energy(lines, whole)
    _spare_controller(lines, whole)
    _storage(lines, whole)
    _charge_current(lines, whole)
    _voltage(lines, whole)
    _controllers(lines, whole)
    _room(lines, whole, bill)
    _numbers_of_parts(lines, whole, catalog, bill)
    _bounds(lines, whole)
    if whole.needs.problem.limits.budget is not None:
        lines.add("budget", bill.total_cents / 100, whole.needs.problem.limits.budget)
    return lines.lines


def _carry_over(lines: Lines, whole: Whole) -> None:
    carried = whole.carried
    first, last = MONTHS[int(whole.needs.months[carried.emptied])], MONTHS[int(whole.needs.months[carried.emptiest])]
    lines.add("carry-over", carried.spare_wh, carried.drawn_wh, f"{first} to {last}")
    lines.add("carry-over-year", carried.year_wh, carried.year_needed_wh, "the year")


def _energy(lines: Lines, whole: Whole) -> None:
    if whole.needs.problem.balance.carry_over:
        _carry_over(lines, whole)
    source = whole.design.source
    if source is not None and whole.needs.source_h is None:
        return  # array and generator together: the rules on the source say it
    given = whole.harvest_wh + whole.brought_wh
    for rule, needed in whole.core.needed_wh.items():
        worst = int(np.argmin(given / np.maximum(needed, 1e-9)))
        month = MONTHS[int(whole.needs.months[worst])]
        lines.add(rule, given[worst], needed[worst], f"worst month {month}{f', with the {source.kind}' if source is not None else ''}")


def _spare_controller(lines: Lines, whole: Whole) -> None:
    """Each kind of controller with one of them out, in its worst month."""
    needs, core = whole.needs, whole.core
    if not needs.problem.redundancy.controllers:
        return
    at = needs.season_of_month
    needed = balance.balance_needed_wh(core.critical_wh[at], core.efficiency[at], 1.0)
    for facts, block in zip(whole.facts, whole.design.blocks, strict=True):
        left = whole.harvest_wh - (facts.harvest_wh - block.device.self_w * 24)
        worst = int(np.argmin(left - needed))
        lines.add("spare-controller", left[worst], needed[worst], f"one {block.part.id} out, {MONTHS[int(needs.months[worst])]}")


def _storage(lines: Lines, whole: Whole) -> None:
    core = whole.core
    for at, season in enumerate(whole.needs.seasons):
        drawn = float(rules.storage_needed_wh(core.autonomy_load_wh[at] + whole.self_use_wh, season.autonomy_d))
        where = f"season {season.demand.name}, {season.autonomy_d:g} days"
        try:
            usable, stored = core.usable(season)
        except OutOfRange:
            continue  # said by cold-capacity-known
        lines.add("autonomy", usable, drawn, where)
        if core.bank.is_lead_acid:
            depth = rules.freezing_depth(season.battery_lowest_c, *core.tables.freezing)
            lines.add("freezing-floor", stored * depth, drawn, where)


def _charge_current(lines: Lines, whole: Whole) -> None:
    bank, battery = whole.core.bank, whole.core.bank.battery
    if bank.is_lead_acid:
        factor = whole.core.tables.charge_context[whole.needs.charge_context]
        least = float(charging.minimum_charge_current_a(battery.charge_min_share, factor, battery.capacity_20h_ah, bank.strings))
        lines.add("minimum-charge-current", whole.charge_a("low_a") - whole.core.daytime_a, least, whole.needs.charge_context)
    lines.add("maximum-charge-current", whole.charge_a("high_a"), battery.charge_max_a * bank.strings)


def _voltage(lines: Lines, whole: Whole) -> None:
    inverter = whole.design.inverters.inverter
    if inverter is not None:
        lines.add("inverter-dc-window", whole.highest_v, inverter.dc_max_v)
    feeding = {use.load_v: use.converter for use in whole.design.converters}
    for at, volts in enumerate(whole.needs.demand.dc_volts):
        converter = feeding.get(volts)
        ceiling = float(whole.needs.demand.dc_volts_max[at]) if converter is None else converter.in_max_v
        lines.add("dc-load-upper-voltage", whole.highest_v, ceiling, f"DC {volts:g} V loads")


def _controllers(lines: Lines, whole: Whole) -> None:
    design, needs = whole.design, whole.needs
    total = sum(block.count for block in design.blocks)
    if not all(block.device.parallel_ok for block in design.blocks):
        lines.add("parallel-controllers", total, 1)
    for part_id in sorted({block.part.id for block in design.blocks if block.built_in}):
        used = sum(block.count for block in design.blocks if block.part.id == part_id)
        there = design.inverters.count if design.inverters.inverter is not None and design.inverters.inverter.id == part_id else 0
        lines.add("tracker-count", used, there, part_id)
    if needs.problem.dc.loads_on == "controller load terminals" and len(needs.demand.dc_volts):
        able = sum(facts.load_terminal_a * block.count for facts, block in zip(whole.facts, design.blocks, strict=True))
        drawn = float(np.sum(needs.demand.peak_dc_w / whole.core.supply_efficiency[1:])) / design.bank.nominal_v
        lines.add("load-terminal-current", able, drawn)


def _room(lines: Lines, whole: Whole, bill: Bill) -> None:
    limits, design = whole.needs.problem.limits, whole.design
    for plane, site in zip(whole.needs.planes, whole.needs.arrays, strict=True):
        where = "" if plane is None else f"plane '{plane}'"
        wanted: Counter[str] = Counter()
        shape: dict[str, Module] = {}
        for block in design.blocks:
            if block.plane == plane:
                wanted[block.module.id] += block.modules
                shape[block.module.id] = block.module
        if site.area_m2 is not None:
            taken = sum(array_area_m2(shape[part_id], site.gap_m) * n for part_id, n in wanted.items())
            lines.add("array-area", taken, site.area_m2, where)
        if site.rectangles:
            lines.add("array-rectangles", _placed(site.rectangles, site.gap_m, wanted, shape), sum(wanted.values()), where)
    heaviest = max(design.parts, key=lambda part: part.weight_kg)
    if limits.piece_kg_max is not None:
        lines.add("heaviest-piece", heaviest.weight_kg, limits.piece_kg_max, heaviest.id)
    if limits.total_kg_max is not None:
        lines.add("total-weight", bill.weight_kg, limits.total_kg_max)


def array_area_m2(module: Module, gap_m: float) -> float:
    """Area that a module takes with its share of the gaps [m2]."""
    return (module.length_mm / 1000 + gap_m) * (module.width_mm / 1000 + gap_m)


def _placed(rectangles: tuple[tuple[float, float], ...], gap_m: float, wanted: Counter[str], shape: dict[str, Module]) -> int:
    """Most of the wanted modules that fit when each rectangle holds one kind."""
    kinds = sorted(wanted)
    room = {
        part_id: [int(array.modules_in_rectangle(a, b, shape[part_id].length_mm / 1000, shape[part_id].width_mm / 1000, gap_m)) for a, b in rectangles]
        for part_id in kinds
    }
    best = 0
    for given in product(kinds, repeat=len(rectangles)):
        fits = Counter[str]()
        for at, part_id in enumerate(given):
            fits[part_id] += room[part_id][at]
        best = max(best, sum(min(fits[part_id], wanted[part_id]) for part_id in kinds))
    return best


KINDS: tuple[type[Part], ...] = (Module, Battery, Controller, Inverter, Converter, Generator, Charger, AlternatorCharger)


def allowed_pieces(needs: Needs, catalog: Catalog) -> Iterator[tuple[str, int]]:
    """Parts with the most pieces that the problem's locks allow."""
    locks = needs.problem.locks
    kept = [catalog.by_id.get(part_id) for part_id in locks.only]
    for kind in KINDS:
        only = {part.id for part in kept if isinstance(part, kind)}
        if only:
            yield from ((part.id, 0) for part in catalog.parts() if isinstance(part, kind) and part.id not in only)
    yield from ((part_id, 0) for part_id in locks.exclude)
    yield from locks.at_most.items()


def _numbers_of_parts(lines: Lines, whole: Whole, catalog: Catalog, bill: Bill) -> None:
    pieces, problem = Counter(whole.design.pieces), whole.needs.problem
    owned: Counter[str] = Counter()
    for use in bill.kits:
        pieces[use.kit.id] += use.count  # the locks may name a kit, whose id is no part's
        for part_id, each in use.kit.parts:
            owned[part_id] += each * use.count  # had already, as far as buying pieces one by one goes
        if use.kit.stock is not None:
            lines.add("stock", use.count, use.kit.stock, use.kit.id)
    demanded: Counter[str] = Counter(problem.locks.at_least)
    for own in problem.owned:
        owned[own.part] += own.quantity
        if own.must_use:
            demanded[own.part] = max(demanded[own.part], sum(other.quantity for other in problem.owned if other.part == own.part))
    for part in whole.design.parts:
        if part.stock is not None:
            bought = int(money.bought_pieces(pieces[part.id], owned[part.id], part.pack_qty))
            lines.add("stock", bought, part.stock, part.id)
    for part_id, most in allowed_pieces(whole.needs, catalog):
        if pieces[part_id] or most:
            lines.add("part-limit", pieces[part_id], most, part_id)
    for part_id, least in sorted(demanded.items()):
        lines.add("part-demanded", pieces[part_id], least, part_id)


def _bounds(lines: Lines, whole: Whole) -> None:
    design, bounds = whole.design, whole.needs.problem.bounds
    lines.add("bounds", max(block.series for block in design.blocks), bounds.modules_in_series, "modules in series")
    lines.add("bounds", max(block.strings for block in design.blocks), bounds.strings_per_controller, "strings per controller")
    lines.add("bounds", sum(block.count for block in design.blocks), bounds.controllers, "controllers")
    lines.add("bounds", len(design.blocks), bounds.array_kinds, "kinds of array")
    lines.add("bounds", design.bank.strings, bounds.battery_strings, "battery strings")
    if design.inverters.inverter is not None:
        lines.add("bounds", design.inverters.count, bounds.inverters, "inverters")
