"""Proof of plans whose futures have one step at most: every first design is held against all that may follow it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimizer.growth.followers import Followers
from optimizer.growth.offers import TooManyDesigns
from optimizer.growth.one_step import Near, OneStep
from optimizer.growth.plan import Plan
from optimizer.growth.plan_program import Column
from optimizer.growth.planned import SLACK_CENTS, Planned
from optimizer.growth.sourced import RUNNING
from optimizer.growth.tree import FIRST, Node

if TYPE_CHECKING:
    from optimizer.growth.rounds import Rounds

NEAR_MOST = 50
"""First designs that may be those of a better plan which one program of whole numbers looks at."""

FOLLOWERS_MOST = 60_000
"""Designs of a later date up to which first ones are held against them."""

FOLLOWERS_FIRST = 3
"""Designs of each later date that a plan is tried with as soon as a first design shows that it may be better."""

FIRSTS_SAID = 20_000
"""First designs after which the progress says so."""


class ByFirst:
    """The proof of the best plan after rounds of prices; `plan` is the best that they know."""

    def __init__(self, rounds: Rounds, plan: Plan) -> None:
        self.rounds, self.plan = rounds, plan
        self.first, self.later = rounds.nodes[0], rounds.nodes[1:]

    def planned(self) -> Planned:
        """The best plan; not proven where time runs out, or where too many designs are left."""
        try:
            return self._planned()
        except TooManyDesigns:
            return Planned(self.plan, self.rounds.bound, proven=False)

    def _planned(self) -> Planned:
        rounds = self.rounds
        within = self._below_cents - rounds.bound + 2 * SLACK_CENTS
        items = tuple(item for item in rounds.start[FIRST].each if item != RUNNING)
        followers = {node.number: self._followers(node, items, within) for node in self.later}
        known = {number: found for number, found in followers.items() if found is not None}
        if len(known) < len(followers):
            return Planned(self.plan, rounds.bound, proven=False)
        beside = OneStep(rounds.ledger, rounds.nodes, items, known, rounds.bound)
        beside.below_cents = self._below_cents
        near, tried = list[Near](), np.inf
        for some in self._near(beside, within):
            if rounds.left_s() <= 0:
                return Planned(self.plan, rounds.bound, proven=False)
            near += some
            best = min(some, key=lambda one: one.least_cents, default=None)
            if best is not None and best.least_cents < tried:
                tried = best.least_cents
                self._better([best], FOLLOWERS_FIRST)
                beside.below_cents = self._below_cents
                near = self._still(near)
        near.sort(key=lambda one: one.least_cents)
        while near:
            some, near = near[:NEAR_MOST], near[NEAR_MOST:]
            self._better(some)
            if not rounds.whole_proven:
                return Planned(self.plan, max(rounds.bound, min(self.plan.cents, some[0].least_cents)), proven=False)
            near = self._still(near)
        return Planned(self.plan, self.plan.cents, proven=True)

    @property
    def _below_cents(self) -> float:
        """What a better plan costs at most."""
        return self.plan.cents - SLACK_CENTS

    def _still(self, near: Sequence[Near]) -> list[Near]:
        return [one for one in near if one.least_cents < self._below_cents]

    def _followers(self, node: Node, items: Sequence[str], within: float) -> Followers | None:
        """Designs of a later date that a better plan may have; None where they are too many."""
        rounds, prices = self.rounds, self.rounds.best_prices[node.number]
        known = rounds.offered(node)
        cents = [column.cost(prices) for column in known]
        if node.number in rounds.fixed:
            return Followers.of_columns(known, cents, items)
        limit = min(cents) + within
        return Followers.of_listed(rounds.search.pools[node.number].offers.priced(prices, limit).listed(limit), items, FOLLOWERS_MOST, rounds.ends)

    def _near(self, beside: OneStep, within: float) -> Iterator[list[Near]]:
        """First designs that may be those of a better plan."""
        rounds, prices, seen = self.rounds, self.rounds.best_prices[FIRST], 0
        if FIRST in rounds.fixed:
            yield beside.near_one(rounds.column(self.first, rounds.fixed[FIRST]))
            return
        least = min(column.cost(prices) for column in rounds.offered(self.first))
        searches = rounds.search.pools[FIRST].offers.priced(prices, least + within, rounds.first)
        for search, listed in searches.listed(least + within) if searches.blocks else ():
            yield from beside.near(search, listed, least)
            if seen // FIRSTS_SAID < (seen := seen + len(listed.cents)) // FIRSTS_SAID:
                rounds.search.progress(f"{rounds.name}: {seen:,} first designs held against what may follow")

    def _better(self, near: Sequence[Near], most: int | None = None) -> None:
        """Look for a better plan with some first designs and what may follow them, or the cheapest of that only."""
        rounds = self.rounds
        offered: dict[int, list[Column]] = {FIRST: list({column.key: column for column in (rounds.column(self.first, one.design) for one in near)}.values())}
        for node in self.later:
            columns = (column for one in near for column in one.columns(node.number, most, self._below_cents))
            offered[node.number] = list({column.key: column for column in columns}.values())
        self.plan = rounds.plan_of(offered, self.plan.cents) or self.plan
