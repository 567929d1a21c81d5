"""Whether a problem has a design at all: the quick question behind the sets to loosen and the gaps."""

from __future__ import annotations

from optimizer.answer import Outcome, check, solve
from optimizer.design import Choice
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section

ANY_DESIGN = 0.99
"""Gap at which the solver stops: the first design will do."""

SECONDS_MOST = 5.0
"""Time for one such question; where it is not enough the problem is taken for closed, and the answer says so."""


class Opening:
    """Asks whether there is any design, tries those that it met before first, and remembers whether all was proven."""

    def __init__(self) -> None:
        self.exact = True
        self._met: list[Choice] = []

    def of(self, problem: Problem, catalog: Catalog) -> bool:
        """Whether the problem has a design."""
        if any(_holds(choice, problem, catalog) for choice in reversed(self._met)):
            return True
        seconds = min(SECONDS_MOST, problem.solver.time_limit_s)
        answer = solve(with_section(problem, "solver", gap=ANY_DESIGN, time_limit_s=seconds), catalog, explain=False)
        self.exact &= answer.report is not None or answer.outcome is Outcome.INFEASIBLE
        if answer.choice is not None:
            self._met.append(answer.choice)
        return answer.report is not None


def _holds(choice: Choice, problem: Problem, catalog: Catalog) -> bool:
    """Whether a design is valid and within the bounds of the search, which the check only reports."""
    report = check(choice, problem, catalog)
    return report.valid and all(line.passed for line in report.lines if line.rule == "bounds")
