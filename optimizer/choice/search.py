"""From needs and catalog to the cheapest design: candidates, program, solver, ties."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.candidate_set import Candidates
from optimizer.choice.candidates import CandidateSearch, candidates
from optimizer.choice.dominance import SLACK_CENTS
from optimizer.choice.families import FAMILIES
from optimizer.choice.hours import Beaten
from optimizer.choice.kinds import Kinds
from optimizer.choice.program import Program
from optimizer.choice.screening import Screening, ScreenRow
from optimizer.choice.solver import Ending, Solved
from optimizer.choice.stock import Stock
from optimizer.design import Design
from optimizer.inputs.catalog import Catalog
from optimizer.needs.site import Needs

REJECTIONS_MOST = 50
"""Designs that the check may reject before the search gives up: more means that program and check disagree."""

Accepts = Callable[[Design], bool]


class Teacher(Protocol):
    """Knows which designs a rejected one takes with it."""

    air_c: tuple[float, float]
    """Coldest and hottest air in which the designs are lived."""

    failed: list[Design]
    """Designs rejected for what they lived through; whatever pruning dropped for one of their candidates would have been too."""

    def beaten(self, found: Candidates, first: int) -> list[Beaten]:
        """What each lesson from number `first` on says of these candidates."""


@dataclass(frozen=True)
class Found:
    """What the search ended with; money in cents."""

    ending: Ending
    design: Design | None
    objective_cents: int | None
    bound_cents: float | None
    reason: str
    screening: tuple[ScreenRow, ...]
    timing_s: dict[str, float] = field(default_factory=dict)
    sizes: dict[str, int] = field(default_factory=dict)


def search(
    needs: Needs, catalog: Catalog, accepts: Accepts, *, prune: bool = True, solver: str = "highs", kinds: Kinds | None = None, explain: bool = True,
    most_cents: int | None = None, teacher: Teacher | None = None, rejections_most: int = REJECTIONS_MOST, time_limit_s: float | None = None,
) -> Found:
    """The cheapest design that `accepts` (the check, made outside) does not reject, of no kind that `kinds` forbids.

    explain: where there is none, solve again to say what stands in the way.
    most_cents: what a design may cost at most; there need not be one.
    teacher: where what is accepted depends on hours that the program does not see; pruning then drops only what these hours bear out.
    rejections_most: rejections after which the search gives up.
    time_limit_s: in place of the problem's own.
    """
    run = _Run(needs, catalog, accepts, solver, prune=prune, kinds=kinds, explain=explain, most_cents=most_cents)
    run.teacher, run.rejections_most = teacher, rejections_most
    run.time_limit_s = run.time_limit_s if time_limit_s is None else time_limit_s
    return run.result()


class _Run:
    def __init__(
        self, needs: Needs, catalog: Catalog, accepts: Accepts, solver: str, *, prune: bool, kinds: Kinds | None, explain: bool, most_cents: int | None,
    ) -> None:
        self.kinds, self.explain = kinds, explain
        self.most_cents = np.inf if most_cents is None else float(most_cents)
        self.needs, self.catalog, self.accepts, self.solver, self.prune = needs, catalog, accepts, solver, prune
        self.stock = Stock(needs.problem, catalog, PriceList(needs.problem, catalog))
        self.limits = needs.problem.solver
        self.time_limit_s = self.limits.time_limit_s
        self.teacher: Teacher | None = None
        self.rejections_most = REJECTIONS_MOST
        self.rejected: list[Design] = []
        self.started = time.perf_counter()
        self.timing = {"screen": 0.0, "build": 0.0, "solve": 0.0}
        self.sizes: dict[str, int] = {}

    def _left_s(self) -> float:
        return max(0.05, self.time_limit_s - (time.perf_counter() - self.started))

    def _timed(self, phase: str, since: float) -> None:
        self.timing[phase] += time.perf_counter() - since

    def _searched(self, *, prune: bool, known: float | None = None, any_design: bool = False) -> tuple[CandidateSearch, Candidates, Screening]:
        since = time.perf_counter()
        screening = Screening(self.needs.severities)
        searched = candidates(
            self.needs, self.catalog, self.stock, screening, prune=prune, known_cents=self.most_cents if known is None else known, kinds=self.kinds,
            any_design=any_design, air_lived_c=self.teacher.air_c if self.teacher else None,
        )
        found = searched.result()
        self._timed("screen", since)
        self.sizes = {"cores": len(found.cores.table), "blocks": len(found.blocks)}
        return searched, found, screening

    def _program(self, found: Candidates) -> Program:
        since = time.perf_counter()
        program = Program(found)
        self._timed("build", since)
        self.taught = 0
        self._teach(program)
        failed = self.teacher.failed if self.teacher is not None else []
        for design in [*failed, *(one for one in self.rejected if not any(one is other for other in failed))]:
            self._forbid(program, design)
        return program

    def _teach(self, program: Program) -> None:
        """Cut off what the lessons since the last time forbid."""
        if self.teacher is not None:
            lessons = self.teacher.beaten(program.candidates, self.taught)
            self.taught += len(lessons)
            for beaten in lessons:
                if len(beaten.cores):
                    program.forbid_beaten(beaten)

    def _forbid(self, program: Program, design: Design) -> None:
        located = _located(program.candidates, design)
        if located is not None:
            program.forbid(*located)

    def _solve(self, program: Program, gap: float = 0.0) -> Solved:
        since = time.perf_counter()
        solved = program.solve(self.solver, self._left_s(), gap)
        self._timed("solve", since)
        return solved

    def _end(
        self, ending: Ending, screening: Screening, reason: str = "", design: Design | None = None, bound: float | None = None, objective: int | None = None,
    ) -> Found:
        """objective: of a design, where the candidates say more than its bill: what its generator burns."""
        objective = self.stock.prices.bill(design).objective_cents if design is not None and objective is None else objective
        if bound is not None and objective is not None and self.needs.problem.source_in_design:
            # What a generator burns is no whole number of cents, its line is: no line is below the rounded bound.
            bound = min(float(objective), float(round(bound)))
        return Found(ending, design, objective, bound, reason, screening.rows(), self.timing, self.sizes)

    def result(self) -> Found:
        """Solve, mend what the relaxation left out, settle ties, and cut off what the check rejects."""
        searched, found, screening = self._searched(prune=self.prune, any_design=self.limits.gap >= 1)
        if self.limits.gap >= 1 and searched.known is not None:
            if self.accepts(searched.known):
                return self._end(Ending.STOPPED_WITH_SOLUTION, screening, "", searched.known, objective=round(searched.most))  # any design is within such a gap
            searched, found, screening = self._searched(prune=self.prune)
        program: Program | None = None
        rejected, pruned = self.rejected, self.prune
        while True:
            if searched.too_many:
                return self._end(Ending.STOPPED, screening, "too many arrays are as cheap as the cheapest design that is known")
            if not len(found.cores.table) or not len(found.blocks):
                return self._end(Ending.INFEASIBLE, screening, searched.missing)
            program = program or self._program(found)
            solved = self._solve(program, self.limits.gap)
            if solved.ending is Ending.INFEASIBLE:
                return self._end(Ending.INFEASIBLE, screening, self._why_impossible(found) if self.explain else "")
            if solved.ending is Ending.STOPPED:
                return self._end(Ending.STOPPED, screening, f"stopped after {self.limits.time_limit_s:g} s before any design was found", bound=solved.bound)
            core, counts = program.chosen()
            design = found.design(core, counts)
            broken = set(self.stock.broken(design.pieces))
            if broken:
                # Stock that the program did not see: give these parts rows for it and begin again. Ties are settled only
                # after that: the cost of a design that cannot be bought bounds nothing.
                self.stock.special |= self.stock.prices.kits.together(broken) | broken
                searched, found, screening = self._searched(prune=pruned, known=searched.most)
                program = None
                continue
            cents = found.objective_cents(core, counts)
            if cents > self.most_cents:
                # Candidates that only dearer designs use may be gone: this one proves nothing but that the bound is too low.
                below = solved.bound is None or solved.bound <= self.most_cents + SLACK_CENTS
                return self._end(Ending.STOPPED if below else Ending.INFEASIBLE, screening, "no design as cheap as asked was found", bound=solved.bound)
            if solved.ending is Ending.OPTIMAL and self.limits.gap == 0 and self.teacher is None:
                design = self._settled(searched, found, core, counts, rejected) or design
            if self.accepts(design):
                return self._end(solved.ending, screening, "", design, solved.bound, cents)
            # Pruning trusted that candidate: begin again without it, and cut off what the check rejects.
            rejected.append(design)
            if len(rejected) > self.rejections_most:
                return self._end(Ending.STOPPED, screening, "program and check disagree on this problem: please report it", bound=solved.bound)
            if pruned and not (self.teacher is not None and any(design is one for one in self.teacher.failed)):
                pruned = False
                searched, found, screening = self._searched(prune=False)
                program = self._program(found)
            else:
                assert program is not None, "a rejected design came from a program"
                self._teach(program)
                self._forbid(program, design)

    # --- ties

    def _settled(self, searched: CandidateSearch, found: Candidates, core: int, counts: list[tuple[int, int]], rejected: list[Design]) -> Design | None:
        """Of all designs of the same cost: fewest pieces, then the smallest ids. None where the first is the only one."""
        if rejected:
            return None
        cost = found.objective_cents(core, counts)
        tied = found
        if self.prune:
            searched.tighten(cost)
            searched.price_pairs()
            tied = searched.result()
        if len(tied.cores.table) == 1 and len(tied.blocks) == 1:
            return None
        program = self._program(tied)
        program.model += (program.cost <= cost + 0.5, "tie__cost")
        located = _located(tied, found.design(core, counts))
        if located is None:
            # Among fewer candidates an equal one has taken its place.
            if not self._solve(program).has_solution:
                return None
            located = program.chosen()
        core, counts = located
        best: tuple[tuple[object, ...], Design] | None = None
        for _ in range(TIES_MOST):
            design = tied.design(core, counts)
            if tied.objective_cents(core, counts) == cost and not set(self.stock.broken(design.pieces)):
                rank = (sum(design.pieces.values()), tied.cores.key(core), tuple((tied.block_key(b), n) for b, n in counts))
                if best is None or rank < best[0]:
                    best = (rank, design)
            program.forbid(core, counts)
            solved = self._solve(program)
            if not solved.has_solution:
                break
            core, counts = program.chosen()
        return best[1] if best else None

    # --- impossible

    def _why_impossible(self, found: Candidates) -> str:
        """Leave out one family of the program at a time: those that open it are what stands in the way."""
        opening = []
        whole = Program(found).rows
        for family, words in FAMILIES.items():
            relaxed = Program(found, frozenset({family}))
            if relaxed.rows == whole or self._left_s() < 1:
                continue  # this problem has no such rows
            if relaxed.solve(self.solver, min(5.0, self._left_s()), 1.0).has_solution:
                opening.append(words)
        if opening:
            return "No combination of the remaining parts meets everything at once; what stands in the way: " + ", or ".join(opening) + "."
        return "No combination of the remaining parts meets everything at once; more than one requirement stands in the way."


TIES_MOST = 400


def _located(found: Candidates, design: Design) -> tuple[int, list[tuple[int, int]]] | None:
    """Core and block rows of a design among candidates; None where it is not among them."""
    parts = (design.bank, design.inverters, design.converters)
    core = next((
        row for row in range(len(found.cores.table))
        if found.cores.parts(row, found.needs, found.catalog) == parts and found.cores.source(row) == design.source
    ), None)
    if core is None:
        return None
    rows = np.nonzero(found.blocks.bank_class == found.cores.table.bank_class[core])[0]
    counts = []
    for block in design.blocks:
        at = next((int(row) for row in rows if found.arrays.block(found.blocks, int(row), block.count) == block), None)
        if at is None:
            return None
        counts.append((at, block.count))
    return core, counts
