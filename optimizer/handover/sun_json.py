"""The answer of `sun` as plain data, by the keys of the contract."""

from __future__ import annotations

from optimizer.handover.as_json import Data
from optimizer.inputs.problem import MONTHS
from optimizer.questions.sun import Sun


def sun_data(sun: Sun, inputs: Data) -> Data:
    """The answer of `sun`. `sun_h` of a month is what counts, as in `solve`; `plane_h` is before shade, snow and monthly soiling."""
    temperatures, best = sun.problem.temperatures, sun.best
    return {
        "problem": sun.problem.name,
        "tilt_deg": sun.plane.tilt_deg,
        "azimuth_deg": sun.azimuth_deg,
        "method": sun.method,
        "months": [
            {
                "month": MONTHS[at], "sun_h": sun.counts[at], "plane_h": sun.plane.sun_h[at], "left_share": sun.left[at],
                "clear_sky_h": None if sun.ceiling is None else sun.ceiling[at], "air_c": temperatures.air_c[at], "used": at in sun.months_of_use,
            }
            for at in range(12)
        ],
        "tilts": [
            {"tilt_deg": one.tilt_deg, "sun_h": list(one.sun_h), "weakest_month": MONTHS[one.weakest], "weakest_sun_h": one.weakest_h, "tried": one.tried}
            for one in sun.tilts
        ],
        "best_tilt_deg": None if best is None else best.tilt_deg,
        "temperatures": {"lowest_c": temperatures.lowest_c, "hottest_c": temperatures.hottest_c, "air_c": list(temperatures.air_c)},
        "origins": dict(sun.origins),
        "warnings": list(sun.warnings),
        "bias": sun.bias or None,
        "inputs": inputs,
    }
