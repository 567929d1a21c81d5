"""Ranges of validity: outside its range a rule raises, naming value, range and source; it never clamps in silence."""

from __future__ import annotations

import math

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.rules.book import Values


def within(value: Values, low: float, high: float, what: str, unit: str, source: str) -> None:
    """Raise `OutOfRange` unless every value lies from `low` to `high`; an unknown (NaN) passes.

    >>> within(20, 0, 50, "cell temperature", "C", "common practice, no source")
    >>> within(60, 0, 50, "cell temperature", "C", "common practice, no source")
    Traceback (most recent call last):
    ...
    optimizer.errors.OutOfRange: cell temperature 60 C is outside the rule's range, 0 to 50 C (common practice, no source)
    """
    if isinstance(value, float | int) and not (value < low or value > high):
        return  # most calls by far: an array takes many times as long
    values = np.asarray(value, dtype=float)
    outside = values[(values < low) | (values > high)]
    if outside.size == 0:
        return
    shown = f"{outside.flat[0]:.10g} {unit}".strip()
    if math.isinf(high):
        allowed = f"{low:.10g} {unit} or more"
    elif math.isinf(low):
        allowed = f"{high:.10g} {unit} at most"
    else:
        allowed = f"{low:.10g} to {high:.10g} {unit}"
    raise OutOfRange(f"{what} {shown} is outside the rule's range, {allowed.strip()} ({source})")
