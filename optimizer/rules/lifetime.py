"""How long a bank lives, by its cycles and by the calendar, and what later money is worth."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within

DAYS_PER_YEAR = 365
"""Days in a year, leap days left out [d]."""

AGEING_DOUBLES_PER_K = 10.0
"""A battery ages twice as fast per 10 K above 25 C; common practice, no source."""

RATED_AT_C = 25.0
"""Battery temperature that calendar life is stated for [C]; common practice, no source."""

LEAST_LIFE_YEARS = 0.01
"""Shortest life that is counted, the hundredth of a year to which lives are rounded [years]."""


def cycle_life_years(cycles: Values, cycles_dod: Values, capacity_wh: Values, through_wh_day: Values) -> Values:
    """Years after which as much energy has gone through a bank as its rated cycles carry.

    Formula: t = n * DoD * C / (365 * W). The rated cycles are taken as an amount of energy: shallow cycles count as
    shares of a deep one, which is cautious for most batteries, where many shallow cycles carry more than few deep ones.
    cycles: cycles at the stated depth [count]
    cycles_dod: depth of discharge that the cycles are stated for [share]
    capacity_wh: rated energy of the bank at 20 h [Wh]
    through_wh_day: energy that the bank gives a day, averaged over the year [Wh/day]
    returns: life by cycles; infinite where nothing is drawn [years]
    Valid: depths of 0 to 1, energies of 0 or more
    Source: equivalent full cycles; common practice, no source
    >>> round(float(cycle_life_years(1200, 0.5, 5400, 1000)), 2), float(cycle_life_years(1200, 0.5, 5400, 0))
    (8.88, inf)
    """
    source = "equivalent full cycles: common practice, no source"
    within(cycles_dod, 0, 1, "depth of discharge", "", source)
    within(through_wh_day, 0, np.inf, "energy through the bank", "Wh/day", source)
    drawn = np.asarray(through_wh_day, dtype=float)
    carried = np.asarray(cycles) * cycles_dod * capacity_wh
    return np.where(drawn > 0, carried / (DAYS_PER_YEAR * np.where(drawn > 0, drawn, 1.0)), np.inf)


def calendar_life_years(rated_years: Values, mean_c: Values) -> Values:
    """Years after which a battery is worn out however little it was cycled.

    Formula: t = L * 2 ** (-max(0, T - 25) / 10)
    rated_years: calendar life at 25 C [years]
    mean_c: mean temperature of the battery over the year [C]
    returns: calendar life [years]
    Valid: -60 to 60 C; below 25 C the stated life holds, no longer one
    Source: common practice, no source
    >>> float(calendar_life_years(6, 35)), float(calendar_life_years(6, 10))
    (3.0, 6.0)
    """
    within(mean_c, -60, 60, "battery temperature", "C", "ageing doubling per 10 K: common practice, no source")
    return rated_years * 2.0 ** (-np.maximum(0.0, np.asarray(mean_c) - RATED_AT_C) / AGEING_DOUBLES_PER_K)


def bank_life_years(cycle_years: Values, calendar_years: Values) -> Values:
    """Life of a bank: the shorter of the two, to a hundredth of a year.

    Formula: t = max(0.01, round(min(t1, t2), 2))
    cycle_years: life by cycles [years]
    calendar_years: life by the calendar [years]
    returns: life that is counted [years]
    Valid: lives of 0 or more; less than a hundredth of a year counts as one
    Source: definition of this tool
    >>> float(bank_life_years(8.8767, 6.0)), float(bank_life_years(3.14159, 6.0))
    (6.0, 3.14)
    """
    within(cycle_years, 0, np.inf, "life by cycles", "years", "definition of this tool")
    within(calendar_years, 0, np.inf, "life by the calendar", "years", "definition of this tool")
    return np.maximum(LEAST_LIFE_YEARS, np.round(np.minimum(cycle_years, calendar_years), 2))


def replacement_years(life_years: float, age_years: float, years: float) -> Values:
    """Years in which a part is bought again.

    Formula: t[k] = max(0, L - a) + k * L for k = 0, 1, ... while t[k] < Y
    life_years: life of the part [years]
    age_years: its age when the count begins [years]
    years: years that are counted [years]
    returns: years of the purchases, rising; none where the first piece outlasts them [years]
    Valid: lives of 0.01 years and more, ages and years of 0 or more
    Source: definition of this tool
    >>> replacement_years(6, 0, 15).tolist(), replacement_years(6, 2.5, 15).tolist(), replacement_years(15, 0, 15).tolist()
    ([6.0, 12.0], [3.5, 9.5], [])
    """
    within(life_years, LEAST_LIFE_YEARS, np.inf, "life", "years", "definition of this tool")
    within(age_years, 0, np.inf, "age", "years", "definition of this tool")
    within(years, 0, np.inf, "years counted", "years", "definition of this tool")
    first = max(0.0, float(life_years) - age_years)
    most = int(np.ceil(max(0.0, years - first) / life_years)) + 1
    found = np.round(first + np.arange(most) * life_years, 6)
    return np.asarray(found[found < years])


def used_share(year: Values, life_years: Values, years: Values) -> Values:
    """Share of a replacement's life that falls into the years that are counted.

    Formula: s = min(1, (Y - t) / L)
    year: year of the purchase [years]
    life_years: life of the part [years]
    years: years that are counted [years]
    returns: share of its price that counts [share]
    Valid: purchases before the end
    Source: definition of this tool; straight-line value
    >>> float(used_share(6, 6, 15)), float(used_share(12, 6, 15))
    (1.0, 0.5)
    """
    within(np.asarray(years) - year, 0, np.inf, "years left after a purchase", "years", "definition of this tool")
    return np.minimum(1.0, (np.asarray(years) - year) / life_years)


def present_worth(year: Values, discount_pct: Values) -> Values:
    """What a coin that is spent in a later year counts today.

    Formula: w = (1 + r / 100) ** -t
    year: year in which it is spent [years]
    discount_pct: discount rate a year [%]
    returns: worth of one coin [share]
    Valid: rates of 0 and more, years of 0 and more
    Source: compound interest
    >>> round(float(present_worth(10, 6)), 4)
    0.5584
    """
    within(discount_pct, 0, np.inf, "discount rate", "%", "compound interest")
    within(year, 0, np.inf, "year", "years", "compound interest")
    return (1 + np.asarray(discount_pct) / 100) ** -np.asarray(year, dtype=float)


def years_worth(years: float, discount_pct: float) -> float:
    """What a coin that is spent in every year counts today, the first at the end of the first year.

    Formula: w = (1 - (1 + r / 100) ** -n) / (r / 100); n where nothing is discounted
    years: how long it is spent [years]
    discount_pct: discount rate a year [%]
    returns: worth of one coin a year [share]
    Valid: rates of 0 and more, years of 0 and more
    Source: compound interest
    >>> round(years_worth(10, 6), 4), years_worth(10, 0)
    (7.3601, 10.0)
    """
    within(discount_pct, 0, np.inf, "discount rate", "%", "compound interest")
    within(years, 0, np.inf, "years", "years", "compound interest")
    rate = discount_pct / 100
    return (1 - (1 + rate) ** -years) / rate if rate else float(years)
