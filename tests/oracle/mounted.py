"""Random cases with mounts: few kinds, cheap ones that break a rule among them, roofs that bear little, freight by weight and class."""

from __future__ import annotations

import random
from dataclasses import replace
from typing import Any

from cases import case
from wired import wired_case

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.problem import Problem

PLACES = ("pitched roof", "flat roof", "ground", "pole")


def mounted_case(seed: int) -> tuple[Problem, Catalog]:
    """Case `seed` with mounts in place of the allowance for them; every third with circuits as well."""
    problem, catalog = wired_case(seed) if seed % 3 == 0 else case(seed)
    rng = random.Random(seed * 53 + 17)
    data = problem.model_dump(exclude_unset=True)
    tilt = rng.choice((10.0, 15.0, 30.0, 45.0))
    data["array"]["tilt_deg"] = tilt
    places = rng.sample(PLACES, rng.choice((1, 1, 2)))
    asked: dict[str, Any] = {
        "places": places if rng.random() < 0.8 else [], "wind_m_s": float(rng.randint(30, 48)), "snow_kn_m2": rng.choice((0.0, 0.8, 1.5)), "salt": rng.random() < 0.4,
    }
    if rng.random() < 0.7:
        asked["roof_load_max_kn_m2"] = round(asked["snow_kn_m2"] + rng.uniform(0.18, 0.6), 3)
    data["mounting"] = asked
    batteries = tuple(one.model_copy(update={"dangerous_goods": "9" if one.bms else "8 wet"}) for one in catalog.batteries)
    if rng.random() < 0.5:
        classes = {battery.dangerous_goods for battery in batteries}
        data["price"] = {"freight_per_kg": round(rng.uniform(0.1, 1.5), 2), "dangerous_goods_per_kg": {name: round(rng.uniform(0.2, 3), 2) for name in classes}}
    if rng.random() < 0.3:
        data.setdefault("objective", {})["price_per_kg"] = round(rng.uniform(0.5, 4), 2)
    mounts = [_mount(rng, f"MT-{place[:2]}{at}", place, tilt, asked) for place in (places or PLACES) for at in range(rng.randint(2, 4))]
    mounts += [_short_of(rng, mount) for mount in mounts if rng.random() < 0.5]
    mounts += [_mount(rng, f"MT-E{at}", rng.choice(PLACES), tilt, asked) for at in range(2)]
    if rng.random() < 0.25:
        data.setdefault("locks", {})["exclude"] = [*data.get("locks", {}).get("exclude", ()), rng.choice(mounts).id]
    allowances = tuple(one.model_copy(update={"for_mounts": one.per == "module"}) for one in catalog.allowances)
    mounts = sorted(mounts, key=lambda one: one.id)
    return Problem.model_validate(data), replace(catalog, batteries=batteries, allowances=allowances, mounts=tuple(mounts))


def _mount(rng: random.Random, name: str, place: str, tilt: float, asked: dict[str, Any]) -> Mount:
    modules, long = rng.randint(1, 4), rng.choice((1200.0, 1800.0, 2400.0))
    return Mount(
        id=name, place=place, modules=modules, module_length_max_mm=long, module_width_max_mm=min(long, rng.choice((700.0, 1100.0, 1400.0))),
        tilt_min_deg=max(0.0, tilt - rng.choice((0, 5, 20))), tilt_max_deg=min(90.0, tilt + rng.choice((0, 5, 20))),
        wind_max_m_s=asked["wind_m_s"] + rng.choice((0, 4, 15)), snow_max_kn_m2=asked["snow_kn_m2"] + rng.choice((0, 1, 2)), salt=asked["salt"] or rng.random() < 0.3,
        ballast_kg=float(rng.choice((0, 25, 60)) * modules) if place == "flat roof" else 0.0, weight_kg=round(rng.uniform(2, 9) * modules, 1),
        price=round(rng.uniform(12, 60) * modules ** rng.uniform(0.6, 1.1), 2),
    )


def _short_of(rng: random.Random, mount: Mount) -> Mount:
    """A cheap copy that something is wrong with."""
    change: dict[str, Any] = rng.choice((
        {"wind_max_m_s": mount.wind_max_m_s - 16}, {"snow_max_kn_m2": mount.snow_max_kn_m2 / 4}, {"salt": False}, {"module_width_max_mm": 400.0},
        {"tilt_min_deg": min(90.0, mount.tilt_max_deg + 6), "tilt_max_deg": 90.0}, {"ballast_kg": mount.ballast_kg + 200.0},
        {"place": rng.choice([place for place in PLACES if place != mount.place])},
    ))
    return mount.model_copy(update={"id": f"{mount.id}x", "price": round(mount.price * 0.6, 2), **change})
