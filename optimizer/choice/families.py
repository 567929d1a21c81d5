"""Constraint families of the program in words, for the answer to a problem that is impossible."""

from __future__ import annotations

FAMILIES = {
    "energy": "the monthly balance and the recovery after the autonomy",
    "source": "what the source beside the array may bring, and the array's share of the year",
    "spare": "what the critical loads need with one controller out",
    "self_use": "the autonomy",
    "least_charge": "the least charge current of the bank",
    "most_charge": "the greatest charge current of the bank",
    "ceiling": "the voltage that inverter and DC loads stand",
    "trackers": "the number of built-in trackers",
    "terminals": "the controllers' load terminals",
    "area": "the array's area",
    "rectangles": "the free rectangles",
    "weight": "the total weight",
    "budget": "the budget",
    "inventory": "stock, limits and demands on parts",
    "controllers": "the bound on controllers",
    "kinds": "the bound on kinds of array",
    "exclusive": "controllers that may not share a bank",
}
"""Families that a problem may be impossible for, in words."""
