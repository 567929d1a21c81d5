"""Rules of every circuit: its conductor, its device, its voltage drop; each from the records of the parts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.circuit import ON_AC, Circuit, resistance_ohm_km
from optimizer.circuits.figures import inverter_dc_a
from optimizer.circuits.wiring import Wiring
from optimizer.design import Design
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Tables
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.needs.site import Needs
from optimizer.proof.lines import Line, Lines

if TYPE_CHECKING:
    from optimizer.proof.whole import Whole
from optimizer.rules import protection, wiring

TERMINALS_C = 75
"""What terminals of the trade are made for [C]; common practice, no source."""

NEXT_SIZE_MAY = {"NEC": True, "IEC": False}
"""Where a device may be the next standard size above its conductor's ampacity: NFPA 70 (NEC) 240.4(B); IEC 60364-4-43 does not know it."""


def kept_shares(sized: Wiring, design: Design) -> np.ndarray | None:
    """What the cables leave of the energy of each supply, AC first; None where circuits are not sized.

    The drop at the coincident load is taken for every hour.
    """
    if not sized.active:
        return None
    demand, inverters = sized.needs.demand, design.inverters
    kept = np.ones(1 + len(demand.dc_volts))
    if inverters.inverter is not None:
        dc, ac = sized.inverter_circuits(design.bank, inverters)
        inverter, count = inverters.inverter, inverters.count
        kept[0] -= _drop_share(dc, sized.tables) * min(1.0, demand.coincident_w / (count * inverter.cont_w))
        kept[0] -= _drop_share(ac, sized.tables) * min(1.0, demand.coincident_va / (count * inverter.cont_va))
    for at, circuit in enumerate(sized.dc_circuits(design.bank, design.converters), start=1):
        kept[at] -= _drop_share(circuit, sized.tables)
    return kept


def _drop_share(circuit: Circuit, tables: Tables) -> float:
    if circuit.cable is None:
        return 0.0
    ask = circuit.ask
    return float(wiring.voltage_drop_v(ask.drop_a, ask.one_way_m, resistance_ohm_km(circuit.cable, tables))) / ask.over_v


def circuit_lines(needs: Needs, tables: Tables, circuits: tuple[Circuit, ...], sized: Wiring) -> list[Line]:
    """Rules 12, 82-86 and 89 for every circuit of a design."""
    found: list[Line] = []
    for circuit in circuits:
        lines = Lines(needs.severities, circuit_name(circuit))
        lines.add("circuit-parts", circuit.complete, True, lines.at("; ".join(_missing(circuit))) if not circuit.complete else "")
        if circuit.cable is not None:
            _conductor(lines, tables, circuit, circuit.cable, sized)
        for device in [circuit.device, *(part for part, _ in circuit.beside)]:
            if device is not None:
                _device(lines, tables, circuit, device, sized)
        found += lines.lines
    return found


def busbar_lines(whole: Whole, sized: Wiring) -> list[Line]:
    """Rule 89 for the busbars of a design: sums of what its own circuits may carry."""
    design, core = whole.design, whole.core
    joint = sized.busbar(design.bank, design.inverters, design.converters)
    if joint is None:
        return []
    lines, bar = Lines(core.needs.severities, "busbars"), joint.bar
    lacks = f"no busbar for {joint.carries_a:.4g} A, {joint.ways} conductors, {joint.stands_v:.4g} V"
    lines.add("circuit-parts", bar is not None, True, lines.at(lacks) if bar is None else "")
    if bar is None:
        return lines.lines
    inverters, source, demand = design.inverters, design.source, core.needs.demand
    feeding = {use.load_v: use.count for use in design.converters}
    branches = 0 if sized.terminals_feed else sum(feeding.get(volts, 1) for volts in demand.dc_volts)
    loads = inverter_dc_a(inverters.inverter) * inverters.count if inverters.inverter is not None else 0.0
    loads += core.dc_current_a(demand.coincident_dc_w) if branches else 0.0
    sources = whole.charge_a("high_a") + (source.charge_a if source is not None else 0.0)
    controllers = sum(block.count for block in design.blocks if not block.built_in)
    where = lines.at(bar.id)
    lines.add("busbar-rating", bar.rated_a, max(loads, sources), where)
    lines.add("busbar-ways", bar.ways, design.bank.strings + inverters.count + branches + controllers + (source.count if source is not None else 0), where)
    lines.add("busbar-voltage", bar.dc_v_max, sized.top_v(design.bank), where)
    return lines.lines


