"""Kits on a bill: which are bought, what is left over, what locks and stock say. Prices are worked by hand."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from unwired import unwired

from optimizer import load_catalog, load_problem
from optimizer.answer import solve
from optimizer.bill import PriceList
from optimizer.errors import InputError
from optimizer.handover.as_json import combined_data, solve_data
from optimizer.handover.questions_json import by_subsystem
from optimizer.handover.terminal import solve_text
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.kits import Kit
from optimizer.inputs.problem import Owned, Price
from optimizer.questions.why_not import why_not

MODULE, TRACKER = "PV-100-36", "CM-A15-V80"  # 82.00 and 88.00; the camper uses 2 and 1
PIECES = Counter({MODULE: 2, TRACKER: 1})


@cache
def plain():
    return replace(unwired(load_catalog()), kits=())


@cache
def camper():
    return load_problem(shipped_folder("problems") / "camper.toml")


def kit(name, price, stock=None, **counts):
    ids = {"module": MODULE, "tracker": TRACKER}
    return Kit(id=name, price=price, stock=stock, parts=tuple((ids[key], count) for key, count in counts.items()))


def sold(*kits):
    return replace(plain(), kits=kits)


def with_locks(site, **locks):
    return site.model_copy(update={"locks": site.locks.model_copy(update=locks)})


def picked(*kits, site=None, pieces=PIECES):
    return PriceList(site or camper(), sold(*kits)).kits.cheapest(pieces)


def test_the_prices_that_these_tests_rest_on():
    assert (plain().by_id[MODULE].price, plain().by_id[TRACKER].price) == (82, 88)
    design = solve(camper(), plain()).report.design
    assert {part: design.pieces[part] for part in PIECES} == dict(PIECES)


@pytest.mark.parametrize(("kits", "bought"), [
    ([kit("K-A", 251.99, module=2, tracker=1)], {"K-A": 1}),
    ([kit("K-A", 252, module=2, tracker=1)], {}),
    ([kit("K-A", 170, module=1, tracker=1)], {}),
    ([kit("K-A", 169, module=1, tracker=1)], {"K-A": 1}),
    ([kit("K-A", 79, module=1), kit("K-B", 240, module=2, tracker=1)], {"K-B": 1}),  # 240, against 2 x 79 + 88 = 246
    ([kit("K-A", 79, module=1), kit("K-B", 247, module=2, tracker=1)], {"K-A": 2}),
    ([kit("K-A", 79, module=1), kit("K-B", 160, module=1, tracker=1)], {"K-A": 1, "K-B": 1}),  # 239
    ([kit("K-A", 79, stock=1, module=1)], {"K-A": 1}),
    ([kit("K-A", 79, stock=0, module=1)], {}),
    ([kit("K-A", 163, module=3)], {"K-A": 1}),  # three in a kit for less than two
])
def test_the_kits_that_make_a_bill_least(kits, bought):
    assert picked(*kits) == bought


def test_owned_pieces_come_before_kits():
    site = camper().model_copy(update={"owned": (Owned(part=MODULE, quantity=1),)})
    assert picked(kit("K-A", 79, module=1), site=site) == {"K-A": 1}
    assert picked(kit("K-A", 163, module=2), site=site) == {}


def test_locks_may_name_a_kit_but_not_keep_one():
    cheap = kit("K-A", 79, module=1)
    assert picked(cheap, site=with_locks(camper(), exclude=("K-A",))) == {}
    assert picked(cheap, site=with_locks(camper(), at_most={"K-A": 1})) == {"K-A": 1}
    assert picked(kit("K-A", 100, module=1), site=with_locks(camper(), at_least={"K-A": 3})) == {"K-A": 3}
    with pytest.raises(InputError, match=r"locks.only: part 'K-A' is not in the catalog"):
        solve(with_locks(camper(), only=("K-A",)), sold(cheap))
    with pytest.raises(InputError, match=r"locks.exclude: part 'K-AA' is not in the catalog \(did you mean 'K-A'\?\)"):
        solve(with_locks(camper(), exclude=("K-AA",)), sold(cheap))


def test_the_stock_of_a_part_is_what_is_bought_beside_the_kits():
    scarce = tuple(one.model_copy(update={"stock": 1}) if one.id == MODULE else one for one in plain().modules)
    dear = replace(sold(kit("K-A", 300, module=1)), modules=scarce)
    assert PriceList(camper(), dear).kits.cheapest(PIECES) == {"K-A": 1}
    only = with_locks(camper(), only=(MODULE,))
    assert solve(only, replace(plain(), modules=scarce)).report is None
    report = solve(only, dear).report
    assert report.design.pieces[MODULE] - report.bill.kits[0].count == 1
    assert {line.where: line.actual for line in report.lines if line.rule == "stock"}[MODULE] == 1


def test_freight_of_a_kit_is_that_of_its_pieces_and_the_bill_adds_up():
    site = camper().model_copy(update={"price": Price(freight_per_kg=1.37, margin_pct=7, tax_pct=19)})
    catalog = sold(kit("K-A", 230, module=2, tracker=1))
    before, after = solve(site, plain()).report.bill, solve(site, catalog).report.bill
    assert before.parts_and_freight_cents - after.parts_and_freight_cents == 2200  # 252.00 - 230.00, freight the same
    assert sum(line.price_cents for line in after.lines) == after.total_cents
    assert next(line.part for line in after.lines) == "K-A"


def test_a_kit_is_cut_by_what_its_parts_cost_one_by_one():
    catalog = replace(plain(), kits=(Kit(id="K-A", price=240.01, parts=((MODULE, 2), ("BT-LFP12-300", 1), (TRACKER, 1))),))
    bill = solve(with_locks(camper(), at_least={"K-A": 1}), catalog).report.bill
    cut = by_subsystem(bill, catalog)
    assert sum(cut.values()) == bill.total_cents
    without = by_subsystem(replace(bill, lines=bill.lines[1:]), catalog)
    assert bill.lines[0].price_cents == 48002  # two kits, for the two batteries
    # hand: 164.00, 640.00 and 88.00 of 892.00 of 480.02 are 88.256, 344.409 and 47.355; the sums so far go down to whole cents
    assert {kind: cut[kind] - without[kind] for kind in cut} == {"array": 8825 + 4736, "bank": 34441, "inverter": 0, "rest": 0}


def test_a_budget_is_kept_by_a_kit_alone():
    least = solve(camper(), plain()).report.bill.total_cents
    poor = camper().model_copy(update={"limits": camper().limits.model_copy(update={"budget": (least - 1000) / 100})})
    assert solve(poor, plain()).report is None
    report = solve(poor, sold(kit("K-A", 242, module=2, tracker=1))).report
    assert report.bill.total_cents == least - 1000


def test_what_a_kit_leaves_over_is_told():
    answer = solve(camper(), sold(kit("K-A", 251, module=3, tracker=1)))
    data = solve_data(answer, {})
    assert data["kits"] == [{"kit": "K-A", "quantity": 1, "parts": {MODULE: 3, TRACKER: 1}, "left_over": {MODULE: 1}}]
    text = " ".join(solve_text(answer).split())
    assert "(left over: 1 x" in text.replace(" 251.00", "")
    assert any("(2 in kits)" in line["description"] for line in data["bill"])
    assert combined_data([(answer, {}), (answer, {})], answer.catalog)["bill"][0]["quantity"] == 2


def test_why_not_answers_for_a_kit():
    chosen = why_not(camper(), sold(kit("K-A", 230, module=2, tracker=1)), "K-A")
    assert (chosen.verdict, chosen.enters_below_cents) == ("chosen", 25200)
    beaten = why_not(camper(), sold(kit("K-A", 260, module=3, tracker=1)), "K-A")
    assert (beaten.verdict, beaten.enters_below_cents) == ("beaten", 25200)
    assert beaten.reason == "a design without it costs no more; with it there would be left over: 1 x PV-100-36"
    assert beaten.with_part.report.bill.total_cents - beaten.base.report.bill.total_cents == 800
    out = why_not(camper(), sold(kit("K-A", 230, stock=0, module=2)), "K-A")
    assert (out.verdict, out.reason) == ("screened out", "there is none in stock")
    least = beaten.base.report.bill.total_cents
    poor = camper().model_copy(update={"limits": camper().limits.model_copy(update={"budget": least / 100})})
    limited = why_not(poor, sold(kit("K-A", 1500, module=2, tracker=1)), "K-A")
    assert (limited.verdict, limited.blocking.rule) == ("screened out", "budget")


def test_a_part_that_is_dearer_by_itself_is_kept_for_its_kit():
    """A twin of the tracker, a dearer one: by itself no design needs it, in a kit that saves more it is the cheapest."""
    twin = plain().by_id[TRACKER].model_copy(update={"id": "CM-TWIN", "price": 90.0})
    with_twin = replace(plain(), controllers=(*plain().controllers, twin))
    before = solve(camper(), plain()).report.bill.total_cents
    assert solve(camper(), with_twin).report.design.pieces["CM-TWIN"] == 0
    for price, saved in ((248.99, 301), (252.5, 0)):  # 254.00 one by one, and 2.00 are spent on the twin
        report = solve(camper(), replace(with_twin, kits=(Kit(id="K-A", price=price, parts=((MODULE, 2), ("CM-TWIN", 1))),))).report
        assert (report.design.pieces["CM-TWIN"], before - report.bill.total_cents) == (int(saved > 0), saved)


def test_a_kit_whose_other_parts_no_candidate_uses_is_left_out():
    from optimizer.choice.stock import Stock

    catalog = sold(kit("K-A", 240, module=2, tracker=1), kit("K-B", 79, module=1))
    stock = Stock(camper(), catalog, PriceList(camper(), catalog))
    assert [one.id for one in stock.kits()] == ["K-A", "K-B"]
    assert [one.id for one in stock.kits({MODULE})] == ["K-B"]  # 240.00 against 2 x 82.00
    assert [one.id for one in stock.kits({TRACKER})] == []
    # hand: 252.00 - 240.00 for one tracker; 3.00 for a piece by K-B, two pieces of one K-A or of two: 12.00, not 24.00
    assert stock.kit_loss_cents(TRACKER, np.array([0.0, 1.0]), stock.kits()).tolist() == [0, 1200]
    assert stock.kit_loss_cents(MODULE, np.array([1.0, 2.0, 3.0]), stock.kits()).tolist() == [1200, 1800, 3300]


def test_some_shipped_kits_are_in_shipped_answers_and_some_are_not():
    catalog = load_catalog()
    clinic = load_problem(shipped_folder("problems") / "clinic.toml")
    assert [use.kit.id for use in solve(clinic, catalog).report.bill.kits] == ["K-CLINIC-AC"]
    cabin = load_problem(shipped_folder("problems") / "weekend_cabin.toml")
    assert solve(cabin, catalog).report.bill.kits == ()
