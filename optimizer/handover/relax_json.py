"""The answer of `relax` as plain data, by the keys of the contract."""

from __future__ import annotations

from optimizer.handover.as_json import Data, choice_data
from optimizer.questions.relax import Relaxed


def relax_data(found: Relaxed, inputs: Data) -> Data:
    """The answer of `relax`."""
    report = found.base.report
    return {
        "outcome": found.base.outcome.value,
        "cost": report.bill.paid_cents / 100 if report else None,
        "currency": found.base.catalog.currency,
        "reason": found.base.reason,
        "sets": [
            {
                "loosen": [
                    {"requirement": one.requirement.name, "title": one.requirement.title, "from": one.requirement.now, "to": one.to, "unit": one.requirement.unit}
                    for one in way.loosen
                ],
                "cost": way.cents / 100,
                "choice": choice_data(way.answer.choice) if way.answer.choice else None,
                "outcome": way.answer.outcome.value,
            }
            for way in found.ways
        ],
        "conflicts": [[requirement.name for requirement in group] for group in found.conflicts],
        "gaps": [
            {
                "kind": gap.field.kind, "field": gap.field.name, "needed": gap.needed, "sense": gap.field.sense,
                "unit": found.base.catalog.currency if gap.field.unit == "money" else gap.field.unit, "sufficient": gap.sufficient,
            }
            for gap in found.gaps
        ],
        "beyond_all": found.beyond,
        "complete": found.complete,
        "exact": found.exact,
        "inputs": inputs,
    }
