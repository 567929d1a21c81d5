"""The generator of a design as text and as plain data."""

from __future__ import annotations

from typing import Any

from optimizer.handover.layout import labelled, money, section
from optimizer.proof.generator import GeneratorPlan

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
