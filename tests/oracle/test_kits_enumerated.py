"""Kits: the program's answer is the cheapest of all choices and of all ways to buy them, on small random catalogs."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from functools import cache
from itertools import product

import pytest
from enumerate import Walk
from test_enumeration import every_design, tiny

from optimizer.answer import solve
from optimizer.design import Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.kits import Kit
from optimizer.inputs.problem import Problem
from optimizer.proof.check import check_design
from optimizer.rules.book import Severities

SEEDS = (1, 3, 4, 7, 13, 18, 20, 26, 31, 39, 46, 49, 55, 56, 62, 71, 77, 83)
"""Tiny cases; each is drawn kits for so many times."""
DRAWS = 3
CASES = [(seed, draw) for seed in SEEDS for draw in range(DRAWS)]


@cache
def designs(seed: int) -> tuple[Design, ...]:
    return tuple(every_design(Walk(*tiny(seed))))


@cache
def without_kits(seed: int) -> Counter[str] | None:
    report = solve(*tiny(seed)).report
    return Counter(report.design.pieces) if report else None


def with_kits(seed: int, draw: int) -> tuple[Problem, Catalog]:
    """A tiny case with one to three kits: of parts of its answer, too many of them, and of others."""
    problem, catalog = tiny(seed)
    rng = random.Random(1000 * seed + draw)
    sold = [part for part in catalog.parts() if part not in catalog.allowances]
    wanted = without_kits(seed) or Counter()
    kits = []
    for number in range(rng.randint(1, 3)):
        likely = [part for part in sold if wanted[part.id]] if rng.random() < 0.75 else sold
        chosen = rng.sample(likely or sold, min(len(likely or sold), rng.randint(1, 3)))
        parts = tuple((part.id, rng.randint(1, max(1, wanted[part.id]) + 1)) for part in chosen)
        apart = sum(catalog.by_id[part].price * count for part, count in parts)
        kits.append(Kit(id=f"K-{number}", price=round(apart * rng.uniform(0.4, 1.1), 2), parts=parts, stock=rng.choice((None, None, 1, 0))))
    if rng.random() < 0.3:  # a part of which there is little outside the kits
        scarce = rng.choice(sold)
        kind = {"Module": "modules", "Battery": "batteries", "Controller": "controllers", "Inverter": "inverters", "Converter": "converters"}[type(scarce).__name__]
        lean = tuple(part.model_copy(update={"stock": rng.randint(0, 1)}) if part.id == scarce.id else part for part in getattr(catalog, kind))
        catalog = replace(catalog, **{kind: lean})
    locks = problem.locks
    word = rng.choice(("", "", "exclude", "at_most", "at_least"))
    if word:
        given = ("K-0",) if word == "exclude" else {**getattr(locks, word), "K-0": 1}
        locks = locks.model_copy(update={word: given})
    return problem.model_copy(update={"locks": locks}), replace(catalog, kits=tuple(kits))


def bought_best(problem: Problem, catalog: Catalog, pieces: Counter[str], freight_per_kg: float) -> tuple[int, tuple[int, ...]] | None:
    """Least cents at which some pieces can be bought, and the kits: by looking at every number of every kit."""
    severities, locks = Severities(problem.rules), problem.locks
    owned = Counter[str]()
    for own in problem.owned:
        owned[own.part] += own.quantity
    ranges = []
    for kit in catalog.kits:
        least = locks.at_least.get(kit.id, 0) if severities.enforced("part-demanded") else 0
        limits = [least + max((-(-pieces[part] // each) for part, each in kit.parts), default=0)]  # then it covers every piece
        limits += [kit.stock] if kit.stock is not None and severities.enforced("stock") else []
        limits += [locks.at_most[kit.id]] if kit.id in locks.at_most and severities.enforced("part-limit") else []
        limits += [0] if kit.id in locks.exclude else []
        ranges.append(range(least, min(limits) + 1))
    best = None
    for counts in product(*ranges):
        cost = 0
        in_kits = Counter[str]()
        for kit, count in zip(catalog.kits, counts, strict=True):
            for part, each in kit.parts:
                in_kits[part] += each * count
                cost += each * count * round(100 * freight_per_kg * catalog.by_id[part].weight_kg)
            cost += count * round(100 * kit.price)
        for part_id in pieces:
            part = catalog.by_id[part_id]
            missing = max(0, pieces[part_id] - owned[part_id] - in_kits[part_id])
            bought = -(-missing // part.pack_qty) * part.pack_qty
            if part.stock is not None and bought > part.stock and severities.enforced("stock"):
                break
            cost += bought * (round(100 * part.price) + round(100 * freight_per_kg * part.weight_kg))
        else:
            if best is None or cost < best[0]:
                best = (cost, counts)
    return best


def enumerated(seed: int, problem: Problem, catalog: Catalog) -> tuple[int, bool] | None:
    """Least objective of all choices and ways to buy them, and whether a kit is in the best."""
    walk = Walk(problem, replace(catalog, kits=()))
    apart = problem.model_copy(update={"locks": problem.locks.model_copy(update={
        name: {part: n for part, n in getattr(problem.locks, name).items() if part in catalog.by_id} for name in ("at_most", "at_least")
    })})
    plain = replace(catalog, kits=())
    unlimited = replace(plain, **{
        kind: tuple(part.model_copy(update={"stock": None}) for part in getattr(plain, kind))
        for kind in ("modules", "batteries", "controllers", "inverters", "converters")
    })
    freight = problem.price.freight_per_kg
    known: dict[tuple[tuple[str, int], ...], tuple[int, tuple[int, ...]] | None] = {}
    priced = []
    for at, design in enumerate(designs(seed)):
        key = tuple(sorted(design.pieces.items()))
        if key not in known:
            known[key] = bought_best(problem, catalog, Counter(design.pieces), freight)
        best = known[key]
        if best is not None:
            one_by_one = bought_best(apart, unlimited, Counter(design.pieces), freight)
            assert one_by_one is not None
            priced.append((walk.prices.bill(design).objective_cents - one_by_one[0] + best[0], at, design, any(best[1])))
    for cost, _, design, in_kits in sorted(priced, key=lambda one: one[:2]):
        report = check_design(design, walk.needs, catalog)
        if report.valid:
            assert report.bill.objective_cents == cost, "the bill picks the kits that make it least"
            return cost, in_kits
    return None


@cache
def held(seed: int, draw: int) -> tuple[bool, bool]:
    """Whether there is a design and whether a kit is in it, after program and enumeration were found to agree."""
    problem, catalog = with_kits(seed, draw)
    best = enumerated(seed, problem, catalog)
    answers = [solve(problem, catalog), solve(problem, catalog, prune=False)]
    for answer in answers:
        assert (answer.report.bill.objective_cents if answer.report else None) == (best[0] if best else None), (seed, draw)
        assert answer.outcome.value == ("optimal" if best else "infeasible")
        if answer.report:
            assert answer.report.valid
            assert answer.report.bill.objective_cents == pytest.approx(answer.bound_cents, abs=0.01)
    return best is not None, bool(best and best[1])


@pytest.mark.parametrize(("seed", "draw"), CASES)
def test_the_program_with_kits_finds_what_enumeration_finds(seed: int, draw: int) -> None:
    held(seed, draw)


def test_kits_are_in_some_answers_and_not_in_others() -> None:
    found = [held(seed, draw) for seed, draw in CASES]
    there = [kit for design, kit in found if design]
    assert len(there) >= 30
    assert sum(there) >= 10
    assert len(there) - sum(there) >= 10
