"""Circuits of power cores: inverters, DC loads and battery strings, with what they cost and lose."""

from __future__ import annotations

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.table import Table
from optimizer.circuits.busbars import POLES
from optimizer.circuits.core_side import Banks, CoreSide, load_circuits, string_circuits
from optimizer.circuits.figures import ac_output_v, inverter_dc_a, string_a
from optimizer.circuits.wiring import Wiring
from optimizer.inputs.parts import Converter, Inverter


def with_load_circuits(
    table: Table, inverters: list[Inverter], way: tuple[tuple[Converter, int] | None, ...], screening: Screening, wiring: Wiring,
) -> Table:
    """Cores with the circuits of their inverters and DC loads; what these lose is taken off the efficiency of each supply."""
    drawn = np.array([*(inverter_dc_a(one) for one in inverters), np.nan])[table.inverter]
    volts = np.array([*(ac_output_v(one) for one in inverters), np.nan])[table.inverter]
    output = np.array([*(one.cont_va for one in inverters), np.nan])[table.inverter] / volts
    count = table.inverter_count
    flowing = np.array([*([one.cont_w, one.cont_va] for one in inverters), [np.nan, np.nan]])[table.inverter] * count[:, None]
    demand = wiring.needs.demand
    with np.errstate(invalid="ignore", divide="ignore"):
        shares = np.minimum(np.array([demand.coincident_w, demand.coincident_va]) / flowing, 1.0)
    side = load_circuits(wiring, _banks(table), drawn, output, volts, count, np.nan_to_num(shares), [use is not None for use in way])
    table.columns["supply_efficiency"] = table.supply_efficiency * side.kept
    return _taken(table, side, screening)


def with_string_circuits(
    table: Table, inverters: list[Inverter], way: tuple[tuple[Converter, int] | None, ...], screening: Screening, wiring: Wiring,
) -> Table:
    """Cores with the circuits of their battery strings, and with the busbars at which all circuits meet."""
    current = string_a(table.steady_a, table.strings, table.charge_max_a)
    table = _taken(table, string_circuits(wiring, _banks(table), current, table.strings), screening)
    return _with_busbars(table, inverters, way, screening, wiring) if wiring.busbars.active and len(table) else table


def _with_busbars(
    table: Table, inverters: list[Inverter], way: tuple[tuple[Converter, int] | None, ...], screening: Screening, wiring: Wiring,
) -> Table:
    bars = wiring.busbars
    branches = bars.branches(sum(1 if use is None else use[1] for use in way))
    drawn = np.array([*(inverter_dc_a(one) for one in inverters), 0.0])[table.inverter] * table.inverter_count
    own = table.strings + table.inverter_count + branches
    carries = np.maximum(drawn + (table.dc_a if branches else 0.0), np.minimum(bars.sources_a, table.charge_max_a * table.strings))
    ways, met = own + bars.source_ways, own >= POLES
    at = np.where(met, bars.cheapest(carries, ways, table.top_v), -1)
    table.columns["wiring_cents"] = table.wiring_cents + bars.cents[at]
    table.columns["wiring_kg"] = table.wiring_kg + bars.kg[at]
    lacks = ~(at >= 0) & met
    first = int(np.argmax(lacks)) if lacks.any() else 0
    text = f"a pair of busbars: {carries[first]:.4g} A, {ways[first]:g} conductors, {table.top_v[first]:.4g} V"
    return screening.hold(table, "circuit-parts", ~lacks, True, lambda _: text)


def _banks(table: Table) -> Banks:
    return Banks(table.nominal_v, table.top_v, table.fault_a)


def _taken(table: Table, side: CoreSide, screening: Screening) -> Table:
    table.columns["wiring_cents"] = table.wiring_cents + side.cents
    table.columns["wiring_kg"] = table.wiring_kg + side.kg
    return screening.hold(table, "circuit-parts", side.ok, True, lambda _: side.lacks)
