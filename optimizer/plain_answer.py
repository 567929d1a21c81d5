"""The answer of a problem that leaves nothing open but its parts: one tilt, one way to fit what may be fitted."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from enum import StrEnum

from optimizer.bill import PriceList
from optimizer.choice.kinds import Kinds
from optimizer.choice.owned import OwnedPart, owned_parts, unfit_demands
from optimizer.choice.screening import ScreenRow
from optimizer.choice.search import Found, search
from optimizer.choice.solver import Ending
from optimizer.design import Choice, Design, choice_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.site import Needs
from optimizer.proof.check import Report, check_design
from optimizer.proof.forces import forces_of, near_bounds_of
from optimizer.rules.book import Severities
from optimizer.target import Asked, Target, search_to_target


class Outcome(StrEnum):
    """How a question ended."""

    OPTIMAL = "optimal"
    FEASIBLE = "feasible"
    STOPPED = "stopped"
    INFEASIBLE = "infeasible"


OUTCOMES = {
    Ending.OPTIMAL: Outcome.OPTIMAL, Ending.STOPPED_WITH_SOLUTION: Outcome.FEASIBLE, Ending.STOPPED: Outcome.STOPPED,
    Ending.INFEASIBLE: Outcome.INFEASIBLE,
}


@dataclass(frozen=True)
class Answer:
    """A checked design with its proof, or the reason why there is none. `bound_cents` bounds the objective from below."""

    outcome: Outcome
    problem: Problem
    catalog: Catalog
    report: Report | None
    choice: Choice | None
    bound_cents: float | None
    gap: float | None
    reason: str
    screening: tuple[ScreenRow, ...]
    timing_s: dict[str, float]
    sizes: dict[str, int] = field(default_factory=dict)
    forces: dict[str, str] = field(default_factory=dict)
    near_bounds: tuple[str, ...] = ()
    owned: tuple[OwnedPart, ...] = ()
    """What became of each part that the customer has; left out where no reasons were asked for."""
    rounds: int = 0
    """Designs that were replayed, where the problem has a loss-of-load limit."""


def solve_as_it_is(
    problem: Problem, catalog: Catalog, *, prune: bool, solver: str, kinds: Kinds | None, explain: bool, margin_share: float, most_cents: int | None,
) -> Answer:
    """The cheapest design on one plane; `solve` says the rest."""
    started = time.perf_counter()
    unfit = unfit_demands(problem, catalog)
    if unfit:  # nothing else can mend it: no design holds the part
        return Answer(
            Outcome.INFEASIBLE, problem, catalog, None, None, None, None, " ".join(f"{one.sentence}." for one in unfit), (),
            {"read": 0.0, "total": time.perf_counter() - started}, owned=owned_parts(problem, catalog, None),
        )
    needs = Needs(problem)
    prices = PriceList(problem, catalog)
    target = Target(needs, catalog, prices, margin_share) if problem.reliability is not None and needs.severities.enforced("loss-of-load") else None
    reports: dict[int, Report] = {}
    kept: list[Design] = []
    checking = 0.0

    def accepts(design: Design) -> bool:
        nonlocal checking
        since = time.perf_counter()
        report = check_design(design, needs, catalog, prices, target.years if target else None)
        reports[id(design)] = report
        kept.append(design)  # ids are those of living designs
        if target is not None and any(line.rule == "loss-of-load" and not (line.passed and line.keeps_margin(margin_share)) for line in report.lines):
            target.learn(design)
        checking += time.perf_counter() - since
        return report.valid and report.keeps_margin(margin_share)

    looked_at = _held_back(problem, margin_share) if margin_share else needs
    if target is None:
        found = search(looked_at, catalog, accepts, prune=prune, solver=solver, kinds=kinds, explain=explain, most_cents=most_cents)
    else:
        asked = Asked(looked_at, catalog, accepts, prune, solver, kinds, explain, most_cents)
        found = search_to_target(asked, target, lambda design: reports[id(design)])
    report = reports.get(id(found.design)) if found.design is not None else None
    timing = {"read": 0.0, **found.timing_s, "check": checking}
    timing["total"] = time.perf_counter() - started
    return Answer(
        outcome=_outcome(found, problem), problem=problem, catalog=catalog, report=report,
        choice=choice_of(found.design) if found.design is not None else None, bound_cents=found.bound_cents, gap=_gap(found),
        reason=found.reason, screening=found.screening, timing_s=timing, sizes=found.sizes,
        forces=forces_of(report) if report else {}, near_bounds=near_bounds_of(report) if report else (),
        owned=owned_parts(problem, catalog, found.design.pieces if found.design is not None else None) if explain else (),
        rounds=len(kept) if target else 0,
    )


def _held_back(problem: Problem, margin_share: float) -> Needs:
    """What the search looks through when a margin is asked for: every limit closer by it.

    It may leave a limit where it is, never put one closer than the margin: the check has the last word, on the problem
    as it stands.
    """
    array, limits = problem.array, problem.limits

    def less(value: float | None) -> float | None:
        return None if value is None else value * (1 - margin_share)

    closer = problem.model_copy(update={
        "array": array.model_copy(update={"area_m2": less(array.area_m2)}),
        "planes": tuple(plane.model_copy(update={"area_m2": less(plane.area_m2)}) for plane in problem.planes),
        "limits": limits.model_copy(update={"total_kg_max": less(limits.total_kg_max), "budget": less(limits.budget)}),
    })
    needs = Needs(closer)
    needs.severities = Severities(problem.rules, margin_share, ("array-area", "total-weight", "budget"))
    return needs


def _outcome(found: Found, problem: Problem) -> Outcome:
    if found.ending is Ending.OPTIMAL and problem.solver.gap > 0 and (_gap(found) or 0.0) > 0:
        return Outcome.FEASIBLE
    return OUTCOMES[found.ending]


def _gap(found: Found) -> float | None:
    if found.objective_cents is None:
        return None
    if found.ending is Ending.OPTIMAL and found.bound_cents is None:
        return 0.0
    if found.bound_cents is None:
        return None
    gap = max(0.0, (found.objective_cents - found.bound_cents) / max(1.0, abs(found.objective_cents)))
    return 0.0 if gap < 1e-9 else gap
