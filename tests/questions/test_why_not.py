"""Why a part is not in the design: against the enumeration of every choice that contains it."""

from __future__ import annotations

import pytest
from enumerate import best_choice
from small_cases import possible, tiny

from optimizer.errors import InputError
from optimizer.inputs.catalog import load_catalog, shipped_folder
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem_file import load_problem
from optimizer.needs.requirements import with_section
from optimizer.questions.why_not import why_not, with_price


def least(problem, catalog):
    return best_choice(problem, catalog).cost_cents


def demanding(problem, part_id):
    return with_section(problem, "locks", at_least={part_id: 1, **problem.locks.at_least})


def parts_of(catalog, seed):
    """Some of the parts that somebody may ask about."""
    parts = [part for part in catalog.parts() if not isinstance(part, Allowance)]
    return parts[seed % 2 :: 2]


@pytest.mark.parametrize("number", range(4))
def test_verdict_cost_and_entering_price_are_those_of_the_enumeration(number):
    seed = possible(number)
    problem, catalog = tiny(seed)
    base = least(problem, catalog)
    assert base is not None
    for part in parts_of(catalog, seed):
        found = why_not(problem, catalog, part.id)
        assert found.base.report.bill.objective_cents == base
        with_it = least(demanding(problem, part.id), catalog)
        if found.verdict == "screened out":
            assert with_it is None
            assert found.reason
            assert found.with_part is None
            assert found.enters_below_cents is None
            continue
        assert found.with_part.report.bill.objective_cents == with_it
        assert found.with_part.report.design.pieces[part.id] >= 1
        without = with_section(problem, "locks", exclude=(*problem.locks.exclude, part.id))
        if found.verdict == "beaten":
            assert with_it >= base
            target = base
        else:
            assert with_it == base
            target = least(without, catalog)
            assert found.indispensable is (target is None)
            if target is None:
                continue
        price = found.enters_below_cents
        if price is None:
            assert least(demanding(problem, part.id), with_price(catalog, part, 0)) > target
        else:
            assert price <= part.price_cents or found.verdict == "chosen" or with_it == base
            assert least(demanding(problem, part.id), with_price(catalog, part, price)) <= target
            assert least(demanding(problem, part.id), with_price(catalog, part, price + 1)) > target


def test_all_three_verdicts_come_up():
    problem, catalog = tiny(possible(1))
    parts = [part.id for turn in (0, 1) for part in parts_of(catalog, turn)]
    free = {part: why_not(problem, catalog, part) for part in parts}
    assert {found.verdict for found in free.values()} >= {"chosen", "beaten"}
    total = free[parts[0]].base.report.bill.total_cents
    poor = with_section(problem, "limits", budget=total / 100)
    dearer = {part for part, found in free.items() if found.with_part and found.with_part.report.bill.total_cents > total}
    assert dearer
    for part in dearer:
        found = why_not(poor, catalog, part)
        assert (found.verdict, found.blocking.rule) == ("screened out", "budget")


def test_a_part_that_nobody_can_choose_is_refused():
    problem, catalog = tiny(3)
    with pytest.raises(InputError, match="not in the catalog"):
        why_not(problem, catalog, "NO-SUCH-PART")
    with pytest.raises(InputError, match="allowance"):
        why_not(problem, catalog, next(part.id for part in catalog.allowances))


@pytest.mark.parametrize("lock", [
    lambda part, other: {"exclude": (part,)}, lambda part, other: {"at_most": {part: 0}}, lambda part, other: {"only": (other,)},
])
def test_a_lock_of_the_problem_is_named(lock):
    problem, catalog = tiny(possible(0))
    used = why_not(problem, catalog, catalog.batteries[0].id).base.report.design.bank.battery.id
    (idle,) = (battery.id for battery in catalog.batteries if battery.id != used)
    found = why_not(with_section(problem, "locks", **lock(idle, used)), catalog, idle)
    assert found.verdict == "screened out"
    assert "the problem itself" in found.reason


def test_the_rule_that_keeps_a_part_out_is_named():
    catalog, problem = load_catalog(), load_problem(shipped_folder("problems") / "light_kit.toml")
    assert problem.limits.budget == 220
    found = why_not(problem, catalog, "BT-LFP12-100")  # costs 245 by itself
    assert found.verdict == "screened out"
    assert found.blocking.rule == "budget"
    assert "at most 220 asked" in found.blocking.shortfall
    richer = with_section(problem, "limits", budget=None)
    assert why_not(richer, catalog, "BT-LFP12-100").verdict == "beaten"


def test_an_impossible_problem_is_said_to_be_impossible():
    catalog, problem = load_catalog(), load_problem(shipped_folder("problems") / "coast_house.toml")
    found = why_not(problem, catalog, catalog.modules[0].id)
    assert found.base.report is None
    assert "no design at all" in found.reason
