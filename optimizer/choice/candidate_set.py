"""What is left of the candidates after screening and pruning: what the program chooses from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optimizer.choice.blocks import Arrays, block_pieces
from optimizer.choice.cores import Cores
from optimizer.choice.feeding import running_of
from optimizer.choice.kinds import Kinds
from optimizer.choice.stock import Stock
from optimizer.choice.table import Table
from optimizer.design import Design
from optimizer.inputs.catalog import Catalog
from optimizer.needs.daylight import DAYS_OF_MONTH
from optimizer.needs.site import Needs


@dataclass
class Candidates:
    """Cores and blocks that the program chooses from; block rows carry the number of their bank class."""

    needs: Needs
    catalog: Catalog
    stock: Stock
    cores: Cores
    arrays: Arrays
    blocks: Table
    most_cents: float
    """Objective of a design that is known to exist; infinite where none was found."""
    kinds: Kinds

    def design(self, core: int, counts: list[tuple[int, int]]) -> Design:
        """The design of a core and of (block row, count) pairs."""
        bank, inverters, converters = self.cores.parts(core, self.needs, self.catalog)
        return Design(bank, tuple(self.arrays.block(self.blocks, row, n) for row, n in counts), inverters, converters, self.cores.source(core))

    def objective_cents(self, core: int, counts: list[tuple[int, int]]) -> int:
        """What the program minimises, of a core and of (block row, count) pairs, as the bill has it [cents]."""
        bill = self.stock.prices.bill(self.design(core, counts))
        return bill.objective_cents + running_of(self.cores.table, core, [(self.blocks.harvest_wh[row], n) for row, n in counts])

    @property
    def days(self) -> np.ndarray:
        """Days of each month of use [d]."""
        return np.asarray(np.array(DAYS_OF_MONTH)[self.needs.months])

    def block_pieces(self, row: int) -> list[tuple[str, int]]:
        """Part ids and pieces of one block."""
        return block_pieces(self.arrays, self.blocks, row)

    def part_ids(self) -> set[str]:
        """Every part that some candidate uses."""
        of_cores = {part for row in range(len(self.cores.table)) for part, _ in self.cores.pieces(row)}
        return of_cores | {part for row in range(len(self.blocks)) for part, _ in self.block_pieces(row)}

    def block_key(self, row: int) -> tuple[object, ...]:
        """What orders equal blocks: the tuple of ids and counts."""
        blocks = self.blocks
        limit = float(blocks.limit_a[row])
        return (
            self.arrays.parts[blocks.device[row]].id, self.arrays.modules[blocks.module[row]].id, int(blocks.series[row]),
            int(blocks.strings[row]), -1.0 if np.isnan(limit) else limit, int(blocks.cable[row]) if "cable" in blocks.columns else -1,
            int(blocks.plane[row]),
        )
