"""The shipped catalog with allowances in place of cables and devices: what a catalog without them is like."""

from __future__ import annotations

from dataclasses import replace

from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Allowance

ALLOWANCES = (
    ("AL-STRING-CABLE", "String cable of ordinary length", "array string", 5.0, 1.2),
    ("AL-STRING-FUSE", "Share of combiner box and string fuse", "array string", 3.0, 0.1),
    ("AL-CHARGE-CABLE", "Charge cable and breaker to the busbar", "controller ampere", 0.4, 0.02),
    ("AL-SOURCE-SWITCH", "Array disconnect and surge arrester", "controller ampere", 0.25, 0.01),
    ("AL-BATTERY-FUSE", "Fuse with holder at the string's positive pole", "battery string", 7.0, 0.3),
    ("AL-INVERTER-CABLE", "Battery cable, main fuse and share of the busbars", "inverter dc ampere", 0.35, 0.03),
)


def unwired(catalog: Catalog) -> Catalog:
    """A catalog without cables and devices; circuits are allowances."""
    kept = [one for one in catalog.allowances if one.id != "AL-LUGS"]
    kept += [Allowance(id=name, description=text, per=per, price=price, weight_kg=kg) for name, text, per, price, kg in ALLOWANCES]
    return replace(catalog, cables=(), protection=(), allowances=tuple(sorted(kept, key=lambda one: one.id)))
