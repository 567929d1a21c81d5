"""Prices of the items at every node to begin with: what the program's relaxation says nothing about yet."""

from __future__ import annotations

from collections.abc import Sequence

from optimizer.growth.ledger import Ledger, Lot
from optimizer.growth.tree import Node

LATER_SHARE = 0.5
"""Share of what a later purchase costs that a piece is thought worth at later nodes; any share gives a valid bound."""


def starting_prices(ledger: Ledger, nodes: Sequence[Node], item: str) -> dict[int, float]:
    """Worth of the use of one piece at each node [cents, present and expected], by the node's number.

    The worths of a piece along any way through the tree add up to no more than its price where it is bought, less what
    it still brings where it is sold: nothing can be made by buying pieces and lending them out, so the sum of the
    cheapest designs at these prices is a lower bound of every plan.
    """
    worth: dict[int, float] = {}
    tree = ledger.tree
    present = {node.number: node for node in nodes}

    def share(node: Node, value: float) -> None:
        """Spread the value of a piece that is there at a node over it and its children."""
        children = [child for child in tree.children(node) if child.number in present]
        lot = Lot(node.number, node.year)
        least = [_weight(child) * ledger.resale(item, child, lot) for child in children]
        most = [max(low, _weight(child) * _price(child)) for low, child in zip(least, children, strict=True)]
        left = value - tree.ending_at(node) * ledger.end_value(item, lot) * ledger.discount(ledger.growth.horizon_years)
        room = sum(most) - sum(least)
        part = min(LATER_SHARE, max(0.0, (left - sum(least)) / room)) if room > 0 else 0.0
        given = [low + part * (high - low) for low, high in zip(least, most, strict=True)]
        worth[node.number] = max(0.0, left - sum(given))
        for child, one in zip(children, given, strict=True):
            share(child, one)

    def _weight(node: Node) -> float:
        return tree.weight(node) * ledger.discount(node.year)

    def _price(node: Node) -> float:
        return ledger.price(item, node) * ledger.kit_rate(item)

    first = nodes[0]
    share(first, _weight(first) * _price(first))
    if ledger.has_lots(item):
        # Pieces of different lots may be worth no more than these together; groups of lots overlap at most so often.
        overlap = {
            node.number: max(1, max((sum(lot in group for group in ledger.together(item, node)) for lot in ledger.lots(item, node)), default=1))
            for node in nodes
        } if ledger.kind(item) == "battery" else {}
        worth = {number: value / overlap.get(number, 1) for number, value in worth.items()}
    return worth
