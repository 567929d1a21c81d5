"""Circuits of the source beside the array: from generator, shore or starter battery to its chargers, and on to the bank."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.circuits.circuit import ON_AC, Ask, Circuit
from optimizer.circuits.core_side import Banks, CoreSide
from optimizer.circuits.figures import bank_fault_a
from optimizer.circuits.fit import Fit
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


class SourcesAt:
    """The same for many banks at once; what sources have in common is fitted once."""

    def __init__(self, side: SourceSide, banks: Banks, absorb_v: np.ndarray) -> None:
        self.side, self.banks, self.absorb_v = side, banks, absorb_v
        self._known: dict[tuple[str, str], CoreSide] = {}

    def of(self, generator: Generator | None, charger: Charger | AlternatorCharger | None, count: int) -> CoreSide:
        """Price, weight and presence of the circuits of one source on each bank."""
        supplies = self._supply(generator, charger)
        parts = [(supplies, count if isinstance(charger, AlternatorCharger) else 1), *([(self._to_bank(charger), count)] if charger is not None else [])]
        found = CoreSide.empty(len(self.absorb_v), 1)
        for one, times in parts:
            found.cents += one.cents * times
            found.kg += one.kg * times
            found.ok &= one.ok
            found.lacks = found.lacks or one.lacks
        return found

    def _supply(self, generator: Generator | None, charger: Charger | AlternatorCharger | None) -> CoreSide:
        of_charger = charger.id if isinstance(charger, AlternatorCharger) and charger is not None else ""
        key = "supply", generator.id if generator is not None else of_charger
        if key not in self._known:
            found = CoreSide.empty(len(self.absorb_v), 1)
            for volts in np.unique(self.absorb_v) if of_charger else self.absorb_v[:1]:
                ask = self.side.supply(generator, charger, float(volts))
                there = self.absorb_v == volts if of_charger else np.ones(len(self.absorb_v), dtype=bool)
                fitter, rows = self.side.supply_fitter(ask), len(there)
                fit = self.side.wiring.fit_of(fitter, ask)
                every = Fit(*(np.full(rows, int(column[0])) for column in (fit.cable, fit.device, fit.cents)))
                found.add(fitter, every, there, 1, WORDS[ask.kind], (np.full(rows, ask.steady_a), np.full(rows, ask.stands_v), np.full(rows, ask.fault_a)))
            self._known[key] = found
        return self._known[key]

    def _to_bank(self, charger: Charger | AlternatorCharger) -> CoreSide:
        key = "charger", charger.id
        if key not in self._known:
            wiring, banks = self.side.wiring, self.banks
            steady, everywhere = np.full(len(self.absorb_v), charger.output_a), np.ones(len(self.absorb_v), dtype=bool)
            most = wiring.most_ohm_km(steady, banks.nominal_v, wiring.asked.charge_run_m, wiring.asked.charge_drop_pct)
            fitter = wiring.charging
            fit = fitter.cheapest(fitter.carries(steady, banks.top_v, most), fitter.serves(steady, banks.top_v, banks.fault_a))
            found = CoreSide.empty(len(steady), 1)
            found.add(fitter, fit, everywhere, 1, WORDS["charger"], (steady, banks.top_v, banks.fault_a))
            self._known[key] = found
        return self._known[key]


RUNNING_X = 1.25
"""Highest voltage of an alternator's system over its nominal one; common practice, no source."""

WORDS = {
    "generator": "cable and breaker from the generator to its chargers", "shore": "cable and breaker from the shore's inlet to the chargers",
    "alternator": "cable and fuse from the starter battery to a charger", "charger": "cable and fuse from a charger to the busbars",
}
