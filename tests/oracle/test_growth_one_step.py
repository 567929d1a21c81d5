"""What a first design costs at least with all that follows it, held against programs of whole numbers in which that design is the first."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from growth_enumerate import growth_case, ways_of

from optimizer.bill import PriceList
from optimizer.growth import one_step
from optimizer.growth.followers import Followers
from optimizer.growth.ledger import MOUNTS, Ledger
from optimizer.growth.one_step import OneStep, is_one_step
from optimizer.growth.plan import Plan, plan_from
from optimizer.growth.plan_program import Column, PlanProgram
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.tree import FIRST, tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.kits import Kit
from optimizer.inputs.problem import Owned, Problem

PLAIN = {1: 6, 6: 8, 15: 8, 18: 8, 27: 8, 28: 6, 33: 8, 37: 8}
"""Growing houses without owned parts whose futures have one step at most, and first designs of which the count is the cost to a cent."""

MANY = (1, 6, 18)
"""Of these, some whose first designs are counted all at once."""

WITH_KITS = ((1, 0), (7, 0), (15, 0), (18, 1), (27, 0), (28, 0), (34, 1))
"""The same with kits, and a draw of these."""

WITH_OWNED = (1, 6, 18, 27, 34)
"""The same with modules and an inverter that the customer owns, with kits and without."""

FIRSTS_MOST = 8


@dataclass(frozen=True)
class Held:
    """A first design: the least that its count says, and the best plan with it."""

    least_cents: float
    plan: Plan


def with_kits(seed: int, draw: int) -> tuple[Problem, Catalog]:
    """A growing house with one or two kits of its parts."""
    problem, catalog = growth_case(seed)
    rng, kits = random.Random(seed * 47 + draw), []
    sold = [*catalog.batteries, *catalog.modules, *catalog.controllers, *catalog.inverters]
    for number in range(rng.choice((1, 2))):
        parts = tuple((part.id, rng.choice((1, 1, 2, 4))) for part in rng.sample(sold, rng.choice((1, 2, 3))))
        apart = sum(catalog.by_id[part].price * count for part, count in parts)
        kits.append(Kit(id=f"K-{number}", price=round(apart * rng.uniform(0.75, 1.05), 2), parts=parts))
    growth = problem.growth
    assert growth is not None
    worthless = growth.model_copy(update={"resale_share": {}, "end_value_share": {}})  # nobody buys a cheap kit only to sell it
    return problem.model_copy(update={"growth": worthless}), replace(catalog, kits=tuple(kits))


def held(problem: Problem, catalog: Catalog) -> Iterator[Held]:
    """Some first designs of a case, each with everything that may follow."""
    tree = tree_of(problem)
    ledger = Ledger(tree, catalog)
    ways, count = counted(problem, catalog)
    later = {node.number: ways[node.number] for node in tree.nodes[1:]}
    firsts = ways[FIRST]
    for first in random.Random(5).sample(firsts, min(FIRSTS_MOST, len(firsts))):
        program = PlanProgram(ledger, tree.nodes, {FIRST: [first], **later}, whole=True)
        assert program.solve(60.0).has_solution
        yield Held(min(one.least_cents for one in count.near_one(first)), plan_from(program))


def counted(problem: Problem, catalog: Catalog) -> tuple[list[list[Column]], OneStep]:
    """Every design of every date, and the count of them."""
    tree = tree_of(problem)
    ledger = Ledger(tree, catalog)
    assert is_one_step(ledger, tree.nodes)
    ways = [[Column.of(design, PriceList(node.problem, catalog)) for _, design in ways_of(node.problem, catalog)] for node in tree.nodes]
    assert all(ways)
    later = {node.number: ways[node.number] for node in tree.nodes[1:]}
    others = {part for kit in catalog.kits for part, _ in kit.parts} | {own.part for own in problem.owned}
    items = sorted({item for columns in ways for column in columns for item in column.usage} | others)
    count = OneStep(ledger, tree.nodes, items, {number: Followers.of_columns(columns, [0.0] * len(columns), items) for number, columns in later.items()}, 0.0)
    return ways, count


def never_above(found: Sequence[Held]) -> bool:
    return all(one.least_cents <= one.plan.cents + SLACK_CENTS for one in found)


@cache
def counted_once(seed: int) -> tuple[list[list[Column]], OneStep]:
    return counted(*growth_case(seed))


@pytest.mark.parametrize("few", [0, 2, 32])
def test_many_first_designs_at_once_are_counted_as_each_alone(few: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether pieces are told apart by their number or one by one, and whatever they come to in cents."""
    monkeypatch.setattr(one_step, "FEW_NUMBERS", few)
    compared = 0
    for seed in MANY:
        ways, count = counted_once(seed)
        items = count.items
        for volts in {column.volts for column in ways[FIRST]}:
            firsts = [column for column in ways[FIRST] if column.volts == volts][:200]
            usage = np.array([[column.usage.get(item, 0) for item in items] for column in firsts], dtype=float)
            usage[:, items.index(MOUNTS) if MOUNTS in items else 0] += np.random.default_rng(seed).uniform(0, 0.9, len(firsts)).round(1)
            for date in count.dates:
                most = len(date.used)
                found = date.least(usage, volts, most)
                alone = [date.least(usage[[row]], volts, most)[0] for row in range(len(firsts))]
                assert found == pytest.approx(alone, abs=1e-6)
                held = [date.beside(usage[[row]], volts, most)[0].min() for row in range(len(firsts))]
                assert (found <= np.array(held) + 1e-6).all()
                compared += len(np.unique(found))
    assert compared > 150


