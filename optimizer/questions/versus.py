"""The best design under each alternative, fully re-optimised, side by side."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from optimizer.answer import Answer, solve
from optimizer.errors import WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section
from optimizer.questions.why_not import highest_price

Progress = Callable[[str], None]

WAYS = ("controller", "voltage", "chemistry", "inverter-kind", "format")


@dataclass(frozen=True)
class Option:
    """One alternative and its best design."""

    value: str
    answer: Answer

    @property
    def cents(self) -> int | None:
        """Total of its bill; None where it is impossible [cents]."""
        return self.answer.report.bill.total_cents if self.answer.report else None


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
    if by in WAYS:
        return tuple(sorted(kinds_of(catalog, by)))
    raise WrongUse(f"--by {by} is not known: use one of {', '.join(WAYS)}")


def versus(problem: Problem, catalog: Catalog, by: str, progress: Progress = lambda _: None) -> Versus:
    """Solve under each alternative. Raises WrongUse for an unknown `by`."""
    values = alternatives(problem, catalog, by)
    options = []
    for number, value in enumerate(values, start=1):
        progress(f"{number} of {len(values)}: {value}")
        options.append(Option(value, solve(under(problem, catalog, by, value), catalog)))
    progress("with nothing left out")
    free = solve(problem, catalog)
    ordered = tuple(sorted(options, key=_rank))
    return Versus(by, ordered, free, _flips(problem, catalog, by, ordered, progress))


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
            under(problem, catalog, by, winner.value), catalog, part, ordered[1].answer.report.bill.objective_cents, progress,
        )
        if price is not None and math.isfinite(price):
            flips.append(Flip(part.id, int(price), winner.value, follower.value))
    return tuple(flips)
