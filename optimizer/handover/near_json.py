"""An answer near an order, as JSON."""

from __future__ import annotations

from optimizer.handover.as_json import Data, solve_data
from optimizer.questions.near import Near


def near_data(found: Near, inputs: Data) -> Data:
    """The answer of `solve`, and what it changes against the order."""
    cheapest = found.cheapest.report
    return {**solve_data(found.answer, inputs), "near": {
        "changed_lines": found.changed_lines if found.answer.report else None,
        "kept": _pieces(found.kept),
        "changed": [{"part": part, "from": before, "to": now} for part, (before, now) in found.changed.items()],
        "added": _pieces(found.added),
        "removed": _pieces(found.removed),
        "cheapest_total": cheapest.bill.total_cents / 100 if cheapest else None,
        "complete": found.complete,
    }}


def _pieces(lines: dict[str, int]) -> list[Data]:
    return [{"part": part, "quantity": pieces} for part, pieces in lines.items()]
