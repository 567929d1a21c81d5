"""Columns that say which blocks make a known kind, and which pairs fit free rectangles, against their definitions."""

from __future__ import annotations

from itertools import product

import numpy as np

from optimizer.choice.kinds import Kinds
from optimizer.choice.rectangles import Rectangles, each_fits
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
    first, second = np.repeat(np.arange(3), 3), np.tile(np.arange(3), 3)

    def pairs(controllers: set[str], formats: set[str]) -> list[list[int]]:
        taken = known(controllers, formats).forbidden_pairs((), CONTROLLERS, FORMATS, first, second)
        return np.argwhere(taken.reshape(3, 3)).tolist()

    assert pairs({"pwm", "mppt"}, {"36 cells"}) == [[0, 1], [1, 0]]
    assert pairs({"pwm"}, {"36 cells", "60 cells"}) == [[0, 2], [2, 0]]
    assert pairs({"pwm"}, {"36 cells"}) == [[0, 0]]


def test_two_kinds_fit_where_some_share_of_the_rectangles_holds_both() -> None:
    # On plane 0 two rectangles hold 3 and 2 of the first kind or 2 and 1 of the second; plane 1 has no rectangles.
    room = np.array([[3, 2], [2, 1]])
    rooms = {0: Rectangles(room)}
    blocks = Table({"plane": np.array([0, 0, 1]), "module": np.array([0, 1, 0]), "modules_each": np.array([2, 1, 4])})

    def by_hand(i: int, n: int, j: int, m: int) -> bool:
        wanted = [0, 0]
        for block, many in ((i, n), (j, m)):
            if blocks.plane[block] == 0:
                wanted[blocks.module[block]] += many * int(blocks.modules_each[block])
        held = [[sum(int(room[at, kind]) for at in (0, 1) if given[at] == kind) for kind in (0, 1)] for given in product((0, 1), repeat=2)]
        return any(a >= wanted[0] and b >= wanted[1] for a, b in held)

    seen = set()
    for n, m, i, j in product((1, 2, 3), (1, 2, 3), range(3), range(3)):
        first, second = np.array([i]), np.array([j])
        fits = bool(each_fits(rooms, blocks, first, n * blocks.modules_each[first], second, m * blocks.modules_each[second])[0])
        assert fits == by_hand(i, n, j, m), (n, m, i, j)
        seen.add(fits)
    assert seen == {True, False}
