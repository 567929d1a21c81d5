"""A design lived through hour by hour: knows the design, the loads and the weather, and nothing of how it was chosen.

One loop over the hours of a year, with a vector over years. What is summed up is summed up apart, item by item, each by
its own formula, so that the balance at the end is a check and no definition:

    array + other source = served loads + losses + surplus + change of store

In each hour the system's own use is met first, critical loads next, then the others: first by the array, then by the
bank down to its floor. Loads with a store of their own run on what the array has left, and wait for it as many days as the
autonomy has; the bank takes what then remains. Where another source stands behind the array it carries what is missing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.needs.daylight import DAYS, MONTH_OF_DAY
from optimizer.needs.sunlight import sun_hours_that_count
from optimizer.proof.plant import ABSORPTION_FROM, Harvest, Plant

FULL_ENOUGH = 1 - 1e-6
"""State of charge that counts as full."""

NOTHING_WH = 1e-6
"""Energy below which nothing is missing in an hour."""

FORTNIGHT_D = 14

LOSSES = (
    "wire_wh", "conversion_wh", "clipped_wh", "pwm_voltage_wh", "supply_wh", "standing_wh", "charging_wh", "self_discharge_wh",
)
"""Where energy goes that reaches no load: array's wire, controllers, what trackers clip, what PWM leaves, inverters and
converters under load, the system's own use, in and out of the battery, self-discharge."""


@dataclass(frozen=True)
class Lived:
    """Years of a design. `year` holds sums [Wh], [h] of each year, shape (years,); days have shape (365, years).

    What loads asked for was served, was unmet, or waits at the end (`waiting_wh`: loads with a store of their own).
    """

    year: Mapping[str, np.ndarray]
    mean_charge: np.ndarray
    """Mean state of charge of each day [share]."""
    least_charge: np.ndarray
    """Lowest state of charge of each day [share]."""
    was_full: np.ndarray
    missing_wh: np.ndarray
    """Load of each day, at the battery's terminals, that array and bank could not carry [Wh]."""
    first_day: int
    """Day of the year (0 is the first of January) on which every year starts, with a full bank."""

    @property
    def balance_error(self) -> float:
        """Greatest imbalance of a year, as a share of what went in."""
        year = self.year
        out = year["served_wh"] + sum(year[name] for name in LOSSES) + year["surplus_wh"] + year["stored_wh"]
        came = year["array_wh"] + year["other_source_wh"]
        return float(np.max(np.abs(came - out) / np.maximum(came, 1.0)))

    @property
    def order(self) -> np.ndarray:
        """Days of the year in the order in which they were lived."""
        return (np.arange(DAYS) + self.first_day) % DAYS

    def fortnights(self, daily: np.ndarray) -> np.ndarray:
        """Sums of a daily figure over each fourteen days in the order lived, shape (352, years)."""
        sums = np.cumsum(np.vstack([np.zeros((1, daily.shape[1])), daily[self.order]]), axis=0)
        return np.asarray(sums[FORTNIGHT_D:] - sums[:-FORTNIGHT_D])


def sunniest_day(plant: Plant) -> int:
    """First day of the month with the most sun for its load: a year starts full there, and meets its weak months as it comes to them."""
    sun = sun_hours_that_count(plant.needs.problem)
    load = (plant.takes.critical + plant.takes.other + plant.takes.deferred + plant.takes.standing).sum(axis=(1, 2))
    return int(np.argmax(np.argmax(sun / np.maximum(load, 1e-9)) == MONTH_OF_DAY))


def live(plant: Plant, sun_w_m2: np.ndarray, air_c: np.ndarray) -> Lived:
    """Step a design through years of weather.

    sun_w_m2: irradiance on the array's plane [W/m2], shape (years, 8760); with [[planes]] on each of them, shape (planes, years, 8760)
    air_c: air temperature [C], shape (8760,) or (years, 8760)
    """
    years = sun_w_m2.shape[-2]
    sun, air = sun_w_m2.reshape(*sun_w_m2.shape[:-1], DAYS, 24), np.atleast_2d(air_c).reshape(-1, DAYS, 24)
    first, stepper = sunniest_day(plant), _Stepper(plant, years)
    days = {name: np.empty((DAYS, years)) for name in ("mean", "least", "missing")}
    was_full = np.empty((DAYS, years), dtype=bool)
    for lived in range(DAYS):
        day = (first + lived) % DAYS
        charge, days["missing"][day] = stepper.day(day, np.ascontiguousarray(np.swapaxes(sun[..., day, :], -1, -2)), np.ascontiguousarray(air[:, day].T))
        days["mean"][day], days["least"][day] = charge.mean(axis=0), charge.min(axis=0)
        was_full[day] = charge.max(axis=0) >= FULL_ENOUGH
    stepper.sums["stored_wh"] = stepper.held - plant.store.full_wh
    last = int(MONTH_OF_DAY[(first - 1) % DAYS])
    stepper.sums["waiting_wh"] = stepper.waiting * (1 - float(plant.takes.deferred_loss[last]))
    return Lived(stepper.sums, days["mean"], days["least"], was_full, days["missing"], first)


