"""How a design would have fared: many years of weather, hour by hour, and what they say of loads, bank and surplus."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np

from optimizer.answer import Answer, check, solve
from optimizer.bill import PriceList
from optimizer.design import Choice
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.inputs.worn import with_worn_parts
from optimizer.needs.daylight import DAYS_OF_MONTH, MONTH_OF_DAY
from optimizer.needs.hours import hour_loads
from optimizer.needs.synthetic import air_hours_c, skies_of
from optimizer.proof.check import Report
from optimizer.proof.lived import NORMAL_95, interval_95, weather_year
from optimizer.proof.plant import Plant, plant_of
from optimizer.proof.replay import FORTNIGHT_D, Lived, live
from optimizer.rules.bank import freezing_depth

Progress = Callable[[str], None]

YEARS, SEED = 1000, 1
"""Years that are lived and the seed of their weather, where nothing else is asked."""

CHUNK = 1000
"""Years that are held in memory at a time."""

ICE = 1e-6
"""State of charge by which the freezing floor may be missed without a word."""

SYNTHETIC, FROM_FILE = "synthetic years", "the weather file's own year"


@dataclass(frozen=True)
class MonthCharge:
    """State of charge of one month [share]: mean over all years, and lowest in any."""

    month: str
    mean: float
    lowest: float
    freezes_below: float | None = None
    """State below which the electrolyte of a lead-acid bank freezes at the season's lowest temperature; None where unknown."""


@dataclass(frozen=True)
class Fortnight:
    """Fourteen days of one of the years: those with the most energy missing, else those with the emptiest bank."""

    year: int
    first: str
    last: str
    missing_wh: float
    lowest: float
    """Lowest state of charge [share]."""


@dataclass(frozen=True)
class Figures:
    """What the years came to; energies are means of a year [kWh], hours are means of a year."""

    unmet_fraction: float
    critical_unmet_fraction: float | None
    """None where no load is critical; likewise the hours."""
    loss_of_load_hours: float
    interval_95: tuple[float, float] | None
    """None for a single year."""
    critical_loss_hours: float | None
    critical_interval_95: tuple[float, float] | None
    years_with_loss: float
    """Share of the years in which any load stood still for an hour or more."""
    years_with_loss_95: tuple[float, float]
    charge: tuple[MonthCharge, ...]
    least_full_days: int
    """Days with a full bank in the fortnight that has fewest."""
    usual_least_full_days: float
    """The same, as the mean of each year's fewest."""
    full_cycles: float
    """Equivalent full cycles in a year."""
    life_by_cycles_years: float | None
    calendar_life_years: float
    other_source_h: float
    """Hours in which another source carried something."""
    generator_h: float | None
    """Hours that the same energy takes at the inverters' charging current; None where they have no charger for it."""
    energy_kwh: Mapping[str, float]
    worst: Fortnight
    balance_error: float

    @property
    def could_freeze(self) -> tuple[MonthCharge, ...]:
        """Months in which the bank was emptier than its electrolyte stands in the cold."""
        return tuple(month for month in self.charge if month.freezes_below is not None and month.lowest < month.freezes_below - ICE)

    @property
    def life_years(self) -> float:
        """The shorter of both lives of the bank [years]."""
        return min(self.calendar_life_years, self.life_by_cycles_years or math.inf)


@dataclass(frozen=True)
class Replayed:
    """A design and the years that it lived, or the answer that holds none. `plant` and `figures` are None without a design."""

    problem: Problem
    answer: Answer | None
    """The answer that the design is from; None where a choice was given."""
    report: Report | None
    years: int
    seed: int
    weather: str
    new: bool
    plant: Plant | None = None
    figures: Figures | None = None
    assumed: tuple[str, ...] = field(default=())


def replay(
    problem: Problem, catalog: Catalog, choice: Choice | None = None, *, years: int = YEARS, seed: int = SEED, new: bool = False,
    progress: Progress = lambda _: None,
) -> Replayed:
    """Live a design through years of weather; without a choice the cheapest design is looked for first.

    years: synthetic years; a weather file that the problem names is one year, whatever is asked.
    new: the bank as it was bought; otherwise as it is at the end of its life.
    """
    if choice is None:
        progress("the cheapest design")
        answer: Answer | None = solve(problem, catalog)
        assert answer is not None, "solve always answers"
        problem, catalog, report = answer.problem, answer.catalog, answer.report
    else:
        answer, report = None, check(choice, problem, catalog)
        _, catalog = with_worn_parts(problem, catalog)
        problem = report.whole.needs.problem  # with the tilt and the soft starters that the choice names
    if report is None:
        return Replayed(problem, answer, None, years, seed, SYNTHETIC, new)
    needs = report.whole.needs
    plant = plant_of(needs, report.design, PriceList(problem, catalog).wiring, hour_loads(needs), new=new)
    own_year = weather_year(problem)
    if own_year is not None:
        tally = Tally(plant)
        tally.add(live(plant, *own_year))
        return Replayed(problem, answer, report, 1, seed, FROM_FILE, new, plant, tally.figures())
    sky, tally = skies_of(problem), Tally(plant)
    air_c = air_hours_c(problem.temperatures.air_c)
    for number, first in enumerate(range(0, years, CHUNK)):
        count = min(CHUNK, years - first)
        progress(f"years {first + 1:,} to {first + count:,} of {years:,}")
        tally.add(live(plant, sky.plane_w_m2(count, np.random.default_rng([seed, number])), air_c))
    return Replayed(problem, answer, report, years, seed, SYNTHETIC, new, plant, tally.figures(), sky.assumed)


