"""Batteries that the customer has: how far apart in age the units of one bank may be."""

from __future__ import annotations

from functools import cache

import pytest

from optimizer import load_catalog, load_problem
from optimizer.answer import solve
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import Owned
from optimizer.needs.site import Needs
from optimizer.proof.check import check_design


@cache
def catalog():
    return load_catalog()


@cache
def shipped(name):
    """A shipped problem and its cheapest design, whose bank has more than one unit."""
    site = load_problem(shipped_folder("problems") / f"{name}.toml")
    report = solve(site, catalog()).report
    assert report is not None
    assert report.design.bank.units > 1
    return site, report.design


CABIN, CAMPER = "weekend_cabin", "camper"
CHEMISTRIES = {CABIN: "flooded", CAMPER: "lfp"}


@pytest.mark.parametrize(("name", "asked", "most"), [(CABIN, None, 12), (CAMPER, None, 24), (CABIN, 18.0, 18), (CAMPER, 6.0, 6)])
def test_the_chemistry_says_how_far_apart_in_age_unless_the_problem_does(name, asked, most):
    site, design = shipped(name)
    assert design.bank.battery.chemistry == CHEMISTRIES[name]
    for age_months, passed in ((most, True), (most + 1, False)):
        aged = site.model_copy(update={
            "bank": site.bank.model_copy(update={"age_spread_months_max": asked}),
            "owned": (Owned(part=design.bank.battery.id, quantity=1, age_months=age_months),),
        })
        lines = {line.rule: line for line in check_design(design, Needs(aged), catalog()).lines}
        assert lines["battery-age"].required == most
        assert lines["battery-age"].passed is passed
        found = solve(_only(aged, design), catalog()).report
        assert (found is not None and found.design.bank.units == design.bank.units) is passed




def _only(site, design):
    """The problem with that battery alone."""
    return site.model_copy(update={"locks": site.locks.model_copy(update={"only": (design.bank.battery.id,)})})


@pytest.mark.parametrize(("quantity", "condition"), [(1, 0.9), (1, 1.0)])
def test_units_that_the_customer_does_not_have_are_not_free(quantity, condition):
    """The camper's bank has two units. Were a second one free as well, a thousand arrays would seem as cheap as the cheapest design."""
    site, design = shipped(CAMPER)
    owned = (Owned(part=design.bank.battery.id, quantity=quantity, condition=condition),)
    answer = solve(site.model_copy(update={"owned": owned}), catalog())
    saved = design.bank.battery.price_cents if condition == 1 else 0  # one that is worn is not mixed with a new one
    assert answer.outcome == "optimal"
    assert answer.report.bill.total_cents == solve(site, catalog()).report.bill.total_cents - saved
    assert answer.sizes["blocks"] <= 20
