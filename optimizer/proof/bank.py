"""Rules of the battery bank by itself, from the part record."""

from __future__ import annotations

from optimizer.design import Bank, age_spread_months
from optimizer.needs.site import LEAD_ACID_STRINGS_MOST, LEAD_ACID_STRINGS_PREFERRED, WARM_BATTERY_C, Needs
from optimizer.proof.lines import Line, Lines
from optimizer.rules import bank as rules


def bank_lines(needs: Needs, bank: Bank) -> list[Line]:
    """Rules 1, 2, 33-37, 47, 48, 50, 105 and 107."""
    problem, battery = needs.problem, bank.battery
    lines = Lines(needs.severities, f"{battery.id} {bank.series} x {bank.strings}")
    lines.add("bank-voltage-allowed", float(bank.volts), tuple(float(v) for v in problem.bank.volts))
    lines.add("battery-series-count", bank.series, rules.units_in_series(bank.volts, battery.cells, bank.chemistry.cells_per_12v) or -1)
    lines.add("battery-series-limit", bank.series, battery.max_series)
    lines.add("battery-parallel-limit", bank.strings, battery.max_parallel)
    if bank.is_lead_acid:
        lines.add("lead-acid-parallel", bank.strings, LEAD_ACID_STRINGS_MOST)
        lines.add("lead-acid-parallel-preferred", bank.strings, LEAD_ACID_STRINGS_PREFERRED)
    asked = problem.bank.age_spread_months_max
    most = bank.chemistry.age_spread_months_max if asked is None else asked
    lines.add("battery-age", age_spread_months(problem, battery.id, bank.units), most)
    if problem.bank.chemistries:
        lines.add("chemistry-allowed", battery.chemistry, problem.bank.chemistries)
    if bank.is_lithium:
        lines.add("charge-temperature", needs.battery_lowest_c, battery.charge_t_min_c)
    lines.add("discharge-temperature", needs.battery_lowest_c, battery.discharge_t_min_c)
    lines.add("battery-too-hot", needs.battery_highest_c, battery.charge_t_max_c)
    lines.add("battery-warm", float(needs.battery_c.mean()), WARM_BATTERY_C)
    lost = rules.idle_loss_share(problem.bank.idle_months, battery.self_discharge_pct_month)
    lines.add("storage-months", lost, problem.bank.idle_loss_share_max)
    if bank.chemistry.gasses:
        lines.add("battery-ventilation", problem.bank.place, ("ventilated room", "outside box"))
    if bank.chemistry.needs_water:
        lines.add("attendance", problem.site.attended, True)
    lines.add("battery-unit-energy", battery.energy_kwh, problem.bank.unit_kwh_max)
    if problem.bank.total_kwh_max is not None:
        lines.add("battery-place-energy", battery.energy_kwh * bank.units, problem.bank.total_kwh_max)
    return lines.lines
