"""What the site asks of a design: demand, temperatures and sun by month, ready for the rules. Knows no part."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.inputs.array import Array
from optimizer.inputs.mounting import Mounting
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.demand import Demand, SeasonDemand
from optimizer.needs.sunlight import by_plane, plane_names, sun_hours_that_count
from optimizer.rules.book import Severities

MOUNTING_FACTOR = {"open rack": 1.0, "close to a roof": 1.25, "flat on a vehicle": 1.3}
"""Rise of the cells above the air, as a multiple of that on an open rack; common practice, no source."""

HARVEST_W_M2 = 800.0
"""Irradiance at which cells stand while most energy is harvested; conditions of NOCT, IEC 61215 (from memory)."""

FULL_SUN_W_M2 = 1000.0

LONG_AUTONOMY_D = 4.0
"""Days of autonomy from which a bank is seldom cycled; common practice, no source."""

WEEKEND_DAYS = 3.0
"""Days of use in a week up to which a bank has idle days to be charged in; common practice, no source."""

AGED_VMP_SHARE = 0.95
"""Working voltage left after twenty years; common practice, no source."""

PWM_HARD_SHARE = 0.5
PWM_GOOD_SHARE = 0.8
"""Share of the current at maximum power that a PWM string must, and should, give at absorption on a hot day;
common practice, no source."""

HOT_VOC_COEFFICIENT_PCT_K = -0.40
"""Taken on hot cells where the maker gives none: the low end (5 %) of an open module table."""

LEAST_HEAT_SHARE = 0.01
"""Share of its rating below which a hot controller counts as giving nothing; common practice, no source."""

LEAD_ACID_STRINGS_MOST = 3
LEAD_ACID_STRINGS_PREFERRED = 2
"""Lead-acid strings in parallel: three at most, one or two preferred; common practice, no source."""

WARM_BATTERY_C = 30.0
"""Mean battery temperature above which life suffers visibly; common practice, no source."""

CONVERTER_RESERVE = 1.25
"""Converter output over the DC load; common practice, no source."""

PRACTICAL_BANK_A = 200.0
"""DC current of one inverter's cable that is still practical; common practice, no source."""

POLARITIES = {
    "negative": ("neg", "any"), "positive": ("common-positive", "any"), "floating": ("neg", "common-positive", "any"),
}
"""Controllers that suit the earthed pole of the bank."""

HEATING_BELOW_C = 5.0
"""Battery temperature below which heated packs heat and cut-outs matter; common practice, no source."""

SHUTDOWN_V = 80.0
"""DC voltage that conductors within a roof's array may keep after a rapid shutdown, NFPA 70 (NEC) 690.12(B)(2) (from memory)."""

ARC_FAULT_V = 80.0
"""DC voltage of a building's array from which arc-fault detection is asked for, NFPA 70 (NEC) 690.11 (from memory)."""

MONTH_BY_MONTH = ("monthly-balance", "uncertainty", "recovery", "full-recharge")
"""Rules that each month has to meet by its own sun: reported, not enforced, where the bank carries over from month to month."""

UNSIZED_WIRE_SHARE = 0.98
"""What cables leave where they are not sized; common practice, no source."""

UNCERTAINTY = 1.1 / 0.9
"""Ten per cent more load and ten per cent less sun; common practice, no source."""


@dataclass(frozen=True)
class SeasonNeeds:
    """One season with what a bank must know of it."""

    demand: SeasonDemand
    months: tuple[int, ...]
    autonomy_d: float
    battery_mean_c: float
    """Coldest monthly mean of the battery in this season [C]."""
    battery_lowest_c: float


