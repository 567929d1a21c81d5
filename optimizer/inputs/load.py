"""One appliance of a problem, and what every table of a problem file is."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from optimizer.inputs.parts import NotNegative, Positive, Share, YesNo


class Section(BaseModel):
    """A table of the problem file: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class Load(Section):
    """One kind of appliance, as used: watts are running input watts, hours are per day of use."""

    item: Annotated[str, Field(min_length=1)]
    qty: Annotated[int, Field(ge=1, le=1000)] = 1
    watts: Positive
    supply: Literal["AC", "DC"]
    volts: Positive
    surge_x: Annotated[float, Field(ge=1, le=20)] = 1.0
    surge_s: NotNegative = 0.0
    power_factor: Annotated[float, Field(gt=0.2, le=1)] = 1.0
    days_per_week: Annotated[float, Field(ge=0, le=7)] = 7.0
    peak: str = "yes"
    critical: Literal["yes", "no", "defer"] = "yes"
    starts_by_itself: YesNo = False
    night_share: Share = 0.6
    dc_volts_max: Positive | None = None
    modified_sine_ok: YesNo = False
    hours: dict[str, Annotated[float, Field(ge=0, le=24)]] = {}

    @property
    def running_va(self) -> float:
        """Running apparent power of one piece [VA]."""
        return self.watts / self.power_factor
