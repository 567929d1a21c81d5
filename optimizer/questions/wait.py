"""What a plan does not buy now, and why waiting is better."""

from __future__ import annotations

from dataclasses import dataclass

from optimizer.growth.ledger import Lot
from optimizer.growth.plan import Plan, Visit
from optimizer.growth.tree import FIRST, Node
from optimizer.inputs.parts import Battery


@dataclass(frozen=True)
class Wait:
    """A part that comes later, with the reason for not buying it now."""

    part: str
    pieces: int
    year: float
    future: str
    reason: str


def waits(plan: Plan) -> tuple[Wait, ...]:
    """Parts that a plan buys at later nodes, by year; each with what buying them now would mean."""
    found = []
    for visit in sorted(plan.visits.values(), key=lambda one: (one.node.year, one.node.number)):
        if visit.node.parent is None:
            continue
        for part, pieces in sorted((*visit.new_parts.items(), *visit.kits.items())):
            found.append(Wait(part, pieces, visit.node.year, visit.node.future, _reason(plan, visit, part)))
    return tuple(found)


def _reason(plan: Plan, visit: Visit, part_id: str) -> str:
    ledger, node = plan.ledger, visit.node
    kit, part = next((one for one in ledger.kits if one.id == part_id), None), ledger.catalog.by_id.get(part_id)
    bought_now = Lot(FIRST, 0.0)
    if isinstance(part, Battery):
        if ledger.worn(part_id, bought_now, node.year):
            return f"bought now it would be worn out by then: {part.chemistry} lasts {ledger.catalog.chemistry(part).calendar_life_years:g} years"
        spread = ledger.spread_years(part_id)
        # Only beside pieces of a date between: a bank that is bought whole now is of one age.
        between = max((lot.year for item, lot in visit.there if item == part_id and lot.node != node.number), default=0.0)
        if between > spread:
            return (
                f"bought now it would stand unused for {node.year:g} years, and beside those of year {between:g} it would be too old: {part.chemistry} of ages "
                f"more than {12 * spread:g} months apart is not put in one bank"
            )

    def price(at: Node) -> float:
        return ledger.kit_price(kit, at) if kit is not None else ledger.price(part_id, at)

    # A piece bought now would serve in every future that buys one later, so all of these are what waiting costs.
    buying: dict[str, Node] = {}
    for other in sorted(plan.visits.values(), key=lambda one: one.node.year):
        if other.node.parent is not None and (other.new_parts.get(part_id) or other.kits.get(part_id)):
            buying.setdefault(other.node.future, other.node)
    chance = sum(ledger.tree.weight(one) for one in buying.values())
    then = sum(ledger.tree.weight(one) * ledger.discount(one.year) * price(one) for one in buying.values())
    names = " or ".join(f"'{future}'" for future in sorted(buying))
    needed = f"needed only if the future {names} comes ({100 * chance:.0f} %), and here in year {node.year:g}"
    return f"{needed}: now a piece costs {price(ledger.tree.nodes[FIRST]) / 100:,.2f}, waiting {then / 100:,.2f} (expected, present)"
