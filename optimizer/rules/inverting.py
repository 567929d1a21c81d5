"""Inverters: power by leg and by start, idle energy, the DC side."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within


def leg_load_va(total_va: Values, largest_single_va: Values, legs: Values) -> Values:
    """Load of the most loaded leg or phase when loads are spread as evenly as they can be.

    Formula: S = min(St, (St + (k - 1) * Smax) / k): spreading greedily leaves legs no further apart than
    the largest single load
    total_va: loads that sit on one leg or another [VA]
    largest_single_va: the largest of them [VA]
    legs: legs or phases [count]
    returns: load of the most loaded leg [VA]
    Valid: the electrician spreads the loads
    Source: bound of list scheduling (Graham 1969), from memory
    >>> float(leg_load_va(3000, 1500, 2)), float(leg_load_va(3000, 3000, 2))
    (2250.0, 3000.0)
    """
    return np.minimum(total_va, (total_va + (legs - 1) * largest_single_va) / legs)


def starting_capability_va(surge_va: Values, surge_s: Values, continuous_va: Values, start_s: Values) -> Values:
    """Apparent power that an inverter gives for as long as a start lasts.

    Formula: the surge figure if t <= tsurge, else the continuous figure
    surge_va: surge rating [VA]
    surge_s: seconds for which it holds [s]
    continuous_va: continuous rating [VA]
    start_s: seconds that the start lasts [s]
    returns: apparent power [VA]
    Valid: one start at a time
    Source: common practice, no source
    >>> float(starting_capability_va(4000, 3, 2000, 0.6)), float(starting_capability_va(4000, 3, 2000, 10))
    (4000.0, 2000.0)
    """
    return np.where(np.asarray(start_s) <= surge_s, surge_va, continuous_va)


def starting_va(coincident_va: Values, own_running_va: Values, running_va: Values, surge_x: Values) -> Values:
    """Apparent power while one load starts and the others run.

    Formula: S = Sbase - Sown + x * Srun
    coincident_va: loads that run together [VA]
    own_running_va: what of that is the starting load itself [VA]
    running_va: running apparent power of the starting load [VA]
    surge_x: starting multiple of its running apparent power [share]
    returns: apparent power [VA]
    Valid: one start at a time
    Source: common practice, no source
    >>> round(float(starting_va(5465, 2000, 2000, 5)))
    13465
    """
    return coincident_va - own_running_va + surge_x * running_va


def idle_energy_wh(idle_w: Values, search_w: Values, hours_on: Values, hours_searching: Values, units: Values) -> Values:
    """Energy a day that inverters take just to be on.

    Formula: W = n * (Pidle * hon + Psearch * hsearch)
    idle_w: idle draw of one unit [W]
    search_w: draw while searching for a load [W]
    hours_on: hours a day on [h/day]
    hours_searching: hours a day searching [h/day]
    units: inverters [count]
    returns: energy [Wh/day]
    Valid: hours on and searching are 24 at most
    Source: common practice, no source
    >>> float(idle_energy_wh(75, 30, 24, 0, 2))
    3600.0
    """
    within(np.asarray(hours_on) + hours_searching, 0, 24, "hours on and searching", "h/day", "a day has 24 hours")
    return units * (idle_w * hours_on + search_w * hours_searching)
