"""What must be said beside every answer, and what must be said because of this design."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

from optimizer.handover.layout import lowered
from optimizer.inputs.problem import Problem
from optimizer.needs.positions import changes_a_year
from optimizer.needs.site import HEATING_BELOW_C
from optimizer.needs.sunlight import bias_words, by_plane
from optimizer.proof.array import needs_cold_cut_out
from optimizer.proof.check import Report
from optimizer.proof.lines import Line
from optimizer.rules.book import RULES

ALWAYS = (
    "This is a preliminary design from data-sheet values and stated assumptions. A qualified person checks it against "
    "the local code and every manual before anything is bought or connected; where law asks for a licensed "
    "electrician, use one.",
    "Modules are live whenever there is light and cannot be switched off: cover them or work at night. Never open a "
    "connector under load: a DC arc does not go out.",
    "Over-voltage destroys a controller on the first cold sunny morning. Never add a module to a string, nor move the "
    "system to a colder place, without calculating again.",
    "A battery delivers thousands of amperes: a DC fuse of sufficient interrupting rating at the battery, insulated "
    "tools, no rings or watches, covered terminals.",
    "Only DC-rated breakers, fuses and switches at or above the stated volts; mind the polarity of breakers. No "
    "vehicle or AC devices in DC circuits.",
    "Connect the battery to the controller first and the array last; disconnect in reverse. Check polarity with a "
    "meter every time.",
    "Lead-acid batteries give off hydrogen: ventilate, no sparks; goggles and gloves against acid, water at hand. "
    "Never equalise sealed or lithium batteries.",
    "Never charge lithium cells below 0 C unless the pack heats itself, nor with a profile not made for them; never "
    "bypass a battery's own cut-off; never mix chemistries, ages, sizes or makers in one bank. A discharged lead-acid "
    "battery freezes and cracks.",
    "The output of an inverter kills, that of a small one too. One neutral-earth bond, residual-current protection "
    "where required, a transfer switch for any other source; never back-feed a house or a grid.",
    "Generators give off carbon monoxide: outdoors only, away from openings. Mind fuel and hearing.",
    "Torque every connection, again after a month and every year: a loose lug is the usual cause of fire. Crimp with "
    "the right tool, no bare strands under screws, measure cables and lugs at full load.",
    "Earth all frames and metal boxes and fit surge arresters; lightning can still destroy the system.",
    "Check roof, structure, wind and snow; use fall protection; two people for anything above 25 kg.",
    "Medical, life-safety and vaccine loads are not certified by this tool: give them an alarm and a store of their "
    "own, and a written plan for failure.",
    "Boats and vehicles follow standards of their own: tinned cable, ignition protection near petrol or gas, chassis "
    "negative, batteries fixed against a crash, a ventilated battery space.",
    "Lithium and wet lead-acid batteries are dangerous goods in transport: a trained person packs and declares them. "
    "Recycle old ones.",
    "Pumps, saws and compressors may restart by themselves after a trip: lock them out before touching.",
    "Sun and loads are averages; a worse month will come. State what is switched off first.",
    "Used parts and parts of the customer's own were taken on the customer's data, not tested.",
    "Keep at the battery: an extinguisher for electrical fires, labels, the one-line diagram.",
)
"""Short form of what belongs on every answer."""

NARROW_SHARE = 0.05
"""Margin of a hard rule below which it is pointed out; common practice, no source."""

HEAVY_KG = 25.0
LARGE_INDOORS_KWH = 15.0
TOUCH_V, BUILDING_V, LOW_V = 60.0, 80.0, 120.0
"""DC volts from which common electrical codes ask for more; from memory, they differ by country."""

CARE = re.compile(
    r"\b(vaccines?|insulin|medic\w*|oxygen|nebuli[sz]er|cpap|ventilator|dialysis|suction|concentrator|incubator|"
    r"infusion|defibrillator|life support)\b",
    re.IGNORECASE,
)
"""Words in the name of a load that suggest that somebody's health hangs on it."""


def cautions(report: Report | None, problem: Problem) -> list[str]:
    """What this design gives reason to say, then what is always said. `report` is None where no design was found."""
    own = list(_of_problem(problem))
    if report is not None:
        own += [text for say in _OF_DESIGN for text in say(report, problem)]
    return [*own, *ALWAYS]


def own_cautions(report: Report | None, problem: Problem) -> list[str]:
    """Only what this design and site give reason to say."""
    return cautions(report, problem)[: -len(ALWAYS)]


BEHIND_A_TRANSFORMER = (
    "An autotransformer makes the 240 V: all loads of 120 V are counted on the inverters' own leg, its case is earthed and its neutral is the inverters'; "
    "a breaker before it opens both ends. Ask the inverter's maker whether it starts one: its inrush is not counted."
)


