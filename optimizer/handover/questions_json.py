"""Answers to the questions about a design as plain data, by the keys of the contract."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from optimizer.bill import Bill
from optimizer.handover.as_json import Data, choice_data
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.kits import Kit
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Allowance, Battery, Controller, Inverter, Module, Part
from optimizer.questions.cost_of import CostOf, Notch, Priced
from optimizer.questions.curve import Curve
from optimizer.questions.diff import Difference, LineChange
from optimizer.questions.ranking import Ranking, WithMargin, tightest
from optimizer.questions.why_not import WhyNot, proven

SUBSYSTEMS = ("bank", "array", "inverter", "rest")

ALLOWANCE_OF = {
    "battery unit": "bank", "battery string": "bank", "series lithium unit": "bank", "module": "array", "array string": "array",
    "controller": "array", "controller ampere": "array", "inverter": "inverter", "inverter dc ampere": "inverter",
}


def in_money(cents: float | None) -> float | None:
    """Cents as money; None stays None."""
    return None if cents is None else cents / 100


def by_subsystem(bill: Bill, catalog: Catalog) -> dict[str, int]:
    """A bill cut in four [cents]; freight, margin and tax are in the rest, a kit is cut by what its parts cost one by one."""
    sums: Counter[str] = Counter()
    for line in bill.lines:
        sold = catalog.sold.get(line.part)
        if isinstance(sold, Kit):
            sums += _cut(sold, line.price_cents, catalog)
        else:
            sums[_subsystem(sold)] += line.price_cents
    return {kind: sums[kind] for kind in SUBSYSTEMS}


def _cut(kit: Kit, price_cents: int, catalog: Catalog) -> Counter[str]:
    """The price of some kits shared out among subsystems; it adds up to the cent."""
    apart = [(part, catalog.by_id[part].price_cents * count) for part, count in kit.parts]
    whole, given, sums = sum(cents for _, cents in apart) or 1, 0, Counter[str]()
    for at, (part, _) in enumerate(apart):
        up_to = price_cents * sum(cents for _, cents in apart[: at + 1]) // whole if at + 1 < len(apart) else price_cents
        sums[_subsystem(catalog.by_id[part])] += up_to - given
        given = up_to
    return sums


def _subsystem(part: Part | None) -> str:
    """The subsystem that a line of a bill belongs to."""
    if isinstance(part, Battery):
        return "bank"
    if isinstance(part, Module | Controller | Mount):
        return "array"
    if isinstance(part, Inverter):
        return "inverter"
    return ALLOWANCE_OF.get(part.per, "rest") if isinstance(part, Allowance) else "rest"


def ranking_data(found: Ranking, inputs: Data) -> Data:
    """The answer of `ranking`."""
    return {
        "counted": list(found.counted),
        "designs": [
            {
                "cost": in_money(ranked.cents), "kind": {"core": list(ranked.kind[0]), "controllers": sorted(ranked.kind[1]), "formats": sorted(ranked.kind[2])},
                "choice": choice_data(ranked.answer.choice) if ranked.answer.choice else None, "differs_in": list(ranked.differs_in), "outcome": ranked.answer.outcome.value,
            }
            for ranked in found.designs
        ],
        "within_2_pct": found.within_2_pct, "complete": found.complete, "exhausted": found.exhausted, "reason": found.last.reason,
        "with_margin": _with_margin(found.margin) if found.margin else None, "inputs": inputs,
    }


def _with_margin(margin: WithMargin) -> Data:
    answer, line = margin.answer, tightest(margin.answer)
    return {
        "margin_pct": margin.margin_pct, "outcome": answer.outcome.value, "cost": in_money(margin.cents),
        "choice": choice_data(answer.choice) if answer.choice else None, "reason": answer.reason,
        "tightest": {"rule": line.rule, "where": line.where, "margin_pct": 100 * (line.margin_share or 0.0)} if line else None,
    }


def _notch(notch: Notch | None) -> Data | None:
    if notch is None:
        return None
    return {"value": notch.value, "outcome": notch.answer.outcome.value, "cost": in_money(notch.cents)}


def _requirement(one: Priced, base_cents: int) -> Data:
    return {
        "name": one.requirement.name, "title": one.requirement.title, "unit": one.requirement.unit, "now": one.requirement.now,
        "looser": _notch(one.looser), "tighter": _notch(one.tighter), "without": _notch(one.without),
        "saves": one.saving_cents(base_cents) / 100,
    }


def cost_of_data(found: CostOf, inputs: Data) -> Data:
    """The answer of `cost-of`."""
    report = found.base.report
    return {
        "base": {
            "outcome": found.base.outcome.value, "cost": in_money(report.bill.paid_cents if report else None),
            "choice": choice_data(found.base.choice) if found.base.choice else None, "reason": found.base.reason,
        },
        "currency": found.base.catalog.currency,
        "requirements": [_requirement(one, report.bill.paid_cents) for one in found.priced] if report else [],
        "complete": found.complete,
        "exact": found.exact,
        "inputs": inputs,
    }


def curve_data(found: Curve, currency: str, inputs: Data) -> Data:
    """The answer of `curve`."""
    return {
        "over": found.axis.name, "unit": found.axis.unit, "resolution": found.axis.resolution, "now": found.axis.now,
        "exact": found.exact, "complete": found.complete, "currency": currency,
        "steps": [
            {
                "from": step.start, "to": step.end, "cost_from": in_money(step.start_cents), "cost_to": in_money(step.end_cents),
                "outcome": step.answer.outcome.value, "choice": choice_data(step.answer.choice) if step.answer.choice else None,
                "reason": step.answer.reason,
            }
            for step in found.steps
        ],
        "inputs": inputs,
    }


def curves_data(curves: Sequence[tuple[str, Curve]], currency: str, each: str, inputs: Data) -> Data:
    """The answer of `curve --each`: for each alternative the object of `curve`."""
    axis = curves[0][1].axis
    return {
        "over": axis.name, "unit": axis.unit, "each": each,
        "curves": [{"value": value, **curve_data(found, currency, inputs)} for value, found in curves],
        "inputs": inputs,
    }


def why_not_data(found: WhyNot, inputs: Data) -> Data:
    """The answer of `why-not`."""
    base, best = found.base.report, found.with_part.report if found.with_part else None
    return {
        "part": found.part,
        "verdict": found.verdict,
        "reason": found.reason,
        "rule": found.blocking.rule if found.blocking else None,
        "shortfall": found.blocking.shortfall if found.blocking else None,
        "price": found.base.catalog.sold[found.part].price,
        "currency": found.base.catalog.currency,
        "cost": in_money(base.bill.paid_cents if base else None),
        "cost_with": in_money(best.bill.paid_cents if best else _with_it(found)),
        "choice_with": choice_data(found.with_part.choice) if found.with_part and found.with_part.choice else None,
        "enters_below_price": in_money(found.enters_below_cents),
        "indispensable": found.indispensable,
        "exact": exact(found),
        "inputs": inputs,
    }


def _with_it(found: WhyNot) -> int | None:
    """What the design costs with a part of its circuits in place of another [cents]."""
    return None if found.more_cents is None or found.base.report is None else found.base.report.bill.paid_cents + found.more_cents


def exact(found: WhyNot) -> bool:
    """Whether the answers behind a verdict are proven."""
    return proven(found.base) and (found.with_part is None or proven(found.with_part))


def _line(line: LineChange) -> Data:
    return {
        "part": line.part, "description": line.description, "quantity_before": line.quantity_before, "quantity_after": line.quantity_after,
        "price_before": line.price_before, "price_after": line.price_after,
    }


def diff_data(found: Difference) -> Data:
    """The answer of `diff`."""
    return {
        "cost": {"before": found.total_before, "after": found.total_after, "currency": found.currency},
        "added": [_line(line) for line in found.added],
        "removed": [_line(line) for line in found.removed],
        "changed": [_line(line) for line in found.changed],
        "became_binding": list(found.became_binding),
        "no_longer_binding": list(found.no_longer_binding),
    }
