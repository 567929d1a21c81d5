"""Answers as JSON: the keys that scripts rely on, sums to the cent, no NaN."""

import json
import re
from dataclasses import replace

import pytest

import optimizer
from optimizer.bill import PriceList
from optimizer.handover.as_json import bound_cents, combined_lines, plain, solve_data, text_of
from optimizer.inputs.problem import MONTHS, Objective, Price
from optimizer.proof.check import check_design

SOLVE = {"outcome", "cost", "choice", "bill", "checks", "months", "screening", "cautions", "timing_s", "inputs"}
COST = {"total", "currency", "bound", "gap"}
BILL = {"part", "description", "quantity", "unit_price", "price"}
CHECK = {"rule", "title", "required", "actual", "unit", "margin", "severity", "passed", "source"}
MONTH = {"month", "sun_h", "load_wh", "array_wh", "ratio"}
SHA = re.compile(r"^[0-9a-f]{64}$")


def refuse(word):
    raise AssertionError(f"{word} is no JSON")


def strict(text):
    return json.loads(text, parse_constant=refuse)


def cents(amount):
    return round(amount * 100)


def sums_up(bill, total):
    assert sum(cents(line["price"]) for line in bill) == cents(total)
    for line in bill:
        assert set(line) >= BILL
        assert cents(line["price"]) == line["quantity"] * cents(line["unit_price"])


def test_solve_has_the_keys_of_the_contract(run, site):
    data = strict(run("solve", site, "--json").out)
    assert set(data) >= SOLVE
    assert set(data["cost"]) >= COST
    assert set(data["timing_s"]) >= {"read", "screen", "build", "solve", "check", "total"}
    assert all(seconds >= 0 for seconds in data["timing_s"].values())
    assert data["timing_s"]["read"] > 0
    assert data["timing_s"]["total"] >= data["timing_s"]["read"] + data["timing_s"]["solve"]
    assert len(data["cautions"]) >= 20
    assert data["inputs"]["version"] == optimizer.__version__
    assert SHA.match(data["inputs"]["problem_sha256"])
    assert SHA.match(data["inputs"]["catalog_sha256"])
    assert data["cost"]["currency"] == "USD"
    for row in data["screening"]:
        assert set(row) >= {"rule", "removed", "left", "example"}
    if data["outcome"] == "infeasible":
        assert data["choice"] is None
        assert data["screening"]
        assert data["reason"]
        assert (data["bill"], data["cost"]["total"]) == ([], None)
        return
    assert set(data["choice"]) >= {"bank", "charging", "inverter"}
    assert set(data["choice"]["bank"]) >= {"voltage_v", "battery", "series", "strings"}
    assert set(data["choice"]["charging"][0]) >= {"controller", "count", "module", "series", "strings"}
    # With fuel in what is minimised a dearer bill may win: nothing bounds the bill by itself.
    assert (data["cost"]["bound"], data["cost"]["gap"]) == (data["cost"]["total"] if data["cost"]["running"] is None else None, 0)
    sums_up(data["bill"], data["cost"]["total"])
    for line in data["checks"]:
        assert set(line) >= CHECK
        assert line["severity"] in ("hard", "requirement", "soft")
        assert line["passed"] in (True, False, None)
        assert line["passed"] is True or line["severity"] == "soft"
    for month in data["months"]:
        assert set(month) >= MONTH
        assert month["month"] in MONTHS
    assert data["design_month"] == min(data["months"], key=lambda month: month["ratio"])["month"]


def test_problem_without_inverter_has_null(run):
    assert strict(run("solve", "light_kit", "--json").out)["choice"]["inverter"] is None


def test_demand_has_the_keys_of_the_contract(run, site):
    data = strict(run("demand", site, "--json").out)
    assert [month["month"] for month in data["months"]] == list(MONTHS)
    assert set(data["months"][0]) >= {"month", "ac_wh", "dc_wh", "use_day_wh"}
    assert set(data) >= {"coincident_w", "coincident_va", "coincident_dc_w", "worst_start_va", "worst_start_load"}
    assert (data["worst_start_load"] is None) == (data["coincident_va"] == 0 and data["worst_start_va"] == 0)
    assert max(month["use_day_wh"] for month in data["months"]) > 0


def test_demand_of_the_cabin(run):
    """Hand: 2.5 days a week of 6 x 7 x 4, 2 x 12 x 3, 70 x 0.4, 15 x 6 Wh and 36 Wh every day; AC 35 x 2, 65 x 2, 350 x 0.05."""
    months = {month["month"]: month for month in strict(run("demand", "weekend_cabin", "--json").out)["months"]}
    assert months["Jul"]["ac_wh"] == pytest.approx(217.5 * 2.5 / 7)
    assert months["Jul"]["dc_wh"] == pytest.approx(358 * 2.5 / 7 + 36)
    assert months["Jul"]["use_day_wh"] == pytest.approx(217.5 + 358 + 36)
    assert (months["Jan"]["ac_wh"], months["Jan"]["dc_wh"]) == (0, pytest.approx(36))


