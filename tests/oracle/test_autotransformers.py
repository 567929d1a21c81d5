"""Autotransformers: every one fitted in turn and enumerated, and a house worked by hand."""

from __future__ import annotations

import json
import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from cases import ALLOWANCES, SPICES, split_house
from enumerate import best_choice

from optimizer import check, load_catalog, load_problem
from optimizer.answer import solve
from optimizer.errors import InputError
from optimizer.handover.as_json import choice_data
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.circuit_parts import Autotransformer
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import Problem
from optimizer.needs.site import Needs
from optimizer.needs.stepping import carries, stepped_up, without_transformer
from optimizer.questions.why_not import why_not

SEEDS = (1, 2, 3, 4, 5, 6, 8, 9, 10, 11, 13)


def split_case(seed: int) -> tuple[Problem, Catalog]:
    """A house of 120 V and 240 V with three transformers, of which some are too small."""
    rng = random.Random(seed * 13 + 5)
    draft = split_house(rng)
    draft.allowances = [Allowance(id=name, per=per, price=round(price * rng.uniform(0.8, 1.2), 2), weight_kg=kg) for name, per, price, kg in ALLOWANCES]
    for chance, spice in SPICES:
        if rng.random() < chance * 0.6:
            spice(draft)
    problem, catalog = draft.case()
    data = problem.model_dump(exclude_unset=True)
    data.setdefault("inverter", {})["autotransformer"] = "may"
    data["inverter"]["on"] = rng.choice(("always", "when used", "search"))
    parts = [
        Autotransformer(
            id=f"T-{n}", price=round(rng.uniform(60, 400), 2), weight_kg=10, rated_va=rng.choice((900, 1500, 4000)), surge_va=rng.choice((4000, 9000)),
            no_load_w=rng.choice((2.0, 10.0, 40.0)), efficiency=rng.choice((0.94, 0.98)),
        ) for n in range(3)
    ]
    return Problem.model_validate(data), replace(catalog, autotransformers=tuple(parts))


def test_the_program_finds_the_cheapest_of_every_way() -> None:
    fitted: Counter[str | None] = Counter()
    for seed in SEEDS:
        problem, catalog = split_case(seed)
        ways = [best_choice(without_transformer(problem), catalog)]
        ways += [best_choice(stepped_up(problem, part), catalog) for part in catalog.autotransformers if carries(problem, part)]
        least = min((one.cost_cents for one in ways if one.cost_cents is not None), default=None)
        answer = solve(problem, catalog)
        assert (answer.report.bill.objective_cents if answer.report else None) == least, f"seed {seed}"
        if answer.choice is not None:
            fitted[answer.choice.autotransformer] += 1
            again = check(answer.choice, problem, catalog)
            assert again.valid
            assert again.bill == answer.report.bill
    assert fitted[None] >= 1
    assert sum(fitted.values()) - fitted[None] >= 6


# --- by hand

CATALOG = load_catalog()


def house(may: str | None = "may") -> Problem:
    """The weekend cabin at 120/240 V, with a pump of 240 V."""
    cabin = load_problem(shipped_folder("problems") / "weekend_cabin.toml")
    pump = next(load for load in cabin.loads if load.supply == "AC").model_copy(update={
        "item": "Well pump", "volts": 240.0, "watts": 600.0, "power_factor": 0.8, "surge_x": 3.0, "surge_s": 0.5, "qty": 1, "hours": dict.fromkeys(cabin.season_names, 0.4),
    })
    data = cabin.model_copy(update={"loads": (*cabin.loads, pump), "limits": cabin.limits.model_copy(update={"budget": None})}).model_dump(exclude_unset=True)
    data["site"]["ac"] = "120/240 V 60 Hz"
    data["inverter"] = {**data.get("inverter", {}), **({"autotransformer": may} if may else {})}
    data["bank"] = {**data.get("bank", {}), "volts": (12, 24, 48)}
    return Problem.model_validate(data)


