"""The best design under each alternative, fully re-optimised, side by side."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from optimizer.answer import Answer, solve
from optimizer.errors import WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section
from optimizer.needs.site import HARVEST_W_M2
from optimizer.proof.check import Report
from optimizer.questions.again import KIND_STEP_X, solve_like
from optimizer.questions.flips import Intervals, flips_along
from optimizer.questions.why_not import highest_price
from optimizer.rules.array import cell_c, power_factor_at_cell

Progress = Callable[[str], None]

SOURCES = ("generator", "alternator", "shore")
"""Sources that stand beside an array, or do not."""

WAYS = ("controller", "voltage", "chemistry", "inverter-kind", "format", *SOURCES)


@dataclass(frozen=True)
class Option:
    """One alternative and its best design."""

    value: str
    answer: Answer

    @property
    def cents(self) -> int | None:
        """Total of its bill; None where it is impossible [cents]."""
        return self.answer.report.bill.paid_cents if self.answer.report else None


@dataclass(frozen=True)
class Flip:
    """Price of one part up to which the cheapest alternative stays the cheapest [cents]."""

    part: str
    cents: int
    winner: str
    follower: str


@dataclass(frozen=True)
class Versus:
    """Alternatives in the order of their price, the impossible ones last."""

    by: str
    options: tuple[Option, ...]
    free: Answer
    """The answer with nothing left out: it may mix alternatives."""
    flips: tuple[Flip, ...]
    intervals: tuple[Intervals, ...] = ()
    """Winners along whole axes; only where they were asked for."""

    @property
    def cheapest(self) -> Option | None:
        """The cheapest alternative, if any is possible."""
        return self.options[0] if self.options and self.options[0].cents is not None else None


def kinds_of(catalog: Catalog, by: str) -> dict[str, set[str]]:
    """Parts of each alternative, by what tells them apart."""
    kinds: dict[str, set[str]] = {}

    def put(kind: str, part: Part) -> None:
        kinds.setdefault(kind, set()).add(part.id)

    if by == "controller":
        for controller in catalog.controllers:
            put(controller.kind, controller)
        for inverter in catalog.inverters:
            if inverter.kind == "all-in-one":
                put("built-in tracker", inverter)
    elif by == "inverter-kind":
        for inverter in catalog.inverters:
            put(inverter.kind, inverter)
    elif by == "format":
        for module in catalog.modules:
            put(f"{module.series_cells} cells", module)
    return kinds


def under(problem: Problem, catalog: Catalog, by: str, value: str) -> Problem:
    """The problem with only one alternative left."""
    if by == "voltage":
        return with_section(problem, "bank", volts=(int(value.removesuffix(" V")),))
    if by == "chemistry":
        return with_section(problem, "bank", chemistries=(value,))
    if by in SOURCES:
        asked = with_section(problem, "site", other_source=value)
        return with_section(asked, by, required=asked.source_in_design)
    kinds = kinds_of(catalog, by)
    others = {part for kind, parts in kinds.items() if kind != value for part in parts}
    return with_section(problem, "locks", exclude=(*problem.locks.exclude, *sorted(others - kinds[value])))


def alternatives(problem: Problem, catalog: Catalog, by: str) -> tuple[str, ...]:
    """What there is to compare."""
    if by == "voltage":
        return tuple(f"{volts} V" for volts in problem.bank.volts)
    if by == "chemistry":
        allowed = problem.bank.chemistries
        there = {battery.chemistry for battery in catalog.batteries}
        return tuple(sorted(chemistry for chemistry in there if not allowed or chemistry in allowed))
    if by in SOURCES:
        return (by, "none")
    if by in WAYS:
        return tuple(sorted(kinds_of(catalog, by)))
    raise WrongUse(f"--by {by} is not known: use one of {', '.join(WAYS)}")


def versus(
    problem: Problem, catalog: Catalog, by: str, progress: Progress = lambda _: None, *, flips: bool = False, among: tuple[str, ...] = (),
) -> Versus:
    """Solve under each alternative.

    flips: look as well where the winner changes, over the price of the modules, the temperature of the air and the daily
    energy; it takes some hundred solves, and Ctrl-C ends it with what is known so far.
    among: only these alternatives; all where it is empty.
    Raises WrongUse for an unknown `by`, and for an alternative that there is not.
    """
    values = alternatives(problem, catalog, by)
    unknown = [value for value in among if value not in values]
    if unknown:
        raise WrongUse(f"'{unknown[0]}' is not among the alternatives by {by}: use {', '.join(values) or 'another --by'}")
    values = tuple(value for value in values if value in among) if among else values
    progress("with nothing left out")
    free = solve(problem, catalog)
    options = []
    for number, value in enumerate(values, start=1):
        progress(f"{number} of {len(values)}: {value}")
        options.append(Option(value, solve_like(free, under(problem, catalog, by, value), catalog, explain=True, step_x=KIND_STEP_X)))
    ordered = tuple(sorted(options, key=_rank))
    prices = _flips(problem, catalog, by, ordered, progress)
    along: tuple[Intervals, ...] = ()
    if flips:
        def only(asked: Problem, parts: Catalog, value: str) -> Problem:
            return under(asked, parts, by, value)

        along = flips_along(problem, catalog, values, only, progress)
    return Versus(by, ordered, free, prices, along)


def _rank(option: Option) -> tuple[bool, int, int, str]:
    """Possible ones first, by what the problem minimises: the bill, with the prices beside it if there are any."""
    report = option.answer.report
    return (report is None, report.bill.objective_cents if report else 0, option.cents or 0, option.value)


def _flips(problem: Problem, catalog: Catalog, by: str, ordered: tuple[Option, ...], progress: Progress) -> tuple[Flip, ...]:
    """For each part that makes the winner what it is: the price above which the next alternative costs less.

    The others do not contain the part, so their costs stay. Empty by voltage, where no part tells the alternatives apart.
    """
    if len(ordered) < 2 or ordered[0].answer.report is None or ordered[1].answer.report is None:
        return ()
    winner, follower = ordered[:2]
    design = ordered[0].answer.report.design
    inverter = design.inverters.inverter
    parts: dict[str, list[Part]] = {
        "controller": [block.part for block in design.blocks], "format": [block.module for block in design.blocks],
        "chemistry": [design.bank.battery], "inverter-kind": [inverter] if inverter is not None else [],
    }
    flips = []
    for part in sorted({part.id: part for part in parts.get(by, [])}.values(), key=lambda one: one.id):
        if follower.answer.report is None or follower.answer.report.design.pieces[part.id]:
            continue
        price = highest_price(
            under(problem, catalog, by, winner.value), catalog, part, follower.answer.report.bill.objective_cents, progress, now=winner.answer,
        )
        if price is not None and math.isfinite(price):
            flips.append(Flip(part.id, int(price), winner.value, follower.value))
    return tuple(flips)


# --- where the energy goes

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Days of the months."""


