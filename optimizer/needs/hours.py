"""The loads hour by hour: which energy runs at which hour of which day of the week, by month. Knows no part.

A load says how much of its energy is used at night (`night_share`); that is spread evenly over the hours of darkness of
the month, the rest over those of light. Where it says when it `runs`, its energy lies evenly in those hours instead.
Days of use coincide, as in `Demand`: a load of five days a week runs on days 0 to 4, one of 2.5 on 0, 1 and half of 2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.inputs.load import Load
from optimizer.needs.daylight import light_share
from optimizer.needs.demand import DEFERRED_NIGHT_SHARE
from optimizer.needs.site import Needs


@dataclass(frozen=True)
class HourLoads:
    """Energy at the loads' terminals [Wh], shape (12 months, 7 days of the week, 24 hours, supplies); supply 0 is AC.

    critical_wh, other_wh: loads that must run, and those that are switched off first
    deferred_wh: loads with a store of their own, which run when the array has power to spare
    deferred_w: most that these take together, by month and supply [W], shape (12, supplies)
    inverter_day: share of each day of the week on which AC loads are used, by month, shape (12, 7)
    """

    critical_wh: np.ndarray
    other_wh: np.ndarray
    deferred_wh: np.ndarray
    deferred_w: np.ndarray
    inverter_day: np.ndarray

    @property
    def total_wh(self) -> np.ndarray:
        """All loads together [Wh], same shape."""
        return np.asarray(self.critical_wh + self.other_wh + self.deferred_wh)


def _even(share: np.ndarray) -> np.ndarray:
    """Hours weighed so that each month adds up to 1; evenly over the day where a month has none of these hours."""
    total = share.sum(axis=1, keepdims=True)
    return np.asarray(np.where(total > 0, share / np.where(total > 0, total, 1), 1 / 24))


def day_shape(load: Load, light: np.ndarray) -> np.ndarray:
    """Share of a load's daily energy in each hour, by month; shape (12, 24). `light`: share of each hour that is light."""
    by_day, by_night = _even(light), _even(1 - light)
    if load.critical == "defer" or load.runs == "day":
        return by_day * (1 - DEFERRED_NIGHT_SHARE) + by_night * DEFERRED_NIGHT_SHARE
    if load.runs == "night":
        return by_night
    if load.run_hours is None:
        return by_day * (1 - load.night_share) + by_night * load.night_share
    running = np.zeros(24)
    running[list(load.run_hours)] = 1
    return np.tile(running / running.sum(), (12, 1))


def use_days(days_per_week: float) -> np.ndarray:
    """Share of each day of the week on which something is used, the days of use first; shape (7,).

    >>> use_days(2.5)
    array([1. , 1. , 0.5, 0. , 0. , 0. , 0. ])
    """
    return np.asarray(np.clip(days_per_week - np.arange(7), 0, 1))


def hour_loads(needs: Needs) -> HourLoads:
    """The loads of a problem hour by hour."""
    demand, problem = needs.demand, needs.problem
    light = light_share(problem.site.latitude_deg)
    shape = (12, 7, 24, len(demand.supplies))
    energy = {kind: np.zeros(shape) for kind in ("yes", "no", "defer")}
    power, inverter_day = np.zeros((12, shape[3])), np.zeros((12, 7))
    for load in demand.loads:
        at = 0 if load.supply == "AC" else 1 + demand.dc_volts.index(load.volts)
        week, day = use_days(load.days_per_week), day_shape(load, light)
        for month in needs.months:
            hours = load.hours.get(problem.season_of(int(month)), 0.0)
            if hours <= 0 or load.days_per_week <= 0:
                continue
            daily_wh = load.qty * load.watts * hours
            energy[load.critical][month, :, :, at] += daily_wh * week[:, None] * day[month]
            if load.critical == "defer":
                power[month, at] += load.qty * load.watts
            if load.supply == "AC":
                inverter_day[month] = np.maximum(inverter_day[month], week)
    return HourLoads(energy["yes"], energy["no"], energy["defer"], power, inverter_day)
