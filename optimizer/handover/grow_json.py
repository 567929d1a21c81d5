"""The answer of `grow` as plain data, by the keys of the contract; money in units of the currency."""

from __future__ import annotations

import math
from typing import Any

from optimizer.design import choice_of
from optimizer.growth.ledger import ALLOWANCE
from optimizer.growth.plan import Visit
from optimizer.handover.as_json import Data, choice_data, owned_data
from optimizer.questions.grown import Grown, NamedPlan


def grow_data(grown: Grown, inputs: Data) -> Data:
    """The answer of `grow`."""
    return {
        "outcome": "infeasible" if grown.best is None and grown.complete else "optimal" if grown.proven else "feasible" if grown.best else "stopped",
        "reason": grown.reason,
        "currency": grown.catalog.currency,
        "probability_of_growth": grown.probability,
        "plans": [_plan(named) for named in grown.plans],
        "regret": [
            {
                "first_purchase": one.first_purchase, "kind": one.kind, "by_future": _money(one.by_future), "greatest": _coin(one.greatest),
                "expected_cost": _coin(one.expected_cents), "proven": one.proven,
                "least_cost": _coin(one.least_cents),
            }
            for one in grown.regrets
        ],
        "doors": [
            {
                "door": door.door, "price_now": None if door.price_now_cents is None else _coin(door.price_now_cents), "kept": door.kept_now,
                "closes_month": door.closes_month, "looked_to_month": door.looked_to_month,
            }
            for door in grown.doors
        ],
        "do_not_buy": [{"part": one.part, "pieces": one.pieces, "year": one.year, "future": one.future, "reason": one.reason} for one in grown.waits],
        "owned": owned_data(grown.owned),
        "flips": [{"parameter": "probability of growth", "unit": "share", "at": flip.probability, "from": flip.before, "to": flip.after} for flip in grown.flips],
        "lines": [
            {"first_purchase": line.first_purchase, "cost_if_never": _coin(line.never_cents), "cost_if_certain": _coin(line.certain_cents)}
            for line in grown.lines
        ],
        "step_by_step": None if grown.step_by_step_cents is None else _coin(grown.step_by_step_cents),
        "complete": grown.complete,
        "not_asked": grown.not_asked,
        "proven": grown.proven,
        "inputs": inputs,
    }


def _coin(cents: float) -> float | None:
    """In units of the currency; nothing where there is no plan."""
    return round(cents / 100, 2) if math.isfinite(cents) else None


def _money(by_name: Any) -> Data:
    return {name: _coin(cents) for name, cents in by_name.items()}


def _plan(named: NamedPlan) -> Data:
    plan = named.planned.plan
    assert plan is not None, "a named plan holds a plan"
    return {
        "name": named.name,
        "first_purchase": named.first_purchase,
        "stages": [_stage(visit) for visit in plan.visits.values()],
        "cost_by_future": _money(named.cost_by_future),
        "running_by_future": _money(named.running_by_future),
        "expected_cost": _coin(named.expected_cents),
        "bound": _coin(named.planned.bound_cents),
        "gap": named.planned.gap,
        "proven": named.planned.proven,
    }


def _stage(visit: Visit) -> Data:
    return {
        "year": visit.node.year,
        "future": visit.node.future or None,
        "stage": visit.node.stage or None,
        "choice": choice_data(choice_of(visit.design)),
        "buy": visit.new_parts,
        "buy_kits": dict(visit.kits),
        "lay": {item.removeprefix(ALLOWANCE): n for item, n in visit.bought.items() if item.startswith(ALLOWANCE)},
        "sell": _pieces(visit.sold),
        "there_unused": visit.idle,
        "there": [
            {"part": item, "pieces": n, "bought_in_year": None if lot.owned else lot.year}
            for (item, lot), n in visit.there.items() if not item.startswith(ALLOWANCE)
        ],
        "spent": _coin(visit.spent_cents),
        "changeover": _coin(visit.changeover_cents),
        "received": _coin(visit.got_cents),
        "running_a_year": _coin(visit.yearly_cents),
    }


def _pieces(lots: Any) -> dict[str, int]:
    found: dict[str, int] = {}
    for (item, _), n in lots.items():
        found[item] = found.get(item, 0) + n
    return found
