"""The source beside the array in a plan: what a design's generator, alternator or shore power costs in a year, and designs priced with it.

Generator and chargers are parts of the core, so they are bought, kept and sold like others. What they burn is not: it is paid for in every year
that a design stands. It is an item of its own that nobody can buy ahead, at each node at the worth of the years until the next.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.dominance import SLACK_CENTS
from optimizer.choice.fed_pairs import fed_cents, numbers_within
from optimizer.choice.feeding import bounds_alike, running_cents
from optimizer.choice.table import Table
from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, Block, Design
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.proof.array import Way, block_facts
from optimizer.proof.source import Fed
from optimizer.proof.whole import Whole

if TYPE_CHECKING:
    from optimizer.growth.offers import Priced

RUNNING = "running"
"""The item that stands for fuel and service, or bought energy, counted in cents a year."""


def of_one_year(problem: Problem) -> Problem:
    """The problem with what its source burns counted for one year, as it is paid; the plan says how many years that is."""
    if not problem.source_in_design:
        return problem
    use = problem.source_use.model_copy(update={"years": 1.0})
    life = problem.life_cycle.model_copy(update={"discount_pct": 0.0})
    return problem.model_copy(update={problem.site.other_source: use, "life_cycle": life})


class PlanPrices(PriceList):
    """The prices of a node, that of running a design with them."""

    @cached_property
    def running(self) -> Running:
        """What designs cost to run."""
        return Running(self.wiring)


def yearly_cents(design: Design, prices: PriceList) -> float:
    """What the source of a design burns in a year: fuel and service, or energy that is paid for [cents]; 0 without one."""
    if design.source is None:
        return 0.0
    assert isinstance(prices, PlanPrices), "a source is priced as a plan counts it"
    return prices.running.yearly_cents(design)


class Running:
    """What the sources of designs cost in a year, from the part records; what designs have in common is worked out once."""

    def __init__(self, wiring: Wiring) -> None:
        self._wiring = wiring
        self._cores: dict[object, tuple[np.ndarray, np.ndarray]] = {}
        self._harvests: dict[object, np.ndarray] = {}

    def yearly_cents(self, design: Design) -> float:
        """Fuel and service of a year, or energy that is paid for [cents]."""
        needed_wh, cents = self._core(design)
        harvest_wh = sum(self._harvest_wh(design.bank, block) * block.count for block in design.blocks)
        return float(np.maximum(needed_wh - harvest_wh, 0.0) @ cents)

    def _core(self, design: Design) -> tuple[np.ndarray, np.ndarray]:
        """What array and source bring together by month [Wh/day], and what a watt-hour a day from the source costs in a month [cents]."""
        source, inverters = design.source, design.inverters
        assert source is not None, "asked only of a design with a source"
        key = (
            *_of_bank(design.bank), _id(inverters.inverter), inverters.count, *((use.converter.id, use.count, use.load_v) for use in design.converters),
            _id(source.generator), _id(source.charger), source.count, source.charge_a,
        )
        if key not in self._cores:
            bare = Design(design.bank, (), inverters, design.converters, source)
            fed = Fed(Whole.of(self._wiring.needs, self._wiring.catalog, bare, self._wiring), source)
            into_wh = float(fed.missing_wh @ fed.days)
            self._cores[key] = fed.needed_wh, fed.days * (100 * fed.yearly / into_wh if into_wh else 0.0)
        return self._cores[key]

    def _harvest_wh(self, bank: Bank, block: Block) -> np.ndarray:
        """What one of a block brings by month, its controller's own use taken off [Wh/day]."""
        key = (*_of_bank(bank), block.part.id, block.module.id, block.series, block.strings, block.limit_a, _id(block.cable), block.plane)
        if key not in self._harvests:
            wiring, one = self._wiring, replace(block, count=1)
            facts = block_facts(wiring.needs, bank, one, Way.of(wiring.block_circuits(bank, one), wiring.tables))
            self._harvests[key] = facts.harvest_wh - block.device.self_w * 24
        return self._harvests[key]


def _of_bank(bank: Bank) -> tuple[object, ...]:
    return bank.battery.id, bank.volts, bank.series, bank.strings


def _id(part: Part | None) -> str | None:
    return part.id if part is not None else None


# --- designs at some prices


def fed_arrays(search: Priced, number: int, core: int, most: Callable[[], float]) -> Iterator[tuple[np.ndarray, ...]]:
    """Arrays beside the source of a core: first blocks, how many, second ones, how many of these, and cost with what is burnt [cents].

    With fuel the smallest counts are not the cheapest, so every number of both kinds is looked at that leaves a chance.
    """
    least, beyond = least_beside(search, search.blocks[number], core)
    for first, n, second, many in numbers_within(search, number, core, beyond, most() + SLACK_CENTS - least):
        cents = fed_cents(search, number, core, first, n, second, many, most() + SLACK_CENTS)
        kept = np.nonzero(np.isfinite(cents))[0]
        if len(kept):
            yield first[kept], np.full(len(kept), float(n)), second[kept], np.full(len(kept), float(many)), cents[kept]


def least_beside(search: Priced, blocks: Table, core: int) -> tuple[float, np.ndarray]:
    """Least cost of a design on a core with a source, and what each of its blocks adds to that [cents]."""
    _, least, beyond = next(bounds_alike(search.cores.table.take(np.array([core])), blocks))
    return float(least[0]), beyond


def burnt_cents(search: Priced, number: int, core: int, first: np.ndarray, n: np.ndarray, second: np.ndarray, many: np.ndarray) -> np.ndarray:
    """What such arrays leave to the source of a core [cents]."""
    harvest_wh = search.blocks[number].harvest_wh
    return running_cents(search.cores.table, core, n[:, None] * harvest_wh[first] + many[:, None] * harvest_wh[second])
