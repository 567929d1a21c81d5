"""Designs of a node that leaves open what is fitted: soft starters before its motors, an autotransformer behind its inverters.

What is fitted makes a problem of its own, as for a single answer. A plan must have the designs of all these problems at once: what is cheapest
hangs on prices of parts that change from question to question, and on what stands already. So the candidates of every problem are kept side by
side; starters and transformers are items that their designs use.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.cores import Cores, power_cores
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.design import Design
from optimizer.errors import InputError
from optimizer.growth.offers import CoreFilter, Listed, Offer, Offers, Priced
from optimizer.growth.prices import Prices
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import SoftStarter
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import (
    fits,
    fittings_of,
    with_gentlest,
    with_starters,
    without_starters,
)
from optimizer.needs.site import Needs
from optimizer.needs.stepping import carries, stepped_up, without_transformer

WAYS_MOST = 100
"""Ways to fit soft starters that are told apart; candidates of each are built."""


def offers_of(problem: Problem, catalog: Catalog) -> Offers | OffersOfWays:
    """Every candidate of a node, whatever it leaves open."""
    if problem.inverter.autotransformer == "may":
        plain = without_transformer(problem)
        stepped = [stepped_up(problem, part) for part in catalog.autotransformers if carries(problem, part)]
        return OffersOfWays([Offers(asked, catalog) for asked in (plain, *stepped)])
    if any(load.soft_starter == "may" for load in problem.loads):
        return OffersOfWays(_with_starters(problem, catalog))
    return Offers(problem, catalog)


class OffersOfWays:
    """The candidates of every way to fit what may be fitted; asked like those of one problem."""

    def __init__(self, ways: Sequence[Offers]) -> None:
        self.ways = tuple(one for one in ways if one.possible) or tuple(ways[:1])
        self.base = self.ways[0].base
        """Candidates that say why there are none, where there are none."""
        self.exact = all(one.exact for one in self.ways)
        self.possible = any(one.possible for one in self.ways)
        self._of = {one.fittings: one for one in self.ways}

    def of(self, design: Design) -> Offers:
        """The offers that a design is one of."""
        return self._of[design.fittings]

    def counts(self, item: str) -> set[int]:
        """Numbers of an item that some core uses."""
        return {count for one in self.ways for count in one.counts(item)}

    def priced(self, prices: Prices, most: float, kept: CoreFilter | None = None) -> PricedWays:
        """The candidates at these prices, none dearer than `most` [cents]."""
        return PricedWays([one.priced(prices, most, kept) for one in self.ways], most)


class PricedWays:
    """The candidates of every way at some prices."""

    def __init__(self, ways: Sequence[Priced], most: float) -> None:
        self.ways = [search for search in ways if search.blocks]
        self.blocks = [search.blocks for search in self.ways]
        self._most = most

    def cheapest(self, band: float = 0.0) -> list[Offer]:
        """The cheapest design at most as dear as `most`, and near ones; empty where there is none."""
        least, found = self._most, list[Offer]()
        for search in self.ways:
            search.most = search.least = least
            found += search.cheapest(band)
            least = min([least, *(offer.cents for offer in found)])
        return sorted((offer for offer in found if offer.cents <= least + band * abs(least)), key=lambda offer: offer.cents)

    def listed(self, limit: float) -> Iterator[tuple[Priced, Listed]]:
        """Every design that costs at most `limit` [cents], as rows of the search that knows it."""
        for search in self.ways:
            yield from search.listed(limit)

    def within(self, limit: float) -> Iterator[Offer]:
        """The same as designs."""
        for search in self.ways:
            yield from search.within(limit)


# --- soft starters


def _with_starters(problem: Problem, catalog: Catalog) -> list[Offers]:
    """The ways to fit soft starters that serve some bank with its inverters that fewer of the same starters do not serve.

    Nothing but starts hangs on a starter. So a design whose bank and inverters do with fewer starters uses less with these, and costs no more.
    """
    asked = list(_ways(problem, catalog))
    if len(asked) > WAYS_MOST:
        raise InputError(
            f"growth: {len(asked)} ways to fit soft starters before {_listed(problem)} differ, more than {WAYS_MOST}: leave soft_starter out of some loads"
        )
    asked.sort(key=lambda one: fittings_of(one).pieces.total())
    served: list[tuple[Mapping[str, int], set[object]]] = []
    found: list[Offers] = []
    for one in asked:
        pieces = fittings_of(one).pieces
        cores = _cores(one, catalog)
        fewer: set[object] = set().union(*(keys for others, keys in served if all(n <= pieces[part] for part, n in others.items())))
        keys = {_key(cores, row) for row in range(len(cores.table))}
        served.append((pieces, keys))
        if found and keys <= fewer:
            continue
        offers = Offers(one, catalog)
        _only_more(offers, fewer)
        found.append(offers)
    return found


def _ways(problem: Problem, catalog: Catalog) -> Iterator[Problem]:
    """The problem with each starter, or none, before each load that may have one, the hardest start first.

    Where no bank and no inverters are left out that starters before the rest of the loads could help, the rest has none.
    """
    options: dict[str, list[SoftStarter]] = {}
    for load in sorted(problem.loads, key=lambda one: (-one.surge_x * one.running_va, one.item)):
        if load.soft_starter == "may":
            options[load.item] = [one for one in options.get(load.item, catalog.soft_starters) if fits(one, load)]
    plain, items = without_starters(problem), list(options)

    def look(at: int, fitted: Mapping[str, str]) -> Iterator[Problem]:
        asked = with_starters(plain, catalog, fitted)
        eased = with_gentlest(asked, {item: options[item] for item in items[at:]})
        if eased == asked or len(_cores(eased, catalog).table) == len(_cores(asked, catalog).table):
            yield asked
            return
        for starter in (None, *options[items[at]]):
            yield from look(at + 1, fitted if starter is None else {**fitted, items[at]: starter.id})

    return look(0, {})


def _cores(problem: Problem, catalog: Catalog) -> Cores:
    needs = Needs(problem)
    return power_cores(needs, catalog, Screening(needs.severities), Stock(problem, catalog, PriceList(problem, catalog)))


def _key(cores: Cores, row: int) -> object:
    """Which bank, inverters and converters a core is: cores of problems that differ in starts alone agree in the rest where they agree in it."""
    way = cores.ways[cores.table.way[row]]
    return (*cores.key(row), tuple((use[0].id, use[1]) if use is not None else None for use in way))


def _only_more(offers: Offers, served: set[object]) -> None:
    """Take the cores out that are served with fewer starters."""
    base = offers.base
    for number in list(base.blocks):
        rows = base.core_rows[number]
        base.core_rows[number] = rows[np.array([_key(base.cores, int(row)) not in served for row in rows], dtype=bool)]
        if not len(base.core_rows[number]):
            base.drop(number)


def _listed(problem: Problem) -> str:
    return ", ".join(dict.fromkeys(load.item for load in problem.loads if load.soft_starter == "may"))
