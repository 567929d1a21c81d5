"""Plain text that fits 80 columns: figures, money, wrapped paragraphs, labelled lines."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterable
from typing import Any

WIDTH = 79
"""One less than the narrowest terminal, so that nothing wraps by itself."""


LARGE_NUMBER = re.compile(r"(?<![\w.,-])(\d(\.\d+)?e\+\d+|\d{4,}(\.\d+)?(?= (W|Wh|Wh/day|VA|A|asked|is asked)\b))")
"""A number of four digits or more in a sentence, but not in the name of a part."""


def figure(value: Any) -> str:
    """A value as a person writes it.

    >>> figure(29890.4), figure(0.83333), figure(12.0), figure(True), figure((12.0, 24.0))
    ('29,890', '0.8333', '12', 'yes', '12 or 24')
    """
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple | list):
        return " or ".join(figure(item) for item in value)
    if value is None:
        return "not known"
    if isinstance(value, int | float):
        return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"
    return str(value)


def short(value: float) -> str:
    """A value with three figures, a large one with all before the point.

    >>> short(25.53), short(6690.4)
    ('25.5', '6,690')
    """
    return f"{value:,.0f}" if abs(value) >= 999.5 else f"{value:.3g}"


def money(cents: float) -> str:
    """An amount with two decimals.

    >>> money(1115560)
    '11,155.60'
    """
    return f"{cents / 100:,.2f}"


def lowered(title: str) -> str:
    """A title as it stands inside a sentence.

    >>> lowered("Array watts stay"), lowered("DC loads stay")
    ('array watts stay', 'DC loads stay')
    """
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def readable(text: str) -> str:
    """A sentence from another room with its large numbers as a person writes them.

    >>> readable("IV-3000W: usable 2.053e+04 Wh, at least 7863 asked")
    'IV-3000W: usable 20,530 Wh, at least 7,863 asked'
    >>> readable("12410.7 Wh, at least 21499.4 is asked")
    '12,411 Wh, at least 21,499 is asked'
    """
    return LARGE_NUMBER.sub(lambda found: f"{float(found.group()):,.0f}", text)


def wrapped(text: str, first: str = "", rest: str | None = None) -> list[str]:
    """A paragraph; `first` stands before its first line, `rest` (default: as many blanks) before the others."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=" " * len(first) if rest is None else rest, break_on_hyphens=False,
    ) or [first.rstrip()]


def labelled(label: str, text: str, at: int = 13) -> list[str]:
    """A label with its text in a column of its own."""
    return wrapped(text, f"  {label}".ljust(at))


def bullets(texts: Iterable[str]) -> list[str]:
    """One dash a text."""
    return [line for text in texts for line in wrapped(text, "  - ")]


def section(title: str, lines: Iterable[str]) -> list[str]:
    """A heading with its lines; nothing where there are no lines."""
    body = list(lines)
    return ["", *wrapped(title), *body] if body else []


def joined(lines: Iterable[str]) -> str:
    """Lines as one text without blanks at line ends."""
    return "\n".join(line.rstrip() for line in lines)


def columns(left: str, right: str) -> list[str]:
    """Text on the left, wrapped, with figures on the right of its first line."""
    first, *more = wrapped(left, "", "         ") if len(left) + len(right) < WIDTH else _beside(left, right)
    return [first.ljust(WIDTH - len(right)) + right, *more]


def _beside(left: str, right: str) -> list[str]:
    room = WIDTH - len(right) - 2
    return textwrap.wrap(left, room, subsequent_indent=" " * 9, break_on_hyphens=False)
