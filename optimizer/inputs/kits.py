"""Kits: parts that are sold together at one price, a row of kits.csv each."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from optimizer.inputs.parts import Allowance, Part
from optimizer.inputs.text_tables import nearest, read_records, shown
from optimizer.rules.money import cents

ITEM = re.compile(r"^(?P<part>\S+)(?:\s+x\s*(?P<count>\S+))?$")
"""One kind of part in a kit: an id, and how many where it is more than one."""


def _contents(value: Any) -> Any:
    """Pairs of part id and count from a cell as 'PV-100 x 2; CP-A10'."""
    if not isinstance(value, str):
        return value
    counts: dict[str, int] = {}
    for item in value.split(";"):
        if not item.strip():
            continue
        found = ITEM.match(item.strip())
        if found is None:
            raise ValueError(f"'{item.strip()}' is not a part of a kit: write PART x COUNT, as 'PV-100 x 2; CP-A10 x 1'")
        part, count = found["part"], found["count"] or "1"
        if not count.isdecimal() or int(count) < 1:
            raise ValueError(f"the count of '{part}' must be a whole number of 1 or more")
        if part in counts:
            raise ValueError(f"'{part}' stands twice")
        counts[part] = int(count)
    if not counts:
        raise ValueError("a kit needs parts: write PART x COUNT, as 'PV-100 x 2; CP-A10 x 1'")
    return tuple(counts.items())


Contents = Annotated[tuple[tuple[str, Annotated[int, Field(ge=1, le=10_000)]], ...], BeforeValidator(_contents), Field(min_length=1)]


class Kit(BaseModel):
    """Parts sold together: `parts` are pairs of part id and count; the weight is that of the parts."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    id: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9._+/-]*$")]
    description: str = ""
    price: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
    parts: Contents
    stock: Annotated[int, Field(ge=0, le=1_000_000)] | None = None

    @property
    def price_cents(self) -> int:
        """Price of one kit in whole cents."""
        return cents(self.price)

    @property
    def contents(self) -> Mapping[str, int]:
        """Pieces of each part in one kit."""
        return dict(self.parts)


def load_kits(path: Path, parts: Mapping[str, Part], seen: dict[str, str], problems: list[str], doubts: list[str]) -> tuple[Kit, ...]:
    """Kits of a catalog in the order of their ids; none where there is no file.

    parts: every part by its id
    seen: where each id of the catalog stands; ids of kits join them
    Where rows of parts were wrong already, nothing is said of parts that are missing: they may be among those.
    """
    if not path.exists():
        return ()
    all_read = not problems
    kits = []
    for line, kit in read_records(path, Kit, problems):
        where = f"{shown(path)}:{line}"
        if kit.id in seen:
            problems.append(f"{where}: id: '{kit.id}' stands already at {seen[kit.id]}")
        seen.setdefault(kit.id, where)
        problems.extend(f"{where}: parts: {message}" for message in _misfits(kit, parts, all_read=all_read))
        if all(part in parts for part in kit.contents):
            apart = sum(parts[part].price_cents * count for part, count in kit.parts)
            if apart <= kit.price_cents:
                doubts.append(f"{where}: price: is no less than that of its parts one by one, {apart / 100:,.2f} (got '{kit.price:g}')")
        kits.append(kit)
    return tuple(sorted(kits, key=lambda kit: kit.id))


def _misfits(kit: Kit, parts: Mapping[str, Part], *, all_read: bool) -> Iterator[str]:
    """What a kit holds that the catalog cannot sell in one."""
    for part in kit.contents:
        if part not in parts:
            if all_read:
                yield f"part '{part}' is not in the catalog{nearest(part, list(parts))}"
        elif isinstance(parts[part], Allowance):
            yield f"'{part}' is an allowance: it is priced with what it belongs to and comes in no kit"
