"""What the hours of a lived year can see of candidates: columns in which less is better, whatever the sun and the air.

The months of the program add up a year; a design that is lived must do in every hour. Where a problem has a
loss-of-load limit a candidate is dropped only for one that is no worse in each of them. See docs/program.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from optimizer.choice.block_circuits import way_drop_v
from optimizer.choice.blocks import Arrays
from optimizer.choice.cores import Cores
from optimizer.choice.kinds import numbered
from optimizer.choice.table import Table
from optimizer.design import Bank
from optimizer.needs.site import Needs
from optimizer.rules import array, wiring

LIVED_MOST = 40_000
"""Blocks up to which they are held against each other for every hour."""

BRIGHTEST_W_M2 = 1200.0
"""Irradiance above which a lived array is as warm, and loses as large a share in its cables, as here."""


@dataclass(frozen=True)
class Beaten:
    """Designs that one which failed shows to fail as well: on these cores, with blocks whose shares add up to less than `least`."""

    cores: np.ndarray
    share: np.ndarray
    """Of each block: the most that it gives in any hour, as a multiple of what the failed arrays give then; shape (blocks,)."""
    least: float


def block_hours(arrays: Arrays, bank: Bank, blocks: Table, air_c: tuple[float, float]) -> list[np.ndarray]:
    """Columns for blocks: power of a tracker at any sun and air, its limit, own use; strings on PWM only with their like.

    A tracker gives the least of its limit and P eta f(G, T) (1 - r G) (1 - c G): the three factors are straight lines in
    the sun G, and f one in the air T. At either end of the air the coefficients of this cubic in the Bernstein basis say
    enough: where none is smaller, no value between is.
    """
    d, m = blocks.device, blocks.module
    panels, devices, needs = arrays.panels, arrays.devices, arrays.needs
    pwm = devices.pwm[d]
    sized = "run_drop_v" in blocks.columns
    watts = panels.pmax_w[m] * blocks.modules_each
    lost = way_drop_v(blocks, panels)
    run = charge = np.zeros(len(blocks))
    if sized:
        flowing = np.minimum(blocks.limit_effective_a, watts / bank.nominal_v)
        run = wiring.loss_share(blocks.run_drop_v / (panels.vmp_v[m] * blocks.series), BRIGHTEST_W_M2)
        charge = wiring.loss_share(flowing * blocks.charge_ohm / bank.charging_v, BRIGHTEST_W_M2)
    smaller = [blocks.self_w]
    for air in air_c:
        heat = [
            array.power_factor_at_cell(panels.tc_pmax_pct_k[m], array.cell_c(air, panels.noct_c[m], sun, needs.mounting_factor))
            for sun in (0.0, BRIGHTEST_W_M2)
        ]
        lines = [heat, [np.ones(len(blocks)), 1 - run], [np.ones(len(blocks)), 1 - charge]]
        smaller += [-np.where(pwm, 0.0, watts * devices.efficiency[d] * one) for one in bernstein(lines)]
    smaller.append(-np.where(pwm, 0.0, blocks.limit_effective_a))
    if pwm.any():
        like = numbered([(int(at), int(n), float(drop)) if is_pwm else () for at, n, drop, is_pwm in zip(m, blocks.series, devices.run_over_bank_v[d], pwm, strict=True)])
        smaller += [like, -like, -np.where(pwm, blocks.strings * devices.efficiency[d], 0.0), np.where(pwm, lost, 0.0)]
    return smaller


def bernstein(lines: list[list[np.ndarray]]) -> list[np.ndarray]:
    """Coefficients in the Bernstein basis of a product of straight lines, each given by its values at both ends.

    >>> [float(one) for one in bernstein([[np.array(1.0), np.array(2.0)], [np.array(1.0), np.array(0.0)]])]
    [1.0, 1.0, 0.0]
    """
    count = len(lines)
    found = []
    for k in range(count + 1):
        chosen = list(combinations(range(count), k))
        found.append(np.asarray(sum(np.prod([line[at in ends] for at, line in enumerate(lines)], axis=0) for ends in chosen) / len(chosen)))
    return found


def core_hours(needs: Needs, cores: Cores, table: Table) -> list[np.ndarray]:
    """Columns for cores: what stands by and what is lost on the way to the loads; only banks of the same units are compared."""
    same_bank = numbered([tuple(int(n) for n in row) for row in zip(table.battery, table.series, table.strings, strict=True)])
    converters = np.array([sum(use[0].idle_w * use[1] for use in way if use is not None) for way in cores.ways])[table.way]
    smaller = [same_bank, -same_bank, np.nan_to_num(table.idle_w * table.inverter_count), np.nan_to_num(table.search_w * table.inverter_count), converters]
    kept = [table.supply_efficiency[:, at] for at in range(table.supply_efficiency.shape[1])]
    # Loads that wait for the sun are stepped at the battery's terminals: there only equals are compared.
    waits = any(load.critical == "defer" for load in needs.problem.loads)
    return [*smaller, *(-one for one in kept), *(kept if waits else [])]
