"""A mount under the arrays of a design: which rule keeps it out, what it costs more, and from which price on it is taken."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from optimizer.bill import PriceList
from optimizer.design import Block
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.mount_parts import Mount
from optimizer.mounts import Mounts
from optimizer.proof.check import Report
from optimizer.proof.lines import Line
from optimizer.proof.mounts import Set, mount_lines


@dataclass(frozen=True)
class MountPlace:
    """An array of a design with a mount under it; either a rule forbids it, or it costs something more."""

    name: str
    more_cents: int | None
    """More for the whole bill than with the cheapest mounts."""
    broken: Line | None = None


def arrays_on(report: Report, mount: Mount) -> list[str]:
    """Names of the arrays of a design that stand on a mount."""
    taken = report.prices.mounts.of_block
    return [f"array {number}" for number, block in enumerate(report.design.blocks, start=1) if mount.id in {one.id for one, _ in taken(block) or ()}]


def places_under(report: Report, catalog: Catalog, mount: Mount) -> list[MountPlace]:
    """Every array of a design with the mount under it: among the cheapest set that has one, or by itself where a rule forbids it."""
    prices, needs, bill = report.prices, report.whole.needs, report.bill
    found = []
    for number, block in enumerate(report.design.blocks, start=1):
        name = f"array {number}"
        full = replace(block, series=mount.modules, strings=1)  # on a roof a full mount lies lightest
        broken = next((line for line in mount_lines(needs, catalog.mounts, full, ((mount, 1),), name) if line.fails), None)
        best = None if broken is not None else _cheapest_with(prices, catalog, block, mount)
        if best is None:
            found.append(MountPlace(name, None, broken))
            continue
        before, after = (sum(prices.bought_cents(one) * n for one, n in taken) for taken in (prices.mounts.of_block(block) or (), best))
        more = prices.total_of(bill.parts_and_freight_cents + block.count * (after - before))[2] - bill.total_cents
        found.append(MountPlace(name, more))
    return found


def _cheapest_with(prices: PriceList, catalog: Catalog, block: Block, mount: Mount) -> Set | None:
    """The cheapest set under an array that has at least one of the mount; None where its modules are too few for one."""
    mounts = prices.mounts.on(block.plane)
    beside = Mounts(prices.problem, replace(catalog, mounts=tuple(one for one in catalog.mounts if one.place == mount.place)), mounts.cents_of).on(block.plane)
    fewest, n = mounts.fewest(mount, block.module), block.modules_each
    sets: list[Set] = []
    for carried in range(fewest or n + 1, min(mount.modules, n) + 1):
        cover = beside.cover(block.module, n)
        if cover.found[n - carried]:
            rest = {one: int(k) for one, k in zip(beside.mounts, cover.counts[n - carried], strict=True)}
            sets.append(tuple((one, k + (one.id == mount.id)) for one, k in rest.items() if k or one.id == mount.id))
    return min(sets, key=lambda one: sum(mounts.cents_of(part) * k for part, k in one), default=None)


def highest_price(least: Callable[[int], tuple[int, int] | None], start_cents: int, target_cents: int) -> float | None:
    """Highest whole price of a mount at which a design with it costs at most the target; None where none does.

    least: the least cost, and how many of the mount its design has, at a price of the mount
    start_cents: a price at which the cheapest design has the mount, if any has; 0 will do
    Each design's cost is a straight line in the price, so where one meets the target a design with the mount still costs no more.
    """
    price, known = start_cents, None
    while True:
        found = least(price)
        if found is None or found[0] > target_cents or not found[1]:
            return known
        step = (target_cents - found[0]) // found[1]
        known = price + step
        if not step:
            return known
        price = known

