"""Random cases small enough to enumerate within a moment, several times a test."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import count, islice

from cases import case

from optimizer.answer import solve


def tiny(seed):
    """A case with two parts a kind, or those that the problem names, and bounds to match."""
    problem, catalog = case(seed)
    locks = problem.locks
    wanted = {*locks.at_least, *locks.at_most, *locks.only, *locks.exclude, *(own.part for own in problem.owned)}

    def some(parts, number):
        first = [part for part in parts if part.id in wanted]
        turn = seed % len(parts) if parts else 0
        rest = [part for part in (*parts[turn:], *parts[:turn]) if part not in first]
        return tuple(sorted([*first, *rest][: max(number, len(first))], key=lambda part: part.id))

    two = seed % 2 == 0
    small = replace(
        catalog, modules=some(catalog.modules, 1 if two else 2), batteries=some(catalog.batteries, 2),
        controllers=some(catalog.controllers, 1 if two else 2), inverters=some(catalog.inverters, 2), converters=some(catalog.converters, 1),
    )
    bounds = problem.bounds.model_copy(update={
        "modules_in_series": 2, "strings_per_controller": 1 if two else 2, "controllers": 2, "array_kinds": 2 if two else 1,
        "battery_strings": 2, "inverters": 1 if two else 2, "charge_limit_steps": (1.0, 0.5),
    })
    return problem.model_copy(update={"bounds": bounds}), small


@cache
def possible(number):
    """The seed of a tiny case that has a design: the first, the second, ..., with two parts a kind."""
    return next(islice((seed for seed in count(3, 6) if solve(*tiny(seed)).report is not None), number, None))