@pytest.mark.parametrize("seed", PLAIN)
def test_a_count_is_the_cost_of_the_best_plan_with_its_first_design_or_less(seed: int) -> None:
    found = list(held(*growth_case(seed)))
    assert never_above(found)
    assert sum(one.least_cents >= one.plan.cents - SLACK_CENTS for one in found) == PLAIN[seed]


def test_kits_never_bring_a_plan_below_its_count() -> None:
    found = [one for seed, draw in WITH_KITS for one in held(*with_kits(seed, draw))]
    assert never_above(found)
    assert sum(bool(one.plan.first.kits) for one in found) >= 20
    assert sum(bool(visit.kits) for one in found for visit in one.plan.visits.values() if visit.node.number != FIRST) >= 5


def test_owned_parts_are_in_the_count() -> None:
    found: list[Held] = []
    exact = 0
    for seed in WITH_OWNED:
        for problem, catalog in (growth_case(seed), with_kits(seed, 0)):
            owned = (Owned(part=catalog.modules[0].id, quantity=3), Owned(part=catalog.inverters[-1].id, quantity=1))
            some = list(held(problem.model_copy(update={"owned": owned}), catalog))
            found += some
            exact += sum(one.least_cents >= one.plan.cents - SLACK_CENTS for one in some) if not catalog.kits else 0
    assert never_above(found)
    assert exact >= 20
    assert sum(bool(one.plan.first.kits) for one in found) >= 5
    assert sum(one.plan.first.usage.get("M60-300", 0) > 0 for one in found) >= 5


@pytest.mark.parametrize("seed", (6, 15, 27))
def test_of_two_new_models_one_is_bought_ahead(seed: int) -> None:
    """A later design made up by hand: two modules of each model that the first one has not."""
    problem, catalog = growth_case(seed)
    tree = tree_of(problem)
    first, later = (Column.of(ways_of(node.problem, catalog)[0][1], PriceList(node.problem, catalog)) for node in tree.nodes)
    one_of_them = catalog.modules[0]
    catalog = replace(catalog, modules=(one_of_them, one_of_them.model_copy(update={"id": "M-OTHER", "price": 1.1 * one_of_them.price})))
    ledger = Ledger(tree, catalog)
    first, later = (replace(one, usage={item: n for item, n in one.usage.items() if not item.startswith("M")}) for one in (first, later))
    models = [one.id for one in catalog.modules]
    first = replace(first, trackers={})
    later = replace(later, usage={**later.usage, **dict.fromkeys(models, 2)}, trackers={(one, 2): 1 for one in models})
    program = PlanProgram(ledger, tree.nodes, {FIRST: [first], 1: [later]}, whole=True)
    assert program.solve(60.0).has_solution
    plan, items = plan_from(program), sorted({*first.usage, *later.usage})
    assert sum(plan.first.bought.get(one, 0) for one in models) == 2
    count = OneStep(ledger, tree.nodes, items, {1: Followers.of_columns([later], [0.0], items)}, 0.0)
    assert min(one.least_cents for one in count.near_one(first)) == pytest.approx(plan.cents, abs=SLACK_CENTS)
