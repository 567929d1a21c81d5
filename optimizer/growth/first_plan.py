"""A first plan where the designs that rounds of prices met make none.

A relaxed plan may take a third of a design from one lot and the rest from another, or half a design that stock allows and half of one that it
does not. Then the rounds end at a bound, and none of their designs go together in whole numbers: others, that cost more, have to be looked at.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optimizer.growth.plan import Plan
    from optimizer.growth.rounds import Rounds

BEGINNING_SHARE, WIDER_X = 0.002, 4
"""Share of what everything costs anew within which designs are put on offer first, and how many times as much next."""

GAP = 0.02
"""Share of its cost that a first plan is not worth waiting for."""


def first_plan(rounds: Rounds, most_cents: float) -> Plan | None:
    """A plan of designs ever farther above their date's cheapest, up to `most_cents`; None where time or room ends, or there is none."""
    limit = BEGINNING_SHARE * rounds.anew_cents
    while rounds.known is None and limit < most_cents and rounds.left_s() > 0 and rounds.put_on_offer(rounds.nodes, limit):
        rounds.plan_of({node.number: rounds.trimmed(node, limit) for node in rounds.nodes}, gap=GAP)
        limit *= WIDER_X
    return rounds.known
