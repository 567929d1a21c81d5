"""What each requirement costs: the price one notch looser, one notch tighter and without it, by solving again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from optimizer.answer import Answer, solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import Requirement, requirements
from optimizer.questions.again import solve_like
from optimizer.questions.why_not import proven

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Notch:
    """One value of a requirement and the answer under it."""

    value: Any
    answer: Answer

    @property
    def cents(self) -> int | None:
        """Total of the bill; None where the problem is impossible [cents]."""
        return self.answer.report.bill.paid_cents if self.answer.report else None


@dataclass(frozen=True)
class Priced:
    """A requirement with what its notches cost."""

    requirement: Requirement
    looser: Notch | None
    tighter: Notch | None
    without: Notch | None

    def saving_cents(self, base_cents: int) -> int:
        """Most that giving way here saves [cents]."""
        found = [notch.cents for notch in (self.looser, self.without) if notch is not None and notch.cents is not None]
        return base_cents - min(found, default=base_cents)


@dataclass(frozen=True)
class CostOf:
    """The present answer and every requirement, those that save most first."""

    base: Answer
    priced: tuple[Priced, ...]
    complete: bool = True

    @property
    def exact(self) -> bool:
        """Whether every price is that of a proven answer, and none is missing."""
        notches = [notch for one in self.priced for notch in (one.looser, one.tighter, one.without) if notch is not None]
        return self.complete and proven(self.base) and all(proven(notch.answer) for notch in notches)


def cost_of(problem: Problem, catalog: Catalog, progress: Progress = lambda _: None) -> CostOf:
    """Solve again with each requirement one notch looser, one notch tighter, and without it.

    Raises nothing for an impossible problem: `base.report` is None and nothing is priced (that is `relax`'s question).
    Stopped by Ctrl-C it returns what is known so far, `complete` False.
    """
    base = solve(problem, catalog)
    if base.report is None:
        return CostOf(base, ())
    done: list[Priced] = []
    complete = True
    asked = requirements(problem, circuits=bool(catalog.cables))
    try:
        for number, requirement in enumerate(asked, start=1):
            progress(f"{number} of {len(asked)}: {requirement.title}")
            done.append(_priced(requirement, catalog, base))
    except KeyboardInterrupt:
        complete = False
    total = base.report.bill.paid_cents
    return CostOf(base, tuple(sorted(done, key=lambda one: (-one.saving_cents(total), one.requirement.name))), complete)


def _priced(requirement: Requirement, catalog: Catalog, base: Answer) -> Priced:
    """The notches of one requirement."""
    known: dict[Any, Notch] = {}

    def at(value: Any) -> Notch | None:
        if value is not None and value not in known:
            known[value] = Notch(value, solve_like(base, requirement.with_value(value), catalog))
        return known.get(value)

    looser, tighter = (ladder[0] if ladder else None for ladder in (requirement.looser, requirement.tighter))
    return Priced(requirement, at(looser), at(tighter), at(requirement.without))
