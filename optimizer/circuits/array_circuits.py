"""The circuits of one array, one by one, for the bill and the check."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.array_side import (
    JOINED_STRINGS,
    LONG_RUN_M,
    asked_on_buildings,
    boxes,
    leads,
    needs_string_fuses,
)
from optimizer.circuits.circuit import Ask, Circuit
from optimizer.circuits.figures import cold_string_v
from optimizer.circuits.fit import Fitter
from optimizer.design import Block
from optimizer.inputs.circuit_parts import Protection
from optimizer.rules import array

if TYPE_CHECKING:
    from optimizer.circuits.wiring import Wiring


def array_circuits(wiring: Wiring, block: Block) -> tuple[Circuit, ...]:
    """String leads with their fuses, and the run with what stands beside its switch."""
    module, asked = block.module, wiring.asked
    cold = cold_string_v(wiring.needs, wiring.catalog, module, block.series)
    isc = module.isc_a * (1 + module.bifacial_pct / 100)
    steady, cold_v, zero = np.array([array.EDGE_OF_CLOUD * isc * block.strings]), np.array([cold]), np.zeros(1)
    hottest = wiring.needs.problem.temperatures.hottest_c
    circuits: list[Circuit] = []
    beside: list[tuple[Protection, int]] = []
    lacking: list[str] = []
    runs, (combiners, arresters) = wiring.runs, wiring.beside_strings
    cable = wiring.run_cable(block)

    def fitting(fitter: Fitter, serves: np.ndarray) -> int:
        """The cheapest device into which the cable of the run goes; where no cable may serve, the cheapest."""
        known = [one.id for one in fitter.cables]
        if cable is None or cable.id not in known:
            return int(fitter.cheapest_device(serves)[0])
        return int(fitter.cheapest_devices(serves)[0, known.index(cable.id)])

    if block.strings > 1:
        fused = bool(needs_string_fuses(np.array([isc]), np.array([block.strings]), np.array([module.max_series_fuse_a]))[0])
        fit = leads(wiring, np.array([isc]), cold_v, np.array([module.max_series_fuse_a]), np.array([fused]))
        ask = Ask(
            "array string", "", asked.string_m, 2, array.EDGE_OF_CLOUD * isc, cold, 0.0, hottest, module.imp_a, wiring.hot_vmp_v(block), None,
            block.strings,
        )
        lead = int(fit.cable[0])
        fuse = int(fit.device[0])
        circuits.append(Circuit(
            ask, wiring.strings.cables[lead] if lead >= 0 else None, wiring.strings.devices[fuse] if fuse >= 0 else None, needs_device=fused,
            fuse_most_a=module.max_series_fuse_a,
        ))
        if fused or block.strings > JOINED_STRINGS:
            _one(combiners, fitting(combiners, boxes(wiring, np.array([block.strings]), cold_v, steady)), "combiner", beside, lacking)
    if asked.array_run_m > LONG_RUN_M:
        at = int(arresters.cheapest_device(arresters.serves(zero, cold_v, zero, least_a=zero))[0])
        _one(arresters, at, "surge arrester", beside, lacking)
    for what, (fitter, where) in zip(("arc-fault detector", "array shutdown"), asked_on_buildings(wiring, cold_v), strict=True):
        if where[0]:
            _one(fitter, int(fitter.cheapest_device(fitter.serves(steady, cold_v, zero, least_a=steady))[0]), what, beside, lacking)
    switch = fitting(runs, runs.serves(steady, cold_v, zero))
    ask = Ask(
        "array run", "", asked.array_run_m, 2, float(steady[0]), cold, 0.0, hottest, module.imp_a * block.strings, wiring.hot_vmp_v(block),
        asked.array_drop_pct,
    )
    device = runs.devices[switch] if switch >= 0 else None
    return (*circuits, Circuit(ask, cable, device, beside=tuple(beside), lacking=tuple(lacking)))


def _one(fitter: Fitter, at: int, what: str, beside: list[tuple[Protection, int]], lacking: list[str]) -> None:
    if at >= 0:
        beside.append((fitter.devices[at], 1))
    else:
        lacking.append(what)