def beside_the_array(kind: str, setting: str) -> str:
    """What to know of the source of a design, whose chargers are set to so much."""
    return {
        "alternator": f"An alternator charges too: set its chargers to {setting}, let them run only while the engine runs, and hold the alternator's heat "
        "against its maker's sheet; at half of its output at idle that is likely and not certain.",
        "shore": f"Shore power charges too: a transfer switch, one neutral-earth bond at a time; set its chargers to {setting}.",
        "generator": f"A generator belongs to the design: outdoors, away from openings, behind a transfer switch, started once a month; set its chargers to {setting}. "
        "Its transfer switch and its fuel store are not sized here.",
    }[kind]


def counted_on(items: Iterable[str]) -> str:
    """What to know of soft starters before some loads."""
    return (
        f"Soft starters are counted on before {', '.join(items)}: not every motor starts with one (compressors under pressure, motors with a start "
        "capacitor). Ask its maker, and try it before the inverter is bought."
    )


def _of_problem(problem: Problem) -> Iterator[str]:
    cared = [load.item for load in problem.loads if CARE.search(load.item)]
    if cared:
        yield f"Somebody's health may hang on: {', '.join(cared)}. This tool does not certify such loads: alarm, store and plan for failure of their own."
    bias = bias_words(problem)
    if bias:
        yield bias
    source = problem.site.other_source
    if source == "generator" and not problem.source_in_design:
        yield "A generator stands behind the array: outdoors, away from openings, behind a transfer switch; it is not on the bill."
    elif source == "shore" and not problem.source_in_design:
        yield "Shore power stands behind the array: a transfer switch, and one neutral-earth bond at a time."
    elif source == "alternator" and not problem.source_in_design:
        yield "An alternator charges too: through a DC-DC charger made for it, fused at both ends; it is not part of this answer."
    if problem.array.mounting == "flat on a vehicle":
        yield "The system stands in a vehicle: its own standards apply to cable, fixing, ignition protection and ventilation."
    if problem.inverter.stepped_up is not None:
        yield BEHIND_A_TRANSFORMER
    fitted = [load.item for load in problem.loads if load.soft_starter not in (None, "may")]
    if fitted:
        yield counted_on(fitted)
    if problem.mounting is not None:
        yield (
            "Ratings of mounts were compared with the wind and snow of the problem file, and weight with what it says of the roof. Anchors, "
            "rafters, ballast against wind and how loads add up were not calculated: that is a structural engineer's work, by local code."
        )
        seen = [one.mounting for one in by_plane(problem)]
        if any(one is not None and one.on_a_roof and one.roof_load_max_kn_m2 is None for one in seen):
            yield "The problem file does not say what the roof bears: its load was not held against anything."
        by_month = problem.array.tilt_deg_by_month
        if by_month is not None:
            yield (
                f"The sun counts on the array being set anew {changes_a_year(by_month)} times a year, at the beginning of the months that the answer names. "
                "Whoever does it does it every year; left as it is, the array gives less in the months of the other position."
            )
        if problem.mounting.salt:
            yield "Salt air: mounts for it and tinned cable were taken; the catalog does not say which modules and boxes stand salt: ask their makers."
    if problem.site.earthing != "negative":
        yield f"The bank is {'earthed at its positive pole' if problem.site.earthing == 'positive' else 'not earthed at either pole'}: fuses, switches and labels differ from the usual."


def _lines(report: Report, rule: str) -> list[Line]:
    return [line for line in report.lines if line.rule == rule]


def _string_volts(report: Report, problem: Problem) -> Iterator[str]:
    known = [line for line in _lines(report, "cold-open-circuit") if isinstance(line.actual, float)]
    if not known:
        return
    volts = max(line.actual for line in known)
    says = f"A string reaches {volts:.0f} V open-circuit in the cold"
    if volts > LOW_V:
        yield f"{says}, above {LOW_V:g} V: this DC kills, and in most places only licensed people may connect it."
    elif volts > TOUCH_V:
        yield f"{says}, above {TOUCH_V:g} V: touching it is dangerous, and many places limit who may connect it."
    if volts > BUILDING_V and problem.site.on_building:
        yield f"{says}, above {BUILDING_V:g} V on a building: many codes ask for arc-fault protection and rapid shutdown."


def _bank(report: Report, problem: Problem) -> Iterator[str]:
    bank, battery = report.design.bank, report.design.bank.battery
    kwh = battery.energy_kwh * bank.units
    if kwh > LARGE_INDOORS_KWH and problem.bank.place == "living space":
        yield f"The bank of {kwh:.1f} kWh stands in a living space: many codes and insurers stop at {LARGE_INDOORS_KWH:g} kWh or less."
    if bank.is_lead_acid and bank.strings > 2:
        yield f"{bank.strings} lead-acid strings in parallel share current badly: equal cables, diagonal take-off, a fuse a string."
    if bank.is_lithium and bank.series > 1:
        yield f"{bank.series} lithium packs in series: charge each to full before joining them, fit balancers, check their volts every year."
    if needs_cold_cut_out(report.whole.needs, bank):
        yield (
            f"The battery falls to {report.whole.needs.battery_lowest_c:g} C, lithium cells below {HEATING_BELOW_C:g} C: see that charging "
            "really stops by itself at 0 C, with the sensor on the cells."
        )
    if bank.chemistry.needs_water and not problem.site.attended:
        yield "The cells need water and nobody attends the site: they will run dry."
    if bank.chemistry.gasses:
        yield "These cells give off hydrogen and acid mist: a ventilated place, no sparks, the vent above the cells."
    if battery.equalise_v is not None and battery.equalise_v * bank.series > TOUCH_V and problem.bank.equalise != "never":
        yield f"Equalising lifts the bank to {battery.equalise_v * bank.series:.1f} V, above {TOUCH_V:g} V: covered terminals, and loads that stand it."
    if battery.dangerous_goods:
        yield f"Batteries travel as dangerous goods (class {battery.dangerous_goods})."