def test_months_that_are_not_used(run):
    months = strict(run("demand", "camper", "--json").out)["months"]
    assert [month["month"] for month in months if month["season"] is not None] == ["Apr", "May", "Jun", "Jul", "Aug", "Sep"]
    assert months[0]["use_day_wh"] == 0


def test_several_problems_make_one_bill(run):
    data = strict(run("solve", "clinic", "clinic_vaccine_refrigerator", "--json").out)
    each = data["answers"]
    assert [answer["problem"] for answer in each] == ["Clinic, general loads", "Clinic, vaccine refrigerator"]
    assert cents(data["cost"]["total"]) == sum(cents(answer["cost"]["total"]) for answer in each)
    sums_up(data["bill"], data["cost"]["total"])
    parts = [line["part"] for line in data["bill"]]
    assert len(parts) == len(set(parts))
    allowances = [part.startswith("AL-") for part in parts]
    assert allowances == sorted(allowances)  # parts first
    for line in data["bill"]:
        assert line["quantity"] == sum(own["quantity"] for answer in each for own in answer["bill"] if own["part"] == line["part"])
    assert data["beyond_stock"] == []


def test_combined_bill_says_what_stock_does_not_hold(run, tmp_path, answer_of):
    run("new", "--catalog", "parts")
    battery = answer_of("clinic_vaccine_refrigerator").choice.bank
    file = tmp_path / "parts" / "batteries.csv"
    lines = file.read_text().splitlines()
    at = lines[0].split(",").index("stock")
    for number, line in enumerate(lines):
        cells = line.split(",")
        if cells[0] == battery.battery:
            lines[number] = ",".join([*cells[:at], str(battery.series * battery.strings), *cells[at + 1:]])
    file.write_text("\n".join(lines) + "\n")
    same = ("clinic_vaccine_refrigerator",) * 2
    data = strict(run("solve", *same, "--catalog", "parts", "--json").out)
    used = battery.series * battery.strings
    assert data["beyond_stock"] == [f"{battery.battery}: {2 * used} wanted, {used} in stock"]
    assert f"More than there is: {data['beyond_stock'][0]}" in " ".join(run("solve", *same, "--catalog", "parts").out.split())


def priced(answer, **changes):
    """An answer as it were with other prices in the problem, design kept."""
    problem = answer.problem.model_copy(update=changes)
    report = check_design(answer.report.design, answer.report.whole.needs, answer.catalog, PriceList(problem, answer.catalog))
    return replace(answer, problem=problem, report=report, bound_cents=float(report.bill.objective_cents))


def test_freight_margin_and_tax_are_lines_of_the_bill(answer_of, catalog):
    answer = priced(answer_of("light_kit"), price=Price(freight=12.34, margin_pct=7.5, tax_pct=19))
    data = solve_data(answer, {})
    assert [line["part"] for line in data["bill"][-3:]] == ["freight", "margin", "tax"]
    sums_up(data["bill"], data["cost"]["total"])
    lines = combined_lines([answer.report.bill] * 3, catalog)
    assert sum(line.price_cents for line in lines) == 3 * answer.report.bill.total_cents
    assert [(line.part, line.quantity) for line in lines[-3:]] == [("freight", 1), ("margin", 1), ("tax", 1)]
    metres = {line.part for line in lines if line.description.endswith(" [m]")}
    assert metres == {line["part"] for line in data["bill"] if line["description"].endswith(" [m]")} != set()


def test_bound_is_one_on_the_total(answer_of):
    answer = priced(answer_of("light_kit"), price=Price(margin_pct=10))
    assert bound_cents(answer) == answer.report.bill.total_cents
    base = answer.report.bill.parts_and_freight_cents
    assert bound_cents(replace(answer, gap=0.5, bound_cents=base - 1000.0)) == pytest.approx(1.1 * (base - 1000), abs=1)
    assert bound_cents(replace(answer, gap=None, bound_cents=None)) is None
    assert bound_cents(replace(answer, gap=None, bound_cents=float("-inf"))) is None
    assert bound_cents(replace(answer, gap=0.5, bound_cents=-500.0)) == 0


def test_price_beside_the_bill_leaves_the_bound_unknown(answer_of):
    answer = priced(answer_of("light_kit"), objective=Objective(price_per_kg=2))
    cost = solve_data(answer, {})["cost"]
    assert cost["bound"] is None
    assert cost["objective"] > cost["total"]


def test_infinity_becomes_null():
    assert strict(text_of({"ratio": float("inf"), "list": [float("nan"), (1, 2)]})) == {"ratio": None, "list": [None, [1, 2]]}


def test_numpy_values_become_plain():
    np = pytest.importorskip("numpy")
    assert plain({"a": np.float64(1.5), "b": np.array([1, 2]), "c": np.bool_(True)}) == {"a": 1.5, "b": [1, 2], "c": True}
