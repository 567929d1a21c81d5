"""One line of a check: what a rule requires, what the design has, and by how much it passes or fails."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from optimizer.errors import OutOfRange
from optimizer.rules.book import RULES, Severities, Severity, meets, with_margin


@dataclass(frozen=True)
class Line:
    """Result of one rule on one part of a design; `passed` is None where it cannot be known."""

    rule: str
    title: str
    required: Any
    actual: Any
    unit: str
    margin: float | None
    severity: Severity
    passed: bool | None
    source: str
    where: str = ""

    @property
    def sense(self) -> str:
        """'at most', 'at least' or 'equals'."""
        return RULES[self.rule].sense

    @property
    def fails(self) -> bool:
        """Whether this line makes the design not valid."""
        if self.severity in ("soft", "off"):
            return False
        return self.passed is False or (self.passed is None and self.severity == "hard")

    @property
    def margin_share(self) -> float | None:
        """Margin as a share of the requirement."""
        if self.margin is None or not isinstance(self.required, int | float) or self.required == 0:
            return None
        return self.margin / abs(self.required)

    def keeps_margin(self, share: float) -> bool:
        """Whether it stays so far from its limit, or need not: not enforced, or a limit that takes no margin."""
        if self.severity in ("soft", "off") or self.margin_share is None or not RULES[self.rule].takes_margin:
            return True
        return bool(meets(self.actual, with_margin(self.required, RULES[self.rule].sense, share), RULES[self.rule].sense))


class Lines:
    """Collects the lines of one scope; rules that the problem switches off leave no line."""

    def __init__(self, severities: Severities, where: str) -> None:
        self._severities = severities
        self._where = where
        self.lines: list[Line] = []

    def at(self, place: str) -> str:
        """A place within the scope, in words."""
        return f"{self._where}: {place}"

    def add(self, rule_id: str, actual: Any, required: Any, where: str = "") -> None:
        """Hold `actual` against `required`: numbers by the rule's sense, anything else by equality or membership."""
        severity = self._severities.of(rule_id)
        if severity == "off":
            return
        rule = RULES[rule_id]
        margin: float | None = None
        passed: bool | None
        if actual is None:
            passed = None
        elif isinstance(actual, str | bool) or isinstance(required, tuple):
            passed = actual in required if isinstance(required, tuple) else actual == required
        else:
            actual, required = float(actual), float(required)
            passed = bool(meets(actual, required, rule.sense))
            margin = {"at most": required - actual, "at least": actual - required}.get(rule.sense, -abs(actual - required))
        self.lines.append(
            Line(rule_id, rule.title, required, actual, rule.unit, margin, severity, passed, rule.source, where or self._where)
        )

    def add_or_unknown(self, rule_id: str, required: Any, where: str, value: Any) -> None:
        """As `add`, with a value that is computed here; a rule outside its validity leaves the line unknown."""
        try:
            actual = value()
        except OutOfRange:
            actual = None
        self.add(rule_id, actual, required, where)

    def __iter__(self) -> Iterator[Line]:
        return iter(self.lines)
