"""The next-best designs that differ in kind, against enumeration with only one kind left at a time."""

from __future__ import annotations

from itertools import product

import pytest
from cases import case
from enumerate import best_choice
from small_cases import tiny

from optimizer.answer import Outcome
from optimizer.errors import WrongUse
from optimizer.questions.ranking import ranking
from optimizer.questions.versus import alternatives, under


def enumerated(problem, catalog, *counted):
    """Least cost under every combination of alternatives that has a design, cheapest first."""
    costs = []
    for values in product(*(alternatives(problem, catalog, by) for by in counted)):
        restricted = problem
        for by, value in zip(counted, values, strict=True):
            restricted = under(restricted, catalog, by, value)
        best = best_choice(restricted, catalog).cost_cents
        if best is not None:
            costs.append(best)
    return sorted(costs)


@pytest.mark.parametrize("seed", [3, 27, 57, 60])
def test_order_is_that_of_the_enumeration_kind_by_kind(seed):
    problem, catalog = tiny(seed)
    found = ranking(problem, catalog, 50, ("voltage", "chemistry"))
    costs = [ranked.answer.report.bill.objective_cents for ranked in found.designs]
    assert costs == enumerated(problem, catalog, "voltage", "chemistry")
    assert found.exhausted
    assert found.complete


def test_kinds_of_controllers_and_formats_are_each_the_cheapest_of_their_own():
    single = 0
    for seed in (6, 12, 27):
        problem, catalog = case(seed)
        found = ranking(problem, catalog, 6, ("controller", "format"))
        kinds = [ranked.kind for ranked in found.designs]
        assert len(set(kinds)) == len(kinds)
        costs = [ranked.answer.report.bill.objective_cents for ranked in found.designs]
        assert costs == sorted(costs)
        for ranked, cost in zip(found.designs, costs, strict=True):
            assert ranked.answer.outcome is Outcome.OPTIMAL
            assert ranked.answer.report.valid
            _, controllers, formats = ranked.kind
            if len(controllers) == len(formats) == 1:
                alone = under(under(problem, catalog, "controller", *controllers), catalog, "format", *formats)
                assert best_choice(alone, catalog).cost_cents == cost
                single += 1
    assert single >= 3


def test_a_longer_list_never_loses_an_entry():
    problem, catalog = case(6)
    short, long = (ranking(problem, catalog, n, ("voltage", "chemistry", "controller")) for n in (2, 5))
    assert [ranked.answer.choice for ranked in short.designs] == [ranked.answer.choice for ranked in long.designs][: len(short.designs)]
    assert long.designs[0].differs_in == ()
    assert all(ranked.differs_in for ranked in long.designs[1:])


def test_what_does_not_tell_kinds_apart_is_named():
    with pytest.raises(WrongUse, match="'colour' does not tell kinds apart"):
        ranking(*case(6), 3, ("colour",))
