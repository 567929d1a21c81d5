"""docs/rules.md says what the code says: it is compared with what would be generated now."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

import pytest
from test_docstrings import rule_functions

from optimizer.rules.book import RULES

GENERATOR = Path(__file__).parents[2] / "docs" / "generate_rules.py"


@pytest.fixture(scope="module")
def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("generate_rules", GENERATOR)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_page_is_up_to_date(generator: ModuleType) -> None:
    written = generator.PAGE.read_text(encoding="utf-8")
    assert written == generator.page(), "docs/rules.md is out of date: run python docs/generate_rules.py"


def test_page_names_every_rule_and_function(generator: ModuleType) -> None:
    page = generator.page()
    for rule in RULES.values():
        assert f"| `{rule.id}` |" in page
        assert rule.title.replace("|", "\\|") in page
        assert rule.source in page
    for function in rule_functions():
        assert f"### `{function.__name__}`" in page
        assert (function.__doc__ or "").splitlines()[0] in page


def test_section_carries_every_part_of_the_docstring(generator: ModuleType) -> None:
    section = "\n".join(generator.function_section("twice", (
        "A length, doubled.\n\n    Formula: y = 2 * x,\n    always\n    length_m: a | length [m]\n    returns: twice it [m]\n"
        "    Valid: any\n    Source: arithmetic\n    >>> twice(2)\n    4\n"
    )))
    for part in ("### `twice`", "A length, doubled.", "`y = 2 * x, always`", "| `length_m` | a \\| length | m |",
                 "| result | twice it | m |", "Valid: any", "Source: arithmetic", ">>> twice(2)\n4"):
        assert part in section, part
