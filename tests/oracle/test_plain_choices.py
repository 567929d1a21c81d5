"""The enumerator against a second, plainest one that shares nothing with it: choices written down, priced and checked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product

import pytest
from cases import case
from enumerate import best_choice

from optimizer.bill import PriceList
from optimizer.design import Bank, Block, ConverterUse, Design, InverterBank
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.site import CONVERTER_RESERVE, Needs
from optimizer.proof.check import check_design

SEEDS = (8, 13, 22, 25, 36, 39, 40, 67, 69, 71, 77, 104, 122)


def tiny(seed: int) -> tuple[Problem, Catalog]:
    """A case with two parts a kind at most: for even seeds two kinds of array, else one and more controllers."""
    problem, catalog = case(seed)
    two = seed % 2 == 0
    wanted = set(problem.locks.at_least) | {own.part for own in problem.owned if own.must_use}

    def some(parts: tuple, count: int) -> tuple:
        first = [part for part in parts if part.id in wanted]
        turn = seed % len(parts) if parts else 0
        rest = [part for part in (*parts[turn:], *parts[:turn]) if part not in first]
        return tuple(sorted([*first, *rest][:count], key=lambda part: part.id))

    small = replace(
        catalog, modules=some(catalog.modules, 1), batteries=some(catalog.batteries, 2), controllers=some(catalog.controllers, 1 if two else 2),
        inverters=some(catalog.inverters, 2), converters=some(catalog.converters, 1),
    )
    bounds = problem.bounds.model_copy(update={
        "modules_in_series": 2, "strings_per_controller": 1, "controllers": 2, "array_kinds": 2 if two else 1,
        "battery_strings": 2, "inverters": 1, "charge_limit_steps": (1.0, 0.5),
    })
    return problem.model_copy(update={"bounds": bounds}), small


def cores(problem: Problem, catalog: Catalog) -> Iterator[tuple[Bank, InverterBank, tuple[ConverterUse, ...]]]:
    """Banks of every voltage class with every inverter and converter."""
    bounds, demand = problem.bounds, Needs(problem).demand
    banks = []
    for battery, volts, strings in product(catalog.batteries, (12, 24, 36, 48), range(1, bounds.battery_strings + 1)):
        chemistry = catalog.chemistry(battery)
        wanted = volts / 12 * chemistry.cells_per_12v / battery.cells
        if chemistry.chemistry == "lfp" and battery.cells == 15:  # a class of its own
            wanted = 1 if volts == 48 else 0
        if wanted >= 1 and wanted == int(wanted):
            banks.append(Bank(battery, chemistry, volts, int(wanted), strings))
    inverters = [InverterBank(None)]
    inverters += [InverterBank(inverter, count) for inverter in catalog.inverters for count in range(1, bounds.inverters + 1)]
    ways: list[list[ConverterUse | None]] = []
    for volts, watts in zip(demand.dc_volts, demand.coincident_dc_w, strict=True):
        uses: list[ConverterUse | None] = [None]
        for converter in catalog.converters:
            needed = CONVERTER_RESERVE * watts / volts
            uses.append(ConverterUse(converter, next(n for n in range(1, 1000) if n * converter.output_a >= needed), volts))
        ways.append(uses)
    for bank, inverter, way in product(banks, inverters, product(*ways)):
        yield bank, inverter, tuple(use for use in way if use is not None)


def arrays(problem: Problem, catalog: Catalog) -> Iterator[tuple[Block, ...]]:
    """One kind of array, or two, with every charge limit and number of controllers."""
    bounds = problem.bounds
    kinds = []
    for part, module, series, strings, step in product(
        (*catalog.controllers, *(inverter for inverter in catalog.inverters if inverter.kind == "all-in-one")), catalog.modules,
        range(1, bounds.modules_in_series + 1), range(1, bounds.strings_per_controller + 1), bounds.charge_limit_steps,
    ):
        device = Block(part, module, series, strings).device
        if step == 1 or (device.charge_limit_settable and device.kind != "pwm"):
            kinds.append(Block(part, module, series, strings, 1, None if step == 1 else round(step * device.output_a, 1)))
    for number in range(1, bounds.array_kinds + 1):
        for chosen in combinations(kinds, number):
            for counts in product(range(1, bounds.controllers + 1), repeat=number):
                if sum(counts) <= bounds.controllers:
                    yield tuple(replace(block, count=count) for block, count in zip(chosen, counts, strict=True))


def by_the_check_alone(problem: Problem, catalog: Catalog) -> tuple[int | None, Counter[str]]:
    """Cost of the first valid choice in the order of cost, and how many cheaper ones each rule alone kept out."""
    needs, prices = Needs(problem), PriceList(problem, catalog)
    sets = list(arrays(problem, catalog))
    designs = [Design(bank, blocks, inverters, way) for bank, inverters, way in cores(problem, catalog) for blocks in sets]
    alone: list[tuple[int, str]] = []
    for cost, at in sorted((prices.bill(design).objective_cents, at) for at, design in enumerate(designs)):
        broken = {line.rule for line in check_design(designs[at], needs, catalog, prices).failures}
        if not broken:
            return cost, Counter(rule for kept_out, rule in alone if kept_out < cost)
        if len(broken) == 1:
            alone.append((cost, broken.pop()))
    return None, Counter(rule for _, rule in alone)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_enumerator_finds_what_the_check_alone_finds(seed: int) -> None:
    problem, catalog = tiny(seed)
    cost, alone = by_the_check_alone(problem, catalog)
    best = best_choice(problem, catalog)
    assert best.cost_cents == cost
    if not Needs(problem).demand.has_ac:  # the enumerator gives no inverter to a site without AC
        alone.pop("ac-standard", None)
    assert best.alone == alone
