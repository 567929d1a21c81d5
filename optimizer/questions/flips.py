"""Where the cheapest alternative changes: over the price of the modules, the air's temperature and the daily energy."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

from optimizer.answer import solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Module
from optimizer.inputs.problem import Problem
from optimizer.needs.demand import Demand
from optimizer.needs.requirements import with_section
from optimizer.needs.site import FULL_SUN_W_M2, Needs
from optimizer.questions.curve import Axis, axis_of
from optimizer.questions.why_not import proven
from optimizer.rules.array import COLDEST_CELL_C, HOTTEST_CELL_C, cell_c

Progress = Callable[[str], None]

Only = Callable[[Problem, Catalog, str], Problem]
"""The problem with one alternative left, of those that the catalog holds."""

STRETCHES = 20
"""Stretches into which an axis is cut at first. An alternative that wins only inside one of them is missed."""

REACH_K = 20.0
"""How much colder and warmer air is looked at; less where the rules on cells end before."""


@dataclass(frozen=True)
class FlipAxis:
    """An axis with a second scale, which says the same in a figure that one can look up."""

    axis: Axis
    title: str
    scale: str
    scale_unit: str
    scaled: Callable[[float], float]


@dataclass(frozen=True)
class Interval:
    """One stretch on which one alternative is the cheapest; `winner` is None where none has a design."""

    start: float
    end: float
    winner: str | None
    start_cents: int | None
    end_cents: int | None


@dataclass(frozen=True)
class Intervals:
    """The winners along one axis, from its lowest value to its highest; from one to the next is one resolution."""

    over: FlipAxis
    found: tuple[Interval, ...]
    complete: bool
    """Whether the whole axis was looked at."""
    proven: bool
    """Whether every answer behind it was proven."""


def flip_axes(problem: Problem, catalog: Catalog) -> tuple[FlipAxis, ...]:
    """What else than the price of one part may change the winner."""
    return (_module_price(problem, catalog), _air(problem, catalog), _load(problem, catalog))


def with_module_prices(catalog: Catalog, share: float) -> Catalog:
    """The catalog with every module's price multiplied, in whole cents."""
    return replace(catalog, modules=tuple(module.model_copy(update={"price": round(module.price * share, 2)}) for module in catalog.modules))


def _per_watt(modules: tuple[Module, ...]) -> float:
    """Price of a watt of the module that has the cheapest."""
    return min((module.price / module.pmax_w for module in modules), default=0.0)


def _module_price(problem: Problem, catalog: Catalog) -> FlipAxis:
    def at(value: float) -> tuple[Problem, Catalog]:
        return problem, with_module_prices(catalog, value / 100)

    axis = Axis("module-price", "% of today's module prices", 20.0, 300.0, 1.0, tightening=True, exact=False, now=100.0, at=at)
    return FlipAxis(
        axis, "price of all modules", "cheapest module", f"{catalog.currency}/W", lambda value: _per_watt(catalog.modules) * value / 100,
    )


def _air(problem: Problem, catalog: Catalog) -> FlipAxis:
    now = problem.temperatures

    def at(value: float) -> tuple[Problem, Catalog]:
        moved = with_section(
            problem, "temperatures", lowest_c=now.lowest_c + value, hottest_c=now.hottest_c + value, air_c=tuple(c + value for c in now.air_c),
        )
        return moved, catalog

    # Cells are looked up within the range of the rules only: the hottest module, and the coldest morning, end the axis.
    rise = max((float(cell_c(0.0, module.noct_c, FULL_SUN_W_M2, Needs(problem).mounting_factor)) for module in catalog.modules), default=0.0)
    low = max(-REACH_K, min(0.0, float(math.ceil(COLDEST_CELL_C - now.lowest_c))))
    high = min(REACH_K, max(0.0, float(math.floor(HOTTEST_CELL_C - now.hottest_c - rise))))
    axis = Axis("air-temperature", "K warmer", low, high, 0.5, tightening=False, exact=False, now=0.0, at=at)
    return FlipAxis(axis, "temperature of the air", "lowest temperature", "C", lambda value: now.lowest_c + value)


