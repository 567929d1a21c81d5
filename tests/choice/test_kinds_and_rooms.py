"""Columns that say which blocks make a known kind, and which pairs fit free rectangles, against their definitions."""

from __future__ import annotations

import numpy as np

from optimizer.choice.kinds import Kinds
from optimizer.choice.rectangles import Rectangles, each_fits, pairs_fit
from optimizer.choice.table import Table

CONTROLLERS = np.array(["pwm", "mppt", "pwm"], dtype=object)
FORMATS = np.array(["36 cells", "36 cells", "60 cells"], dtype=object)


def known(controllers: set[str], formats: set[str]) -> Kinds:
    return Kinds(("controller", "format"), frozenset({((), frozenset(controllers), frozenset(formats))}))


def test_blocks_that_make_a_known_kind_alone() -> None:
    # hand: the first alone is PWM with 36 cells; no block alone is of two kinds; what is not counted is empty and everybody's.
    assert known({"pwm"}, {"36 cells"}).forbidden_alone((), CONTROLLERS, FORMATS).tolist() == [True, False, False]
    assert not known({"pwm", "mppt"}, {"36 cells"}).forbidden_alone((), CONTROLLERS, FORMATS).any()
    assert known(set(), {"36 cells"}).forbidden_alone((), CONTROLLERS, FORMATS).tolist() == [True, True, False]
    assert not known({"pwm"}, {"36 cells"}).forbidden_alone(("24 V",), CONTROLLERS, FORMATS).any()


def test_pairs_that_make_a_known_kind() -> None:
    # hand: PWM beside MPPT, both with 36 cells, is the first with the second.
    taken = known({"pwm", "mppt"}, {"36 cells"}).forbidden_pairs((), CONTROLLERS, FORMATS)
    assert np.argwhere(taken).tolist() == [[0, 1], [1, 0]]


def test_pair_by_pair_is_what_the_table_of_pairs_says() -> None:
    # hand: on plane 0 two rectangles hold 3 and 2 of the first kind or 2 and 1 of the second; plane 1 has no rectangles.
    rooms = {0: Rectangles(np.array([[3, 2], [2, 1]]))}
    blocks = Table({"plane": np.array([0, 0, 1]), "module": np.array([0, 1, 0]), "modules_each": np.array([2, 1, 4])})
    seen = set()
    for n in (1, 2, 3):
        for m in (1, 2, 3):
            rows, second = np.arange(3), np.full((3, 3), m)
            first, other = np.repeat(rows, 3), np.tile(rows, 3)
            table = pairs_fit(rooms, blocks, rows, n, second)
            pairs = each_fits(rooms, blocks, first, n * blocks.modules_each[first], other, m * blocks.modules_each[other])
            assert pairs.tolist() == table.ravel().tolist()
            seen |= set(pairs.tolist())
    assert seen == {True, False}
