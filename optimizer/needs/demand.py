"""What the loads ask for: energy by season, coincident power, every start. Knows no part.

Energies are kept by *supply*: supply 0 is AC, the others are the DC voltages of the loads, lowest first.
A core turns them into battery-side energy by dividing each supply by its own efficiency.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.inputs.load import Load
from optimizer.inputs.problem import Problem
from optimizer.rules.bank import starting_power_w
from optimizer.rules.inverting import leg_load_va, starting_va

DC_VOLTS_MAX_SHARE = 15.5 / 12
"""Highest voltage that a DC load stands where its sheet is silent, per nominal volt; common practice, no source."""

DEFERRED_NIGHT_SHARE = 0.0
"""Loads with their own store run by day."""

TWO_LEG_VOLTS = {"120/240 V 60 Hz": 240.0, "230/400 V 50 Hz": 400.0}
LEGS = {"120/240 V 60 Hz": 2, "230/400 V 50 Hz": 3}


@dataclass(frozen=True)
class Start:
    """The start of one load beside everything that runs with it."""

    item: str
    va: float
    """Apparent power of the whole system during the start [VA]."""
    leg_va: float
    """Apparent power on the leg or phase that it loads most, times the number of legs [VA]."""
    power_w: float
    """Real power during the start [W]."""
    seconds: float


@dataclass(frozen=True)
class SeasonDemand:
    """Energy of one season by supply; all values at the load's terminals.

    average_wh: a day averaged over the week [Wh/day], shape (supplies,)
    use_day_wh: a day of use [Wh/day], shape (supplies,)
    carried_wh: what a day of the autonomy must carry [Wh/day], shape (supplies,)
    critical_wh: part of average_wh that is of critical loads [Wh/day], shape (supplies,)
    daytime_wh: part of average_wh that is used by day [Wh/day], shape (supplies,)
    swing_wh: what the days of use take beyond the week's average, one row a pattern [Wh], shape (patterns, supplies)
    swing_days: days of each pattern [d], shape (patterns,)
    night_share: share of the energy that passes the battery
    inverter_on_h, inverter_days: hours of a use-day that the AC loads run, days of the week with AC loads
    """

    name: str
    average_wh: np.ndarray
    use_day_wh: np.ndarray
    carried_wh: np.ndarray
    critical_wh: np.ndarray
    daytime_wh: np.ndarray
    swing_wh: np.ndarray
    swing_days: np.ndarray
    night_share: float
    inverter_on_h: float
    inverter_days: float

    @property
    def used(self) -> bool:
        """Whether anything runs in this season."""
        return bool(self.average_wh.sum() > 0)

    @property
    def use_days(self) -> float:
        """Days of use in a week, as energy sees them [d]."""
        return 7 * float(self.average_wh.sum() / self.use_day_wh.sum()) if self.use_day_wh.sum() else 0.0


class Demand:
    """Demand of a problem's loads."""

    def __init__(self, problem: Problem) -> None:
        self.loads = problem.loads
        self.ac_standard = problem.site.ac
        self.carried = problem.autonomy.carried
        self.dc_volts: tuple[float, ...] = tuple(sorted({load.volts for load in self.loads if load.supply == "DC"}))
        self.supplies: tuple[str, ...] = ("AC", *(f"DC {volts:g} V" for volts in self.dc_volts))
        self.seasons = tuple(self._season(name) for name in problem.season_names)
        by_name = {season.name: season for season in self.seasons}
        self.by_month = tuple(by_name.get(problem.season_of(month)) for month in range(12))
        self.months_of_use = tuple(month for month, season in enumerate(self.by_month) if season is not None and season.used)

    def _supply(self, load: Load) -> int:
        return 0 if load.supply == "AC" else 1 + self.dc_volts.index(load.volts)

    def _is_carried(self, load: Load) -> bool:
        return load.critical == "yes" or (load.critical == "no" and self.carried == "all")

    def _season(self, name: str) -> SeasonDemand:
        count = len(self.supplies)
        average, use_day, carried, critical, daytime = (np.zeros(count) for _ in range(5))
        night_wh = 0.0
        running = [(load, load.hours.get(name, 0.0)) for load in self.loads]
        running = [(load, hours) for load, hours in running if hours > 0 and load.days_per_week > 0]
        for load, hours in running:
            at = self._supply(load)
            energy = load.qty * load.watts * hours
            night = DEFERRED_NIGHT_SHARE if load.critical == "defer" else load.night_share
            average[at] += energy * load.days_per_week / 7
            use_day[at] += energy
            carried[at] += energy if self._is_carried(load) else 0.0
            critical[at] += energy * load.days_per_week / 7 if load.critical == "yes" else 0.0
            daytime[at] += energy * load.days_per_week / 7 * (1 - night)
            night_wh += energy * load.days_per_week / 7 * night
        # Days of use coincide: after t of them each load has run min(its days, t) times.
        patterns = sorted({load.days_per_week for load, _ in running}) or [7.0]
        swing = np.zeros((len(patterns), count))
        for row, days in enumerate(patterns):
            for load, hours in running:
                energy = load.qty * load.watts * hours
                swing[row, self._supply(load)] += energy * (min(load.days_per_week, days) - days * load.days_per_week / 7)
        ac = [(load, hours) for load, hours in running if load.supply == "AC"]
        return SeasonDemand(
            name=name, average_wh=average, use_day_wh=use_day, carried_wh=carried, critical_wh=critical, daytime_wh=daytime,
            swing_wh=swing, swing_days=np.array(patterns),
            night_share=night_wh / average.sum() if average.sum() else 0.0,
            inverter_on_h=min(24.0, sum(hours for _, hours in ac)),
            inverter_days=max((load.days_per_week for load, _ in ac), default=0.0),
        )

    # --- power: who runs together

    @cached_property
    def _together(self) -> list[Load]:
        """Loads of the coincident peak: always, those that start by themselves, and the largest of each exclusive group."""
        together = [load for load in self.loads if load.peak == "yes" or load.starts_by_itself]
        return together + list(self._group_heads.values())

    @cached_property
    def _group_heads(self) -> dict[tuple[str, str], Load]:
        heads: dict[tuple[str, str], Load] = {}
        for load in self.loads:
            if load.peak in ("yes", "no") or load.starts_by_itself:
                continue
            key = (load.supply, load.peak)
            if key not in heads or load.qty * load.running_va > heads[key].qty * heads[key].running_va:
                heads[key] = load
        return heads

    def _ac_together(self) -> list[Load]:
        return [load for load in self._together if load.supply == "AC"]

    @cached_property
    def coincident_w(self) -> float:
        """AC loads that run together [W]."""
        return float(sum(load.qty * load.watts for load in self._ac_together()))

    @cached_property
    def coincident_va(self) -> float:
        """The same as apparent power [VA]."""
        return float(sum(load.qty * load.running_va for load in self._ac_together()))

    @property
    def va_each_w(self) -> float:
        """Volt-amperes to a watt of the coincident AC loads."""
        return self.coincident_va / self.coincident_w if self.coincident_w else 1.0

    @cached_property
    def coincident_dc_w(self) -> np.ndarray:
        """DC loads that run together, by DC voltage [W], shape (DC voltages,)."""
        return np.array([
            sum(load.qty * load.watts for load in self._together if load.supply == "DC" and load.volts == volts)
            for volts in self.dc_volts
        ])

    @cached_property
    def peak_dc_w(self) -> np.ndarray:
        """DC loads that run together while the worst of them starts, by DC voltage [W]."""
        extra = []
        for volts in self.dc_volts:
            rises = [
                load.watts * (load.surge_x - (1 if load in self._together else 0))
                for load in self.loads if load.supply == "DC" and load.volts == volts
            ]
            extra.append(max(0.0, *rises))
        return np.asarray(self.coincident_dc_w + np.array(extra))

    @cached_property
    def dc_volts_max(self) -> np.ndarray:
        """Highest voltage that all loads of a DC voltage stand [V], shape (DC voltages,)."""
        return np.array([
            min(load.dc_volts_max or volts * DC_VOLTS_MAX_SHARE for load in self.loads if load.supply == "DC" and load.volts == volts)
            for volts in self.dc_volts
        ])

    @property
    def has_ac(self) -> bool:
        """Whether there is any AC load."""
        return any(load.supply == "AC" for load in self.loads)

    @property
    def needs_sine(self) -> bool:
        """Whether some AC load is not known to stand a modified sine wave."""
        return any(load.supply == "AC" and not load.modified_sine_ok for load in self.loads)

    # --- legs and phases

    @property
    def legs(self) -> int:
        """Legs or phases that the loads are spread over."""
        return LEGS.get(self.ac_standard, 1)

    def leg_va(self, loads: list[Load]) -> float:
        """Load of the most loaded leg times the number of legs [VA]."""
        both = sum(load.qty * load.running_va for load in loads if load.volts == TWO_LEG_VOLTS.get(self.ac_standard))
        single = [load for load in loads if load.volts != TWO_LEG_VOLTS.get(self.ac_standard)]
        total = sum(load.qty * load.running_va for load in single)
        largest = max((load.running_va for load in single), default=0.0)
        return float(both + self.legs * leg_load_va(total, largest, self.legs))

    @cached_property
    def coincident_leg_va(self) -> float:
        """Most loaded leg of the coincident loads, times the number of legs [VA]."""
        return self.leg_va(self._ac_together())

    @cached_property
    def starts(self) -> tuple[Start, ...]:
        """Every AC load starting, one piece at a time, beside the loads that run with it; the worst first."""
        starts = [self._start(load) for load in self.loads if load.supply == "AC"]
        return tuple(sorted(starts, key=lambda start: (-start.va, start.item)))

    def _start(self, load: Load) -> Start:
        beside = self._ac_together()
        head = self._group_heads.get((load.supply, load.peak))
        if head is not None and head is not load and not load.starts_by_itself:
            beside = [other for other in beside if other is not head]
        inside = load in beside
        base_va = sum(other.qty * other.running_va for other in beside)
        base_w = sum(other.qty * other.watts for other in beside)
        va = float(starting_va(base_va, load.running_va if inside else 0.0, load.running_va, load.surge_x))
        others_w = base_w - (load.watts if inside else 0.0)
        power = others_w + load.watts
        if load.surge_x > 1:
            power = max(power, float(starting_power_w(others_w, load.surge_x * load.running_va)))
        rise = va - base_va
        share = 1 if load.volts == TWO_LEG_VOLTS.get(self.ac_standard) else self.legs
        return Start(load.item, va, self.leg_va(beside) + rise * share, power, load.surge_s if load.surge_x > 1 else 0.0)