class Needs:
    """A problem as the rules see it."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.demand = Demand(problem)
        carried = dict.fromkeys(MONTH_BY_MONTH, "soft") if problem.balance.carry_over else {}
        self.severities = Severities({**carried, **problem.rules})  # type: ignore[dict-item]
        months = self.demand.months_of_use
        self.months = np.array(months, dtype=int)
        self.seasons = tuple(self._season(season) for season in self.demand.seasons if season.used and any(other is season for other in self.demand.by_month))
        place = {season.demand.name: at for at, season in enumerate(self.seasons)}
        self.season_of_month = np.array([place[self._demand_of(month).name] for month in months], dtype=int)
        self.planes = plane_names(problem)
        self.arrays = tuple(one.array for one in by_plane(problem))
        """The section [array] as each plane has it: its room and its sun."""
        self.mountings = tuple(one.mounting for one in by_plane(problem))
        """The section [mounting] as each plane has it: its place and what its roof bears."""
        self.plane_sun_h = np.array([sun_hours_that_count(one)[self.months] for one in by_plane(problem)])
        """Sun hours that count, by plane and month of use [h/day], shape (planes, months)."""
        self.air_c = np.array(problem.temperatures.air_c)[self.months]
        self.battery_c = np.array(problem.temperatures.battery_c)[self.months]

    def _demand_of(self, month: int) -> SeasonDemand:
        season = self.demand.by_month[month]
        assert season is not None, "a month of use has a season"
        return season

    @cached_property
    def spans(self) -> tuple[tuple[int, ...], ...]:
        """Runs of months, as places in `months`, whose energy must balance: each month; with carry-over every run around the year."""
        count = len(self.months)
        if not self.problem.balance.carry_over:
            return tuple((at,) for at in range(count))
        runs = [tuple((start + n) % count for n in range(long)) for long in range(1, count) for start in range(count)]
        return (*runs, tuple(range(count)))

    @cached_property
    def span_weights(self) -> np.ndarray:
        """Share of each span's days that lie in each month, shape (spans, months)."""
        days = np.array(DAYS_OF_MONTH)[self.months]
        weights = np.zeros((len(self.spans), len(self.months)))
        for at, span in enumerate(self.spans):
            weights[at, list(span)] = days[list(span)] / days[list(span)].sum()
        return weights

    @cached_property
    def span_days(self) -> np.ndarray:
        """Days of each span [d]."""
        days = np.array(DAYS_OF_MONTH)[self.months]
        return np.array([days[list(span)].sum() for span in self.spans], dtype=float)

    def span_name(self, at: int) -> str:
        """A span in words."""
        span = [MONTHS[int(self.months[place])] for place in self.spans[at]]
        return span[0] if len(span) == 1 else "the year" if len(span) == len(self.months) else f"{span[0]} to {span[-1]}"

    def _season(self, season: SeasonDemand) -> SeasonNeeds:
        problem = self.problem
        months = tuple(month for month in self.demand.months_of_use if self.demand.by_month[month] is season)
        days, lowest = problem.autonomy.days, problem.temperatures.battery_lowest_c
        means = [problem.temperatures.battery_c[month] for month in months]
        return SeasonNeeds(
            demand=season, months=months,
            autonomy_d=days[season.name] if isinstance(days, dict) else days,
            battery_mean_c=min(means, default=20.0),
            battery_lowest_c=lowest[season.name] if isinstance(lowest, dict) else lowest,
        )

    def sun_h_on(self, plane: str | None) -> np.ndarray:
        """Sun hours that count on a plane, by month of use [h/day]."""
        return np.asarray(self.plane_sun_h[self.planes.index(plane)])

    def array_on(self, plane: str | None) -> Array:
        """The section [array] as a plane has it."""
        return self.arrays[self.planes.index(plane)]

    def mounting_on(self, plane: str | None) -> Mounting | None:
        """The section [mounting] as a plane has it; None where an allowance stands for mounts."""
        return self.mountings[self.planes.index(plane)]

    @cached_property
    def critical(self) -> Demand:
        """Demand of the critical loads alone: their power together and their starts."""
        loads = tuple(load for load in self.problem.loads if load.critical == "yes")
        return Demand(self.problem.model_copy(update={"loads": loads}))

    # --- temperatures

    @property
    def battery_lowest_c(self) -> float:
        """Lowest temperature of the battery in any season of use [C]."""
        return min(season.battery_lowest_c for season in self.seasons)

    @property
    def battery_highest_c(self) -> float:
        """Highest temperature of the battery [C]."""
        given = self.problem.temperatures.battery_highest_c
        return given if given is not None else max(self.problem.temperatures.battery_c)

    @property
    def electronics_highest_c(self) -> float:
        """Highest air temperature where the electronics hang [C]; the hottest day where nothing is stated."""
        given = self.problem.temperatures.electronics_highest_c
        return given if given is not None else self.problem.temperatures.hottest_c

    @property
    def mounting_factor(self) -> float:
        """Rise of the cells above the air against an open rack."""
        return MOUNTING_FACTOR[self.problem.array.mounting]

    @property
    def array_factor(self) -> float:
        """Soiling and mismatch: what a current source loses. Soiling that is given by month lies in the sun hours."""
        array = self.problem.array
        return (array.soiling if array.soiling_by_month is None else 1.0) * array.mismatch

    def wire_share(self, *, sized: bool) -> float:
        """What the way from modules to bank leaves beside the loss in cables that are sized; what is stated, if it is."""
        stated = self.problem.array.wire
        return stated if stated is not None else 1.0 if sized else UNSIZED_WIRE_SHARE

    # --- inverter hours by season

    def _hours(self, season: SeasonDemand) -> tuple[float, float, float, float]:
        if season.average_wh[0] <= 0:
            return 0.0, 0.0, 0.0, 0.0
        way = self.problem.inverter.on
        if way == "always":
            return 24.0, 0.0, 24.0, 0.0
        on, week = season.inverter_on_h, season.inverter_on_h * season.inverter_days / 7
        return (on, 24 - on, week, 24 - week) if way == "search" else (on, 0.0, week, 0.0)

    @cached_property
    def inverter_hours(self) -> np.ndarray:
        """Hours (on, searching) of a use-day and (on, searching) averaged over the week [h/day], shape (seasons, 4)."""
        return np.array([self._hours(season.demand) for season in self.seasons])

    # --- context

    @cached_property
    def charge_context(self) -> str:
        """Context that decides how hard a lead-acid bank must be charged."""
        stated = self.problem.bank.charge_context
        if stated != "auto":
            return stated
        busiest = max(self.seasons, key=lambda season: float(season.demand.use_day_wh.sum()))
        if busiest.autonomy_d >= LONG_AUTONOMY_D:
            return "long autonomy"
        return "weekends" if busiest.demand.use_days <= WEEKEND_DAYS else "cycled daily"

    @property
    def has_other_source(self) -> bool:
        """Whether a generator, shore power or an alternator stands behind the array."""
        return self.problem.site.other_source != "none"

    @property
    def transformer_w(self) -> float:
        """What an autotransformer behind the inverters takes without a load, while they run [W]; 0 without one."""
        fitted = self.problem.inverter.stepped_up
        return 0.0 if fitted is None else fitted.no_load_w

    @cached_property
    def source_h(self) -> np.ndarray | None:
        """Hours a day that an alternator or shore power in the design is there, by month of use; None without one [h/day]."""
        hours = self.problem.source_use.hours_by_month if self.problem.source_in_design else None
        return None if hours is None else np.array(hours)[self.months]

    @property
    def array_alone(self) -> bool:
        """Whether the rules on energy are those of an array that nothing stands behind, unless the design itself has a generator."""
        return not self.has_other_source or self.problem.source_in_design

    @property
    def has_ac_source(self) -> bool:
        """Whether that other source is AC, with a neutral of its own."""
        return self.problem.site.other_source in ("generator", "shore")

    @property
    def array_to_load(self) -> float:
        """Share of the load that the array must give each month of use."""
        share = self.problem.balance.minimum_solar_share
        if not self.array_alone and share is not None:
            return share
        return self.problem.balance.array_to_load
