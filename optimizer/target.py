"""Design to a target: the cheapest design whose loads are off no more than so many hours a year, in years that are lived.

Program and replay take turns. The program gives the cheapest design that is not known to fail, the replay lives it; one
that fails teaches which others would fail as well, and is cut off with them. Every cost on the way is a lower bound, and the
first design that passes is the cheapest. docs/program.md says why nothing that could pass is cut off.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.candidate_set import Candidates
from optimizer.choice.hours import Beaten
from optimizer.choice.kinds import Kinds
from optimizer.choice.search import Found, search
from optimizer.choice.solver import Ending
from optimizer.design import Bank, Block, ConverterUse, Design, InverterBank
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.hours import hour_loads
from optimizer.needs.requirements import with_context_kept, with_section
from optimizer.needs.site import Needs
from optimizer.proof.array import Way
from optimizer.proof.check import Report
from optimizer.proof.circuits import kept_shares
from optimizer.proof.core import Core
from optimizer.proof.lived import Years, years_of
from optimizer.proof.plant import Plant, Takes, block_harvest, plant_of, takes_of
from optimizer.proof.replay import bus_wh, short_hours
from optimizer.rules.book import meets, with_margin

LADDER = (1.02, 1.05, 1.1, 1.16, 1.25, 1.35, 1.5, 1.75, 2.0, 2.5, 3.5, 6.0, 1e4)
"""Multiples of its array that a failed design is given; the last stands for any array at all."""

SUN_STEP_W_M2, AIR_STEP_K = 10.0, 1.0
"""Width of the cells of sun and air in which one array is held against another."""

CELL_REACH_K = 3.0
"""Most by which cells' temperatures differ inside such a cell: the step of the air and what the step of the sun heats."""

LARGER_STORES = (1.0, 1.3, 1.7, 2.3, 3.0)
"""Multiples of the days without sun with which a first design that passes is looked for."""

WINDOWS = (1.05, 1.15, 1.3, 1.6)
"""Multiples of the first design's cost up to which the cheapest that passes is looked for, one after the other."""

ENOUGH = 1.03
"""More array than a failed design would have needed, for a first design that passes."""

CORE_EPS = 1e-9


@dataclass(frozen=True)
class Lesson:
    """A design that failed, and would still with any array that gives less than `least` times as much in every hour."""

    design: Design
    takes: Takes
    """What it takes without its controllers."""
    least: float
    enough: float
    """The least multiple of the ladder with which it would do; infinite where none does."""
    floor: np.ndarray
    """Least that its arrays give in each cell of sun and air, over the sun [Wh m2/W], shape (cells,)."""


