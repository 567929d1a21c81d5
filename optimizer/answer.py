"""Problem and catalog in; a checked design, or a stated reason, out."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np

from optimizer.adjusting import TiltsOfPlanes, Ways, tilts_of_planes, ways_of
from optimizer.bill import PriceList
from optimizer.choice.kinds import Kinds
from optimizer.choice.owned import owned_parts
from optimizer.choice.screening import ScreenRow
from optimizer.design import Choice, choice_from, design_of
from optimizer.errors import InputError, WrongUse
from optimizer.inputs.agreement import refuse_unknown_parts
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer
from optimizer.inputs.generator import SAID
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import (
    Fitted,
    misfits,
    ways_to_fit,
    with_gentlest,
    with_starters,
    without_starters,
)
from optimizer.inputs.text_tables import raise_if_any
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.positions import changes_a_year
from optimizer.needs.site import Needs
from optimizer.needs.stepping import stepped_up, transformers_of, without_transformer
from optimizer.needs.sunlight import (
    at_best_of,
    at_tilt,
    by_plane,
    on_one_plane,
    open_planes,
    plane_names,
    planes,
    with_tilt,
)
from optimizer.plain_answer import Answer, Outcome, solve_as_it_is
from optimizer.proof.check import Report, check_design
from optimizer.proof.check import check as check_on_plane
from optimizer.proof.forces import forces_of, near_bounds_of

__all__ = ["Answer", "Outcome", "ScreenRow", "as_chosen", "check", "solve"]


def solve(
    problem: Problem, catalog: Catalog, *, prune: bool = True, solver: str = "highs", kinds: Kinds | None = None, explain: bool = True,
    margin_share: float = 0.0, most_cents: int | None = None,
) -> Answer:
    """The cheapest design that breaks no rule, proven optimal.

    prune: drop dominated candidates first; the answer's cost is the same without, only slower.
    solver: "highs" or "cbc".
    kinds: what tells kinds of design apart, and the kinds that are not wanted again.
    explain: where there is no design, look for the reason too, which takes further solves.
    margin_share: what every enforced rule with a continuous limit must leave of its limit; 0.1 for 10 %.
    most_cents: look only among designs that the objective counts at most this; "infeasible" then says no more than that.
    A problem with several tilts is solved on each that no other beats, one whose array may be adjusted on every way to set it
    through the year, and the cheapest design of them is the answer.
    Raises InputError where the problem locks or owns a part that the catalog does not hold.
    The design has passed the check, or there is none; `answer.outcome` says how it ended.
    """
    if margin_share and problem.source_in_design:
        other = problem.site.other_source
        raise WrongUse(f"a margin cannot be asked for with {SAID[other]} in the design: leave out one of --margin and {other}.in_design")
    refuse_unknown_parts(problem, catalog)
    if problem.inverter.autotransformer == "may":
        return _with_transformer(
            problem, catalog, partial(solve, prune=prune, solver=solver, kinds=kinds, margin_share=margin_share), explain=explain, most_cents=most_cents,
        )
    if any(load.soft_starter == "may" for load in problem.loads):
        each = partial(solve, prune=prune, solver=solver, kinds=kinds, margin_share=margin_share)
        return _with_starters(problem, catalog, each, explain=explain, most_cents=most_cents)
    problem, catalog = with_worn_parts(problem, catalog)
    if problem.array.adjustments_per_year or open_planes(problem):
        each = partial(solve_as_it_is, prune=prune, solver=solver, kinds=kinds, margin_share=margin_share)
        ways = tilts_of_planes(problem, catalog) if problem.planes else ways_of(problem, catalog)
        return _cheapest_way(problem, catalog, ways, each, explain=explain, most_cents=most_cents, margin_share=margin_share)
    tilts = planes(problem)
    if len(problem.array.tilts) < 2:
        return solve_as_it_is(
            problem, catalog, prune=prune, solver=solver, kinds=kinds, explain=explain, margin_share=margin_share, most_cents=most_cents,
        )

    def on(on_any: Sequence[float | None], *, seconds: float, explained: bool, most: int | None) -> Answer:
        some = [tilt for tilt in on_any if tilt is not None]
        assert some, "several planes have tilts"
        asked = at_tilt(problem, some[0]) if len(some) == 1 else at_best_of(problem, some)
        asked = asked.model_copy(update={"solver": asked.solver.model_copy(update={"time_limit_s": seconds})})
        return solve_as_it_is(asked, catalog, prune=prune, solver=solver, kinds=kinds, explain=explained, margin_share=margin_share, most_cents=most)

    return _cheapest_plane(problem, tilts, on, explain=explain, most_cents=most_cents)


def _with_transformer(problem: Problem, catalog: Catalog, solved: Callable[..., Answer], *, explain: bool, most_cents: int | None) -> Answer:
    """The cheapest design without an autotransformer and with each that may be worth it: each is a problem of its own."""
    started = time.perf_counter()
    prices = PriceList(problem, catalog)
    parts = transformers_of(problem, catalog, lambda part: prices.bought_cents(part) + prices.beside_cents(part))
    best, timing, settled = None, Counter[str](), True
    for part in (None, *parts):
        asked = without_transformer(problem) if part is None else stepped_up(problem, part)
        seconds = max(0.01, problem.solver.time_limit_s - (time.perf_counter() - started))
        asked = asked.model_copy(update={"solver": asked.solver.model_copy(update={"time_limit_s": seconds})})
        most = most_cents if best is None or best.report is None else best.report.bill.objective_cents - 1
        answer = solved(asked, catalog, explain=explain and best is None, most_cents=most)
        timing.update(answer.timing_s)
        settled &= answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE)
        if best is None or answer.choice is not None:
            choice = answer.choice if answer.choice is None or part is None else answer.choice.model_copy(update={"autotransformer": part.id})
            best = replace(answer, choice=choice)
        if best.choice is not None and problem.solver.gap >= 1:
            break  # to such a gap any design will do
    assert best is not None, "the problem without one was solved"
    best = replace(best, problem=best.problem.model_copy(update={"solver": problem.solver}), timing_s=dict(timing))
    if settled:
        return best
    return replace(best, outcome=Outcome.STOPPED if best.report is None else Outcome.FEASIBLE, bound_cents=None, gap=None)


def as_chosen(problem: Problem, catalog: Catalog, choice: Choice) -> Problem:
    """The problem with the tilt, the soft starters and the autotransformer that a choice names."""
    problem = with_starters(with_tilt(problem, choice), catalog, choice.soft_starters)
    if choice.autotransformer is not None:
        return stepped_up(problem, catalog.find(choice.autotransformer, Autotransformer))
    return without_transformer(problem) if problem.inverter.autotransformer == "may" else problem


def _with_starters(problem: Problem, catalog: Catalog, solved: Callable[..., Answer], *, explain: bool, most_cents: int | None) -> Answer:
    """The cheapest design over every way to fit soft starters.

    Load after load, the hardest start first, gets each of its starters or none, which is a problem of its own; loads that are still open start
    as gently as they ever may, for nothing. That bounds all that is open: it is left where it costs more than the best that is known.
    """
    started = time.perf_counter()
    prices = PriceList(problem, catalog)
    options = ways_to_fit(problem, catalog, lambda part: prices.bought_cents(part) + prices.beside_cents(part))
    plain = without_starters(problem)
    timing: Counter[str] = Counter()
    settled = True

    def on(asked: Problem, most: int | None, *, explained: bool = False) -> Answer:
        nonlocal settled
        seconds = max(0.01, problem.solver.time_limit_s - (time.perf_counter() - started))
        limited = asked.solver.model_copy(update={"time_limit_s": seconds})
        answer = solved(asked.model_copy(update={"solver": limited}), catalog, explain=explained, most_cents=most)
        timing.update(answer.timing_s)
        settled &= answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE)
        return answer

    best, chosen = on(plain, most_cents, explained=explain), Fitted()

    def look(at: int, fitted: Fitted) -> None:
        nonlocal best, chosen, settled
        if time.perf_counter() - started > problem.solver.time_limit_s:
            settled = False
            return
        most = most_cents if best.report is None else best.report.bill.objective_cents - 1
        asked = with_starters(plain, catalog, fitted)
        answer = on(with_gentlest(asked, dict(options[at:])), most)
        if answer.outcome is Outcome.INFEASIBLE:
            return  # not even so is anything cheaper
        if answer.choice is not None:
            here = answer.problem.model_copy(update={"loads": asked.loads})
            report = check(answer.choice, here, catalog)
            if report.valid:  # what is open need not be eased at all
                best, chosen = replace(answer, problem=here, report=report), fitted
                return
        if at < len(options):
            item, starters = options[at]
            for starter in (None, *starters):
                look(at + 1, fitted if starter is None else {**fitted, item: starter.id})

    if options and not (best.report is not None and problem.solver.gap >= 1):  # to such a gap any design will do
        look(0, Fitted())
    choice = best.choice.model_copy(update={"soft_starters": chosen}) if best.choice is not None else None
    best = replace(best, choice=choice, problem=best.problem.model_copy(update={"solver": problem.solver}), timing_s=dict(timing))
    if settled:
        return best
    return replace(best, outcome=Outcome.STOPPED if best.report is None else Outcome.FEASIBLE, bound_cents=None, gap=None)


def _cheapest_plane(problem: Problem, tilts: Sequence[float | None], on: Callable[..., Answer], *, explain: bool, most_cents: int | None) -> Answer:
    """The cheapest design over several planes: every design lies on one, so the least of their optima is the optimum.

    Planes after the first design are searched only below its price. Those that are left may first be asked together, as if the array had in
    each month the sun of the best of them there: more sun forbids no design, so where there is none even then, there is none on any
    of them. Mounts, and hours in which a design is lived, see more of a tilt than its sun. All of it shares one time limit.
    """
    started = time.perf_counter()
    timing: Counter[str] = Counter()
    answers: list[Answer] = []
    best: Answer | None = None
    left, any_design = list(tilts), problem.solver.gap >= 1
    may_ask_together = problem.mounting is None and problem.reliability is None

    def asked(some: Sequence[float | None]) -> Answer:
        seconds = max(0.01, problem.solver.time_limit_s - (time.perf_counter() - started))
        most = most_cents if best is None or best.report is None else best.report.bill.objective_cents - 1
        answer = on(some, seconds=seconds, explained=explain and not answers, most=most)
        timing.update(answer.timing_s)
        return answer

    while left:
        if len(left) > 1 and may_ask_together and (best is not None or (any_design and not explain)):
            may_ask_together = False  # once: where it says nothing, it seldom does later
            together = asked(left)
            if together.outcome is Outcome.INFEASIBLE:
                answers.append(together)
                break
        answers.append(asked([left.pop(0)]))
        best = answers[-1] if answers[-1].report is not None else best
        if best is not None and any_design:
            break  # to such a gap any design will do
    settled = all(answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE) for answer in answers)
    if best is None or best.report is None or best.choice is None:
        told = answers[0] if settled else next(answer for answer in answers if answer.outcome is Outcome.STOPPED)
        return replace(told, problem=problem, timing_s=dict(timing), rounds=sum(answer.rounds for answer in answers))
    cost = best.report.bill.objective_cents
    bounds = [_plane_bound(answer, cost) for answer in answers]
    if any_design and left:
        bounds, settled = [None], False  # the other planes were not asked
    bound = None if None in bounds else min(one for one in bounds if one is not None)
    return replace(
        best, choice=best.choice.model_copy(update={"tilt_deg": best.problem.array.tilt_deg}),
        problem=best.problem.model_copy(update={"solver": problem.solver}), timing_s=dict(timing), rounds=sum(answer.rounds for answer in answers),
        outcome=Outcome.OPTIMAL if settled else Outcome.FEASIBLE, bound_cents=best.bound_cents if settled else bound,
        gap=best.gap if settled else None if bound is None else max(0.0, (cost - bound) / max(1.0, abs(cost))),
        owned=owned_parts(best.problem, best.catalog, best.report.design.pieces) if explain else (),
    )


def _cheapest_way(
    problem: Problem, catalog: Catalog, groups: Sequence[Ways | TiltsOfPlanes], solved: Callable[..., Answer], *,
    explain: bool, most_cents: int | None, margin_share: float,
) -> Answer:
    """The cheapest design over every way to set the array through the year, fixed tilts among them, or over the tilts of open planes.

    Ways on the same mounts are bounded together (`adjusting.py`). Where the design of a bound is valid on one of its ways at the same
    price, none of them has a cheaper one; else the group is parted. All of it shares one time limit.
    """
    started = time.perf_counter()
    timing: Counter[str] = Counter()
    best: Answer | None = None
    bounds: list[float | None] = []
    waiting: list[tuple[Ways | TiltsOfPlanes, Answer | None]] = [(ways, None) for ways in reversed(groups)]
    widest = max(groups, key=lambda ways: ways.sun_in_all_h, default=None)

    def bounded(ways: Ways | TiltsOfPlanes | None, most: int | None, *, explained: bool = False) -> Answer:
        seconds = max(0.01, problem.solver.time_limit_s - (time.perf_counter() - started))
        asked = on_one_plane(problem) if ways is None else ways.bounding(problem)
        limited = asked.model_copy(update={"solver": asked.solver.model_copy(update={"time_limit_s": seconds})})
        answer = solved(limited, catalog if ways is None else ways.reachable(catalog), explain=explained, most_cents=most)
        timing.update(answer.timing_s)
        return answer

    def on(choice: Choice, asked: Problem, parts: Catalog) -> Report | None:
        report = check_design(design_of(choice, parts), Needs(asked), parts)
        return report if report.valid and report.keeps_margin(margin_share) else None

    while waiting:
        ways, above = waiting.pop()
        if time.perf_counter() - started > problem.solver.time_limit_s:
            bounds.append(None)
            break
        most = most_cents if best is None or best.report is None else best.report.bill.objective_cents - 1
        if above is not None and above.report is not None and above.choice is not None:
            again = on(above.choice, ways.bounding(problem), ways.reachable(catalog))
            cheaper = most is None or above.report.bill.objective_cents <= most
            kept = again is not None and cheaper and again.bill.objective_cents == above.report.bill.objective_cents
            above = replace(above, report=again) if kept else None
        answer = above or bounded(ways, most)
        if answer.report is None or answer.choice is None:
            bounds.append(answer.bound_cents if answer.outcome is Outcome.STOPPED else np.inf)
            continue
        here = ways.likeliest(problem, answer.report)
        report = on(answer.choice, here, catalog)
        cents = answer.report.bill.objective_cents
        if report is not None and (most is None or report.bill.objective_cents <= most):
            of_planes = {plane.name: plane.tilt_deg for plane in here.planes if plane.name in open_planes(problem)}
            set_up = {"tilt_deg_by_plane": of_planes, "tilt_deg": here.array.tilt_deg, "tilt_deg_by_month": here.array.tilt_deg_by_month}
            best = replace(
                answer, problem=here, catalog=catalog, report=report, choice=answer.choice.model_copy(update=set_up),
                forces=forces_of(report), near_bounds=near_bounds_of(report),
            )
        if report is not None and report.bill.objective_cents == cents:
            bounds.append(_plane_bound(answer, cents))
            continue
        parts = ways.parted(answer.report)
        waiting += [(one, answer) for one in parts]
        if not parts:
            bounds.append(answer.bound_cents)
    if best is None or best.report is None:
        told = bounded(widest, most_cents, explained=explain)
        if told.report is not None:  # each month alone could be met, but no way meets them all
            told = bounded(None, most_cents, explained=explain)
        outcome = Outcome.STOPPED if None in bounds else Outcome.INFEASIBLE
        return replace(told, outcome=outcome, problem=problem, catalog=catalog, report=None, choice=None, gap=None, timing_s=dict(timing))
    cost = best.report.bill.objective_cents
    bound = None if None in bounds else min(cost, *(one for one in bounds if one is not None))
    return replace(
        best, timing_s=dict(timing), outcome=Outcome.OPTIMAL if bound == cost else Outcome.FEASIBLE, bound_cents=bound,
        gap=None if bound is None else max(0.0, (cost - bound) / max(1.0, abs(cost))),
        owned=owned_parts(best.problem, best.catalog, best.report.design.pieces) if explain else (),
    )


def _plane_bound(answer: Answer, cost: float) -> float | None:
    """What a plane's designs cost at least; a plane without a design below the best one is bounded by that."""
    if answer.outcome is Outcome.INFEASIBLE:
        return cost
    if answer.outcome is Outcome.OPTIMAL and answer.report is not None:
        return answer.report.bill.objective_cents
    return answer.bound_cents


