"""Several planes, each with its own mounts: the program against the enumeration, where every set of mounts of every array stands before the check."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from enumerate import best_choice
from mounted import PLACES, mounted_case

from optimizer.answer import check, solve
from optimizer.bill import PriceList
from optimizer.design import Block
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.needs.site import Needs
from optimizer.proof.mounts import mount_lines

SEEDS = (3, 4, 14, 16, 23, 26, 28, 29, 37)


def mounted_planes(seed: int) -> tuple[Problem, Catalog]:
    """Case `seed` with mounts on two planes: a tilt, a place and a roof of their own, and mounts of which some reach one of them only."""
    problem, catalog = mounted_case(seed)
    rng = random.Random(seed * 29 + 11)
    data = problem.model_dump(exclude_unset=True)
    sun = data["array"].pop("sun_h")
    for key in ("area_m2", "rectangles_m", "tilt_deg"):
        data["array"].pop(key, None)
    planes: list[dict[str, Any]] = []
    places = data["mounting"].get("places") or list(PLACES)
    for at in range(2):
        lean = rng.uniform(-0.2, 0.2)
        plane: dict[str, Any] = {
            "name": f"plane {at}", "tilt_deg": float(rng.choice((10, 20, 35, 50))), "azimuth_deg": float(rng.randint(60, 300)),
            "sun_h": [round(h * rng.uniform(0.9, 1.1) * (1 + lean * (1 if 3 <= month <= 8 else -1)), 2) for month, h in enumerate(sun)],
        }
        if rng.random() < 0.6:
            plane["place"] = rng.choice(places)
        if rng.random() < 0.5:
            plane["roof_load_max_kn_m2"] = round(data["mounting"]["snow_kn_m2"] + rng.uniform(0.15, 0.5), 3)
        if rng.random() < 0.6:
            plane["area_m2"] = round(rng.uniform(1.0, 5.0), 1)
        planes.append(plane)
    data["planes"], data["bounds"]["array_kinds"] = planes, 2
    mounts = []
    for mount in catalog.mounts:
        low, high = sorted(rng.choice([plane["tilt_deg"] for plane in planes]) for _ in range(2))
        mounts.append(mount.model_copy(update={"tilt_min_deg": low, "tilt_max_deg": high} if rng.random() < 0.5 else {"tilt_min_deg": 0.0, "tilt_max_deg": 90.0}))
    return Problem.model_validate(data), replace(catalog, mounts=tuple(mounts))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_finds_what_enumeration_finds_with_mounts_on_planes(seed: int) -> None:
    problem, catalog = mounted_planes(seed)
    best = best_choice(problem, catalog)
    answer, unpruned = (solve(problem, catalog, prune=prune) for prune in (True, False))
    found = [one.report.bill.objective_cents if one.report else None for one in (answer, unpruned)]
    assert found == [best.cost_cents] * 2, f"seed {seed}: {answer.reason}"
    if answer.report is not None and answer.choice is not None:
        again = check(answer.choice.model_dump(mode="json"), problem, catalog)
        assert again.valid
        assert again.bill == answer.report.bill


def test_mounts_decide_about_planes() -> None:
    """Some designs use both planes, and mounts alone keep arrays out on some."""
    used: Counter[int] = Counter()
    alone: Counter[str] = Counter()
    for seed in SEEDS[:3]:
        best = best_choice(*mounted_planes(seed))
        alone += best.alone
        if best.design is not None:
            used[len({block.plane for block in best.design.blocks})] += 1
    print(used, alone)
    assert alone["mount-parts"] > 0
    assert sorted(used) == [1, 2]


def test_a_plane_takes_its_own_tilt_place_and_roof() -> None:
    """hand: on the steep plane only the mount that reaches 50 degrees, on the flat roof that bears little only the light one."""
    problem, catalog = mounted_planes(14)
    asked = problem.mounting
    assert asked is not None
    ground, light, heavy = (catalog.mounts[0].model_copy(update={
        "id": name, "place": place, "tilt_min_deg": low, "tilt_max_deg": high, "wind_max_m_s": 90.0, "snow_max_kn_m2": 9.0, "salt": True, "modules": 1,
        "module_length_max_mm": 5000.0, "module_width_max_mm": 5000.0, "weight_kg": kg, "ballast_kg": 0.0, "price": price,
    }) for name, place, low, high, kg, price in (
        ("MT-A", "ground", 40.0, 60.0, 50.0, 100.0), ("MT-B", "flat roof", 0.0, 30.0, 2.0, 90.0), ("MT-C", "flat roof", 0.0, 90.0, 80.0, 10.0),
    ))
    steep, flat = (problem.planes[0].model_copy(update=changed) for changed in (
        {"name": "steep", "tilt_deg": 50.0, "place": "ground", "roof_load_max_kn_m2": None},
        {"name": "flat", "tilt_deg": 10.0, "place": "flat roof", "roof_load_max_kn_m2": asked.snow_kn_m2 + 0.3},
    ))
    sited = problem.model_copy(update={"planes": (steep, flat), "mounting": asked.model_copy(update={"places": (), "roof_load_max_kn_m2": None})})
    parts = replace(catalog, mounts=(ground, light, heavy))
    mounts = PriceList(sited, parts).mounts
    for plane, mount in (("steep", ground), ("flat", light)):
        block = Block(catalog.controllers[0], catalog.modules[0], 1, 1, plane=plane)
        assert mounts.of_block(block) == ((mount, 1),)
        broken = {one.id: {line.rule for line in mount_lines(Needs(sited), parts.mounts, block, ((one, 1),), "") if line.fails} for one in parts.mounts}
        assert [one for one, rules in broken.items() if not rules] == [mount.id]
    assert "roof-load" in broken["MT-C"]
    assert broken["MT-A"] == {"mount-place", "mount-tilt"}
