"""Every rule says its formula, its symbols with units, its range, its source and an example, in one form."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

from optimizer import rules

NO_RULES = {"book", "validity"}
"""Modules of the rules' room that hold no rule of the trade: the list of rules, and the check of ranges."""

MODULES: tuple[ModuleType, ...] = tuple(
    importlib.import_module(f"optimizer.rules.{found.name}")
    for found in sorted(pkgutil.iter_modules(rules.__path__), key=lambda found: found.name)
    if found.name not in NO_RULES
)

UNITS = frozenset({
    "V", "A", "W", "VA", "ohm", "Ah", "Wh", "Wh/day", "W/m2", "C", "%", "%/K", "mV/K", "%/month",
    "h", "h/day", "d", "s", "months", "years", "m", "deg", "kWh/m2/day", "share", "count", "cells", "money", "cents", "text",
    "ohm/km", "ft", "l", "l/h", "l/kWh", "cmil", "cmil ohm/ft", "kg", "m2", "mm2", "kN/m2",
})
"""The closed list: a unit that is not here is a typing error or must be added here on purpose."""

FIELD = re.compile(r"^(\w+): (\S.*) \[([^\[\]]+)\]$")


def rule_functions() -> list[Callable[..., Any]]:
    return [
        function
        for module in MODULES
        for name, function in vars(module).items()
        if inspect.isfunction(function) and function.__module__ == module.__name__ and not name.startswith("_")
    ]


def named(function: Callable[..., Any]) -> str:
    return f"{function.__module__.rsplit('.', 1)[-1]}.{function.__name__}"


def sections(docstring: str) -> dict[str, str]:
    """Text of each part: summary, Formula, the fields as they stand, Valid, Source, example.

    Continuation lines belong to the part above them. Raises AssertionError where the form is broken.
    """
    lines = inspect.cleandoc(docstring).splitlines()
    summary, blank, *rest = lines
    assert summary.endswith("."), f"summary does not end with a full stop: {summary!r}"
    assert blank == "", "the summary is one line, then a blank one"
    parts: dict[str, str] = {"summary": summary}
    current, example = "", False
    for line in rest:
        example = example or line.startswith(">>>")
        head = re.match(r"^(Formula|Valid|Source|returns|[a-z_0-9]+): ", line)
        if example:
            parts["example"] = parts.get("example", "") + line + "\n"
        elif head and head.group(1) not in parts:
            current = head.group(1)
            parts[current] = line
        else:
            assert current, f"line before any part: {line!r}"
            parts[current] += " " + line
    return parts


def check(function: Callable[..., Any]) -> None:
    """Raise AssertionError, naming what is missing, unless the docstring has the whole form."""
    assert function.__doc__, "no docstring"
    parts = sections(function.__doc__)
    parameters = list(inspect.signature(function).parameters)
    expected = ["summary", "Formula", *parameters, "returns", "Valid", "Source", "example"]
    assert list(parts) == expected, f"parts are {list(parts)}, expected {expected}"
    for name in (*parameters, "returns"):
        field = FIELD.match(parts[name])
        assert field, f"not of the form 'name: text [unit]': {parts[name]!r}"
        assert field.group(3) in UNITS, f"unit {field.group(3)!r} of {name} is not in the list of units"
    for part in ("Formula", "Valid", "Source"):
        assert len(parts[part].split(": ", 1)[1].strip()) > 2, f"{part} is empty"
    assert function.__name__ in parts["example"], "the example does not call the rule"
    answers = [line for line in parts["example"].splitlines() if not line.startswith((">>>", "..."))]
    assert answers, "the example shows no result"


def test_rules_are_found() -> None:
    found = {named(function) for function in rule_functions()}
    assert {"array", "balance", "bank", "charging", "inverting", "money", "protection", "sunlight", "wiring"} <= {
        module.__name__.rsplit(".", 1)[-1] for module in MODULES
    }
    assert {"array.cold_voc_v", "bank.units_in_series", "money.cents", "sunlight.effective_sun_h"} <= found
    assert len(found) > 40


@pytest.mark.parametrize("function", rule_functions(), ids=named)
def test_docstring_has_the_whole_form(function: Callable[..., Any]) -> None:
    check(function)


@pytest.mark.parametrize("function", rule_functions(), ids=named)
def test_every_parameter_and_result_has_a_type(function: Callable[..., Any]) -> None:
    annotations = inspect.get_annotations(function)
    assert set(annotations) == {*inspect.signature(function).parameters, "return"}


# --- the check itself can fail


def good(length_m: float) -> float:
    """A length, doubled.

    Formula: y = 2 * x
    length_m: a length [m]
    returns: twice the length [m]
    Valid: any length
    Source: arithmetic
    >>> good(2)
    4
    """
    return 2 * length_m


def broken(change_from: str, change_to: str) -> Callable[[float], float]:
    def good(length_m: float) -> float:
        return 2 * length_m

    docstring = inspect.cleandoc(globals()["good"].__doc__ or "")
    assert change_from in docstring
    good.__doc__ = docstring.replace(change_from, change_to)
    return good


def test_check_passes_the_good_form() -> None:
    check(good)


@pytest.mark.parametrize(
    ("change_from", "change_to", "complaint"),
    [
        ("doubled.", "doubled", "full stop"),
        ("Formula: y = 2 * x\n", "", "parts are"),
        ("length_m: a length [m]\n", "", "parts are"),
        ("length_m: a length [m]", "width_m: a length [m]", "parts are"),
        ("a length [m]", "a length", "parts are|not of the form"),
        ("a length [m]", "a length [metre]", "not in the list"),
        ("twice the length [m]", "twice the length [cubits]", "not in the list"),
        ("Valid: any length\n", "", "parts are"),
        ("Source: arithmetic\n", "", "parts are"),
        ("Source: arithmetic", "Source: -", "Source is empty"),
        (">>> good(2)\n4", "", "parts are"),
        (">>> good(2)\n4", ">>> 2 + 2\n4", "does not call the rule"),
        (">>> good(2)\n4", ">>> good(2)", "no result"),
    ],
)
def test_check_fails_what_is_broken(change_from: str, change_to: str, complaint: str) -> None:
    with pytest.raises(AssertionError, match=complaint):
        check(broken(change_from, change_to))
