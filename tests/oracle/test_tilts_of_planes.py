"""Planes whose tilt is open beside planes whose tilt is not: the program against every tilt of every open plane, each with every choice of parts."""

from __future__ import annotations

import random
from itertools import product

import numpy as np
import pytest
from enumerate import best_choice
from test_planes_enumerated import on_planes
from test_planes_with_mounts import mounted_planes

from optimizer.answer import check, solve
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.sunlight import on_one_plane, on_tilts_of_planes
from optimizer.rules.sunlight import MEAN_DAYS, extraterrestrial_kwh_m2

SEEDS = (0, 2, 6, 7, 14)
MOUNTED = (4, 2, 10, 14)


def open_case(seed: int, *, mounted: bool = False) -> tuple[Problem, Catalog]:
    """A case on two planes, of which the first may have any of three tilts, at times the second as well any of two."""
    problem, catalog = mounted_planes(seed) if mounted else on_planes(seed)
    rng = random.Random(seed * 7 + 1)
    data = problem.model_dump(exclude_unset=True)
    latitude = rng.choice((38.0, 44.0, 50.0))
    clearness = np.array([rng.uniform(0.42, 0.6) for _ in range(12)])
    for plane in data["planes"]:
        plane.pop("sun_h")
        plane["azimuth_deg"] = float(rng.randint(130, 230))
    data["planes"][0]["tilt_deg"] = sorted({data["planes"][0]["tilt_deg"], 15.0, 60.0})
    if rng.random() < 0.5:
        data["planes"][1]["tilt_deg"] = sorted({data["planes"][1]["tilt_deg"], 75.0})
    data["array"]["horizontal_kwh_m2"] = np.round(clearness * extraterrestrial_kwh_m2(latitude, np.array(MEAN_DAYS)), 3).tolist()
    data.setdefault("site", {})["latitude_deg"] = latitude
    return Problem.model_validate(data), catalog


def every_tilt(problem: Problem) -> list[dict[str, float]]:
    named = [(plane.name, plane.tilt_deg) for plane in problem.planes if isinstance(plane.tilt_deg, tuple)]
    return [dict(zip((name for name, _ in named), tilts, strict=True)) for tilts in product(*(tilts for _, tilts in named))]


@pytest.mark.parametrize(("seed", "mounted"), [*((seed, False) for seed in SEEDS), *((seed, True) for seed in MOUNTED)])
def test_the_program_finds_what_every_tilt_gives(seed: int, mounted: bool) -> None:
    problem, catalog = open_case(seed, mounted=mounted)
    each = {tuple(tilts.items()): best_choice(on_tilts_of_planes(problem, tilts), catalog).cost_cents for tilts in every_tilt(problem)}
    found = [cents for cents in each.values() if cents is not None]
    answer, unpruned = (solve(problem, catalog, prune=prune) for prune in (True, False))
    assert [one.report.bill.objective_cents if one.report else None for one in (answer, unpruned)] == [min(found, default=None)] * 2
    if answer.choice is not None:
        assert each[tuple(answer.choice.tilt_deg_by_plane.items())] == min(found)
        again = check(answer.choice.model_dump(mode="json"), problem, catalog)
        assert again.valid
        assert again.bill == answer.report.bill
        assert check(answer.choice, on_tilts_of_planes(problem, answer.choice.tilt_deg_by_plane), catalog).bill == again.bill


def test_a_choice_without_tilts_has_those_with_most_sun_in_the_weakest_month() -> None:
    problem, catalog = open_case(MOUNTED[0], mounted=True)
    choice = solve(problem, catalog).choice
    assert choice is not None
    bare = check(choice.model_copy(update={"tilt_deg_by_plane": {}}), problem, catalog)
    assert bare.whole.needs.problem.planes == on_one_plane(problem).planes
    with pytest.raises(InputError, match="33 is not a tilt of a plane 'plane 0'"):
        check(choice.model_copy(update={"tilt_deg_by_plane": {"plane 0": 33.0}}), problem, catalog)