def _own_parts(report: Report, problem: Problem) -> Iterator[str]:
    used = [own for own in problem.owned if report.design.pieces[own.part]]
    if used:
        names = ", ".join(dict.fromkeys(own.part for own in used))
        yield f"Parts of the customer's own are used on the customer's word, untested: {names}."
    if any(own.part == report.design.bank.battery.id and own.age_months > 0 for own in used):
        yield "Used batteries are in the bank: test the capacity of each before relying on it."
    bank = report.design.bank
    oldest = max((own.age_months for own in used if own.part == bank.battery.id), default=0.0)
    if oldest > 12 * bank.chemistry.calendar_life_years:
        yield (
            f"The oldest battery of the customer's own is {oldest:g} months old; {bank.battery.chemistry} is taken to last {bank.chemistry.calendar_life_years:g} years: "
            "count on buying the bank anew soon."
        )


def _inverters(report: Report, problem: Problem) -> Iterator[str]:
    inverters = report.design.inverters
    if inverters.inverter is None:
        return
    critical = [load.item for load in problem.loads if load.supply == "AC" and load.critical == "yes"]
    if inverters.count == 1 and critical:
        most = 3
        names = ", ".join(critical[:most]) + (f" and {len(critical) - most} more" if len(critical) > most else "")
        yield f"One inverter carries critical loads ({names}): when it fails they stop. Think of a spare."
    if inverters.inverter.wave == "modified":
        yield "The inverter makes a modified sine wave: only the listed loads may be plugged in."


def _source(report: Report, _: Problem) -> Iterator[str]:
    source = report.design.source
    if source is None:
        return
    yield beside_the_array(source.kind, f"{source.charge_a:g} A together")
    if report.generator is not None and source.generator is not None and report.generator.load_share < source.generator.least_load_share:
        yield "The generator runs at a light load while it charges: engines, diesel above all, wear and soot up."


def _array(report: Report, _: Problem) -> Iterator[str]:
    over = [line.where for line in _lines(report, "array-above-rating") if line.passed is False]
    if over:
        yield f"An array is above what its controller is meant for ({'; '.join(over)}): power is lost in full sun, and the warranty may end."
    if len(report.design.blocks) > 1:
        yield "There is more than one array: each stays on its own controller, their strings are never joined, all controllers get the same settings."
    if len({block.plane for block in report.design.blocks}) > 1 and report.design.bank.is_lead_acid:
        yield "The arrays lie on several planes and reach their most at different hours: the charge current asked for a lead-acid bank is held by their sum."
    for number, block in enumerate(report.design.blocks, start=1):
        if block.limit_a is not None:
            yield f"Set the charge limit of {block.part.id} (array {number}) to {block.limit_a:g} A: without it the bank is charged too hard."


def _narrow(report: Report, _: Problem) -> Iterator[str]:
    """Hard rules that hold by little; counts and equalities have no such thing as little."""
    told: dict[str, Line] = {}
    for line in report.lines:
        share = line.margin_share
        if line.severity != "hard" or line.passed is not True or share is None or share >= NARROW_SHARE:
            continue
        if line.sense == "equals" or line.unit in ("count", "cells") or RULES[line.rule].by_size:
            continue
        known = told.get(line.rule)
        if known is None or known.margin_share is None or share < known.margin_share:
            told[line.rule] = line
    for line in told.values():
        yield f"Only {max(0.0, 100 * (line.margin_share or 0)):.1f} % to spare where damage begins: {lowered(line.title)} ({line.where})."


def _handling(report: Report, _: Problem) -> Iterator[str]:
    heavy = [part for part in report.design.parts if part.weight_kg > HEAVY_KG]
    if heavy:
        yield "Two people or a hoist for: " + ", ".join(f"{part.id} ({part.weight_kg:g} kg)" for part in heavy) + "."
    short = [line.where for line in _lines(report, "stock") if line.passed is False]
    if short:
        yield f"Not enough in stock: {', '.join(short)}."
    unknown = [lowered(line.title) for line in report.lines if line.passed is None]
    if unknown:
        yield f"Could not be judged from the catalog: {'; '.join(dict.fromkeys(unknown))}."
    if any(part.assumed for part in report.design.parts):
        yield "Some values of parts are blank in the catalog; cautious ones were taken and are listed with the answer. Read the sheets."


_OF_DESIGN: tuple[Callable[[Report, Problem], Iterator[str]], ...] = (
    _string_volts, _narrow, _bank, _inverters, _source, _array, _own_parts, _handling,
)