class Tally:
    """What is kept of the years while they are lived, chunk after chunk."""

    def __init__(self, plant: Plant) -> None:
        self.plant = plant
        self.sums: list[Mapping[str, np.ndarray]] = []
        self.mean_charge: list[np.ndarray] = []
        self.least_charge: list[np.ndarray] = []
        self.fewest_full: list[np.ndarray] = []
        self.error = 0.0
        self.worst: tuple[tuple[float, float], Fortnight] | None = None

    def add(self, lived: Lived) -> None:
        """Take in some years."""
        known = sum(len(sums["load_wh"]) for sums in self.sums)
        for worst in self._worst(lived, known):
            self.worst = max((self.worst, worst), key=lambda one: one[0]) if self.worst else worst
        self.sums.append(lived.year)
        self.mean_charge.append(np.array([lived.mean_charge[month == MONTH_OF_DAY].mean(axis=0) for month in range(12)]))
        self.least_charge.append(np.array([lived.least_charge[month == MONTH_OF_DAY].min(axis=0) for month in range(12)]))
        self.fewest_full.append(lived.fortnights(lived.was_full.astype(float)).min(axis=0))
        self.error = max(self.error, lived.balance_error)

    def _worst(self, lived: Lived, known: int) -> Iterator[tuple[tuple[float, float], Fortnight]]:
        """The worst fortnight of these years, with what makes it the worst."""
        missing, charge = lived.fortnights(lived.missing_wh), lived.fortnights(lived.mean_charge)
        by_missing = np.unravel_index(int(np.argmax(missing)), missing.shape)
        at, year = by_missing if missing[by_missing] > 1.0 else np.unravel_index(int(np.argmin(charge)), charge.shape)
        days = lived.order[int(at) : int(at) + FORTNIGHT_D]
        yield (float(missing[at, year]), -float(charge[at, year])), Fortnight(
            known + int(year) + 1, date_of(int(days[0])), date_of(int(days[-1])), float(missing[at, year]),
            float(lived.least_charge[days, year].min()),
        )

    def figures(self) -> Figures:
        """What the years came to."""
        year = {name: np.concatenate([sums[name] for sums in self.sums]) for name in self.sums[0]}
        plant, battery = self.plant, self.plant.design.bank.battery
        load, critical = float(year["load_wh"].sum()), float(year["critical_wh"].sum())
        mean, least = np.concatenate(self.mean_charge, axis=1), np.concatenate(self.least_charge, axis=1)
        fewest = np.concatenate(self.fewest_full)
        cycles = float(year["discharged_wh"].mean()) / plant.store.full_wh
        other_wh, power = float(year["other_source_wh"].mean()), plant.other_source_w
        assert self.worst is not None, "some years were lived"
        return Figures(
            unmet_fraction=float(year["unmet_wh"].sum()) / load if load else 0.0,
            critical_unmet_fraction=float(year["critical_unmet_wh"].sum()) / critical if critical else None,
            loss_of_load_hours=float(year["short_h"].mean()), interval_95=interval_95(year["short_h"]),
            critical_loss_hours=float(year["critical_short_h"].mean()) if critical else None,
            critical_interval_95=interval_95(year["critical_short_h"]) if critical else None,
            years_with_loss=float((year["short_h"] > 0).mean()), years_with_loss_95=share_interval_95(int((year["short_h"] > 0).sum()), len(fewest)),
            charge=tuple(
                MonthCharge(MONTHS[month], float(mean[month].mean()), float(least[month].min()), freezes_below(plant, month)) for month in range(12)
            ),
            least_full_days=round(float(fewest.min())), usual_least_full_days=float(fewest.mean()),
            full_cycles=cycles, life_by_cycles_years=battery.cycles * battery.cycles_dod / cycles if cycles > 0 else None,
            calendar_life_years=plant.design.bank.chemistry.calendar_life_years,
            other_source_h=float(year["other_source_h"].mean()),
            generator_h=(other_wh / power if power else None) if plant.has_other_source else 0.0,
            energy_kwh={name.removesuffix("_wh"): float(values.mean()) / 1000 for name, values in year.items() if name.endswith("_wh")},
            worst=self.worst[1], balance_error=self.error,
        )


def freezes_below(plant: Plant, month: int) -> float | None:
    """State of charge below which a lead-acid bank can freeze in a month [share]; None for others and for months without loads."""
    season = next((season for season in plant.needs.seasons if month in season.months), None)
    if season is None or not plant.design.bank.is_lead_acid:
        return None
    return 1 - freezing_depth(season.battery_lowest_c, *plant.core.tables.freezing)


def share_interval_95(count: int, of: int) -> tuple[float, float]:
    """Interval of a share that was counted, which says something even where nothing was; Wilson (1927).

    >>> [round(end, 4) for end in share_interval_95(0, 1000)]
    [0.0, 0.0038]
    """
    z2, share = NORMAL_95**2, count / of
    middle = (share + z2 / (2 * of)) / (1 + z2 / of)
    reach = NORMAL_95 / (1 + z2 / of) * math.sqrt(share * (1 - share) / of + z2 / (4 * of**2))
    return max(0.0, middle - reach), min(1.0, middle + reach)


def date_of(day: int) -> str:
    """A day of the year (0 is the first of January) as a person writes it.

    >>> date_of(0), date_of(59), date_of(364)
    ('1 Jan', '1 Mar', '31 Dec')
    """
    month = int(MONTH_OF_DAY[day])
    return f"{day - sum(DAYS_OF_MONTH[:month]) + 1} {MONTHS[month]}"
