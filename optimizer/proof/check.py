"""Every rule again, on a finished design, from the part records: knows nothing of candidates or of the program."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from optimizer.bill import Bill, PriceList
from optimizer.circuits.circuit import Circuit
from optimizer.circuits.wiring import Wiring
from optimizer.design import Choice, Design, choice_from, design_of
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, SoftStarter
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.inputs.text_tables import raise_if_any
from optimizer.inputs.worn import with_worn_parts
from optimizer.lifecycle import LifeCycle
from optimizer.needs.site import Needs
from optimizer.proof.array import Way, block_lines
from optimizer.proof.bank import bank_lines
from optimizer.proof.circuits import busbar_lines, circuit_lines
from optimizer.proof.core import core_lines
from optimizer.proof.generator import GeneratorPlan, generator_plan
from optimizer.proof.lines import Line, Lines
from optimizer.proof.lived import Loss, Years, has_hours, loss_of
from optimizer.proof.mounts import mount_lines, mounts_name
from optimizer.proof.source import Visits, fed_design, source_lines
from optimizer.proof.whole import Whole, whole_lines


@dataclass(frozen=True)
class Month:
    """Energy balance of one month of use; Wh a day at the battery's terminals."""

    month: str
    sun_h: float
    """On the plane of the array; of several planes the mean, each with the power that lies on it."""
    load_wh: float
    array_wh: float
    """What the array gives for the loads: controllers' own use and battery losses taken off."""
    ratio: float
    left_wh: float | None = None
    """What the bank still carries at the end of the month; None where it carries nothing over [Wh]."""


@dataclass(frozen=True)
class Report:
    """A checked design."""

    design: Design
    whole: Whole
    bill: Bill
    lines: tuple[Line, ...]
    months: tuple[Month, ...]
    prices: PriceList = field(repr=False, compare=False)
    circuits: tuple[Circuit, ...] = ()
    """Every circuit with its cable and devices; empty where allowances stand for them."""
    generator: GeneratorPlan | None = None
    """The generator of the design, or what it asks of the one behind it; None where there is none."""
    visits: Visits | None = None
    """What the alternator or the shore power of the design brings; None where there is none."""
    loss: Loss | None = None
    """What the design left unmet in the years of the problem's limit; None where there is no limit."""

    @cached_property
    def life_cycle(self) -> LifeCycle:
        """Cost over the years; worked out where it is asked for, since most checks are of designs that nobody reads."""
        return self.prices.life_cycle(self.design, self.bill)

    @cached_property
    def lived(self) -> Loss | None:
        """What the design left unmet in lived years, where the problem has a limit or hours; worked out where it is asked for."""
        needs = self.whole.needs
        if self.loss is not None or not has_hours(needs.problem):
            return self.loss
        try:
            return loss_of(self.design, needs, self.prices.wiring)
        except OutOfRange:
            return None  # said by cold-capacity-known

    @property
    def valid(self) -> bool:
        """Whether every hard rule and every requirement holds."""
        return not any(line.fails for line in self.lines)

    @property
    def failures(self) -> tuple[Line, ...]:
        """Lines that make the design not valid."""
        return tuple(line for line in self.lines if line.fails)

    def keeps_margin(self, share: float) -> bool:
        """Whether every enforced rule with a continuous limit stays at least this share of the limit away from it."""
        return all(line.keeps_margin(share) for line in self.lines)

    @property
    def design_month(self) -> Month:
        """Month in which the array is shortest of the load."""
        return min(self.months, key=lambda month: month.ratio)


def months_of(whole: Whole) -> tuple[Month, ...]:
    """Energy balance by month of use."""
    needs, core = whole.needs, whole.core
    at = needs.season_of_month
    load, efficiency = core.average_wh[at], core.efficiency[at]
    given = whole.harvest_wh * efficiency
    left = whole.carried.left_wh if needs.problem.balance.carry_over else [None] * len(needs.months)
    watts = [block.array_w * block.count for block in whole.design.blocks]
    sun_h = needs.plane_sun_h[0]
    if len(needs.planes) > 1:
        sun_h = np.average([needs.sun_h_on(block.plane) for block in whole.design.blocks], axis=0, weights=watts)
    return tuple(
        Month(MONTHS[int(month)], float(sun), float(need), float(got), float(got / need) if need else np.inf, None if rest is None else float(rest))
        for month, sun, need, got, rest in zip(needs.months, sun_h, load, given, left, strict=True)
    )


