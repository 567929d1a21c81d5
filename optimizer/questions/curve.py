"""The price staircase over one requirement, over all loads, over the sun, or over the price of a part."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optimizer.answer import Answer, solve
from optimizer.design import Design
from optimizer.errors import InputError, WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import nearest
from optimizer.needs.requirements import with_context_kept, with_section
from optimizer.needs.site import Needs
from optimizer.proof.check import check_design
from optimizer.questions.why_not import with_price

OVER = ("autonomy", "load", "sun", "temperature", "price:PART")

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Axis:
    """What a curve runs over: values rise; `tightening` says whether a higher value asks for more."""

    name: str
    unit: str
    low: float
    high: float
    resolution: float
    tightening: bool
    exact: bool
    """Whether every step is found; otherwise steps closer than the resolution, or hidden inside another, may be missed."""
    at: Callable[[float], tuple[Problem, Catalog]]


@dataclass(frozen=True)
class Step:
    """One stretch of the curve on which one design is the cheapest; impossible where `answer` has no report."""

    start: float
    end: float
    answer: Answer
    start_cents: int | None
    end_cents: int | None


@dataclass(frozen=True)
class Curve:
    """Steps from the lowest value to the highest. Between two steps lies less than the resolution."""

    axis: Axis
    steps: tuple[Step, ...]
    complete: bool = True


def axis_of(problem: Problem, catalog: Catalog, over: str) -> Axis:
    """The axis that `over` names. Raises WrongUse for an unknown one, InputError for an unknown part."""
    if over == "autonomy":
        days = problem.autonomy.days
        longest = max(days.values()) if isinstance(days, dict) else days
        kept = with_context_kept(problem)

        def autonomy(value: float) -> tuple[Problem, Catalog]:
            changed = {season: d * value / longest for season, d in days.items()} if isinstance(days, dict) else value
            return with_section(kept, "autonomy", days=changed), catalog

        return Axis("autonomy", "d", min(0.5, longest), max(5.0, longest), 0.01, tightening=True, exact=True, at=autonomy)
    if over == "load":
        def load(value: float) -> tuple[Problem, Catalog]:
            scaled = tuple(
                one.model_copy(update={"hours": {season: min(24.0, hours * value / 100) for season, hours in one.hours.items()}})
                for one in problem.loads
            )
            return problem.model_copy(update={"loads": scaled}), catalog

        return Axis("load", "% of the hours of use", 50.0, 150.0, 0.1, tightening=True, exact=True, at=load)
    if over == "sun":
        def sun(value: float) -> tuple[Problem, Catalog]:
            return with_section(problem, "array", sun_h=tuple(min(14.0, hours * value / 100) for hours in problem.array.sun_h)), catalog

        return Axis("sun", "% of the sun hours", 60.0, 120.0, 0.1, tightening=False, exact=True, at=sun)
    if over == "temperature":
        def temperature(value: float) -> tuple[Problem, Catalog]:
            lowest = problem.temperatures.battery_lowest_c
            moved = {season: c + value for season, c in lowest.items()} if isinstance(lowest, dict) else lowest + value
            return with_section(
                problem, "temperatures", battery_lowest_c=moved, battery_c=tuple(c + value for c in problem.temperatures.battery_c)
            ), catalog

        return Axis("temperature", "K warmer at the battery", -10.0, 20.0, 0.1, tightening=False, exact=False, at=temperature)
    if over.startswith("price:"):
        return _price_axis(problem, catalog, over.removeprefix("price:"))
    raise WrongUse(f"--over {over} is not known: use one of {', '.join(OVER)}")


def _price_axis(problem: Problem, catalog: Catalog, part_id: str) -> Axis:
    part = catalog.by_id.get(part_id)
    if part is None:
        raise InputError(f"part '{part_id}' is not in the catalog{nearest(part_id, list(catalog.by_id))}")

    def price(value: float) -> tuple[Problem, Catalog]:
        return problem, with_price(catalog, part, round(value * 100))

    return Axis(f"price:{part_id}", catalog.currency, 0.0, max(1.0, 2 * part.price), 0.01, tightening=True, exact=True, at=price)


def curve(problem: Problem, catalog: Catalog, over: str, progress: Progress = lambda _: None) -> Curve:
    """Walk the axis from its easy end to its hard end.

    From each value the present design is followed to the last value at which it still holds (by the check, halving
    down to the resolution), and the problem solved again just beyond. For a requirement that only tightens this finds
    every step; where the check is not monotone in the value, and for prices, a step is also ended where a cheaper
    design is found at its middle. Ctrl-C ends it with what is known so far.
    """
    axis = axis_of(problem, catalog, over)
    steps: list[Step] = []
    complete = True
    here, last = (axis.low, axis.high) if axis.tightening else (axis.high, axis.low)
    sign = 1.0 if axis.tightening else -1.0
    try:
        while sign * (last - here) >= -1e-9:
            progress(f"{axis.name} {here:g}")
            answer = solve(*axis.at(here))
            end = last if answer.report is None else _last_held(axis, answer, here, last)
            steps.append(Step(here, end, answer, _cents(axis, answer, here), _cents(axis, answer, end)))
            if answer.report is None:
                break
            here = round(end + sign * axis.resolution, 9)
    except KeyboardInterrupt:
        complete = False
    if not axis.tightening:
        steps = [Step(step.end, step.start, step.answer, step.end_cents, step.start_cents) for step in reversed(steps)]
    return Curve(axis, _merged(steps), complete)


def _merged(steps: list[Step]) -> tuple[Step, ...]:
    """Neighbours with the same choice are one step."""
    merged: list[Step] = []
    for step in steps:
        if merged and merged[-1].answer.choice == step.answer.choice:
            first = merged.pop()
            merged.append(Step(first.start, step.end, first.answer, first.start_cents, step.end_cents))
        else:
            merged.append(step)
    return tuple(merged)


def _cents(axis: Axis, answer: Answer, value: float) -> int | None:
    """Bill of an answer's design at a value [cents]."""
    if answer.report is None:
        return None
    problem, catalog = axis.at(value)
    return check_design(_design(answer, catalog), Needs(problem), catalog).bill.total_cents


