"""Sets of requirements to loosen, against every subset and every combination of notches, judged by enumeration."""

import random
from dataclasses import replace
from itertools import combinations, product

import pytest
from cases import case
from enumerate import best_choice
from small_cases import tiny

from optimizer.answer import solve
from optimizer.handover.relax_text import HARD, relax_text
from optimizer.needs.requirements import loosened, requirements, with_section
from optimizer.questions.gaps import Variant, gaps
from optimizer.questions.opening import Opening
from optimizer.questions.relax import _Search, relax

IMPOSSIBLE = (
    3, 5, 6, 9, 14, 15, 17, 18, 19, 24, 30, 33, 35, 42, 45, 50, 51, 52, 54, 60, 62, 64, 65, 66, 68, 74, 80, 81, 86, 88,
)
"""The first thirty tiny cases that have no design."""


def talked_about(problem):
    """Four requirements, another four from case to case, with two notches each: few enough to try everything."""
    there = [one for one in requirements(problem) if one.looser]
    turn = len(problem.loads) % len(there)
    some = (*there[turn:], *there[:turn])[:4]
    return tuple(replace(one, looser=(one.looser[0], one.looser[-1]) if len(one.looser) > 1 else one.looser) for one in there if one in some)


def opens(problem, catalog, values):
    return best_choice(loosened(problem, values), catalog).cost_cents


def by_trying_everything(problem, catalog, asked):
    """Every set none of whose subsets opens the problem at its furthest, with its smallest notches and their cost."""
    found, sets = {}, []
    for size in range(1, len(asked) + 1):
        for chosen in combinations(asked, size):
            names = {one.name for one in chosen}
            if any(other <= names for other in sets):
                continue
            if opens(problem, catalog, {one.name: one.looser[-1] for one in chosen}) is None:
                continue
            sets.append(names)
            open_at = {}
            for at in product(*(range(len(one.looser)) for one in chosen)):
                cost = opens(problem, catalog, {one.name: one.looser[n] for one, n in zip(chosen, at, strict=True)})
                if cost is not None:
                    open_at[at] = cost
            for at, cost in open_at.items():
                if not any(other != at and all(a <= b for a, b in zip(other, at, strict=True)) for other in open_at):
                    found[frozenset((one.name, str(one.looser[n])) for one, n in zip(chosen, at, strict=True))] = cost
    return found


@pytest.mark.parametrize("seed", IMPOSSIBLE)
def test_sets_are_those_of_trying_everything(seed):
    problem, catalog = tiny(seed)
    asked = talked_about(problem)
    expected = by_trying_everything(problem, catalog, asked)
    found = relax(problem, catalog, asked=asked, with_gaps=False)
    assert found.base.report is None
    assert found.exact
    ways = {
        frozenset((one.requirement.name, str(one.to)) for one in way.loosen): way.answer.report.bill.objective_cents for way in found.ways
    }
    small = {key: cost for key, cost in expected.items() if len(key) <= 2}
    assert {key: cost for key, cost in ways.items() if len(key) <= 2} == small
    for key, cost in ways.items():
        assert expected[key] == cost, "a larger set is one of the smallest too"
    assert {frozenset(name for name, _ in key) for key in ways} == {frozenset(name for name, _ in key) for key in expected}
    order = [(len(way.loosen), way.cents) for way in found.ways]
    assert order == sorted(order)


def test_some_of_the_cases_can_be_opened():
    sizes = [len(way.loosen) for seed in IMPOSSIBLE for way in relax(tiny(seed)[0], tiny(seed)[1], asked=talked_about(tiny(seed)[0]), with_gaps=False).ways]
    assert len(sizes) >= 5


def test_conflicts_cannot_stand_and_any_one_less_can():
    seen = 0
    for seed in IMPOSSIBLE:
        problem, catalog = tiny(seed)
        asked = talked_about(problem)
        for group in relax(problem, catalog, asked=asked, with_gaps=False).conflicts:
            seen += 1
            names = {one.name for one in group}
            rest = {one.name: one.looser[-1] for one in asked if one.name not in names}
            assert opens(problem, catalog, rest) is None
            for one in group:
                assert opens(problem, catalog, {**rest, one.name: one.looser[-1]}) is not None
    assert seen >= 5


class _Told(_Search):
    """Asks a list of sets that open instead of the solver, and counts the questions whose answer is no."""

    def __init__(self, names, opening_sets):
        self.asked, self.conflicts, self._openings = dict.fromkeys(names), [], []
        self.opening_sets, self.closed = opening_sets, 0

    def _leaves_no_load(self, chosen):
        return False

    def _opens_furthest(self, names):
        opens_it = any(one <= set(names) for one in self.opening_sets)
        self.closed += not opens_it
        if opens_it:
            self._openings.append(frozenset(names))
        return opens_it


