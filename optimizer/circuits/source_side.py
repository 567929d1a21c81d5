"""Circuits of the source beside the array: from generator, shore or starter battery to its chargers, and on to the bank."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.circuit import ON_AC, Ask, Circuit
from optimizer.circuits.core_side import Banks, CoreSide
from optimizer.circuits.figures import bank_fault_a
from optimizer.design import Bank, Source
from optimizer.inputs.circuit_parts import AlternatorCharger, Charger, Generator
from optimizer.inputs.generator import AlternatorUse, ShoreUse
from optimizer.rules.charging import alternator_current_a

if TYPE_CHECKING:
    from optimizer.circuits.fit import Fitter
    from optimizer.circuits.wiring import Wiring

GENERATOR_LINES = {"120": (120.0, 1, 2), "120/240": (240.0, 1, 3), "230": (230.0, 1, 2), "230/400": (230.0, 3, 4)}
"""What carries a generator's rating: volts, phases, conductors."""

ACROSS_V = {"120/240": 240.0, "230/400": 400.0}
"""Voltage between the outer conductors of a generator with legs or phases."""


class SourceSide:
    """Sizes the circuits of a source: its supply once, and one to the busbars for each of its chargers."""

    def __init__(self, wiring: Wiring) -> None:
        self.wiring = wiring
        self._fitters: dict[tuple[str, int], Fitter] = {}

    # --- what each asks for

    def supply(self, generator: Generator | None, charger: Charger | AlternatorCharger | None, absorb_v: float) -> Ask:
        """From what feeds the chargers to them; those of an alternator each for itself, from its starter battery."""
        asked, needs, use = self.wiring.asked, self.wiring.needs, self.wiring.needs.problem.source_use
        ambient = needs.electronics_highest_c
        if generator is not None:
            volts, phases, conductors = GENERATOR_LINES[generator.ac]
            steady = generator.rated_va / (phases * volts)
            stands = ACROSS_V.get(generator.ac, volts)
            return Ask("generator", generator.id, use.run_m, conductors, steady, stands, 0.0, ambient, steady, volts, asked.ac_drop_pct)
        if isinstance(use, ShoreUse):
            volts, steady = float(use.volts or 0), use.rated_a or 0.0
            return Ask("shore", "", use.run_m, 2, steady, volts, 0.0, ambient, steady, volts, asked.ac_drop_pct)
        assert isinstance(use, AlternatorUse), "what is neither generator nor shore is an alternator"
        assert isinstance(charger, AlternatorCharger), "an alternator charges through a charger of its own"
        steady = float(alternator_current_a(charger.output_a, absorb_v, charger.efficiency, charger.no_load_w, use.volts))
        highest = RUNNING_X * use.volts
        return Ask("alternator", charger.id, use.run_m, 2, steady, highest, use.starter_fault_a, ambient, steady, float(use.volts), asked.dc_drop_pct)

    def to_bank(self, charger: Charger | AlternatorCharger, top_v: float, nominal_v: float, fault_a: float) -> Ask:
        """From a charger to the busbars."""
        asked = self.wiring.asked
        return Ask(
            "charger", charger.id, asked.charge_run_m, 2, charger.output_a, top_v, fault_a, self.wiring.needs.electronics_highest_c, charger.output_a,
            nominal_v, asked.charge_drop_pct,
        )

    def supply_fitter(self, ask: Ask) -> Fitter:
        """Where the parts of a supply come from."""
        key = (ask.kind, ask.conductors)
        if key not in self._fitters:
            use, kinds = ("battery", ("breaker", "fuse")) if ask.kind == "alternator" else ("building", ("ac breaker",))
            self._fitters[key] = self.wiring.fitter(use, kinds, ask.one_way_m, ask.conductors, ac=ask.kind in ON_AC)
        return self._fitters[key]

    # --- single circuits

    def circuits(self, bank: Bank, source: Source) -> tuple[Circuit, ...]:
        """Circuits of the source of a design."""
        charger, wiring = source.charger, self.wiring
        supply = self.supply(source.generator, charger, bank.absorb_v)
        each = source.count if supply.kind == "alternator" else 1
        found = [wiring.circuit_of(self.supply_fitter(supply), supply, each)]
        if charger is not None:  # chargers of inverters charge through the circuit of these
            ask = self.to_bank(charger, wiring.top_v(bank), bank.nominal_v, bank_fault_a(bank))
            found.append(wiring.circuit_of(wiring.charging, ask, source.count))
        return tuple(found)

    # --- many at once

    def side(self, banks: Banks, absorb_v: np.ndarray, generator: Generator | None, charger: Charger | AlternatorCharger | None, count: int) -> CoreSide:
        """The same for many banks and one source."""
        rows, side = len(absorb_v), CoreSide.empty(len(absorb_v), 1)
        everywhere = np.ones(rows, dtype=bool)
        for volts in np.unique(absorb_v):
            there = absorb_v == volts
            ask = self.supply(generator, charger, float(volts))
            self._add(side, self.supply_fitter(ask), ask, there, count if ask.kind == "alternator" else 1)
        if charger is None:
            return side
        keys, back = np.unique(np.column_stack([banks.top_v, banks.nominal_v, banks.fault_a]), axis=0, return_inverse=True)
        for at, (top_v, nominal_v, fault_a) in enumerate(keys):
            ask = self.to_bank(charger, float(top_v), float(nominal_v), float(fault_a))
            self._add(side, self.wiring.charging, ask, (back.ravel() == at) & everywhere, count)
        return side

    def _add(self, side: CoreSide, fitter: Fitter, ask: Ask, where: np.ndarray, count: int) -> None:
        fit = self.wiring.fit_of(fitter, ask)
        rows = len(where)
        spread = type(fit)(*(np.full(rows, int(column[0])) for column in (fit.cable, fit.device, fit.cents)))
        said = tuple(np.full(rows, value) for value in (ask.steady_a, ask.stands_v, ask.fault_a))
        side.add(fitter, spread, where, count, WORDS[ask.kind], said)  # type: ignore[arg-type]  # three columns


RUNNING_X = 1.25
"""Highest voltage of an alternator's system over its nominal one; common practice, no source."""

WORDS = {
    "generator": "cable and breaker from the generator to its chargers", "shore": "cable and breaker from the shore's inlet to the chargers",
    "alternator": "cable and fuse from the starter battery to a charger", "charger": "cable and fuse from a charger to the busbars",
}