def check(choice: Choice | Mapping[str, Any], problem: Problem, catalog: Catalog) -> Report:
    """Hold a choice, from any origin, against every rule, on the plane that it names.

    choice: the object that `solve` hands over (or a whole answer), as a Choice or as plain data.
    Where the problem leaves the tilt open and the choice names none, the tilt with most sun in the weakest month of use counts.
    Raises InputError where the choice is not one, or names a part or a tilt that there is not.
    """
    if not isinstance(choice, Choice):
        choice = choice_from(choice)
    raise_if_any(list(_misset(choice, problem)))
    wrong = list(misfits(problem, catalog, choice.soft_starters))
    if problem.mounting is None and any(charging.mounts is not None for charging in choice.charging):
        wrong.append("choice: charging: mounts are named, but the problem has no section [mounting]: an allowance stands for them")
    if choice.autotransformer is not None and problem.inverter.autotransformer != "may":
        wrong.append('choice: autotransformer: the site may have none: the problem does not say inverter.autotransformer = "may"')
    if wrong:
        raise InputError(wrong)
    return check_on_plane(choice, on_one_plane(as_chosen(problem, catalog, choice)), catalog)


def _misset(choice: Choice, problem: Problem) -> Iterator[str]:
    """What is wrong with the tilts that a choice names."""
    array = problem.array
    listed = ", ".join(f"{one:g}" for one in array.tilts) or "none"
    if choice.tilt_deg is not None and choice.tilt_deg not in array.tilts:
        yield f"choice: tilt_deg {choice.tilt_deg:g} is not a tilt of the problem ({listed})"
    seen = dict(zip(plane_names(problem), by_plane(problem), strict=True)) if problem.planes else {}
    for name, tilt in choice.tilt_deg_by_plane.items():
        if name not in seen or tilt not in seen[name].array.tilts:
            yield f"choice: tilt_deg_by_plane: {tilt:g} is not a tilt of a plane '{name}' of the problem"
    by_month = choice.tilt_deg_by_month
    if by_month is None or by_month == array.tilt_deg_by_month:
        return
    if choice.tilt_deg is not None:
        yield "choice: tilt_deg and tilt_deg_by_month say the same thing: give one of them"
    if not array.adjustments_per_year:
        yield "choice: tilt_deg_by_month is for a problem with array.adjustments_per_year"
        return
    for tilt in sorted(set(by_month) - set(array.tilts)):
        yield f"choice: tilt_deg_by_month: {tilt:g} is not a tilt of the problem ({listed})"
    changes = changes_a_year(by_month)
    if changes > array.adjustments_per_year:
        yield f"choice: tilt_deg_by_month changes {changes} times a year, the problem allows {array.adjustments_per_year} (array.adjustments_per_year)"
