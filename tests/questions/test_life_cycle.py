"""Cost over the years: a small design by hand, what it does to costs of candidates, and what must always hold."""

from __future__ import annotations

import shutil
from dataclasses import replace
from itertools import pairwise

import pytest
from cases import TABLES, controller, lead_battery, module
from small_cases import possible, tiny
from wired import wired_case

from optimizer import check, load_catalog, load_problem, solve
from optimizer.bill import PriceList
from optimizer.errors import InputError
from optimizer.handover.as_json import check_data, life_cycle_data, solve_data
from optimizer.handover.questions_text import cost_of_text, curve_text, ranking_text, why_not_text
from optimizer.handover.terminal import check_text, solve_text
from optimizer.handover.versus_text import versus_text
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import Owned, Problem
from optimizer.lifecycle import through_wh_day
from optimizer.needs.requirements import with_section
from optimizer.questions.cost_of import cost_of
from optimizer.questions.curve import axis_of, curve
from optimizer.questions.ranking import ranking
from optimizer.questions.versus import versus
from optimizer.questions.why_not import highest_price, why_not, with_price

CHOICE = {
    "bank": {"voltage_v": 12, "battery": "BT", "series": 1, "strings": 1},
    "charging": [{"controller": "CC", "count": 1, "module": "PV", "series": 1, "strings": 2}],
}


def shed(**life_cycle) -> Problem:
    """20 W at 12 V for 10 hours of every night, 15 C at the battery."""
    return Problem.model_validate({
        "name": "shed", "site": {"ac": "none"}, "array": {"sun_h": 4.0}, "autonomy": {"days": 1},
        "temperatures": {"lowest_c": -5, "hottest_c": 30, "air_c": 10, "battery_c": 15, "battery_lowest_c": 5},
        "price": {"margin_pct": 10, "tax_pct": 20}, "life_cycle": life_cycle,
        "loads": [{"item": "lamp", "watts": 20, "supply": "DC", "volts": 12, "hours": {"all": 10}, "night_share": 1}],
    })


def parts(**battery) -> Catalog:
    """A battery of 1,200 Wh with 600 cycles to half of it, that loses nothing by itself."""
    own = {"cycles": 600, "cycles_dod": 0.5, "self_discharge_pct_month": 0, **battery}
    return Catalog(
        "by hand", "USD", (module("PV", 36, 100, 80.0),), (lead_battery("BT", "agm", 6, 100, 100.0, **own),),
        (controller("CC", "pwm", 20, (12,), 50.0),), (), (), (Allowance(id="AL", per="system", price=30.0),), TABLES,
    )


def test_life_cycle_of_a_small_design_by_hand():
    """Hand: 200 Wh a night are 73,000 Wh a year; 600 x 0.5 x 1,200 = 360,000 Wh last 4.93 years, fewer than the calendar's 6.

    Batteries of 100.00: year 4.93 at 1.06 ** -4.93 = 0.75031: 75.03; year 9.86 at 0.56296: 56.30; year 14.79, used for
    0.21 of 4.93 years, 0.042596 x 0.42240: 1.80. Controller of 50.00: year 12, used for 3 of 12 years, 0.25 x 0.49697: 6.21.
    """
    report = check(CHOICE, shed(), parts())
    cycle, bill = report.life_cycle, report.bill
    assert bill.parts_and_freight_cents == 2 * 8000 + 10000 + 5000 + 3000
    assert bill.total_cents == 44880  # 340.00 and 10 %: 374.00, and 20 %
    assert (cycle.bank.years, cycle.bank.limited_by) == (4.93, "cycles")
    assert [(one.part, one.pieces, round(one.year, 2)) for one in cycle.replacements] == [("BT", 1, 4.93), ("BT", 1, 9.86), ("CC", 1, 12.0), ("BT", 1, 14.79)]
    later = 7503 + 5630 + 180 + 621
    assert cycle.total_cents == 34000 + later + 4793 + 10545  # 10 % of 479.34, 20 % of 527.27
    assert sum(one.cents for one in cycle.replacements) == cycle.total_cents - bill.total_cents
    assert [one.cents for one in cycle.replacements] == pytest.approx([7503 * 1.32, 5630 * 1.32, 621 * 1.32, 180 * 1.32], abs=1)
    minimised = check(CHOICE, shed(objective="life-cycle"), parts())
    assert (bill.objective_cents, minimised.bill.objective_cents) == (34000, 34000 + later)
    assert (minimised.bill.total_cents, minimised.life_cycle.total_cents) == (bill.total_cents, cycle.total_cents)


