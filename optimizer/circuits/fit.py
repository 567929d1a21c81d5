"""The cheapest cable with the cheapest device for circuits of one kind: many circuits at once, each pair looked at."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from optimizer.circuits.circuit import resistance_ohm_km
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Tables
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.inputs.parts import Part
from optimizer.rules import protection
from optimizer.rules.book import TOLERANCE

OVER = 1 + TOLERANCE
NEXT_SIZE_FAMILIES = ("NEC",)
"""Families whose code lets a device be the next standard size above its conductor's ampacity."""


@dataclass(frozen=True)
class Fit:
    """Number of the cable and of the device of each circuit, -1 where there is none, and what the pair costs."""

    cable: np.ndarray
    device: np.ndarray
    cents: np.ndarray

    @property
    def found(self) -> np.ndarray:
        """Which circuits can be served."""
        return np.asarray(self.cable >= 0)


@dataclass(frozen=True)
class Laid:
    """How circuits of one kind are laid."""

    family: str
    ambient_c: float
    bundled: int
    metres: int
    """Of all conductors of one circuit together."""
    ac: bool = False


class Fitter:
    """Cables and devices that circuits of one kind may use, in one place and of one length."""

    def __init__(self, cables: Sequence[Cable], devices: Sequence[Protection], tables: Tables, cents_of: Callable[[Part], int], laid: Laid) -> None:
        self.cables = sorted(cables, key=lambda part: (cents_of(part), part.id))
        self.devices = sorted(devices, key=lambda part: (cents_of(part), part.id))
        self.tables, self.metres = tables, laid.metres
        self.ohm_km = np.array([resistance_ohm_km(cable, tables) for cable in self.cables])
        self.corrected_a = np.array([corrected_ampacity_a(cable, tables, laid.ambient_c, laid.bundled) for cable in self.cables])
        self.terminal_a = np.array([terminal_ampacity_a(cable, tables) for cable in self.cables])
        self.cable_v = np.array([cable.dc_v_max for cable in self.cables])
        self.cable_cents = np.array([cents_of(cable) * self.metres for cable in self.cables], dtype=np.int64)
        self.device_cents = np.array([cents_of(device) for device in self.devices], dtype=np.int64)
        self.rated_a = np.array([device.rated_a or 0.0 for device in self.devices])
        self.device_v = np.array([(device.ac_v_max if laid.ac else device.dc_v_max) or 0.0 for device in self.devices])
        self.breaks_a = np.array([device.interrupt_a or 0.0 for device in self.devices])
        self._known: dict[tuple[bool, bytes], tuple[int, int, int]] = {}

    @cached_property
    def terminals_take(self) -> np.ndarray:
        """Which device's terminals take which cable, shape (cables, devices)."""
        areas = np.array([self.tables.conductors[cable.family, cable.size].area_mm2 for cable in self.cables])
        largest = np.array([device.terminal_mm2_max or np.inf for device in self.devices])
        return np.asarray(areas[:, None] <= largest[None, :] * OVER)

    @cached_property
    def _terminal_sorts(self) -> tuple[np.ndarray, np.ndarray]:
        """What differs in `terminals_take`, and which of it each cable has."""
        sorts, which = np.unique(self.terminals_take, axis=0, return_inverse=True)
        return sorts, which.ravel()

    @cached_property
    def allowed(self) -> np.ndarray:
        """Which device may stand before which cable, shape (cables, devices)."""
        fits = self.terminals_take
        most = np.array([device_most_a(cable, self.tables, corrected) for cable, corrected in zip(self.cables, self.corrected_a, strict=True)])
        return np.asarray(fits & (self.rated_a[None, :] <= most[:, None] * OVER))

    def carries(self, steady_a: np.ndarray, stands_v: np.ndarray, most_ohm_km: np.ndarray) -> np.ndarray:
        """Which cables carry which circuits, shape (circuits, cables)."""
        able = self.corrected_a[None, :] * OVER >= steady_a[:, None]
        able &= self.terminal_a[None, :] * OVER >= protection.continuous_a(steady_a)[:, None]
        able &= self.cable_v[None, :] * OVER >= stands_v[:, None]
        return np.asarray(able & (self.ohm_km[None, :] <= most_ohm_km[:, None] * OVER))

    def serves(
        self, steady_a: np.ndarray, stands_v: np.ndarray, fault_a: np.ndarray, least_a: np.ndarray | None = None, most_a: np.ndarray | None = None,
    ) -> np.ndarray:
        """Which devices may stand in which circuits, shape (circuits, devices); `least_a`, `most_a` in place of 1.25 times the current."""
        least = protection.continuous_a(steady_a) if least_a is None else least_a
        able = self.rated_a[None, :] * OVER >= least[:, None]
        if most_a is not None:
            able &= self.rated_a[None, :] <= most_a[:, None] * OVER
        able &= self.device_v[None, :] * OVER >= stands_v[:, None]
        return np.asarray(able & (self.breaks_a[None, :] * OVER >= fault_a[:, None]))

    def cheapest(self, carries: np.ndarray, serves: np.ndarray | None) -> Fit:
        """The cheapest pair for each circuit; `serves` None where no device is needed."""
        rows = len(carries)
        cable, device, cents = np.full(rows, -1), np.full(rows, -1), np.zeros(rows, dtype=np.int64)
        bits = np.packbits(carries if serves is None else np.concatenate([carries, serves], axis=1), axis=1)
        if rows == 1:
            return Fit(*(np.array([n]) for n in self._pair(bits.tobytes(), carries[0], None if serves is None else serves[0])))
        unique, first, back = np.unique(bits, axis=0, return_index=True, return_inverse=True)
        found = [self._pair(unique[at].tobytes(), carries[row], None if serves is None else serves[row]) for at, row in enumerate(first)]
        if found:
            cable, device, cents = (np.array(column)[back.ravel()] for column in zip(*found, strict=True))
        return Fit(cable, device, cents)

    def _pair(self, key: bytes, carries: np.ndarray, serves: np.ndarray | None) -> tuple[int, int, int]:
        known = (serves is None, key)
        if known not in self._known:
            self._known[known] = self._look(carries, serves)
        return self._known[known]

    def _look(self, carries: np.ndarray, serves: np.ndarray | None) -> tuple[int, int, int]:
        if serves is None:
            at = int(np.argmax(carries)) if carries.any() else -1
            return (at, -1, int(self.cable_cents[at])) if at >= 0 else (-1, -1, 0)
        able = carries[:, None] & serves[None, :] & self.allowed
        if not able.any():
            return -1, -1, 0
        total = np.where(able, self.cable_cents[:, None] + self.device_cents[None, :], np.iinfo(np.int64).max)
        c, d = np.unravel_index(int(np.argmin(total)), total.shape)
        return int(c), int(d), int(total[c, d])

    def cheapest_device(self, serves: np.ndarray) -> np.ndarray:
        """Number of the cheapest device that serves each circuit by itself, -1 where none does."""
        return np.where(serves.any(axis=1), np.argmax(serves, axis=1), -1) if serves.shape[1] else np.full(len(serves), -1)

    def cheapest_devices(self, serves: np.ndarray) -> np.ndarray:
        """The same for each cable, whose end must go into the device's terminals, shape (circuits, cables)."""
        found = np.full((len(serves), len(self.cables)), -1)
        sorts, which = self._terminal_sorts
        for at, takes in enumerate(sorts):
            found[:, which == at] = self.cheapest_device(serves & takes[None, :])[:, None]
        return found


