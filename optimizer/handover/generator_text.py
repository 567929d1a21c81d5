"""The source beside the array of a design, generator, alternator or shore power, as text and as plain data."""

from __future__ import annotations

from typing import Any

from optimizer.design import Source
from optimizer.handover.layout import labelled, money, section
from optimizer.inputs.problem import Problem
from optimizer.proof.generator import GeneratorPlan
from optimizer.proof.source import Visits

CHARGER = "the charger of the inverter"


def generator_text(plan: GeneratorPlan | None) -> list[str]:
    """What it must give, when it runs, what it costs; nothing where the site has none."""
    if plan is None:
        return []
    if plan.in_design:
        return section("Generator (in the design)", _in_design(plan))
    lines: list[str] = []
    if not plan.most_a:
        lines += labelled("Charging", "this inverter has no charger: the generator carries loads, and cannot fill the bank without one", 14)
    else:
        lines += labelled("Charging", f"{CHARGER} set to {plan.charge_a:.0f} A of {plan.most_a:.0f} A; after the days without sun {plan.refill_h:.1f} h fill the bank again", 14)
    lines += labelled("Must give", f"{plan.needed_va:,.0f} VA for hours: the loads, and {min(plan.least_a, plan.most_a):.0f} A of charging, which keeps within {plan.hours_a_day_max:g} h a day", 14)
    if plan.months:
        told = "; ".join(f"{month.month} {month.hours_a_day:.1f}" for month in plan.months)
        lines += labelled("Hours a day", f"{told}: {plan.hours_a_year:.0f} h a year", 14)
    else:
        lines += labelled("Hours a day", "none in a mean month: the array gives the whole load; it stands behind bad weeks (`bankstring replay`)", 14)
    if plan.too_long:
        lines += labelled("Too long", f"more than {plan.hours_a_day_max:g} h a day in {', '.join(month.month for month in plan.too_long)}", 14)
    if plan.chosen is None:
        lines += labelled("Catalog gap", f"no generator of this AC that gives {plan.needed_va:,.0f} VA at this height and heat", 14)
    else:
        one = plan.chosen
        lines += labelled("Cheapest", f"{one.id}, {one.rated_va:,.0f} VA, gives {plan.gives_va:,.0f} VA there; {money(one.price_cents)}, not on the bill", 14)
        lines += labelled("Running", f"{plan.litres_a_year:.0f} l of {one.fuel} a year; fuel and service {money(plan.running_cents)} in {plan.years:g} years", 14)
        if plan.load_share < one.least_load_share:
            lines += labelled("Light load", f"charging asks for {100 * plan.load_share:.0f} % of its rating, {100 * one.least_load_share:.0f} % is the least it should have", 14)
    return section("Generator (beside the bill)", lines)


def _in_design(plan: GeneratorPlan) -> list[str]:
    """One that is on the bill: what it gives, when it runs, what it burns."""
    one = plan.chosen
    assert one is not None, "one in the design is chosen"
    lines = labelled("Size", f"{one.id}, {one.rated_va:,.0f} VA, gives {plan.gives_va:,.0f} VA for hours there; loads and charging ask for {plan.needed_va:,.0f} VA", 14)
    lines += labelled("Charging", f"set to {plan.charge_a:g} A of {plan.most_a:.0f} A; {plan.refill_h:.1f} h fill the bank after the days without sun", 14)
    told = "; ".join(f"{month.month} {month.hours_a_day:.1f}" for month in plan.months)
    lines += labelled("Hours a day", f"{told}: {plan.hours_a_year:.0f} h a year" if told else "none in a mean month", 14)
    lines += labelled("Solar share", f"{100 * (plan.solar_share or 0):.1f} % of the year's load is the array's", 14)
    lines += labelled(
        "Running", f"{plan.litres_a_year:.0f} l of {one.fuel} a year; fuel and service count {money(round(plan.present_cents))} today for {plan.years:g} years, "
        "beside the bill and in what is minimised", 14,
    )
    if plan.load_share < one.least_load_share:
        lines += labelled("Light load", f"charging asks for {100 * plan.load_share:.0f} % of its rating, {100 * one.least_load_share:.0f} % is the least it should have", 14)
    return lines


def generator_data(plan: GeneratorPlan | None) -> dict[str, Any] | None:
    """The same as plain data."""
    if plan is None:
        return None
    return {
        "charge_a": plan.charge_a, "most_a": plan.most_a, "least_a": plan.least_a, "needed_va": plan.needed_va, "hours_a_year": plan.hours_a_year,
        "refill_h": plan.refill_h if plan.charge_a else None,
        "months": [
            {"month": month.month, "missing_wh": month.missing_wh, "hours_a_day": month.hours_a_day if plan.charge_a else None} for month in plan.months
        ],
        "part": plan.chosen.id if plan.chosen else None, "gives_va": plan.gives_va, "price": plan.chosen.price if plan.chosen else None,
        "litres_a_year": plan.litres_a_year, "running_cost": plan.running_cents / 100, "years": plan.years,
        "in_design": plan.in_design, "present_cost": plan.present_cents / 100 if plan.in_design else None, "solar_share": plan.solar_share,
        "load_share": plan.load_share, "too_long": [month.month for month in plan.too_long],
    }


NAMES = {"generator": "Generator", "alternator": "Alternator", "shore": "Shore power"}


def running_words(problem: Problem) -> str:
    """What the source of a problem costs to run, in words."""
    return "fuel and service" if problem.site.other_source == "generator" else "energy costs"


def source_words(source: Source) -> str:
    """The source of a design in a few words."""
    chargers = f"{source.count} x {source.charger.id}" if source.charger is not None else "the chargers of the inverters"
    if source.generator is None:
        return f"through {chargers} set to {source.charge_a:g} A"
    return f"{source.generator.id}, {source.generator.rated_va:,.0f} VA, with {chargers} set to {source.charge_a:g} A"


def visits_text(visits: Visits | None) -> list[str]:
    """What an alternator or shore power in the design brings; nothing where there is none."""
    if visits is None:
        return []
    lines = labelled("Charging", f"set to {visits.charge_a:g} A together", 14)
    if visits.taken_a is not None:
        lines += labelled("Takes", f"{visits.taken_a:.1f} A from the alternator, which leaves {visits.spare_a:.1f} A at idle", 14)
    told = "; ".join(f"{one.month} {one.used_wh:,.0f} of {one.most_wh:,.0f}" for one in visits.months if one.most_wh or one.used_wh)
    lines += labelled("Wh a day", f"{told}: what the array leaves to it, of what it can bring" if told else "none in any month of use", 14)
    paid = f"; it counts {money(round(visits.present_cents))} today for {visits.years:g} years, beside the bill and in what is minimised" if visits.present_cents else ""
    lines += labelled("A year", f"the chargers take {visits.kwh_a_year:,.0f} kWh{paid}", 14)
    lines += labelled("Solar share", f"{100 * visits.solar_share:.1f} % of the year's load is the array's", 14)
    return section(f"{NAMES[visits.kind]} (in the design)", lines)


def visits_data(visits: Visits | None) -> dict[str, Any] | None:
    """The same as plain data."""
    if visits is None:
        return None
    return {
        "kind": visits.kind, "charge_a": visits.charge_a, "taken_a": visits.taken_a, "spare_a": visits.spare_a, "kwh_a_year": visits.kwh_a_year,
        "months": [{"month": one.month, "hours_a_day": one.hours_a_day, "most_wh": one.most_wh, "used_wh": one.used_wh} for one in visits.months],
        "years": visits.years, "present_cost": visits.present_cents / 100, "solar_share": visits.solar_share,
    }
