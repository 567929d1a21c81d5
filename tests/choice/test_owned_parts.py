"""Parts that the customer has: worn ones, those that cannot serve, and what the answer says of each."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import cache

import pytest

from optimizer import load_catalog, load_problem
from optimizer.answer import Outcome, check, solve
from optimizer.choice.owned import cannot_serve
from optimizer.errors import InputError
from optimizer.handover.as_json import solve_data
from optimizer.handover.terminal import solve_text
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import Owned
from optimizer.inputs.worn import with_worn_parts, worn

BATTERY, MODULE = "BT-LFP12-300", "PV-330-120H"  # the camper's: two and one


@cache
def catalog():
    return load_catalog()


@cache
def shipped(name):
    return load_problem(shipped_folder("problems") / f"{name}.toml")


def owning(name, **own):
    return shipped(name).model_copy(update={"owned": (Owned(**own),)})


def plain_cost(name):
    return solve(shipped(name), catalog()).report.bill.total_cents


# --- worn


def test_what_falls_with_the_condition_is_capacity_or_power_and_the_current_of_it():
    battery, module = catalog().by_id[BATTERY], catalog().by_id[MODULE]
    old, dim = worn(battery, 0.8), worn(module, 0.9)
    assert old.capacity_20h_ah == pytest.approx(0.8 * battery.capacity_20h_ah)
    assert (old.unit_v, old.charge_max_a, old.price) == (battery.unit_v, battery.charge_max_a, battery.price)
    assert dim.pmax_w == pytest.approx(dim.vmp_v * dim.imp_a, rel=0.03)
    assert dim.pmax_w == pytest.approx(0.9 * module.pmax_w)
    assert (dim.voc_v, dim.vmp_v) == (module.voc_v, module.vmp_v)
    assert list(dim.errors()) == list(old.errors()) == []


def test_nothing_changes_where_nothing_is_worn():
    site = owning("camper", part=BATTERY, quantity=2)
    assert with_worn_parts(site, catalog()) == (site, catalog())


def test_worn_pieces_are_parts_of_their_own_and_no_more_than_there_are():
    site = owning("camper", part=BATTERY, quantity=2, condition=0.9)
    answer = solve(site, catalog())
    assert answer.report.design.bank.battery.id == f"{BATTERY}/90pct"
    assert answer.report.design.bank.units == 2
    # hand: two batteries of 640.00 less, and the same array
    assert plain_cost("camper") - answer.report.bill.total_cents == 2 * 64000
    assert check(answer.choice, site, catalog()).valid
    modules = {*catalog().modules[::6], catalog().by_id[MODULE]}
    few = replace(catalog(), modules=tuple(one for one in catalog().modules if one in modules), controllers=catalog().controllers[::3], kits=())
    one = solve(owning("camper", part=BATTERY, quantity=1, condition=0.9), few).report.design
    assert one.pieces[f"{BATTERY}/90pct"] in (0, 1)
    assert not (one.pieces[f"{BATTERY}/90pct"] and one.pieces[BATTERY]), "not mixed in one bank"


def test_with_too_little_left_they_stay_out():
    answer = solve(owning("camper", part=BATTERY, quantity=2, condition=0.3), catalog())
    assert answer.report.bill.total_cents == plain_cost("camper")
    (own,) = answer.owned
    assert (own.verdict, own.rule) == ("cannot serve", "autonomy")


def test_a_lock_on_a_part_holds_for_its_worn_pieces():
    site = owning("camper", part=BATTERY, quantity=2, condition=0.9)
    barred = site.model_copy(update={"locks": site.locks.model_copy(update={"exclude": (BATTERY,)})})
    assert solve(barred, catalog(), explain=False).report is None, "no other battery does here"
    kept = site.model_copy(update={"locks": site.locks.model_copy(update={"only": (BATTERY,)})})
    assert solve(kept, catalog()).report.design.bank.battery.id == f"{BATTERY}/90pct"


def test_only_batteries_and_modules_are_worn():
    with pytest.raises(InputError, match=r"owned\.condition: 'CM-A15-V80' is neither a battery nor a module"):
        solve(owning("camper", part="CM-A15-V80", quantity=1, condition=0.9), catalog())
    with pytest.raises(ValueError, match="less than or equal to 1"):
        Owned(part=BATTERY, quantity=1, condition=1.2)


# --- what cannot serve


@pytest.mark.parametrize("name", ["light_kit"])
def test_no_design_holds_a_part_that_is_said_not_to_serve(name):
    unfit = [part.id for part in catalog().parts() if not isinstance(part, Allowance | Cable | Protection) and cannot_serve(shipped(name), catalog(), part.id)]
    fit = [part.id for part in catalog().parts() if not isinstance(part, Allowance | Cable | Protection) and part.id not in unfit]
    assert len(unfit) >= 10
    assert len(fit) >= 10
    for part_id in unfit[:: len(unfit) // 4]:
        site = shipped(name)
        demanding = site.model_copy(update={"locks": site.locks.model_copy(update={"at_least": {part_id: 1}})})
        assert solve(demanding, catalog(), explain=False).outcome is Outcome.INFEASIBLE, part_id
    used = solve(shipped(name), catalog()).report.design.pieces
    assert set(used) <= set(fit)


def test_a_part_that_must_be_used_and_cannot_is_said_at_once():
    for name, part_id, sentence in (
        ("clinic", "AI-12000W-B48-SPLIT", "owned AI-12000W-B48-SPLIT: cannot serve: AC standard (120/240 V inverter, 230 V 50 Hz asked)."),
        ("light_kit", "IV-700W-B12-AC120", "owned IV-700W-B12-AC120: cannot serve: the site has no AC."),
    ):
        answer = solve(owning(name, part=part_id, quantity=1, must_use=True), catalog())
        assert (answer.outcome, answer.report, answer.reason) == (Outcome.INFEASIBLE, None, sentence)
        assert answer.sizes == {}, "no program was built"
        assert sentence.removesuffix(".").split(": ", 1)[1] in " ".join(solve_text(answer).split())


def test_every_kind_of_part_names_the_rule():
    found = {
        part_id: cannot_serve(shipped("camper"), catalog(), part_id)
        for part_id in ("BT-FLA6-225", "CP-A20P", "IV-700W-B12-AC120", "DC-48-12-10", "PV-330-120H")
    }
    assert {part_id: verdict and verdict[0] for part_id, verdict in found.items()} == {
        "BT-FLA6-225": "battery-ventilation", "CP-A20P": "earthing-polarity", "IV-700W-B12-AC120": "continuous-power",
        "DC-48-12-10": "converter-input", "PV-330-120H": None,
    }
    light = shipped("light_kit").model_copy(update={"limits": shipped("light_kit").limits.model_copy(update={"piece_kg_max": 10.0})})
    assert cannot_serve(light, catalog(), "PV-330-120H")[0] == "heaviest-piece"


def test_where_nothing_serves_no_part_is_blamed():
    hopeless = shipped("camper").model_copy(update={"bank": shipped("camper").bank.model_copy(update={"total_kwh_max": 0.01})})
    assert solve(hopeless, catalog(), explain=False).outcome is Outcome.INFEASIBLE
    assert cannot_serve(hopeless, catalog(), MODULE) is None


# --- what the answer says


def test_the_answer_says_what_became_of_each_part():
    site = shipped("camper").model_copy(update={"owned": (
        Owned(part=MODULE, quantity=3), Owned(part="BT-FLA6-225", quantity=4), Owned(part="BT-AGM12-100", quantity=1),
    )})
    answer = solve(site, catalog())
    told = {own["part"]: own for own in json.loads(json.dumps(solve_data(answer, {})["owned"]))}
    assert told[MODULE]["quantity"] == 3
    assert told[MODULE]["used"] == min(3, answer.report.design.pieces[MODULE]) >= 1
    assert told[MODULE]["verdict"] == "used"
    assert (told["BT-FLA6-225"]["used"], told["BT-FLA6-225"]["verdict"], told["BT-FLA6-225"]["rule"]) == (0, "cannot serve", "battery-ventilation")
    text = " ".join(solve_text(answer).split())
    assert "Parts owned" in text
    assert "BT-FLA6-225: cannot serve: A battery that gasses stands in a ventilated place" in text
    assert "Parts owned" not in solve_text(solve(shipped("camper"), catalog()))