def corrected_ampacity_a(cable: Cable, tables: Tables, ambient_c: float, bundled: int) -> float:
    """Ampacity of a cable in its surroundings [A]; 0 where the tables end: it may carry nothing there."""
    conductor = tables.conductors[cable.family, cable.size]
    try:
        factor = tables.ambient_factor(cable.family, conductor.rated_at_c(cable.insulation_c), ambient_c)
        together = tables.bundling_factor(cable.family, bundled)
        return conductor.ampacity_a(cable.insulation_c) * factor * together
    except OutOfRange:
        return 0.0


TERMINAL_C = 75
"""Temperature that terminals of the trade are made for; common practice, no source."""


def terminal_ampacity_a(cable: Cable, tables: Tables) -> float:
    """Ampacity that the terminals at a cable's ends allow [A]."""
    return float(tables.conductors[cable.family, cable.size].ampacity_a(min(cable.insulation_c, TERMINAL_C)))


def device_most_a(cable: Cable, tables: Tables, corrected_a: float) -> float:
    """Largest device that may stand before a cable [A]."""
    least = min(corrected_a, terminal_ampacity_a(cable, tables))
    most = float(protection.device_most_a(least, tables.standard_ratings(cable.family), cable.family in NEXT_SIZE_FAMILIES))
    cap = tables.conductors[cable.family, cable.size].device_max_a
    return most if cap is None else min(most, cap)
