"""The pair of busbars at which strings, inverters, controllers and DC loads meet: the cheapest that may serve.

Its size follows from the bank, the inverters and the loads alone, so that it is a part of the power core: of the sources it must
carry what the bank may be charged with, or all that as many controllers as the problem allows can give; it has a place for each of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.figures import inverter_dc_a
from optimizer.design import Bank, ConverterUse, InverterBank
from optimizer.inputs.circuit_parts import AlternatorCharger, Busbar, Charger
from optimizer.rules.book import TOLERANCE

if TYPE_CHECKING:
    from optimizer.circuits.wiring import Wiring

POLES = 2
"""Busbars of a pair: the positive and the negative one."""


@dataclass(frozen=True)
class Joint:
    """What meets at the busbars of a bank, and the bar that serves; None where no bar of the catalog does."""

    carries_a: float
    """Sum of the loads, or of the sources, whichever is more [A]."""
    ways: int
    """Conductors on each bar, with those of as many controllers as the problem allows."""
    stands_v: float
    bar: Busbar | None


class Busbars:
    """Chooses busbars; `active` is false where the catalog has none, then an allowance stands for them."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring, catalog = wiring, wiring.catalog
        self.bars = sorted(catalog.busbars, key=lambda bar: (wiring.cents_of(bar), bar.id)) if wiring.active else []
        self.rated_a, self.ways, self.most_v = (np.array([getattr(bar, name) for bar in self.bars]) for name in ("rated_a", "ways", "dc_v_max"))
        self.cents = np.array([*(POLES * wiring.cents_of(bar) for bar in self.bars), 0], dtype=np.int64)
        self.kg = np.array([*(POLES * bar.weight_kg for bar in self.bars), 0.0])
        problem, bounds = wiring.needs.problem, wiring.needs.problem.bounds
        outputs = [one.output_a for one in catalog.controllers] + [one.tracker_output_a for one in catalog.inverters]
        self.sources_a = bounds.controllers * max(outputs, default=0.0)
        """Most that all controllers, and the chargers of a source, can give [A]."""
        self.source_ways = bounds.controllers
        if problem.source_in_design:
            chargers: list[Charger | AlternatorCharger] = [*catalog.chargers, *catalog.alternator_chargers]
            own = max((one.charge_a for one in catalog.inverters), default=0.0) * bounds.inverters
            self.sources_a += max(own, bounds.chargers * max((one.output_a for one in chargers), default=0.0))
            self.source_ways += bounds.chargers

    @property
    def active(self) -> bool:
        """Whether busbars are parts of the bill."""
        return bool(self.bars)

    def cheapest(self, carries_a: np.ndarray, ways: np.ndarray, stands_v: np.ndarray) -> np.ndarray:
        """Number of the cheapest bar that serves each bank, -1 where none does."""
        able = self.rated_a[None, :] * (1 + TOLERANCE) >= carries_a[:, None]
        able &= self.ways[None, :] >= ways[:, None]
        able &= self.most_v[None, :] * (1 + TOLERANCE) >= stands_v[:, None]
        return np.where(able.any(axis=1), np.argmax(able, axis=1), -1)

    def branches(self, converters: int) -> int:
        """Conductors to the DC loads: one for each converter, and for each voltage without one; none where load terminals feed them."""
        return 0 if self.wiring.terminals_feed else converters

    def of(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...], dc_a: float) -> Joint | None:
        """What joins the circuits of a bank; None where nothing but a controller hangs on one string."""
        feeding = {use.load_v: use.count for use in converters}
        branches = self.branches(sum(feeding.get(volts, 1) for volts in self.wiring.needs.demand.dc_volts))
        own = bank.strings + inverters.count + branches
        if own < POLES:
            return None
        drawn = inverter_dc_a(inverters.inverter) * inverters.count if inverters.inverter is not None else 0.0
        loads = drawn + (dc_a if branches else 0.0)
        carries, ways, stands = max(loads, min(self.sources_a, bank.battery.charge_max_a * bank.strings)), own + self.source_ways, self.wiring.top_v(bank)
        at = int(self.cheapest(np.array([carries]), np.array([ways]), np.array([stands]))[0])
        return Joint(carries, ways, stands, self.bars[at] if at >= 0 else None)
