"""The generator behind an array: how large it must be, how long it runs in each month, what it costs over the years.

It stands beside the design: the array is sized as the problem says (its share of the load), and what is missing to the whole
load is the generator's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Generator
from optimizer.inputs.problem import MONTHS
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.proof.whole import Whole
from optimizer.rules import balance, generating
from optimizer.rules.book import meets
from optimizer.rules.money import cents


@dataclass(frozen=True)
class GeneratorMonth:
    """A month in which the array alone does not carry the load."""

    month: str
    missing_wh: float
    """Energy a day that the bank must get from it [Wh/day]."""
    hours_a_day: float


@dataclass(frozen=True)
class GeneratorPlan:
    """What a design asks of its generator, and the cheapest of the catalog that gives it."""

    most_a: float
    """Current that the inverters can charge with, the bank's own limit held [A]; 0 without a charger."""
    least_a: float
    """Charging current that keeps within the hours a day, in the worst month and after the days without sun [A]."""
    needed_va: float
    """Loads together with the least charging [VA]."""
    chosen: Generator | None
    gives_va: float
    charge_a: float
    """What the charger is set to: as much as the generator gives beside the loads [A]."""
    months: tuple[GeneratorMonth, ...]
    refill_h: float
    """Hours that fill the bank again after its days without sun [h]."""
    hours_a_year: float
    litres_a_year: float
    running_cents: int
    """Fuel and service over the problem's years, not discounted [cents]."""
    load_share: float
    """What charging asks of its rating [share]."""
    years: float
    hours_a_day_max: float
    in_design: bool = False
    """Whether it was chosen with the design, and is on its bill."""
    present_cents: float = 0.0
    """What fuel and service count today; only of one in the design [cents]."""
    solar_share: float | None = None
    """Share of the year's load that the array gives; only of one in the design."""

    @property
    def too_long(self) -> tuple[GeneratorMonth, ...]:
        """Months in which it would run longer a day than the problem allows."""
        return tuple(month for month in self.months if not meets(month.hours_a_day, self.hours_a_day_max, "at most"))

    @property
    def total_cents(self) -> int | None:
        """Purchase, fuel and service over the years; None where the catalog has no such generator [cents]."""
        return None if self.chosen is None else self.chosen.price_cents + self.running_cents


def generator_plan(whole: Whole, catalog: Catalog) -> GeneratorPlan | None:
    """The generator beside a design; None where the site has none, or the design itself chooses."""
    needs, bank = whole.needs, whole.core.bank
    problem, inverters = needs.problem, whole.design.inverters
    if problem.site.other_source != "generator" or problem.source_in_design:
        return None
    inverter, use = inverters.inverter, problem.generator
    charger_a = inverter.charge_a * inverters.count if inverter is not None else 0.0
    most_a = min(charger_a, bank.battery.charge_max_a * bank.strings)
    factor = generating.OLD_CHARGER_POWER_FACTOR if inverter is None or inverter.charge_power_factor is None else inverter.charge_power_factor
    at = needs.season_of_month
    needed = balance.balance_needed_wh(whole.core.average_wh[at], whole.core.efficiency[at], 1.0)
    missing = np.maximum(needed - whole.harvest_wh, 0.0)
    emptied = max(season.autonomy_d * float(whole.core.autonomy_load_wh[place]) for place, season in enumerate(needs.seasons))
    emptied /= bank.battery.efficiency_wh
    least_wh = max(float(missing.max()), emptied / problem.autonomy.recovery_days)
    least_a = least_wh / (use.hours_per_day_max * bank.charging_v)
    loads_va = needs.demand.coincident_va

    def with_set(one: Generator | None) -> GeneratorPlan:
        gives = 0.0 if one is None else _gives_va(whole, one)
        for_charging = gives - loads_va if one is not None else np.inf
        charge_a = min(most_a, max(0.0, for_charging / float(generating.charging_va(1.0, bank.absorb_v, factor))))
        charge_w = charge_a * bank.charging_v
        hours = missing / charge_w if charge_w > 0 else np.where(missing > 0, np.inf, 0.0)
        days = np.array(DAYS_OF_MONTH)[needs.months]
        hours_a_year = float((hours * days).sum()) if charge_w > 0 else 0.0
        litres = float(generating.fuel_l(float((missing * days).sum()), one.litres_per_kwh)) + hours_a_year * one.idle_l_per_h if one is not None and charge_w > 0 else 0.0
        service = hours_a_year * one.service_per_h if one is not None else 0.0
        taken_w = charge_a * bank.absorb_v / generating.CHARGER_EFFICIENCY
        return GeneratorPlan(
            most_a, least_a, float(generating.charging_va(min(least_a, most_a), bank.absorb_v, factor)) + loads_va, one, gives, charge_a,
            tuple(
                GeneratorMonth(MONTHS[int(month)], float(wh), float(h)) for month, wh, h in zip(needs.months, missing, hours, strict=True) if wh > 0
            ),
            emptied / charge_w if charge_w > 0 else float("inf"), hours_a_year, litres, cents(use.years * (litres * use.fuel_price_per_l + service)),
            taken_w / (one.rated_va * one.power_factor) if one is not None else 0.0, use.years, use.hours_per_day_max,
        )

    nothing = with_set(None)
    able = [
        with_set(one) for one in catalog.generators
        if one.ac in generating.AC_OF_SITE.get(problem.site.ac, ()) and meets(_gives_va(whole, one), nothing.needed_va, "at least")
    ]
    return min(able, key=lambda plan: (plan.total_cents or 0, plan.chosen.id if plan.chosen else ""), default=nothing)


def _gives_va(whole: Whole, one: Generator) -> float:
    problem = whole.needs.problem
    return float(generating.generator_gives_va(one.rated_va, problem.site.elevation_m, problem.temperatures.hottest_c, one.fuel_share))
