"""Ways to set an array through the year, taken together: what a whole group of them cannot beat, and how a group is parted.

A group is bounded by a problem of its own: in each month the sun of the best of its ways there, on mounts that carry all of them.
More sun never makes a design dearer or forbids it, so no way of the group has a cheaper design than that problem.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import product

import numpy as np

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.mount_parts import ROOFS, Mount
from optimizer.inputs.problem import Problem
from optimizer.mounts import MountsOnPlane
from optimizer.needs.demand import Demand
from optimizer.needs.positions import all_year, most_in_the_weakest, ways_to_set
from optimizer.needs.sunlight import (
    at_tilt,
    at_tilts,
    by_plane,
    on_tilt,
    on_tilts_of_planes,
    open_planes,
    sun_hours_that_count,
    sun_on_plane,
)
from optimizer.proof.check import Report
from optimizer.rules.book import meets
from optimizer.rules.mounting import tilt_out_of_reach_deg

OF_THE_TILT = ("mount-tilt", "mount-adjustable")
"""Rules on mounts that look at the tilts of the array."""


@dataclass(frozen=True)
class Ways:
    """Ways to set an array through the year that the same mounts of the catalog reach."""

    mounts: frozenset[str]
    """Mounts that reach every tilt of every way."""
    tilts_deg: np.ndarray
    """Tilts by way and month, shape (ways, 12)."""
    sun_h: np.ndarray
    """Sun on the plane, before shade, by way and month [h/day], shape (ways, 12)."""
    months: tuple[int, ...]
    """Months of use."""

    def __len__(self) -> int:
        return len(self.tilts_deg)

    @cached_property
    def most_sun_h(self) -> np.ndarray:
        """Sun of the best way in each month [h/day]."""
        return np.asarray(self.sun_h.max(axis=0))

    @property
    def sun_in_all_h(self) -> float:
        """What tells which group is the sunniest."""
        return float(self.most_sun_h.sum())

    def likeliest(self, problem: Problem, report: Report) -> Problem:
        """The problem with its array set in the way that fits a design of the bounding problem best."""
        return at_tilts(problem, self.tilts_deg[_fits_best(self.sun_h, needed_h(report, self.most_sun_h), self.months)])

    def bounding(self, problem: Problem) -> Problem:
        """A problem of one plane whose cheapest design is no dearer than that of any way of the group.

        The tilt is what a roof feels: its load rises with the steepest of the year, so the least of these stands for all.
        """
        return problem.model_copy(update={"array": problem.array.model_copy(update={
            "sun_h": tuple(self.most_sun_h.tolist()), "horizontal_kwh_m2": None, "weather_file": None, "tilt_deg": float(self.tilts_deg.max(axis=1).min()),
            "adjustments_per_year": 0,
        })})

    def reachable(self, catalog: Catalog) -> Catalog:
        """The catalog with the mounts of these ways alone; that they reach is known."""
        mounts = tuple(mount.model_copy(update={"tilt_min_deg": 0.0, "tilt_max_deg": 90.0}) for mount in catalog.mounts if mount.id in self.mounts)
        return replace(catalog, mounts=mounts)

    def parted(self, report: Report) -> tuple[Ways, ...]:
        """The group in two (`_parts`)."""
        return tuple(self._only(which) for which in _parts(self.sun_h, needed_h(report, self.most_sun_h), self.months))

    def _only(self, which: np.ndarray) -> Ways:
        return replace(self, tilts_deg=self.tilts_deg[which], sun_h=self.sun_h[which])


def needed_h(report: Report, most_sun_h: np.ndarray) -> np.ndarray:
    """Roughly what sun a design of a bounding problem needs in each month [h/day]: a guide to look, which decides nothing."""
    asked = report.whole.needs.array_to_load
    needed = np.zeros(12)
    for month, balance in zip(report.whole.needs.months, report.months, strict=True):
        needed[month] = most_sun_h[month] * (min(1.0, asked / balance.ratio) if balance.ratio > 0 else 1.0)
    return needed


def _fits_best(sun_h: np.ndarray, needed: np.ndarray, months: tuple[int, ...]) -> int:
    """The row that lacks least of the sun that is needed; of those that lack nothing the one with most to spare in its scarcest month."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return most_in_the_weakest(np.nan_to_num(sun_h / needed, nan=np.inf, posinf=np.inf)[:, list(months)])


