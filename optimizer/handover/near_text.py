"""An answer near an order, for a terminal."""

from __future__ import annotations

from optimizer.handover.layout import bullets, joined, money, section
from optimizer.handover.terminal import solve_text
from optimizer.questions.near import Near


def near_text(found: Near) -> str:
    """The page of `solve`, and what the design changes against the order."""
    if found.answer.report is None:
        return solve_text(found.answer)
    best = "best by what is minimised" if found.answer.problem.counts_beside_the_bill else "cheapest"
    proof = f"the {best} of those that change the fewest lines of the order: proven"
    if not found.complete:
        proof = "the best found before the stop: whether fewer lines of the order could change is not known"
    price = f"{money(found.answer.report.bill.total_cents)} {found.answer.catalog.currency}, {proof}"
    return joined([solve_text(found.answer, price), *section("Against the order", bullets(_lines(found)))])


def _lines(found: Near) -> list[str]:
    """What stays, what changes, and what the design would cost that looks at no order."""
    number = found.changed_lines
    told = [f"{number} line{' changes' if number == 1 else 's change'}" if number else "No line changes"]
    told += [f"kept: {pieces} x {part}" for part, pieces in found.kept.items()]
    told += [f"changed: {part}, {before} ordered, now {now}" for part, (before, now) in found.changed.items()]
    told += [f"removed: {pieces} x {part}" for part, pieces in found.removed.items()]
    told += [f"added: {pieces} x {part}" for part, pieces in found.added.items()]
    if found.cheapest.report is not None:
        told.append(f"cheapest design, whatever was ordered: {money(found.cheapest.report.bill.total_cents)} {found.answer.catalog.currency}")
    return told