def test_the_transformer_is_on_the_bill_and_idles_with_the_inverter() -> None:
    plain, answer = solve(house(None), CATALOG), solve(house(), CATALOG)
    assert answer.choice.autotransformer == "AT-1500"
    assert answer.report.bill.total_cents < plain.report.bill.total_cents
    line = next(line for line in answer.report.bill.lines if line.part == "AT-1500")
    assert (line.quantity, line.price_cents) == (1, 16500)
    assert answer.report.design.inverters.inverter.ac == "120"
    sizes = [(one.actual, one.required) for one in answer.report.lines if one.rule == "autotransformer-size"]
    assert sizes == [(1500, 750), (4500, pytest.approx(2250))]  # hand: 600 W at 0.8, three times that at the start
    needs, core = Needs(answer.problem), answer.report.whole.core
    # hand: 9 W while the inverter runs, and 600 W are 618.6 W through 0.97
    _, _, on, searching = needs.inverter_hours[0]
    inverter, count = core.inverters.inverter, core.inverters.count
    beside = core.bank_standby_wh(needs.seasons[0]) + sum(use.converter.idle_w * use.count * 24 for use in core.converters)
    assert core.standing_wh(0, week=True) - beside == pytest.approx(count * (inverter.idle_w * on + inverter.search_w * searching) + 9.0 * on)
    assert next(load.watts for load in answer.problem.loads if load.item == "Well pump") == pytest.approx(618.557, abs=0.001)


def test_a_choice_is_read_back_and_one_that_is_too_small_is_broken() -> None:
    answer = solve(house(), CATALOG)
    data = json.loads(json.dumps(choice_data(answer.choice)))
    assert check(data, house(), CATALOG).bill == answer.report.bill
    tiny = CATALOG.find("AT-1500", Autotransformer).model_copy(update={"id": "AT-TINY", "rated_va": 500, "surge_va": 1000})
    more = replace(CATALOG, autotransformers=(*CATALOG.autotransformers, tiny))
    broken = check({**data, "autotransformer": "AT-TINY"}, house(), more)
    assert [line.rule for line in broken.failures] == ["autotransformer-size", "autotransformer-size"]
    assert "ac-standard" in {line.rule for line in check({**data, "autotransformer": None}, house(), CATALOG).failures}
    with pytest.raises(InputError, match="the site may have none"):
        check(data, house(None), CATALOG)
    with pytest.raises(InputError, match="AT-9"):
        check({**data, "autotransformer": "AT-9"}, house(), CATALOG)


def test_why_not_compares_the_problems() -> None:
    chosen = why_not(house(), CATALOG, "AT-1500")
    assert chosen.verdict == "chosen"
    dearer = replace(CATALOG, autotransformers=tuple(
        one.model_copy(update={"price": chosen.enters_below_cents / 100 + 0.01}) if one.id == "AT-1500" else one for one in CATALOG.autotransformers
    ))
    assert solve(house(), dearer).choice.autotransformer != "AT-1500"
    beaten = why_not(house(), CATALOG, "AT-6500")
    assert beaten.verdict == "beaten"
    assert beaten.with_part.report.bill.total_cents > beaten.base.report.bill.total_cents
    assert why_not(house(None), CATALOG, "AT-1500").verdict == "screened out"


@pytest.mark.parametrize(("change", "said"), [
    (lambda data: (data["site"].update(ac="120 V 60 Hz"), data["loads"][-1].update(volts=120.0)), "needs site.ac"),
    (lambda data: data["loads"][-1].update(soft_starter="may"), "cannot be asked together with soft_starter"),
    (lambda data: data["inverter"].update(autotransformer="yes"), "must be may, or left out"),
])
def test_what_cannot_be_asked_is_said(change: Callable[[Any], object], said: str) -> None:
    data = house().model_dump(exclude_unset=True)
    data["loads"] = [dict(one) for one in data["loads"]]
    change(data)
    with pytest.raises(ValueError, match=said):
        Problem.model_validate(data)


def test_the_locks_name_none() -> None:
    """Which one is fitted is chosen: a lock would be read and not kept."""
    problem = house()
    for locks in ({"exclude": ("AT-1500",)}, {"at_most": {"AT-1500": 0}}, {"at_least": {"AT-1500": 1}}):
        locked = problem.model_copy(update={"locks": problem.locks.model_copy(update=locks)})
        with pytest.raises(InputError, match="'AT-1500' is sized with what it serves: it cannot be owned, limited or demanded"):
            solve(locked, CATALOG)
