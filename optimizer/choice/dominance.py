"""Dominance among the cores and among the blocks of one bank class: what is compared, and how owned parts and packs enter."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from optimizer.choice.blocks import Arrays, pieces_in
from optimizer.choice.cores import Cores
from optimizer.choice.feeding import whole_wh
from optimizer.choice.hours import block_hours, core_hours
from optimizer.choice.kinds import Kinds, numbered
from optimizer.choice.planes import areas
from optimizer.choice.prune import undominated
from optimizer.choice.rectangles import modules_in_rectangles
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.inputs.kits import Kit
from optimizer.needs.site import Needs

SLACK_CENTS = 0.5
"""Costs are whole cents; sums of floating numbers are not."""


@dataclass
class Dominance:
    """Compares candidates of one class; `most_cents` is the objective of the cheapest design that is known."""

    needs: Needs
    stock: Stock
    screening: Screening
    arrays: Arrays
    cores: Cores
    most_cents: float
    kinds: Kinds
    kits: list[Kit] | None = None
    """Kits that may be on a bill; every one where it is not said."""
    air_lived_c: tuple[float, float] | None = None
    """Coldest and hottest air of years in which designs are lived: then a candidate must be no worse in every hour of them."""

    def block_attributes(self, cores: Table, blocks: Table) -> list[np.ndarray]:
        """What a core can see of a block beside its cost and its parts: columns in which less is better."""
        problem, enforced = self.needs.problem, self.screening.enforced
        controllers = problem.bounds.controllers
        smaller: list[np.ndarray] = []
        # Months in which every block and every core is at least as well off as in another say nothing more.
        months = telling_months(blocks.harvest_wh, cores.needed_wh) if not self.cores.fed else range(blocks.harvest_wh.shape[1])
        enough_wh = whole_wh(cores).max(axis=0)
        smaller += [-np.minimum(blocks.harvest_wh[:, m], enough_wh[m]) for m in months]
        smaller.append(-np.minimum(blocks.low_a, cores.least_a.max()))
        if enforced("maximum-charge-current") and self._current_matters(cores, blocks):
            smaller.append(blocks.high_a)
        if (blocks.highest_v.max() > cores.ceiling_v).any():
            smaller.append(blocks.highest_v)
        if (controllers * blocks.self_w.max() > cores.room_w).any():
            smaller.append(blocks.self_w)
        smaller.append((~blocks.parallel_ok).astype(float))
        for part in np.unique(blocks.device[blocks.built_in]):
            smaller.append((blocks.built_in & (blocks.device == part)).astype(float))
        if uses_terminals(self.needs):
            smaller.append(-np.minimum(blocks.terminal_a, cores.terminal_a.max()))
        if enforced("array-area"):
            smaller += [blocks.columns[column] for column, _, _ in areas(self.needs)]
        if enforced("array-rectangles"):
            smaller += modules_in_rectangles(self.needs, blocks)
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            smaller.append(blocks.weight_kg)
        if self.air_lived_c is not None:
            smaller += block_hours(self.arrays, self.cores.classes[int(blocks.bank_class[0])], blocks, self.air_lived_c)
        if self.kinds.counted:
            told = numbered(list(zip(*self.kinds.of_blocks(self.arrays, blocks), strict=True)))
            smaller += [told, -told]
        return smaller

    def blocks(self, cores: Table, blocks: Table) -> np.ndarray:
        """Mask of the blocks that no other block dominates."""
        smaller = self.block_attributes(cores, blocks)
        kinds = 2 * self.stock.prices.distinct_cents
        arrays_, limit = self.arrays, np.nan_to_num(blocks.limit_a, nan=-1.0)
        devices, modules = _id_ranks([part.id for part in arrays_.parts]), _id_ranks([module.id for module in arrays_.modules])
        cable = blocks.columns.get("cable", np.zeros(len(blocks), dtype=int))
        order = (blocks.plane, cable, limit, blocks.strings, blocks.series, modules[blocks.module], devices[blocks.device], blocks.pieces)
        return self._undominated(blocks, smaller, lambda part_id: pieces_in(self.arrays, blocks, part_id), order, kinds)

    def cores_of(self, cores: Table, blocks: Table) -> np.ndarray:
        """Mask of the cores that no other core dominates."""
        problem, enforced = self.needs.problem, self.screening.enforced
        smaller = source_attributes(cores) if self.cores.fed else [cores.needed_wh[:, m] for m in telling_months(blocks.harvest_wh, cores.needed_wh)]
        if "spare_wh" in cores.columns:
            smaller += list(cores.spare_wh.T)
        smaller += [cores.least_a, -np.minimum(cores.room_w, problem.bounds.controllers * blocks.self_w.max())]
        if enforced("maximum-charge-current"):
            smaller.append(-np.minimum(cores.most_charge_a, self._most_array_a(cores, blocks)))
        smaller.append(-np.minimum(cores.ceiling_v, blocks.highest_v.max()))
        for part in np.unique(blocks.device[blocks.built_in]):
            inverter_id = self.arrays.parts[part].id
            same = np.array([inverter.id == inverter_id for inverter in self.cores.inverters], dtype=bool)[cores.inverter] & (cores.inverter >= 0)
            smaller.append(-np.where(same, cores.inverter_count, 0).astype(float))
        if uses_terminals(self.needs):
            smaller.append(cores.terminal_a)
        if problem.limits.total_kg_max is not None and enforced("total-weight"):
            smaller.append(cores.weight_total_kg)
        if self.air_lived_c is not None:
            smaller += core_hours(self.needs, self.cores, cores)
        if self.kinds.counted:
            told = numbered(self.kinds.of_cores(self.cores, cores))
            smaller += [told, -told]
        special = replace(self.cores, table=cores)
        pieces = [dict(special.pieces(row)) for row in range(len(cores))] if self.stock.special or self.stock.packs else []

        def used(part_id: str) -> np.ndarray:
            return np.array([piece.get(part_id, 0) for piece in pieces], dtype=float)

        keys = [special.key(row) for row in range(len(cores))]
        rank = np.empty(len(cores), dtype=int)
        rank[sorted(range(len(cores)), key=keys.__getitem__)] = np.arange(len(cores))
        return self._undominated(cores, smaller, used, (rank, cores.pieces), (7 if self.cores.fed else 5) * self.stock.prices.distinct_cents)

    def _undominated(
        self, table: Table, smaller: list[np.ndarray], used_of: Callable[[str], np.ndarray], order: Sequence[np.ndarray], kinds_cents: int,
    ) -> np.ndarray:
        """Dominance with owned, limited, demanded parts and those in packs or kits compared piece by piece.

        used_of: pieces of a part in each candidate, shape (candidates,).
        """
        cost = table.cost.astype(float)
        for part_id in sorted(self.stock.special):
            used = used_of(part_id)
            if used.any():
                # Equal use is the one comparison that holds for owned pieces, stock, limits and demands alike.
                smaller += [used, -used]
        budget = self.stock.prices.budget_cents
        if budget is not None and self.stock.prices.has_prices_beside_the_bill:
            smaller.append(table.bill_cost.astype(float))
        rank = np.empty(len(table), dtype=int)
        rank[np.lexsort(order)] = np.arange(len(table))
        kits = self.stock.kits() if self.kits is None else self.kits
        packed = self.stock.packed(kits)
        in_packs = [used_of(part) for part in packed]
        same_packs = [column for used in in_packs if used.any() for column in (used, -used)]
        kept = undominated(cost, cost - kinds_cents, np.column_stack([*smaller, *same_packs]), rank)
        if not same_packs:
            return kept
        # Between different use of packs and kits: the dearest that one can be, rounded up and without kits, against the
        # least that the other saves.
        dearest, saved = cost.copy(), cost - kinds_cents
        two_prices = budget is not None and self.stock.prices.has_prices_beside_the_bill
        for part_id, used in zip(packed, in_packs, strict=True):
            pack, each = self.stock.part(part_id).pack_qty, self.stock.bill_cents(part_id)
            dearest += (np.ceil(used / pack) * pack - used) * each
            saved -= (used - np.floor(used / pack) * pack) * each
            lost = self.stock.kit_loss_cents(part_id, used, kits)
            # One cent more, so that of two designs of the same cost none goes.
            saved -= np.where(lost > 0, np.inf if two_prices else lost + 1, 0.0)
        rows = np.nonzero(kept)[0]
        of_kept = np.column_stack(smaller)[rows]
        rows = rows[undominated(dearest[rows], saved[rows], of_kept, rank[rows])]
        mask = np.zeros(len(table), dtype=bool)
        mask[rows] = True
        return mask

    def _most_array_a(self, cores: Table, blocks: Table) -> float:
        """Most current that arrays can have within the controllers and, beside a source, below the known design's price [A].

        There it tells apart settings of the same chargers: what no array uses need not be left to it.
        """
        most = float(self.needs.problem.bounds.controllers * blocks.high_a.max())
        if not self.cores.fed or self.stock.owned or not np.isfinite(self.most_cents):
            return most
        each = float((blocks.high_a / np.maximum(blocks.least_cost, 1e-9)).max())
        return min(most, max(0.0, self.most_cents + SLACK_CENTS - float(cores.least_cost.min())) * each)

    def _current_matters(self, cores: Table, blocks: Table) -> bool:
        """Whether money could buy more charge current than some core stands."""
        controllers = self.needs.problem.bounds.controllers
        if (controllers * blocks.high_a.max() <= cores.most_charge_a).all():
            return False
        if not np.isfinite(self.most_cents) or self.stock.owned:
            return True
        each = float((blocks.high_a / np.maximum(blocks.least_cost, 1e-9)).max())
        return bool(((self.most_cents + SLACK_CENTS - cores.least_cost) * each > cores.most_charge_a).any())


def uses_terminals(needs: Needs) -> bool:
    """Whether the DC loads hang on the controllers' load terminals."""
    return needs.problem.dc.loads_on == "controller load terminals" and needs.severities.enforced("load-terminal-current")


def source_attributes(cores: Table) -> list[np.ndarray]:
    """What energy asks of the array, and what the source of a core brings and burns: columns in which less is better."""
    brings = np.minimum(cores.feed_wh, cores.needed_wh.max(axis=0))
    return [*cores.needed_wh.T, *cores.floor_wh.T, *(-brings).T, *cores.feed_cents.T, -cores.share_wh]


def _id_ranks(ids: list[str]) -> np.ndarray:
    """Place of each id in the order of all."""
    rank = np.empty(len(ids), dtype=int)
    rank[np.argsort(np.array(ids), kind="stable")] = np.arange(len(ids))
    return rank


def telling_months(harvest_wh: np.ndarray, needed_wh: np.ndarray) -> list[int]:
    """Months of use that are not implied by another month: there every block gives at least as much for at most the need."""
    months = list(range(needed_wh.shape[1]))
    for month in list(months):
        for other in months:
            if other != month and (harvest_wh[:, month] >= harvest_wh[:, other]).all() and (needed_wh[:, month] <= needed_wh[:, other]).all():
                months.remove(month)
                break
    return months
