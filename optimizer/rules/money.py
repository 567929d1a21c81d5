"""Money in whole cents: packs, freight, margin, tax."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within


def bought_pieces(needed: Values, owned: Values, pack: Values) -> Values:
    """Pieces to buy, in whole packs.

    Formula: n = ceil(max(0, needed - owned) / pack) * pack
    needed: pieces that the design uses [count]
    owned: pieces that the customer has [count]
    pack: pieces in a pack [count]
    returns: pieces to buy [count]
    Valid: whole numbers
    Source: arithmetic
    >>> int(bought_pieces(5, 0, 2)), int(bought_pieces(5, 6, 2))
    (6, 0)
    """
    return -(-np.maximum(0, np.asarray(needed) - owned) // pack) * pack


def cents(amount: float) -> int:
    """A price in whole cents.

    Formula: c = round(100 * a)
    amount: price [money]
    returns: price in cents [cents]
    Valid: 0 to 10 million
    Source: arithmetic
    >>> cents(19.99)
    1999
    """
    within(amount, 0, 10_000_000, "price", "", "whole cents: arithmetic")
    return round(amount * 100)


def share_of_cents(amount_cents: int, percent: float) -> int:
    """A percentage of an amount, in whole cents, half up.

    Formula: c = floor(a * p / 100 + 0.5)
    amount_cents: amount [cents]
    percent: percentage [%]
    returns: part of the amount [cents]
    Valid: percentages of 0 and more
    Source: arithmetic
    >>> share_of_cents(10050, 5)
    503
    """
    within(percent, 0, np.inf, "percentage", "%", "share of an amount: arithmetic")
    # Decimal: 0.5 cent must be seen as such, whatever the binary fraction of the percentage.
    exact = Decimal(int(amount_cents)) * Decimal(str(percent)) / 100
    return int((exact + Decimal("0.5")).to_integral_value(rounding=ROUND_FLOOR))
