"""What the search for a plan ends with, and what it keeps for the next question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from optimizer.growth.plan import Plan
from optimizer.growth.prices import Prices

SLACK_CENTS = 0.5
"""Difference of two plans that is only the rounding of their prices."""

NodePrices = dict[int, Prices]
"""By node; present and expected."""


@dataclass(frozen=True)
class Center:
    """Prices with the best bound for some probabilities, and what rows beside the designs are worth at them."""

    chance: Mapping[str, float]
    prices: NodePrices
    beside: float


@dataclass(frozen=True)
class Planned:
    """A plan with what is proven of it; money in cents, present and expected."""

    plan: Plan | None
    bound_cents: float
    proven: bool
    reason: str = ""

    @property
    def stopped(self) -> bool:
        """Whether somebody stopped it."""
        return self.reason == "stopped"

    @property
    def gap(self) -> float | None:
        """Share of the plan's cost by which a better one could be cheaper."""
        if self.plan is None:
            return None
        return 0.0 if self.proven else max(0.0, (self.plan.cents - self.bound_cents) / max(1.0, self.plan.cents))
