"""Plans over years: the program finds what looking at every plan finds, on small random sites that grow."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

import numpy as np
import pytest
from growth_enumerate import SHAPES, EveryPlan, growth_case

from optimizer.bill import PriceList
from optimizer.growth.greedy import step_by_step
from optimizer.growth.ledger import Lot, usage_of
from optimizer.growth.plan import Plan
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_program import Column, PlanProgram
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.prices import Prices
from optimizer.growth.rounds import Rounds
from optimizer.growth.tree import tree_of

SELLS, KEEPS, ADDS, REPLACES = "sells", "keeps the battery", "adds to the bank", "replaces the battery"
VOLTS, AHEAD, DEARER = "changes the voltage", "buys ahead", "a first purchase that is not the cheapest"

CASES = {
    0: {REPLACES, SELLS}, 1: {AHEAD, KEEPS}, 7: {AHEAD, VOLTS, REPLACES, SELLS}, 9: {DEARER, KEEPS},
    12: {ADDS, AHEAD, KEEPS, SELLS}, 15: {ADDS, VOLTS, KEEPS, SELLS}, 16: {AHEAD, KEEPS, SELLS}, 18: {KEEPS}, 19: {AHEAD, REPLACES, SELLS},
    24: {REPLACES, SELLS}, 33: {ADDS, DEARER, KEEPS}, 34: {AHEAD, VOLTS, DEARER, KEEPS, REPLACES},
    42: {DEARER, KEEPS}, 45: {VOLTS, REPLACES, SELLS}, 48: {KEEPS, SELLS}, 51: {AHEAD, VOLTS, REPLACES, SELLS},
    52: {ADDS, AHEAD, VOLTS, KEEPS, REPLACES}, 54: {ADDS, AHEAD, VOLTS, KEEPS, SELLS}, 63: {ADDS, VOLTS, KEEPS}, 65: {AHEAD, DEARER, KEEPS, REPLACES, SELLS},
}
"""Cases that every node has a design for, and few enough to look at all plans in a moment, with what the best plan of each does."""


@dataclass(frozen=True)
class Found:
    """Both answers to one case."""

    search: PlanSearch
    plan: Plan
    bound_cents: float
    proven: bool
    every: EveryPlan
    least_cents: float


def found(seed: int) -> Found:
    problem, catalog = growth_case(seed)
    every = EveryPlan(problem, catalog)
    assert every.possible, seed
    search = PlanSearch(every.tree, catalog)
    planned = search.best()
    assert planned.plan is not None
    return Found(search, planned.plan, planned.bound_cents, planned.proven, every, every.best().cents)


@pytest.mark.parametrize("seed", CASES)
def test_the_best_plan_is_the_best_of_all_plans(seed: int) -> None:
    case = found(seed)
    assert case.plan.cents == pytest.approx(case.least_cents, abs=SLACK_CENTS)
    assert case.proven
    assert check_plan(case.plan, case.search.catalog) == ()
    _bounds_hold(case)
    _all_within_are_there(case)
    _early_stop_holds(case)
    greedy = step_by_step(case.search).plan
    assert greedy is not None
    assert check_plan(greedy, case.search.catalog) == ()
    assert greedy.cents >= case.least_cents - SLACK_CENTS
    dearer = {DEARER} if greedy.cents > case.least_cents + SLACK_CENTS else set()
    assert _features(case.plan) | dearer == CASES[seed]


def _bounds_hold(case: Found) -> None:
    """No bound is above the best of all plans: at the starting prices, and at the end."""
    rounds = Rounds(case.search, case.search.tree, None, None, 60.0, 0.0, "")
    at_the_start = rounds.best_beside + rounds.ledger.prices.fixed_freight_cents * rounds.ledger.on_top
    for node, ways in zip(case.search.tree.nodes, case.every.ways, strict=True):
        at_the_start += min(rounds.start[node.number].cost(usage_of(design, PriceList(case.search.tree.asked, case.search.catalog)), design.bank.volts) for _, design in ways)
    assert at_the_start <= case.least_cents + SLACK_CENTS
    assert case.bound_cents <= case.least_cents + SLACK_CENTS
    # Nor above the relaxation over all designs that are known, whose least is sharper than the best of all plans.
    offered = {node.number: list(case.search.pools[node.number].columns.values()) for node in case.search.tree.nodes}
    relaxed = PlanProgram(rounds.ledger, rounds.nodes, offered, whole=False)
    least = relaxed.solve(60.0).objective
    assert least is not None
    assert case.search.centers
    at_the_prices = case.search.centers[-1]
    bound = at_the_prices.beside + relaxed.constant + sum(
        min(at_the_prices.prices[number].cost(column.usage, column.volts) for column in columns) for number, columns in offered.items()
    )
    assert bound <= least + relaxed.constant + SLACK_CENTS


def _all_within_are_there(case: Found) -> None:
    """For every design within a limit the proof has one that uses no more of anything, and whose controllers hold no more modules.

    Left out at first are banks of more owned batteries than may stand in one where new ones may not join them.
    """
    rounds, prices = Rounds(case.search, case.search.tree, None, None, 60.0, 0.0, ""), PriceList(case.search.tree.asked, case.search.catalog)
    for node, ways in zip(case.search.tree.nodes, case.every.ways, strict=True):
        at, columns = rounds.start[node.number], [Column.of(design, prices) for _, design in ways]
        limit = 1.3 * min(at.cost(column.usage, column.volts) for column in columns) + SLACK_CENTS
        offers = case.search.pools[node.number].offers
        assert not offers.stock.at_most or (node.parent is None and set(offers.stock.at_most) <= {own.part for own in case.search.tree.asked.owned})
        there = [Column.of(offer.design, prices) for offer in offers.priced(at, limit).within(limit)]
        for column in columns:
            may_be = all(column.usage.get(part, 0) <= most for part, most in offers.stock.at_most.items())
            if may_be and at.cost(column.usage, column.volts) <= limit:
                assert any(
                    one.volts == column.volts and all(n <= column.usage.get(item, 0) for item, n in one.usage.items())
                    and _placed_as_easily(one, column) for one in there
                ), column.design


def _placed_as_easily(one: Column, other: Column) -> bool:
    """Whether the modules of each controller of one design are no more than those of a controller of the other, model by model."""
    for model in {model for model, _ in one.trackers}:
        mine, its = (sorted((each for (of, each), n in column.trackers.items() if of == model for _ in range(n)), reverse=True) for column in (one, other))
        if len(mine) > len(its) or any(a > b for a, b in zip(mine, its, strict=False)):
            return False
    return True


def _early_stop_holds(case: Found) -> None:
    """A fresh search that is stopped at once says nothing wrong: it has met no plan and no prices before."""
    early = PlanSearch(case.search.tree, case.search.catalog).best(seconds=0.01)
    assert early.bound_cents <= case.least_cents + SLACK_CENTS
    if early.plan is not None:
        assert early.plan.cents >= case.least_cents - SLACK_CENTS
        assert check_plan(early.plan, case.search.catalog) == ()


def _features(plan: Plan) -> set[str]:
    """What a plan does: the kinds of case that the tests must have seen."""
    seen: set[str] = set()
    for visit in plan.visits.values():
        bank, parent = visit.design.bank, visit.node.parent
        if parent is None:
            continue
        before = plan.visits[parent].design.bank
        standing = {lot: n for (item, lot), n in visit.there.items() if item == bank.battery.id and n}
        if before.volts != bank.volts:
            seen.add(VOLTS)
        if before.battery.id == bank.battery.id and any(lot.node < visit.node.number for lot in standing):
            seen.add(KEEPS)
            if any(lot.node == visit.node.number for lot in standing) and sum(standing.values()) == bank.units:
                seen.add(ADDS)
        if not any(lot.node < visit.node.number for lot in standing):
            seen.add(REPLACES)
        if sum(visit.sold.values()):
            seen.add(SELLS)
    used = plan.first.usage
    if any(n > used[item] for item, n in plan.first.bought.items() if plan.ledger.pack(item) == 1):
        seen.add(AHEAD)
    return seen


def test_the_cases_are_of_every_kind() -> None:
    """What each case does is asserted with its plan."""
    assert len(CASES) >= 20
    assert {SHAPES[seed % len(SHAPES)] for seed in CASES} == set(SHAPES)
    counts = Counter(feature for features in CASES.values() for feature in features)
    assert min(counts[feature] for feature in (SELLS, KEEPS, ADDS, REPLACES, VOLTS, AHEAD, DEARER)) >= 5
    assert sum(bool(growth_case(seed)[0].owned) for seed in CASES) >= 5


def test_a_later_purchase_may_be_ahead_too() -> None:
    """Money for the first design only, and modules that become dearer: those of the second step are bought at the first."""
    problem, catalog = growth_case(44)
    assert problem.growth is not None
    dearer = problem.growth.model_copy(update={"discount_pct": 0.0, "price_trend_pct": {"module": 12.0}, "resale_share": {}, "end_value_share": {}})
    tree = tree_of(problem.model_copy(update={"growth": dearer}))
    alone = PlanSearch(tree, catalog).best(dict.fromkeys(tree.chance, 0.0)).plan
    assert alone is not None
    limits = problem.limits.model_copy(update={"budget": alone.cents / 100 + 1})
    plan = PlanSearch(tree_of(problem.model_copy(update={"growth": dearer, "limits": limits})), catalog).best().plan
    assert plan is not None
    assert check_plan(plan, catalog) == ()
    (module,) = (part.id for part in catalog.modules if plan.visits[1].bought.get(part.id))
    assert plan.visits[1].bought[module] >= plan.visits[1].design.pieces[module] + 4
    assert not plan.visits[2].bought.get(module)


def test_pieces_beyond_a_table_cost_no_more_than_those_of_several_lots() -> None:
    """Each of two lots may hold two pieces at 3: four of both together are worth 12, not 6 and two at the price beyond."""
    lots = (Lot(0, 0.0), Lot(1, 2.0))
    prices = Prices({"battery": 10.0}, {"battery": np.array([0.0, 3.0, 6.0])}, {}, {
        ("battery", lots[:1]): np.array([0.0, 3.0, 6.0]), ("battery", lots): np.array([3.0]),
    })
    assert [prices.of("battery", n) for n in range(5)] == [0, 3, 6, 9, 12]
    alone = Prices({"battery": 10.0}, {"battery": np.array([0.0, 3.0, 6.0])}, {}, {("battery", lots[:1]): np.array([0.0, 3.0, 6.0])})
    assert [alone.of("battery", n) for n in range(5)] == [0, 3, 6, 16, 26]


@pytest.mark.parametrize("seed", (0, 7, 24))
def test_designs_that_cost_less_than_nothing_are_found_as_others_are(seed: int) -> None:
    """What a voltage gets for changes that it spares can be more than its designs cost."""
    problem, catalog = growth_case(seed)
    search = PlanSearch(tree_of(problem), catalog)
    rounds = Rounds(search, search.tree, None, None, 60.0, 0.0, "")
    for node in search.tree.nodes:
        plain, offers = rounds.start[node.number], search.pools[node.number].offers
        spared = 5e6
        less = Prices(plain.each, plain.together, dict.fromkeys((24, 48), -spared), plain.by_lots)
        least = offers.priced(plain, np.inf).cheapest()[0].cents
        assert least < spared / 2
        for most in (np.inf, least - spared + 1000.0):
            assert offers.priced(less, most).cheapest()[0].cents == pytest.approx(least - spared, abs=SLACK_CENTS)
        limit = 1.2 * least
        there = [len(list(offers.priced(at, most).within(most))) for at, most in ((plain, limit), (less, limit - spared))]
        assert there[0] == there[1] > 0


def test_what_owned_parts_are_worth_at_the_end_is_in_the_bound() -> None:
    """An owned inverter and an owned battery that count for something at the horizon: no bound is above the best plan, from the first one on."""
    case = found(257)
    assert {own.part for own in case.search.tree.asked.owned} == {"B-LFP4-200", "I-24-2000"}
    assert case.proven
    assert case.plan.cents == pytest.approx(case.least_cents, abs=SLACK_CENTS)
    _bounds_hold(case)


@pytest.mark.parametrize("seed", (48, 65))
def test_a_plan_that_costs_nothing_is_proven_as_others_are(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The first limit is a share of a plan's cost, which sales may bring down to nothing: it still grows."""
    monkeypatch.setattr("optimizer.growth.rounds.LEAST_LIMIT_SHARE", 0.0)
    problem, catalog = growth_case(seed)
    planned = PlanSearch(tree_of(problem), catalog).best()
    assert planned.proven
    assert planned.plan is not None
    assert planned.plan.cents == pytest.approx(found(seed).least_cents, abs=SLACK_CENTS)