def _load(problem: Problem, catalog: Catalog) -> FlipAxis:
    # The axis of `curve` is fine enough for steps of one staircase; winners need not be told apart so closely.
    axis = replace(axis_of(problem, catalog, "load"), resolution=0.5, exact=False)

    def most_wh(value: float) -> float:
        return max(float(season.average_wh.sum()) for season in Demand(axis.at(value)[0]).seasons)

    return FlipAxis(axis, "daily energy, by the hours of use", "loads", "Wh/day", most_wh)


def flips_along(problem: Problem, catalog: Catalog, values: tuple[str, ...], only: Only, progress: Progress = lambda _: None) -> tuple[Intervals, ...]:
    """The cheapest alternative along each axis.

    values: names of the alternatives.
    Every axis is sampled, today's value among the samples, and between two samples with different winners the stretch is
    halved down to the resolution; so what begins and ends between two samples is missed.
    Ctrl-C ends it with what is known so far: axes that were not reached have no intervals.
    """
    found: list[Intervals] = []
    stopped = False
    for over in flip_axes(problem, catalog):
        walk = _Walk(over.axis, values, only, progress)
        if not stopped:
            try:
                walk.sampled()
            except KeyboardInterrupt:
                stopped = True
        found.append(Intervals(over, walk.intervals(), not stopped, walk.proven))
    return tuple(found)


@dataclass(frozen=True)
class _Won:
    """Who is the cheapest at a point, and its total; by what the problem minimises."""

    winner: str | None
    cents: int | None


class _Walk:
    """Winners at points of an axis, each found once."""

    def __init__(self, axis: Axis, values: tuple[str, ...], only: Only, progress: Progress) -> None:
        self.axis, self.values, self.only, self.progress = axis, values, only, progress
        self.proven = True
        self._won: dict[int, _Won] = {}
        self._stretches: list[tuple[int, int]] = []
        self._guess: str | None = None

    def won(self, point: int) -> _Won:
        """The cheapest alternative at a point; of two that cost the same, the first by name."""
        if point not in self._won:
            value = self.axis.value(point)
            problem, catalog = self.axis.at(value)
            self.progress(f"{self.axis.name} {value:g}")
            best: tuple[int, str, int] | None = None
            # The winner near by goes first: what the others must cost to win is then known, which leaves few candidates.
            for name in sorted(self.values, key=lambda one: (one != self._guess, one)):
                answer = solve(self.only(problem, catalog, name), catalog, explain=False, most_cents=best[0] if best else None)
                self.proven = self.proven and proven(answer)
                if answer.report is not None:
                    bill = answer.report.bill
                    here = (bill.objective_cents, name, bill.paid_cents)
                    best = here if best is None else min(best, here)
            self._won[point] = _Won(best[1], best[2]) if best else _Won(None, None)
            self._guess = best[1] if best else self._guess
        return self._won[point]

    def sampled(self) -> None:
        """Samples from end to end, today's value among them; between two that differ, halving."""
        axis = self.axis
        stretch = max(1, math.ceil(axis.last / STRETCHES))
        now = round((axis.now - axis.low) / axis.resolution)
        for low, high in pairwise(sorted({*range(0, axis.last, stretch), min(max(now, 0), axis.last), axis.last})):
            self._between(low, high)

    def _between(self, low: int, high: int) -> None:
        if self.won(low).winner == self.won(high).winner:
            self._stretches.append((low, high))
        elif high - low == 1:
            self._stretches += [(low, low), (high, high)]
        else:
            middle = (low + high) // 2
            self._between(low, middle)
            self._between(middle, high)

    def intervals(self) -> tuple[Interval, ...]:
        """The stretches in the order of their values, neighbours with the same winner as one."""
        merged: list[tuple[int, int]] = []
        for low, high in sorted(self._stretches):
            if merged and self._won[merged[-1][1]].winner == self._won[low].winner:
                merged[-1] = (merged[-1][0], high)
            else:
                merged.append((low, high))
        return tuple(
            Interval(self.axis.value(low), self.axis.value(high), self._won[low].winner, self._won[low].cents, self._won[high].cents)
            for low, high in merged
        )
