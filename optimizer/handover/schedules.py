"""What an electrician builds from: wire schedule, overcurrent schedule, disconnects and earthing, settings of every device."""

from __future__ import annotations

from typing import Any

from optimizer.circuits.busbars import POLES
from optimizer.circuits.circuit import Circuit
from optimizer.circuits.earth import SOURCES, earth_size
from optimizer.design import Block
from optimizer.inputs.catalog import Tables
from optimizer.inputs.circuit_parts import Cable
from optimizer.inputs.problem import MONTHS
from optimizer.needs.positions import positions
from optimizer.needs.site import HEATING_BELOW_C
from optimizer.proof.check import Report
from optimizer.proof.circuits import circuit_name
from optimizer.proof.lines import Line
from optimizer.proof.mounts import mounts_name
from optimizer.rules.book import RULES

Data = dict[str, Any]

ENDS = {
    "array string": ("modules of a string", "combiner, or the next string"), "array run": ("array", "controller"), "charge": ("controller", "busbars"),
    "battery string": ("battery string, at its positive pole", "busbars"), "inverter": ("busbars", "inverter"), "AC output": ("inverter", "AC panel"),
    "DC branch": ("busbars or converter", "DC panel"), "charger": ("charger", "busbars"), "generator": ("generator", "transfer switch and chargers"),
    "shore": ("inlet", "transfer switch and chargers"), "alternator": ("starter battery", "charger"),
}
"""Where each kind of circuit runs from and to."""

DEVICE_AT = {
    "array string": "in the combiner", "array run": "at the controller", "charge": "at the busbars", "battery string": "at the battery's positive pole",
    "inverter": "at the busbars", "AC output": "at the inverter", "DC branch": "at the busbars or behind the converter",
    "charger": "at the busbars", "generator": "at the generator", "shore": "at the inlet", "alternator": "at the starter battery",
}
"""Where its device stands: at the end from which a short circuit is fed; an array's switch where hands reach it."""

OF_WIRE = ("conductor-ampacity", "terminal-ampacity", "cable-voltage", "voltage-drop", "device-protects")
OF_DEVICE = ("device-rating", "string-fuse", "device-voltage", "interrupt-rating", "terminal-size", "device-protects")


def schedules_data(report: Report) -> Data:
    """Every schedule of a design; circuits are empty where allowances stand for them."""
    if not report.circuits:
        return {"circuits": [], "busbars": [], "switching": [], "mounts": mounts_data(report), "settings": settings_data(report)}
    return {
        "circuits": circuits_data(report), "busbars": busbars_data(report), "switching": switching_data(report), "mounts": mounts_data(report), "settings": settings_data(report),
    }


def mounts_data(report: Report) -> list[Data]:
    """What each array stands on; nothing where an allowance stands for mounts."""
    rows = []
    for number, block in enumerate(report.design.blocks, start=1):
        asked = report.whole.needs.mounting_on(block.plane)
        if asked is None:
            return []
        load = next((line.actual for line in report.lines if line.rule == "roof-load" and line.where == mounts_name(number)), None)
        rows += [
            {
                "array": number, "arrays": block.count, "modules": block.modules_each, "module": block.module.id, "mount": mount.id, "count": n,
                "place": mount.place, "places_each": mount.modules, "ballast_kg": n * mount.ballast_kg, "weight_kg": n * mount.weight_kg,
                "wind_max_m_s": mount.wind_max_m_s, "wind_m_s": asked.wind_m_s, "snow_max_kn_m2": mount.snow_max_kn_m2, "snow_kn_m2": asked.snow_kn_m2,
                "roof_load_kn_m2": load, "roof_load_max_kn_m2": asked.roof_load_max_kn_m2 if load is not None else None,
            }
            for mount, n in report.prices.mounts.of_block(block) or ()
        ]
    return rows


def circuits_data(report: Report) -> list[Data]:
    """One row a kind of circuit: conductor and devices, with the rule that set each."""
    return [_circuit(circuit, report, report.whole.core.tables) for circuit in report.circuits]


def busbars_data(report: Report) -> list[Data]:
    """The pair of busbars at the bank, with the rule that set it; nothing where too little meets there, or an allowance stands for them."""
    design = report.design
    joint = report.prices.wiring.busbar(design.bank, design.inverters, design.converters)
    if joint is None:
        return []
    bar = joint.bar
    full = {} if bar is None else {"busbar-rating": joint.carries_a / bar.rated_a, "busbar-ways": joint.ways / bar.ways}
    rule = RULES[max(full, key=full.__getitem__)] if full else None
    return [{
        "part": bar.id if bar else None, "count": POLES, "carries_a": joint.carries_a, "rated_a": bar.rated_a if bar else None,
        "conductors": joint.ways, "ways": bar.ways if bar else None, "voltage_v": joint.stands_v, "dc_v_max": bar.dc_v_max if bar else None,
        "set_by": {"rule": rule.id, "title": rule.title, "source": rule.source} if rule is not None else None,
    }]