def test_heat_ends_a_bank_by_the_calendar():
    """Hand: 6 years at 25 C are 3 at 35 C; four replacements in 15 years, none of them cut short."""
    hot = with_section(shed(), "temperatures", battery_c=(35.0,) * 12)
    cycle = check(CHOICE, hot, parts(cycles=5000)).life_cycle
    assert (cycle.bank.years, cycle.bank.limited_by) == (3.0, "calendar")
    assert [one.year for one in cycle.replacements if one.part == "BT"] == [3.0, 6.0, 9.0, 12.0]


def test_an_owned_battery_is_replaced_the_sooner_the_older_it_is():
    """Hand: 6 years of calendar, 30 months old: bought in 3.5 and 9.5; the one that is there costs nothing."""
    owned = shed().model_copy(update={"owned": (Owned(part="BT", quantity=1, age_months=30),)})
    report = check(CHOICE, owned, parts(cycles=5000))
    assert [one.year for one in report.life_cycle.replacements if one.part == "BT"] == [3.5, 9.5]
    assert next(line.price_cents for line in report.bill.lines if line.part == "BT") == 0


def test_no_load_and_a_short_count_leave_nothing_to_replace():
    """Hand: within the calendar's 6 years nothing is bought again: the life cycle is the bill."""
    report = check(CHOICE, shed(years=5), parts(cycles=5000))
    assert report.life_cycle.replacements == ()
    assert report.life_cycle.total_cents == report.bill.total_cents


@pytest.mark.parametrize("number", range(4))
def test_the_energy_through_a_bank_is_that_of_the_proof(number):
    """The bill's own sum of loads against the core of the proof, from the same records."""
    for problem, catalog in (tiny(possible(number)), wired_case((2, 12, 22, 52)[number])):
        answer = solve(problem, catalog)
        core, design = answer.report.whole.core, answer.report.design
        by_season = core.average_wh * [season.demand.night_share for season in core.needs.seasons]
        found = through_wh_day(PriceList(problem, catalog).wiring, design.bank, design.inverters, design.converters)
        assert found == pytest.approx(sum(by_season[core.needs.season_of_month]) / 12)


@pytest.mark.parametrize("number", range(6))
def test_a_higher_discount_rate_never_raises_the_cost(number):
    problem, catalog = tiny(possible(number))
    problem = with_section(problem, "life_cycle", objective="life-cycle", years=25.0)
    costs = [solve(with_section(problem, "life_cycle", discount_pct=rate), catalog).report.life_cycle.total_cents for rate in (0.0, 2.0, 6.0, 15.0)]
    assert all(dear >= cheap for dear, cheap in pairwise(costs))
    assert costs[0] > costs[-1]


@pytest.mark.parametrize("number", range(6))
def test_years_and_rate_change_no_answer_while_the_purchase_is_minimised(number):
    problem, catalog = tiny(possible(number))
    plain = solve(problem, catalog)
    other = solve(with_section(problem, "life_cycle", years=40.0, discount_pct=0.0), catalog)
    assert other.choice == plain.choice
    assert other.report.bill == plain.report.bill
    assert other.bound_cents == plain.bound_cents
    assert other.report.life_cycle.total_cents > plain.report.life_cycle.total_cents


def test_margin_and_tax_keep_the_order():
    """What the program minimises rises with the life-cycle cost that is printed, to the cent."""
    problem = shed(objective="life-cycle")
    prices = PriceList(problem, parts())
    totals = [prices.total_of(cents)[2] for cents in range(34000, 34400)]
    assert totals == sorted(totals)


# --- what is said


def test_answers_print_both_figures_and_what_was_minimised():
    problem, catalog = tiny(possible(0))
    plain, lived = solve(problem, catalog), solve(with_section(problem, "life_cycle", objective="life-cycle"), catalog)
    assert "the cheapest that breaks no rule: proven" in solve_text(plain)
    said = " ".join(solve_text(lived).split())
    assert "the best that breaks no rule by life-cycle cost: proven" in said
    assert "the cheapest that breaks no rule" not in said
    assert "over 15 years at 6 % a year" in said
    assert "Life cycle" in solve_text(plain)
    assert "Life cycle" in check_text(plain.report, problem, catalog)
    assert solve_data(lived, {})["cost"]["bound"] is None
    data = solve_data(plain, {})["life_cycle"]
    assert data == life_cycle_data(plain.report) == check_data(plain.report, plain.choice, problem, "USD", {})["life_cycle"]
    assert set(data) == {"years", "discount_pct", "cost", "objective", "battery_life_years", "limited_by", "replacements"}
    assert data["cost"] == pytest.approx(plain.report.bill.total_cents / 100 + sum(one["cost"] for one in data["replacements"]))


