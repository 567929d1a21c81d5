"""A design is ordered and the problem has changed since: the answer that changes the fewest lines of the order."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations

from optimizer.answer import Answer, Outcome, as_chosen, solve
from optimizer.choice.owned import owned_parts
from optimizer.design import Choice, Design, design_of
from optimizer.errors import WrongUse
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.generator import SAID
from optimizer.inputs.parts import Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.requirements import with_section
from optimizer.needs.site import Needs
from optimizer.proof.check import check_design

Progress = Callable[[str], None]


MOMENT_S = 2.0
"""How long to ask whether a line can stay at all; the answer only saves time."""


@dataclass(frozen=True)
class Near:
    """An answer and what it changes against the order: part ids with pieces."""

    answer: Answer
    kept: dict[str, int]
    changed: dict[str, tuple[int, int]]
    """Pieces ordered, and pieces now."""
    added: dict[str, int]
    removed: dict[str, int]
    cheapest: Answer
    """The answer that looks at no order: what else the bill could be."""
    complete: bool = True

    @property
    def changed_lines(self) -> int:
        """Lines of the order that change, and lines that are new."""
        return len(self.changed) + len(self.added) + len(self.removed)


def near(problem: Problem, catalog: Catalog, choice: Choice, progress: Progress = lambda _: None, solver: str = "highs") -> Near:
    """The design that changes the fewest lines of an order; of several the one with the least whole bill.

    A line is a part with its pieces. Stopped by Ctrl-C it returns the best so far, `complete` False; so it does where
    a limit of time stopped a search. Raises InputError for parts that the catalog does not hold.
    """
    if problem.source_in_design:
        raise WrongUse(f"--near cannot be asked with {SAID[problem.site.other_source]} in the design: leave out {problem.site.other_source}.in_design")
    ordered = design_of(choice, catalog)
    progress("the cheapest design, whatever was ordered")
    cheapest = solve(with_section(problem, "solver", gap=0.0), catalog, solver=solver)
    if cheapest.report is None:
        return Near(cheapest, {}, {}, {}, {}, cheapest, complete=cheapest.outcome is Outcome.INFEASIBLE)
    search = _Search(problem, catalog, ordered.pieces, solver, progress)
    complete = True
    try:
        search.keep(cheapest)
        search.run()
    except KeyboardInterrupt:
        complete = False
    return search.result(cheapest, complete=complete and not search.stopped and cheapest.outcome is Outcome.OPTIMAL)


class _Search:
    """Sets of changes, the smallest first: ordered lines that are released, and kinds of which new parts may come.

    All other lines are locked as ordered. A design that changes k lines releases some and adds the rest, so the first k
    with a design is the fewest, and the cheapest over all sets of that size is the answer.
    """

    def __init__(self, problem: Problem, catalog: Catalog, order: Counter[str], solver: str, progress: Progress) -> None:
        self.asked, self.catalog, self.order, self.solver, self.progress = problem, catalog, order, solver, progress
        self.exact = with_section(problem, "solver", gap=0.0)
        self.new: dict[type[Part], tuple[str, ...]] = {
            kind: tuple(part_id for part_id, part in catalog.by_id.items() if type(part) is kind and part_id not in order)
            for kind in (Battery, Module, Controller, Inverter, Converter)
        }
        self.best: tuple[tuple[int, int], Answer] | None = None
        self.must_change: set[str] = set()
        self.must_open: set[type[Part]] = set()
        self.stopped = False

    def run(self) -> None:
        """Numbers of changes up to that of the cheapest design, which no design with as many can beat."""
        assert self.best is not None, "the cheapest design is kept first"
        most = self.best[0][0]
        if most == 0:
            return
        self._musts()
        for changes in range(len(self.must_change) + len(self.must_open), most):
            if self.best[0][0] < changes:
                return
            self.progress(f"designs that change {changes} line{'' if changes == 1 else 's'}")
            for released_number in range(min(changes, len(self.order)) + 1):
                for released in combinations(sorted(self.order), released_number):
                    self._release(released, changes - released_number)

    def _musts(self) -> None:
        """Lines that no design keeps, and kinds of which every design has a new part: each asked for alone."""
        lines, kinds = tuple(sorted(self.order)), tuple(kind for kind, parts in self.new.items() if parts)
        for line in lines:
            self.progress(f"designs that keep {line}")
            if self._impossible(tuple(one for one in lines if one != line), ()):
                self.must_change.add(line)
        for kind in kinds:
            self.progress(f"designs without a new {kind.__name__.lower()}")
            if self._impossible(lines, self.new[kind]):
                self.must_open.add(kind)

    def _impossible(self, released: tuple[str, ...], excluded: tuple[str, ...]) -> bool:
        """Whether there is no design at all; False where a moment does not tell."""
        moment = min(MOMENT_S, self.asked.solver.time_limit_s)
        quick = with_section(self._locked(released, (), excluded), "solver", gap=0.9, time_limit_s=moment)
        answer = solve(quick, self.catalog, solver=self.solver, explain=False)
        if answer.report is not None:
            self.keep(answer)
        return answer.outcome is Outcome.INFEASIBLE

    def _solved(self, released: tuple[str, ...], demanded: tuple[str, ...], excluded: tuple[str, ...], limit: int) -> Answer:
        """The cheapest design under the locks; a stop by the clock is noted.

        limit: changed lines that are looked for. Once a design with so few is known, none that costs more is asked for.
        """
        assert self.best is not None, "the cheapest design is kept first"
        (changes, cents), _ = self.best
        most = cents if changes <= limit else None
        answer = solve(self._locked(released, demanded, excluded), self.catalog, solver=self.solver, explain=False, most_cents=most)
        self.stopped |= answer.outcome not in (Outcome.OPTIMAL, Outcome.INFEASIBLE)
        return answer

    def _release(self, released: tuple[str, ...], adding: int) -> None:
        """The best designs with all other lines as ordered and at most so many new parts."""
        kinds = [kind for kind, parts in self.new.items() if parts and self._open(kind, released)]
        if (adding and not kinds) or not self.must_change.issubset(released):
            return
        for opened in combinations(kinds, min(adding, len(kinds))):
            if not self.must_open.issubset(opened):
                continue
            closed = [part for kind, parts in self.new.items() if kind not in opened for part in parts]
            self._fewest(released, adding, (), tuple(closed))

    def _open(self, kind: type[Part], released: tuple[str, ...]) -> bool:
        """Whether a new part of a kind can come: of batteries and of inverters a design has one model, so the ordered one must go."""
        if kind not in (Battery, Inverter):
            return True
        return all(part in released for part in self.order if type(self.catalog.by_id[part]) is kind)

    def _fewest(self, released: tuple[str, ...], adding: int, demanded: tuple[str, ...], excluded: tuple[str, ...]) -> None:
        """The cheapest design with at most so many new parts.

        Solved without that limit first. Where too many parts are new, any design within the limit lacks one of
        them: the first, or the second while it has the first, and so on.
        """
        if len(demanded) == adding:
            excluded = tuple(part for parts in self.new.values() for part in parts if part not in demanded)
        answer = self._solved(released, demanded, excluded, len(released) + adding)
        if answer.report is None:
            return
        rank = self.keep(answer)
        assert self.best is not None, "a design was just kept"
        limit = len(released) + adding
        new = [part for part in answer.report.design.pieces if part not in self.order and part not in demanded]
        if len(new) + len(demanded) <= adding or (self.best[0][0] <= limit and rank[1] >= self.best[0][1]):
            return
        for at, part in enumerate(new):
            if len(demanded) + at <= adding:
                self._fewest(released, adding, (*demanded, *new[:at]), (*excluded, part))

    def _locked(self, released: tuple[str, ...], demanded: tuple[str, ...], excluded: tuple[str, ...]) -> Problem:
        """The problem with its own locks and these."""
        locks = self.exact.locks
        exactly = {part: pieces for part, pieces in self.order.items() if part not in released}
        least = {**dict.fromkeys(demanded, 1), **exactly}
        return with_section(
            self.exact, "locks", exclude=tuple(dict.fromkeys((*locks.exclude, *excluded))),
            at_most={**locks.at_most, **{part: min(most, locks.at_most.get(part, most)) for part, most in exactly.items()}},
            at_least={**locks.at_least, **{part: max(pieces, locks.at_least.get(part, pieces)) for part, pieces in least.items()}},
        )

    def keep(self, answer: Answer) -> tuple[int, int]:
        """Hold a design against the best, by changed lines and then by what the problem itself counts; returns these."""
        assert answer.report is not None, "only designs are kept"
        assert answer.choice is not None, "a design is one of a choice"
        asked = as_chosen(self.asked, self.catalog, answer.choice)
        report = check_design(answer.report.design, Needs(asked), self.catalog)
        assert report.valid, "more locks and other prices make nothing valid that was not"
        rank = (_changed_lines(self.order, report.design), report.bill.objective_cents)
        if self.best is None or rank < self.best[0]:
            # The inner solves give no reasons, and their locks are not the customer's: what became of owned parts is asked anew.
            owned = owned_parts(*with_worn_parts(self.asked, self.catalog), report.design.pieces)
            self.best = rank, replace(answer, problem=asked, report=report, owned=owned)
        return rank

    def result(self, cheapest: Answer, *, complete: bool) -> Near:
        """The best with what it changes; its bound is that of any design, whatever was ordered."""
        _, answer = self.best or (None, cheapest)
        assert answer.report is not None, "the cheapest design is kept first"
        cost, bound = answer.report.bill.objective_cents, cheapest.bound_cents
        if cheapest.outcome is Outcome.OPTIMAL and cheapest.report is not None:
            bound = float(cheapest.report.bill.objective_cents)
        gap = None if bound is None else max(0.0, (cost - bound) / max(1.0, abs(cost)))
        outcome = Outcome.OPTIMAL if complete else Outcome.FEASIBLE
        order, now = self.order, answer.report.design.pieces
        return Near(
            replace(answer, outcome=outcome, bound_cents=bound, gap=gap),
            kept={part: pieces for part, pieces in order.items() if now[part] == pieces},
            changed={part: (pieces, now[part]) for part, pieces in order.items() if now[part] not in (0, pieces)},
            added={part: pieces for part, pieces in now.items() if pieces and part not in order},
            removed={part: pieces for part, pieces in order.items() if not now[part]},
            cheapest=cheapest, complete=complete,
        )


def _changed_lines(order: Counter[str], design: Design) -> int:
    """Parts whose pieces are not those of the order."""
    return sum(1 for part in {*order, *design.pieces} if order[part] != design.pieces[part])