def _circuit(circuit: Circuit, report: Report, tables: Tables) -> Data:
    ask, cable = circuit.ask, circuit.cable
    start, end = ENDS[ask.kind]
    own = [line for line in report.lines if line.where.startswith(f"{circuit_name(circuit)}:")]
    earth = earth_size(circuit, tables)
    return {
        "circuit": ask.kind, "where": ask.where, "count": ask.count, "from": start, "to": end, "one_way_m": ask.one_way_m,
        "steady_a": ask.steady_a, "design_a": 1.25 * ask.steady_a, "voltage_v": ask.stands_v, "ambient_c": ask.ambient_c,
        "conductors": ask.conductors, "metres_each": circuit.metres,
        "cable": cable.id if cable else None, "size": cable.size if cable else None, **_sizes(cable, tables),
        "insulation_c": cable.insulation_c if cable else None,
        "ampacity_a": _actual(own, "conductor-ampacity"), "drop_v": circuit.drop_v(tables) if ask.drop_pct_max is not None else None,
        "drop_pct": _actual(own, "voltage-drop"), "wire_set_by": _set_by(own, OF_WIRE),
        "device": circuit.device.id if circuit.device else None, "device_kind": circuit.device.kind if circuit.device else None,
        "device_at": DEVICE_AT[ask.kind] if circuit.device else None,
        "device_a": circuit.device.rated_a if circuit.device else None, "fault_a": ask.fault_a,
        "interrupt_a": circuit.device.interrupt_a if circuit.device else None, "device_set_by": _set_by(own, OF_DEVICE),
        "earth": {"size": earth, "source": SOURCES[cable.family]} if earth and cable else None,
        "beside": [{"part": part.id, "kind": part.kind, "count": number} for part, number in circuit.beside],
    }


def _sizes(cable: Cable | None, tables: Tables) -> Data:
    """A conductor in both ways of naming sizes: its own, and the next of the other family that is no thinner."""
    if cable is None:
        return {"area_mm2": None, "awg": None, "mm2": None}
    area = tables.conductors[cable.family, cable.size].area_mm2
    other = sorted((one.area_mm2, size) for (family, size), one in tables.conductors.items() if family != cable.family)
    next_size = next((size for mm2, size in other if mm2 >= area * 0.99), None)
    named = {"NEC": ("awg", "mm2"), "IEC": ("mm2", "awg")}[cable.family]
    return {"area_mm2": area, named[0]: cable.size, named[1]: next_size}


def _actual(lines: list[Line], rule: str) -> Any:
    return next((line.actual for line in lines if line.rule == rule), None)


def _set_by(lines: list[Line], rules: tuple[str, ...]) -> Data | None:
    """The rule with the least margin: it set the size."""
    rivals = [line for line in lines if line.rule in rules and line.margin_share is not None]
    line = min(rivals, key=lambda one: one.margin_share or 0.0, default=None)
    return None if line is None else {"rule": line.rule, "title": line.title, "source": line.source}


def switching_data(report: Report) -> list[Data]:
    """Disconnects, earthing and labels: a checklist, of which the parts are in the schedules."""
    design, problem = report.design, report.whole.needs.problem
    apart = [block for block in design.blocks if not block.built_in]
    rows = [
        ("array switch", f"{_one_each(sum(block.count for block in design.blocks), 'array')}, before its controller; load-break, for DC", "87"),
        *([("controller disconnect", "the breaker or fuse between each controller and the busbars; opened after the array's", "87")] if apart else []),
        ("battery disconnect", f"{_one_each(design.bank.strings, 'battery string')}, at its fuse", "87, 88"),
        ("equipment earth", "frames, rails, boxes and cabinets joined to one earth electrode", "90"),
        ("DC earth", {
            "negative": "the negative pole, in exactly one place", "positive": "the positive pole, in exactly one place",
            "floating": "neither pole: insulation is monitored instead",
        }[problem.site.earthing], "90"),
        ("cold voltage label", "at the array switch and the controller: the highest string voltage in the cold, and that it is live whenever there is light", "87"),
    ]
    if design.inverters.inverter is not None:
        rows += [
            ("inverter disconnect", f"{_one_each(design.inverters.count, 'inverter')}, at its fuse or breaker", "87"),
            ("neutral-earth bond", "in exactly one place at a time", "78, 90"),
        ]
    if problem.site.other_source in ("generator", "shore"):  # an alternator gives DC, to chargers and not to loads
        rows.append(("transfer switch", f"between {problem.site.other_source} and loads: the two are never joined", "78, 87"))
    return [{"item": item, "what": what, "row": row, "source": "common practice, no source; the local code decides"} for item, what, row in rows]


