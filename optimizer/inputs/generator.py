"""What a problem says of the source behind its array: a generator, an alternator, shore power."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BeforeValidator, Field

from optimizer.inputs.array import twelve
from optimizer.inputs.load import Section
from optimizer.inputs.parts import NotNegative, Positive
from optimizer.inputs.wiring import Length
from optimizer.rules.book import Severities

if TYPE_CHECKING:
    from optimizer.inputs.problem import Problem

Hours = Annotated[float, Field(ge=0, le=24)]
TwelveHours = Annotated[tuple[Hours, ...], BeforeValidator(twelve)]


class SourceUse(Section):
    """Whether the design itself has the source, or none, and the years over which its energy is paid for."""

    in_design: bool = False
    required: bool = False
    years: Annotated[float, Field(gt=0, le=40)] = 10.0

    @property
    def hours_by_month(self) -> tuple[float, ...] | None:
        """Hours a day that it is there, whether it is wanted or not; None where it runs when it is wanted [h/day]."""
        return None


class GeneratorUse(SourceUse):
    """What a generator behind the array may do and costs, where site.other_source says that there is one."""

    hours_per_day_max: Annotated[float, Field(gt=0, le=24)] = 8.0
    fuel_price_per_l: NotNegative = 1.6
    run_m: Length = 15.0


class ByMonthUse(SourceUse):
    """A source that is there for so many hours a day, month by month, whether it is wanted or not."""

    hours_per_day: TwelveHours | None = None
    price_per_kwh: NotNegative = 0.0
    run_m: Length = 5.0

    @property
    def hours_by_month(self) -> tuple[float, ...]:
        """Hours a day that it is there, by month [h/day]."""
        return self.hours_per_day or (0.0,) * 12


class AlternatorUse(ByMonthUse):
    """The alternator of a vehicle or a boat, with the battery that starts its engine."""

    volts: Literal[12, 24] = 12
    rated_a: Positive | None = None
    idle_share: Annotated[float, Field(gt=0, le=1)] = 0.5
    starter_fault_a: Positive = 5000.0


class ShoreUse(ByMonthUse):
    """A supply on land that a boat or a vehicle is plugged into."""

    volts: Literal[120, 230] | None = None
    rated_a: Positive | None = None


SHORE_OF_SITE = {"none": (120, 230), "120 V 60 Hz": (120,), "230 V 50 Hz": (230,)}
"""Voltages of a supply on land that a site of each AC standard can be plugged into."""


def source_complaints(problem: Problem) -> Iterator[str]:
    """What cannot be asked together with a source in the design."""
    for name in ("generator", "alternator", "shore"):
        use = getattr(problem, name)
        if use.required and not use.in_design:
            yield f"{name}.required: asks for {SAID[name]} in the design: add {name}.in_design = true"
        if not use.in_design:
            continue
        if problem.site.other_source != name:
            yield f'{name}.in_design: needs site.other_source = "{name}" (got "{problem.site.other_source}"): a design has one source beside its array'
            continue
        yield from _lacking(problem, name)
        together = {
            f"[reliability]: what {SAID[name]} carries leaves no load off": problem.reliability is not None,
            f"balance.carry_over: a month that {SAID[name]} helps needs nothing carried into it": problem.balance.carry_over,
            'life_cycle.objective = "life-cycle": fuel and replacements are not yet one sum': problem.life_cycle.objective != "purchase",
            f'the rule uncertainty as "requirement": {SAID[name]} carries what is uncertain': Severities(problem.rules).enforced("uncertainty"),
        }
        yield from (f"{name}.in_design: cannot be asked together with {text}: leave one of the two out" for text, asked in together.items() if asked)


SAID = {"generator": "a generator", "alternator": "an alternator", "shore": "shore power"}


def _lacking(problem: Problem, name: str) -> Iterator[str]:
    """What a source by the month must be given."""
    if name == "generator":
        return
    use = getattr(problem, name)
    for key in ("hours_per_day", "rated_a", "volts"):
        if getattr(use, key) is None:
            yield f"{name}.{key}: is required with {name}.in_design"
    if name == "shore" and use.volts is not None and use.volts not in SHORE_OF_SITE.get(problem.site.ac, ()):
        yield f'shore.volts: {use.volts} V does not fit site.ac = "{problem.site.ac}" (known: {", ".join(SHORE_OF_SITE)})'
