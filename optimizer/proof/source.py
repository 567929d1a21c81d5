"""The source beside the array of a design: every rule on it and its chargers again, and what it brings, from the part records.

In each month of use the array gives what it can and the source what is missing to the whole load; more array never
makes it run longer.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.design import Source
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.generator import AlternatorUse, GeneratorUse
from optimizer.inputs.problem import MONTHS
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.proof.generator import GeneratorMonth, GeneratorPlan
from optimizer.proof.lines import Line, Lines
from optimizer.proof.whole import Whole
from optimizer.rules import balance, charging, generating, lifetime
from optimizer.rules.money import cents


@dataclass(frozen=True)
class Fed:
    """A design with its source, and what follows from the two."""

    whole: Whole
    source: Source

    # --- chargers

    @cached_property
    def output_a(self) -> float:
        """Current that the chargers can give together [A]."""
        source, inverters = self.source, self.whole.design.inverters
        if source.charger is not None:
            return source.charger.output_a * source.count
        return inverters.inverter.charge_a * inverters.count if inverters.inverter is not None else 0.0

    @cached_property
    def efficiency(self) -> float:
        """Energy into the bank over energy from the generator."""
        return self.source.charger.efficiency if self.source.charger is not None else generating.CHARGER_EFFICIENCY

    @cached_property
    def power_factor(self) -> float:
        """Power factor of the chargers on AC."""
        inverter = self.whole.design.inverters.inverter
        if isinstance(self.source.charger, Charger):
            return self.source.charger.power_factor
        stated = inverter.charge_power_factor if inverter is not None else None
        return generating.OLD_CHARGER_POWER_FACTOR if stated is None else stated

    @cached_property
    def uneven(self) -> float:
        """Multiple of the chargers' power that the set must be rated for, for its legs."""
        source, inverters = self.source, self.whole.design.inverters
        ac, units = (source.charger.ac, source.count) if isinstance(source.charger, Charger) else (
            inverters.inverter.ac if inverters.inverter is not None else "", inverters.count,
        )
        return 1.0 if ac in ("240", "120/240", "") else float(generating.uneven_share(units, self.legs))

    @property
    def legs(self) -> int:
        """Legs or phases of what feeds the chargers."""
        return self.source.generator.legs if self.source.generator is not None else 1

    @property
    def generator(self) -> Generator:
        """The generator; asked for only where there is one."""
        assert self.source.generator is not None, "asked only of a generator"
        return self.source.generator

    @cached_property
    def charge_w(self) -> float:
        """Power into the bank while it charges [W]."""
        return self.source.charge_a * self.whole.core.bank.charging_v

    # --- generator, shore power, alternator

    @cached_property
    def gives_va(self) -> float:
        """Apparent power that the generator gives where it stands, or the shore [VA]."""
        problem, one = self.whole.needs.problem, self.source.generator
        if one is None:
            return (problem.shore.volts or 0) * (problem.shore.rated_a or 0.0)
        return float(generating.generator_gives_va(one.rated_va, problem.site.elevation_m, problem.temperatures.hottest_c, one.fuel_share))

    @cached_property
    def loads_va(self) -> float:
        """Loads beside the charging: those of the most loaded leg times the legs of the set [VA]."""
        demand = self.whole.needs.demand
        return demand.coincident_leg_va if demand.legs > 1 else self.legs * demand.coincident_va

    @cached_property
    def charging_va(self) -> float:
        """What charging asks the set to be rated for [VA]."""
        va = generating.charging_va(self.source.charge_a, self.whole.core.bank.absorb_v, self.power_factor, self.efficiency)
        return self.uneven * float(va)

    @cached_property
    def taken_w(self) -> float:
        """Power that the chargers take at absorption [W]."""
        return self.source.charge_a * self.whole.core.bank.absorb_v / self.efficiency

    @cached_property
    def load_share(self) -> float:
        """Power of charging over the set's rating."""
        return self.taken_w / (self.generator.rated_va * self.generator.power_factor)

    @cached_property
    def alternator_a(self) -> float:
        """Current that the chargers take from the alternator [A]."""
        charger, volts = self.source.charger, self.whole.needs.problem.alternator.volts
        assert isinstance(charger, AlternatorCharger), "asked only of an alternator"
        beside_w = self.source.count * charger.no_load_w
        return float(charging.alternator_current_a(self.source.charge_a, self.whole.core.bank.absorb_v, charger.efficiency, beside_w, volts))

    # --- energy

    @cached_property
    def needed_wh(self) -> np.ndarray:
        """What array and source together bring by month of use: the load, of a source that comes and goes no more than is asked for [Wh/day]."""
        needs, core = self.whole.needs, self.whole.core
        at = needs.season_of_month
        load = np.asarray(balance.balance_needed_wh(core.average_wh[at], core.efficiency[at], 1.0))
        if needs.source_h is None:
            return load
        asked = [needed for rule, needed in core.needed_wh.items() if needs.severities.enforced(rule)]
        return np.asarray(np.minimum(load, np.max([np.zeros_like(load), *asked], axis=0)))

    @cached_property
    def missing_wh(self) -> np.ndarray:
        """What the array leaves missing [Wh/day]."""
        return np.asarray(np.maximum(self.needed_wh - self.whole.harvest_wh, 0.0))

    @cached_property
    def hours(self) -> np.ndarray:
        """Hours that it runs [h/day]."""
        return np.asarray(self.missing_wh / self.charge_w)

    @cached_property
    def days(self) -> np.ndarray:
        """Days of the months of use [d]."""
        return np.asarray(np.array(DAYS_OF_MONTH)[self.whole.needs.months])

    @cached_property
    def refill_h(self) -> float:
        """Hours that fill the bank again after its days without sun [h]."""
        core = self.whole.core
        drawn = max(season.autonomy_d * float(core.autonomy_load_wh[place]) for place, season in enumerate(core.needs.seasons))
        return drawn / core.bank.battery.efficiency_wh / self.charge_w

    @cached_property
    def solar_share(self) -> float:
        """Share of the year's load that the array gives; what a full bank cannot take is not counted."""
        return 1 - float(self.missing_wh @ self.days) / float(self.needed_wh @ self.days)

    # --- money

    @cached_property
    def litres_a_year(self) -> float:
        """Fuel [l]."""
        one = self.generator
        return self.hours_a_year * float(generating.fuel_l_per_h(self.charge_w / self.efficiency, one.litres_per_kwh, one.idle_l_per_h))

    @cached_property
    def hours_a_year(self) -> float:
        """Hours that it runs in a year [h]."""
        return float(self.hours @ self.days)

    @cached_property
    def yearly(self) -> float:
        """Fuel and service of a year, or energy that is paid for [money]."""
        use = self.whole.needs.problem.source_use
        if self.source.kind != self.whole.needs.problem.site.other_source:
            return 0.0  # one that the site does not have: said by a rule
        if isinstance(use, GeneratorUse):
            return self.litres_a_year * use.fuel_price_per_l + self.hours_a_year * self.generator.service_per_h
        return self.kwh_a_year * use.price_per_kwh

    @cached_property
    def kwh_a_year(self) -> float:
        """Energy that the chargers take in a year [kWh]."""
        return float(self.missing_wh @ self.days) / self.efficiency / 1000

    @cached_property
    def present_cents(self) -> float:
        """What it costs to run over the years, as it counts today [cents]."""
        problem = self.whole.needs.problem
        return 100 * self.yearly * lifetime.years_worth(problem.source_use.years, problem.life_cycle.discount_pct)

    def visits(self) -> Visits | None:
        """What an alternator or shore power brings, month by month; None of a generator."""
        needs, use = self.whole.needs, self.whole.needs.problem.source_use
        if isinstance(use, GeneratorUse) or needs.source_h is None or self.source.kind != needs.problem.site.other_source:
            return None
        alternator = self.source.kind == "alternator"
        spare_a = float(charging.alternator_spare_a(use.rated_a or 0.0, use.idle_share)) if isinstance(use, AlternatorUse) else 0.0
        return Visits(
            self.source.kind, self.source.charge_a, self.alternator_a if alternator else None, spare_a if alternator else None,
            tuple(
                Visit(MONTHS[int(month)], float(hours), float(most), float(used))
                for month, hours, most, used in zip(needs.months, needs.source_h, self.whole.brought_wh, self.missing_wh, strict=True)
            ),
            self.kwh_a_year, use.years, self.present_cents, self.solar_share,
        )

    def plan(self) -> GeneratorPlan | None:
        """The same as a plan; None where it is no generator."""
        if self.source.kind != "generator":
            return None
        use, bank = self.whole.needs.problem.generator, self.whole.core.bank
        recovery_d = self.whole.needs.problem.autonomy.recovery_days
        least_a = max(float(self.hours.max()), self.refill_h / recovery_d) * self.charge_w / (use.hours_per_day_max * bank.charging_v)
        return GeneratorPlan(
            min(self.output_a, bank.battery.charge_max_a * bank.strings), least_a, self.charging_va + self.loads_va, self.generator, self.gives_va,
            self.source.charge_a,
            tuple(
                GeneratorMonth(MONTHS[int(month)], float(wh), float(h))
                for month, wh, h in zip(self.whole.needs.months, self.missing_wh, self.hours, strict=True) if wh > 0
            ),
            self.refill_h, self.hours_a_year, self.litres_a_year, cents(use.years * self.yearly), self.load_share, use.years, use.hours_per_day_max,
            in_design=True, present_cents=self.present_cents, solar_share=self.solar_share,
        )


