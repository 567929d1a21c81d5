"""The plan of somebody who buys what is cheapest at each date and thinks of the years ahead only when they come."""

from __future__ import annotations

from optimizer.design import Design
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.planned import Planned


def step_by_step(search: PlanSearch, *, seconds: float = 60.0) -> Planned:
    """Each date's design as if nothing came after it, beside what stands by then; the plan of these designs.

    Never better than the best plan. It is a little kinder than a shortsighted buyer would be: the designs are those of
    the day, but pieces that a later one needs may be bought ahead where that is cheaper.

    seconds: when to stop, for each date and for the plan of all.
    """
    alone = search.best(dict.fromkeys(search.tree.chance, 0.0), seconds=seconds, name="the cheapest of today")
    if alone.plan is None:
        return alone
    chosen: dict[int, Design] = {0: alone.plan.first.design}
    for steps in range(1, search.tree.steps + 1):
        near, numbers = search.up_to(steps)
        found = near.best(
            fixed={at: chosen[number] for at, number in enumerate(numbers) if number in chosen}, seconds=seconds, name=f"the cheapest of step {steps}",
        )
        if found.plan is None:
            return found
        chosen |= {numbers[at]: visit.design for at, visit in found.plan.visits.items()}
        # A future that is not reached has no design; nothing is paid for it either.
    return search.best(fixed=chosen, seconds=seconds, name="step by step")
