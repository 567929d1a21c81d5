"""The next-best designs that differ in kind, against enumeration with only one kind left at a time."""

from __future__ import annotations

import json
from dataclasses import replace
from itertools import product

import pytest
from cases import case
from enumerate import best_choice
from small_cases import tiny
from test_plain_choices import arrays, cores
from test_plain_choices import tiny as plain
from typer.testing import CliRunner

from optimizer import load_catalog, load_problem
from optimizer.answer import Outcome, solve
from optimizer.bill import PriceList
from optimizer.choice import search
from optimizer.cli import app
from optimizer.design import Design
from optimizer.errors import WrongUse
from optimizer.handover.questions_json import ranking_data
from optimizer.handover.questions_text import ranking_text
from optimizer.needs.requirements import with_section
from optimizer.needs.site import CONVERTER_RESERVE, Needs
from optimizer.proof.check import check_design
from optimizer.proof.whole import array_area_m2
from optimizer.questions.ranking import ranking, tightest
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


# --- a margin on every limit


def plain_designs(problem, catalog):
    """Every design of a tiny case, written down; converters also with one piece more than they need."""
    sets = list(arrays(problem, catalog))
    for bank, inverters, way in cores(problem, catalog):
        for more in product((0, 1), repeat=len(way)):
            uses = tuple(replace(use, count=use.count + extra) for use, extra in zip(way, more, strict=True))
            for blocks in sets:
                yield Design(bank, blocks, inverters, uses)


def share_left(report):
    """Least share of a limit that a design leaves, by the figures of the check alone."""
    return min(
        line.margin / abs(line.required) for line in report.lines
        if line.severity in ("hard", "requirement") and line.margin is not None and line.sense != "equals"
        and line.unit not in ("count", "C") and line.required
    )


def by_the_check_alone(problem, catalog, share):
    """Cost of the first design, in the order of cost, that is valid and leaves the margin."""
    needs, prices = Needs(problem), PriceList(problem, catalog)
    for design in sorted(plain_designs(problem, catalog), key=lambda one: prices.bill(one).objective_cents):
        report = check_design(design, needs, catalog, prices)
        if report.valid and share_left(report) >= share - 1e-5:
            return report.bill.objective_cents
    return None


@pytest.mark.parametrize(("seed", "pct"), [(29, 2), (44, 2), (44, 10), (75, 5)])
def test_the_cheapest_with_a_margin_is_that_of_the_check_alone(seed, pct, monkeypatch):
    problem, catalog = plain(seed)
    # The margin is in what the search looks through: a rule that were forgotten there would show as a rejected design.
    monkeypatch.setattr(search, "REJECTIONS_MOST", 0)
    found = solve(problem, catalog, margin_share=pct / 100)
    assert found.outcome is Outcome.OPTIMAL
    assert found.report.bill.objective_cents == by_the_check_alone(problem, catalog, pct / 100)
    assert found.report.bill.objective_cents > solve(problem, catalog).report.bill.objective_cents
    assert share_left(found.report) >= pct / 100 - 1e-5


def test_a_margin_that_no_design_leaves_is_impossible():
    problem, catalog = plain(44)
    found = ranking(problem, catalog, 1, margin_pct=40)
    assert found.designs
    assert found.margin.answer.outcome is Outcome.INFEASIBLE
    assert found.margin.answer.reason
    assert by_the_check_alone(problem, catalog, 0.40) is None


@pytest.mark.parametrize(("section", "key", "rule"), [("array", "area_m2", "array-area"), ("limits", "total_kg_max", "total-weight"), ("limits", "budget", "budget")])
def test_limits_of_the_problem_are_kept_off_too(section, key, rule):
    problem, catalog = plain(44)
    report = solve(problem, catalog).report
    taken = {"array-area": sum(array_area_m2(b.module, problem.array.gap_m) * b.modules for b in report.design.blocks),
             "total-weight": report.bill.weight_kg, "budget": report.bill.total_cents / 100}[rule]
    for share, kept in ((1.01, False), (1.2, True)):
        limited = with_section(problem, section, **{key: taken * share})
        found = solve(limited, catalog, margin_share=0.02)
        assert any(line.rule == rule for line in solve(limited, catalog).report.lines)
        assert (found.report is not None) or not kept
        if found.report is not None:
            line = next(line for line in found.report.lines if line.rule == rule)
            assert line.required == pytest.approx(taken * share)
            assert line.margin_share >= 0.02 - 1e-6


