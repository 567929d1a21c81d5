"""Why a part is not in the design, and what would bring it in."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeVar, cast

from optimizer.answer import Answer, solve
from optimizer.choice.screening import ScreenRow
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import nearest
from optimizer.needs.requirements import with_section

Verdict = Literal["chosen", "beaten", "screened out"]

PartKind = TypeVar("PartKind", bound=Part)

STEPS_MOST = 30


@dataclass(frozen=True)
class WhyNot:
    """The verdict on one part; money in cents."""

    part: str
    verdict: Verdict
    base: Answer
    with_part: Answer | None
    """The cheapest design that contains the part, where there is one."""
    enters_below_cents: int | None
    """Highest price at which a design with the part costs no more than the present one; None where no price does."""
    blocking: ScreenRow | None
    reason: str


def why_not(problem: Problem, catalog: Catalog, part_id: str) -> WhyNot:
    """Chosen; or beaten, by how much and from which price on; or screened out, by which rule.

    Raises InputError for a part that the catalog does not hold.
    """
    part = catalog.by_id.get(part_id)
    if part is None:
        raise InputError(f"part '{part_id}' is not in the catalog{nearest(part_id, list(catalog.by_id))}")
    base = solve(problem, catalog)
    if base.report is not None and base.report.design.pieces[part_id]:
        return WhyNot(part_id, "chosen", base, base, part.price_cents, None, "it is in the cheapest design")
    needed = max(1, problem.locks.at_least.get(part_id, 0))
    demanding = with_section(problem, "locks", at_least={**problem.locks.at_least, part_id: needed})
    with_part = solve(demanding, catalog)
    if with_part.report is None:
        alone = solve(with_section(problem, "locks", only=(*problem.locks.only, part_id)), catalog)
        reason = alone.reason or with_part.reason
        emptied = [row for row in alone.screening if row.left == 0]
        return WhyNot(part_id, "screened out", base, None, None, emptied[-1] if emptied else None, reason)
    price = _entering_price(base, with_part, demanding, catalog, part) if base.report is not None else None
    return WhyNot(part_id, "beaten", base, with_part, price, None, "a design without it costs less")


def _entering_price(base: Answer, with_part: Answer, demanding: Problem, catalog: Catalog, part: Part) -> int | None:
    """Walk along the designs' cost lines to the price where the best design with the part costs what the present one costs.

    The least cost of a design with the part is concave in its price, so each step along a line reaches the crossing
    from below at the latest with the last line.
    """
    assert base.report is not None, "asked only beside a present design"
    target = base.report.bill.objective_cents
    price, report = part.price_cents, with_part.report
    for _ in range(STEPS_MOST):
        if report is None:
            return None
        bought = next((line.quantity for line in report.bill.lines if line.part == part.id), 0)
        over = report.bill.objective_cents - target
        if over <= 0 or not bought:
            break
        # Whole cents: the highest price of this line that is not above the target.
        price = price + (-over // bought)
        if price < 0:
            return None
        report = solve(demanding, with_price(catalog, part, price)).report
    while report is not None:
        # From below: the line of the present best may reach further up.
        bought = next((line.quantity for line in report.bill.lines if line.part == part.id), 0)
        room = (target - report.bill.objective_cents) // bought if bought else 0
        if room <= 0:
            return price
        higher = solve(demanding, with_price(catalog, part, price + room)).report
        if higher is None or higher.bill.objective_cents > target:
            return price
        price, report = price + room, higher
    return price


def with_price(catalog: Catalog, part: Part, price_cents: int) -> Catalog:
    """The catalog with another price for one part."""
    changed = part.model_copy(update={"price": price_cents / 100})

    def swapped(parts: tuple[PartKind, ...]) -> tuple[PartKind, ...]:
        return tuple(cast("PartKind", changed) if one.id == part.id else one for one in parts)

    return replace(
        catalog, modules=swapped(catalog.modules), batteries=swapped(catalog.batteries), controllers=swapped(catalog.controllers),
        inverters=swapped(catalog.inverters), converters=swapped(catalog.converters), allowances=swapped(catalog.allowances),
    )
