"""Blocks on each plane that an array may lie on, and the room of the planes: a block lies on one plane, with the same cost on each but for its mounts."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.rectangles import Rectangles, rectangle_rooms, rectangle_shares, share_limit
from optimizer.choice.table import Table
from optimizer.needs.site import Needs

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays

RECTANGLES = "share of rectangles on plane "
"""Column of what a block takes of a plane's rectangles, where there are several planes."""

FEW = 20
"""Blocks of each plane and each number of modules that are paired for a first known design."""


def on_planes(arrays: Arrays, table: Table) -> Table:
    """Every block on every plane; column `plane`, and the area that it takes of each plane whose area is limited."""
    planes = len(arrays.needs.planes)
    plane = np.repeat(np.arange(planes), len(table))
    if planes > 1:
        table = table.take(np.tile(np.arange(len(table)), planes))
    table.add(plane=plane)
    for column, at, _ in areas(arrays.needs):
        table.add(**{column: np.where(plane == at, table.area_m2, 0.0)})
    if planes > 1 and arrays.screening.enforced("array-rectangles"):
        for at, there in rectangle_rooms(arrays.needs, arrays).items():
            share = np.where(plane == at, rectangle_shares(there, table), 0.0)
            table.add(**{f"{RECTANGLES}{at}": share})
            table = table.take(np.isfinite(share))
            plane = table.plane
    for at, one in enumerate(arrays.needs.arrays):
        if planes > 1 and one.area_m2 is not None:
            table = arrays.screening.hold(table, "array-area", table.area_m2, one.area_m2, arrays.namer(table), where=table.plane == at)
    return table


def areas(needs: Needs) -> list[tuple[str, int, float]]:
    """Column of the area that a block takes, the plane, and its area, for each plane whose area is limited [m2]."""
    return [(f"area on plane {at}", at, one.area_m2) for at, one in enumerate(needs.arrays) if one.area_m2 is not None]


def whole_area_m2(needs: Needs) -> float | None:
    """Area of all planes together; None where one of them has no limit [m2]."""
    found = [one.area_m2 for one in needs.arrays]
    return None if None in found else sum(area for area in found if area is not None)


def rectangle_limits(rooms: dict[int, Rectangles], blocks: Table) -> list[tuple[str, float]]:
    """Columns of the shares of rectangles that blocks take, with the most that they add up to; none where there is one plane."""
    return [(f"{RECTANGLES}{at}", share_limit(there)) for at, there in rooms.items() if f"{RECTANGLES}{at}" in blocks.columns]


def most_on_all_planes(needs: Needs, limits: list[tuple[str, float]], blocks: Table) -> np.ndarray | None:
    """Most that all planes can harvest, each by the limit that leaves least [Wh/day], shape (spans,); None where one has no limit."""
    whole = np.zeros(blocks.harvest_wh.shape[1])
    for at in range(len(needs.planes)):
        there = blocks.take(blocks.plane == at)
        mine = [(column, most) for column, most in limits if column.endswith(f"plane {at}")]
        if not mine and len(there):
            return None
        if len(there):
            with np.errstate(divide="ignore", invalid="ignore"):
                by = [most * np.nan_to_num(there.harvest_wh / there.columns[column][:, None], nan=0.0, posinf=np.inf).max(axis=0) for column, most in mine]
            whole += np.maximum(np.min(by, axis=0), 0.0)
    return whole


def few_of_each_plane(blocks: Table, needed_wh: np.ndarray) -> np.ndarray:
    """Rows of a few blocks of each plane and number of modules: those that carry most of what is needed for their money.

    needed_wh: what is needed by span [Wh/day], shape (spans,)
    """
    carried = np.min(blocks.harvest_wh / np.maximum(needed_wh, 1e-9), axis=1)
    order = np.lexsort((blocks.least_cost / np.maximum(carried, 1e-9), blocks.modules_each, blocks.plane))
    group = np.column_stack([blocks.plane, blocks.modules_each])[order]
    starts = np.nonzero(np.append(True, (group[1:] != group[:-1]).any(axis=1)))[0]
    place = np.arange(len(order)) - np.repeat(starts, np.diff(np.append(starts, len(order))))
    return np.asarray(order[place < FEW])
