"""Which mounts an array takes: the cheapest set that may carry its modules, exact, for each module and number of them.

Every controller has its own array, and every array its own mounts: none is shared. So the price and the weight of a
set add up over controllers, and a design need not name its mounts. A set stands in one place. Of sets of the same price
the lightest is taken, then the one with the fewest mounts, then the one whose ids come first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from optimizer.design import Block, Design
from optimizer.errors import OutOfRange
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.mount_parts import ROOFS, Mount, Place
from optimizer.inputs.mounting import Mounting
from optimizer.inputs.parts import Module, Part
from optimizer.inputs.problem import Problem
from optimizer.needs.sunlight import by_plane, plane_names
from optimizer.rules.book import RULES, Severities, meets
from optimizer.rules.mounting import roof_load_kn_m2, tilt_out_of_reach_deg

GRAMS_MOST = 10**12
PIECES_MOST = 10**6
"""Above any weight and any number of mounts: price, weight and number in one whole number, compared in this order."""

Fact = tuple[str, Any, Any]
"""A rule, what a mount has, and what is asked of it."""


@dataclass(frozen=True)
class Cover:
    """The cheapest sets of mounts for none, one, two ... modules of one kind."""

    found: np.ndarray
    """Whether there is a set, shape (modules + 1,)."""
    counts: np.ndarray
    """Mounts of each kind in the set, shape (modules + 1, mounts)."""


class MountsOnPlane:
    """Chooses the mounts of arrays on one plane.

    problem: as the plane sees it; it has a section on mounting
    known: mounts of the catalog, ids in order
    """

    def __init__(self, problem: Problem, known: tuple[Mount, ...], cents_of: Callable[[Part], int]) -> None:
        self.problem, self.mounts, self.cents_of = problem, known, cents_of
        self._severities = Severities(problem.rules)
        self._covers: dict[str, Cover] = {}

    @property
    def asked(self) -> Mounting:
        """What the site asks of mounts."""
        assert self.problem.mounting is not None, "no mounts are chosen without the section"
        return self.problem.mounting

    @cached_property
    def tilts_deg(self) -> tuple[float, ...]:
        """Tilts that the array has in a year, the lowest first; there is one wherever mounts are chosen."""
        tilts = self.problem.array.positions_deg
        assert tilts, "mounts are chosen where the tilt is known"
        return tilts

    # --- what may carry what

    def site_facts(self, mount: Mount) -> Iterator[Fact]:
        """What the site asks of a mount, whatever modules it carries."""
        asked = self.asked
        yield "part-limit", bars_mount(self.problem, mount, self.mounts), False
        yield "mount-place", asked.allows(mount.place), True
        yield "mount-wind", mount.wind_max_m_s, asked.wind_m_s
        yield "mount-snow", mount.snow_max_kn_m2, asked.snow_kn_m2
        yield "mount-tilt", float(np.max(tilt_out_of_reach_deg(np.array(self.tilts_deg), mount.tilt_min_deg, mount.tilt_max_deg))), 0.0
        if len(self.tilts_deg) > 1:
            yield "mount-adjustable", mount.adjustable, True
        if asked.salt:
            yield "mount-salt", mount.salt, True

    def module_facts(self, mount: Mount, module: Module) -> Iterator[Fact]:
        """What a module asks of a mount."""
        yield "mount-size", module.length_mm, mount.module_length_max_mm
        yield "mount-size", module.width_mm, mount.module_width_max_mm
        if self.bears(mount):
            yield "roof-load", self._load(mount, module, mount.modules), self.asked.roof_load_max_kn_m2

    def bears(self, mount: Mount) -> bool:
        """Whether it stands on a roof of which is known what it bears."""
        return mount.place in ROOFS and self.asked.roof_load_max_kn_m2 is not None

    def _load(self, mount: Mount, module: Module, modules: int) -> float:
        """Load on the roof under a mount with so many modules, at the steepest tilt; infinite outside the rule's range [kN/m2]."""
        kg, area = mount.weight_kg + mount.ballast_kg, module.area_m2
        try:
            return float(roof_load_kn_m2(module.weight_kg, modules, kg, area, self.tilts_deg[-1], self.asked.snow_kn_m2))
        except OutOfRange:
            return np.inf

    def holds(self, fact: Fact) -> bool:
        """Whether a rule that this problem enforces lets a mount through."""
        rule, actual, required = fact
        if not self._severities.enforced(rule):
            return True
        return bool(actual == required if isinstance(actual, bool) else meets(actual, required, RULES[rule].sense))

    @cached_property
    def of_the_site(self) -> tuple[Mount, ...]:
        """Mounts that may stand at the site."""
        return tuple(mount for mount in self.mounts if all(map(self.holds, self.site_facts(mount))))

    def fewest(self, mount: Mount, module: Module) -> int | None:
        """Fewest modules that must be on a mount: a roof feels an empty one most. None where it may carry none of this kind."""
        if not all(map(self.holds, self.module_facts(mount, module))):
            return None
        able = (n for n in range(1, mount.modules + 1) if not self.bears(mount) or self.holds(("roof-load", self._load(mount, module, n), self.asked.roof_load_max_kn_m2)))
        return next(able)

    # --- the cheapest set

    def cover(self, module: Module, most: int) -> Cover:
        """The cheapest sets for up to `most` modules."""
        known = self._covers.get(module.id)
        if known is None or len(known.found) <= most:
            known = self._covers[module.id] = self._covered(module, most)
        return known

    def _covered(self, module: Module, most: int) -> Cover:
        keys: list[int | None] = [0, *[None] * most]
        counts = np.zeros((most + 1, len(self.mounts)), dtype=int)
        for place in dict.fromkeys(mount.place for mount in self.of_the_site):
            for n, found in enumerate(self._in_one_place(module, most, place)):
                best = keys[n]
                if n and found is not None and (best is None or found[0] < best):
                    keys[n], counts[n] = found
        return Cover(np.array([key is not None for key in keys]), counts)

    def _in_one_place(self, module: Module, most: int, place: Place) -> list[tuple[int, np.ndarray] | None]:
        """By the number of modules: the cheapest set in one place, built one mount after the other."""
        items = []
        for at, mount in enumerate(self.mounts):
            fewest = self.fewest(mount, module) if mount.place == place and mount in self.of_the_site else None
            if fewest is not None:
                key = (int(self.cents_of(mount)) * GRAMS_MOST + round(1000 * mount.weight_kg)) * PIECES_MOST + 1
                items += [(at, carried, key) for carried in range(fewest, mount.modules + 1)]
        best: list[int | None] = [0]
        came: list[tuple[int, int]] = [(0, 0)]
        for n in range(1, most + 1):
            ways = [(rest + key, at, carried) for at, carried, key in items if carried <= n and (rest := best[n - carried]) is not None]
            cheapest = min(ways, default=None)
            best.append(None if cheapest is None else cheapest[0])
            came.append((0, 0) if cheapest is None else cheapest[1:])
        found: list[tuple[int, np.ndarray] | None] = [(0, np.zeros(len(self.mounts), dtype=int))]
        for n in range(1, most + 1):
            key_of, (at, carried) = best[n], came[n]
            if key_of is None:
                found.append(None)
                continue
            before = found[n - carried]
            assert before is not None, "a set is built on a set"
            counts = before[1].copy()
            counts[at] += 1
            found.append((key_of, counts))
        return found

    # --- a design

    def of_block(self, block: Block) -> tuple[tuple[Mount, int], ...] | None:
        """The cheapest set under one controller's array; None where there is none."""
        cover = self.cover(block.module, block.modules_each)
        if not cover.found[block.modules_each]:
            return None
        return tuple((mount, int(n)) for mount, n in zip(self.mounts, cover.counts[block.modules_each], strict=True) if n)


