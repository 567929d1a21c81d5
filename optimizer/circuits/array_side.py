"""The circuits between modules and controller, for many arrays at once and every cable that their run may have."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.fit import Fit, Fitter
from optimizer.inputs.parts import Module
from optimizer.needs.site import ARC_FAULT_V
from optimizer.rules import array, protection, wiring
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.circuits.wiring import Wiring

LONG_RUN_M = 10.0
"""Run from the array from which it gets a surge arrester; common practice, no source."""

JOINED_STRINGS = 2
"""Strings that are joined by branch connectors, without a combiner, where they need no fuses; common practice, no source."""

UNLIMITED_OHM_KM = 1e9


@dataclass(frozen=True)
class ArraySide:
    """The circuits between modules and controller for many arrays; arrays by row, cables of the run by column."""

    run_ok: np.ndarray
    """Which cable may serve the run of which array, every other part being there too, shape (arrays, cables)."""
    cents: np.ndarray
    kg: np.ndarray
    drop_v: np.ndarray
    """Voltage lost between modules and controller at the current of full power [V], shape (arrays, cables)."""
    lacks: np.ndarray
    """Number in LACKING of the part that is missing for every cable, -1 where nothing is."""


LACKING = (
    "string fuse with its cable", "combiner", "array switch", "surge arrester", "cable for the run from the array", "arc-fault detector", "array shutdown",
)


def array_side(wiring_: Wiring, modules: list[Module], module: np.ndarray, cold_v: np.ndarray, hot_vmp_v: np.ndarray, strings: np.ndarray) -> ArraySide:
    """Circuits of arrays: number of the module in the list, cold and hot voltage of a string [V], strings."""
    isc = np.array([one.isc_a * (1 + one.bifacial_pct / 100) for one in modules])[module]
    imp = np.array([one.imp_a for one in modules])[module]
    fuse_most = np.array([one.max_series_fuse_a for one in modules])[module]
    one_string = array.EDGE_OF_CLOUD * isc
    runs, (combiners, arresters) = wiring_.runs, wiring_.beside_strings
    zero = np.zeros(len(module))
    lacks = np.full(len(module), -1)
    shape = (len(module), len(runs.cables))
    cents, kg = np.zeros(shape, dtype=np.int64), np.zeros(shape)
    there = np.ones(shape, dtype=bool)

    def lack(what: int, missing: np.ndarray) -> None:
        lacks[missing & (lacks < 0)] = what

    def take(fitter: Fitter, device: np.ndarray, where: np.ndarray, number: np.ndarray | int = 1) -> None:
        nonlocal cents, kg
        if fitter.devices:
            weight = np.array([part.weight_kg for part in fitter.devices])
            cents = cents + _by_cable(np.where(where, fitter.device_cents[device] * number, 0))
            kg = kg + _by_cable(np.where(where, weight[device] * number, 0.0))

    def take_beside_cable(fitter: Fitter, serves: np.ndarray, where: np.ndarray, what: int) -> None:
        """A device into which the cable of the run must fit."""
        nonlocal there
        if not fitter.cables:
            return
        device = fitter.cheapest_devices(serves)
        lack(what, where & ~(device >= 0).any(axis=1))
        there = there & ~(where[:, None] & (device < 0))
        take(fitter, np.maximum(device, 0), where[:, None] & (device >= 0))

    lead_ohm_km = np.zeros(len(module))
    several = strings > 1
    if several.any():
        fused = needs_string_fuses(isc, strings, fuse_most)
        lead_fit = leads(wiring_, isc, cold_v, fuse_most, fused)
        lack(0, several & ~lead_fit.found)
        lead = np.maximum(lead_fit.cable, 0)
        if wiring_.strings.cables:
            weight = np.array([part.weight_kg for part in wiring_.strings.cables])
            cents = cents + _by_cable(np.where(several, wiring_.strings.cable_cents[lead] * strings, 0))
            kg = kg + _by_cable(np.where(several, weight[lead] * wiring_.strings.metres * strings, 0.0))
            lead_ohm_km = np.where(several, wiring_.strings.ohm_km[lead], 0.0)
        take(wiring_.strings, np.maximum(lead_fit.device, 0), several & fused, strings)
        boxed = several & (fused | (strings > JOINED_STRINGS))
        take_beside_cable(combiners, boxes(wiring_, strings, cold_v, one_string * strings), boxed, 1)
    steady = one_string * strings
    take_beside_cable(runs, runs.serves(steady, cold_v, zero), np.ones(len(module), dtype=bool), 2)
    if wiring_.asked.array_run_m > LONG_RUN_M:
        arrester = arresters.cheapest_device(arresters.serves(zero, cold_v, zero, least_a=zero))
        lack(3, arrester < 0)
        take(arresters, np.maximum(arrester, 0), arrester >= 0)
    for at, (fitter, where) in enumerate(asked_on_buildings(wiring_, cold_v), start=5):
        device = fitter.cheapest_device(fitter.serves(steady, cold_v, zero, least_a=steady))
        lack(at, where & (device < 0))
        take(fitter, np.maximum(device, 0), where & (device >= 0))
    most = wiring_.most_ohm_km(imp * strings, hot_vmp_v, wiring_.asked.array_run_m, wiring_.asked.array_drop_pct)
    carries = runs.carries(steady, cold_v, most) & there
    lack(4, np.asarray(~carries.any(axis=1)))
    metre_kg = np.array([part.weight_kg for part in runs.cables])
    lead_drop = wiring.voltage_drop_v(imp, wiring_.asked.string_m, lead_ohm_km)
    drop = wiring.voltage_drop_v((imp * strings)[:, None], wiring_.asked.array_run_m, runs.ohm_km[None, :]) + lead_drop[:, None]
    return ArraySide(
        run_ok=carries & (lacks < 0)[:, None], cents=cents + runs.cable_cents[None, :], kg=kg + metre_kg[None, :] * runs.metres,
        drop_v=np.asarray(drop), lacks=lacks,
    )


def _by_cable(by_array: np.ndarray) -> np.ndarray:
    """Figures of arrays for every cable alike, those of arrays and cables as they are."""
    return by_array[:, None] if by_array.ndim == 1 else by_array


def asked_on_buildings(wiring_: Wiring, cold_v: np.ndarray) -> tuple[tuple[Fitter, np.ndarray], ...]:
    """What a building's code adds at the run from the array, and which arrays it is asked of, by their cold voltage [V]."""
    detectors, shutdowns = wiring_.on_buildings
    asked, on_building = wiring_.asked, wiring_.needs.problem.site.on_building
    high = cold_v > ARC_FAULT_V * (1 + TOLERANCE)
    return (detectors, high & (asked.arc_fault_detectors and on_building)), (shutdowns, np.full(len(cold_v), asked.rapid_shutdown))


