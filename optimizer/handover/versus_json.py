"""The answer of `versus` as plain data, and the figures that its designs are looked at by."""

from __future__ import annotations

from collections import Counter
from typing import Any

from optimizer.answer import Answer
from optimizer.bill import Bill
from optimizer.design import Design
from optimizer.handover.as_json import Data, choice_data
from optimizer.handover.generator_text import generator_data, visits_data
from optimizer.handover.questions_json import by_subsystem, in_money
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Busbar, Cable, Protection
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import MONTHS
from optimizer.proof.check import Report
from optimizer.questions.flips import FlipAxis, Interval, Intervals
from optimizer.questions.versus import Energy, Versus, energy_of
from optimizer.questions.why_not import proven
from optimizer.rules.array import array_input_current_a
from optimizer.rules.bank import discharge_current_a
from optimizer.rules.book import COMMON

CABLES = ("array string", "controller ampere", "battery unit", "battery string", "inverter dc ampere", "converter")
"""Allowances that are cables, links, fuses and switches, by what they are counted per; the others are mounting, boxes, labels."""

BESIDE_PRICE = {
    "shade": "A shaded module on a PWM controller costs its own string only, and strings are short; in a long string of a "
             "tracker one shaded module costs a part of the whole string.",
    "radio noise": "Trackers switch their whole power fast and can disturb radio reception near by; PWM controllers switch slowly "
                   "and disturb less.",
    "full bank": "In months in which the bank is full by noon the better harvest of a tracker is thrown away; it counts in the "
                 "months that are short.",
    "repair": "A PWM controller has few parts and costs little enough to lie in a drawer as a spare; a tracker is exchanged, "
              "not repaired in the field.",
    "lightning": "A tracker has more electronics at the array's terminals for a surge to destroy.",
    "spares": "Controllers of one kind share one spare, and while one is out the others charge on; a single large one takes all "
              "charging with it.",
    "built-in": "A tracker built into an inverter is exchanged with it: until then there is neither AC nor its charging.",
}
"""What speaks for and against kinds of controller beside the price; each of it is common practice, no source."""


def largest_dc_a(report: Report) -> float:
    """Largest steady current at the bank: loads at its lowest voltage, or the charge [A]."""
    core, demand = report.whole.core, report.whole.needs.demand
    loads = core.dc_current_a(demand.coincident_dc_w)
    if core.inverters.inverter is not None:
        loads = float(discharge_current_a(demand.coincident_w, core.inverters.inverter.efficiency, core.lowest_v, loads))
    return max(loads, report.whole.charge_a("high_a"))


def allowances_by_per(bill: Bill, catalog: Catalog) -> dict[str, int]:
    """Allowances on a bill, by what they are counted per [cents]."""
    sums: Counter[str] = Counter()
    for line in bill.lines:
        part = catalog.by_id.get(line.part)
        if isinstance(part, Allowance):
            sums[part.per] += line.price_cents
    return dict(sums)


def circuits_cents(bill: Bill, catalog: Catalog) -> int:
    """Cables, devices and busbars on a bill that are sized with their circuits [cents]."""
    return sum(line.price_cents for line in bill.lines if isinstance(catalog.by_id.get(line.part), Busbar | Cable | Protection))


def _year(energy: Energy) -> Data:
    """Sums over the months of use [kWh]."""
    values = {
        "could": energy.could, "conversion": energy.conversion, "clipping": energy.clipping, "voltage": energy.voltage,
        "own_use": energy.own_use, "battery": energy.battery, "harvest": energy.harvest, "load": energy.load,
    }
    return {f"{name}_kwh": energy.over_the_year(value) for name, value in values.items()}


def figures_data(report: Report, catalog: Catalog) -> Data:
    """What one looks at when designs stand side by side."""
    design, month, energy = report.design, report.design_month, energy_of(report)
    at = MONTHS.index(month.month)
    allowances = allowances_by_per(report.bill, catalog)
    return {
        "price_by_subsystem": {kind: cents / 100 for kind, cents in by_subsystem(report.bill, catalog).items()},
        "life_cycle": report.life_cycle.total_cents / 100,
        "cable_allowance": (sum(allowances.get(per, 0) for per in CABLES) + circuits_cents(report.bill, catalog)) / 100,
        "circuits": circuits_cents(report.bill, catalog) / 100,
        "allowances": {per: cents / 100 for per, cents in allowances.items()},
        "generator": generator_data(report.generator),
        "visits": visits_data(report.visits),
        "design_month": month.month,
        "harvest_wh": month.array_wh,
        "load_wh": month.load_wh,
        "could_wh": energy.in_month(energy.could, at),
        "lost_wh": energy.in_month(energy.lost, at),
        "year": _year(energy),
        "array_w": sum(block.array_w * block.count for block in design.blocks),
        "area_m2": sum(block.module.area_m2 * block.modules for block in design.blocks),
        "weight_kg": report.bill.weight_kg,
        "bank_units": design.bank.units,
        "bank_strings": design.bank.strings,
        "modules": sum(block.modules for block in design.blocks),
        "array_strings": sum(block.strings * block.count for block in design.blocks),
        "largest_dc_a": largest_dc_a(report),
        "charge_a": report.whole.charge_a("high_a"),
        "array_a": max(float(array_input_current_a(block.module.isc_a, block.strings, block.module.bifacial_pct)) for block in design.blocks),
        "not_kept": _not_kept(report),
    }