def circuit_name(circuit: Circuit) -> str:
    """What a circuit is called in the proof and in the schedules."""
    ask = circuit.ask
    return f"{ask.kind} circuit" + (f", {ask.where}" if ask.where else "")


def _missing(circuit: Circuit) -> list[str]:
    ask, lacking = circuit.ask, list(circuit.lacking)
    asked = f"for {ask.steady_a:.4g} A, {ask.stands_v:.4g} V"
    if circuit.cable is None:
        lacking.append(f"no cable {asked}, {ask.one_way_m:g} m one way")
    if circuit.device is None and circuit.needs_device:
        lacking.append(f"no device {asked}" + (f", {ask.fault_a:,.0f} A to break" if ask.fault_a else ""))
    return lacking


def _conductor(lines: Lines, tables: Tables, circuit: Circuit, cable: Cable, sized: Wiring) -> None:
    ask, conductor = circuit.ask, tables.conductors[cable.family, cable.size]
    where = lines.at(f"{cable.id}, {cable.size}")
    carried = _carried_a(tables, cable, ask.ambient_c, sized.asked.conductors_together)
    lines.add("conductor-ampacity", carried, ask.steady_a, where)
    at_terminals = float(conductor.ampacity_a(min(cable.insulation_c, TERMINALS_C)))
    lines.add("terminal-ampacity", at_terminals, float(protection.continuous_a(ask.steady_a)), where)
    lines.add("cable-voltage", cable.dc_v_max, ask.stands_v, where)
    if sized.tinned:
        lines.add("cable-tinned", cable.tinned, True, where)
    if ask.drop_pct_max is not None:
        lines.add("voltage-drop", 100 * _drop_share(circuit, tables), ask.drop_pct_max, f"{where}, {ask.one_way_m:g} m one way")


def _carried_a(tables: Tables, cable: Cable, ambient_c: float, together: int) -> float | None:
    """Ampacity of a cable where it lies [A]; None where the tables do not reach."""
    conductor = tables.conductors[cable.family, cable.size]
    try:
        around = tables.ambient_factor(cable.family, conductor.rated_at_c(cable.insulation_c), ambient_c)
        bundled = tables.bundling_factor(cable.family, together)
    except OutOfRange:
        return None
    return float(wiring.corrected_ampacity_a(conductor.ampacity_a(cable.insulation_c), around, bundled))


def _device(lines: Lines, tables: Tables, circuit: Circuit, device: Protection, sized: Wiring) -> None:
    ask, cable = circuit.ask, circuit.cable
    where = lines.at(device.id)
    volts = device.ac_v_max if ask.kind in ON_AC else device.dc_v_max
    lines.add("device-voltage", volts or 0.0, ask.stands_v, where)
    if device.kind == "surge arrester":
        return
    if device.kind in ("arc-fault detector", "array shutdown"):
        lines.add("device-rating", device.rated_a or 0.0, ask.steady_a, where)
        return
    if device.kind == "string fuse":
        isc = ask.steady_a / float(protection.source_circuit_a(1.0, 1, 0.0))
        lines.add("device-rating", device.rated_a or 0.0, float(protection.string_fuse_least_a(isc, sized.family)), where)
        lines.add("string-fuse", device.rated_a or 0.0, float(protection.string_fuse_most_a(isc, circuit.fuse_most_a, sized.family)), where)
    else:
        lines.add("device-rating", device.rated_a or 0.0, float(protection.continuous_a(ask.steady_a)), where)
    if cable is not None and device.terminal_mm2_max is not None:
        lines.add("terminal-size", tables.conductors[cable.family, cable.size].area_mm2, device.terminal_mm2_max, lines.at(f"{device.id} with {cable.size}"))
    if ask.fault_a:
        lines.add("interrupt-rating", device.interrupt_a or 0.0, ask.fault_a, where)
    if device.kind in ("string fuse", "fuse", "breaker", "ac breaker") and cable is not None:
        carried = _carried_a(tables, cable, ask.ambient_c, sized.asked.conductors_together)
        at_terminals = float(tables.conductors[cable.family, cable.size].ampacity_a(min(cable.insulation_c, TERMINALS_C)))
        least = min(carried or 0.0, at_terminals)
        most = float(protection.device_most_a(least, tables.standard_ratings(cable.family), NEXT_SIZE_MAY[cable.family]))
        cap = tables.conductors[cable.family, cable.size].device_max_a
        lines.add("device-protects", device.rated_a or 0.0, most if cap is None else min(most, cap), lines.at(f"{device.id} before {cable.size}"))
