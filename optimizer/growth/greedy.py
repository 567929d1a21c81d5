"""The plan of somebody who buys the cheapest design now and thinks of the years ahead only afterwards."""

from __future__ import annotations

from collections.abc import Mapping

from optimizer.growth.plan_search import Planned, PlanSearch


def cheapest_first(search: PlanSearch, chance: Mapping[str, float] | None = None, *, seconds: float = 60.0) -> Planned:
    """The cheapest design of the first purchase by itself, with the best that can be made of it in the years that follow.

    Never better than the best plan. It is kinder than shortsighted steps would be: what is bought is as foreseeing as the
    one design allows, pieces bought ahead among it; only the design of the first purchase is that of the moment.

    chance: probability of each future; the problem's own where not given.
    seconds: when to stop, for each of the two searches.
    """
    alone = search.best(dict.fromkeys(search.tree.chance, 0.0), seconds=seconds, name="cheapest now")
    if alone.plan is None:
        return alone
    return search.best(chance, only_first=alone.plan.first.design, seconds=seconds, name="cheapest first")
