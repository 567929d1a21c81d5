"""Soft starters: parts that let a motor start gently. The problem carries those that are fitted, as it carries its tilt.

A load with `soft_starter = "may"` may have one for each of its pieces. A problem in which some are fitted asks for less at the start of
these loads and pays for the starters: so nothing that chooses bank or inverter need know them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import SoftStarter
from optimizer.inputs.load import Load
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.rules.book import meets

Fitted = dict[str, str]
"""Id of the starter of each load that has one, by the load's item."""


@dataclass(frozen=True)
class Fittings:
    """What is fitted in a problem: soft starters before motors, an autotransformer behind the inverters."""

    starters: tuple[tuple[str, str, int], ...] = ()
    """Item, id of the starter, and how many."""
    autotransformer: str | None = None

    @property
    def pieces(self) -> Counter[str]:
        """Pieces of each part."""
        used: Counter[str] = Counter()
        for _, part, pieces in self.starters:
            used[part] += pieces
        if self.autotransformer is not None:
            used[self.autotransformer] += 1
        return used


NOTHING_FITTED = Fittings()


def fits(starter: SoftStarter, load: Load) -> bool:
    """Whether a starter may stand before one piece of a load, and eases its start."""
    return load.supply == "AC" and load.volts in starter.ac_v and bool(meets(load.running_va, starter.va_max, "at most")) and starter.surge_x < load.surge_x


def with_starters(problem: Problem, catalog: Catalog, fitted: Mapping[str, str]) -> Problem:
    """The problem with starters before some loads; as it is where there are none."""
    if not fitted:
        return problem

    def eased(load: Load) -> Load:
        if load.item not in fitted:
            return load
        starter = catalog.find(fitted[load.item], SoftStarter)
        return load.model_copy(update={
            "surge_x": min(load.surge_x, starter.surge_x), "surge_s": max(load.surge_s, starter.start_s), "soft_starter": starter.id,
        })

    return problem.model_copy(update={"loads": tuple(map(eased, problem.loads))})


def without_starters(problem: Problem) -> Problem:
    """The problem in which no load has a starter, nor may have one."""
    return problem.model_copy(update={"loads": tuple(load.model_copy(update={"soft_starter": None}) for load in problem.loads)})


def with_gentlest(problem: Problem, options: Mapping[str, list[SoftStarter]]) -> Problem:
    """The problem in which some loads start as gently as with any of their starters, as quickly as without one, and pay for none."""
    def eased(load: Load) -> Load:
        return load.model_copy(update={"surge_x": min([load.surge_x, *(starter.surge_x for starter in options.get(load.item, ()))])})

    return problem.model_copy(update={"loads": tuple(map(eased, problem.loads))})


def starters_of(problem: Problem) -> Counter[str]:
    """Starters that are fitted in a problem, a piece for each piece of a load; and its autotransformer."""
    return fittings_of(problem).pieces


def fittings_of(problem: Problem) -> Fittings:
    """The same, with the load that each starter stands before."""
    fitted = problem.inverter.stepped_up
    starters = tuple((load.item, load.soft_starter, load.qty) for load in problem.loads if load.soft_starter is not None and load.soft_starter != "may")
    return Fittings(starters, None if fitted is None else fitted.part)


def misfits(problem: Problem, catalog: Catalog, fitted: Mapping[str, str]) -> Iterator[str]:
    """What is wrong with the starters that a choice names, in words."""
    loads = {load.item: load for load in problem.loads}
    for item, part in fitted.items():
        starter = catalog.by_id.get(part)
        if item not in loads:
            yield f"choice: soft_starters: there is no load '{item}'"
        elif not isinstance(starter, SoftStarter):
            yield f"choice: soft_starters: '{part}' is no soft starter of the catalog"
        elif loads[item].soft_starter is None:
            yield f"choice: soft_starters: load '{item}' may have none: its soft_starter is not \"may\""
        elif not fits(starter, loads[item]):
            yield f"choice: soft_starters: '{part}' does not fit load '{item}': its volts, {loads[item].running_va:g} VA running, or a start that is gentle already"


def ways_to_fit(problem: Problem, catalog: Catalog, cents_of: Callable[[Part], int]) -> list[tuple[str, list[SoftStarter]]]:
    """Loads that may have a starter, the hardest start first, each with the starters that may be worth it, the cheapest first.

    Of two starters for a load one goes where the other costs no more, starts as gently and as quickly.
    """
    items: dict[str, list[Load]] = {}
    for load in problem.loads:
        if load.soft_starter == "may":
            items.setdefault(load.item, []).append(load)
    options = []
    for item, loads in sorted(items.items(), key=lambda one: (-max(load.surge_x * load.running_va for load in one[1]), one[0])):
        able = [one for one in catalog.soft_starters if all(fits(one, load) for load in loads)]
        kept: list[SoftStarter] = []
        for one in sorted(able, key=lambda part: (cents_of(part), part.surge_x, part.start_s, part.id)):
            if not any(other.surge_x <= one.surge_x and other.start_s <= one.start_s for other in kept):
                kept.append(one)
        if kept:
            options.append((item, kept))
    return options
