"""The section of the problem file on how the inverter is run, and on an autotransformer behind it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple

from pydantic import AfterValidator, Field, PrivateAttr

from optimizer.inputs.load import Section

if TYPE_CHECKING:
    from optimizer.inputs.problem import Problem

TWO_LEGS = "120/240 V 60 Hz"
"""The one AC standard on which an autotransformer makes what the inverters do not."""


class SteppedUp(NamedTuple):
    """An autotransformer that is fitted, and what the loads behind it ask."""

    part: str
    no_load_w: float
    asked_va: float
    start_va: float


def _autotransformer(word: str) -> str:
    if word != "may":
        raise ValueError("must be may, or left out: which autotransformer it gets is chosen")
    return word


class InverterUse(Section):
    """How the inverter is run."""

    on: Literal["always", "when used", "search"] = "always"
    power_margin: Annotated[float, Field(ge=1, le=2)] = 1.0
    autotransformer: Annotated[str, AfterValidator(_autotransformer)] | None = None
    _stepped_up: SteppedUp | None = PrivateAttr(default=None)

    @property
    def stepped_up(self) -> SteppedUp | None:
        """The autotransformer that is fitted; the problem is then one of 120 V."""
        return self._stepped_up

    def with_transformer(self, fitted: SteppedUp) -> InverterUse:
        """The same with an autotransformer."""
        use = self.model_copy(update={"autotransformer": fitted.part})
        use._stepped_up = fitted  # noqa: SLF001  # its own kind
        return use


def inverting_complaints(problem: Problem) -> Iterator[str]:
    """What cannot be asked together with an autotransformer."""
    if problem.inverter.autotransformer != "may":
        return
    if problem.site.ac != TWO_LEGS:
        yield f'inverter.autotransformer: needs site.ac = "{TWO_LEGS}" (got "{problem.site.ac}")'
    if any(load.soft_starter for load in problem.loads):
        yield 'inverter.autotransformer: cannot be asked together with soft_starter = "may": leave one of the two out'
