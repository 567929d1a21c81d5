"""Blocks and cores that are remembered with a catalog are those that are built anew, whatever of the problem has changed since."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from cases import case

from optimizer.answer import solve
from optimizer.bill import PriceList
from optimizer.choice.cores import Cores, power_cores
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.inputs.catalog import Catalog, load_catalog
from optimizer.inputs.problem import Problem
from optimizer.inputs.problem_file import load_problem, shipped_problem
from optimizer.needs.requirements import requirements, with_section
from optimizer.needs.site import Needs
from optimizer.needs.sunlight import with_sun_percent


def _cents(problem: Problem, catalog: Catalog, **more: Any) -> int | None:
    report = solve(problem, catalog, explain=False, **more).report
    return None if report is None else report.bill.objective_cents


def _changed(problem: Problem, catalog: Catalog) -> list[Problem]:
    """The problem with one requirement after the other loosened, tightened and left out, and with other sun."""
    found = []
    for one in requirements(problem, circuits=bool(catalog.cables)):
        values = [*one.looser[:1], *one.tighter[:1], *([] if one.without is None else [one.without])]
        found += [one.with_value(value) for value in values]
    return [*found, with_sun_percent(problem, 130), with_sun_percent(problem, 80)]


@pytest.mark.parametrize("seed", [0, 3, 7, 12, 21, 30, 44, 58])
def test_what_is_remembered_changes_no_answer(seed: int) -> None:
    problem, catalog = case(seed)
    asked = [problem, *_changed(problem, catalog), problem]
    remembering = [_cents(one, catalog) for one in asked]
    assert catalog.blocks and catalog.frames, "nothing was remembered"
    assert remembering == [_cents(one, replace(catalog)) for one in asked]


def test_a_shipped_site_with_circuits_is_answered_alike() -> None:
    path = shipped_problem("weekend_cabin.toml")
    assert path is not None
    problem, catalog = load_problem(path), load_catalog()
    asked = [problem, *(with_section(problem, "autonomy", days=days) for days in (4.0, 1.0, 3.0)), with_section(problem, "array", gap_m=0.05), problem]
    remembering = [_cents(one, catalog) for one in asked]
    assert len(set(remembering)) >= 3
    assert remembering == [_cents(one, replace(catalog)) for one in asked]


def test_dearer_blocks_are_built_when_they_are_asked_for() -> None:
    """A search below a price leaves dearer blocks out; the next one without a bound has them all."""
    path = shipped_problem("weekend_cabin.toml")
    assert path is not None
    problem, catalog = load_problem(path), load_catalog()
    far = with_section(problem, "autonomy", days=5.0)
    known = _cents(problem, replace(catalog))
    assert _cents(problem, catalog, most_cents=known) == known
    assert _cents(far, catalog) == _cents(far, replace(catalog))


@pytest.mark.parametrize("site", ["year_round_home.toml", "ranger_station.toml", "winter_hut.toml"])
def test_frames_of_other_days_make_the_cores_and_the_record_that_would_be_built(site: str) -> None:
    path = shipped_problem(site)
    assert path is not None
    problem, catalog = load_problem(path), load_catalog()
    rows = []
    for days in (2.0, 0.5, 4.5, 30.0, 2.0):
        needs = Needs(with_section(problem, "autonomy", days=days))
        (one, told), (other, also_told) = (_cores(needs, of) for of in (catalog, replace(catalog)))
        assert len(catalog.frames) == 1
        assert one.missing == other.missing
        assert told.rows() == also_told.rows()
        assert told.emptied_by == also_told.emptied_by
        assert one.table.columns.keys() == other.table.columns.keys()
        for name, column in one.table.columns.items():
            np.testing.assert_array_equal(column, other.table.columns[name], err_msg=name)
        rows.append(len(one.table))
    assert len(set(rows)) >= 3


def _cores(needs: Needs, catalog: Catalog) -> tuple[Cores, Screening]:
    screening = Screening(needs.severities)
    return power_cores(needs, catalog, screening, Stock(needs.problem, catalog, PriceList(needs.problem, catalog))), screening
