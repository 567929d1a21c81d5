"""The equipment earth conductor beside a circuit: named in the schedules, not priced."""

from __future__ import annotations

from optimizer.circuits.circuit import Circuit
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Tables
from optimizer.rules import earthing, protection

EARTHED = ("array run", "inverter", "AC output", "generator", "shore")
"""Circuits that an earth conductor goes with: to the frames of the array, to cases, to the AC panel."""

PROTECTS = ("fuse", "breaker", "ac breaker")

SOURCES = {"NEC": "NEC 250.122 (from memory)", "IEC": "IEC 60364-5-54 (from memory)"}


def earth_size(circuit: Circuit, tables: Tables) -> str | None:
    """The least single conductor of the circuit's family that may be its equipment earth; None where none goes with it or none is known."""
    cable, ask = circuit.cable, circuit.ask
    if cable is None or ask.kind not in EARTHED:
        return None
    line = tables.conductors[cable.family, cable.size].area_mm2
    if cable.family == "IEC":
        least = float(earthing.earth_by_line_mm2(line))
    else:
        device = circuit.device
        rated = device.rated_a if device is not None and device.kind in PROTECTS and device.rated_a else float(protection.continuous_a(ask.steady_a))
        try:
            least = min(earthing.earth_by_device_mm2(rated), line)
        except OutOfRange:
            return None
    sizes = sorted((one.area_mm2, size) for (family, size), one in tables.conductors.items() if family == cable.family and " x " not in size)
    return next((size for area, size in sizes if area >= least * 0.999), None)
