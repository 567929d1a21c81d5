"""The cheapest designs that differ in kind, each proven next-best."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.answer import Answer, Outcome, solve
from optimizer.choice.kinds import COUNTED, Kind, Kinds
from optimizer.errors import WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.proof.lines import Line
from optimizer.questions.again import solve_near
from optimizer.rules.book import RULES

Progress = Callable[[str], None]

USUAL = ("voltage", "chemistry", "controller", "inverter-kind")
"""What tells kinds apart unless the user says otherwise; the module format on top makes many near twins."""

NEAR_SHARE = 0.02
"""Kinds within this share of the cheapest are counted."""


@dataclass(frozen=True)
class Ranked:
    """A design with its kind and what differs from the cheapest."""

    answer: Answer
    kind: Kind
    differs_in: tuple[str, ...]

    @property
    def cents(self) -> int:
        """Total of its bill [cents]."""
        assert self.answer.report is not None, "a ranked answer holds a design"
        return self.answer.report.bill.paid_cents


@dataclass(frozen=True)
class WithMargin:
    """The cheapest design that stays away from every limit by a share of it; impossible where `answer` has no report."""

    margin_pct: float
    answer: Answer

    @property
    def cents(self) -> int | None:
        """Total of its bill; None where it is impossible [cents]."""
        return self.answer.report.bill.paid_cents if self.answer.report else None


@dataclass(frozen=True)
class Ranking:
    """Designs from the cheapest on, each the cheapest of its kind."""

    counted: tuple[str, ...]
    designs: tuple[Ranked, ...]
    last: Answer
    """The answer that ended the search: impossible where there are no more kinds."""
    complete: bool = True
    margin: WithMargin | None = None
    """Only where it was asked for."""

    @property
    def exhausted(self) -> bool:
        """Whether every kind that has a design is listed."""
        return self.last.outcome is Outcome.INFEASIBLE

    @property
    def within_2_pct(self) -> int:
        """Kinds found within 2 % of the cheapest; at least so many where the list was cut short."""
        return sum(1 for ranked in self.designs if ranked.cents <= self.designs[0].cents * (1 + NEAR_SHARE))


def ranking(
    problem: Problem, catalog: Catalog, count: int = 5, counted: tuple[str, ...] = USUAL, progress: Progress = lambda _: None,
    *, margin_pct: float | None = None,
) -> Ranking:
    """Solve again and again, each time forbidding the kinds that were found.

    count: how many designs at most.
    counted: what tells kinds apart, of voltage, chemistry, controller, inverter-kind and format.
    margin_pct: look as well for the cheapest design of any kind that leaves at least so much of every limit [%].
    Raises WrongUse for anything else. Stopped by Ctrl-C it returns what is known so far, `complete` False.
    """
    for name in counted:
        if name not in COUNTED:
            raise WrongUse(f"'{name}' does not tell kinds apart: use {', '.join(COUNTED)}")
    if count < 1:
        raise WrongUse("a ranking needs at least one place")
    if margin_pct is not None and not 0 < margin_pct < 100:
        raise WrongUse(f"a margin of {margin_pct:g} % cannot be kept: use more than 0 and less than 100")
    ranked: list[Ranked] = []
    kinds = Kinds(counted)
    answer = solve(problem, catalog, kinds=kinds)
    complete = True
    margin: WithMargin | None = None
    try:
        while answer.report is not None:
            kind = kinds.of(answer.report.design)
            ranked.append(Ranked(answer, kind, _differences(counted, ranked[0].kind, kind) if ranked else ()))
            progress(f"{len(ranked)} of {count}")
            if len(ranked) == count:
                break
            kinds = Kinds(counted, kinds.forbidden | {kind})
            answer = solve_near(problem, catalog, answer.report.bill.objective_cents, explain=True, kinds=kinds)
        if margin_pct is not None:
            progress(f"with {margin_pct:g} % margin")
            margin = WithMargin(margin_pct, solve(problem, catalog, margin_share=margin_pct / 100))
    except KeyboardInterrupt:
        complete = False
    return Ranking(counted, tuple(ranked), answer, complete, margin)


def tightest(answer: Answer) -> Line | None:
    """The rule that comes nearest to its limit, of those that `margin_pct` speaks of."""
    held = [
        line for line in (answer.report.lines if answer.report else ())
        if line.severity in ("hard", "requirement") and line.margin_share is not None and RULES[line.rule].takes_margin
    ]
    return min(held, key=lambda line: line.margin_share or 0.0, default=None)


def _differences(counted: tuple[str, ...], first: Kind, other: Kind) -> tuple[str, ...]:
    """What of a kind differs from the cheapest, in words."""
    names = [name for name in COUNTED if name in counted and name not in ("controller", "format")]
    told = [f"{name}: {mine} instead of {its}" for name, its, mine in zip(names, first[0], other[0], strict=True) if its != mine]
    for name, its, mine in (("controller", first[1], other[1]), ("format", first[2], other[2])):
        if its != mine:
            told.append(f"{name}: {' and '.join(sorted(mine))} instead of {' and '.join(sorted(its))}")
    return tuple(told)
