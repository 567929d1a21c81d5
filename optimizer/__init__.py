"""Finds the cheapest set of off-grid power parts that breaks no rule of the trade, and proves it.

>>> from optimizer import load_catalog, load_problem, solve, check
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from optimizer.answer import check, solve
    from optimizer.inputs.catalog import load_catalog
    from optimizer.inputs.problem_file import load_problem

__version__ = "0.1.0"
__all__ = ["check", "load_catalog", "load_problem", "solve"]

# Loaded on first use: `import optimizer` and the small commands stay quick.
_HOMES = {
    "check": "optimizer.answer",
    "solve": "optimizer.answer",
    "load_catalog": "optimizer.inputs.catalog",
    "load_problem": "optimizer.inputs.problem_file",
}


def __getattr__(name: str) -> Any:
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module 'optimizer' has no attribute {name!r}")
