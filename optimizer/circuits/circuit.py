"""One circuit of a design: what flows in it, how long it is, and the cable and the devices that serve it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import lru_cache
from math import ceil
from typing import Literal

from optimizer.inputs.catalog import Tables
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.rules import wiring

Kind = Literal[
    "array string", "array run", "charge", "battery string", "inverter", "AC output", "DC branch", "charger", "generator", "shore", "alternator",
]

ON_AC = ("AC output", "generator", "shore")
"""Kinds of circuit whose devices break AC."""

CONDUCTOR_C = 75.0
"""Temperature of a loaded conductor at which its resistance is taken; that of NFPA 70 (NEC) Chapter 9 Table 8."""


@dataclass(frozen=True)
class Ask:
    """What a circuit asks of its cable and its device."""

    kind: Kind
    where: str
    one_way_m: float
    conductors: int
    steady_a: float
    """Greatest current that may flow for hours [A]."""
    stands_v: float
    """Greatest voltage between its conductors [V]."""
    fault_a: float
    """Current that its device must be able to break [A]; 0 where the source limits its own current."""
    ambient_c: float
    drop_a: float
    """Current at which the voltage drop is judged [A]."""
    over_v: float
    """Voltage of which the drop is a share [V]."""
    drop_pct_max: float | None
    """Most that may be lost on the way; None where no limit is asked for [%]."""
    count: int = 1
    """Circuits like this one."""


@dataclass(frozen=True)
class Circuit:
    """A circuit with its parts; None where no part of the catalog may serve it."""

    ask: Ask
    cable: Cable | None
    device: Protection | None
    needs_device: bool = True
    beside: tuple[tuple[Protection, int], ...] = ()
    """Other devices of the circuit with their number: combiner, surge arrester."""
    lacking: tuple[str, ...] = ()
    """Other devices that it needs and the catalog has not."""
    fuse_most_a: float | None = None
    """Largest device that the module allows behind it, in a string's circuit [A]."""

    @property
    def complete(self) -> bool:
        """Whether every part is there."""
        return self.cable is not None and not self.lacking and (self.device is not None or not self.needs_device)

    @property
    def metres(self) -> int:
        """Conductor of one circuit, in whole metres."""
        return whole_metres(self.ask.one_way_m, self.ask.conductors)

    @property
    def pieces(self) -> Counter[str]:
        """Metres of cable and pieces of devices, of all circuits like this one."""
        used: Counter[str] = Counter()
        if self.cable is not None:
            used[self.cable.id] += self.metres * self.ask.count
        if self.device is not None:
            used[self.device.id] += self.ask.count
        for part, number in self.beside:
            used[part.id] += number * self.ask.count
        return used

    def drop_v(self, tables: Tables) -> float:
        """Voltage lost on the way and back at the current at which the drop is judged [V]; 0 without a cable."""
        if self.cable is None:
            return 0.0
        ohm_km = resistance_ohm_km(self.cable, tables)
        return float(wiring.voltage_drop_v(self.ask.drop_a, self.ask.one_way_m, ohm_km))

    def drop_share(self, tables: Tables) -> float:
        """The same as a share of the circuit's voltage."""
        return self.drop_v(tables) / self.ask.over_v if self.ask.over_v else 0.0


def whole_metres(one_way_m: float, conductors: int) -> int:
    """Metres of single conductor that a circuit takes, cut from the reel in whole metres."""
    return ceil(one_way_m * conductors - 1e-9)


def resistance_ohm_km(cable: Cable, tables: Tables) -> float:
    """Resistance of a loaded conductor [ohm/km]."""
    return _loaded_ohm_km(tables.conductors[cable.family, cable.size].r20_ohm_km)


@lru_cache(maxsize=1024)
def _loaded_ohm_km(r20_ohm_km: float) -> float:
    return float(wiring.resistance_at_ohm_km(r20_ohm_km, CONDUCTOR_C))