def _design(answer: Answer, catalog: Catalog) -> Design:
    from optimizer.design import design_of

    assert answer.choice is not None, "a design is there"
    return design_of(answer.choice, catalog)


def _last_held(axis: Axis, answer: Answer, here: float, last: float) -> float:
    """The furthest value towards `last` at which the present design is still the cheapest that holds."""
    if axis.name.startswith("price:"):
        return _last_cheapest(axis, answer, here, last)

    def holds(value: float) -> bool:
        problem, catalog = axis.at(value)
        return check_design(_design(answer, catalog), Needs(problem), catalog).valid

    if holds(last):
        return last
    good, bad = here, last
    while abs(bad - good) > axis.resolution:
        middle = (good + bad) / 2
        good, bad = (middle, bad) if holds(middle) else (good, middle)
    return good


def _last_cheapest(axis: Axis, answer: Answer, here: float, last: float) -> float:
    """Prices: the least cost is concave, so the present line holds up to where it crosses the next; halving by solving."""
    def still(value: float) -> bool:
        now = _cents(axis, answer, value)
        best = solve(*axis.at(value)).report
        return best is not None and now is not None and now <= best.bill.total_cents

    if still(last):
        return last
    good, bad = here, last
    while True:
        # Jump to where the two lines cross instead of halving blindly: exact in whole cents after a few steps.
        best = solve(*axis.at(bad))
        crossing = _crossing(axis, answer, best, good, bad)
        if crossing is None or crossing <= good or crossing >= bad:
            return max(good, round(bad - axis.resolution, 2)) if crossing is None or crossing >= bad else good
        if still(crossing):
            return crossing
        bad = crossing


def _crossing(axis: Axis, left: Answer, right: Answer, low: float, high: float) -> float | None:
    """Highest price in whole cents at which `left` costs no more than `right`, their bills being straight lines."""
    ends = [_cents(axis, answer, value) for answer in (left, right) for value in (low, high)]
    if any(end is None for end in ends):
        return None
    left_low, left_high, right_low, right_high = (float(end) for end in ends if end is not None)
    slope = (left_high - left_low) - (right_high - right_low)
    if slope <= 0:
        return None
    share = (right_low - left_low) / slope
    return int((low + share * (high - low)) * 100 + 1e-6) / 100
