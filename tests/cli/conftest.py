"""Runs of the command line in a folder of their own; the shipped sites, each solved once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import pytest
from typer.testing import CliRunner

from optimizer import answer, load_catalog, load_problem, solve
from optimizer.cli import app
from optimizer.inputs.catalog import shipped_folder

SITES = sorted(path.stem for path in shipped_folder("problems").glob("*.toml"))


@dataclass(frozen=True)
class Ran:
    """What a run left: exit code, stdout, stderr."""

    code: int
    out: str
    err: str


SOLVED = {}


def solved_once(problem, catalog, **how):
    """`solve`, for tests of what is told of an answer: the same problem of the same catalog is solved once for all of them."""
    key = (problem.model_dump_json(), catalog.sha256, repr(sorted(how.items())))
    if not catalog.sha256 or key not in SOLVED:
        SOLVED[key] = solve(problem, catalog, **how)
    return SOLVED[key]


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run the command line in an empty folder; an exception that is no exit would be a traceback for the user."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(answer, "solve", solved_once)

    def invoke(*arguments):
        result = CliRunner().invoke(app, [str(argument) for argument in arguments])
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return Ran(result.exit_code, result.stdout, result.stderr)

    return invoke


@pytest.fixture(scope="session")
def catalog():
    """The shipped catalog."""
    return load_catalog()


@pytest.fixture(scope="session")
def answer_of(catalog):
    """The answer to a shipped problem, solved once."""
    return cache(lambda name: solve(load_problem(shipped_folder("problems") / f"{name}.toml"), catalog))


@pytest.fixture(params=SITES)
def site(request):
    """Each shipped problem by its bare name."""
    return request.param
