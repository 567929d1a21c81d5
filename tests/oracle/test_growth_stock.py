"""Plans where stock leaves none of the designs that rounds of prices meet: against one program over every design."""

from __future__ import annotations

from dataclasses import replace

import pytest
from growth_enumerate import growth_case, ways_of

from optimizer.bill import PriceList
from optimizer.growth.ledger import Ledger
from optimizer.growth.plan import Plan, plan_from
from optimizer.growth.plan_check import check_plan
from optimizer.growth.plan_program import Column, PlanProgram
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import SLACK_CENTS
from optimizer.growth.tree import Tree, tree_of
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.growth import Future, Step
from optimizer.inputs.problem import Problem

SEED = 1018


def short_of_modules() -> tuple[Problem, Catalog]:
    """A house that may grow in two ways; two modules and one battery of a model are sold at a time."""
    problem, catalog = growth_case(SEED)
    growth = problem.growth
    assert growth is not None
    futures = (
        Future(name="stays", probability=0.2),
        Future(name="freezer", probability=0.5, steps=(Step(year=2.0, stage=growth.stages[0].name),)),
        Future(name="tools", probability=0.3, steps=(Step(year=4.0, stage=growth.stages[-1].name),)),
    )
    changed = growth.model_copy(update={"futures": futures, "horizon_years": 9.0, "resale_share": {}, "end_value_share": {}})
    few = {"B-AGM-200": 1, "M60-300": 2}
    modules = tuple(part.model_copy(update={"stock": few.get(part.id)}) for part in catalog.modules)
    batteries = tuple(part.model_copy(update={"stock": few.get(part.id)}) for part in catalog.batteries)
    return problem.model_copy(update={"growth": changed}), replace(catalog, modules=modules, batteries=batteries)


def of_all_designs(tree: Tree, catalog: Catalog) -> Plan:
    """The best plan by a program that has every design of every date."""
    columns = {node.number: [Column.of(design, PriceList(node.problem, catalog)) for _, design in ways_of(node.problem, catalog)] for node in tree.nodes}
    program = PlanProgram(Ledger(tree, catalog), tree.nodes, columns, whole=True)
    assert program.solve(120.0).has_solution
    return plan_from(program)


def test_a_plan_is_found_where_stock_leaves_none_of_the_designs_of_the_rounds() -> None:
    problem, catalog = short_of_modules()
    tree = tree_of(problem)
    planned = PlanSearch(tree, catalog).best()
    assert planned.plan is not None, planned.reason
    assert planned.proven
    assert check_plan(planned.plan, catalog) == ()
    assert planned.plan.cents == pytest.approx(of_all_designs(tree, catalog).cents, abs=SLACK_CENTS)