def test_prices_beside_the_bill_are_named_too():
    problem, catalog = tiny(possible(0))
    both = with_section(with_section(problem, "life_cycle", objective="life-cycle"), "objective", price_per_connection=2.0)
    assert "by life-cycle cost and by what [objective] adds to it: proven" in " ".join(solve_text(solve(both, catalog)).split())


def test_versus_has_a_row_of_the_life_cycle():
    problem, catalog = tiny(possible(0))
    found = versus(problem, catalog, "controller")
    (row,) = [line for line in versus_text(found).splitlines() if line.startswith("  life cycle ")]
    assert f"{found.options[0].answer.report.life_cycle.total_cents / 100:,.2f}" in row


def test_questions_say_what_the_cheapest_is_where_it_is_not_the_price():
    problem, catalog = tiny(possible(0))
    lived = with_section(problem, "life_cycle", objective="life-cycle")
    part = catalog.modules[0].id
    for asked, said in ((problem, False), (lived, True)):
        texts = [
            ranking_text(ranking(asked, catalog)), cost_of_text(cost_of(asked, catalog)), why_not_text(why_not(asked, catalog, part)),
            curve_text(curve(asked, catalog, "autonomy"), "", ""), versus_text(versus(asked, catalog, "voltage")),
        ]
        assert ["called the cheapest, is the life-cycle cost; the prices shown" in " ".join(text.split()) for text in texts] == [said] * len(texts)


# --- questions about prices


@pytest.mark.parametrize("number", range(3))
def test_the_highest_price_with_replacements_is_the_last_that_holds(number):
    """No straight line: the price found holds the target and the next cent does not."""
    problem, catalog = tiny(possible(number))
    problem = with_section(problem, "life_cycle", objective="life-cycle", years=30.0)
    base = solve(problem, catalog).report
    part = base.design.bank.battery
    target = base.bill.objective_cents + 4321
    price = highest_price(problem, catalog, part, target)
    assert solve(problem, with_price(catalog, part, int(price))).report.bill.objective_cents <= target
    assert solve(problem, with_price(catalog, part, int(price) + 1)).report.bill.objective_cents > target


def test_the_axis_of_a_price_is_no_straight_line_with_replacements():
    problem, catalog = tiny(possible(0))
    part = catalog.modules[0].id
    assert axis_of(problem, catalog, f"price:{part}").exact == (problem.limits.budget is None or not any(problem.objective.model_dump().values()))
    assert not axis_of(with_section(problem, "life_cycle", objective="life-cycle"), catalog, f"price:{part}").exact


# --- files


def test_a_plan_refuses_the_life_cycle_objective(tmp_path):
    for file in shipped_folder("problems").iterdir():
        shutil.copy(file, tmp_path)
    growing = next(path for path in sorted(tmp_path.glob("*.toml")) if "[growth]" in path.read_text(encoding="utf-8"))
    growing.write_text(growing.read_text(encoding="utf-8") + '\n[life_cycle]\nobjective = "life-cycle"\n', encoding="utf-8")
    with pytest.raises(InputError, match=r"life_cycle\.objective"):
        load_problem(growing)


@pytest.mark.parametrize(("row", "complaint"), [
    ("windmill,10,own", "'windmill' is not known"), ("controller,9,own", "stands twice"), ("controller,0,own", "from 1 to 100"),
    ("controller,ten,own", "must be a number"), ("controller,12,", "source: is required"),
])
def test_every_error_of_the_table_of_lives_is_named(tmp_path, row, complaint):
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    lives = home / "tables" / "lives.csv"
    good = "kind,life_years,source\n" + ("controller,12,own\n" if complaint == "stands twice" else "")
    lives.write_text(good + row + "\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load_catalog(home)
    assert any("lives.csv" in text and complaint in text for text in caught.value.problems)


def test_lives_are_those_of_the_table_or_the_shipped_ones(tmp_path):
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    lives = home / "tables" / "lives.csv"
    lives.write_text("kind,life_years,source\ncontroller,7,own\n", encoding="utf-8")
    assert load_catalog(home).tables.lives == {"controller": 7.0}
    lives.unlink()
    assert load_catalog(home).tables.lives == load_catalog().tables.lives == {"controller": 12.0, "inverter": 10.0, "converter": 10.0, "module": 25.0}


def test_a_kind_without_a_row_is_never_replaced():
    report = check(CHOICE, shed(), replace(parts(), tables=replace(TABLES, lives={})))
    assert {one.part for one in report.life_cycle.replacements} == {"BT"}