class Target:
    """The limit of one problem with its years, and the lessons of the designs that failed it."""

    def __init__(self, needs: Needs, catalog: Catalog, prices: PriceList, margin_share: float) -> None:
        asked = needs.problem.reliability
        assert asked is not None, "made only where there is a limit"
        self.needs, self.catalog, self.wiring, self.asked = needs, catalog, prices.wiring, asked
        self.most_h = float(with_margin(asked.loss_of_load_hours_max, "at most", margin_share))
        self.years: Years = years_of(needs.problem)
        self.air_c = float(self.years.air_c.min()), float(self.years.air_c.max())
        self.loads = hour_loads(needs)
        self.low, self.high = _cells(self.years)
        self.lessons: list[Lesson] = []
        self.failed: list[Design] = []
        self._peaks: dict[tuple[object, ...], np.ndarray] = {}

    # --- learning

    def learn(self, design: Design) -> None:
        """Find how much more array a failed design could have and would fail still.

        Its controllers' own use is left out: designs with fewer of them fail as well.
        """
        self.failed.append(design)
        plant = plant_of(self.needs, design, self.wiring, self.loads)
        idle = replace(plant, takes=takes_of(plant.core, replace(design, blocks=()), self.loads))
        bus = bus_wh(plant, self.years.sun_w_m2, self.years.air_c)
        failing, passing = self._bracket(idle, bus)
        if failing is not None:
            floor = sum(self._given(design.bank, block, way, high=True) for block, way in zip(design.blocks, plant.ways, strict=True))
            self.lessons.append(Lesson(design, idle.takes, failing, passing, np.asarray(floor)))

    def _bracket(self, plant: Plant, bus: np.ndarray) -> tuple[float | None, float]:
        """The greatest multiple of the ladder with which a plant fails, None for none, and the least with which it does not."""
        hours = short_hours(plant, bus, LADDER, critical_only=self.asked.critical_only).mean(axis=1)
        passes = [times for times, each in zip(LADDER, hours, strict=True) if meets(float(each), self.most_h, "at most")]
        enough = min(passes, default=np.inf)  # more array never makes it worse
        return max((times for times in LADDER if times < enough), default=None), enough

    def _given(self, bank: Bank, block: Block, way: Way, *, high: bool) -> np.ndarray:
        """What a block gives in each cell over the sun, at the corner where it is least (`high`: bright and hot) or most.

        Over the sun it falls with sun and air, but for the current of a PWM string, which may rise with the temperature
        as its short-circuit current does.
        """
        sun, air = self.high if high else self.low
        given = block_harvest(self.needs, bank, block, sun, air, way).bus_wh / sun
        rise = 1 + CELL_REACH_K * abs(block.module.tc_isc_pct_k) / 100 if block.device.kind == "pwm" else 1.0
        return np.asarray(given / rise if high else given * rise)

    # --- teaching

    def beaten(self, found: Candidates, first: int) -> list[Beaten]:
        """What each lesson from number `first` on says of these candidates."""
        return [self._beaten(found, lesson) for lesson in self.lessons[first:]]

    def _beaten(self, found: Candidates, lesson: Lesson) -> Beaten:
        cores = np.array([row for row in self._same_bank(found, lesson.design.bank) if self._takes_no_less(found, row, lesson)], dtype=int)
        share = np.full(len(found.blocks), np.inf)
        if len(cores):
            for row in np.nonzero(found.blocks.bank_class == found.cores.table.bank_class[cores[0]])[0]:
                peak = self._peak(found, int(row), lesson.design.bank)
                with np.errstate(divide="ignore", invalid="ignore"):
                    share[row] = np.max(np.where(peak > 0, peak / lesson.floor, 0.0))
        return Beaten(cores, share, lesson.least)

    def _peak(self, found: Candidates, row: int, bank: Bank) -> np.ndarray:
        """The most that one block of the candidates gives in each cell, over the sun."""
        block = found.arrays.block(found.blocks, row)
        key = (bank.charging_v, bank.nominal_v, *found.block_key(row))
        if key not in self._peaks:
            way = Way.of(self.wiring.block_circuits(bank, block), self.catalog.tables)
            self._peaks[key] = self._given(bank, block, way, high=False)
        return self._peaks[key]

    def _same_bank(self, found: Candidates, bank: Bank) -> Iterator[int]:
        table = found.cores.table
        for row in range(len(table)):
            same = (int(table.volts[row]), int(table.series[row]), int(table.strings[row])) == (bank.volts, bank.series, bank.strings)
            if same and found.cores.batteries[table.battery[row]].id == bank.battery.id:
                yield row

    def _takes_no_less(self, found: Candidates, row: int, lesson: Lesson) -> bool:
        """Whether a core takes in every hour at least what that of the lesson did; loads that wait are compared with equals alone."""
        bank, inverters, converters = found.cores.parts(row, self.needs, self.catalog)
        here, there = self._takes(bank, inverters, converters), lesson.takes
        more = all((getattr(here, name) >= getattr(there, name) - CORE_EPS).all() for name in ("standing", "critical", "other"))
        return more and all(np.allclose(getattr(here, name), getattr(there, name), rtol=1e-12, atol=0) for name in ("deferred", "deferred_w", "deferred_most"))

    def _takes(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> Takes:
        bare = Design(bank, (), inverters, converters)
        core = Core(self.needs, self.catalog.tables, bank, inverters, converters, kept_shares(self.wiring, bare))
        return takes_of(core, bare, self.loads)


def _cells(years: Years) -> tuple[tuple[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]:
    """Lower and upper corners, sun and air, of the cells that the years' hours of light lie in."""
    sun = years.sun_w_m2
    air = np.broadcast_to(np.atleast_2d(years.air_c), sun.shape)
    lit = sun > 0
    sun, air = sun[lit], air[lit]
    coldest = float(air.min())
    cells = np.unique(np.floor(sun / SUN_STEP_W_M2).astype(int) * 10_000 + np.floor((air - coldest) / AIR_STEP_K).astype(int))
    i, j = cells // 10_000, cells % 10_000
    low = np.maximum(i * SUN_STEP_W_M2, sun.min()), coldest + j * AIR_STEP_K
    high = np.minimum((i + 1) * SUN_STEP_W_M2, sun.max()), np.minimum(coldest + (j + 1) * AIR_STEP_K, air.max())
    return low, high


# --- the search


@dataclass(frozen=True)
class Asked:
    """One question to the search, as `solve` was asked it."""

    needs: Needs
    """What the search looks through: the problem's, with a margin where one is asked for."""
    catalog: Catalog
    accepts: Callable[[Design], bool]
    prune: bool
    solver: str
    kinds: Kinds | None
    explain: bool
    most_cents: int | None


def search_to_target(asked: Asked, target: Target, report_of: Callable[[Design], Report]) -> Found:
    """The cheapest design that the check accepts, the loss-of-load limit among its rules.

    report_of: the report of a design that was asked about.
    First the search as it is without a limit. Where its design fails, some design that passes is looked for with larger stores and
    arrays, which bounds the price; then program and replay take turns below that price.
    """
    hunt = _Hunt(asked, target, report_of)
    found = hunt.search(asked.needs, once=True, explain=asked.explain, most_cents=asked.most_cents)
    if found.design is not None or not hunt.tried:
        return found
    if asked.prune:
        hunt.look_for_one()
    if hunt.left_rounds < 1 or asked.needs.problem.solver.gap >= 1:  # any design is within such a gap, and none is told from another
        return hunt.ending(found, found)
    return hunt.ending(hunt.in_turns(), found)


class _Hunt:
    def __init__(self, asked: Asked, target: Target, report_of: Callable[[Design], Report]) -> None:
        self.asked, self.target, self.report_of = asked, target, report_of
        self.started = time.perf_counter()
        self.best: Design | None = None
        self.tried: list[Design] = []
        self.timing: dict[str, float] = {}
        self.bound_cents: float | None = None
        """Price up to which no design passes [cents]."""

    @property
    def _left_s(self) -> float:
        return max(0.05, self.target.needs.problem.solver.time_limit_s - (time.perf_counter() - self.started))

    @property
    def left_rounds(self) -> int:
        """Designs that may still be replayed."""
        return self.target.asked.rounds_max - len(self.tried)

    def cents(self, design: Design) -> int:
        """Objective of a design that was asked about [cents]."""
        return self.report_of(design).bill.objective_cents

    def _accepts(self, design: Design) -> bool:
        self.tried.append(design)
        return self.asked.accepts(design)

    def search(self, needs: Needs, *, once: bool, explain: bool, most_cents: int | None) -> Found:
        """One search; `once`: it ends with its first design, accepted or not."""
        asked = self.asked
        found = search(
            needs, asked.catalog, self._accepts, prune=asked.prune, solver=asked.solver, kinds=asked.kinds, explain=explain, most_cents=most_cents,
            teacher=None if once else self.target, rejections_most=0 if once else self.left_rounds - 1, time_limit_s=self._left_s,
        )
        for key, seconds in found.timing_s.items():
            self.timing[key] = self.timing.get(key, 0.0) + seconds
        return replace(found, timing_s=dict(self.timing))

    def look_for_one(self) -> None:
        """Some design that passes: the cheapest of problems that ask for more days without sun and for more array."""
        problem = with_context_kept(self.asked.needs.problem)
        for store in LARGER_STORES:
            before, array = self.best, problem.balance.array_to_load
            for turn in range(3):
                failed = self.tried[-1] if turn + store == 1 else self._try(_harder(problem, store, array))
                if failed is None or failed is self.best:
                    break
                lesson = next((one for one in self.target.lessons if one.design is failed), None)
                if lesson is not None and not np.isfinite(lesson.enough):
                    break  # no array helps this store
                array = self.report_of(failed).design_month.ratio * ENOUGH * (lesson.enough if lesson is not None else 1.0)
            if before is not None and self.best is before:
                return

    def in_turns(self) -> Found:
        """Program and replay in turns, first a little above the first design's cost, then further: a low price leaves few candidates."""
        furthest = self.asked.most_cents if self.best is None else self.cents(self.best)
        for window in WINDOWS:
            most = int(self.cents(self.tried[0]) * window)
            if furthest is not None and most >= furthest:
                break
            found = self.search(self.asked.needs, once=False, explain=False, most_cents=most)
            if found.ending is not Ending.INFEASIBLE:
                return found if found.bound_cents is not None else replace(found, bound_cents=self.bound_cents)
            self.bound_cents = float(most)
            if self.left_rounds < 1:
                return replace(found, ending=Ending.STOPPED, bound_cents=self.bound_cents)
        found = self.search(self.asked.needs, once=False, explain=False, most_cents=furthest)
        return found if found.bound_cents is not None else replace(found, bound_cents=self.bound_cents)

    def _try(self, problem: Problem) -> Design | None:
        """The cheapest design of a harder problem, replayed; None where there is none that is cheaper than the best so far."""
        if self.left_rounds <= 1 or self._left_s < 1:
            return None
        needs = Needs(problem)
        needs.severities = self.asked.needs.severities
        tried = len(self.tried)
        found = self.search(needs, once=True, explain=False, most_cents=self.asked.most_cents if self.best is None else self.cents(self.best) - 1)
        if found.design is not None:
            self.best = found.design
        return self.tried[-1] if len(self.tried) > tried else None

    def ending(self, last: Found, first: Found) -> Found:
        """The last search's ending, with the best design that is known and the bound that was reached."""
        if last.design is not None:
            return last
        bounds = [one.bound_cents for one in (first, last) if one.bound_cents is not None]
        bound = max(bounds, default=None)
        asked = self.target.asked
        if self.best is not None:
            return replace(last, ending=Ending.STOPPED_WITH_SOLUTION, design=self.best, objective_cents=self.cents(self.best), bound_cents=bound, reason="")
        limit = f"loads off at most {asked.loss_of_load_hours_max:g} h a year"
        if last.ending is Ending.INFEASIBLE:
            return replace(last, reason=f"Designs that meet every other rule do not keep {limit}: {len(self.tried)} were replayed, and no other gives more.")
        return replace(last, bound_cents=bound, reason=f"stopped after {len(self.tried)} designs were replayed: none kept {limit}")


def _harder(problem: Problem, store: float, array: float) -> Problem:
    """A problem that asks for so many times the days without sun, and for so much array over the load."""
    days = problem.autonomy.days
    more = {season: each * store for season, each in days.items()} if isinstance(days, dict) else days * store
    changed = with_section(problem, "autonomy", days=more, recovery_days=problem.autonomy.recovery_days * store)
    return with_section(changed, "balance", array_to_load=array)
