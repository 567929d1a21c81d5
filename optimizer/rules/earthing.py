"""Equipment earth: the least conductor that joins metal frames and cases with the earth electrode."""

from __future__ import annotations

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.rules.book import Values

EARTH_MM2_UP_TO_A = (
    (15, 2.083), (20, 3.309), (60, 5.26), (100, 8.366), (200, 13.3), (300, 21.15), (400, 26.66), (500, 33.63), (600, 42.41), (800, 53.51),
)
"""Largest device and least copper earth conductor [A, mm2]: 14, 12, 10, 8, 6, 4, 3, 2, 1 and 1/0 AWG; NFPA 70 (NEC) Table 250.122 (from memory)."""

WHOLE_UP_TO_MM2 = 16.0
HALF_FROM_MM2 = 35.0
"""Line conductors up to the first have an earth conductor of their own size, from the second one of half of it; IEC 60364-5-54 Table 54.2 (from memory)."""


def earth_by_device_mm2(device_a: float) -> float:
    """Least copper of an equipment earth conductor by the device before its circuit.

    Formula: the row of the table with the first rating that is not below In
    device_a: rating of the device, or 1.25 times the current where no device protects the circuit [A]
    returns: area of the conductor [mm2]
    Valid: copper; up to 800 A; never needed thicker than the circuit's own conductors, 250.122(A)
    Source: NFPA 70 (NEC) Table 250.122, 690.45 (from memory)
    >>> [earth_by_device_mm2(amps) for amps in (15, 40, 60, 175, 250)]
    [2.083, 5.26, 5.26, 13.3, 21.15]
    """
    for rating, area in EARTH_MM2_UP_TO_A:
        if device_a <= rating:
            return area
    raise OutOfRange(f"device {device_a:g} A is outside the rule's range, up to {EARTH_MM2_UP_TO_A[-1][0]} A (earth conductors)")


def earth_by_line_mm2(line_mm2: Values) -> Values:
    """Least copper of an equipment earth conductor by the line conductors of its circuit.

    Formula: S up to 16 mm2; 16 mm2 up to S = 35 mm2; S / 2 beyond
    line_mm2: area of a line conductor [mm2]
    returns: area of the earth conductor [mm2]
    Valid: earth conductor of the same metal
    Source: IEC 60364-5-54 Table 54.2 (from memory)
    >>> [float(earth_by_line_mm2(area)) for area in (4, 16, 25, 35, 70)]
    [4.0, 16.0, 16.0, 16.0, 35.0]
    """
    line = np.asarray(line_mm2, dtype=float)
    return np.where(line <= WHOLE_UP_TO_MM2, line, np.where(line <= HALF_FROM_MM2, WHOLE_UP_TO_MM2, line / 2))
