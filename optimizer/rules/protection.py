"""Overcurrent protection: design currents, string fuses, fault currents, devices that conductors allow."""

from __future__ import annotations

import numpy as np

from optimizer.errors import OutOfRange
from optimizer.rules.array import EDGE_OF_CLOUD
from optimizer.rules.book import Values

CONTINUOUS = 1.25
"""Factor on a current that flows for three hours or more, NFPA 70 (NEC) 210.20(A), 215.3, 690.8(B)."""

STRING_FUSE_LEAST_IEC = 1.5
STRING_FUSE_MOST_IEC = 2.4
"""A string fuse lies between these multiples of Isc, IEC 62548 (second-hand)."""

NEXT_SIZE_UP_TO_A = 800.0
"""Largest device for which the next standard rating above the ampacity is allowed, NFPA 70 (NEC) 240.4(B)."""

FAMILIES = ("NEC", "IEC")


def _known(family: str) -> None:
    if family not in FAMILIES:
        raise OutOfRange(f"family '{family}' is outside the rule's range, NEC or IEC (families of rules for string fuses)")


def continuous_a(current_a: Values) -> Values:
    """Least rating of a device for a current that flows for hours.

    Formula: In = 1.25 * I; a 2,000 W inverter of 0.90 at 10.5, 21 and 42 V draws 211.6, 105.8 and 52.9 A
    current_a: continuous current [A]
    returns: least rating [A]
    Valid: devices that are not listed for 100 % of their rating
    Source: NFPA 70 (NEC) 210.20(A), 215.3, 690.8(B)
    >>> [round(float(continuous_a(2000 / 0.90 / volts)), 1) for volts in (10.5, 21, 42)]
    [264.6, 132.3, 66.1]
    """
    return CONTINUOUS * current_a


def source_circuit_a(isc_a: Values, strings: Values, bifacial_pct: Values) -> Values:
    """Highest current of parallel strings in sun at the edge of a cloud.

    Formula: Imax = 1.25 * Isc * n * (1 + b / 100)
    isc_a: short-circuit current of a string [A]
    strings: strings in parallel [count]
    bifacial_pct: what light on the back adds to the current [%]
    returns: highest current [A]
    Valid: no tracker that limits the current
    Source: NFPA 70 (NEC) 690.8(A)
    >>> round(float(source_circuit_a(13.95, 1, 0)), 2)
    17.44
    """
    return EDGE_OF_CLOUD * isc_a * strings * (1 + bifacial_pct / 100)


def source_conductor_a(isc_a: Values, strings: Values, bifacial_pct: Values) -> Values:
    """Ampacity that a conductor or device of an array needs before correction factors.

    Formula: I = 1.25 * Imax = 1.5625 * Isc * n * (1 + b / 100)
    isc_a: short-circuit current of a string [A]
    strings: strings in parallel [count]
    bifacial_pct: what light on the back adds to the current [%]
    returns: ampacity needed [A]
    Valid: before factors for heat and bundling; with the factors Imax alone must fit
    Source: NFPA 70 (NEC) 690.8(A) and (B)
    >>> round(float(source_conductor_a(13.95, 1, 0)), 2)
    21.8
    """
    return CONTINUOUS * source_circuit_a(isc_a, strings, bifacial_pct)


def reverse_current_a(isc_a: Values, strings: Values) -> Values:
    """Current that the other strings push into one faulty string.

    Formula: Ir = (n - 1) * 1.25 * Isc; string fuses are needed where it is above what the module stands
    isc_a: short-circuit current of a string [A]
    strings: strings in parallel [count]
    returns: reverse current [A]
    Valid: no current comes back from the controller
    Source: NFPA 70 (NEC) 690.9(A) and 690.8(A)
    >>> [round(float(reverse_current_a(13.95, strings)), 1) for strings in (1, 2, 3)]
    [0.0, 17.4, 34.9]
    """
    return (strings - 1) * EDGE_OF_CLOUD * isc_a


def string_fuse_least_a(isc_a: Values, family: str) -> Values:
    """Least rating of a string fuse, so that full sun does not blow it.

    Formula: NEC: In >= 1.5625 * Isc; IEC: In > 1.5 * Isc; a string of 13.95 A takes 25 A of 10 15 20 25 30
    isc_a: short-circuit current of the string, with what light on the back adds [A]
    family: NEC or IEC [text]
    returns: least rating; for IEC the fuse must be above it [A]
    Valid: fuses for photovoltaic strings
    Source: NFPA 70 (NEC) 690.8(B), 690.9(B); IEC 62548, second-hand
    >>> round(float(string_fuse_least_a(13.95, "NEC")), 2), round(float(string_fuse_least_a(13.95, "IEC")), 2)
    (21.8, 20.92)
    """
    _known(family)
    return (EDGE_OF_CLOUD * CONTINUOUS if family == "NEC" else STRING_FUSE_LEAST_IEC) * isc_a


