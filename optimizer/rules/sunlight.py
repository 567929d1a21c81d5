"""Sun hours that reach the modules."""

from __future__ import annotations

from optimizer.rules.book import Values
from optimizer.rules.validity import within


def effective_sun_h(sun_h: Values, shade_factor: Values) -> Values:
    """Sun hours on the array's plane after shade, horizon and snow.

    Formula: H = Hplane * k
    sun_h: sun hours on the array's plane, kWh/m2 a day at 1 kW/m2 [h/day]
    shade_factor: share that shade, horizon and snow leave [share]
    returns: sun hours that count [h/day]
    Valid: shade factor of 0 to 1
    Source: definition
    >>> round(float(effective_sun_h(4.0, 0.8)), 2)
    3.2
    """
    within(shade_factor, 0, 1, "shade factor", "", "definition of a share")
    return sun_h * shade_factor
