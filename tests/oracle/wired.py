"""Random cases with circuits: few cables and devices, long ways, so that circuits decide."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import lru_cache
from typing import Any

from cases import case

from optimizer import load_catalog
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem

ON_ROOFS = ("arc-fault detector", "array shutdown")

CIRCUIT_ALLOWANCES = ("array string", "controller ampere", "battery string", "inverter dc ampere")


@lru_cache(maxsize=1)
def shipped() -> Catalog:
    return load_catalog()


def wired_case(seed: int) -> tuple[Problem, Catalog]:
    """Case `seed` with cables and devices of both families and ways of random length in place of the allowances for circuits."""
    problem, catalog = case(seed)
    rng = random.Random(seed * 31 + 5)
    parts = shipped()
    cables = tuple(_dearer(rng, one) for one in parts.cables if rng.random() < 0.6)
    devices = tuple(_dearer(rng, one) for one in parts.protection if one.kind not in ON_ROOFS and rng.random() < 0.35)
    ways: dict[str, Any] = {
        "array_run_m": rng.choice((4.0, 12.0, 25.0, 60.0, 90.0)), "charge_run_m": rng.choice((1.0, 3.0)), "inverter_run_m": rng.choice((1.0, 2.5)),
        "ac_run_m": rng.choice((3.0, 30.0)), "dc_run_m": rng.choice((2.0, 12.0)), "array_drop_pct": rng.choice((2.0, 4.0, 8.0)),
        "conductors_together": rng.choice((3, 3, 6)), "tinned": rng.random() < 0.15,
    }
    data = problem.model_dump(exclude_unset=True)
    data["wiring"] = ways
    data["site"]["on_building"] = rng.random() < 0.5
    if rng.random() < 0.2:
        data.setdefault("rules", {})["voltage-drop"] = "soft"
    if rng.random() < 0.15:
        data.setdefault("rules", {})["arc-fault"] = "requirement"
    if rng.random() < 0.3:
        data["array"]["wire"] = 0.97
    allowances = tuple(one for one in catalog.allowances if one.per not in CIRCUIT_ALLOWANCES)
    bars = tuple(_dearer(rng, one) for one in parts.busbars if rng.random() < 0.5) if seed % 4 else ()
    if seed % 5 == 0:  # few and small ones, so that they decide
        bars = tuple(one for one in bars if one.rated_a <= 400)
    return Problem.model_validate(data), replace(catalog, cables=cables, protection=devices, allowances=allowances, busbars=bars)


def roof_case(seed: int) -> tuple[Problem, Catalog]:
    """The same on a building whose code asks for arc-fault detectors (odd seeds), for a rapid shutdown (seeds above 100), or both."""
    problem, catalog = wired_case(seed)
    rng = random.Random(seed * 17 + 3)
    data = problem.model_dump(exclude_unset=True)
    data["site"]["on_building"] = True
    data["wiring"] |= {"arc_fault_detectors": seed % 2 == 1 or seed > 130, "rapid_shutdown": seed > 100}
    data.get("rules", {}).pop("arc-fault", None)
    asked = tuple(_dearer(rng, one) for one in shipped().protection if one.kind in ON_ROOFS)
    return Problem.model_validate(data), replace(catalog, protection=(*catalog.protection, *asked))


def _dearer(rng: random.Random, part: Any) -> Any:
    return part.model_copy(update={"price": round(part.price * rng.uniform(0.7, 1.4), 2)})