def _parts(sun_h: np.ndarray, needed: np.ndarray, months: tuple[int, ...]) -> tuple[np.ndarray, ...]:
    """Which rows belong together, in two parts that are not empty: those that lack sun where the best lacks most, and the rest.

    Where that parts nothing, rows are parted in the month in which they differ most. Rows with the same sun are one; a single row has no parts.
    """
    best = sun_h[_fits_best(sun_h, needed, months)]
    month = min(months, key=lambda one: best[one] / needed[one] if needed[one] > 0 else np.inf)
    short = sun_h[:, month] < needed[month] * (1 - 1e-9)
    if short.all() or not short.any():
        spread = np.ptp(sun_h, axis=0)
        month = max(months, key=lambda one: spread[one])
        if not spread[month]:
            return (np.arange(len(sun_h)) == 0,) if len(sun_h) > 1 else ()
        short = sun_h[:, month] < sun_h[:, month].mean()
    return short, ~short


@dataclass(frozen=True)
class TiltsOfPlanes:
    """Tilts for planes that leave theirs open: any of each plane's, which the same mounts reach."""

    sun_h: Mapping[str, Mapping[float, tuple[float, ...]]]
    """Twelve months of sun on the plane, before shade, by plane and tilt [h/day]."""
    months: tuple[int, ...]
    """Months of use."""

    def __len__(self) -> int:
        return math.prod(len(tilts) for tilts in self.sun_h.values())

    @property
    def sun_in_all_h(self) -> float:
        """What tells which group is the sunniest."""
        return float(sum(_most(tilts).sum() for tilts in self.sun_h.values()))

    def bounding(self, problem: Problem) -> Problem:
        """A problem whose cheapest design is no dearer than that of any tilts of the group: its planes have the best sun of each month.

        Mounts reach either all tilts of a plane or none, and a roof feels the least tilt least.
        """
        skies = {"horizontal_kwh_m2": None, "weather_file": None}
        given = [sun_on_plane(one).sun_h for one in by_plane(problem)]
        planes = tuple(
            plane.model_copy(update={"sun_h": tuple(_most(self.sun_h[plane.name]).tolist()), "tilt_deg": min(self.sun_h[plane.name])})
            if plane.name in self.sun_h else plane.model_copy(update={"sun_h": sun_h})
            for plane, sun_h in zip(problem.planes, given, strict=True)
        )
        return problem.model_copy(update={"planes": planes, "array": problem.array.model_copy(update=skies)})

    def reachable(self, catalog: Catalog) -> Catalog:
        """The catalog as it is: which mounts reach shows at any tilt of the group."""
        return catalog

    def likeliest(self, problem: Problem, report: Report) -> Problem:
        """The problem on the tilts that fit a design of the bounding problem best."""
        return on_tilts_of_planes(problem, {
            name: list(tilts)[_fits_best(np.array(list(tilts.values())), needed_h(report, _most(tilts)), self.months)] for name, tilts in self.sun_h.items()
        })

    def parted(self, report: Report) -> tuple[TiltsOfPlanes, ...]:
        """The group in two, by the tilts of the plane that has most of them; planes on which the design lies first."""
        used = {block.plane for block in report.design.blocks}
        name = max(self.sun_h, key=lambda one: (len(self.sun_h[one]) > 1, one in used, len(self.sun_h[one])))
        tilts = self.sun_h[name]
        parts = _parts(np.array(list(tilts.values())), needed_h(report, _most(tilts)), self.months)
        return tuple(replace(self, sun_h={**self.sun_h, name: {tilt: tilts[tilt] for tilt, there in zip(tilts, which, strict=True) if there}}) for which in parts)


def _most(tilts: Mapping[float, tuple[float, ...]]) -> np.ndarray:
    """Sun of the best tilt in each month [h/day]."""
    return np.asarray(np.max(list(tilts.values()), axis=0))


