"""Every rule is called by name, as `module.rule(...)`, in a test that holds it against a known value.

What counts as known: the files below say beside each value whether it is published, worked by hand or common
practice. Properties and range checks alone do not count.
"""

from __future__ import annotations

import ast
from pathlib import Path

from test_docstrings import named, rule_functions

HERE = Path(__file__).parent
WITH_KNOWN_VALUES = ("test_published.py", "test_battery_published.py", "test_worked_examples.py", "test_wiring_published.py", "test_sunlight_published.py")
MARKS = ("published", "hand", "common practice", "from memory")


def calls_in(tree: ast.AST) -> set[str]:
    """Calls of the form `module.function(...)`."""
    return {
        f"{node.func.value.id}.{node.func.attr}"
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and isinstance(node.func.value, ast.Name)
    }


def test_every_rule_is_called_with_a_known_value() -> None:
    called: set[str] = set()
    for name in WITH_KNOWN_VALUES:
        called |= calls_in(ast.parse((HERE / name).read_text(encoding="utf-8")))
    missing = sorted({named(function) for function in rule_functions()} - called)
    assert missing == [], f"rules without a published or hand-worked value in {WITH_KNOWN_VALUES}: {missing}"


def test_every_test_with_known_values_asserts_and_says_where_they_come_from() -> None:
    unmarked, empty = [], []
    for name in WITH_KNOWN_VALUES:
        text = (HERE / name).read_text(encoding="utf-8")
        for node in ast.parse(text).body:
            if not (isinstance(node, ast.FunctionDef) and node.name.startswith("test_")):
                continue
            source = (ast.get_source_segment(text, node) or "").lower()
            if not any(isinstance(part, ast.Assert) for part in ast.walk(node)):
                empty.append(node.name)
            if node.name != "test_every_published_table_is_read_by_a_test" and not any(
                f"# {mark}" in source or f" {mark}: " in source or f" {mark}, " in source for mark in MARKS
            ):
                unmarked.append(node.name)
    assert empty == []
    assert unmarked == []


def test_a_call_is_told_from_a_mention() -> None:
    tree = ast.parse("bank.discharge_hours(1, 1)\nx = array.cell_c\ny = 'money.cents(1)'\ncents(2)\n")
    assert calls_in(tree) == {"bank.discharge_hours"}
