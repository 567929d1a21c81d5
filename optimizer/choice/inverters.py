"""Inverter banks and DC supplies as candidates."""

from __future__ import annotations

from itertools import product

import numpy as np

from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Converter, Inverter
from optimizer.needs.site import CONVERTER_RESERVE, PRACTICAL_BANK_A, Needs
from optimizer.rules import charging, inverting

INVERTER_FIELDS = (
    "bank_v", "cont_w", "cont_va", "surge_va", "surge_s", "idle_w", "search_w", "efficiency", "dc_low_cut_v", "dc_max_v",
    "max_parallel", "series_240", "three_phase", "full_output_t_max_c", "derating_pct_k", "weight_kg",
)


def _makes_standard(inverter: Inverter, count: int, standard: str) -> bool:
    if standard == "120 V 60 Hz":
        return inverter.ac == "120"
    if standard == "120/240 V 60 Hz":
        return inverter.ac == "120/240" or (inverter.ac == "120" and inverter.series_240 and count % 2 == 0)
    if standard == "230 V 50 Hz":
        return inverter.ac == "230"
    return standard == "230/400 V 50 Hz" and inverter.ac == "230" and inverter.three_phase and count % 3 == 0


def inverter_table(needs: Needs, catalog: Catalog, screening: Screening, stock: Stock) -> tuple[Table, list[Inverter]]:
    """Screened inverter banks; their column `inverter` counts in the list, -1 for none."""
    problem, demand = needs.problem, needs.demand
    # A site without AC has no use for an inverter, and no rule to thank for it.
    inverters = [inverter for inverter in catalog.inverters if stock.allows(inverter.id) and problem.site.ac != "none"]
    count_of = np.arange(1, problem.bounds.inverters + 1)
    which, counts = (axis.ravel() for axis in np.meshgrid(np.arange(len(inverters)), count_of, indexing="ij"))
    table = Table.of_records(inverters, INVERTER_FIELDS).take(which)
    table.add(inverter=which, count=counts)

    def hold(rule_id: str, actual: object, required: object) -> None:
        nonlocal table
        current = table
        table = screening.hold(current, rule_id, actual, required, lambda row: f"{current.count[row]} x {inverters[current.inverter[row]].id}")

    hold("inverter-bank-voltage", np.isin(table.bank_v, problem.bank.volts), True)
    makes = [_makes_standard(inverters[i], int(n), problem.site.ac) for i, n in zip(table.inverter, table.count, strict=True)]
    hold("ac-standard", np.array(makes, dtype=bool), True)
    hold("stacking", table.count <= table.max_parallel, True)
    if demand.needs_sine:
        hold("waveform", np.array([inverters[i].wave == "sine" for i in table.inverter], dtype=bool), True)
    if needs.has_ac_source and not problem.source_in_design:  # there a fixed bond bars the generator, not the inverter
        hold("neutral-bond", np.array([inverters[i].neutral_bond != "fixed" for i in table.inverter], dtype=bool), True)
    share = charging.heat_and_height_factor(
        needs.electronics_highest_c, table.full_output_t_max_c, table.derating_pct_k, problem.site.elevation_m
    )
    table.add(derated_va=table.cont_va * share, derated_w=table.cont_w * share)
    margin = problem.inverter.power_margin
    hold("continuous-power", table.count * table.derated_w, margin * demand.coincident_w)
    hold("continuous-va", table.count * table.derated_va, margin * demand.coincident_va)
    if demand.legs > 1:
        hold("leg-power", table.count * table.derated_va, margin * demand.coincident_leg_va)
    for start in demand.starts:
        able = table.count * inverting.starting_capability_va(table.surge_va, table.surge_s, table.derated_va, start.seconds)
        hold("surge", able, max(start.va, start.leg_va) if demand.legs > 1 else start.va)
    if problem.redundancy.inverters and needs.critical.has_ac:
        makes_less = [n > 1 and _makes_standard(inverters[i], int(n) - 1, problem.site.ac) for i, n in zip(table.inverter, table.count, strict=True)]
        table.add(rest=np.where(np.array(makes_less, dtype=bool), table.count - 1, 0))
        hold("spare-inverter", table.rest * np.minimum(table.derated_va, table.derated_w * needs.critical.va_each_w), margin * needs.critical.coincident_va)
        for start in needs.critical.starts:
            able = table.rest * inverting.starting_capability_va(table.surge_va, table.surge_s, table.derated_va, start.seconds)
            hold("spare-inverter", able, max(start.va, start.leg_va) if needs.critical.legs > 1 else start.va)
    hold("bank-current-practice", table.cont_w / (table.efficiency * table.dc_low_cut_v), PRACTICAL_BANK_A)
    if problem.limits.piece_kg_max is not None:
        hold("heaviest-piece", table.weight_kg, problem.limits.piece_kg_max)
    if not demand.has_ac or not screening.enforced("inverter-present"):
        none = {name: np.full(1, np.nan) for name in table.columns}
        none.update(inverter=np.array([-1]), count=np.array([0]), idle_w=np.zeros(1), search_w=np.zeros(1), efficiency=np.ones(1))
        table = Table.joined([Table({name: none[name] for name in table.columns}), table])
    return table, inverters


def converter_options(
    needs: Needs, catalog: Catalog, screening: Screening, stock: Stock, volts: int
) -> list[tuple[tuple[Converter, int] | None, ...]]:
    """Ways to feed the DC loads of every voltage on a bank of `volts`: None where they stand on the bank itself."""
    demand = needs.demand
    ways: list[list[tuple[Converter, int] | None]] = []
    for at, load_v in enumerate(demand.dc_volts):
        group: list[tuple[Converter, int] | None] = []
        if load_v == volts or not screening.enforced("dc-load-on-bank"):
            group.append(None)
        needed_a = float(screening.asked("dc-load-voltage", CONVERTER_RESERVE * float(demand.coincident_dc_w[at]) / load_v))
        for converter in catalog.converters:
            if not stock.allows(converter.id) or volts not in converter.bank_v or converter.out_v != load_v:
                continue
            limit = needs.problem.limits.piece_kg_max
            if limit is not None and screening.enforced("heaviest-piece") and converter.weight_kg > screening.asked("heaviest-piece", limit):
                continue
            group.append((converter, max(1, int(np.ceil(needed_a / converter.output_a - 1e-6)))))
        if not group:
            screening.lost("dc-load-on-bank", 1, 0, f"no converter from {volts} V to the {load_v:g} V loads")
        ways.append(group)
    return list(product(*ways))