def _one_each(count: int, noun: str) -> str:
    """How many of something, one to each.

    >>> _one_each(1, "inverter"), _one_each(3, "inverter")
    ('one', 'one for each of 3 inverters')
    """
    return "one" if count == 1 else f"one for each of {count} {noun}s"


def settings_data(report: Report) -> list[Data]:
    """What is set on each device; the checks named beside it show that the devices agree."""
    sheets = [_controller_sheet(report, block, f"charging, array {number}") for number, block in enumerate(report.design.blocks, start=1)]
    design, bank = report.design, report.design.bank
    inverter = design.inverters.inverter
    if inverter is not None:
        low = bank.battery.bms_low_v * bank.series if bank.battery.bms and bank.battery.bms_low_v else None
        sheets.append({
            "device": inverter.id, "as": "inverter", "count": design.inverters.count,
            "settings": _known({
                "bank voltage [V]": bank.volts, "low-voltage cut-out [V]": inverter.dc_low_cut_v,
                "reconnect, at least [V]": round(inverter.dc_low_cut_v + 0.5 * bank.volts / 12, 2),
                "highest DC voltage [V]": inverter.dc_max_v, "battery's own low cut-off [V]": low, "search mode": report.whole.needs.problem.inverter.on == "search",
                "charger, at most [A]": bank.battery.charge_max_a * bank.strings if inverter.charge_a else None,
            }),
            "agrees": _agrees(report, ("cut-out-order", "inverter-dc-window")),
        })
    sheets += _mount_sheets(report)
    if bank.battery.bms:
        sheets.append({
            "device": bank.battery.id, "as": "battery, fixed by its maker", "count": bank.units,
            "settings": _known({
                "low cut-off of each [V]": bank.battery.bms_low_v, "high cut-off of each [V]": bank.battery.bms_high_v,
                "charging stops in the cold by itself": bank.battery.bms_cold_cut_out, "lowest charging temperature [C]": bank.battery.charge_t_min_c,
            }),
            "agrees": _agrees(report, ("charge-below-cut-off", "cut-out-order")),
        })
    return sheets


def _mount_sheets(report: Report) -> list[Data]:
    """How the mounts of an array are set through the year, where its tilt changes."""
    by_month = report.whole.needs.problem.array.tilt_deg_by_month
    if by_month is None:
        return []
    settings = {f"from the beginning of {MONTHS[one.months[0]]} [deg]": one.tilt_deg for one in positions(by_month)}
    return [
        {"device": mount.id, "as": f"mounts, array {number}", "count": n * block.count, "settings": settings, "agrees": _agrees(report, ("mount-tilt", "mount-adjustable"))}
        for number, block in enumerate(report.design.blocks, start=1) for mount, n in report.prices.mounts.of_block(block) or ()
    ]


def _controller_sheet(report: Report, block: Block, role: str) -> Data:
    bank, battery, needs = report.design.bank, report.design.bank.battery, report.whole.needs
    equalise: object = "disabled"
    if battery.equalise_v is not None and needs.problem.bank.equalise != "never" and block.device.equalises:
        with_loads = "loads stay connected" if needs.problem.bank.equalise == "connected" else "inverter and DC loads disconnected first"
        equalise = f"{battery.equalise_v * bank.series:.4g}, {with_loads}"
    cold = needs.battery_lowest_c < HEATING_BELOW_C and bank.is_lithium
    most = battery.charge_max_a * bank.strings
    return {
        "device": block.part.id, "as": role, "count": block.count,
        "settings": _known({
            "bank voltage [V], set by hand": bank.volts, "chemistry": battery.chemistry, "absorption [V]": round(bank.absorb_v, 2),
            "float [V]": round(battery.float_v * bank.series, 2) if battery.float_v else None, "equalise [V]": equalise,
            "temperature compensation [mV/K]": round(battery.tcomp_mv_k * bank.series, 1) if bank.is_lead_acid and block.device.temperature_compensated else "off",
            "charge limit [A]": block.limit_a, "bank takes at most [A], from all chargers": round(most, 1),
            "low-temperature charge cut-out [C]": battery.charge_t_min_c if cold else None,
        }),
        "agrees": _agrees(report, ("charge-profile", "charge-below-cut-off", "low-temperature-cut-out", "maximum-charge-current", "dc-load-upper-voltage")),
    }


def _known(settings: Data) -> Data:
    return {name: value for name, value in settings.items() if value is not None}


def _agrees(report: Report, rules: tuple[str, ...]) -> list[Data]:
    """Checks that show that the devices agree, one a rule."""
    found: dict[str, Line] = {}
    for line in report.lines:
        if line.rule in rules:
            there = found.get(line.rule)
            if there is None or (line.margin_share or 0.0) < (there.margin_share or 0.0):
                found[line.rule] = line
    return [
        {"rule": line.rule, "title": line.title, "actual": line.actual, "required": line.required, "unit": line.unit, "passed": line.passed, "source": line.source}
        for line in found.values()
    ]
