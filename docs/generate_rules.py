# ruff: noqa: INP001  (docs is a folder of pages, no package)
"""Write docs/rules.md from the rule book and the docstrings of the rules: `python docs/generate_rules.py`.

Nothing on the page is written by hand; tests/rules/test_rules_page.py compares the page with what this gives.
"""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
import sys
from pathlib import Path
from types import ModuleType

from optimizer import rules
from optimizer.rules.book import RULES

PAGE = Path(__file__).with_name("rules.md")

NO_RULES = {"book", "validity"}
"""Modules of the rules' room that hold no rule of the trade."""

FIELD = re.compile(r"^(\w+): (.*) \[([^\[\]]+)\]$")

OPENING = """# The rules

This page is written by `python docs/generate_rules.py` from `optimizer/rules/book.py` and from the docstrings
of the rules; change those, not this page.

A design is held against every rule of the first table. Its severity says who may loosen it: *hard* nobody,
*requirement* the customer, *soft* reported and not enforced unless the problem file raises it. The figures are
computed by the functions that follow, each with its formula, units, range of validity and source. A rule
asked outside its range raises an error; it does not clamp in silence.
"""


def rule_modules() -> list[ModuleType]:
    """Modules that hold rules, by name."""
    names = sorted(found.name for found in pkgutil.iter_modules(rules.__path__) if found.name not in NO_RULES)
    return [importlib.import_module(f"optimizer.rules.{name}") for name in names]


def cell(text: str) -> str:
    """Text for a table cell."""
    return text.replace("|", "\\|")


def book_table() -> list[str]:
    """The rule book as a table."""
    lines = [
        "## Rules that a design is held against", "",
        "| rule | row | what it asks | severity | actual is | unit | source |", "|---|---|---|---|---|---|---|",
    ]
    lines += [
        f"| `{rule.id}` | {cell(rule.row)} | {cell(rule.title)} | {rule.severity} | {rule.sense} | {cell(rule.unit)} | {cell(rule.source)} |"
        for rule in RULES.values()
    ]
    return [*lines, ""]


def function_section(name: str, docstring: str) -> list[str]:
    """One rule: summary, formula, symbols, validity, source, example."""
    lines = inspect.cleandoc(docstring).splitlines()
    example_from = next(number for number, line in enumerate(lines) if line.startswith(">>>"))
    parts: list[list[str]] = []
    for line in lines[2:example_from]:
        if re.match(r"^(Formula|Valid|Source|\w+): ", line) and line.split(": ", 1)[0] not in [part[0] for part in parts]:
            parts.append(line.split(": ", 1))
        else:
            parts[-1][1] += " " + line
    text = dict(parts)
    symbols = [
        (field.group(1), field.group(2), field.group(3))
        for part, words in parts if (field := FIELD.match(f"{part}: {words}")) and part not in {"Formula", "Valid", "Source"}
    ]
    return [
        f"### `{name}`", "", lines[0], "", f"Formula: `{text['Formula']}`", "",
        "| symbol | meaning | unit |", "|---|---|---|",
        *(f"| {'result' if symbol == 'returns' else f'`{symbol}`'} | {cell(meaning)} | {unit} |" for symbol, meaning, unit in symbols),
        "", f"Valid: {text['Valid']}", "", f"Source: {text['Source']}", "",
        "```python", *lines[example_from:], "```", "",
    ]


def page() -> str:
    """The whole page."""
    lines = [OPENING, *book_table()]
    for module in rule_modules():
        lines += [f"## {(module.__doc__ or '').splitlines()[0]}", ""]
        for name, function in vars(module).items():
            if inspect.isfunction(function) and function.__module__ == module.__name__ and not name.startswith("_"):
                lines += function_section(name, function.__doc__ or "")
    return "\n".join(lines).rstrip() + "\n"


def main() -> int:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")
    sys.stderr.write(f"wrote {PAGE}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
