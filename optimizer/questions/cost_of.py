"""What each requirement costs: the price one notch looser, one notch tighter and without it, by solving again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from optimizer.answer import Answer, solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import Requirement, requirements
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
    """The notches of one requirement. Loosening forbids no design, so what is looser costs at most what the base does."""
    known: dict[Any, Notch] = {}
    proved = base.report.bill.objective_cents if base.report is not None and proven(base) else None

    def at(value: Any, most_cents: int | None = None) -> Notch | None:
        if value is None:
            return None
        if value not in known:
            changed = requirement.with_value(value)
            answer = solve(changed, catalog, explain=False, most_cents=most_cents)
            if answer.report is None and most_cents is not None:
                answer = solve(changed, catalog, explain=False)  # a looser value that forbids a design after all
            known[value] = Notch(value, answer)
        return known[value]

    return Priced(
        requirement, at(requirement.looser[0] if requirement.looser else None, proved), at(requirement.tighter[0] if requirement.tighter else None),
        at(requirement.without, proved),
    )
