"""What an array with its mounts lays on a roof, and whether mounts reach the array's tilt. Wind and snow themselves are not calculated here."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import COMMON, Values
from optimizer.rules.validity import within

GRAVITY_M_S2 = 9.80665
"""Standard gravity, ISO 80000-3."""

STEEPEST_ROOF_DEG = 85.0
"""Tilt up to which an array is taken to lie on a roof, not to hang on a wall."""


def roof_load_kn_m2(module_kg: Values, modules: Values, mount_kg: Values, module_m2: Values, tilt_deg: float, snow_kn_m2: float) -> Values:
    """Load on a roof under one mount with its modules, and snow on them.

    Formula: q = g * (n * m + M) / (n * A * cos(tilt)) / 1000 + s; A cos(tilt) is what a module covers of the plan
    module_kg: weight of a module, m [kg]
    modules: modules on the mount, n [count]
    mount_kg: weight of the mount with its ballast, M [kg]
    module_m2: area of a module, A [m2]
    tilt_deg: tilt of the modules [deg]
    snow_kn_m2: snow load of the site on the plan, s [kN/m2]
    returns: load on the plan of the roof [kN/m2]
    Valid: up to 85 deg; gaps between modules left out, which is cautious; no wind: how loads add up is for the local code
    Source: weight over area; common practice, no source
    >>> round(float(roof_load_kn_m2(20.0, 2, 8.0, 2.0, 0.0, 1.0)), 4)
    1.1177
    """
    within(tilt_deg, 0, STEEPEST_ROOF_DEG, "tilt on a roof", "deg", COMMON)
    plan_m2 = np.asarray(module_m2) * np.cos(np.radians(tilt_deg))
    return GRAVITY_M_S2 * (np.asarray(modules) * module_kg + mount_kg) / (np.asarray(modules) * plan_m2) / 1000 + snow_kn_m2


def tilt_out_of_reach_deg(tilt_deg: Values, least_deg: Values, most_deg: Values) -> Values:
    """How far the array's tilt lies outside what a mount can be set to.

    Formula: d = max(least - tilt, tilt - most, 0)
    tilt_deg: tilt of the array [deg]
    least_deg: least tilt of the mount [deg]
    most_deg: greatest tilt of the mount [deg]
    returns: degrees outside, 0 within the range [deg]
    Valid: any tilt from 0 to 90 deg
    Source: arithmetic
    >>> float(tilt_out_of_reach_deg(40, 10, 35)), float(tilt_out_of_reach_deg(20, 10, 35))
    (5.0, 0.0)
    """
    return np.maximum(np.maximum(np.asarray(least_deg) - tilt_deg, np.asarray(tilt_deg) - most_deg), 0.0)
