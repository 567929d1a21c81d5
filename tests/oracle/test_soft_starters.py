"""Soft starters: the answer is the least over every way to fit them, each way enumerated as a problem of its own."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest
from cases import case
from enumerate import best_choice
from typer.testing import CliRunner

from optimizer import load_catalog, load_problem
from optimizer.answer import check, solve
from optimizer.cli import app
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.circuit_parts import SoftStarter
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import fits, with_starters
from optimizer.questions.why_not import why_not, with_price

SEEDS = (5, 7, 21, 24, 44, 50, 65, 67, 68, 73, 77, 110, 113, 132)


def starting_case(seed: int) -> tuple[Problem, Catalog]:
    """Case `seed` with AC loads that start hard and may have starters, and three starters."""
    problem, catalog = case(seed)
    rng = random.Random(seed * 17 + 3)
    loads = tuple(
        load.model_copy(update={"surge_x": max(load.surge_x, rng.choice((4.0, 6.0))), "surge_s": max(load.surge_s, 0.5), "soft_starter": "may"})
        if load.supply == "AC" and rng.random() < 0.75 else load for load in problem.loads
    )
    starters = tuple(SoftStarter(
        id=f"SS-{at}", ac_v=(120, 230, 240), va_max=rng.choice((300.0, 900.0, 3000.0)), surge_x=rng.choice((1.5, 2.0, 2.5)), start_s=rng.choice((0.4, 2.0)),
        weight_kg=0.5, price=round(rng.uniform(5, 120), 2),
    ) for at in range(3))
    return problem.model_copy(update={"loads": loads}), replace(catalog, soft_starters=starters)


def every_way(problem: Problem, catalog: Catalog) -> list[Problem]:
    """The problem with each starter, or none, before each load that may have one."""
    items = [load.item for load in problem.loads if load.soft_starter == "may"]
    by_item = {load.item: load for load in problem.loads}
    options = [[None, *(one for one in catalog.soft_starters if fits(one, by_item[item]))] for item in items]
    plain = problem.model_copy(update={"loads": tuple(load.model_copy(update={"soft_starter": None}) for load in problem.loads)})
    return [with_starters(plain, catalog, {item: one.id for item, one in zip(items, way, strict=True) if one}) for way in product(*options)]


@pytest.mark.parametrize("seeds", [SEEDS[at : at + 3] for at in range(0, len(SEEDS), 3)], ids=str)
def test_the_answer_is_the_least_of_every_way(seeds: tuple[int, ...]) -> None:
    for seed in seeds:
        problem, catalog = starting_case(seed)
        found = [best_choice(one, catalog).cost_cents for one in every_way(problem, catalog)]
        least = min((cost for cost in found if cost is not None), default=None)
        answer, unpruned = (solve(problem, catalog, prune=prune) for prune in (True, False))
        assert [one.report.bill.objective_cents if one.report else None for one in (answer, unpruned)] == [least] * 2, f"seed {seed}"
        if answer.choice is not None and answer.report is not None:
            again = check(answer.choice.model_dump(mode="json"), problem, catalog)
            assert again.valid, f"seed {seed}"
            assert again.bill == answer.report.bill


def test_some_cases_fit_a_starter_and_some_do_not() -> None:
    fitted = [bool(answer.choice and answer.choice.soft_starters) for answer in (solve(*starting_case(seed), explain=False) for seed in SEEDS)]
    assert 5 <= sum(fitted) < len(SEEDS)


# --- on a small site

CATALOG = load_catalog()
FEW = replace(
    CATALOG, modules=tuple(one for one in CATALOG.modules if one.id in ("PV-200-36", "PV-430-108H")), kits=(),
    controllers=tuple(one for one in CATALOG.controllers if one.kind == "mppt"),
    batteries=tuple(one for one in CATALOG.batteries if one.id in ("BT-FLA12-100", "BT-FLA6-225", "BT-FLA6-400")),
)


def pumping(surge_x: float = 6.0, may: str | None = "may") -> Problem:
    """The weekend cabin with a pump on AC that starts hard."""
    cabin = load_problem(shipped_folder("problems") / "weekend_cabin.toml")
    pump = next(load for load in cabin.loads if load.supply == "AC").model_copy(update={
        "item": "Well pump", "watts": 600.0, "power_factor": 0.8, "surge_x": surge_x, "surge_s": 1.0, "soft_starter": may, "qty": 1,
        "hours": dict.fromkeys(cabin.season_names, 0.3),
    })
    return cabin.model_copy(update={"loads": (*cabin.loads, pump), "limits": cabin.limits.model_copy(update={"budget": None})})


def cents(problem: Problem, catalog: Catalog = FEW) -> int | None:
    report = solve(problem, catalog, explain=False).report
    return report.bill.objective_cents if report else None


def test_a_starter_is_on_the_bill_and_eases_the_start() -> None:
    plain, answer = solve(pumping(may=None), FEW), solve(pumping(), FEW)
    assert plain.report is not None
    assert answer.report is not None
    assert answer.choice is not None
    assert answer.choice.soft_starters == {"Well pump": "SS-1K-120"}
    starter = FEW.find("SS-1K-120", SoftStarter)
    line = next(line for line in answer.report.bill.lines if line.part == "SS-1K-120")
    assert (line.quantity, line.price_cents) == (1, starter.price_cents)
    assert answer.report.bill.total_cents < plain.report.bill.total_cents
    (load,) = (load for load in answer.problem.loads if load.item == "Well pump")
    assert (load.surge_x, load.surge_s, load.soft_starter) == (starter.surge_x, max(1.0, starter.start_s), "SS-1K-120")
    size = next(line for line in answer.report.lines if line.rule == "soft-starter-size")
    assert (size.actual, size.required) == (1000, 750)  # hand: 600 W at 0.8
    broken = check(answer.choice.model_copy(update={"soft_starters": {}}), pumping(), FEW)
    assert not broken.valid, "without the starter the same inverter does not start the pump"


def test_without_a_word_nothing_is_fitted() -> None:
    answer = solve(pumping(may=None), FEW)
    assert answer.choice is not None
    assert answer.choice.soft_starters == {}
    assert cents(pumping(may=None)) == cents(pumping(may=None), replace(FEW, soft_starters=()))
    assert cents(pumping()) == min(cents(pumping(may=None)) or 0, cents(pumping()) or 0)


@pytest.mark.parametrize(("fitted", "message"), [
    ({"Mill": "SS-1K-120"}, "choice: soft_starters: there is no load 'Mill'"),
    ({"Well pump": "SS-9"}, "choice: soft_starters: 'SS-9' is no soft starter of the catalog"),
    ({"Well pump": "SS-2K-230"}, "choice: soft_starters: 'SS-2K-230' does not fit load 'Well pump': its volts, 750 VA running, or a start that is gentle already"),
    ({"LED lights": "SS-1K-120"}, "choice: soft_starters: load 'LED lights' may have none: its soft_starter is not \"may\""),
])
def test_a_choice_with_a_wrong_starter_is_refused(fitted: dict[str, str], message: str) -> None:
    choice = solve(pumping(), FEW).choice
    assert choice is not None
    with pytest.raises(InputError) as caught:
        check(choice.model_copy(update={"soft_starters": fitted}), pumping(), FEW)
    assert caught.value.problems == [message]


def test_why_not_finds_the_price() -> None:
    chosen = why_not(pumping(), FEW, "SS-1K-120")
    assert chosen.verdict == "chosen"
    assert chosen.reason == "it stands before Well pump"
    price = chosen.enters_below_cents
    assert price is not None
    part = FEW.find("SS-1K-120", SoftStarter)
    without = cents(pumping(), replace(FEW, soft_starters=tuple(one for one in FEW.soft_starters if one.id != part.id)))
    assert cents(pumping(), with_price(FEW, part, price)) == without
    assert (cents(pumping(), with_price(FEW, part, price - 1)) or 0) < (without or 0)
    assert why_not(pumping(), FEW, "SS-4K-230").verdict == "screened out"
    dear = why_not(pumping(surge_x=2.3), FEW, "SS-3K-120")
    assert dear.verdict == "beaten"


def test_the_file_says_may_or_nothing(tmp_path: Path) -> None:
    home = shipped_folder("problems")
    (tmp_path / "shop.toml").write_text((home / "workshop.toml").read_text(encoding="utf-8"), encoding="utf-8")
    rows = (home / "workshop_loads.csv").read_text(encoding="utf-8").splitlines()
    for word, code in (("may", 0), ("yes", 3)):
        text = "\n".join(f"{row},{'soft_starter' if at == 0 else word if row.startswith('Table saw') else ''}" for at, row in enumerate(rows))
        (tmp_path / "workshop_loads.csv").write_text(text, encoding="utf-8")
        ran = CliRunner().invoke(app, ["lint", str(tmp_path / "shop.toml"), "--json"])
        assert ran.exit_code == code
        if code:
            assert json.loads(ran.stdout)["errors"][0].endswith("soft_starter: must be may, or left out: which starter it gets is chosen (got 'yes')")
