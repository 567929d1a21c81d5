"""Free rectangles, each of which holds modules of one kind."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.table import Table
from optimizer.needs.site import Needs
from optimizer.rules import array

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays


def rectangle_rooms(needs: Needs, arrays_: Arrays) -> dict[int, Rectangles]:
    """The free rectangles of each plane that has any, by its place."""
    gap = needs.problem.array.gap_m
    length, width = arrays_.panels.length_mm / 1000, arrays_.panels.width_mm / 1000
    return {
        at: Rectangles(np.array([array.modules_in_rectangle(a, b, length, width, gap) for a, b in one.rectangles]))
        for at, one in enumerate(needs.arrays) if one.rectangles
    }


def modules_in_rectangles(needs: Needs, blocks: Table) -> list[np.ndarray]:
    """What blocks take of the rectangles, in columns of which less is better: modules of each kind on each plane that has any."""
    bounded = [at for at, one in enumerate(needs.arrays) if one.rectangles]
    if not bounded:
        return []
    kind = blocks.plane * (int(blocks.module.max(initial=0)) + 1) + blocks.module
    if len(bounded) == len(needs.arrays):  # every block takes of its own kind and of no other: the same kind, and no more of it
        return [kind, -kind, blocks.modules_each]
    kinds = np.unique(kind[np.isin(blocks.plane, bounded)])
    return [np.where(kind == one, blocks.modules_each, 0).astype(float) for one in kinds]


def share_limit(there: Rectangles) -> float:
    """Most that the shares of all kinds add up to, a kind's share being its modules over those that fit where it has every rectangle.

    Each rectangle holds one kind, and gives it at most the share that it gives the kind that makes the most of it.
    """
    whole = there.room.sum(axis=0)
    return float((there.room / np.maximum(whole, 1)).max(axis=1).sum())


def rectangle_shares(there: Rectangles, blocks: Table) -> np.ndarray:
    """Share of a plane's rectangles that each block would take, if it lay there; infinite where it does not fit; shape (blocks,)."""
    whole = there.room.sum(axis=0)[blocks.module]
    return np.asarray(np.where(blocks.modules_each <= whole, blocks.modules_each / np.maximum(whole, 1), np.inf))


def most_modules(rooms: dict[int, Rectangles], blocks: Table) -> np.ndarray:
    """Modules of its kind that fit the plane of each block, if no other kind lies there; shape (blocks,)."""
    most = np.full(len(blocks), np.inf)
    for at, there in rooms.items():
        on = blocks.plane == at
        most[on] = there.room.sum(axis=0)[blocks.module[on]]
    return most


def each_fits(rooms: dict[int, Rectangles], blocks: Table, first: np.ndarray, modules: np.ndarray, second: np.ndarray, beside: np.ndarray) -> np.ndarray:
    """Whether so many modules of one block fit beside so many of another, pair by pair; rows and modules of shape (pairs,)."""
    most = most_modules(rooms, blocks)
    fits = np.asarray((modules <= most[first]) & (beside <= most[second]))
    for at, there in rooms.items():
        both = (blocks.plane[first] == at) & (blocks.plane[second] == at)
        fits &= ~both | there.fit_each(blocks.module[first], modules, blocks.module[second], beside)
    return fits


@dataclass(frozen=True)
class Rectangles:
    """Modules of each kind that fit each rectangle, shape (rectangles, modules)."""

    room: np.ndarray

    @cached_property
    def beside(self) -> np.ndarray:
        """Most modules of kind b beside n of kind a, shape (a, b, n + 1); -1 where n of kind a do not fit."""
        rectangles, kinds = self.room.shape
        most = int(self.room.sum(axis=0).max(initial=0))
        found = np.full((kinds, kinds, most + 1), -1)
        for given in product((0.0, 1.0), repeat=rectangles):
            share = np.array(given)
            of_a, of_b = share @ self.room, (1 - share) @ self.room
            for n in range(most + 1):
                fits = of_a >= n
                found[fits, :, n] = np.maximum(found[fits, :, n], of_b[None, :])
        same = np.arange(kinds)
        left = self.room.sum(axis=0)[:, None] - np.arange(most + 1)[None, :]
        found[same, same, :] = np.where(left >= 0, left, -1)
        return found

    def fit_each(self, first: np.ndarray, first_modules: np.ndarray, second: np.ndarray, second_modules: np.ndarray) -> np.ndarray:
        """Whether two kinds fit together, pair by pair, shape (pairs,)."""
        most = self.beside.shape[2] - 1
        room = self.beside[first, second, np.minimum(first_modules, most).astype(int)]
        return np.asarray((first_modules <= most) & (second_modules <= room))