def check_design(design: Design, needs: Needs, catalog: Catalog, prices: PriceList | None = None, years: Years | None = None) -> Report:
    """Hold a design against every rule. `years`: those of the problem's loss-of-load limit, where they are known already."""
    prices = prices or PriceList(needs.problem, catalog, needs)
    bill, wiring = prices.bill(design), prices.wiring
    whole = Whole.of(needs, catalog, design, wiring)
    fed = fed_design(whole)
    bill = prices.with_running(bill, fed.present_cents) if fed is not None else bill
    lines = bank_lines(needs, design.bank)
    for number, block in enumerate(design.blocks, start=1):
        where = f"array {number}: {block.part.id} with {block.series} x {block.strings} {block.module.id}{block.on_plane}"
        way = Way.of(wiring.block_circuits(design.bank, block), catalog.tables)
        lines += block_lines(needs, catalog.tables, design.bank, block, where, way)
        if prices.mounts.active:
            lines += mount_lines(needs, catalog.mounts, block, prices.mounts.of_block(block), mounts_name(number))
    lines += core_lines(whole.core)
    lines += whole_lines(whole, catalog, bill)
    lines += _starter_lines(needs, catalog)
    lines += _transformer_lines(needs, catalog)
    lines += source_lines(whole, fed)
    circuits = wiring.circuits(design)
    lines += circuit_lines(needs, catalog.tables, circuits, wiring)
    lines += busbar_lines(whole, wiring)
    loss = _loss(design, needs, wiring, years)
    lines += _loss_lines(needs, loss)
    plan = fed.plan() if fed is not None else generator_plan(whole, catalog)
    return Report(design, whole, bill, tuple(lines), months_of(whole), prices, circuits, plan, fed.visits() if fed is not None else None, loss)


def _starter_lines(needs: Needs, catalog: Catalog) -> list[Line]:
    """Rule 70 for the soft starters that are fitted: each before one motor."""
    lines = Lines(needs.severities, "soft starters")
    for load in needs.problem.loads:
        starter = catalog.by_id.get(load.soft_starter or "")
        if isinstance(starter, SoftStarter):
            lines.add("soft-starter-size", starter.va_max, load.running_va, f"{starter.id} before {load.item}")
    return lines.lines


def _transformer_lines(needs: Needs, catalog: Catalog) -> list[Line]:
    """Rule 73 for the autotransformer that is fitted."""
    lines, fitted = Lines(needs.severities, "autotransformer"), needs.problem.inverter.stepped_up
    part = catalog.by_id.get(fitted.part) if fitted is not None else None
    if fitted is not None and isinstance(part, Autotransformer):
        lines.add("autotransformer-size", part.rated_va, fitted.asked_va, f"{part.id}, for hours")
        lines.add("autotransformer-size", part.surge_va, fitted.start_va, f"{part.id}, at the worst start")
    return lines.lines


def _loss(design: Design, needs: Needs, wiring: Wiring, years: Years | None) -> Loss | None:
    if needs.problem.reliability is None or needs.severities.of("loss-of-load") == "off":
        return None
    try:
        return loss_of(design, needs, wiring, years)
    except OutOfRange:
        return None  # said by cold-capacity-known


def _loss_lines(needs: Needs, loss: Loss | None) -> list[Line]:
    """Rule 108: what was lived against the limit."""
    asked = needs.problem.reliability
    if asked is None or loss is None:
        return []
    lived = "the weather file's own year" if loss.seed is None else f"{loss.years:,} years, seed {loss.seed}"
    lines = Lines(needs.severities, f"{'critical loads, ' if asked.critical_only else ''}{lived}")
    lines.add("loss-of-load", loss.hours(critical_only=asked.critical_only), asked.loss_of_load_hours_max)
    return lines.lines


def on_its_planes(choice: Choice, problem: Problem) -> Choice:
    """A choice whose every array names a plane of the problem; where there is one plane it may leave it out. Raises InputError."""
    names = tuple(plane.name for plane in problem.planes)
    listed = ", ".join(names) or "it has none"
    wrong = [
        f"choice: charging {number}: plane '{one.plane}' is not a plane of the problem ({listed})" if one.plane is not None
        else f"choice: charging {number}: plane is required: one of {listed}"
        for number, one in enumerate(choice.charging, start=1)
        if (one.plane not in names if one.plane is not None else len(names) > 1)
    ]
    raise_if_any(wrong)
    only = names[0] if len(names) == 1 else None
    return choice if only is None else choice.model_copy(update={"charging": tuple(one.model_copy(update={"plane": only}) for one in choice.charging)})


def check(choice: Choice | Mapping[str, Any], problem: Problem, catalog: Catalog) -> Report:
    """Hold a choice, from any origin, against every rule.

    choice: the object that `solve` hands over (or a whole answer), as a Choice or as plain data.
    Raises InputError where the choice is not one or names a part that the catalog does not hold.
    """
    if not isinstance(choice, Choice):
        choice = choice_from(choice)
    problem, catalog = with_worn_parts(problem, catalog)
    choice = on_its_planes(choice, problem)
    return check_design(design_of(choice, catalog), Needs(problem), catalog)
