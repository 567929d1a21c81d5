"""Alternatives side by side: each the cheapest that the enumeration finds with only that alternative left."""

from __future__ import annotations

import pytest
from cases import case
from enumerate import best_choice
from small_cases import tiny

from optimizer.answer import solve
from optimizer.errors import WrongUse
from optimizer.handover.questions_json import SUBSYSTEMS, by_subsystem
from optimizer.questions.versus import WAYS, under, versus
from optimizer.questions.why_not import with_price


@pytest.mark.parametrize("by", WAYS)
@pytest.mark.parametrize("seed", [3, 57])
def test_each_alternative_costs_what_the_enumeration_finds(seed, by):
    problem, catalog = tiny(seed)
    found = versus(problem, catalog, by)
    assert found.options
    for option in found.options:
        report = option.answer.report
        best = best_choice(under(problem, catalog, by, option.value), catalog).cost_cents
        assert (report.bill.objective_cents if report else None) == best
        if report is not None:
            assert found.free.report.bill.objective_cents <= best
        else:
            assert option.answer.reason
    costs = [option.answer.report.bill.objective_cents for option in found.options if option.answer.report]
    assert costs == sorted(costs)
    assert (found.cheapest is None) is (not costs)


def has(answer, by, value):
    """Whether a design is of the alternative that it was found under; a generator is of the site that was solved."""
    design = answer.report.design
    return {
        "controller": lambda: {"built-in tracker" if b.built_in else b.part.kind for b in design.blocks} == {value},
        "voltage": lambda: f"{design.bank.volts} V" == value,
        "chemistry": lambda: design.bank.battery.chemistry == value,
        "inverter-kind": lambda: design.inverters.inverter is None or design.inverters.inverter.kind == value,
        "format": lambda: {f"{b.module.series_cells} cells" for b in design.blocks} == {value},
        **{source: lambda: answer.problem.site.other_source == value for source in ("generator", "alternator", "shore")},
    }[by]()


@pytest.mark.parametrize("by", WAYS)
def test_each_design_is_of_its_alternative(by):
    seen = 0
    for seed in (6, 27):
        found = versus(*case(seed), by)
        for option in found.options:
            if option.answer.report is not None:
                assert has(option.answer, by, option.value)
                bill = option.answer.report.bill
                cut = by_subsystem(bill, option.answer.catalog)
                assert tuple(cut) == SUBSYSTEMS
                assert sum(cut.values()) == bill.total_cents
                seen += 1
    assert seen >= 2


@pytest.mark.parametrize("by", ["controller", "chemistry", "format"])
def test_above_the_price_of_a_flip_the_next_alternative_costs_less(by):
    flips = 0
    for seed in (6, 12):
        problem, catalog = case(seed)
        found = versus(problem, catalog, by)
        for flip in found.flips:
            part = catalog.by_id[flip.part]
            follower = found.options[1].answer.report.bill.objective_cents
            left = under(problem, catalog, by, flip.winner)
            assert flip.cents >= part.price_cents
            assert (flip.winner, flip.follower) == (found.options[0].value, found.options[1].value)
            assert solve(left, with_price(catalog, part, flip.cents)).report.bill.objective_cents <= follower
            assert solve(left, with_price(catalog, part, flip.cents + 1)).report.bill.objective_cents > follower
            flips += 1
    assert flips


def test_an_unknown_way_is_refused():
    with pytest.raises(WrongUse, match="--by colour"):
        versus(*tiny(3), "colour")
