"""The circuits of bank, inverters and DC loads, for many power cores at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.array_side import UNLIMITED_OHM_KM
from optimizer.circuits.fit import Fit, Fitter
from optimizer.rules import wiring

if TYPE_CHECKING:
    from optimizer.circuits.wiring import Wiring


@dataclass
class Banks:
    """What circuits see of the bank of each core."""

    nominal_v: np.ndarray
    top_v: np.ndarray
    fault_a: np.ndarray


@dataclass
class CoreSide:
    """Price, weight and losses of circuits by core; `ok` where every circuit has its parts."""

    cents: np.ndarray
    kg: np.ndarray
    ok: np.ndarray
    kept: np.ndarray
    """Share of the energy of each supply, AC first, that the cables leave, shape (cores, supplies)."""
    lacks: str = ""
    """What the first core without all its parts lacks, in words."""

    @classmethod
    def empty(cls, cores: int, supplies: int) -> CoreSide:
        """Nothing yet."""
        return cls(np.zeros(cores, dtype=np.int64), np.zeros(cores), np.ones(cores, dtype=bool), np.ones((cores, supplies)))

    def add(self, fitter: Fitter, fit: Fit, where: np.ndarray, count: np.ndarray | int, words: str, ask: tuple[np.ndarray, np.ndarray, np.ndarray]) -> None:
        """Circuits of one kind, `count` in each core where they are."""
        missing = where & ~fit.found
        if missing.any() and not self.lacks:
            at = int(np.argmax(missing))
            self.lacks = f"{words}: {ask[0][at]:.4g} A for hours, {ask[1][at]:.4g} V, {ask[2][at]:,.0f} A to break"
        self.ok &= ~missing
        if not fitter.cables:
            return
        there = where & fit.found
        cable_kg = np.array([part.weight_kg for part in fitter.cables]) * fitter.metres
        device_kg = np.array([*(part.weight_kg for part in fitter.devices), 0.0])
        self.cents += np.where(there, fit.cents * count, 0)
        self.kg += np.where(there, (cable_kg[fit.cable] + device_kg[fit.device]) * count, 0.0)


def _fit(wiring_: Wiring, fitter: Fitter, steady_a: np.ndarray, stands_v: np.ndarray, fault_a: np.ndarray, over_v: np.ndarray, one_way_m: float, drop_pct: float | None) -> Fit:
    most = np.full(len(steady_a), UNLIMITED_OHM_KM) if drop_pct is None else wiring_.most_ohm_km(steady_a, over_v, one_way_m, drop_pct)
    return fitter.cheapest(fitter.carries(steady_a, stands_v, most), fitter.serves(steady_a, stands_v, fault_a))


def _drop_share(fitter: Fitter, fit: Fit, steady_a: np.ndarray, over_v: np.ndarray, one_way_m: float) -> np.ndarray:
    if not fitter.cables:
        return np.zeros(len(steady_a))
    lost = wiring.voltage_drop_v(steady_a, one_way_m, fitter.ohm_km[fit.cable]) / over_v
    return np.where(fit.found, lost, 0.0)


def load_circuits(
    wiring_: Wiring, banks: Banks, drawn_a: np.ndarray, output_a: np.ndarray, output_v: np.ndarray, count: np.ndarray, flowing: np.ndarray, fed: list[bool],
) -> CoreSide:
    """Inverters' circuits and those of the DC loads.

    drawn_a, output_a, output_v: an inverter's currents and AC voltage, NaN where there is none; count: inverters
    flowing: shares of these currents that the coincident load makes flow, shape (cores, 2)
    fed: whether the DC loads of each voltage hang on a converter
    """
    asked, demand = wiring_.asked, wiring_.needs.demand
    side = CoreSide.empty(len(count), 1 + len(fed))
    has = ~np.isnan(drawn_a)
    drawn_a, output_a, output_v = (np.where(has, column, 1.0) for column in (drawn_a, output_a, output_v))
    none = np.zeros(len(count))
    if has.any():
        fit = _fit(wiring_, wiring_.inverting, drawn_a, banks.top_v, banks.fault_a, banks.nominal_v, asked.inverter_run_m, asked.inverter_drop_pct)
        side.add(wiring_.inverting, fit, has, count, "cable and fuse from the bank to an inverter", (drawn_a, banks.top_v, banks.fault_a))
        lost = _drop_share(wiring_.inverting, fit, drawn_a, banks.nominal_v, asked.inverter_run_m) * flowing[:, 0]
        fit = _fit(wiring_, wiring_.ac_output, output_a, output_v, none, output_v, asked.ac_run_m, asked.ac_drop_pct)
        side.add(wiring_.ac_output, fit, has, count, "cable and breaker from an inverter to the AC panel", (output_a, output_v, none))
        lost = lost + _drop_share(wiring_.ac_output, fit, output_a, output_v, asked.ac_run_m) * flowing[:, 1]
        side.kept[:, 0] -= np.where(has, lost, 0.0)
    for at, volts in enumerate(demand.dc_volts):
        current, over = np.full(len(count), float(demand.coincident_dc_w[at]) / float(volts)), np.full(len(count), float(volts))
        stands, fault = over if fed[at] else banks.top_v, none if fed[at] or wiring_.terminals_feed else banks.fault_a
        fit = _fit(wiring_, wiring_.dc_branches, current, stands, fault, over, asked.dc_run_m, asked.dc_drop_pct)
        everywhere = np.ones(len(count), dtype=bool)
        side.add(wiring_.dc_branches, fit, everywhere, 1, f"cable and breaker to the {volts:g} V loads", (current, stands, fault))
        side.kept[:, 1 + at] -= _drop_share(wiring_.dc_branches, fit, current, over, asked.dc_run_m)
    return side


def string_circuits(wiring_: Wiring, banks: Banks, string_a: np.ndarray, strings: np.ndarray) -> CoreSide:
    """Circuits of the battery strings."""
    side = CoreSide.empty(len(strings), 1)
    fit = _fit(wiring_, wiring_.bank_strings, string_a, banks.top_v, banks.fault_a, banks.nominal_v, wiring_.asked.battery_run_m, None)
    everywhere = np.ones(len(strings), dtype=bool)
    side.add(wiring_.bank_strings, fit, everywhere, strings, "cable and fuse of a battery string", (string_a, banks.top_v, banks.fault_a))
    return side
