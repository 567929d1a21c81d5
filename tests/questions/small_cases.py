"""Random cases small enough to enumerate within a moment, several times a test."""

from __future__ import annotations

from dataclasses import replace

from cases import case


def tiny(seed):
    """A case with two parts a kind at most, and bounds to match."""
    problem, catalog = case(seed)
    wanted = set(problem.locks.at_least) | {own.part for own in problem.owned if own.must_use}

    def some(parts, count):
        first = [part for part in parts if part.id in wanted]
        turn = seed % len(parts) if parts else 0
        rest = [part for part in (*parts[turn:], *parts[:turn]) if part not in first]
        return tuple(sorted([*first, *rest][:count], key=lambda part: part.id))

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