def tilts_of_planes(problem: Problem, catalog: Catalog) -> list[TiltsOfPlanes]:
    """Every tilt of every open plane, in groups: of each plane those that the same mounts reach, on a roof of which is known what it bears each by itself."""
    months = Demand(problem).months_of_use
    each: list[list[tuple[str, dict[float, tuple[float, ...]]]]] = []
    for name, one in open_planes(problem).items():
        alike: dict[object, dict[float, tuple[float, ...]]] = {}
        mounting = one.mounting
        feels = mounting is not None and mounting.roof_load_max_kn_m2 is not None
        for tilt in one.array.tilts:
            reach = frozenset(mount.id for mount in catalog.mounts if _reaches(mount, tilt)) if mounting is not None else None
            alike.setdefault((reach, tilt if feels else None), {})[tilt] = on_tilt(one, tilt).sun_h
        each.append([(name, tilts) for tilts in alike.values()])
    return [TiltsOfPlanes(dict(picked), months) for picked in product(*each)]


def _reaches(mount: Mount, tilt_deg: float) -> bool:
    return bool(meets(float(tilt_out_of_reach_deg(tilt_deg, mount.tilt_min_deg, mount.tilt_max_deg)), 0.0, "at most"))


def ways_of(problem: Problem, catalog: Catalog) -> list[Ways]:
    """Every way to set the array that may be worth it, those on the same mounts together; ways with fewer changes first.

    An array that stays as it is stands on any mount that reaches its tilt; one that is adjusted on adjustable ones that reach all its
    tilts. Ways are told apart by the mounts that they may stand on, and on a roof of which is known what it bears by their steepest
    tilt; among those that are alike in both, a beaten tilt is left out (`ways_to_set`).
    """
    tilts = np.array(problem.array.tilts)
    months = Demand(problem).months_of_use
    on_plane = np.array([on_tilt(problem, tilt).sun_h for tilt in tilts.tolist()])
    counts = np.array([sun_hours_that_count(problem, on_tilt(problem, tilt)) for tilt in tilts.tolist()])[:, list(months)]
    mounts = _of_the_site(problem, catalog)
    found: list[Ways] = []
    for changes in dict.fromkeys((0, min(2, len(months)), min(problem.array.adjustments_per_year, len(months)))):
        able = [mount for mount in mounts if mount.adjustable or not changes]
        if changes == 1 or not able:
            continue
        reach = np.array([[_reaches(one, tilt) for one in able] for tilt in tilts.tolist()])
        for group, steepest in _alike(reach, able, problem):
            within = np.nonzero((reach[:, group].all(axis=1)) & (tilts <= steepest))[0]
            ways = within[ways_to_set(counts[within], changes)] if len(within) else np.zeros((0, len(months)), dtype=int)
            known = np.array([len(set(way)) > 1 for way in ways.tolist()], dtype=bool) if changes else np.ones(len(ways), dtype=bool)
            known &= (np.logical_and.reduce([reach[ways[:, month]] for month in range(len(months))]) == group).all(axis=1)
            if np.isfinite(steepest):
                known &= tilts[ways].max(axis=1, initial=-1.0) == steepest
            ways = all_year(ways[known], months)
            if len(ways):
                found.append(Ways(frozenset(one.id for one, there in zip(able, group, strict=True) if there), tilts[ways], on_plane[ways, np.arange(12)], months))
    return found


def _of_the_site(problem: Problem, catalog: Catalog) -> list[Mount]:
    """Mounts that the site takes, whatever the tilt."""
    known = tuple(sorted(catalog.mounts, key=lambda one: one.id))
    chooser = MountsOnPlane(at_tilt(problem, problem.array.tilts[0]), known, lambda _: 0)
    return [one for one in known if all(chooser.holds(fact) for fact in chooser.site_facts(one) if fact[0] not in OF_THE_TILT)]


def _alike(reach: np.ndarray, able: list[Mount], problem: Problem) -> list[tuple[np.ndarray, float]]:
    """Every set of mounts that may be all that reach some tilts; with each steepest tilt, where one stands on a roof that bears so much, else infinity."""
    asked, tilts = problem.mounting, problem.array.tilts
    assert asked is not None, "an array is adjusted on mounts"
    sets = {tuple((reach[low] & reach[high]).tolist()) for low in range(len(tilts)) for high in range(low, len(tilts))}
    found: list[tuple[np.ndarray, float]] = []
    for one in sorted(sets):
        bears = asked.roof_load_max_kn_m2 is not None and any(there and mount.place in ROOFS for there, mount in zip(one, able, strict=True))
        found += [(np.array(one, dtype=bool), steepest) for steepest in (tilts if bears else (np.inf,)) if any(one)]
    return found
