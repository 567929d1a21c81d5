"""What an impossible problem would have to give up: sets of requirements to loosen, groups in conflict, catalog gaps."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import Any

from optimizer.answer import Answer, solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import Requirement, loosened, requirements
from optimizer.questions.gaps import Gap, gaps
from optimizer.questions.opening import Opening

Progress = Callable[[str], None]

TOGETHER_MOST = 5
"""Requirements that are loosened together at most."""


EVERY_NOTCH_MOST = 2
"""Size of set up to which every combination of notches is found; larger sets have too many to look at."""


@dataclass(frozen=True)
class Loosened:
    """One requirement with the value that it is loosened to."""

    requirement: Requirement
    to: Any


@dataclass(frozen=True)
class Way:
    """Requirements to loosen together, none further than it takes, and the cheapest design then."""

    loosen: tuple[Loosened, ...]
    answer: Answer

    @property
    def cents(self) -> int:
        """Total of the bill [cents]."""
        assert self.answer.report is not None, "a way leads to a design"
        return self.answer.report.bill.paid_cents


@dataclass(frozen=True)
class Relaxed:
    """The ways out of an impossible problem."""

    base: Answer
    ways: tuple[Way, ...]
    """By the number of requirements, then by price."""
    conflicts: tuple[tuple[Requirement, ...], ...]
    """Groups that cannot all stand, however far everything else is loosened; without any one of a group the rest can."""
    gaps: tuple[Gap, ...]
    beyond: bool
    """Whether there is no design even with every requirement at its furthest: hard rules and the catalog forbid it."""
    complete: bool = True
    exact: bool = True
    """Whether every solve behind the answer ended with a proof."""


def relax(
    problem: Problem, catalog: Catalog, progress: Progress = lambda _: None, *, asked: tuple[Requirement, ...] | None = None, together: int = TOGETHER_MOST,
    with_gaps: bool = True,
) -> Relaxed:
    """Find every smallest set of requirements whose loosening opens the problem; hard rules are never loosened.

    asked: requirements that may be talked about, with their ladders; all of the problem where none are given.
    together: requirements that are loosened together at most.
    Stopped by Ctrl-C it returns what is known so far, `complete` False. A problem that has a design has no ways.
    """
    opening = Opening()
    base = solve(problem, catalog)
    if base.report is not None:
        return Relaxed(base, (), (), (), beyond=False)
    search = _Search(problem, catalog, asked if asked is not None else requirements(problem, circuits=bool(catalog.cables)), opening, progress, together)
    found: list[Gap] = []
    complete = True
    try:
        search.run()
        if with_gaps:
            found += gaps(problem, catalog, opening, progress)
    except KeyboardInterrupt:
        complete = False
    ways = tuple(sorted(search.ways, key=lambda way: (len(way.loosen), way.cents, [one.requirement.name for one in way.loosen], str(way.loosen))))
    return Relaxed(base, ways, search.groups(), tuple(found), search.beyond, complete, opening.exact)


class _Search:
    """Sets that open the problem are the sets that hit every conflict: each side finds the other.

    A set of requirements opens the problem when they are at their furthest and the rest stands. If a set does not open
    it, the rest holds a conflict, found by loosening one after the other as long as the problem stays impossible. A
    smallest set that hits every known conflict either opens the problem, and is then one of the sets looked for, or
    shows the next conflict. Loosening never makes a problem impossible; all of this leans on that.
    """

    def __init__(self, problem: Problem, catalog: Catalog, asked: tuple[Requirement, ...], opening: Opening, progress: Progress, together: int) -> None:
        self.problem, self.catalog, self.opening, self.progress, self.together = problem, catalog, opening, progress, together
        self.asked = {one.name: one for one in asked if one.looser}
        self.conflicts: list[frozenset[str]] = []
        self.ways: list[Way] = []
        self.beyond = False
        self._openings: list[frozenset[str]] = []
        self._known: dict[frozenset[tuple[str, str]], bool] = {}

    def groups(self) -> tuple[tuple[Requirement, ...], ...]:
        """The conflicts, the smallest first."""
        ordered = sorted(self.conflicts, key=lambda group: (len(group), sorted(group)))
        return tuple(tuple(self.asked[name] for name in self.asked if name in group) for group in ordered)

    def run(self) -> None:
        """Find every set up to the largest size, and inside each the notches."""
        if not self._opens_furthest(self.asked):
            self.beyond = True
            return
        done: set[frozenset[str]] = set()
        while True:
            todo = [one for one in smallest_hitting_sets(self.conflicts, self.together) if one not in done]
            if not todo:
                break
            for chosen in todo:
                if any(not chosen & conflict for conflict in self.conflicts):
                    continue  # a conflict that was found meanwhile
                self.progress(f"loosening {', '.join(sorted(chosen)) or 'nothing'}")
                if self._opens_furthest(chosen):
                    done.add(chosen)
                    self.progress(f"  makes it possible: {', '.join(sorted(chosen))}")
                else:
                    self.conflicts.append(self._conflict(set(self.asked) - chosen))
                    self.progress(f"  cannot all stand: {', '.join(sorted(self.conflicts[-1]))}")
        for chosen in sorted(done, key=lambda one: (len(one), sorted(one))):
            self.progress(f"how far: {', '.join(sorted(chosen))}")
            self._notches([self.asked[name] for name in self.asked if name in chosen])

    def _opens(self, values: Mapping[str, Any]) -> bool:
        key = frozenset((name, str(value)) for name, value in values.items())
        if key not in self._known:
            self._known[key] = self.opening.of(loosened(self.problem, values), self.catalog)
        return self._known[key]

    def _opens_furthest(self, names: Iterable[str]) -> bool:
        """Whether these at their furthest open the problem; what follows from sets and conflicts already known is not asked."""
        chosen = frozenset(names)
        if any(not chosen & conflict for conflict in self.conflicts):
            return False
        if any(opening <= chosen for opening in self._openings):
            return True
        opens = self._opens({name: self.asked[name].looser[-1] for name in self.asked if name in chosen})
        if opens:
            self._openings.append(chosen)
        return opens

    def _conflict(self, standing: set[str]) -> frozenset[str]:
        """A smallest group among requirements that cannot all stand: what is left after each in turn, by name, is loosened if the
        rest is impossible still.

        Most can be loosened, and an impossible problem takes longest to ask. So all that is not known to open the problem is
        loosened together; where that opens it, halving finds the first that must stand.
        """
        every, group, left = set(self.asked), set(standing), sorted(standing)
        while left:
            taken: list[str] = []
            gone = ""
            for name in left:
                loose = every - (group - {*taken, name})
                if not any(not loose & conflict for conflict in self.conflicts):
                    if self._known_to_open(loose):
                        continue
                    if self._leaves_no_load(loose):
                        gone = name  # no design, for want of loads: that says nothing of those before it
                        break
                taken.append(name)
            low, high = 0, len(taken)  # the first `low` of them do not open it
            if not taken or not self._opens_furthest(every - (group - set(taken))):
                low = high
            while low + 1 < high:
                middle = (low + high) // 2
                low, high = (low, middle) if self._opens_furthest(every - (group - set(taken[:middle]))) else (middle, high)
            group -= set(taken[:low])
            # Those before it that are not loosened are known to stand, and so is the first that opens it.
            last = taken[low] if low < len(taken) else gone
            group -= {gone} if last == gone else set()
            left = left[left.index(last) + 1 :] if last else []
        return frozenset(group)

    @cached_property
    def _loads(self) -> frozenset[str]:
        """Requirements that, at their furthest, each take a load away."""
        there = len(self.problem.loads)
        return frozenset(name for name, one in self.asked.items() if len(loosened(self.problem, {name: one.looser[-1]}).loads) < there)

    def _leaves_no_load(self, chosen: set[str]) -> bool:
        return len(self._loads) >= len(self.problem.loads) and self._loads <= chosen

    def _known_to_open(self, chosen: set[str]) -> bool:
        return any(opening <= chosen for opening in self._openings)

    def _notches(self, chosen: list[Requirement]) -> None:
        """Combinations of notches that open the problem and of which none can be taken back: all of them for one or two
        requirements, for more those that come of sparing each requirement first.
        """
        search = smallest_openings if len(chosen) <= EVERY_NOTCH_MOST else some_smallest_openings
        for notches in search([len(one.looser) for one in chosen], lambda at: self._opens(_values(chosen, at))):
            asked = loosened(self.problem, _values(chosen, notches))
            answer = solve(asked, self.catalog, explain=False, most_cents=self.opening.most_cents(asked, self.catalog))
            self.opening.exact &= answer.report is not None
            if answer.report is not None:
                self.ways.append(Way(tuple(Loosened(one, one.looser[n - 1]) for one, n in zip(chosen, notches, strict=True)), answer))


def _values(chosen: list[Requirement], notches: tuple[int, ...]) -> dict[str, Any]:
    return {one.name: one.looser[notch - 1] for one, notch in zip(chosen, notches, strict=True)}


def smallest_hitting_sets(groups: list[frozenset[str]], most: int) -> list[frozenset[str]]:
    """Every set of at most `most` names that shares one with each group and none of whose subsets does, smallest first.

    >>> [sorted(one) for one in smallest_hitting_sets([frozenset("ab"), frozenset("bc")], 5)]
    [['b'], ['a', 'c']]
    """
    hitting: set[frozenset[str]] = {frozenset()}
    for group in groups:
        hit = {one for one in hitting if one & group}
        grown = {one | {name} for one in hitting - hit for name in group if len(one) < most}
        hitting = hit | {one for one in grown if not any(other < one for other in hit | grown)}
    return sorted(hitting, key=lambda one: (len(one), sorted(one)))


def smallest_openings(lengths: list[int], opens: Callable[[tuple[int, ...]], bool]) -> Iterator[tuple[int, ...]]:
    """Combinations of notches, counted from 1, that open and of which none can be taken back.

    The last notch of each is known to open. Each notch loosens, so the smallest last notch for given others falls as
    they rise: halving finds it, below the smallest that any lesser combination of the others asks for.

    >>> list(smallest_openings([3, 4], lambda at: at[0] + at[1] >= 5))
    [(1, 4), (2, 3), (3, 2)]
    """
    if not lengths:
        return
    last: dict[tuple[int, ...], int] = {}
    never = lengths[-1] + 1
    for others in product(*(range(1, length + 1) for length in lengths[:-1])):
        lesser = [(*others[:at], n - 1, *others[at + 1 :]) for at, n in enumerate(others) if n > 1]
        ceiling = min((last[one] for one in lesser), default=never)
        low, high = 1, ceiling
        while low < high:
            middle = (low + high) // 2
            low, high = (low, middle) if opens((*others, middle)) else (middle + 1, high)
        last[others] = low
        if low < ceiling:
            yield (*others, low)


def some_smallest_openings(lengths: list[int], opens: Callable[[tuple[int, ...]], bool]) -> Iterator[tuple[int, ...]]:
    """Some of the combinations that `smallest_openings` gives: from the furthest, each notch in turn is taken back first.

    >>> list(some_smallest_openings([3, 4], lambda at: at[0] + at[1] >= 5))
    [(1, 4), (3, 2)]
    """
    found = []
    for first in range(len(lengths)):
        at = list(lengths)
        for place in (*range(first, len(lengths)), *range(first)):
            low, high = 1, at[place]
            while low < high:
                middle = (low + high) // 2
                low, high = (low, middle) if opens((*at[:place], middle, *at[place + 1 :])) else (middle + 1, high)
            at[place] = low
        if tuple(at) not in found:
            found.append(tuple(at))
    yield from found
