"""Every circuit of a design in one problem: what flows where, and the cheapest parts of the catalog that may serve it.

The cable of the run from the array is a choice of its own, since a thicker one may save a module; every other circuit takes
the cheapest pair of cable and device that its rules allow. Arrays of circuits, for the search, and single circuits, for the
bill and the check, come from the same functions.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cached_property

import numpy as np

from optimizer.circuits.array_circuits import array_circuits
from optimizer.circuits.array_side import UNLIMITED_OHM_KM, ArraySide, array_side
from optimizer.circuits.busbars import POLES, Busbars, Joint
from optimizer.circuits.circuit import Ask, Circuit, whole_metres
from optimizer.circuits.figures import (
    ac_output_v,
    bank_fault_a,
    cold_string_v,
    hot_cell_c,
    inverter_dc_a,
    string_a,
)
from optimizer.circuits.fit import Fit, Fitter, Laid
from optimizer.circuits.source_side import SourceSide
from optimizer.design import Bank, Block, ConverterUse, Design, InverterBank, Source, charging_device
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.inputs.parts import Controller, Inverter, Part
from optimizer.needs.site import Needs
from optimizer.rules import array, wiring
from optimizer.rules import bank as bank_rules
from optimizer.rules.charging import compensated_v

DEVICE_COMPENSATION_C = (0.0, 40.0)
"""Battery temperatures within which chargers compensate; common practice, no source."""

AC_CONDUCTORS = {"120 V 60 Hz": 2, "230 V 50 Hz": 2, "120/240 V 60 Hz": 3, "230/400 V 50 Hz": 2}
"""Current-carrying conductors between an inverter and the AC panel; each of three inverters feeds a phase of its own."""


class Wiring:
    """Sizes the circuits of designs of one problem; `active` is false where the catalog has no cables."""

    def __init__(self, needs: Needs, catalog: Catalog, cents_of: Callable[[Part], int]) -> None:
        self.needs, self.catalog, self._cents_of_part = needs, catalog, cents_of
        self.tables, self.asked = catalog.tables, needs.problem.wiring
        self.family = self.asked.family if self.asked.family != "by the AC" else ("NEC" if "60 Hz" in needs.problem.site.ac else "IEC")
        self._array_sides: dict[tuple[str, int, int], ArraySide] = {}
        self._charges: dict[tuple[object, ...], Circuit] = {}
        self._known_cents: dict[str, int] = {}
        self._cents: dict[tuple[object, ...], int] = {}
        self._joints: dict[tuple[object, ...], Joint | None] = {}
        self._latest: tuple[Design, tuple[Circuit, ...]] | None = None

    def cents_of(self, part: Part) -> int:
        """Price of a piece of a cable, device or busbar [cents]; by id, since a record takes long to hash."""
        if part.id not in self._known_cents:
            self._known_cents[part.id] = self._cents_of_part(part)
        return self._known_cents[part.id]

    @property
    def active(self) -> bool:
        """Whether circuits are sized; if not, allowances stand for them."""
        return bool(self.catalog.cables)

    @property
    def terminals_feed(self) -> bool:
        """Whether the DC loads hang on load terminals, which limit their current by themselves."""
        return self.needs.problem.dc.loads_on == "controller load terminals"

    # --- parts

    def cables(self, use: str) -> list[Cable]:
        """Cables of the problem's family for one use, tinned where it asks for that."""
        return [c for c in self.catalog.cables if c.family == self.family and c.use == use and (c.tinned or not self.tinned)]

    @property
    def tinned(self) -> bool:
        """Whether only tinned cable is laid: where the problem says so, and where there is salt."""
        mounting, enforced = self.needs.problem.mounting, self.needs.severities.enforced("cable-tinned")
        return enforced and (self.asked.tinned or (mounting is not None and mounting.salt))

    def devices(self, *kinds: str) -> list[Protection]:
        """Devices of some kinds."""
        return [device for device in self.catalog.protection if device.kind in kinds]

    def fitter(self, uses: str, kinds: tuple[str, ...], one_way_m: float, conductors: int = 2, *, ac: bool = False) -> Fitter:
        """Cables of some uses with devices of some kinds; what one has found, the next problem with the same catalog need not look for."""
        ambient = self.needs.problem.temperatures.hottest_c if uses == "array" else self.needs.electronics_highest_c
        cables, devices = [cable for use in uses.split(" or ") for cable in self.cables(use)], self.devices(*kinds)
        laid = Laid(self.family, ambient, self.asked.conductors_together, whole_metres(one_way_m, conductors), ac)
        known: dict[object, Fitter] = self.catalog.fitters
        key = (laid, *((part.id, self.cents_of(part)) for part in (*cables, *devices)))
        if key not in known:
            known[key] = Fitter(cables, devices, self.tables, self.cents_of, laid)
        return known[key]

    @cached_property
    def strings(self) -> Fitter:
        """String leads with their fuses."""
        return self.fitter("array", ("string fuse",), self.asked.string_m)

    @cached_property
    def runs(self) -> Fitter:
        """Runs from the array; the column of cables that a block chooses from. A switch breaks, it does not protect."""
        return self.fitter("array", ("array switch",), self.asked.array_run_m)

    @cached_property
    def beside_strings(self) -> tuple[Fitter, Fitter]:
        """Combiners and surge arresters."""
        return self.fitter("array", ("combiner",), 0.0), self.fitter("array", ("surge arrester",), 0.0)

    @cached_property
    def on_buildings(self) -> tuple[Fitter, Fitter]:
        """Arc-fault detectors and shutdown switches at the array."""
        return self.fitter("array", ("arc-fault detector",), 0.0), self.fitter("array", ("array shutdown",), 0.0)

    @cached_property
    def charging(self) -> Fitter:
        """Circuits between controllers and the bank."""
        return self.fitter("battery", ("breaker", "fuse"), self.asked.charge_run_m)

    @cached_property
    def bank_strings(self) -> Fitter:
        """Circuits between battery strings and the busbars: fuses at the battery."""
        return self.fitter("battery", ("fuse",), self.asked.battery_run_m)

    @cached_property
    def inverting(self) -> Fitter:
        """Circuits between the busbars and inverters."""
        return self.fitter("battery", ("breaker", "fuse"), self.asked.inverter_run_m)

    @cached_property
    def ac_output(self) -> Fitter:
        """Circuits between inverters and the AC panel."""
        return self.fitter("building", ("ac breaker",), self.asked.ac_run_m, AC_CONDUCTORS.get(self.needs.problem.site.ac, 2), ac=True)

    @cached_property
    def busbars(self) -> Busbars:
        """The pair of busbars of a bank."""
        return Busbars(self)

    def busbar(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> Joint | None:
        """What joins the circuits of a bank; None where nothing does, or an allowance stands for it."""
        if not self.busbars.active:
            return None
        key = _core_key(bank, inverters, converters)
        if key not in self._joints:
            of_inverter, branches = self.inverter_circuits(bank, inverters), self.dc_circuits(bank, converters)
            dc_a = self.dc_a(bank, inverters, converters, self.kept_shares(inverters, of_inverter, branches))
            self._joints[key] = self.busbars.of(bank, inverters, converters, dc_a)
        return self._joints[key]

    @cached_property
    def sources(self) -> SourceSide:
        """Circuits of the source beside the array."""
        return SourceSide(self)

    @cached_property
    def dc_branches(self) -> Fitter:
        """Circuits between busbars or converters and the DC panel; thick cable where the loads are large."""
        return self.fitter("building or battery", ("breaker", "fuse"), self.asked.dc_run_m)

    def most_ohm_km(self, drop_a: np.ndarray, over_v: np.ndarray, one_way_m: float, drop_pct_max: float) -> np.ndarray:
        """Resistance at which the whole drop that is allowed is lost [ohm/km]; no limit where the problem enforces none."""
        if not self.needs.severities.enforced("voltage-drop") or one_way_m <= 0:
            return np.full(np.broadcast(drop_a, over_v).shape, UNLIMITED_OHM_KM)
        each = wiring.voltage_drop_v(np.maximum(drop_a, 1e-9), one_way_m, 1.0)
        return np.asarray(over_v * drop_pct_max / 100 / each)

    # --- between controller and bank

    def charge_fit(self, output_a: np.ndarray, top_v: float, nominal_v: float, fault_a: float) -> Fit:
        """Circuits between controllers, by their rated output, and a bank."""
        fitter = self.charging
        rows = len(output_a)
        most = self.most_ohm_km(output_a, np.full(rows, nominal_v), self.asked.charge_run_m, self.asked.charge_drop_pct)
        stands = np.full(rows, top_v)
        return fitter.cheapest(fitter.carries(output_a, stands, most), fitter.serves(output_a, stands, np.full(rows, fault_a)))

    # --- single circuits

    def block_circuits(self, bank: Bank, block: Block) -> tuple[Circuit, ...]:
        """Circuits of one controller with its array; each counted once for one of the `count` controllers."""
        if not self.active:
            return ()
        if block.built_in:  # its tracker charges through the inverter's own circuit
            return array_circuits(self, block)
        return (*array_circuits(self, block), self._charge_circuit(bank, block.part))

    def run_cable(self, block: Block) -> Cable | None:
        """Cable of the run from the array: the one that is chosen, or the cheapest that may serve."""
        if block.cable is not None:
            return block.cable
        side = self._side_of(block)
        ok = side.run_ok[0]
        return self.runs.cables[int(np.argmin(np.where(ok, side.cents[0], np.iinfo(np.int64).max)))] if ok.any() else None

    def _side_of(self, block: Block) -> ArraySide:
        key = (block.module.id, block.series, block.strings)
        if key not in self._array_sides:
            cold, hot = cold_string_v(self.needs, self.catalog, block.module, block.series), self.hot_vmp_v(block)
            self._array_sides[key] = array_side(self, [block.module], np.array([0]), np.array([cold]), np.array([hot]), np.array([block.strings]))
        return self._array_sides[key]

    def hot_vmp_v(self, block: Block) -> float:
        """Working voltage of a string on the hottest day [V]."""
        module = block.module
        return block.series * float(array.vmp_at_cell_v(module.vmp_v, module.tc_pmax_pct_k, module.tc_isc_pct_k, hot_cell_c(self.needs, module)))

    def _charge_circuit(self, bank: Bank, part: Controller | Inverter) -> Circuit:
        device = charging_device(part)
        key = (device.output_a, *self.seen_of(bank))
        if key not in self._charges:
            top, fault = self.top_v(bank), bank_fault_a(bank)
            fit = self.charge_fit(np.array([device.output_a]), top, bank.nominal_v, fault)
            ask = Ask(
                "charge", "", self.asked.charge_run_m, 2, device.output_a, top, fault, self.needs.electronics_highest_c, device.output_a,
                bank.nominal_v, self.asked.charge_drop_pct,
            )
            self._charges[key] = _with(self.charging, ask, fit)
        return self._charges[key]

    def core_circuits(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> tuple[Circuit, ...]:
        """Circuits of a bank with its inverters and its DC loads."""
        if not self.active:
            return ()
        of_inverter = self.inverter_circuits(bank, inverters)
        branches = self.dc_circuits(bank, converters)
        return (self._string_circuit(bank, inverters, converters, of_inverter, branches), *of_inverter, *branches)

    def source_circuits(self, bank: Bank, source: Source | None) -> tuple[Circuit, ...]:
        """Circuits of the source beside the array; none of one that the problem does not let a design have."""
        if not self.active or source is None or source.kind != self.needs.problem.site.other_source:
            return ()
        return self.sources.circuits(bank, source)

    def circuit_of(self, fitter: Fitter, ask: Ask, count: int = 1) -> Circuit:
        """So many circuits that ask for the same, with their parts."""
        return _with(fitter, replace(ask, count=count), self.fit_of(fitter, ask))

    def inverter_circuits(self, bank: Bank, inverters: InverterBank) -> tuple[Circuit, ...]:
        """From the busbars to the inverters, and on to the AC panel."""
        inverter, asked = inverters.inverter, self.asked
        if not self.active or inverter is None:
            return ()
        top, fault, drawn = self.top_v(bank), bank_fault_a(bank), inverter_dc_a(inverter)
        electronics = self.needs.electronics_highest_c
        dc = Ask(
            "inverter", inverter.id, asked.inverter_run_m, 2, drawn, top, fault, electronics, drawn, bank.nominal_v, asked.inverter_drop_pct,
            inverters.count,
        )
        volts = ac_output_v(inverter)
        current = inverter.cont_va / volts
        ac = Ask(
            "AC output", inverter.id, asked.ac_run_m, AC_CONDUCTORS.get(self.needs.problem.site.ac, 2), current, volts, 0.0, electronics, current, volts,
            asked.ac_drop_pct, inverters.count,
        )
        return _with(self.inverting, dc, self.fit_of(self.inverting, dc)), _with(self.ac_output, ac, self.fit_of(self.ac_output, ac))

    def dc_circuits(self, bank: Bank, converters: tuple[ConverterUse, ...]) -> tuple[Circuit, ...]:
        """From the busbars, or from converters, to the DC loads of each voltage."""
        if not self.active:
            return ()
        demand = self.needs.demand
        feeding = {use.load_v for use in converters}
        circuits = []
        for at, volts in enumerate(demand.dc_volts):
            current = float(demand.coincident_dc_w[at]) / float(volts)
            limited = volts in feeding or self.terminals_feed
            stands, fault = (self.top_v(bank) if volts not in feeding else float(volts)), 0.0 if limited else bank_fault_a(bank)
            ask = Ask(
                "DC branch", f"{volts:g} V loads", self.asked.dc_run_m, 2, current, stands, fault, self.needs.electronics_highest_c, current, float(volts),
                self.asked.dc_drop_pct,
            )
            circuits.append(_with(self.dc_branches, ask, self.fit_of(self.dc_branches, ask)))
        return tuple(circuits)

    def fit_of(self, fitter: Fitter, ask: Ask) -> Fit:
        """Parts of one circuit."""
        steady, stands = np.array([ask.steady_a]), np.array([ask.stands_v])
        most = np.array([UNLIMITED_OHM_KM])
        if ask.drop_pct_max is not None:
            most = self.most_ohm_km(np.array([ask.drop_a]), np.array([ask.over_v]), ask.one_way_m, ask.drop_pct_max)
        return fitter.cheapest(fitter.carries(steady, stands, most), fitter.serves(steady, stands, np.array([ask.fault_a])))

    def _string_circuit(
        self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...], of_inverter: tuple[Circuit, ...], branches: tuple[Circuit, ...],
    ) -> Circuit:
        drawn = float(self.steady_a(bank, inverters, converters, of_inverter, branches))
        steady = string_a(drawn, bank.strings, bank.battery.charge_max_a)
        top, fault = self.top_v(bank), bank_fault_a(bank)
        place = self.needs.electronics_highest_c
        ask = Ask("battery string", bank.battery.id, self.asked.battery_run_m, 2, float(steady), top, fault, place, float(steady), bank.nominal_v, None, bank.strings)
        return _with(self.bank_strings, ask, self.fit_of(self.bank_strings, ask))

    def steady_a(
        self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...], of_inverter: tuple[Circuit, ...], branches: tuple[Circuit, ...],
    ) -> float:
        """Current of the coincident load at the bank's lowest voltage, losses on the way included [A]."""
        kept, inverter = self.kept_shares(inverters, of_inverter, branches), inverters.inverter
        dc_a = self.dc_a(bank, inverters, converters, kept)
        if inverter is None:
            return dc_a
        return float(bank_rules.discharge_current_a(self.needs.demand.coincident_w, inverter.efficiency * kept[0], inverter.dc_low_cut_v, dc_a))

    def dc_a(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...], kept: np.ndarray) -> float:
        """Current of the coincident DC loads at the bank's lowest voltage [A]; kept: what the cables leave of each supply, AC first."""
        demand, inverter = self.needs.demand, inverters.inverter
        lowest = inverter.dc_low_cut_v if inverter else bank.chemistry.empty_v_cell * bank.cells
        through = {use.load_v: use.converter.efficiency for use in converters}
        efficiency = np.array([through.get(volts, 1.0) for volts in demand.dc_volts]) * kept[1:]
        return float(np.sum(demand.coincident_dc_w / efficiency)) / lowest

    def kept_shares(self, inverters: InverterBank, of_inverter: tuple[Circuit, ...], branches: tuple[Circuit, ...]) -> np.ndarray:
        """What the cables leave of the energy of each supply, AC first: the drop at the coincident load, taken for every hour."""
        kept = np.ones(1 + len(self.needs.demand.dc_volts))
        inverter = inverters.inverter
        if inverter is not None:
            for circuit, flowing in zip(of_inverter, self.coincident_shares(inverter, inverters.count), strict=True):
                kept[0] -= circuit.drop_share(self.tables) * flowing
        for at, circuit in enumerate(branches, start=1):
            kept[at] -= circuit.drop_share(self.tables)
        return kept

    def coincident_shares(self, inverter: Inverter, count: int) -> tuple[float, float]:
        """Share of the current for which the cables before and behind an inverter are sized that the coincident load makes flow."""
        demand = self.needs.demand
        return (
            min(1.0, demand.coincident_w / (count * inverter.cont_w)),
            min(1.0, demand.coincident_va / (count * inverter.cont_va)),
        )

    # --- what a block sees of a bank

    def top_v(self, bank: Bank) -> float:
        """Highest voltage to which any charger may bring a bank [V]."""
        battery = bank.battery
        setpoint = max(battery.absorb_v, battery.equalise_v or 0.0) * bank.series
        return float(compensated_v(setpoint, battery.tcomp_mv_k * bank.series, self.needs.battery_lowest_c, *DEVICE_COMPENSATION_C))

    @cached_property
    def fault_steps_a(self) -> np.ndarray:
        """Interrupt ratings of the devices between controllers and bank: between two of them every fault current is alike [A]."""
        return np.unique(self.charging.breaks_a) if self.active else np.zeros(0)

    def fault_step(self, fault_a: np.ndarray) -> np.ndarray:
        """Number of the step in which a fault current lies."""
        return np.searchsorted(self.fault_steps_a * (1 + 1e-6), fault_a)

    def seen_of(self, bank: Bank) -> tuple[object, ...]:
        """What a charge circuit sees of a bank."""
        return (bank.nominal_v, self.top_v(bank), int(self.fault_step(np.array(bank_fault_a(bank)))))

    # --- a whole design

    def circuits(self, design: Design) -> tuple[Circuit, ...]:
        """Every circuit of a design, those of each block counted for all its controllers."""
        if not self.active:
            return ()
        if self._latest is not None and self._latest[0] is design:  # bill and check ask one after the other
            return self._latest[1]
        found = list(self.core_circuits(design.bank, design.inverters, design.converters))
        found += self.source_circuits(design.bank, design.source)
        for number, block in enumerate(design.blocks, start=1):
            for circuit in self.block_circuits(design.bank, block):
                ask = replace(circuit.ask, where=f"array {number}: {block.part.id}", count=circuit.ask.count * block.count)
                found.append(replace(circuit, ask=ask))
        self._latest = design, tuple(found)
        return self._latest[1]

    def cents(self, design: Design) -> int:
        """Price of all circuits of a design, with freight [cents]."""
        if not self.active:
            return 0
        bank, core = design.bank, _core_key(design.bank, design.inverters, design.converters)
        if core not in self._cents:
            bars = self.busbar_pieces(bank, design.inverters, design.converters)
            circuits = self.core_circuits(bank, design.inverters, design.converters)
            self._cents[core] = self._cents_of(circuits) + sum(n * self.cents_of(self.catalog.by_id[part]) for part, n in bars.items())
        total = self._cents[core] + self._cents_of(self.source_circuits(bank, design.source))
        for block in design.blocks:
            key = (*self.seen_of(bank), block.part.id, block.module.id, block.series, block.strings, block.cable.id if block.cable else "")
            if key not in self._cents:
                self._cents[key] = self._cents_of(self.block_circuits(bank, block))
            total += block.count * self._cents[key]
        return total

    def _cents_of(self, circuits: tuple[Circuit, ...]) -> int:
        return sum(times * self.cents_of(self.catalog.by_id[part]) for part, times in self.pieces(circuits).items())

    def busbar_pieces(self, bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> Counter[str]:
        """Busbars of a bank: one for each pole."""
        joint = self.busbar(bank, inverters, converters)
        return Counter({joint.bar.id: POLES} if joint is not None and joint.bar is not None else {})

    def pieces(self, circuits: tuple[Circuit, ...]) -> Counter[str]:
        """Metres of cable and pieces of devices of some circuits."""
        used: Counter[str] = Counter()
        for circuit in circuits:
            used += circuit.pieces
        return used


def _with(fitter: Fitter, ask: Ask, fit: Fit) -> Circuit:
    cable, device = int(fit.cable[0]), int(fit.device[0])
    return Circuit(ask, fitter.cables[cable] if cable >= 0 else None, fitter.devices[device] if device >= 0 else None)


def _core_key(bank: Bank, inverters: InverterBank, converters: tuple[ConverterUse, ...]) -> tuple[object, ...]:
    """What tells apart the circuits of two banks with their inverters and converters."""
    inverter = inverters.inverter
    return (
        bank.battery.id, bank.volts, bank.strings, inverter.id if inverter else "", inverters.count,
        tuple((use.converter.id, use.count, use.load_v) for use in converters),
    )
