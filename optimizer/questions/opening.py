"""Whether a problem has a design at all: the quick question behind the sets to loosen and the gaps."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import Any

from optimizer.answer import Answer, Outcome, check, solve
from optimizer.bill import PriceList
from optimizer.design import Choice
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Objective, Price, Problem
from optimizer.needs.requirements import with_section
from optimizer.proof.check import Report
from optimizer.rules.book import Severities

ANY_DESIGN = 1.0
"""Gap at which the solver stops: whatever the first design costs, it is within such a gap."""

SECONDS_MOST = 5.0
"""Time for one such question; where it is not enough the problem is taken for closed, and the answer says so."""

TRIED_FIRST = 4
"""Designs, those that held last, that are tried before a search."""


class Opening:
    """Asks whether there is any design, tries those that it met before first, and remembers whether all was proven."""

    def __init__(self) -> None:
        self.exact = True
        self._met: list[Choice] = []

    def of(self, problem: Problem, catalog: Catalog) -> bool:
        """Whether the problem has a design.

        Designs that held last are tried before a search, the others only where the search is stopped: a check of each takes longer than a search.
        """
        if self._holds(self._met[-TRIED_FIRST:], problem, catalog):
            return True
        answer = _any_design(problem, catalog)
        settled = answer.report is not None or answer.outcome is Outcome.INFEASIBLE
        if not settled and self._holds(self._met[:-TRIED_FIRST], problem, catalog):
            return True
        self.exact &= settled
        if answer.choice is not None:
            self._met = [*(one for one in self._met if one != answer.choice), answer.choice]
        return answer.report is not None

    def _holds(self, choices: list[Choice], problem: Problem, catalog: Catalog) -> bool:
        held = next((choice for choice in reversed(choices) if _held(choice, problem, catalog)), None)
        if held is not None:
            self._met = [*(one for one in self._met if one is not held), held]
        return held is not None

    def most_cents(self, problem: Problem, catalog: Catalog) -> int | None:
        """What the cheapest of the designs that held last and hold here costs; None where none does [cents]."""
        reports = [_held(choice, problem, catalog) for choice in self._met[-TRIED_FIRST:]]
        return min((report.bill.objective_cents for report in reports if report is not None), default=None)


def _any_design(problem: Problem, catalog: Catalog) -> Answer:
    """Some design, or the proof that there is none, in a problem of the same designs that is quicker to answer.

    With a budget the cheapest is looked for, and nothing above the budget. Without one no price matters, so nothing
    costs anything: then a part is dropped for any that is as good, whatever it costs.
    """
    seconds = min(SECONDS_MOST, problem.solver.time_limit_s)
    asked = with_section(problem, "solver", gap=ANY_DESIGN, time_limit_s=seconds).model_copy(update={"objective": Objective()})
    if problem.source_in_design:  # what is burnt is no part of any limit
        free = {"fuel_price_per_l": 0.0} if asked.source_use.hours_by_month is None else {"price_per_kwh": 0.0}
        asked = with_section(asked, asked.site.other_source, **free)
        catalog = replace(catalog, generators=tuple(one.model_copy(update={"service_per_h": 0.0}) for one in catalog.generators))
    budget = PriceList(asked, catalog).budget_cents if Severities(problem.rules).enforced("budget") else None
    if budget is not None:
        return solve(asked, catalog, explain=False, most_cents=budget)
    asked = asked.model_copy(update={"price": Price()})
    locks = problem.locks
    named = {*locks.at_least, *locks.at_most, *locks.only, *locks.exclude}
    if catalog.kits and not any(kit.id in named for kit in catalog.kits):
        # All that kits bring where nothing costs anything are pieces beyond a stock: first as if there were no end of
        # them, which may show that there is no design, then without kits, which may show one.
        wider = solve(asked, _for_nothing(catalog, endless={part for kit in catalog.kits for part, _ in kit.parts}), explain=False)
        if wider.choice is None or _held(wider.choice, problem, catalog) is not None:
            return wider
        smaller = solve(asked, _for_nothing(replace(catalog, kits=())), explain=False)
        if smaller.choice is not None and _held(smaller.choice, problem, catalog) is not None:
            return smaller
    return solve(asked, _for_nothing(catalog), explain=False)


def _for_nothing(catalog: Catalog, endless: Collection[str] = ()) -> Catalog:
    """The catalog with every price but those of kits 0, and parts without a stock sold one by one: none of this forbids a design.

    endless: parts that are taken for without a stock; the kits that bring them are left out.
    """
    def free(part: Any) -> Any:
        changes: dict[str, Any] = {"price": 0.0}
        if isinstance(part, Part) and (part.stock is None or part.id in endless):
            changes |= {"pack_qty": 1, "stock": None}
        return part.model_copy(update=changes)

    kinds = ("modules", "batteries", "controllers", "inverters", "converters", "allowances", "generators", "chargers", "alternator_chargers")
    parts: dict[str, Any] = {kind: tuple(map(free, getattr(catalog, kind))) for kind in kinds}
    return replace(catalog, kits=() if endless else catalog.kits, **parts)


def _held(choice: Choice, problem: Problem, catalog: Catalog) -> Report | None:
    """The report of a design that is valid and within the bounds of the search, which the check only reports."""
    report = check(choice, problem, catalog)
    return report if report.valid and all(line.passed for line in report.lines if line.rule == "bounds") else None
