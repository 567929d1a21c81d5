"""How a site may grow: stages of change, futures that hold them, and the money of later years."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import Field, model_validator

from optimizer.inputs.load import Load, Section
from optimizer.inputs.parts import NotNegative, Share
from optimizer.inputs.text_tables import nearest

PartKindName = Literal[
    "module", "battery", "controller", "inverter", "converter", "soft_starter", "autotransformer", "generator", "charger", "alternator_charger", "allowance", "kit",
]
TrendName = Literal[PartKindName, "running"]
Name = Annotated[str, Field(min_length=1)]
Percent = Annotated[float, Field(ge=-30, le=30)]


class Stage(Section):
    """One change of the site: loads that come and go, and values of the problem that become others."""

    name: Name
    loads: tuple[Load, ...] = ()
    remove: tuple[str, ...] = ()
    set: dict[str, Any] = {}


class Step(Section):
    """A date at which parts may be bought and sold; with a stage, the site changes then. Without one only worn parts go."""

    year: Annotated[float, Field(gt=0, le=50)]
    stage: str = ""


class Future(Section):
    """One way in which the years may go; its steps are known once the first purchase is made."""

    name: Name
    probability: Annotated[float, Field(ge=0, le=1)]
    steps: tuple[Step, ...] = ()

    @property
    def grows(self) -> bool:
        """Whether the site changes at all."""
        return any(step.stage for step in self.steps)


class Growth(Section):
    """Stages, futures, and what money and parts are worth in later years."""

    stages: tuple[Stage, ...] = ()
    futures: Annotated[tuple[Future, ...], Field(min_length=1)]
    horizon_years: Annotated[float, Field(gt=0, le=50)] = 10.0
    discount_pct: Annotated[float, Field(ge=0, le=30)] = 6.0
    price_trend_pct: dict[TrendName, Percent] = {}
    resale_share: dict[PartKindName, Share] = {}
    end_value_share: dict[PartKindName, Share] = {}
    voltage_changeover: NotNegative = 0.0
    later_allowance_x: Annotated[float, Field(ge=1, le=10)] = 1.0

    def stage(self, name: str) -> Stage:
        """A stage by its name."""
        return next(stage for stage in self.stages if stage.name == name)

    @model_validator(mode="after")
    def _agrees(self) -> Growth:
        complaints = list(self._complaints())
        if complaints:
            raise ValueError("\n".join(complaints))
        return self

    def _complaints(self) -> Iterator[str]:
        for what, names in (("stage", [one.name for one in self.stages]), ("future", [one.name for one in self.futures])):
            yield from (f"{what} '{name}' stands twice" for name in sorted({name for name in names if names.count(name) > 1}))
        stages = [one.name for one in self.stages]
        for future in self.futures:
            years = [step.year for step in future.steps]
            for step in future.steps:
                if step.stage and step.stage not in stages:
                    yield f"future '{future.name}': stage '{step.stage}' is not known{nearest(step.stage, stages)}"
            if any(later <= earlier for earlier, later in pairwise(years)):
                yield f"future '{future.name}': the years of its steps must rise (got {', '.join(f'{year:g}' for year in years)})"
            if years and years[-1] >= self.horizon_years:
                yield f"future '{future.name}': its last step is in year {years[-1]:g}, at or beyond horizon_years ({self.horizon_years:g})"
        total = sum(future.probability for future in self.futures)
        if abs(total - 1) > 1e-6:
            yield f"the probabilities of the futures add up to {total:g}, not to 1"
        used = {step.stage for future in self.futures for step in future.steps}
        yield from (f"stage '{name}' is in no future" for name in stages if name not in used)