def bus_wh(plant: Plant, sun_w_m2: np.ndarray, air_c: np.ndarray) -> np.ndarray:
    """What the arrays of a plant put into its bank in each hour [Wh], shape (365, 24, years)."""
    lit = sun_w_m2 > 0
    given = np.zeros(sun_w_m2.shape)
    given[lit] = plant.harvest(sun_w_m2[lit], np.broadcast_to(air_c, sun_w_m2.shape)[lit])["bus_wh"]
    return np.ascontiguousarray(given.T).reshape(DAYS, 24, -1)


def short_hours(plant: Plant, bus: np.ndarray, times: Sequence[float], *, critical_only: bool) -> np.ndarray:
    """Hours of each year in which something was off, as `live` counts them, for arrays that give so many times `bus`.

    bus: as `bus_wh` gives it
    returns: shape (times, years)
    """
    first, years = sunniest_day(plant), bus.shape[2]
    stepper, many = _Stepper(plant, years * len(times)), np.repeat(np.asarray(times), years)
    short = np.zeros(len(many))
    for lived in range(DAYS):
        day = (first + lived) % DAYS
        short += stepper.short(day, np.tile(bus[day], len(times)) * many, critical_only=critical_only)
    return short.reshape(len(times), years)


class _Stepper:
    """The state of all years while they are lived, and what has been summed up."""

    def __init__(self, plant: Plant, years: int) -> None:
        self.plant = plant
        self.held = np.full(years, plant.store.full_wh)
        self.waiting = np.zeros(years)
        self.nothing = np.zeros((24, years))
        self.defers = bool(plant.takes.deferred.any())
        self.sums = {
            name: np.zeros(years)
            for name in (
                "array_wh", "other_source_wh", "served_wh", "surplus_wh", *LOSSES, "load_wh", "unmet_wh", "critical_wh", "critical_unmet_wh",
                "short_h", "critical_short_h", "other_source_h", "charged_wh", "discharged_wh",
            )
        }

    def day(self, day: int, sun_w_m2: np.ndarray, air_c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """One day of all years: state of charge at the end of each hour, and what array and bank could not carry [Wh]."""
        month, weekday = int(MONTH_OF_DAY[day]), day % 7
        takes, store = self.plant.takes, self.plant.store
        standing, critical, other = (one[month, weekday][:, None] for one in (takes.standing, takes.critical, takes.other))
        lost_critical, lost_other = (one[month, weekday][:, None] for one in (takes.critical_loss, takes.other_loss))
        asked = standing + critical + other
        harvest = self.harvest(sun_w_m2, air_c)
        bus = harvest["bus_wh"]
        late, dropped = self._deferred(month, weekday, bus - asked)
        moved, held, leaked = self._bank(month, bus - asked - late)

        into = np.maximum(moved, 0.0)
        direct, drawn = np.minimum(bus, asked), into - moved
        carried = direct + drawn
        missing = np.maximum(asked - carried, 0.0)
        missed = (missing + dropped).sum(axis=0)
        surplus = bus - direct - late - into
        if self.plant.has_other_source:
            self.sums["other_source_wh"] += missed
            self.sums["other_source_h"] += (missing + dropped > NOTHING_WH).sum(axis=0)
            carried, late, dropped = carried + missing, late + dropped, self.nothing
        met_critical = np.minimum(np.maximum(carried - standing, 0.0), critical)
        met_other = np.maximum(carried - standing - critical, 0.0)
        lost_late = float(takes.deferred_loss[month])
        short_critical, short_other = (short * (short > NOTHING_WH) for short in (critical - met_critical, other - met_other))
        told = {
            "array_wh": harvest["best_wh"], **{name: harvest[name] for name in ("wire_wh", "conversion_wh", "clipped_wh", "pwm_voltage_wh")},
            "standing_wh": np.minimum(carried, standing),
            "supply_wh": met_critical * lost_critical + met_other * lost_other + late * lost_late,
            "served_wh": met_critical * (1 - lost_critical) + met_other * (1 - lost_other) + late * (1 - lost_late),
            "charging_wh": into * (1 - store.efficiency), "self_discharge_wh": leaked, "surplus_wh": surplus,
            "charged_wh": into, "discharged_wh": drawn,
            "unmet_wh": short_critical * (1 - lost_critical) + short_other * (1 - lost_other) + dropped * (1 - lost_late),
            "critical_unmet_wh": short_critical * (1 - lost_critical),
            "short_h": short_critical + short_other + dropped > NOTHING_WH, "critical_short_h": short_critical > NOTHING_WH,
        }
        for name, values in told.items():
            self.sums[name] += values.sum(axis=0)
        wanted_critical, wanted_other = float((critical * (1 - lost_critical)).sum()), float((other * (1 - lost_other)).sum())
        self.sums["critical_wh"] += wanted_critical
        self.sums["load_wh"] += wanted_critical + wanted_other + float(takes.deferred[month, weekday].sum()) * (1 - lost_late)
        return held / store.full_wh, missed

    def short(self, day: int, bus: np.ndarray, *, critical_only: bool) -> np.ndarray:
        """Hours of one day in which something was off, in each year."""
        month, weekday, takes = int(MONTH_OF_DAY[day]), day % 7, self.plant.takes
        standing, critical, other = (one[month, weekday][:, None] for one in (takes.standing, takes.critical, takes.other))
        asked = standing + critical + other
        late, dropped = self._deferred(month, weekday, bus - asked)
        moved, _, _ = self._bank(month, bus - asked - late)
        carried = np.minimum(bus, asked) - np.minimum(moved, 0.0)
        if self.plant.has_other_source:
            return np.zeros(bus.shape[1])
        missing = critical - np.minimum(np.maximum(carried - standing, 0.0), critical)
        if not critical_only:
            left = other - np.maximum(carried - standing - critical, 0.0)
            missing = missing * (missing > NOTHING_WH) + left * (left > NOTHING_WH) + dropped
        return np.asarray((missing > NOTHING_WH).sum(axis=0))

    def harvest(self, sun_w_m2: np.ndarray, air_c: np.ndarray) -> dict[str, np.ndarray]:
        """What the arrays give in each hour; the dark hours, which are many, are not calculated."""
        lit = np.flatnonzero(np.atleast_2d(sun_w_m2.any(axis=-1)).any(axis=0))
        if lit.size == 0:
            return dict.fromkeys(Harvest.__dataclass_fields__, self.nothing)
        stretch = slice(lit[0], lit[-1] + 1)
        found = {}
        for name, values in self.plant.harvest(sun_w_m2[..., stretch, :], air_c[stretch]).items():
            found[name] = np.zeros_like(self.nothing)
            found[name][stretch] = values
        return found

    def _deferred(self, month: int, weekday: int, spare: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """What loads with a store of their own take from the array, and what could not wait any longer."""
        takes = self.plant.takes
        if not self.defers:
            return self.nothing, self.nothing
        taken, dropped = np.empty_like(spare), np.empty_like(spare)
        for hour in range(24):
            wanted = self.waiting + takes.deferred[month, weekday, hour]
            taken[hour] = np.minimum(np.minimum(wanted, takes.deferred_w[month]), np.maximum(spare[hour], 0.0))
            left = wanted - taken[hour]
            self.waiting = np.minimum(left, takes.deferred_most[month])
            dropped[hour] = left - self.waiting
        return taken, dropped

    def _bank(self, month: int, net_wh: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The bank through a day: what moves into it or (negative) out of it, what it holds, what leaks [Wh], hour by hour.

        The only part that must go hour by hour; it is kept to few steps.
        """
        store = self.plant.store
        moved, held, leaked = (np.empty_like(net_wh) for _ in range(3))
        full, floor, efficiency = store.full_wh, float(store.floor_wh[month]), store.efficiency
        charge_w, leak, tail_w = float(store.charge_w[month]), float(store.leak_share[month]), min(store.tail_w, float(store.charge_w[month]))
        slope = charge_w / ((1 - ABSORPTION_FROM) * full)
        now = self.held.copy()
        room, able, gap = np.empty_like(now), np.empty_like(now), np.empty_like(now)
        for hour in range(24):
            np.multiply(now, leak, out=leaked[hour])
            now -= leaked[hour]
            np.subtract(full, now, out=gap)
            np.multiply(gap, 1 / efficiency, out=room)
            np.minimum(room, charge_w, out=room)
            if store.taper:
                np.multiply(gap, slope, out=able)
                np.maximum(able, tail_w, out=able)
                np.minimum(room, able, out=room)
            np.subtract(floor, now, out=able)  # what it can give, negative
            np.minimum(able, 0.0, out=able)
            np.maximum(able, -store.discharge_w, out=able)
            move = moved[hour]
            np.minimum(net_wh[hour], room, out=move)
            np.maximum(move, able, out=move)
            now += move
            np.maximum(move, 0.0, out=gap)
            gap *= 1 - efficiency
            now -= gap
            held[hour] = now
        self.held = now
        return moved, held, leaked
