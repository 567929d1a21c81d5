"""Yes/no rules on candidates, with a record of what each removed and what came nearest: the explanation of an answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from optimizer.choice.table import Table
from optimizer.rules.book import RULES, Severities, meets


@dataclass(frozen=True)
class ScreenRow:
    """What one rule did to the candidates."""

    rule: str
    removed: int
    left: int
    example: str


class Screening:
    """Holds tables of candidates against rules and keeps the count; rules that are not enforced remove nothing."""

    def __init__(self, severities: Severities) -> None:
        self._severities = severities
        self._removed: dict[str, int] = {}
        self._left: dict[str, int] = {}
        self._nearest: dict[str, tuple[float, str]] = {}
        self.emptied_by = ""
        """The rule after which a table was last left empty, in words."""

    @property
    def key(self) -> tuple[object, ...]:
        """What tells apart two that remove different candidates."""
        return self._severities.key

    def anew(self) -> Screening:
        """One that removes the same candidates and has not removed any."""
        return Screening(self._severities)

    def enforced(self, rule_id: str) -> bool:
        """Whether the rule removes candidates in this problem."""
        return self._severities.enforced(rule_id)

    def asked(self, rule_id: str, required: Any) -> Any:
        """A requirement with the margin of the search, if it has one."""
        return self._severities.asked(rule_id, required)

    def hold(self, table: Table, rule_id: str, actual: Any, required: Any, name: Callable[[int], str], *, where: Any = True, as_it_is: bool = False) -> Table:
        """Rows of `table` that meet a rule.

        actual, required: a number or one a row; a boolean `actual` with required True is a yes/no rule.
        where: rows that the rule concerns.
        name: what to call a row in the example.
        as_it_is: `required` holds the margin of the search already.
        """
        if not self.enforced(rule_id) or not len(table):
            return table
        rule = RULES[rule_id]
        actual = np.broadcast_to(np.asarray(actual), (len(table),))
        if actual.dtype == bool:
            passed = actual == required
        else:
            required = np.broadcast_to(np.asarray(required, dtype=float), (len(table),))
            required = required if as_it_is else self.asked(rule_id, required)
            with np.errstate(invalid="ignore"):
                passed = meets(actual, required, rule.sense)
        passed = passed | ~np.broadcast_to(np.asarray(where), (len(table),))
        removed = np.nonzero(~passed)[0]
        self._removed[rule_id] = self._removed.get(rule_id, 0) + len(removed)
        self._left[rule_id] = self._left.get(rule_id, 0) + int(passed.sum())
        if len(removed):
            miss, at = _nearest(actual[removed], required[removed] if actual.dtype != bool else None)
            at = int(removed[at])
            if rule_id not in self._nearest or miss < self._nearest[rule_id][0]:
                text = name(at)
                if actual.dtype != bool:
                    asked = f"must be {required[at]:.6g}" if rule.sense == "equals" else f"{rule.sense} {required[at]:.6g} is asked"
                    text += f": {actual[at]:.6g}{f' {rule.unit}' if rule.unit not in ('', 'count') else ''}, {asked}"
                self._nearest[rule_id] = (miss, text)
            if len(removed) == len(table):
                self.emptied_by = f"'{rule.title}' (nearest: {self._nearest[rule_id][1]})"
            return table.take(passed)
        return table

    def lost(self, rule_id: str, removed: int, left: int, example: str) -> None:
        """Record a rule that removed candidates elsewhere."""
        self._removed[rule_id] = self._removed.get(rule_id, 0) + removed
        self._left[rule_id] = self._left.get(rule_id, 0) + left
        self._nearest.setdefault(rule_id, (np.inf, example))
        if left == 0:
            self.emptied_by = f"'{RULES[rule_id].title}' ({example})"

    def absorb(self, other: Screening) -> None:
        """What another record tells, as if it had happened here."""
        for rule_id, removed in other._removed.items():
            self._removed[rule_id] = self._removed.get(rule_id, 0) + removed
            self._left[rule_id] = self._left.get(rule_id, 0) + other._left[rule_id]
        for rule_id, nearest in other._nearest.items():
            if rule_id not in self._nearest or nearest[0] < self._nearest[rule_id][0]:
                self._nearest[rule_id] = nearest
        self.emptied_by = other.emptied_by or self.emptied_by

    def rows(self) -> tuple[ScreenRow, ...]:
        """Rules that removed something, in the order of the rule book."""
        return tuple(
            ScreenRow(rule, self._removed[rule], self._left[rule], self._nearest.get(rule, (0, ""))[1])
            for rule in RULES if self._removed.get(rule)
        )


def _nearest(actual: np.ndarray, required: np.ndarray | None) -> tuple[float, int]:
    """Share of what is asked by which the row that comes nearest misses it, and which it is; the first where the rule is yes or no."""
    if required is None:
        return 1.0, 0
    with np.errstate(invalid="ignore"):
        miss = np.abs(actual - required) / np.maximum(np.abs(required), 1e-9)
    at = int(np.argmin(np.nan_to_num(miss, nan=1e9)))
    return float(miss[at]), at