def test_the_ranking_says_the_price_of_a_margin():
    problem, catalog = plain(44)
    found = ranking(problem, catalog, 2, margin_pct=10)
    line = tightest(found.margin.answer)
    assert line.margin_share == pytest.approx(share_left(found.margin.answer.report))
    assert line.margin_share >= 0.1 - 1e-6 > tightest(found.designs[0].answer).margin_share
    data = ranking_data(found, {})["with_margin"]
    assert data["cost"] == found.margin.cents / 100
    assert data["tightest"]["rule"] == line.rule
    text = ranking_text(found)
    assert "With at least 10 % margin" in text
    assert f"{found.margin.cents / 100:,.2f}" in text
    assert ranking_data(ranking(problem, catalog, 1), {})["with_margin"] is None


@pytest.mark.parametrize("pct", [0, -5, 100])
def test_a_margin_that_is_none_is_refused(pct):
    with pytest.raises(WrongUse, match="margin"):
        ranking(*plain(44), 1, margin_pct=pct)


def test_the_command_hands_the_margin_on():
    result = CliRunner().invoke(app, ["ranking", "problems/light_kit.toml", "-n", "1", "--margin", "2", "--json"])
    assert result.exit_code == 0
    told = json.loads(result.stdout)["with_margin"]
    assert told["margin_pct"] == 2
    assert told["tightest"]["margin_pct"] >= 2
    assert told["choice"]
    refused = CliRunner().invoke(app, ["ranking", "problems/light_kit.toml", "--margin", "0"])
    assert refused.exit_code == 2
    assert "margin" in refused.stderr


@pytest.mark.parametrize(("seed", "share"), [
    (26, 0.01), (70, 0.03),  # the balance of the months
    (13, 0.04), (28, 0.04),  # the least charge current
    (6, 0.04), (34, 0.04),  # what the controllers take of the storage
    (61, 0.04), (11, 0.04),  # the voltage that inverter and loads stand
    (55, 0.04), (56, 0.04),  # the greatest charge current
    (242, 0.03), (3, 0.04),  # strings in parallel, and what screening holds
])
def test_what_the_search_proposes_keeps_the_margin_already(seed, share, monkeypatch):
    # Without the margin of the rule named the first design would be rejected, and the search end as stopped.
    monkeypatch.setattr(search, "REJECTIONS_MOST", 0)
    found = solve(*case(seed), margin_share=share, explain=False)
    assert found.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE)
    assert found.report is None or share_left(found.report) >= share - 1e-5


def test_converters_are_taken_with_their_margin():
    problem, catalog = load_problem("problems/weekend_cabin.toml"), load_catalog("catalogs")
    use = solve(problem, catalog).report.design.converters[0]
    parts = replace(catalog, converters=(use.converter,))
    asked = CONVERTER_RESERVE * float(Needs(problem).demand.coincident_dc_w[0]) / use.load_v
    more = use.count * use.converter.output_a / asked * 0.999
    loads = tuple(one.model_copy(update={"watts": one.watts * more}) if one.supply == "DC" else one for one in problem.loads)
    problem = problem.model_copy(update={"loads": loads})
    plainly, kept = (solve(problem, parts, margin_share=share, explain=False).report for share in (0.0, 0.02))
    line = next(line for line in kept.lines if line.rule == "dc-load-voltage")
    assert plainly.design.converters[0].count == use.count < kept.design.converters[0].count
    assert line.margin_share >= 0.02
