"""Other ways to the same optimum, on the same candidates without pruning: for comparison only."""

from __future__ import annotations

import os
import time
from typing import Any, NamedTuple

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.candidate_set import Candidates
from optimizer.choice.candidates import candidates, telling_months
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.site import Needs
from optimizer.rules.book import TOLERANCE

SHARE = 10_000_000
"""Whole parts into which the greatest value of a row is divided for a solver of whole numbers."""


class Result(NamedTuple):
    """Objective in cents (None: no design), whether proven, seconds for candidates, model and solving, and sizes."""

    objective: int | None
    proven: bool
    seconds: dict[str, float]
    cores: int
    blocks: int


def unpruned(problem: Problem, catalog: Catalog) -> Candidates:
    """Screened candidates, none pruned; priced as the objective prices them."""
    needs = Needs(problem)
    return candidates(needs, catalog, Stock(problem, catalog, PriceList(problem, catalog)), Screening(needs.severities), prune=False).result()


def _asked_only_the_usual(problem: Problem) -> None:
    limits, bounds = problem.limits, problem.bounds
    unusual = [
        problem.array.rectangles, problem.array.area_m2, limits.budget, limits.total_kg_max, problem.owned, problem.locks.at_least, problem.locks.at_most,
        problem.dc.loads_on != "bank", problem.objective.price_per_distinct_part, bounds.array_kinds > 2,
    ]
    assert not any(unusual), "the peers know the families that the benchmark problems use, and no more"


def cp_sat(problem: Problem, catalog: Catalog, time_limit_s: float) -> Result:
    """The same variables and constraint families in OR-Tools CP-SAT, on every core of the machine.

    Links to a class go through one variable a class, and controllers that share no bank through one variable in all:
    both are exact and shorter than a row a pair. Packs and stock have their rows from the start.
    """
    from ortools.sat.python import cp_model

    _asked_only_the_usual(problem)
    started = time.perf_counter()
    found = unpruned(problem, catalog)
    cores, blocks, most = found.cores.table, found.blocks, problem.bounds.controllers
    screened = time.perf_counter()
    model = cp_model.CpModel()
    x = [model.new_bool_var("") for _ in range(len(cores))]
    n = [model.new_int_var(0, 1 if alone else most, "") for alone in ~blocks.parallel_ok]
    y = [model.new_bool_var("") for _ in range(len(blocks))]
    model.add_exactly_one(x)
    model.add(cp_model.LinearExpr.sum(y) <= problem.bounds.array_kinds)
    model.add(cp_model.LinearExpr.sum(y) >= 1)
    alone = model.new_bool_var("")
    model.add(cp_model.LinearExpr.sum(n) + (most - 1) * alone <= most)
    for b in range(len(blocks)):
        model.add(n[b] <= most * y[b])
        model.add(n[b] >= y[b])
        if not blocks.parallel_ok[b]:
            model.add_implication(y[b], alone)

    def weighted(values: np.ndarray, variables: list[Any], rows: np.ndarray) -> Any:
        rows = rows[values[rows] != 0]
        return cp_model.LinearExpr.weighted_sum([variables[i] for i in rows], [int(v) for v in values[rows]])

    def parts(values: np.ndarray, scale: float) -> np.ndarray:
        return np.round(np.asarray(values, dtype=float) / scale * SHARE).astype(np.int64)

    for number in np.unique(cores.bank_class):
        mine, own = np.nonzero(cores.bank_class == number)[0], np.nonzero(blocks.bank_class == number)[0]
        if not len(own):
            for c in mine:
                model.add(x[c] == 0)
            continue
        there = model.new_bool_var("")
        model.add(cp_model.LinearExpr.sum([x[c] for c in mine]) == there)
        for b in own:
            model.add_implication(y[b], there)
        for month in telling_months(blocks.harvest_wh[own], cores.needed_wh[mine]):
            scale = max(1.0, float(cores.needed_wh[mine, month].max()))
            given, asked = np.minimum(parts(blocks.harvest_wh[:, month], scale), SHARE), parts(cores.needed_wh[:, month] * (1 - TOLERANCE), scale)
            model.add(weighted(given, n, own) >= weighted(asked, x, mine))
        room = np.minimum(cores.room_w, most * float(blocks.self_w.max()) + 1)
        model.add(weighted(parts(blocks.self_w, 1e3), n, own) <= weighted(parts(room, 1e3), x, mine))
        model.add(weighted(parts(blocks.low_a, 1e4), n, own) >= weighted(parts(cores.least_a * (1 - TOLERANCE), 1e4), x, mine))
        model.add(weighted(parts(blocks.high_a, 1e4), n, own) <= weighted(parts(cores.most_charge_a * (1 + TOLERANCE), 1e4), x, mine))
        for level in np.unique(blocks.highest_v[own]):
            stand = [x[c] for c in mine if cores.ceiling_v[c] * (1 + TOLERANCE) >= level]
            if len(stand) < len(mine):
                holds = model.new_bool_var("")
                model.add(cp_model.LinearExpr.sum(stand) == holds)
                for b in own[blocks.highest_v[own] >= level]:
                    model.add_implication(y[b], holds)
    for device in np.unique(blocks.device[blocks.built_in]):
        model_id = found.arrays.parts[device].id
        same = np.array([inverter.id == model_id for inverter in found.cores.inverters])[cores.inverter] & (cores.inverter >= 0)
        used = np.nonzero(blocks.built_in & (blocks.device == device))[0]
        model.add(cp_model.LinearExpr.sum([n[b] for b in used]) <= weighted(np.where(same, cores.inverter_count, 0), x, np.arange(len(x))))
    model.minimize(_money(found, model, x, n, weighted))
    built = time.perf_counter()
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = os.cpu_count() or 1
    solver.parameters.max_time_in_seconds = time_limit_s
    status = solver.solve(model)
    ended = time.perf_counter()
    has = status in (cp_model.OPTIMAL, cp_model.FEASIBLE)
    seconds = {"candidates": screened - started, "model": built - screened, "solve": ended - built, "total": ended - started}
    return Result(round(solver.objective_value) if has else None, status == cp_model.OPTIMAL, seconds, len(x), len(n))