def leads(wiring_: Wiring, isc: np.ndarray, cold_v: np.ndarray, fuse_most: np.ndarray, fused: np.ndarray) -> Fit:
    """String leads: with a fuse where there must be one, by themselves elsewhere."""
    fitter, one_string = wiring_.strings, array.EDGE_OF_CLOUD * isc
    unlimited = np.full(len(isc), UNLIMITED_OHM_KM)
    carries = fitter.carries(one_string, cold_v, unlimited)
    least, most = protection.string_fuse_least_a(isc, wiring_.family), protection.string_fuse_most_a(isc, fuse_most, wiring_.family)
    serves = fitter.serves(one_string, cold_v, np.zeros(len(isc)), least, most)
    with_fuse, without = fitter.cheapest(carries, serves), fitter.cheapest(carries, None)
    return Fit(np.where(fused, with_fuse.cable, without.cable), np.where(fused, with_fuse.device, -1), np.where(fused, with_fuse.cents, without.cents))


def boxes(wiring_: Wiring, strings: np.ndarray, cold_v: np.ndarray, steady_a: np.ndarray) -> np.ndarray:
    """Which combiners take which arrays, shape (arrays, combiners)."""
    combiners = wiring_.beside_strings[0]
    ways = np.array([part.ways or 0 for part in combiners.devices])
    return np.asarray(combiners.serves(steady_a, cold_v, np.zeros(len(cold_v))) & (ways[None, :] >= strings[:, None]))


def needs_string_fuses(isc_a: np.ndarray, strings: np.ndarray, module_fuse_most_a: np.ndarray) -> np.ndarray:
    """Whether the other strings can drive more back through a string than its modules stand."""
    return np.asarray(protection.reverse_current_a(isc_a, strings) > module_fuse_most_a * (1 + 1e-6))