def test_a_conflict_is_what_loosening_one_after_the_other_leaves():
    draw, asked_together, asked_alone = random.Random(3), 0, 0
    for _ in range(200):
        names = [f"{n:02d}" for n in range(draw.randint(1, 14))]
        sets = [frozenset(draw.sample(names, draw.randint(1, min(4, len(names))))) for _ in range(draw.randint(1, 8))]
        told = _Told(names, sets)
        for _ in range(3):  # what the first conflicts tell helps with the next
            chosen = set(draw.sample(names, draw.randint(0, 2 if len(names) > 2 else 0)))
            if any(one <= chosen for one in sets):
                continue
            group = set(names) - chosen
            for name in sorted(group):
                closed = not any(one <= set(names) - (group - {name}) for one in sets)
                asked_alone += closed
                group -= {name} if closed else set()
            assert told._conflict(set(names) - chosen) == group
        asked_together += told.closed
    assert asked_together < asked_alone


def test_a_gap_that_is_named_opens_the_problem_and_a_little_less_does_not():
    seen = 0
    for seed in IMPOSSIBLE[:10]:
        problem, catalog = tiny(seed)
        opening = Opening()
        for gap in gaps(problem, catalog, opening):
            if not gap.sufficient or isinstance(gap.field, Variant) or gap.field.unit in ("money", "count", "C"):
                continue
            seen += 1
            assert best_choice(problem, gap.field.lifted(catalog, gap.needed)).cost_cents is not None
            less = gap.needed * (0.97 if gap.field.rises else 1.03)
            assert best_choice(problem, gap.field.lifted(catalog, less)).cost_cents is None
    assert seen >= 2


class TwoThings(Opening):
    """Opens where some module is at most so long and every battery takes at least so much charge: by hand, no solver."""

    def __init__(self, longest_mm, least_a):
        super().__init__()
        self.longest_mm, self.least_a = longest_mm, least_a

    def of(self, problem, catalog):
        short = min(module.length_mm for module in catalog.modules) <= self.longest_mm
        return short and min(battery.charge_max_a for battery in catalog.batteries) >= self.least_a


def test_a_word_that_no_part_has_is_a_gap():
    """Inverters of another AC standard than the site's: the standard is named, and with a twin of each for it there is a design."""
    problem, catalog = next(one for one in (case(seed) for seed in range(200)) if one[0].site.ac == "120 V 60 Hz" and solve(*one, explain=False).report is not None)
    abroad = replace(catalog, inverters=tuple(one.model_copy(update={"ac": "230", "hz": 50}) for one in catalog.inverters))
    assert solve(problem, abroad, explain=False).report is None
    found = [gap for gap in gaps(problem, abroad, Opening()) if isinstance(gap.field, Variant)]
    assert [(gap.field.kind, gap.field.name, gap.needed, gap.sufficient) for gap in found] == [("inverters", "ac", "120", True)]
    assert solve(problem, found[0].field.lifted(abroad), explain=False).report is not None


def test_gaps_that_are_necessary_and_not_sufficient():
    problem, catalog = tiny(IMPOSSIBLE[0])
    shortest, weakest = min(module.length_mm for module in catalog.modules), min(battery.charge_max_a for battery in catalog.batteries)
    strongest = max(battery.charge_max_a for battery in catalog.batteries)
    both = list(gaps(problem, catalog, TwoThings(shortest / 2, strongest * 2)))
    assert [(gap.field.kind, gap.field.name, gap.sufficient) for gap in both] == [("modules", "length_mm", False), ("batteries", "charge_max_a", False)]
    assert shortest / 2 * 0.98 <= both[0].needed <= shortest / 2
    assert strongest * 2 <= both[1].needed <= strongest * 2 * 1.02
    alone = list(gaps(problem, catalog, TwoThings(shortest / 2, weakest)))
    assert [(gap.field.name, gap.sufficient) for gap in alone] == [("length_mm", True)]
    assert list(gaps(problem, catalog, TwoThings(shortest / 5, strongest * 2))) == []  # beyond what is imagined


def test_a_possible_problem_has_nothing_to_loosen():
    problem, catalog = next(tiny(seed) for seed in range(1, 50) if seed not in IMPOSSIBLE)
    found = relax(problem, catalog)
    assert not found.ways
    assert "nothing has to be loosened" in relax_text(found)


def test_the_page_says_that_hard_rules_stand():
    problem, catalog = tiny(IMPOSSIBLE[0])
    text = " ".join(relax_text(relax(problem, catalog, asked=talked_about(problem))).split())
    assert HARD in text


def test_an_interruption_keeps_what_is_known():
    problem, catalog = tiny(IMPOSSIBLE[0])

    def stop(_):
        raise KeyboardInterrupt

    found = relax(with_section(problem, "limits", budget=None), catalog, stop)
    assert found.complete is (found.base.report is not None)
