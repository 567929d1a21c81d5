"""The price staircase over one requirement, over all loads, over the sun, or over the price of a part."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

from optimizer.answer import Answer, Outcome, solve
from optimizer.errors import InputError, WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, Busbar, Cable, Protection, SoftStarter
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import nearest
from optimizer.needs.requirements import RUN_M, with_context_kept, with_section
from optimizer.needs.sunlight import with_sun_percent
from optimizer.proof.check import Report
from optimizer.questions.again import held_against, solve_near
from optimizer.questions.why_not import proven, with_price
from optimizer.rules.book import Severities

OVER = ("autonomy", "load", "sun", "temperature", "length", "price:PART")

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
    """Whether every step is found to the resolution; otherwise what begins and ends between two samples may be missed."""
    now: float
    """Value of the problem and catalog as they stand."""
    at: Callable[[float], tuple[Problem, Catalog]]

    @property
    def last(self) -> int:
        """Number of the last point; the first is 0."""
        return math.ceil((self.high - self.low) / self.resolution - 1e-6)

    def value(self, point: int) -> float:
        """Value at a point of the axis."""
        return min(self.high, round(self.low + point * self.resolution, 6))


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
    """Steps from the lowest value to the highest; from the end of one to the start of the next is one resolution."""

    axis: Axis
    steps: tuple[Step, ...]
    complete: bool = True

    @property
    def exact(self) -> bool:
        """Whether every step is found to the resolution, each design proven the cheapest."""
        return self.axis.exact and self.proven

    @property
    def proven(self) -> bool:
        """Whether the whole axis was looked at, each design proven the cheapest where it was asked for."""
        return self.complete and all(proven(step.answer) for step in self.steps)


def axis_of(problem: Problem, catalog: Catalog, over: str) -> Axis:
    """The axis that `over` names. Raises WrongUse for an unknown one, InputError for an unknown part."""
    if over == "autonomy":
        days = problem.autonomy.days
        longest = max(days.values()) if isinstance(days, dict) else days
        kept = with_context_kept(problem)

        def autonomy(value: float) -> tuple[Problem, Catalog]:
            changed = {season: d * value / longest for season, d in days.items()} if isinstance(days, dict) else value
            return with_section(kept, "autonomy", days=changed), catalog

        # More days mean a slower discharge and so more capacity, which lets other banks carry what single days of use take.
        alone = all(one.days_per_week == 7 for one in problem.loads) or not Severities(problem.rules).enforced("weekly-swing")
        return Axis("autonomy", "d", min(0.5, longest), max(5.0, longest), 0.01 if alone else 0.05, tightening=True, exact=alone, now=longest, at=autonomy)
    if over == "load":
        def load(value: float) -> tuple[Problem, Catalog]:
            scaled = tuple(
                one.model_copy(update={"hours": {season: min(24.0, hours * value / 100) for season, hours in one.hours.items()}})
                for one in problem.loads
            )
            return problem.model_copy(update={"loads": scaled}), catalog

        # A load that runs all day cannot run longer: then the mix of day and night use changes as well.
        alone = all(hours * 1.5 <= 24 for one in problem.loads for hours in one.hours.values())
        return Axis("load", "% of the hours of use", 50.0, 150.0, 0.1 if alone else 0.5, tightening=True, exact=alone, now=100.0, at=load)
    if over == "sun":
        def sun(value: float) -> tuple[Problem, Catalog]:
            return with_sun_percent(problem, value), catalog

        return Axis("sun", "% of the sun hours", 60.0, 120.0, 0.1, tightening=False, exact=True, now=100.0, at=sun)
    if over == "temperature":
        def temperature(value: float) -> tuple[Problem, Catalog]:
            lowest = problem.temperatures.battery_lowest_c
            moved = {season: c + value for season, c in lowest.items()} if isinstance(lowest, dict) else lowest + value
            return with_section(
                problem, "temperatures", battery_lowest_c=moved, battery_c=tuple(c + value for c in problem.temperatures.battery_c)
            ), catalog

        return Axis("temperature", "K warmer at the battery", -10.0, 20.0, 0.5, tightening=False, exact=False, now=0.0, at=temperature)
    if over == "length":
        if not catalog.cables:
            raise InputError("--over length: the catalog has no cables, so the length of the run changes nothing")
        now = problem.wiring.array_run_m

        def length(value: float) -> tuple[Problem, Catalog]:
            return with_section(problem, "wiring", array_run_m=value), catalog

        # Each design is dearer by its own cable with every metre, so one may win in the middle that wins at neither end.
        return Axis("length", "m from the array", min(5.0, now), min(RUN_M[1], max(100.0, 2 * now)), 1.0, tightening=True, exact=False, now=now, at=length)
    if over.startswith("price:"):
        return _price_axis(problem, catalog, over.removeprefix("price:"))
    raise WrongUse(f"--over {over} is not known: use one of {', '.join(OVER)}")


def _price_axis(problem: Problem, catalog: Catalog, part_id: str) -> Axis:
    part = catalog.by_id.get(part_id)
    if part is None:
        raise InputError(f"part '{part_id}' is not in the catalog{nearest(part_id, list(catalog.by_id))}")

    def price(value: float) -> tuple[Problem, Catalog]:
        return problem, with_price(catalog, part, round(value * 100))

    # Prices beside the bill together with a budget: the cheapest by one may be forbidden by the other, here and there.
    # A cable, a device, a busbar or a mount gives way to another inside one and the same choice, whose cost is then no straight line.
    two_prices = any(problem.objective.model_dump().values()) or problem.source_in_design
    straight = (problem.limits.budget is None or not two_prices) and not isinstance(part, Autotransformer | Busbar | Cable | Mount | Protection | SoftStarter)
    # Replacements rise with the price too, in cents of each purchase: no straight line.
    straight = straight and problem.life_cycle.objective == "purchase"
    return Axis(f"price:{part_id}", catalog.currency, 0.0, max(1.0, 2 * part.price), 0.01, tightening=True, exact=straight, now=part.price, at=price)


SAMPLES = 20
"""Stretches into which an axis is cut where validity does not fall or rise with the value."""


def curve(problem: Problem, catalog: Catalog, over: str, progress: Progress = lambda _: None) -> Curve:
    """The cheapest design at every point of the axis, in stretches.

    An exact axis is walked from its easy end: the present design is followed, by the check, to the last point at which
    it holds. What is valid there was valid before, so nothing cheaper can turn up in between; then the problem is solved
    again. Over a price the least cost is concave, and the walk goes from crossing to crossing of the designs' lines.
    Any other axis is sampled, and every change between two samples is halved down to the resolution.
    Ctrl-C ends it with what is known so far.
    """
    axis = axis_of(problem, catalog, over)
    walk = _Walk(axis, progress)
    complete = True
    try:
        if over.startswith("price:") and not isinstance(catalog.by_id[over.removeprefix("price:")], Autotransformer | Busbar | Cable | Mount | Protection | SoftStarter):
            walk.along(walk.last_cheapest)
        elif axis.exact:
            walk.along(walk.last_held)
        else:
            walk.sampled()
        walk.explained()
    except KeyboardInterrupt:
        complete = False
    return Curve(axis, walk.steps(), complete)


def _crossing(good: Report, bad: Report) -> float:
    """Share of the way from where a design holds to where it does not at which the first margin is used up."""
    if len(good.lines) != len(bad.lines):
        return 0.5
    shares = [
        one.margin / (one.margin - other.margin)
        for one, other in zip(good.lines, bad.lines, strict=True)
        if other.fails and one.margin is not None and other.margin is not None and -math.inf < other.margin < min(one.margin, 0.0) and one.margin < math.inf
    ]
    return min(shares, default=0.5)


class _Walk:
    """Stretches of points with one answer each, found one after the other."""

    def __init__(self, axis: Axis, progress: Progress) -> None:
        self.axis, self.progress = axis, progress
        self._stretches: list[tuple[int, int, Answer]] = []
        self._known: dict[int, Answer] = {}
        self._reports: dict[tuple[str, int], Report] = {}

    def answer(self, point: int, near_cents: int | None = None) -> Answer:
        """The cheapest design at a point, solved once.

        near_cents: what a design near by costs. Where a walk that had designs finds none, it ends, and the reason is asked for at once.
        """
        if point not in self._known:
            self.progress(f"{self.axis.name} {self.axis.value(point):g}")
            asked = self.axis.at(self.axis.value(point))
            self._known[point] = solve(*asked, explain=False) if near_cents is None else solve_near(*asked, near_cents, explain=True)
        return self._known[point]

    def report(self, answer: Answer, point: int) -> Report | None:
        """The design of an answer, held against every rule at another point; asked once."""
        if answer.choice is None:
            return None
        there = self._known.get(point)
        if there is not None and there.choice == answer.choice:
            return there.report
        key = answer.choice.model_dump_json(), point
        if key not in self._reports:
            self._reports[key] = held_against(answer, *self.axis.at(self.axis.value(point)))
        return self._reports[key]

    def explained(self) -> None:
        """Say once for each stretch without a design why there is none; at every point asked it would take far longer."""
        self._stretches = self._merged()
        for at, (low, high, answer) in enumerate(self._stretches):
            if answer.outcome is Outcome.INFEASIBLE and not answer.reason:
                reason = solve(*self.axis.at(self.axis.value(low))).reason
                self._stretches[at] = (low, high, replace(answer, reason=reason))

    def _merged(self) -> list[tuple[int, int, Answer]]:
        """The stretches in the order of their values, neighbours with the same choice as one."""
        merged: list[tuple[int, int, Answer]] = []
        for stretch in sorted(self._stretches, key=lambda one: one[0]):
            if merged and merged[-1][2].choice == stretch[2].choice:
                start, _, answer = merged.pop()
                merged.append((start, stretch[1], answer))
            else:
                merged.append(stretch)
        return merged

    def steps(self) -> tuple[Step, ...]:
        """The stretches with their values."""
        return tuple(
            Step(self.axis.value(start), self.axis.value(end), answer, self._cents(answer, start), self._cents(answer, end))
            for start, end, answer in self._merged()
        )

    def _cents(self, answer: Answer, point: int) -> int | None:
        report = self.report(answer, point)
        return report.bill.paid_cents if report is not None else None

    # --- an axis that only asks for more

    def along(self, last_of: Callable[[Answer, int, int], int]) -> None:
        """From the easy end to the hard end, each design as far as it goes."""
        here, hard, sign = (0, self.axis.last, 1) if self.axis.tightening else (self.axis.last, 0, -1)
        cents: int | None = None
        while sign * (hard - here) >= 0:
            answer = self.answer(here, cents)
            cents = answer.report.bill.objective_cents if answer.report is not None else None
            end = hard if answer.report is None else last_of(answer, here, hard)
            self._stretches.append((min(here, end), max(here, end), answer))
            here = end + sign

    def last_held(self, answer: Answer, here: int, hard: int) -> int:
        """The furthest point at which a design is valid: by the margins of the rules that fail beyond, which are nearly
        straight lines, and each third time by halving, should they be anything but straight.
        """
        at_good, at_bad = self.report(answer, here), self.report(answer, hard)
        assert at_good is not None, "a design is followed"
        assert at_bad is not None, "a design is followed"
        if at_bad.valid:
            return hard
        good, bad, tries = here, hard, 0
        while abs(bad - good) > 1:
            share = _crossing(at_good, at_bad) if tries % 3 < 2 else 0.5
            way = min(max(int(share * abs(bad - good)), 1), abs(bad - good) - 1)
            between = good + way if bad > good else good - way
            report = self.report(answer, between)
            assert report is not None, "a design is followed"
            if report.valid:
                good, at_good = between, report
            else:
                bad, at_bad = between, report
            tries += 1
        return good

    # --- prices: points are cents

    def last_cheapest(self, answer: Answer, here: int, hard: int) -> int:
        """The furthest price up to which no design costs less: where this line crosses the lowest of the others."""
        assert answer.report is not None, "a design is followed"
        cost, bought = self._line(answer)
        end = self.last_held(answer, here, hard)
        while end > here:
            other = self.answer(end)
            if other.report is None:
                break
            over = cost + bought * (end - here) - other.report.bill.objective_cents
            slope = bought - self._line(other)[1]
            if over <= 0 or slope <= 0:
                break
            end = max(here, end - -(-over // slope))
        return end

    def _line(self, answer: Answer) -> tuple[int, int]:
        """What a design costs, and how many of the part it buys."""
        assert answer.report is not None, "asked only of designs"
        part_id = self.axis.name.removeprefix("price:")
        bill = answer.report.bill
        return bill.objective_cents, next((line.quantity for line in bill.lines if line.part == part_id), 0)

    # --- any other axis

    def sampled(self) -> None:
        """Samples from end to end; between two that differ, halving."""
        stretch = max(1, math.ceil(self.axis.last / SAMPLES))
        points = [*range(0, self.axis.last, stretch), self.axis.last]
        for low, high in pairwise(points):
            self._between(low, high)

    def _between(self, low: int, high: int) -> None:
        first, second = self.answer(low), self.answer(high)
        if first.choice == second.choice:
            self._stretches.append((low, high, first))
        elif high - low == 1:
            self._stretches += [(low, low, first), (high, high, second)]
        else:
            middle = (low + high) // 2
            self._between(low, middle)
            self._between(middle, high)