class Mounts:
    """Chooses the mounts of one problem; `active` is false where it has no section on mounting: an allowance stands for them."""

    def __init__(self, problem: Problem, catalog: Catalog, cents_of: Callable[[Part], int]) -> None:
        self.active = problem.mounting is not None
        self.mounts = tuple(sorted(catalog.mounts, key=lambda mount: mount.id))
        self.cents_of = cents_of
        each = zip(plane_names(problem), by_plane(problem), strict=True)
        self._planes = {name: MountsOnPlane(one, self.mounts, cents_of) for name, one in each} if self.active else {}

    def on(self, plane: str | None) -> MountsOnPlane:
        """The mounts of one plane, by its name."""
        return self._planes[plane]

    def of_block(self, block: Block) -> tuple[tuple[Mount, int], ...] | None:
        """Mounts of one controller's array: those that are named, or the cheapest set; None where there is none."""
        return block.mounts if block.mounts is not None else self.on(block.plane).of_block(block)

    def pieces(self, design: Design) -> Counter[str]:
        """Mounts of all arrays of a design."""
        used: Counter[str] = Counter()
        if self.active:
            for block in design.blocks:
                for mount, n in self.of_block(block) or ():
                    used[mount.id] += n * block.count
        return used

    def cents(self, design: Design) -> int:
        """Price of all mounts of a design [cents]."""
        by_id = {mount.id: mount for mount in self.mounts}
        return sum(n * self.cents_of(by_id[mount]) for mount, n in self.pieces(design).items())


def bars_mount(problem: Problem, mount: Mount, mounts: tuple[Mount, ...]) -> bool:
    """Whether the problem's locks leave a mount out."""
    locks = problem.locks
    only = {other.id for other in mounts} & set(locks.only)
    return mount.id in locks.exclude or locks.at_most.get(mount.id) == 0 or bool(only and mount.id not in only)
