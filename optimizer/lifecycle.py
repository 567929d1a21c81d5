"""What a design costs over the years: how long its bank lives, and what must be bought again when; in whole cents.

Knows no candidates and no checks. The bill counts replacements with it, the candidates price cores with it, and the check
reports it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from optimizer.circuits.wiring import Wiring
from optimizer.design import Bank, ConverterUse, Design, InverterBank
from optimizer.inputs.catalog import Tables
from optimizer.inputs.parts import Battery, Chemistry, Part
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.site import HEATING_BELOW_C, Needs
from optimizer.rules import balance, inverting, lifetime
from optimizer.rules import bank as rules


@dataclass(frozen=True)
class BankLife:
    """How long a bank lives, and what ends its life."""

    years: float
    limited_by: str
    """"cycles" or "calendar"."""


@dataclass(frozen=True)
class Replacement:
    """Pieces of a part that are bought again in a year; cents are present ones."""

    part: str
    pieces: int
    year: float
    cents: int


@dataclass(frozen=True)
class LifeCycle:
    """The cost of a design over the years, margin and tax in it [present cents]."""

    years: float
    discount_pct: float
    objective: str
    bank: BankLife
    replacements: tuple[Replacement, ...]
    total_cents: int


@lru_cache(maxsize=100_000)
def purchases(price_cents: int, life_years: float, age_years: float, years: float, discount_pct: float) -> tuple[tuple[float, int], ...]:
    """Later purchases of one piece: year, and what it counts today, the last one by the share of its life that is used [years, cents]."""
    found = lifetime.replacement_years(life_years, age_years, years)
    counted = price_cents * lifetime.used_share(found, life_years, years) * lifetime.present_worth(found, discount_pct)
    return tuple((float(year), round(float(cents))) for year, cents in zip(np.asarray(found), counted, strict=True))


class Lives:
    """Lives of parts in one problem, and what their replacements count today."""

    def __init__(self, problem: Problem, tables: Tables, bought_cents: Callable[[Part], int]) -> None:
        self.asked, self._tables, self._bought_cents = problem.life_cycle, tables, bought_cents
        self._owned = problem.owned
        self._mean_c = float(np.mean(problem.temperatures.battery_c))

    @property
    def minimised(self) -> bool:
        """Whether the objective counts replacements."""
        return self.asked.objective == "life-cycle"

    # --- the bank

    def calendar_years(self, chemistry: Chemistry) -> float:
        """Life of a battery by the calendar, where it stands [years]."""
        return float(lifetime.calendar_life_years(chemistry.calendar_life_years, self._mean_c))

    def bank_life(self, bank: Bank, through_wh_day: float) -> BankLife:
        """Life of a bank through which so much energy goes."""
        battery, calendar = bank.battery, self.calendar_years(bank.chemistry)
        cycles = float(lifetime.cycle_life_years(battery.cycles, battery.cycles_dod, bank.nominal_v * battery.capacity_20h_ah * bank.strings, through_wh_day))
        return BankLife(float(lifetime.bank_life_years(cycles, calendar)), "cycles" if cycles < calendar else "calendar")

    def age_years(self, battery: str, units: int) -> float:
        """Age of the oldest unit of a bank: owned units are used first, the youngest of them [years]."""
        ages = sorted(own.age_months for own in self._owned if own.part == battery for _ in range(min(own.quantity, units)))
        return max(ages[:units], default=0.0) / 12

    def bank_cents(self, battery: Battery, units: int, life_years: float) -> int:
        """What replacements of a whole bank count today [cents]."""
        return units * self._cents(battery, life_years, self.age_years(battery.id, units))

    # --- other parts

    def piece_cents(self, part: Part) -> int:
        """What replacements of one piece count today; nothing for a battery, whose life the whole bank decides [cents]."""
        life_years = self._life_years(part)
        return 0 if life_years is None else self._cents(part, life_years, 0.0)

    def _life_years(self, part: Part) -> float | None:
        return self._tables.lives.get(type(part).__name__.lower())

    def _cents(self, part: Part, life_years: float, age_years: float) -> int:
        return sum(cents for _, cents in self._purchases(part, life_years, age_years))

    def _purchases(self, part: Part, life_years: float, age_years: float) -> tuple[tuple[float, int], ...]:
        return purchases(self._bought_cents(part), life_years, age_years, self.asked.years, self.asked.discount_pct)

    # --- a whole design

    def replacements(self, design: Design, life: BankLife) -> Iterator[Replacement]:
        """Every later purchase of a design, margin and tax left out."""
        for part in design.parts:
            pieces = design.pieces.get(part.id, 0)
            if isinstance(part, Battery):
                bought = self._purchases(part, life.years, self.age_years(part.id, pieces))
            else:
                life_years = self._life_years(part)
                bought = () if life_years is None else self._purchases(part, life_years, 0.0)
            if pieces:
                yield from (Replacement(part.id, pieces, year, pieces * cents) for year, cents in bought)


def through_wh_day(wiring: Wiring, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> float:
    """Energy that a bank gives a day, averaged over the year: what loads draw at night in the months of use [Wh/day]."""
    needs, demand, inverter = wiring.needs, wiring.needs.demand, inverters.inverter
    through = {use.load_v: use.converter.efficiency for use in converters}
    efficiency = np.array([inverter.efficiency if inverter else 1.0, *(through.get(volts, 1.0) for volts in demand.dc_volts)])
    if wiring.active:
        of_inverter = wiring.inverter_circuits(bank, inverters) if inverter else ()
        efficiency = efficiency * wiring.kept_shares(inverters, of_inverter, wiring.dc_circuits(bank, converters))
    drawn = []
    for at, season in enumerate(needs.seasons):
        idle = sum(use.converter.idle_w * use.count * 24 for use in converters) + _standby_wh(needs, bank, at)
        if inverter is not None:
            _, _, on, searching = needs.inverter_hours[at]
            idle += float(inverting.idle_energy_wh(inverter.idle_w, inverter.search_w, on, searching, inverters.count)) + needs.transformer_w * float(on)
        drawn.append(float(balance.battery_side_load_wh(season.demand.average_wh, efficiency, idle)) * season.demand.night_share)
    return float(np.sum(np.array(drawn)[needs.season_of_month])) / len(MONTHS)


def _standby_wh(needs: Needs, bank: Bank, at: int) -> float:
    """What the bank itself takes a day in a season: electronics, heaters, self-discharge [Wh/day]."""
    battery, season = bank.battery, needs.seasons[at]
    heater = battery.heater_wh_day if season.battery_lowest_c < HEATING_BELOW_C else 0.0
    electronics = battery.bms_w * 24 if battery.bms else 0.0
    lost = rules.self_discharge_wh_day(bank.nominal_v * battery.capacity_20h_ah * bank.strings, battery.self_discharge_pct_month, season.battery_mean_c)
    return bank.units * (heater + electronics) + float(lost)
