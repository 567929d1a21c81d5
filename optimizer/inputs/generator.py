"""What a problem says of the generator behind its array."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from optimizer.inputs.load import Section
from optimizer.inputs.parts import NotNegative
from optimizer.rules.book import Severities

if TYPE_CHECKING:
    from optimizer.inputs.problem import Problem


class GeneratorUse(Section):
    """What a generator behind the array may do and costs, where site.other_source says that there is one."""

    in_design: bool = False
    required: bool = False
    hours_per_day_max: Annotated[float, Field(gt=0, le=24)] = 8.0
    fuel_price_per_l: NotNegative = 1.6
    years: Annotated[float, Field(gt=0, le=40)] = 10.0


def generator_complaints(problem: Problem) -> Iterator[str]:
    """What cannot be asked together with a generator in the design."""
    if problem.generator.required and not problem.generator.in_design:
        yield "generator.required: asks for a generator in the design: add generator.in_design = true"
    if not problem.generator.in_design:
        return
    if problem.site.other_source != "generator":
        yield f'generator.in_design: needs site.other_source = "generator" (got "{problem.site.other_source}")'
    together = {
        "[growth]: a plan knows no generator": problem.growth is not None,
        "[reliability]: what a generator carries leaves no load off": problem.reliability is not None,
        "balance.carry_over: a month that a generator helps needs nothing carried into it": problem.balance.carry_over,
        'life_cycle.objective = "life-cycle": fuel and replacements are not yet one sum': problem.life_cycle.objective != "purchase",
        'the rule uncertainty as "requirement": a generator carries what is uncertain': Severities(problem.rules).enforced("uncertainty"),
    }
    yield from (f"generator.in_design: cannot be asked together with {text}: leave one of the two out" for text, asked in together.items() if asked)
