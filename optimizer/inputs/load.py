"""One appliance of a problem, and what every table of a problem file is."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, model_validator

from optimizer.inputs.parts import NotNegative, Positive, Share, YesNo


class Section(BaseModel):
    """A table of the problem file: frozen, unknown keys refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


RUN_WAYS = ("day", "night", "evening", "always")
"""Words for the time of day at which a load runs; hours such as '18-23' are the other way to say it."""

EVENING = tuple(range(18, 23))
"""Hours of the evening; common practice, no source."""


def clock_hours(text: str) -> tuple[int, ...]:
    """Hours of the day that ranges name: each from its first to before its last, over midnight where the last is less.

    >>> clock_hours("6-8 22-1")
    (0, 6, 7, 22, 23)
    """
    found: set[int] = set()
    for stretch in text.split():
        try:
            first, last = (int(hour) for hour in stretch.split("-"))
        except ValueError:
            first, last = -1, -1
        if not (0 <= first <= 23 and 0 <= last <= 24) or first == last:
            ways = ", ".join(RUN_WAYS)
            raise ValueError(f"must be one of {ways}, or hours from and to, as '18-23' or '6-8 18-23' (got '{text}')")
        found.update(range(first, last) if first < last else (*range(first, 24), *range(last)))
    return tuple(sorted(found))


def _runs(text: str) -> str:
    if text not in RUN_WAYS and not clock_hours(text):
        raise ValueError("must not be empty")
    return text


def _soft_starter(word: str) -> str:
    if word != "may":
        raise ValueError("must be may, or left out: which starter it gets is chosen")
    return word


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
    runs: Annotated[str, AfterValidator(_runs)] | None = None
    dc_volts_max: Positive | None = None
    modified_sine_ok: YesNo = False
    soft_starter: Annotated[str, AfterValidator(_soft_starter)] | None = None
    hours: dict[str, Annotated[float, Field(ge=0, le=24)]] = {}

    @property
    def run_hours(self) -> tuple[int, ...] | None:
        """Hours of the day that are given by the clock; None where the sun decides, or nothing is said."""
        if self.runs is None or self.runs in ("day", "night"):
            return None
        return {"evening": EVENING, "always": tuple(range(24))}.get(self.runs) or clock_hours(self.runs)

    @model_validator(mode="after")
    def _hours_fit(self) -> Load:
        most = max(self.hours.values(), default=0.0)
        if self.run_hours is not None and most > len(self.run_hours):
            raise ValueError(f"hours: {most:g} h a day do not fit into runs '{self.runs}', which are {len(self.run_hours)} h")
        return self

    @property
    def running_va(self) -> float:
        """Running apparent power of one piece [VA]."""
        return self.watts / self.power_factor
