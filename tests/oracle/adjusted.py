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


def adjusted_case(seed: int, *, months: int = 5, tilts: int = 3) -> tuple[Problem, Catalog]:
    """Case `seed` with mounts, used in some months, on one of several tilts or several of them; year-round cases only."""
    problem, catalog = mounted_case(seed)
    rng = random.Random(seed * 91 + 5)
    data = problem.model_dump(exclude_unset=True)
    assert not problem.seasons, "a case with seasons of its own"
    first, latitude = rng.randrange(12), rng.choice((38.0, 44.0, 50.0))
    # Months of use all around the year: some high, some low sun.
    used = sorted((first + round(at * 12 / months) + rng.choice((0, 0, 1))) % 12 for at in range(months))
    data["seasons"] = {"all": [MONTHS[at] for at in sorted(set(used))]}
    clearness = np.array([rng.uniform(0.4, 0.62) for _ in range(12)])
    data["array"].pop("sun_h")
    several = sorted(rng.sample(GRID, tilts))
    data["array"].update(
        horizontal_kwh_m2=np.round(clearness * extraterrestrial_kwh_m2(latitude, np.array(MEAN_DAYS)), 3).tolist(), tilt_deg=several,
        adjustments_per_year=rng.choice((2, 2, 3, 4)),
    )
    data.setdefault("site", {})["latitude_deg"] = latitude
    mounts = []
    for mount in catalog.mounts:
        low, high = sorted((rng.choice(several), rng.choice(several)))
        if rng.random() < 0.6:
            low, high = several[0], several[-1]
        adjustable = mount.place != "pitched roof" and low < high and rng.random() < 0.6
        mounts.append(mount.model_copy(update={"tilt_min_deg": low, "tilt_max_deg": high, "adjustable": adjustable, "price": round(mount.price * (1.1 if adjustable else 1), 2)}))
    return Problem.model_validate(data), replace(catalog, mounts=tuple(mounts))


def every_way(problem: Problem) -> Iterator[tuple[float, ...]]:
    """Every tilt for every month of use that is changed no more often than the problem allows; other months keep what they had. By brute force."""
    used = [MONTHS.index(name) for name in problem.seasons["all"]]
    for tilts in product(problem.array.tilts, repeat=len(used)):
        changes = sum(tilts[at] != tilts[at - 1] for at in range(len(tilts)))
        if changes <= problem.array.adjustments_per_year:
            year, now = [], tilts[-1]
            for month in range(12):
                now = tilts[used.index(month)] if month in used else now
                year.append(now)
            yield tuple(year)
