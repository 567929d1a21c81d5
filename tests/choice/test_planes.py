"""The cheapest design over several planes: what is known when some of them were not proven, and time that all of them share."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer import load_catalog, load_problem, solve
from optimizer.answer import Outcome, _cheapest_plane
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs.requirements import with_section
from optimizer.needs.sunlight import at_tilt


@pytest.fixture(scope="module")
def found():
    """A proven answer, and the problem that it answers."""
    problem = load_problem(shipped_folder("problems") / "light_kit.toml")
    return problem, solve(problem, load_catalog())


def over(found, *planes, together=Outcome.STOPPED, gap=0.0):
    """Planes at tilts 10, 20 and so on, each with an outcome, a price above the answer's and a bound; with what each was asked.

    together: outcome where several are asked as one; only "infeasible" says anything of them.
    """
    problem, proven = found
    problem = with_section(problem, "solver", gap=gap)
    asked = []

    def on(tilts, *, seconds, explained, most):
        if len(tilts) > 1:
            return replace(proven, outcome=together, report=None, choice=None)
        (tilt,) = tilts
        asked.append((tilt, seconds, explained, most))
        outcome, more, bound = planes[len(asked) - 1]
        bare = replace(proven, problem=at_tilt(problem, tilt), outcome=outcome, bound_cents=bound, gap=None, owned=())
        if more is None:
            return replace(bare, report=None, choice=None, reason=f"none at {tilt:g}")
        bill = proven.report.bill
        dearer = replace(bill, parts_and_freight_cents=bill.parts_and_freight_cents + more)
        return replace(bare, report=replace(proven.report, bill=dearer))

    tilts = tuple(10.0 * (at + 1) for at in range(len(planes)))
    return _cheapest_plane(problem, tilts, on, explain=not gap, most_cents=None), asked


def test_the_cheapest_is_proven_where_every_plane_is_settled(found):
    cents = found[1].report.bill.objective_cents
    answer, asked = over(found, (Outcome.OPTIMAL, 500, None), (Outcome.OPTIMAL, 0, None), (Outcome.INFEASIBLE, None, None))
    assert (answer.outcome, answer.choice.tilt_deg) == (Outcome.OPTIMAL, 20.0)
    assert answer.report.bill.objective_cents == cents
    assert [most for _, _, _, most in asked] == [None, cents + 499, cents - 1]  # a later plane must be cheaper
    assert [explained for _, _, explained, _ in asked] == [True, False, False]


def test_an_unproven_plane_leaves_the_whole_unproven_with_the_lowest_bound(found):
    cents = found[1].report.bill.objective_cents
    answer, _ = over(found, (Outcome.OPTIMAL, 0, None), (Outcome.STOPPED, None, cents - 4000.0), (Outcome.INFEASIBLE, None, None))
    assert (answer.outcome, answer.choice.tilt_deg, answer.bound_cents) == (Outcome.FEASIBLE, 10.0, cents - 4000.0)
    assert answer.gap == pytest.approx(4000 / cents)
    unknown, _ = over(found, (Outcome.OPTIMAL, 0, None), (Outcome.STOPPED, None, None))
    assert (unknown.outcome, unknown.bound_cents, unknown.gap) == (Outcome.FEASIBLE, None, None)


def test_no_design_anywhere_is_the_reason_of_the_first_plane(found):
    answer, _ = over(found, (Outcome.INFEASIBLE, None, None), (Outcome.INFEASIBLE, None, None))
    assert (answer.outcome, answer.choice, answer.reason) == (Outcome.INFEASIBLE, None, "none at 10")
    stopped, _ = over(found, (Outcome.INFEASIBLE, None, None), (Outcome.STOPPED, None, None))
    assert stopped.outcome == Outcome.STOPPED


def test_planes_that_together_have_nothing_cheaper_are_not_asked_one_by_one(found):
    cents = found[1].report.bill.objective_cents
    answer, asked = over(found, (Outcome.OPTIMAL, 0, None), (Outcome.STOPPED, None, None), (Outcome.STOPPED, None, None), together=Outcome.INFEASIBLE)
    assert [tilt for tilt, *_ in asked] == [10.0]
    assert (answer.outcome, answer.choice.tilt_deg, answer.report.bill.objective_cents) == (Outcome.OPTIMAL, 10.0, cents)


def test_where_any_design_will_do_the_first_ends_it(found):
    planes = (Outcome.INFEASIBLE, None, None), (Outcome.FEASIBLE, 0, None), (Outcome.OPTIMAL, -500, None)
    answer, asked = over(found, *planes, gap=1.0)
    assert [tilt for tilt, *_ in asked] == [10.0, 20.0]
    assert (answer.outcome, answer.choice.tilt_deg, answer.bound_cents, answer.gap) == (Outcome.FEASIBLE, 20.0, None, None)
    none, asked = over(found, *planes, gap=1.0, together=Outcome.INFEASIBLE)
    assert (none.outcome, none.report, asked) == (Outcome.INFEASIBLE, None, [])


def test_planes_share_one_time_limit(found):
    _, asked = over(found, (Outcome.OPTIMAL, 0, None), (Outcome.OPTIMAL, 0, None))
    assert found[0].solver.time_limit_s >= asked[0][1] > asked[1][1] > 0
