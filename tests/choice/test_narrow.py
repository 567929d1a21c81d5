"""What no array within the limits can contain is dropped, and nothing else: the optimum stands, and so does a proof of none."""

from functools import cache

import numpy as np
import pytest
from cases import case

from optimizer.answer import Outcome, solve
from optimizer.choice import narrow
from optimizer.choice.narrow import completable
from optimizer.needs.requirements import with_section

SEEDS = range(1, 61)


@cache
def plain(seed):
    """The answer to a seed's case, solved once for both tests that compare with it."""
    return solve(*case(seed), explain=False)


def test_every_optimum_stands_when_all_candidates_are_looked_at_once_more(monkeypatch):
    expected = {seed: plain(seed) for seed in SEEDS}
    called = []
    inside = narrow._narrow_class
    monkeypatch.setattr(narrow, "MANY", 0)
    monkeypatch.setattr(narrow, "_narrow_class", lambda search, number: (called.append(number), inside(search, number)))
    for seed, answer in expected.items():
        found = solve(*case(seed), explain=False)
        assert found.outcome is answer.outcome
        assert found.choice == answer.choice
    assert len(called) > len(SEEDS)


def test_any_design_is_found_where_there_is_one_and_none_where_there_is_none():
    seen = set()
    for seed in SEEDS:
        problem, catalog = case(seed)
        there = plain(seed)
        any_design = solve(with_section(problem, "solver", gap=1.0), catalog, explain=False)
        assert (any_design.report is None) == (there.report is None)
        assert any_design.report is None or any_design.report.valid
        seen.add(there.outcome)
    assert seen == {Outcome.OPTIMAL, Outcome.INFEASIBLE}


@pytest.mark.parametrize(("asked", "kept"), [(90.0, [True, True, True]), (120.0, [False, True, True]), (151.0, [False, False, False])])
def test_what_a_block_leaves_goes_to_the_best(asked, kept):
    # By hand: the best makes 150 of the whole limit. Half of it is left beside the first: 20 + 75 = 95; beside the second
    # three quarters: 10 + 112.5 = 122.5; the third is the best and meets 150.
    supply, taken = np.array([[20.0], [10.0], [75.0]]), np.array([[0.5, 0.25, 0.5]])
    assert completable(supply, taken, np.array([[asked]])).tolist() == [kept]
