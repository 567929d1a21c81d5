"""What changed between two answers: lines of the bill, and rules that became binding."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optimizer.errors import InputError
from optimizer.inputs.text_tables import file_text

BINDING_SHARE = 0.05
"""Margin, as a share of the requirement, up to which a rule is called binding."""


@dataclass(frozen=True)
class LineChange:
    """One part number in both bills; quantities and prices in money, 0 where it is missing."""

    part: str
    description: str
    quantity_before: int
    quantity_after: int
    price_before: float
    price_after: float


@dataclass(frozen=True)
class Difference:
    """What an answer adds, removes and changes against another."""

    total_before: float
    total_after: float
    currency: str
    added: tuple[LineChange, ...]
    removed: tuple[LineChange, ...]
    changed: tuple[LineChange, ...]
    became_binding: tuple[str, ...]
    no_longer_binding: tuple[str, ...]


def diff(before: Mapping[str, Any], after: Mapping[str, Any]) -> Difference:
    """Compare two answers as `solve --json` writes them. Raises InputError for anything else, or for two currencies."""
    for name, answer in (("first", before), ("second", after)):
        if not _is_answer(answer):
            raise InputError(f"the {name} file is not an answer with a design: write one with `bankstring solve PROBLEM --json > FILE`")
    if before["cost"].get("currency") != after["cost"].get("currency"):
        raise InputError(f"the answers are in two currencies: {before['cost'].get('currency')} and {after['cost'].get('currency')}")
    first, second = ({line["part"]: line for line in answer["bill"]} for answer in (before, after))
    lines = [_change(part, first.get(part), second.get(part)) for part in sorted({*first, *second})]
    binding_before, binding_after = _binding(before), _binding(after)
    return Difference(
        before["cost"]["total"], after["cost"]["total"], str(before["cost"].get("currency")),
        added=tuple(line for line in lines if line.part not in first),
        removed=tuple(line for line in lines if line.part not in second),
        changed=tuple(
            line for line in lines
            if line.part in first and line.part in second
            and (line.quantity_before, line.price_before) != (line.quantity_after, line.price_after)
        ),
        became_binding=tuple(sorted(binding_after - binding_before)),
        no_longer_binding=tuple(sorted(binding_before - binding_after)),
    )


def _is_answer(answer: Any) -> bool:
    """Whether this is an answer of `solve`, or of `check`, that holds a bill."""
    if not isinstance(answer, Mapping) or not isinstance(answer.get("cost"), Mapping) or not isinstance(answer["cost"].get("total"), int | float):
        return False
    bill, checks = answer.get("bill"), answer.get("checks", [])
    return (
        isinstance(bill, list) and isinstance(checks, list)
        and all(isinstance(line, Mapping) and isinstance(line.get("part"), str) for line in bill)
        and all(isinstance(line.get("quantity"), int) and isinstance(line.get("price"), int | float) for line in bill)
        and all(isinstance(line, Mapping) and isinstance(line.get("rule"), str) for line in checks)
    )


def load_answer(path: str | Path) -> Mapping[str, Any]:
    """Read an answer that was written as JSON; raises InputError."""
    text = file_text(Path(path), str(path), f"no such file; `bankstring solve PROBLEM --json > {path}` writes one")
    try:
        data = json.loads(text)
    except json.JSONDecodeError as bad:
        raise InputError(f"{path}: is not JSON ({bad}): `bankstring solve PROBLEM --json > FILE` writes an answer to compare") from None
    if not _is_answer(data):
        raise InputError(f"{path}: is not an answer with a design: write one with `bankstring solve PROBLEM --json > FILE`")
    return dict(data)


def _change(part: str, before: Mapping[str, Any] | None, after: Mapping[str, Any] | None) -> LineChange:
    there = after or before or {}
    return LineChange(
        part, str(there.get("description", "")),
        before["quantity"] if before else 0, after["quantity"] if after else 0,
        before["price"] if before else 0.0, after["price"] if after else 0.0,
    )


def _binding(answer: Mapping[str, Any]) -> set[str]:
    """Rules that a design meets with little to spare."""
    rules = set()
    for line in answer.get("checks", ()):
        margin, required = line.get("margin"), line.get("required")
        if line.get("severity") == "soft" or not isinstance(margin, int | float) or not isinstance(required, int | float) or not required:
            continue
        if 0 <= margin <= BINDING_SHARE * abs(required):
            rules.add(str(line["rule"]))
    return rules
