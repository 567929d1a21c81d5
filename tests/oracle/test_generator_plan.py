"""The generator beside a design: worked by hand from the energy that is missing."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optimizer import load_catalog, load_problem, solve
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import GeneratorUse
from optimizer.needs.requirements import with_section
from optimizer.proof.generator import generator_plan
from optimizer.questions.versus import versus

DAYS = {"Jan": 31, "Feb": 28, "Nov": 30, "Dec": 31}


@pytest.fixture(scope="module")
def answer():
    problem = load_problem(shipped_folder("problems") / "year_round_home.toml")
    return solve(with_section(problem, "balance", minimum_solar_share=0.7), load_catalog())


def test_hours_fuel_and_size_follow_from_what_the_array_leaves_missing(answer) -> None:
    report = answer.report
    plan = report.generator
    bank, problem = report.design.bank, answer.problem
    missing = {month.month: month.load_wh * (1 - month.ratio) for month in report.months if month.ratio < 1}
    efficiency = dict(zip((m.month for m in report.months), report.whole.core.efficiency[report.whole.needs.season_of_month], strict=True))
    assert [month.month for month in plan.months] == list(missing)
    # hand: what is missing at the loads' side is more on the way into the bank; hours are that over current times voltage.
    for month in plan.months:
        assert month.missing_wh == pytest.approx(missing[month.month] / efficiency[month.month])
        assert month.hours_a_day == pytest.approx(month.missing_wh / (plan.charge_a * bank.charging_v))
    assert plan.hours_a_year == pytest.approx(sum(month.hours_a_day * DAYS[month.month] for month in plan.months))
    kwh = sum(month.missing_wh * DAYS[month.month] for month in plan.months) / 1000
    assert plan.litres_a_year == pytest.approx(kwh / 0.88 * plan.chosen.litres_per_kwh)
    assert plan.running_cents == pytest.approx(100 * 10 * (plan.litres_a_year * 1.6 + plan.hours_a_year * plan.chosen.service_per_h), abs=1)
    # hand: 10,000 VA at 1,600 m and 36 C: 0.8 x (1 - 0.035 x 1600/300) x (1 - 0.01 x 11/5.5).
    assert plan.gives_va == pytest.approx(10000 * 0.8 * (1 - 0.035 * 1600 / 300) * (1 - 0.01 * 11 / 5.5))
    assert plan.gives_va >= plan.needed_va > report.whole.needs.demand.coincident_va
    assert problem.site.other_source == "generator"


def test_fewer_hours_a_day_ask_for_a_larger_set_until_the_catalog_has_none(answer) -> None:
    report, catalog = answer.report, answer.catalog

    def plan(hours: float):
        problem = answer.problem.model_copy(update={"generator": GeneratorUse(hours_per_day_max=hours)})
        whole = report.whole
        needs = type(whole.needs)(problem)
        return generator_plan(replace(whole, needs=needs, core=replace(whole.core, needs=needs)), catalog)

    needed = [plan(hours).needed_va for hours in (8, 6, 4, 2, 1)]
    assert needed == sorted(needed)
    assert plan(1).chosen is None
    assert plan(8).chosen is not None
    assert not plan(8).too_long


def test_no_generator_is_priced_beside_one(answer) -> None:
    found = versus(answer.problem, answer.catalog, "generator")
    by = {option.value: option for option in found.options}
    assert set(by) == {"generator", "none"}
    assert by["none"].answer.report.generator is None
    assert by["generator"].cents < by["none"].cents  # a smaller array beside it; the set and its fuel are another row
