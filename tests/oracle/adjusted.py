"""Random cases whose array may be set anew through the year: few tilts, few months of use, mounts of which some are adjustable and some reach less."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import numpy as np
from mounted import mounted_case

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.rules.sunlight import MEAN_DAYS, extraterrestrial_kwh_m2

GRID = (10.0, 25.0, 40.0, 55.0, 70.0)


def adjusted_case(seed: int, *, months: int = 4, tilts: int = 3) -> tuple[Problem, Catalog]:
    """Case `seed` with mounts, used in some months, on one of several tilts or several of them; only cases without seasons of their own.

    Modules are dear, and loads are lighter in months of low sun, so that summer and winter both ask for the array.
    """
    problem, catalog = mounted_case(seed)
    rng = random.Random(seed * 91 + 5)
    data = problem.model_dump(exclude_unset=True)
    assert not problem.seasons, "a case with seasons of its own"
    first, latitude = rng.randrange(12), rng.choice((38.0, 44.0, 50.0))
    used = sorted({(first + round(at * 12 / months) + rng.choice((0, 0, 1))) % 12 for at in range(months)})
    clearness = np.array([rng.uniform(0.42, 0.6) for _ in range(12)])
    above = extraterrestrial_kwh_m2(latitude, np.array(MEAN_DAYS))
    low = [month for month in used if above[month] < np.mean([above[one] for one in used])]
    data["seasons"] = {"all": [MONTHS[at] for at in used if at not in low], "low": [MONTHS[at] for at in low]}
    lighter = rng.uniform(0.55, 1.0)
    for load in data["loads"]:
        load["hours"] = {"all": load["hours"]["all"], "low": load["hours"]["all"] * lighter}
    data["array"].pop("sun_h")
    several = sorted(rng.sample(GRID, tilts))
    data["array"].update(
        horizontal_kwh_m2=np.round(clearness * above, 3).tolist(), tilt_deg=several, adjustments_per_year=rng.choice((2, 2, 3, 4)),
    )
    data.setdefault("site", {})["latitude_deg"] = latitude
    mounts = []
    for mount in catalog.mounts:
        least, most = sorted((rng.choice(several), rng.choice(several)))
        if rng.random() < 0.6:
            least, most = several[0], several[-1]
        adjustable = mount.place != "pitched roof" and least < most and rng.random() < 0.85
        mounts.append(mount.model_copy(update={"tilt_min_deg": least, "tilt_max_deg": most, "adjustable": adjustable}))
    dear = tuple(one.model_copy(update={"price": round(2.5 * one.price, 2)}) for one in catalog.modules)
    return Problem.model_validate(data), replace(catalog, mounts=tuple(mounts), modules=dear)


def every_way(problem: Problem) -> Iterator[tuple[float, ...]]:
    """Every tilt for every month of use that is changed no more often than the problem allows; other months keep what they had. By brute force."""
    used = sorted(MONTHS.index(name) for names in problem.seasons.values() for name in names)
    for tilts in product(problem.array.tilts, repeat=len(used)):
        changes = sum(tilts[at] != tilts[at - 1] for at in range(len(tilts)))
        if changes <= problem.array.adjustments_per_year:
            year, now = [], tilts[-1]
            for month in range(12):
                now = tilts[used.index(month)] if month in used else now
                year.append(now)
            yield tuple(year)
