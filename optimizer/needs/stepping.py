"""Autotransformers: 240 V loads behind inverters of 120 V. A problem in which one is fitted is a problem of 120 V of its own.

The loads of 240 V become loads of 120 V that take what is lost in the transformer as well; all others are connected to the inverters' own leg.
What the transformer takes without a load is idle draw beside that of the inverters, and every design pays for it.
"""

from __future__ import annotations

from collections.abc import Callable

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer
from optimizer.inputs.inverting import SteppedUp
from optimizer.inputs.load import Load
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.needs.demand import Demand
from optimizer.rules.book import meets

ONE_LEG, ONE_LEG_V, TWO_LEGS_V = "120 V 60 Hz", 120.0, 240.0


def _behind(load: Load) -> bool:
    return load.supply == "AC" and load.volts == TWO_LEGS_V


def stepped_up(problem: Problem, part: Autotransformer) -> Problem:
    """The problem with an autotransformer behind its inverters."""
    behind = Demand(problem.model_copy(update={"loads": tuple(load for load in problem.loads if _behind(load))}))
    start_va = max((start.va for start in behind.starts), default=0.0)
    fitted = SteppedUp(part.id, part.no_load_w, behind.coincident_va, start_va)

    def fed(load: Load) -> Load:
        return load.model_copy(update={"volts": ONE_LEG_V, "watts": load.watts / part.efficiency}) if _behind(load) else load

    return problem.model_copy(update={
        "site": problem.site.model_copy(update={"ac": ONE_LEG}), "loads": tuple(map(fed, problem.loads)), "inverter": problem.inverter.with_transformer(fitted),
    })


def without_transformer(problem: Problem) -> Problem:
    """The problem in which none may be fitted."""
    return problem.model_copy(update={"inverter": problem.inverter.model_copy(update={"autotransformer": None})})


def carries(problem: Problem, part: Autotransformer) -> bool:
    """Whether an autotransformer has loads behind it, carries and starts them."""
    if not any(map(_behind, problem.loads)):
        return False
    fitted = stepped_up(problem, part).inverter.stepped_up
    assert fitted is not None, "it was fitted just now"
    return bool(meets(part.rated_va, fitted.asked_va, "at least") and meets(part.surge_va, fitted.start_va, "at least"))


def transformers_of(problem: Problem, catalog: Catalog, cents_of: Callable[[Part], int]) -> list[Autotransformer]:
    """Those that may be worth it, the cheapest first: none is left in that costs more, takes more and loses more than another."""
    kept: list[Autotransformer] = []
    able = [one for one in catalog.autotransformers if carries(problem, one)]
    weighed = problem.limits.total_kg_max is not None
    for one in sorted(able, key=lambda part: (cents_of(part), part.no_load_w, -part.efficiency, part.id)):
        better = (other.no_load_w <= one.no_load_w and other.efficiency >= one.efficiency and (not weighed or other.weight_kg <= one.weight_kg) for other in kept)
        if not any(better):
            kept.append(one)
    return kept
