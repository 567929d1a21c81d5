"""Problems near one whose answer is known: its design is held against their rules, and its price bounds their search."""

from __future__ import annotations

from optimizer.answer import Answer, as_chosen, solve
from optimizer.choice.kinds import Kinds
from optimizer.design import design_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.site import Needs
from optimizer.proof.check import Report, check_design

STEP_X = 1.12
"""How much dearer than the known price a design is looked for at first; measured on staircases of the shipped sites."""

KIND_STEP_X = 1.3
"""The same where the design must be of another kind."""


def held_against(answer: Answer, problem: Problem, catalog: Catalog) -> Report:
    """The design of an answer under the rules of another problem. The answer must have a design."""
    choice = answer.choice
    assert choice is not None, "an answer with a design is held"
    return check_design(design_of(choice, catalog), Needs(as_chosen(problem, catalog, choice)), catalog)


def solve_near(
    problem: Problem, catalog: Catalog, cents: int, *, explain: bool = False, kinds: Kinds | None = None, step_x: float = STEP_X,
) -> Answer:
    """What `solve` answers, sooner where the cheapest design costs little more than `cents`: a small bound leaves few candidates.

    Only where no design is as cheap as that, all of them are looked at.
    explain: say why there is none.
    """
    answer = solve(problem, catalog, explain=False, most_cents=round(cents * step_x), kinds=kinds)
    return answer if answer.report is not None else solve(problem, catalog, explain=explain, kinds=kinds)


def solve_like(known: Answer, problem: Problem, catalog: Catalog, *, explain: bool = False, step_x: float = STEP_X) -> Answer:
    """What `solve` answers, sooner where the design of a known answer still holds or where the cheapest costs about as much."""
    if known.report is None:
        return solve(problem, catalog, explain=explain)
    held = held_against(known, problem, catalog)
    if held.valid:
        answer = solve(problem, catalog, explain=False, most_cents=held.bill.objective_cents)
        if answer.report is not None:
            return answer
    return solve_near(problem, catalog, known.report.bill.objective_cents, explain=explain, step_x=step_x)
