"""The check of plans: a plan that holds, broken by hand in every way, and the sentence that says so."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from growth_enumerate import growth_case

from optimizer.errors import InputError
from optimizer.growth.ledger import OWNED, Ledger, Lot
from optimizer.growth.plan import Plan, Visit, cost_of_future, spent
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.tree import tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.kits import Kit
from optimizer.inputs.problem import Owned, Problem

SEED = 15
"""One later node, at another voltage; the battery is kept and more of it is bought."""


@cache
def good() -> tuple[Plan, Catalog]:
    problem, catalog = growth_case(SEED)
    plan = PlanSearch(tree_of(problem), catalog).best().plan
    assert plan is not None
    assert check_plan(plan, catalog) == ()
    return plan, catalog


def costed(ledger: Ledger, visits: Mapping[int, Visit]) -> Plan:
    """A plan with the costs that it then has, so that nothing is said of these."""
    plan = Plan(ledger, visits)
    futures = [future.name for future in ledger.growth.futures if all(node.number in visits for node in ledger.tree.of_future(future.name))]
    return Plan(ledger, visits, {future: cost_of_future(plan, future) for future in futures})


def broken(number: int, *, asked: dict[str, Any] | None = None, **changes: Any) -> tuple[Plan, Ledger]:
    """The plan with one visit changed; `asked` are changes of the whole problem."""
    plan, _ = good()
    tree = plan.ledger.tree
    if asked is not None:
        tree = replace(tree, asked=tree.asked.model_copy(update=asked))
    ledger = Ledger(tree, good()[1]) if asked is not None else plan.ledger
    return costed(ledger, {**plan.visits, number: replace(plan.visits[number], **changes)}), ledger


def said(plan: Plan, catalog: Catalog, words: str) -> bool:
    return any(words in sentence for sentence in check_plan(plan, catalog))


def bank_key(number: int) -> tuple[str, Lot]:
    """Some lot of the battery that stands in the bank of a node."""
    visit = good()[0].visits[number]
    return next(key for key in visit.there if key[0] == visit.design.bank.battery.id)


def test_a_design_that_breaks_a_rule() -> None:
    plan, catalog = good()
    design = plan.first.design
    small = replace(plan.visits[1], design=design, changeover_cents=0.0)
    assert said(costed(plan.ledger, {**plan.visits, 1: small}), catalog, "the design breaks '")


def test_a_node_without_a_design() -> None:
    plan, catalog = good()
    assert said(Plan(plan.ledger, {0: plan.visits[0]}, plan.cost_by_future), catalog, "the plan has no design for it")


@pytest.mark.parametrize(("change", "words"), [(1, "were there,"), (-1, "were there,"), (-1000, "a count is negative")])
def test_pieces_that_come_from_nowhere(change: int, words: str) -> None:
    there = dict(good()[0].first.there)
    key = bank_key(0)
    there[key] += change
    assert said(broken(0, there=there)[0], good()[1], words)


def test_more_sold_than_there_was() -> None:
    key = bank_key(0)
    assert said(broken(1, sold={key: 999})[0], good()[1], "999 sold, of")


def test_something_sold_at_the_first_purchase() -> None:
    key = bank_key(0)
    assert said(broken(0, sold={key: 1})[0], good()[1], "sold at the first purchase")


def test_pieces_used_that_are_not_there() -> None:
    inverter = good()[0].first.design.inverters.inverter
    assert inverter is not None
    there = {key: n for key, n in good()[0].first.there.items() if key[0] != inverter.id}
    assert said(broken(0, there=there)[0], good()[1], f"of '{inverter.id}', 0 are there")


def _as_lots(number: int, lots: Mapping[Lot, int], item: str) -> Plan:
    visit = good()[0].visits[number]
    kept = {key: n for key, n in visit.there.items() if key[0] != item}
    return broken(number, there={**kept, **{(item, lot): n for lot, n in lots.items()}})[0]


def test_a_bank_of_lots_that_are_too_far_apart_or_worn() -> None:
    visit = good()[0].visits[1]
    battery, units, year = visit.design.bank.battery, visit.design.bank.units, visit.node.year
    words = "that may stand in one bank"
    months = good()[0].ledger.tree.asked.bank.age_spread_months_max
    spread = (good()[1].chemistry(battery).age_spread_months_max if months is None else months) / 12
    life = good()[1].chemistry(battery).calendar_life_years
    assert units >= 2
    for apart, speaks in ((spread, False), (spread + 0.1, True)):
        assert said(_as_lots(1, {Lot(1, year): 1, Lot(-1, year - apart): units - 1}, battery.id), good()[1], words) == speaks
    for age, speaks in ((life, False), (life + 0.1, True)):
        assert said(_as_lots(1, {Lot(-1, year - age): units}, battery.id), good()[1], words) == speaks


def test_a_controller_with_modules_of_two_lots() -> None:
    visit = good()[0].visits[1]
    block = visit.design.blocks[0]
    total = sum(one.modules for one in visit.design.blocks if one.module.id == block.module.id)
    assert block.modules_each >= 2
    words = "cannot each have modules of one lot"
    one_short = {Lot(number, float(number)): block.modules_each - 1 for number in range(total)}
    assert said(_as_lots(1, one_short, block.module.id), good()[1], words)
    assert not said(_as_lots(1, {Lot(0, 0.0): total}, block.module.id), good()[1], words)


def test_packs_and_stock() -> None:
    plan, catalog = good()
    item = plan.first.design.bank.battery.id
    count = plan.first.bought[item]
    for change, words in (({"pack_qty": count + 1}, "which is sold in packs of"), ({"stock": count - 1}, f"of which {count - 1} are in stock")):
        assert said(plan, _with(catalog, item, **change), words)
    enough = max(visit.bought.get(item, 0) for visit in plan.visits.values())
    assert not said(plan, _with(catalog, item, stock=enough), "in stock")


def _with(catalog: Catalog, battery: str, **change: Any) -> Catalog:
    return replace(catalog, batteries=tuple(part.model_copy(update=change) if part.id == battery else part for part in catalog.batteries))


def test_two_models_of_module_bought_at_one_later_date() -> None:
    visit, catalog = good()[0].visits[1], good()[1]
    extra = catalog.modules[0].model_copy(update={"id": "M-EXTRA"})
    more = replace(catalog, modules=(*catalog.modules, extra))
    models = {module.id for module in catalog.modules}
    bought = {**{item: n for item, n in visit.bought.items() if item not in models}, catalog.modules[0].id: 1, extra.id: 1}
    assert said(broken(1, bought=bought)[0], more, "modules of 2 models bought at one later date")
    del bought[extra.id]
    assert not said(broken(1, bought=bought)[0], more, "bought at one later date")


def _asking(**changes: Any) -> Plan:
    """The plan as an answer to a problem that asks for something else beside."""
    plan = good()[0]
    tree = replace(plan.ledger.tree, asked=plan.ledger.tree.asked.model_copy(update=changes))
    return Plan(Ledger(tree, good()[1]), plan.visits, plan.cost_by_future)


def test_a_first_purchase_beyond_the_budget() -> None:
    asked, spent = good()[0].ledger.tree.asked, good()[0].first.spent_cents / 100
    for budget, speaks in ((spent - 1, True), (spent + 1, False)):
        assert said(_asking(limits=asked.limits.model_copy(update={"budget": budget})), good()[1], "the budget is") == speaks


def test_kits_beyond_their_stock_and_their_locks() -> None:
    plan, catalog = good()
    module, locks = catalog.modules[0], plan.ledger.tree.asked.locks
    sold = replace(catalog, kits=(Kit(id="K", price=1.0, parts=((module.id, 1),), stock=1),))
    two = {**plan.visits, 0: replace(plan.first, kits={"K": 2})}
    assert said(Plan(plan.ledger, two, plan.cost_by_future), sold, "2 of kit 'K' bought, of which 1 are in stock")
    held = _asking(locks=locks.model_copy(update={"at_most": {"K": 1}}))
    assert said(replace(held, visits=two), sold, "where the problem allows 1")
    barred = _asking(locks=locks.model_copy(update={"exclude": ("K",)}))
    assert said(replace(barred, visits=two), sold, "where the problem allows 0")
    assert said(_asking(locks=locks.model_copy(update={"at_least": {"K": 1}})), sold, "0 of kit 'K' bought, where the problem demands 1")


def test_costs_that_prices_do_not_make() -> None:
    plan, catalog = good()
    future = next(iter(plan.cost_by_future))
    wrong = {**plan.cost_by_future, future: plan.cost_by_future[future] + 1}
    assert said(replace(plan, cost_by_future=wrong), catalog, f"future '{future}': its cost is")
    assert said(replace(plan, cost_by_future={}), catalog, f"future '{future}': the plan has no cost for it")


def _growing(problem: Problem, **growth: Any) -> Problem:
    assert problem.growth is not None
    return problem.model_copy(update={"growth": problem.growth.model_copy(update=growth)})


def test_the_money_of_every_setting_is_counted_twice_alike() -> None:
    """Each setting of growth changes the cost of the very same plan, and the check works out the change by itself."""
    problem, catalog = growth_case(SEED)
    assert problem.growth is not None
    settings: dict[str, Any] = {
        "discount_pct": 9.0, "price_trend_pct": {"battery": -11.0}, "later_allowance_x": 2.5, "voltage_changeover": 123.0,
        "resale_share": dict.fromkeys(("module", "battery", "controller", "inverter"), 0.21), "end_value_share": {"module": 0.11},
        "horizon_years": problem.growth.horizon_years + 2,
    }
    plan, costs = good()[0], {}
    for name, value in settings.items():
        ledger = Ledger(tree_of(_growing(problem, **{name: value})), catalog)
        again = costed(ledger, {n: _priced_again(ledger, visit, plan) for n, visit in plan.visits.items()})
        assert check_plan(again, catalog) == (), name
        costs[name] = again.cents
    assert {name for name, cost in costs.items() if abs(cost - plan.cents) <= 1} == set()


def _priced_again(ledger: Ledger, visit: Visit, plan: Plan) -> Visit:
    """A visit with its money at other prices."""
    return replace(
        visit, spent_cents=spent(ledger, visit.node, visit.bought, visit.kits),
        got_cents=sum(ledger.resale(item, visit.node, lot) * n for (item, lot), n in visit.sold.items()),
        changeover_cents=ledger.changeover_cents if visit.node.parent is not None and plan.first.design.bank.volts != visit.design.bank.volts else 0.0,
    )


def test_a_problem_in_which_buying_to_sell_again_pays_is_refused() -> None:
    """There is no cheapest plan then; a share at which nothing is gained is accepted."""
    problem, catalog = growth_case(SEED)
    for share, speaks in ((1.0, True), (0.2, False)):
        rising = _growing(problem, discount_pct=0.0, price_trend_pct={"module": 12.0}, end_value_share={"module": share}, resale_share={})
        if speaks:
            with pytest.raises(InputError, match=f"'{catalog.modules[0].id}' bought in year 0 brings more later than it costs"):
                Ledger(tree_of(rising), catalog)
        else:
            Ledger(tree_of(rising), catalog)


def test_owned_batteries_of_two_models_keep_their_ages() -> None:
    problem, catalog = growth_case(SEED)
    owned = tuple(Owned(part=part.id, quantity=1, age_months=months) for part, months in zip(catalog.batteries, (6, 18), strict=False))
    plan = PlanSearch(tree_of(problem.model_copy(update={"owned": owned})), catalog).best().plan
    assert plan is not None
    assert check_plan(plan, catalog) == ()
    years = {item: lot.year for visit in plan.visits.values() for item, lot in (*visit.there, *visit.sold) if lot.node == OWNED}
    assert years == {own.part: -own.age_months / 12 for own in owned}
