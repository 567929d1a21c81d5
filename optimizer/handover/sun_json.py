"""The answer of `sun` as plain data, by the keys of the contract."""

from __future__ import annotations

from optimizer.handover.as_json import Data, positions_data
from optimizer.inputs.problem import MONTHS
from optimizer.questions.sun import Sun


def sun_data(suns: tuple[Sun, ...], inputs: Data) -> Data:
    """The answer of `sun`. `sun_h` of a month is what counts, as in `solve`; `plane_h` is before shade, snow and monthly soiling.

    With [[planes]] each has its own object in `planes`; the plane at the top is null, and its months are the means of all.
    """
    sun, several = suns[0], suns[0].name is not None
    temperatures, best = sun.problem.temperatures, sun.best
    each = [_months(one) for one in suns]
    return {
        "problem": sun.problem.name,
        "tilt_deg": None if several else sun.plane.tilt_deg,
        "tilt_deg_by_month": None if sun.plane.tilt_deg_by_month is None else list(sun.plane.tilt_deg_by_month),
        "azimuth_deg": None if several else sun.azimuth_deg,
        "method": sun.method,
        "months": [_mean(months) for months in zip(*each, strict=True)] if several else each[0],
        **({"planes": [
            {"name": one.name, "tilt_deg": one.plane.tilt_deg, "azimuth_deg": one.azimuth_deg, "origin": one.plane.origin, "months": months}
            for one, months in zip(suns, each, strict=True)
        ]} if several else {}),
        "tilts": [
            {"tilt_deg": one.tilt_deg, "sun_h": list(one.sun_h), "weakest_month": MONTHS[one.weakest], "weakest_sun_h": one.weakest_h, "tried": one.tried}
            for one in sun.tilts
        ],
        "adjusted": [
            {
                "adjustments_per_year": one.changes, "positions": positions_data(one.tilt_deg_by_month), "sun_h": list(one.sun_h),
                "weakest_month": MONTHS[one.weakest], "weakest_sun_h": one.weakest_h, "gain_share": one.gain_share, "year_gain_share": one.year_gain_share,
            }
            for one in sun.adjusted
        ],
        "best_tilt_deg": None if best is None else best.tilt_deg,
        "temperatures": {"lowest_c": temperatures.lowest_c, "hottest_c": temperatures.hottest_c, "air_c": list(temperatures.air_c)},
        "origins": dict(sun.origins),
        "warnings": list(sun.warnings),
        "bias": sun.bias or None,
        "inputs": inputs,
    }


def _months(sun: Sun) -> list[Data]:
    return [
        {
            "month": MONTHS[at], "sun_h": sun.counts[at], "plane_h": sun.plane.sun_h[at], "left_share": sun.left[at],
            "clear_sky_h": None if sun.ceiling is None else sun.ceiling[at], "air_c": sun.problem.temperatures.air_c[at],
            "used": at in sun.months_of_use,
        }
        for at in range(12)
    ]


def _mean(months: tuple[Data, ...]) -> Data:
    """One month over all planes: the mean of what differs."""
    means = {key: sum(one[key] for one in months) / len(months) for key in ("sun_h", "plane_h", "left_share")}
    sky = [one["clear_sky_h"] for one in months]
    return {**months[0], **means, "clear_sky_h": None if None in sky else sum(sky) / len(sky)}
