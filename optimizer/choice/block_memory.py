"""Blocks that were built for one problem serve the next one that differs only in what no block sees.

Questions solve the same site again and again with other loads, other autonomy, another bound on the price. The memory lies with
the catalog, whose parts it is about. A problem's own text and figures are the key, so whatever blocks may see builds anew.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from optimizer.choice.blocks import blocks_of_class
from optimizer.choice.dominance import SLACK_CENTS
from optimizer.choice.screening import Screening
from optimizer.choice.table import Table

if TYPE_CHECKING:
    from optimizer.choice.blocks import Arrays
    from optimizer.design import Bank
    from optimizer.inputs.catalog import Catalog

KEPT_MOST = 12
"""Tables that are kept, those first out that were not asked for longest."""

MORE_ROOM_X = 3.0
"""Blocks that are built a second time for want of dearer ones are built up to a price so many times higher."""


def remembered_blocks(arrays: Arrays, catalog: Catalog, bank: Bank, ceiling_v: float, most_a: float, most_cents: float) -> Table:
    """What `blocks_of_class` gives, but for blocks that cost more than `most_cents`."""
    memory: dict[object, tuple[float, Table, Screening]] = catalog.blocks
    key = (arrays.seen, bank.battery.id, bank.volts, bank.series, bank.strings, ceiling_v, most_a)
    known = memory.pop(key, None)
    if known is None or known[0] < most_cents:
        room = most_cents if known is None else most_cents * MORE_ROOM_X
        told, arrays.screening = arrays.screening, Screening(arrays.needs.severities)
        try:
            known = room, blocks_of_class(arrays, bank, ceiling_v, most_a, room), arrays.screening
        finally:
            arrays.screening = told
    memory[key] = known
    while len(memory) > KEPT_MOST:
        del memory[next(iter(memory))]
    room, table, screened = known
    arrays.screening.absorb(screened)
    return table.take(table.least_cost <= most_cents + SLACK_CENTS if len(table) and room > most_cents else np.arange(len(table)))