@dataclass(frozen=True)
class Visit:
    """A month of an alternator or of shore power."""

    month: str
    hours_a_day: float
    most_wh: float
    """Energy a day that it can bring into the bank [Wh/day]."""
    used_wh: float
    """Energy a day that the array leaves to it [Wh/day]."""


@dataclass(frozen=True)
class Visits:
    """What an alternator or shore power in a design brings."""

    kind: str
    charge_a: float
    taken_a: float | None
    spare_a: float | None
    """What the chargers take from the alternator, and what they may [A]; None of shore power."""
    months: tuple[Visit, ...]
    kwh_a_year: float
    years: float
    present_cents: float
    solar_share: float


def fed_design(whole: Whole) -> Fed | None:
    """A design with its source; None where it has none."""
    return Fed(whole, whole.design.source) if whole.design.source is not None else None


def source_lines(whole: Whole, fed: Fed | None) -> list[Line]:
    """Rules 61, 62, 79-81 and 95, and those of 32 and 72 on generator and chargers."""
    needs = whole.needs
    lines = Lines(needs.severities, "generator")
    problem = needs.problem
    if problem.source_in_design or fed is not None:
        other, there = problem.site.other_source, "none" if fed is None else fed.source.kind
        allowed = ("none",) if not problem.source_in_design else (other,) if problem.source_use.required else (other, "none")
        lines.add("generator-present" if "generator" in (other, there) else "source-present", there, allowed)
    if fed is None:
        return lines.lines
    _chargers(lines, fed)
    if fed.source.kind == "generator":
        _generator(lines, fed)
        _running(lines, fed)
    elif fed.source.kind == "alternator":
        _alternator(lines, fed)
    elif problem.site.other_source == "shore":
        lines.add("shore-size", fed.gives_va, fed.charging_va + fed.loads_va, f"{problem.shore.rated_a or 0:g} A at {problem.shore.volts or 0} V")
    if problem.balance.minimum_solar_share is not None:
        lines.add("solar-share", fed.solar_share, problem.balance.minimum_solar_share)
    return lines.lines


