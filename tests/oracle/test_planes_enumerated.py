"""Several planes in one design: the program against the enumeration, and what more planes may and may not do to the price."""

from __future__ import annotations

import random
from collections import Counter
from typing import Any

import pytest
from cases import case
from enumerate import best_choice

from optimizer import solve
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem

SEEDS = (0, 2, 5, 8, 13, 23, 32, 38, 44, 54, 61, 67, 72, 80, 86, 97)
PRUNED_ALSO = SEEDS[::2]


def on_planes(seed: int, count: int = 2) -> tuple[Problem, Catalog]:
    """A case on planes that look elsewhere, each with its own sun, shade, area and rectangles, and all of them too small at times."""
    problem, catalog = case(seed)
    rng = random.Random(seed * 17 + 3)
    data = problem.model_dump(exclude_unset=True)
    sun = data["array"].pop("sun_h")
    for key in ("area_m2", "rectangles_m"):
        data["array"].pop(key, None)
    planes: list[dict[str, Any]] = []
    for at in range(count):
        # Summer on one plane, winter on another: none is better in every month.
        tilt = rng.uniform(-0.25, 0.25)
        plane: dict[str, Any] = {
            "name": f"plane {at}", "tilt_deg": float(rng.randint(5, 80)), "azimuth_deg": float(rng.randint(60, 300)),
            "sun_h": [round(h * rng.uniform(0.85, 1.1) * (1 + tilt * (1 if 3 <= month <= 8 else -1)), 2) for month, h in enumerate(sun)],
        }
        if rng.random() < 0.6:
            plane["area_m2"] = round(rng.uniform(1.0, 4.5), 1)
        if rng.random() < 0.4:
            plane["rectangles_m"] = rng.choice((["2.20 x 2.30"], ["3.30 x 1.20", "2.40 x 1.10"], ["1.90 x 3.50"]))
        if rng.random() < 0.3:
            plane["shade"] = [rng.choice((1.0, 0.8)) for _ in range(12)]
        planes.append(plane)
    data["planes"] = planes
    data["bounds"]["array_kinds"] = 2
    if data["bounds"]["controllers"] == 2 and rng.random() < 0.3:
        data["bounds"]["controllers"] = 3
    return Problem.model_validate(data), catalog


def cents(problem: Problem, catalog: Catalog, **how: Any) -> int | None:
    """Cost of the cheapest design; None where there is none."""
    answer = solve(problem, catalog, **how)
    assert answer.outcome.value == ("infeasible" if answer.report is None else "optimal")
    return answer.report.bill.objective_cents if answer.report else None


@pytest.mark.parametrize("seed", SEEDS)
def test_the_program_finds_what_enumeration_finds_on_planes(seed: int) -> None:
    problem, catalog = on_planes(seed)
    best = best_choice(problem, catalog).cost_cents
    assert cents(problem, catalog) == best
    if seed in PRUNED_ALSO:
        assert cents(problem, catalog, prune=False) == best


def test_the_cases_are_about_planes() -> None:
    """Some designs lie on two planes, on each of the planes alone, and room keeps some out."""
    used: Counter[frozenset[str | None]] = Counter()
    alone: Counter[str] = Counter()
    for seed in SEEDS:
        best = best_choice(*on_planes(seed))
        alone += best.alone
        if best.design is not None:
            used[frozenset(block.plane for block in best.design.blocks)] += 1
    print(used, alone)
    assert len(used) == 3
    assert min(alone["array-area"], alone["array-rectangles"]) > 0


@pytest.mark.parametrize("seed", (3, 9, 15, 22, 31, 44))
def test_a_single_plane_costs_what_the_array_without_planes_costs(seed: int) -> None:
    problem, catalog = case(seed)
    data = problem.model_dump(exclude_unset=True)
    own = {key: data["array"].pop(key) for key in ("sun_h", "area_m2", "rectangles_m", "shade") if key in data["array"]}
    data["planes"] = [{"name": "the roof", "tilt_deg": 30, "azimuth_deg": 180, **own}]
    alone, named = solve(problem, catalog), solve(Problem.model_validate(data), catalog)
    assert (alone.report is None) == (named.report is None)
    if alone.report is not None:
        assert named.report.bill.objective_cents == alone.report.bill.objective_cents
        assert named.report.months == alone.report.months
        assert {one.plane for one in named.choice.charging} == {"the roof"}
        assert [one.model_copy(update={"plane": None}) for one in named.choice.charging] == list(alone.choice.charging)


@pytest.mark.parametrize("seed", SEEDS[::3])
def test_another_plane_never_costs_more(seed: int) -> None:
    problem, catalog = on_planes(seed, 3)
    costs = [cents(problem.model_copy(update={"planes": problem.planes[:count]}), catalog) for count in (1, 2, 3)]
    found = [float("inf") if one is None else one for one in costs]
    assert found == sorted(found, reverse=True)


@pytest.mark.parametrize("seed", SEEDS[1::5])
def test_three_kinds_of_array_may_lie_on_three_planes(seed: int) -> None:
    """With a bound of three kinds there is no pricing of pairs: pruned and unpruned still agree, and never cost more than two kinds."""
    problem, catalog = on_planes(seed, 3)
    three = problem.model_copy(update={"bounds": problem.bounds.model_copy(update={"array_kinds": 3, "controllers": 3})})
    two = three.model_copy(update={"bounds": three.bounds.model_copy(update={"array_kinds": 2})})
    cheapest = cents(three, catalog)
    assert cheapest == cents(three, catalog, prune=False)
    fewer = cents(two, catalog)
    assert fewer is None or (cheapest is not None and cheapest <= fewer)