def _money(found: Candidates, model: Any, x: list[Any], n: list[Any], weighted: Any) -> Any:
    """Cost of candidates; parts in packs or with a stock are bought in whole packs instead."""
    stock, cores, blocks = found.stock, found.cores.table, found.blocks
    core_cost, block_cost = cores.cost.astype(np.int64), blocks.cost.astype(np.int64)
    bought, prices = [], []
    for part in found.catalog.parts():
        if part.pack_qty == 1 and part.stock is None:
            continue
        battery = np.array([one.id == part.id for one in found.cores.batteries])[cores.battery]
        inverter = np.array([*(one.id == part.id for one in found.cores.inverters), False])[cores.inverter]
        module = np.array([one.id == part.id for one in found.arrays.modules])[blocks.module]
        device = np.array([one.id == part.id for one in found.arrays.parts])[blocks.device] & ~blocks.built_in
        in_cores = (battery * cores.units + inverter * cores.inverter_count).astype(np.int64)
        in_blocks = (module * blocks.modules_each + device).astype(np.int64)
        if not in_cores.any() and not in_blocks.any():
            continue
        packs = model.new_int_var(0, 10_000 if part.stock is None else part.stock // part.pack_qty, "")
        model.add(part.pack_qty * packs >= weighted(in_cores, x, np.arange(len(x))) + weighted(in_blocks, n, np.arange(len(n))))
        each = stock.bill_cents(part.id)
        core_cost, block_cost = core_cost - each * in_cores, block_cost - each * in_blocks
        bought.append(packs)
        prices.append(each * part.pack_qty)
    total = weighted(core_cost, x, np.arange(len(x))) + weighted(block_cost, n, np.arange(len(n)))
    return total + sum(price * packs for price, packs in zip(prices, bought, strict=True))


def enumeration(problem: Problem, catalog: Catalog) -> Result:
    """Every core with every block as the only kind, in numpy; right only where the problem allows one kind of array."""
    _asked_only_the_usual(problem)
    assert problem.bounds.array_kinds == 1, "two kinds are too many pairs to walk through"
    started = time.perf_counter()
    found = unpruned(problem, catalog)
    cores, all_blocks, most = found.cores.table, found.blocks, problem.bounds.controllers
    screened = time.perf_counter()
    best: int | None = None
    for number in np.unique(cores.bank_class):
        own = np.nonzero(all_blocks.bank_class == number)[0]
        blocks = all_blocks.take(own)
        for core in np.nonzero(cores.bank_class == number)[0]:
            with np.errstate(divide="ignore", invalid="ignore"):
                times = np.where(blocks.harvest_wh > 0, cores.needed_wh[core] * (1 - TOLERANCE) / blocks.harvest_wh, np.inf).max(axis=1)
                times = np.maximum(times, cores.least_a[core] * (1 - TOLERANCE) / blocks.low_a)
            times = np.maximum(1, np.ceil(np.minimum(times, most + 1)))
            inverter = found.cores.inverters[cores.inverter[core]].id if cores.inverter[core] >= 0 else ""
            same = np.array([part.id == inverter for part in found.arrays.parts])[blocks.device]
            limit = np.where(blocks.built_in, np.where(same, np.minimum(cores.inverter_count[core], most), 0), most)
            limit = np.where(blocks.parallel_ok, limit, np.minimum(limit, 1))
            fits = (times <= limit) & (times * blocks.self_w <= cores.room_w[core])
            fits &= (times * blocks.high_a <= cores.most_charge_a[core] * (1 + TOLERANCE)) & (blocks.highest_v <= cores.ceiling_v[core] * (1 + TOLERANCE))
            cost = np.where(fits, cores.cost[core] + times * blocks.cost, np.inf)
            best = _cheapest(found, int(core), own, times, cost, best)
    ended = time.perf_counter()
    return Result(best, True, {"candidates": screened - started, "walk": ended - screened, "total": ended - started}, len(cores), len(all_blocks))


def _cheapest(found: Candidates, core: int, rows: np.ndarray, times: np.ndarray, cost: np.ndarray, best: int | None) -> int | None:
    """Designs on a core in the order of what they cost before packs, as long as one may be cheaper than the best yet."""
    below = np.nonzero(cost < (np.inf if best is None else best))[0]
    for at in below[np.argsort(cost[below], kind="stable")]:
        if best is not None and cost[at] >= best:
            break
        design = found.design(core, [(int(rows[at]), int(times[at]))])
        if found.stock.holds(design.pieces, found.needs.severities.enforced):
            bill = found.stock.prices.bill(design).objective_cents
            best = bill if best is None else min(best, bill)
    return best
