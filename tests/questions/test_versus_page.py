"""What `versus` shows of each design: figures against the parts and the check, the page and the JSON answer."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from cases import case
from small_cases import tiny
from typer.testing import CliRunner

from optimizer.cli import app
from optimizer.errors import WrongUse
from optimizer.handover.versus_json import BESIDE_PRICE, controller_facts, figures_data, versus_data
from optimizer.handover.versus_text import versus_text
from optimizer.inputs.problem import MONTHS
from optimizer.needs.requirements import with_section
from optimizer.needs.site import Needs
from optimizer.proof.check import check, check_design
from optimizer.questions import flips
from optimizer.questions.versus import energy_of, versus

KIT = "problems/light_kit.toml"


@pytest.fixture(scope="module")
def found():
    """Comparisons in which a PWM controller and a tracker both have a design."""
    several = [versus(*case(seed), "controller") for seed in (3, 6, 14)]
    assert any({"pwm", "mppt"} <= {one.value for one in each.options if one.answer.report} for each in several)
    return several


def designs(found):
    return [(each, option) for each in found for option in each.options if option.answer.report is not None]


def test_what_the_array_could_give_less_every_loss_is_the_harvest(found):
    left = tracked = 0
    for _, option in designs(found):
        report = option.answer.report
        energy = energy_of(report)
        rest = energy.could - energy.conversion - energy.clipping - energy.voltage - energy.own_use - energy.battery
        assert rest == pytest.approx(energy.harvest)
        assert energy.harvest == pytest.approx([month.array_wh for month in report.months])
        for loss in (energy.conversion, energy.clipping, energy.own_use, energy.battery):
            assert (loss >= -1e-9).all()
        assert [MONTHS[month] for month in energy.months] == [month.month for month in report.months]
        if option.value == "pwm":
            assert not energy.clipping.any()
            assert (energy.voltage > 0).all()
            left += 1
        else:
            assert not energy.voltage.any()
            if len(report.design.blocks) == 1:
                kept = 0.98 * report.design.blocks[0].device.efficiency
                assert energy.conversion == pytest.approx(energy.could * (1 - kept))
                tracked += 1
    assert left
    assert tracked


def test_a_charge_limit_is_clipping():
    problem, catalog = case(3)
    option = next(one for one in versus(problem, catalog, "controller").options if one.value == "mppt")
    design = option.answer.report.design
    wide = energy_of(option.answer.report)
    low = replace(design, blocks=tuple(replace(block, limit_a=0.2 * block.array_w / design.bank.charging_v) for block in design.blocks))
    held = energy_of(check_design(low, Needs(problem), catalog))
    assert (held.clipping > wide.clipping).all()
    assert held.clipping - wide.clipping == pytest.approx(wide.harvest + wide.battery - held.harvest - held.battery)
    assert held.conversion == pytest.approx(wide.conversion)


def test_the_array_at_its_best_is_watts_at_the_cells_temperature(found):
    for _, option in designs(found):
        report = option.answer.report
        problem = option.answer.problem
        energy = energy_of(report)
        for at, month in enumerate(energy.months):
            expected = 0.0
            for block in report.design.blocks:
                rise = (block.module.noct_c - 20) * {"open rack": 1.0, "close to a roof": 1.25, "flat on a vehicle": 1.3}[problem.array.mounting]
                cell_c = problem.temperatures.air_c[month] + rise
                watts = block.module.pmax_w * block.series * block.strings * block.count * (1 + block.module.tc_pmax_pct_k / 100 * (cell_c - 25))
                expected += watts * problem.array.sun_h[month] * problem.array.shade[month] * problem.array.soiling * problem.array.mismatch
            assert energy.could[at] == pytest.approx(expected)


def test_the_year_counts_the_days_of_the_months_of_use():
    problem, catalog = case(6)
    report = versus(problem, catalog, "controller").options[0].answer.report
    energy = energy_of(report)
    days = {"Feb": 28, "Apr": 30, "Jun": 30, "Sep": 30, "Nov": 30}
    expected = sum(month.array_wh * days.get(month.month, 31) for month in report.months) / 1000
    assert energy.over_the_year(energy.harvest) == pytest.approx(expected)
    assert energy.over_the_year(np.ones(len(energy.months))) == pytest.approx(sum(days.get(MONTHS[m], 31) for m in energy.months) / 1000)
    data = figures_data(report, catalog)
    assert data["year"]["harvest_kwh"] == pytest.approx(expected)
    at = energy.months.index(MONTHS.index(data["design_month"]))
    assert data["lost_wh"] == pytest.approx(energy.could[at] - energy.own_use[at] - energy.battery[at] - energy.harvest[at])


def test_cables_are_the_lines_of_the_bill_for_cables_links_and_fuses():
    from optimizer import load_catalog, load_problem

    catalog = load_catalog("catalogs")
    found = versus(load_problem(KIT), catalog, "controller")
    ids = {"AL-BATTERY-LINK", "AL-LUGS", "AL-CONVERTER", *(part.id for part in (*catalog.cables, *catalog.protection, *catalog.busbars))}
    for _, option in designs([found]):
        bill = option.answer.report.bill
        expected = sum(line.price_cents for line in bill.lines if line.part in ids) / 100
        data = figures_data(option.answer.report, catalog)
        assert data["cable_allowance"] == pytest.approx(expected)
        assert expected > 0
        assert sum(data["allowances"].values()) == pytest.approx(sum(line.price_cents for line in bill.lines if line.part.startswith("AL-")) / 100)


def test_figures_are_those_of_the_parts_and_practice_unkept_that_of_the_check(found):
    unkept = 0
    for _, option in designs(found):
        answer = option.answer
        data, design = figures_data(answer.report, answer.catalog), answer.report.design
        pieces = design.pieces
        assert data["modules"] == sum(pieces[one.id] for one in answer.catalog.modules)
        assert data["array_strings"] == sum(block.modules // block.series for block in design.blocks)
        assert data["array_a"] == pytest.approx(max(1.25 * b.module.isc_a * b.strings * (1 + b.module.bifacial_pct / 100) for b in design.blocks))
        lines = check(answer.choice, answer.problem, answer.catalog).lines
        assert {one["rule"] for one in data["not_kept"]} == {line.rule for line in lines if line.severity == "soft" and line.passed is False}
        assert len({one["rule"] for one in data["not_kept"]}) == len(data["not_kept"])
        unkept += len(data["not_kept"])
    assert unkept


def test_facts_of_the_controllers_are_those_of_their_rows(found):
    for _, option in designs(found):
        design = option.answer.report.design
        facts = controller_facts(design)
        rows = [option.answer.catalog.by_id[part_id] for part_id in facts["controllers"]]
        if option.value == "built-in tracker":
            assert facts["in_inverter"]
            continue
        assert not facts["in_inverter"]
        assert facts["bank_v"] == sorted(volts for volts in rows[0].bank_v if all(volts in row.bank_v for row in rows))
        assert facts["low_t_cut_out"] is all(row.low_t_cut_out for row in rows)
        assert facts["parallel_ok"] is all(row.parallel_ok for row in rows)
        assert facts["self_w"] == pytest.approx(sum(row.self_w * facts["controllers"][row.id] for row in rows))
        assert facts["controllers"] == {row.id: design.pieces[row.id] for row in rows}


def test_general_facts_name_their_source_and_only_by_controller(found):
    data = versus_data(found[0], {})
    assert {one["source"] for one in data["beside_price"]} == {"common practice, no source"}
    values = {option["value"] for option in data["options"] if option["cost"] is not None}
    assert ("built-in" in {one["about"] for one in data["beside_price"]}) is ("built-in tracker" in values)
    text = " ".join(versus_text(found[0]).split())
    for one in data["beside_price"]:
        assert f"{BESIDE_PRICE[one['about']]} (common practice, no source)" in text
    other = versus(*tiny(3), "voltage")
    assert versus_data(other, {})["beside_price"] == []
    assert "Beside the price" not in versus_text(other)


def test_only_the_alternatives_asked_for():
    problem, catalog = case(3)
    both = versus(problem, catalog, "controller", among=("pwm", "mppt"))
    assert {option.value for option in both.options} == {"pwm", "mppt"}
    every = versus(problem, catalog, "controller")
    assert {option.cents for option in both.options} <= {option.cents for option in every.options}
    with pytest.raises(WrongUse, match="'solar' is not among the alternatives"):
        versus(problem, catalog, "controller", among=("pwm", "solar"))


def test_four_columns_fit_and_long_names_take_two_lines():
    problem, catalog = case(3)
    problem = with_section(problem, "bank", volts=(12, 24, 48))
    for by in ("controller", "voltage", "chemistry", "format", "inverter-kind"):
        text = versus_text(versus(problem, catalog, by))
        assert max(map(len, text.splitlines())) <= 79


def test_flips_on_the_page_and_in_json(monkeypatch):
    from optimizer.questions import versus as question

    monkeypatch.setattr(flips, "STRETCHES", 2)
    once = cache(lambda: real(*given[0][0], **given[0][1]))
    real, given = question.versus, []
    monkeypatch.setattr(question, "versus", lambda *some, **named: (given.append((some, named)), once())[1])
    arguments = ["versus", KIT, "--by", "controller", "--flips", "--among", "pwm,mppt"]
    result = CliRunner().invoke(app, [*arguments, "--json"])
    assert result.exit_code == 0
    assert "module-price" in result.stderr
    data = json.loads(result.stdout)
    assert {option["value"] for option in data["options"]} == {"pwm", "mppt"}
    boundaries = 0
    for along in data["intervals"]:
        assert along["complete"]
        assert along["exact"] is False
        winners = [one["winner"] for one in along["intervals"]]
        told = [(flip["at"], flip["from"], flip["to"]) for flip in data["flips"] if flip["parameter"] == along["over"]]
        assert told == [(one["to"], one["winner"], other["winner"]) for one, other in zip(along["intervals"], along["intervals"][1:], strict=False)]
        assert len(winners) == len(told) + 1
        boundaries += len(told)
    assert boundaries
    page = CliRunner().invoke(app, arguments).stdout
    assert max(map(len, page.splitlines())) <= 79
    for title in ("price of all modules", "temperature of the air", "daily energy"):
        assert f"Winner by {title}" in page
    assert "may be missed" in page


def test_interrupted_flips_say_so_and_have_their_own_exit_code(monkeypatch):
    def stopped(*_given):
        raise KeyboardInterrupt

    monkeypatch.setattr(flips._Walk, "sampled", stopped)
    result = CliRunner().invoke(app, ["versus", KIT, "--by", "controller", "--flips"])
    assert result.exit_code == 5
    assert "Interrupted" in result.stdout


def test_an_alternative_that_there_is_not_is_wrong_use():
    result = CliRunner().invoke(app, ["versus", KIT, "--by", "controller", "--among", "solar"])
    assert result.exit_code == 2
    assert "built-in tracker, mppt, pwm" in result.stderr
