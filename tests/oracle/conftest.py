"""Enumerations that the tests of this folder share."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
from walks import Enumerated, state, walked


@pytest.fixture(scope="session")
def enumerated(pytestconfig: pytest.Config, tmp_path_factory: pytest.TempPathFactory) -> Callable[[int], Enumerated]:
    """The enumeration of a seed: from this run, another worker's, or an earlier one over the same sources."""
    cache = getattr(pytestconfig, "cache", None)
    return partial(walked, folder=Path(cache.mkdir(f"oracle-{state()}")) if cache is not None else tmp_path_factory.mktemp("oracle"))
