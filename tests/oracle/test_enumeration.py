"""The walk itself: against the full check of every single choice, and what its shortcuts lean on."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product
from typing import Any

import pytest
from cases import case
from enumerate import BANK_FIELDS, Walk, best_choice

from optimizer.design import Bank, Block, Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.proof.array import block_facts, block_lines
from optimizer.proof.check import check_design
from optimizer.rules.bank import units_in_series

TINY = (4, 18, 25, 39, 46, 55, 56, 62, 76)


def tiny(seed: int) -> tuple[Problem, Catalog]:
    """A case with so few parts and so tight bounds that every choice can be checked in full."""
    problem, catalog = case(seed)
    few = replace(
        catalog, modules=catalog.modules[:2], batteries=catalog.batteries[-2:], controllers=catalog.controllers[:1],
        inverters=catalog.inverters[:2], converters=catalog.converters[:1],
    )
    bounds = problem.bounds.model_copy(update={
        "modules_in_series": 2, "strings_per_controller": 1, "controllers": 2, "array_kinds": 2, "battery_strings": 2, "inverters": 1,
        "charge_limit_steps": (1.0,),
    })
    known = {part.id for part in few.parts()}
    locks = problem.locks.model_copy(update={"at_least": {part: n for part, n in problem.locks.at_least.items() if part in known}})
    owned = tuple(own for own in problem.owned if own.part in known)
    return problem.model_copy(update={"bounds": bounds, "locks": locks, "owned": owned}), few


def every_design(walk: Walk) -> Iterator[Design]:
    """Every choice, written down the plain way."""
    problem, catalog = walk.problem, walk.catalog
    bounds = problem.bounds
    banks = [
        Bank(battery, catalog.chemistry(battery), volts, series, strings)
        for battery, volts in product(catalog.batteries, (12, 24, 36, 48))
        if (series := units_in_series(volts, battery.cells, catalog.chemistry(battery).cells_per_12v))
        for strings in range(1, bounds.battery_strings + 1)
    ]
    parts = [*catalog.controllers, *(inverter for inverter in catalog.inverters if inverter.kind == "all-in-one")]
    blocks = [
        Block(part, module, series, strings)
        for part, module, series, strings in product(
            parts, catalog.modules, range(1, bounds.modules_in_series + 1), range(1, bounds.strings_per_controller + 1)
        )
    ]
    arrays = [(replace(block, count=n),) for block in blocks for n in range(1, bounds.controllers + 1)]
    arrays += list(combinations(blocks, 2))
    for bank, inverters, way, array in product(banks, walk.inverter_banks(), walk.converter_ways(), arrays):
        yield Design(bank, array, inverters, way)


@pytest.mark.parametrize("seed", TINY)
def test_the_walk_is_the_full_check_of_every_choice(seed: int) -> None:
    walk = Walk(*tiny(seed))
    priced = sorted(((walk.prices.bill(design).objective_cents, at, design) for at, design in enumerate(every_design(walk))), key=lambda one: one[:2])
    alone: list[tuple[int, str]] = []
    best = None
    for cost, _, design in priced:
        if best is not None and cost > best:
            break
        broken = {line.rule for line in check_design(design, walk.needs, walk.catalog, walk.prices).failures}
        if not broken:
            best = cost
        elif len(broken) == 1:
            alone.append((cost, *broken))
    found = best_choice(*tiny(seed))
    assert found.cost_cents == best
    assert found.alone == Counter(rule for cost, rule in alone if best is None or cost < best)


def test_tiny_cases_are_of_both_kinds() -> None:
    assert {best_choice(*tiny(seed)).cost_cents is None for seed in TINY} == {True, False}


class Watched:
    """A record that tells which of its fields are read."""

    def __init__(self, record: Any, read: set[str]) -> None:
        self._record, self._read = record, read

    def __getattr__(self, name: str) -> Any:
        self._read.add(name)
        return getattr(self._record, name)


def test_a_block_sees_nothing_else_of_its_bank() -> None:
    """Blocks are made once for all banks that agree in these fields, whatever their strings."""
    read: set[str] = set()
    for seed in range(0, 86, 6):
        walk = Walk(*case(seed))
        for bank, _ in walk.banks():
            watched = Bank(Watched(bank.battery, read), bank.chemistry, bank.volts, bank.series, None)  # type: ignore[arg-type]
            for _, block, twins in walk._all_blocks[::9]:
                block_lines(walk.needs, walk.catalog.tables, watched, block)
                for one in (block, *twins):
                    block_facts(walk.needs, watched, one)
    assert read == set(BANK_FIELDS)