def _alternator(lines: Lines, fed: Fed) -> None:
    charger, use = fed.source.charger, fed.whole.needs.problem.alternator
    assert isinstance(charger, AlternatorCharger), "an alternator charges through a charger of its own"
    where = f"{fed.source.count} x {charger.id}"
    lines.add("alternator-input", float(charger.input_v), float(use.volts), where)
    lines.add("alternator-load", fed.alternator_a, float(charging.alternator_spare_a(use.rated_a or 0.0, use.idle_share)), where)


def _chargers(lines: Lines, fed: Fed) -> None:
    source, bank = fed.source, fed.whole.core.bank
    charger, battery = source.charger, bank.battery
    where = f"{source.count} x {charger.id}" if charger is not None else "chargers of the inverters"
    if charger is not None:
        lines.add("charger-bank-voltage", float(charger.bank_v), float(bank.volts), where)
        if bank.is_lithium:
            lines.add("charger-profile", charger.lfp_profile, True, where)
        if not charger.current_settable:
            lines.add("charger-setting", source.charge_a, fed.output_a, where)
        lines.add("bounds", source.count, fed.whole.needs.problem.bounds.chargers, "chargers")
    lines.add("charger-output", fed.output_a, source.charge_a, where)
    if bank.is_lead_acid:
        factor = fed.whole.core.tables.charge_context[fed.whole.needs.charge_context]
        least = float(charging.minimum_charge_current_a(battery.charge_min_share, factor, battery.capacity_20h_ah, bank.strings))
        lines.add("charger-rate", source.charge_a, least, where)
    lines.add("all-sources-current", fed.whole.charge_a("high_a") + source.charge_a, battery.charge_max_a * bank.strings)


def _generator(lines: Lines, fed: Fed) -> None:
    problem, source = fed.whole.needs.problem, fed.source
    one = fed.generator
    if problem.site.ac != "none":
        lines.add("generator-ac", one.ac, generating.AC_OF_SITE[problem.site.ac], one.id)
    if isinstance(source.charger, Charger):
        lines.add("generator-ac", one.ac, generating.AC_OF_CHARGER[source.charger.ac], f"{one.id} for {source.charger.id}")
    lines.add("generator-size", fed.gives_va, fed.charging_va + fed.loads_va, one.id)
    lines.add("generator-power", fed.gives_va * one.power_factor, fed.taken_w + fed.whole.needs.demand.coincident_w, one.id)
    lines.add("generator-load", fed.load_share, one.least_load_share, one.id)


def _running(lines: Lines, fed: Fed) -> None:
    problem, months = fed.whole.needs.problem, fed.whole.needs.months
    worst = int(np.argmax(fed.hours))
    most_h = problem.generator.hours_per_day_max
    lines.add("generator-hours", fed.hours[worst], most_h, f"worst month {MONTHS[int(months[worst])]}, a day")
    lines.add("generator-refill", fed.refill_h, most_h * problem.autonomy.recovery_days, f"in {problem.autonomy.recovery_days:g} days")
