"""Where the cheapest alternative changes: both sides of every boundary against the enumeration of each alternative."""

from __future__ import annotations

from itertools import pairwise

import pytest
from enumerate import best_choice
from small_cases import tiny

from optimizer.answer import Outcome, solve
from optimizer.errors import OutOfRange
from optimizer.needs.requirements import with_section
from optimizer.questions import flips as module
from optimizer.questions.flips import flip_axes, flips_along, with_module_prices
from optimizer.questions.versus import alternatives, under, versus


def only_by(by):
    return lambda problem, catalog, value: under(problem, catalog, by, value)


def enumerated_winner(problem, catalog, by, values):
    """The cheapest alternative, the first by name of two that cost the same; None where none has a design."""
    costs = [(best_choice(under(problem, catalog, by, value), catalog).cost_cents, value) for value in values]
    return min(((cost, value) for cost, value in costs if cost is not None), default=(None, None))[1]


@pytest.mark.parametrize(("seed", "by", "least"), [(39, "controller", 2), (12, "chemistry", 3), (69, "controller", 4)])
def test_on_both_sides_of_every_boundary_the_winner_is_that_of_the_enumeration(seed, by, least, monkeypatch):
    monkeypatch.setattr(module, "STRETCHES", 8)
    problem, catalog = tiny(seed)
    values = alternatives(problem, catalog, by)
    boundaries = 0
    for along in flips_along(problem, catalog, values, only_by(by)):
        axis = along.over.axis
        assert along.complete
        assert along.proven
        assert (along.found[0].start, along.found[-1].end) == (axis.low, axis.high)
        for one, other in pairwise(along.found):
            assert other.start - one.end == pytest.approx(axis.resolution)
            assert one.winner != other.winner
            boundaries += 1
        for interval in along.found:
            for value, cents in ((interval.start, interval.start_cents), (interval.end, interval.end_cents)):
                asked, parts = axis.at(value)
                assert interval.winner == enumerated_winner(asked, parts, by, values)
                if interval.winner is not None:
                    assert solve(under(asked, parts, by, interval.winner), parts).report.bill.total_cents == cents
                else:
                    assert cents is None
    assert boundaries >= least


def test_today_is_among_the_samples_and_has_the_winner_of_versus(monkeypatch):
    monkeypatch.setattr(module, "STRETCHES", 3)
    problem, catalog = tiny(39)
    found = versus(problem, catalog, "controller", flips=True)
    assert [along.over.axis.name for along in found.intervals] == ["module-price", "air-temperature", "load"]
    for along in found.intervals:
        now = [one.winner for one in along.found if one.start <= along.over.axis.now <= one.end]
        assert now == [found.cheapest.value]
    assert versus(problem, catalog, "controller").intervals == ()


def test_axes_change_what_they_say_and_nothing_else():
    problem, catalog = tiny(39)
    price, air, load = flip_axes(problem, catalog)
    asked, parts = price.axis.at(50.0)
    assert asked == problem
    assert [one.price for one in parts.modules] == [pytest.approx(one.price / 2, abs=0.005) for one in catalog.modules]
    assert (parts.batteries, parts.controllers, parts.allowances) == (catalog.batteries, catalog.controllers, catalog.allowances)
    assert price.scaled(50.0) == pytest.approx(min(one.price / one.pmax_w for one in catalog.modules) / 2)
    asked, parts = air.axis.at(-3.0)
    before, after = problem.temperatures, asked.temperatures
    assert parts is catalog
    assert (after.lowest_c, after.hottest_c) == (before.lowest_c - 3, before.hottest_c - 3)
    assert after.air_c == tuple(c - 3 for c in before.air_c)
    assert (after.battery_c, after.battery_lowest_c) == (before.battery_c, before.battery_lowest_c)
    assert asked.model_copy(update={"temperatures": before}) == problem
    energy = [sum(one.qty * one.watts * max(one.hours.values()) * one.days_per_week / 7 for one in problem.loads)]
    assert load.scaled(100.0) <= energy[0] * (1 + 1e-9)
    assert load.scaled(50.0) == pytest.approx(load.scaled(100.0) / 2)
    for over in (price, air, load):
        assert over.axis.low <= over.axis.now <= over.axis.high


def test_the_air_ends_where_the_rules_on_cells_end():
    problem, catalog = tiny(39)
    hot = with_section(problem, "temperatures", hottest_c=50.0)
    axis = flip_axes(with_section(hot, "array", mounting="flat on a vehicle"), catalog)[1].axis
    assert 0 <= axis.high < module.REACH_K
    assert solve(*axis.at(axis.high), explain=False).outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE)
    with pytest.raises(OutOfRange):
        solve(*axis.at(axis.high + 1))
    cold = flip_axes(with_section(problem, "temperatures", lowest_c=-55.0), catalog)[1].axis
    assert cold.low == -5.0


def test_a_stop_by_hand_leaves_what_is_known(monkeypatch):
    monkeypatch.setattr(module, "STRETCHES", 4)
    problem, catalog = tiny(39)
    asked = []

    def stop(text):
        asked.append(text)
        if text.startswith("air-temperature") and sum(one.startswith("air-temperature") for one in asked) == 3:
            raise KeyboardInterrupt

    price, air, load = flips_along(problem, catalog, alternatives(problem, catalog, "controller"), only_by("controller"), stop)
    assert price.complete
    assert not air.complete
    assert not load.complete
    assert (price.found[0].start, price.found[-1].end) == (20.0, 300.0)
    assert air.found
    assert air.found[-1].end < air.over.axis.high
    assert load.found == ()


def test_module_prices_stay_whole_cents():
    _, catalog = tiny(39)
    for one in with_module_prices(catalog, 1 / 3).modules:
        assert one.price == round(one.price, 2)
