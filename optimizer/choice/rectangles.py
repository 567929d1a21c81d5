"""Free rectangles, each of which holds modules of one kind."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from optimizer.needs.site import Needs
from optimizer.rules import array

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays


def rectangle_room(needs: Needs, arrays_: Arrays) -> np.ndarray:
    """Modules of each kind that fit each free rectangle, shape (rectangles, modules)."""
    gap = needs.problem.array.gap_m
    length, width = arrays_.panels.length_mm / 1000, arrays_.panels.width_mm / 1000
    return np.array([array.modules_in_rectangle(a, b, length, width, gap) for a, b in needs.problem.array.rectangles])


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

    def fit(self, first: np.ndarray, first_modules: np.ndarray, second: np.ndarray, second_modules: np.ndarray) -> np.ndarray:
        """Whether two kinds fit together: modules of the first by row, of the second by column, shape (rows, columns)."""
        most = self.beside.shape[2] - 1
        room = self.beside[first[:, None], second[None, :], np.minimum(first_modules, most).astype(int)[:, None]]
        return np.asarray((first_modules <= most)[:, None] & (second_modules <= room))