def _not_kept(report: Report) -> list[Data]:
    """Good practice that the design does not keep: it is reported, not enforced. One line a rule, the furthest off."""
    worst: dict[str, Any] = {}
    for line in report.lines:
        if line.severity == "soft" and line.passed is False:
            there = worst.get(line.rule)
            if there is None or (line.margin_share or 0.0) < (there.margin_share or 0.0):
                worst[line.rule] = line
    return [
        {"rule": line.rule, "title": line.title, "actual": line.actual, "required": line.required, "unit": line.unit, "where": line.where}
        for line in worst.values()
    ]


def controller_facts(design: Design) -> Data:
    """What the chosen controllers can do beside the price, as their rows of the catalog say."""
    blocks = design.blocks
    devices = [block.device for block in blocks]
    pieces: Counter[str] = Counter()
    for block in blocks:
        pieces[block.part.id] += block.count
    return {
        "controllers": dict(pieces),
        "in_inverter": any(block.built_in for block in blocks),
        "bank_v": sorted(set.intersection(*(set(device.bank_v) for device in devices))),
        "lfp_profile": all(device.lfp_profile for device in devices),
        "low_t_cut_out": all(device.low_t_cut_out for device in devices),
        "parallel_ok": all(device.parallel_ok for device in devices),
        "self_w": sum(block.device.self_w * block.count for block in blocks),
        "load_terminal_a": sum(block.device.load_terminal_a * block.count for block in blocks),
        "modules_in_series": max(block.series for block in blocks),
    }


def beside_price(found: Versus) -> list[Data]:
    """General facts about the kinds of controller that are compared."""
    values = {option.value for option in found.options if option.answer.report is not None}
    if found.by != "controller" or len(values) < 2:
        return []
    trackers = values - {"pwm"}
    about = [name for name in BESIDE_PRICE if name != "built-in"] if "pwm" in values and trackers else ["spares"]
    about += ["built-in"] if "built-in tracker" in values else []
    return [{"about": name, "text": BESIDE_PRICE[name], "source": COMMON} for name in about]


def _option(answer: Answer, by: str) -> Data:
    report = answer.report
    facts: Data = {"controller_facts": controller_facts(report.design) if report else None} if by == "controller" else {}
    return {
        "outcome": answer.outcome.value,
        "cost": in_money(report.bill.paid_cents if report else None),
        "choice": choice_data(answer.choice) if answer.choice else None,
        "reason": answer.reason,
        "figures": figures_data(report, answer.catalog) if report else None,
        **facts,
    }


def versus_data(found: Versus, inputs: Data) -> Data:
    """The answer of `versus`."""
    currency = found.free.catalog.currency
    return {
        "by": found.by,
        "currency": currency,
        "options": [{"value": option.value, **_option(option.answer, found.by)} for option in found.options],
        "cheapest": found.cheapest.value if found.cheapest else None,
        "unrestricted": _option(found.free, found.by),
        "flips": [
            *({"parameter": f"price of {flip.part}", "unit": currency, "at": flip.cents / 100, "from": flip.winner, "to": flip.follower} for flip in found.flips),
            *(flip for along in found.intervals for flip in _boundaries(along)),
        ],
        "intervals": [_along(along) for along in found.intervals],
        "beside_price": beside_price(found),
        "exact": all(proven(option.answer) for option in found.options) and all(along.complete and along.proven for along in found.intervals),
        "inputs": inputs,
    }


def _boundaries(along: Intervals) -> list[Data]:
    """Where the winner changes: the last value at which the former wins."""
    axis = along.over.axis
    return [
        {"parameter": axis.name, "unit": axis.unit, "at": one.end, "from": one.winner, "to": other.winner}
        for one, other in zip(along.found, along.found[1:], strict=False) if round((other.start - one.end) / axis.resolution) == 1
    ]


def _along(along: Intervals) -> Data:
    over, axis = along.over, along.over.axis
    return {
        "over": axis.name, "title": over.title, "unit": axis.unit, "resolution": axis.resolution, "now": axis.now,
        "scale": over.scale, "scale_unit": over.scale_unit, "exact": axis.exact and along.complete and along.proven, "complete": along.complete,
        "intervals": [_interval(over, one) for one in along.found],
    }


def _interval(over: FlipAxis, one: Interval) -> Data:
    return {
        "from": one.start, "to": one.end, "winner": one.winner, "scale_from": over.scaled(one.start), "scale_to": over.scaled(one.end),
        "cost_from": in_money(one.start_cents), "cost_to": in_money(one.end_cents),
    }
