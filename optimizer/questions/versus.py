"""The best design under each alternative, fully re-optimised, side by side."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.answer import Answer, solve
from optimizer.errors import WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section

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
class Versus:
    """Alternatives in the order of their price, the impossible ones last."""

    by: str
    options: tuple[Option, ...]

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


def versus(problem: Problem, catalog: Catalog, by: str) -> Versus:
    """Solve under each alternative. Raises WrongUse for an unknown `by`."""
    options = [Option(value, solve(under(problem, catalog, by, value), catalog)) for value in alternatives(problem, catalog, by)]
    return Versus(by, tuple(sorted(options, key=lambda option: (option.cents is None, option.cents or 0, option.value))))
