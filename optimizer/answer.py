"""Problem and catalog in; a checked design, or a stated reason, out."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import partial
from typing import Any

from optimizer.bill import PriceList
from optimizer.choice.kinds import Kinds
from optimizer.choice.owned import OwnedPart, owned_parts, unfit_demands
from optimizer.choice.screening import ScreenRow
from optimizer.choice.search import Found, search
from optimizer.choice.solver import Ending
from optimizer.design import Choice, Design, choice_from, choice_of
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
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.site import Needs
from optimizer.needs.stepping import stepped_up, transformers_of, without_transformer
from optimizer.needs.sunlight import at_tilt, planes, with_tilt
from optimizer.proof.check import Report, check_design
from optimizer.proof.check import check as check_on_plane
from optimizer.rules.book import Severities
from optimizer.target import Asked, Target, search_to_target

__all__ = ["Answer", "Outcome", "ScreenRow", "as_chosen", "check", "solve"]


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
    A problem with several tilts is solved on each that no other beats, and the cheapest design of them is the answer.
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
    tilts = planes(problem)
    if len(problem.array.tilts) < 2:
        return _solve_on_plane(
            problem, catalog, prune=prune, solver=solver, kinds=kinds, explain=explain, margin_share=margin_share, most_cents=most_cents,
        )

    def on(tilt: float | None, *, seconds: float, explained: bool, most: int | None) -> Answer:
        assert tilt is not None, "several planes have tilts"
        asked = at_tilt(problem, tilt)
        asked = asked.model_copy(update={"solver": asked.solver.model_copy(update={"time_limit_s": seconds})})
        return _solve_on_plane(asked, catalog, prune=prune, solver=solver, kinds=kinds, explain=explained, margin_share=margin_share, most_cents=most)

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
    problem = with_starters(with_tilt(problem, choice.tilt_deg), catalog, choice.soft_starters)
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

    Planes after the first design are searched only below its price. All of them share one time limit.
    """
    started = time.perf_counter()
    answers: list[Answer] = []
    best: Answer | None = None
    for tilt in tilts:
        seconds = max(0.01, problem.solver.time_limit_s - (time.perf_counter() - started))
        most = most_cents if best is None or best.report is None else best.report.bill.objective_cents - 1
        answers.append(on(tilt, seconds=seconds, explained=explain and not answers, most=most))
        best = answers[-1] if answers[-1].report is not None else best
    timing = {key: sum(answer.timing_s.get(key, 0.0) for answer in answers) for key in answers[0].timing_s}
    settled = all(answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE) for answer in answers)
    if best is None or best.report is None or best.choice is None:
        told = answers[0] if settled else next(answer for answer in answers if answer.outcome is Outcome.STOPPED)
        return replace(told, problem=problem, timing_s=timing, rounds=sum(answer.rounds for answer in answers))
    cost = best.report.bill.objective_cents
    bounds = [_plane_bound(answer, cost) for answer in answers]
    bound = None if None in bounds else min(one for one in bounds if one is not None)
    return replace(
        best, choice=best.choice.model_copy(update={"tilt_deg": best.problem.array.tilt_deg}),
        problem=best.problem.model_copy(update={"solver": problem.solver}), timing_s=timing, rounds=sum(answer.rounds for answer in answers),
        outcome=Outcome.OPTIMAL if settled else Outcome.FEASIBLE, bound_cents=best.bound_cents if settled else bound,
        gap=best.gap if settled else None if bound is None else max(0.0, (cost - bound) / max(1.0, abs(cost))),
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
    tilt, allowed = choice.tilt_deg, problem.array.tilts
    if tilt is not None:
        if tilt not in allowed:
            listed = ", ".join(f"{one:g}" for one in allowed) or "none"
            raise InputError(f"choice: tilt_deg {tilt:g} is not a tilt of the problem ({listed})")
        problem = at_tilt(problem, tilt)
    wrong = list(misfits(problem, catalog, choice.soft_starters))
    if problem.mounting is None and any(charging.mounts is not None for charging in choice.charging):
        wrong.append("choice: charging: mounts are named, but the problem has no section [mounting]: an allowance stands for them")
    if choice.autotransformer is not None and problem.inverter.autotransformer != "may":
        wrong.append('choice: autotransformer: the site may have none: the problem does not say inverter.autotransformer = "may"')
    if wrong:
        raise InputError(wrong)
    return check_on_plane(choice, as_chosen(problem, catalog, choice.model_copy(update={"tilt_deg": None})), catalog)


def _solve_on_plane(
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
        forces=_forces(report) if report else {}, near_bounds=_near_bounds(report) if report else (),
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


# Rules that decide about a kind of part, those that usually bind first.
DECIDING = {
    "battery": (
        "autonomy", "freezing-floor", "continuous-discharge", "surge-discharge", "sag-above-cut-out", "maximum-charge-current", "weekly-swing",
    ),
    "module": ("monthly-balance", "recovery", "full-recharge", "minimum-charge-current", "array-rectangles", "array-area"),
    "controller": (
        "controller-input-current", "pwm-rating", "cold-open-circuit", "controller-input-power", "maximum-charge-current", "load-terminal-current",
    ),
    "inverter": ("surge", "leg-power", "continuous-va", "continuous-power"),
    "converter": ("dc-load-voltage", "dc-load-on-bank"),
}


def _forces(report: Report) -> dict[str, str]:
    """For each part the tightest of the rules that decide about its kind."""
    design = report.design
    kinds = {design.bank.battery.id: "battery"}
    for block in design.blocks:
        kinds[block.module.id] = "module"
        kinds.setdefault(block.part.id, "controller")
    if design.inverters.inverter is not None:
        kinds[design.inverters.inverter.id] = "inverter"
    for use in design.converters:
        kinds[use.converter.id] = "converter"
    forces = {}
    for part_id, kind in kinds.items():
        rivals = [line for line in report.lines if line.rule in DECIDING[kind] and line.margin_share is not None and line.passed]
        line = min(rivals, key=lambda one: one.margin_share or 0.0, default=None)
        if line is None or (line.margin_share or 0.0) > LOOSE_SHARE:
            forces[part_id] = "no rule closely: the cheapest that fits"
        else:
            asked = f"{_figure(line.actual)} {line.unit}, {line.sense} {_figure(line.required)} asked"
            forces[part_id] = f"{_lowered(line.title)}: {asked}"
    return forces


LOOSE_SHARE = 0.5
"""Margin from which a rule is not said to force a part."""


def _lowered(title: str) -> str:
    """A title as it stands inside a sentence: 'DC loads' stays as it is."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def _figure(value: float) -> str:
    """A number as a person writes it."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def _near_bounds(report: Report) -> tuple[str, ...]:
    """Bounds of ours, not of the trade, that the design lies on."""
    return tuple(
        f"the design lies on our bound of {line.required:g} {line.where}: raise it in [bounds] to look further"
        for line in report.lines if line.rule == "bounds" and line.actual == line.required and line.required > 2
    )
