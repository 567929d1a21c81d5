"""Prices of the items at every node to begin with: what the program's relaxation says nothing about yet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from optimizer.growth.ledger import GAIN_CENTS, Ledger, Lot
from optimizer.growth.sourced import RUNNING
from optimizer.growth.tree import Node

LATER_SHARE = 0.5
"""Share of what a later purchase costs that a piece is thought worth at later nodes; any share gives a valid bound."""


def starting_prices(ledger: Ledger, nodes: Sequence[Node], item: str) -> dict[int, float]:
    """Worth of the use of one piece at each node [cents, present and expected], by the node's number.

    The worths of a piece along any way through the tree add up to no more than its price where it is bought, less what
    it still brings where it is sold: nothing can be made by buying pieces and lending them out, so the sum of the
    cheapest designs at these prices is a lower bound of every plan.
    """
    if item == RUNNING:  # nobody lends it out: it is paid where it is burnt
        return {node.number: ledger.tree.weight(node) * ledger.discount(node.year) * ledger.price(item, node) for node in nodes}
    worth: dict[int, float] = {}
    tree = ledger.tree
    present = {node.number: node for node in nodes}

    def share(node: Node, value: float) -> None:
        """Spread the value of a piece that is there at a node over it and its children."""
        children = [child for child in tree.children(node) if child.number in present]
        lot = Lot(node.number, node.year)
        least = [brings(child, lot) for child in children]
        most = [max(low, _weight(child) * _price(child)) for low, child in zip(least, children, strict=True)]
        left = value - _end(node, lot)
        room = sum(most) - sum(least)
        part = min(LATER_SHARE, max(0.0, (left - sum(least)) / room)) if room > 0 else 0.0
        given = [low + part * (high - low) for low, high in zip(least, most, strict=True)]
        worth[node.number] = max(0.0, left - sum(given))
        for child, one in zip(children, given, strict=True):
            share(child, one)

    def brings(node: Node, lot: Lot) -> float:
        """Most that a piece that comes to a node still brings, sold there or kept: its worth there is never less."""
        kept = _end(node, lot) + sum(brings(child, lot) for child in tree.children(node) if child.number in present)
        return max(_weight(node) * ledger.resale(item, node, lot), kept)

    def _end(node: Node, lot: Lot) -> float:
        return tree.ending_at(node) * ledger.end_value(item, lot) * ledger.discount(ledger.growth.horizon_years)

    def _weight(node: Node) -> float:
        return tree.weight(node) * ledger.discount(node.year)

    def _price(node: Node) -> float:
        return ledger.price(item, node) * ledger.kit_rate(item)

    def most_made(node: Node, lot: Lot) -> float:
        """Most that is made of a piece from a node on: sold there, or lent out and kept."""
        kept = worth[node.number] + _end(node, lot) + sum(most_made(child, lot) for child in tree.children(node) if child.number in present)
        return max(_weight(node) * ledger.resale(item, node, lot) if lot.node != node.number else 0.0, kept)

    first = nodes[0]
    share(first, _weight(first) * _price(first))
    if any(most_made(node, Lot(node.number, node.year)) > _weight(node) * _price(node) + GAIN_CENTS for node in nodes):
        # Older pieces bring less than newer ones, and kits make parts cheap: nothing asked for the use is always valid.
        worth = dict.fromkeys(worth, 0.0)
    if ledger.has_lots(item):
        # Pieces of different lots may be worth no more than these together; groups of lots overlap at most so often.
        worth = {node.number: worth[node.number] / _overlap(ledger, node, item) for node in nodes}
    return worth


def _overlap(ledger: Ledger, node: Node, item: str) -> int:
    """Most groups of lots that a piece may be one of."""
    if ledger.kind(item) != "battery":
        return 1
    return max(1, max((sum(lot in group for group in ledger.together(item, node)) for lot in ledger.lots(item, node)), default=1))


def worth_of_owned(ledger: Ledger, nodes: Sequence[Node], item: str, worth: Mapping[int, float]) -> float:
    """Most that is made of all pieces that the customer has already: lent out at the worths of their use, and at last sold, or kept to the horizon."""
    tree, present = ledger.tree, {node.number for node in nodes}

    def made(node: Node, lot: Lot) -> float:
        kept = worth[node.number] * _overlap(ledger, node, item)
        kept += tree.ending_at(node) * ledger.end_value(item, lot) * ledger.discount(ledger.growth.horizon_years)
        kept += sum(made(child, lot) for child in tree.children(node) if child.number in present)
        sold = tree.weight(node) * ledger.discount(node.year) * ledger.resale(item, node, lot) if node.parent is not None else 0.0
        return max(sold, kept)

    return sum(count * made(nodes[0], lot) for lot, count in ledger.owned_lots.get(item, {}).items())