def string_fuse_most_a(isc_a: Values, module_max_fuse_a: Values, family: str) -> Values:
    """Largest rating of a string fuse that still guards the module.

    Formula: NEC: In <= module's largest fuse; IEC: also In <= 2.4 * Isc
    isc_a: short-circuit current of the string [A]
    module_max_fuse_a: largest string fuse that the module stands [A]
    family: NEC or IEC [text]
    returns: largest rating [A]
    Valid: fuses for photovoltaic strings
    Source: NFPA 70 (NEC) 110.3(B), module's sheet; IEC 62548, second-hand
    >>> float(string_fuse_most_a(13.95, 25, "NEC")), round(float(string_fuse_most_a(5.86, 15, "IEC")), 2)
    (25.0, 14.06)
    """
    _known(family)
    if family == "NEC":
        return np.asarray(module_max_fuse_a) + 0.0 * np.asarray(isc_a)
    return np.minimum(module_max_fuse_a, STRING_FUSE_MOST_IEC * np.asarray(isc_a))


def bank_fault_a(fault_current_a: Values, strings: Values) -> Values:
    """Current of a dead short across a bank, which its devices must interrupt.

    Formula: If = Iu * n: units in series give the current of one; a battery's electronic cut-off is not counted on
    fault_current_a: short-circuit current of one unit [A]
    strings: strings in parallel [count]
    returns: fault current [A]
    Valid: like units; resistance of the conductors left out, which is cautious
    Source: common practice, no source
    >>> float(bank_fault_a(4000, 3))
    12000.0
    """
    return np.asarray(fault_current_a) * strings


def least_device_a(current_a: float, standard_ratings_a: Values) -> float:
    """Smallest standard rating that is not below a current.

    Formula: the first of the ratings, in rising order, that is not below I
    current_a: least rating wanted, as of continuous_a [A]
    standard_ratings_a: standard ratings, rising [A]
    returns: rating [A]
    Valid: up to the largest rating of the table
    Source: NFPA 70 (NEC) 240.6(A); tables/standard_ratings.csv
    >>> [least_device_a(amps, (50, 60, 70, 150, 300)) for amps in (264.6, 132.3, 66.1)]
    [300.0, 150.0, 70.0]
    """
    ratings = np.asarray(standard_ratings_a, dtype=float)
    # A rating that equals the current but for the last bits of the arithmetic is that rating.
    at = int(np.searchsorted(ratings, current_a * (1 - 1e-12)))
    if at == len(ratings):
        raise OutOfRange(f"current {current_a:.10g} A is above the largest standard rating, {max(ratings):g} A (tables/standard_ratings.csv)")
    return float(ratings[at])


def device_most_a(ampacity_a: Values, standard_ratings_a: Values, next_size_allowed: bool) -> Values:
    """Largest rating of a device that a conductor may have before it.

    Formula: In <= Iz; where allowed In <= the next standard rating above Iz, if that is 800 A at most
    ampacity_a: corrected ampacity of the conductor [A]
    standard_ratings_a: standard ratings, rising [A]
    next_size_allowed: NEC yes, IEC never [text]
    returns: largest rating [A]
    Valid: no plug-in loads on the circuit; caps of small conductors apart
    Source: NFPA 70 (NEC) 240.4(B); IEC 60364-4-43, second-hand
    >>> ratings = (60, 70, 80, 90, 100, 110)
    >>> [float(device_most_a(amps, ratings, True)) for amps in (80, 85)], float(device_most_a(85, ratings, False))
    ([80.0, 90.0], 85.0)
    """
    ampacity = np.asarray(ampacity_a, dtype=float)
    if not next_size_allowed:
        return ampacity
    ratings = np.asarray(standard_ratings_a, dtype=float)
    # Above the last rating there is no next one: the ampacity itself stands.
    above = np.append(ratings, np.inf)[np.searchsorted(ratings, ampacity * (1 - 1e-12))]
    return np.where(above <= NEXT_SIZE_UP_TO_A, np.maximum(above, ampacity), ampacity)
