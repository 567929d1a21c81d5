"""Money in whole cents: packs, freight, margin, tax."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values


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
    Valid: up to 10 million
    Source: arithmetic
    >>> cents(19.99)
    1999
    """
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
    return int(np.floor(amount_cents * percent / 100 + 0.5 + 1e-9))