@dataclass(frozen=True)
class Energy:
    """Where the light goes, by month of use [Wh/day]: what the array could give, less every loss, is the harvest.

    Harvest is what could serve loads; what a full bank cannot take is not taken off.
    """

    months: tuple[int, ...]
    could: np.ndarray
    """The array at its maximum power point, at the temperature of its cells; soiling and unequal modules taken off."""
    conversion: np.ndarray
    """Wire of the array, where a tracker stands behind it, and the controllers' conversion."""
    clipping: np.ndarray
    """Beyond the rated output of a tracker or its charge limit."""
    voltage: np.ndarray
    """What a PWM controller leaves, because the bank's voltage is not that of the maximum power point."""
    own_use: np.ndarray
    battery: np.ndarray
    """In and out of the battery, for what is used at night."""
    harvest: np.ndarray
    load: np.ndarray

    @property
    def lost(self) -> np.ndarray:
        """Between the array and the bank."""
        return np.asarray(self.conversion + self.clipping + self.voltage)

    def in_month(self, values: np.ndarray, month: int) -> float:
        """A value of one month of use, by its place in the year [Wh/day]."""
        return float(values[self.months.index(month)])

    def over_the_year(self, values: np.ndarray) -> float:
        """Sum over the months of use [kWh]."""
        return float(np.dot(values, [DAYS[month] for month in self.months])) / 1000


def energy_of(report: Report) -> Energy:
    """Where the light goes in a design."""
    whole = report.whole
    needs = whole.needs
    could, conversion, clipping, voltage = (np.zeros(len(needs.months)) for _ in range(4))
    for block, facts in zip(report.design.blocks, whole.facts, strict=True):
        module, efficiency = block.module, block.device.efficiency
        cells_c = cell_c(needs.air_c, module.noct_c, HARVEST_W_M2, needs.mounting_factor)
        best = block.array_w * block.count * power_factor_at_cell(module.tc_pmax_pct_k, cells_c) * needs.sun_h_on(block.plane) * needs.array_factor
        given = np.asarray(facts.harvest_wh) * block.count
        could += best
        if block.device.kind == "pwm":
            conversion += given / efficiency - given
            voltage += best - given / efficiency
        else:
            converted = best * facts.way_share * efficiency
            conversion += best - converted
            clipping += converted - given
    own_use = np.full(len(needs.months), whole.self_use_wh)
    harvest = np.array([month.array_wh for month in report.months])
    return Energy(
        tuple(int(month) for month in needs.months), could, conversion, clipping, voltage, own_use,
        whole.harvest_wh - harvest, harvest, np.array([month.load_wh for month in report.months]),
    )
