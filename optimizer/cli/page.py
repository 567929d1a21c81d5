"""The page that every command shares: the app, its options, reading of files, errors as sentences."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer
from typer.core import TyperGroup

import optimizer
from optimizer.errors import BankstringError, InputError

if TYPE_CHECKING:
    from optimizer.inputs.catalog import Catalog
    from optimizer.inputs.problem import Problem

Read = TypeVar("Read")

NO_DESIGN, STOPPED = 4, 5


class Commands(TyperGroup):
    """Turns every error that a user can meet into its sentences and its exit code."""

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except BankstringError as bad:
            note(str(bad))
            raise typer.Exit(bad.exit_code) from None


app = typer.Typer(
    cls=Commands, name="bankstring", add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False,
    no_args_is_help=True, context_settings={"help_option_names": ["-h", "--help"]},
    help="Finds the cheapest set of off-grid power parts that breaks no rule of the trade, and proves it. "
    "Every answer is a preliminary design: local codes and licensed practice decide.",
    epilog="Example: bankstring solve year_round_home",
)


ProblemPath = Annotated[Path, typer.Argument(metavar="PROBLEM", help="Problem file (TOML), or the bare name of a shipped problem.")]
CatalogPath = Annotated[Path | None, typer.Option("--catalog", metavar="DIR", help="Catalog folder; without it the shipped one.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print the answer as JSON.")]


def note(text: str) -> None:
    """A message beside the result: to stderr."""
    typer.echo(text, err=True)


def show(text: str) -> None:
    """The result: to stdout."""
    typer.echo(text)


# --- reading


def problem_path(given: Path) -> Path:
    """The file that is meant: itself, with .toml added, or a shipped problem called by its bare name."""
    if given.is_file() or not given.name or given.suffix not in ("", ".toml"):
        return given
    named = given.with_suffix(".toml")
    if named.is_file():
        return named
    from optimizer.inputs.problem_file import shipped_problem

    shipped = shipped_problem(named.name)
    bare = given == Path(given.stem) or (named == Path("problems", named.name) and not Path("problems").is_dir())
    if shipped is not None and bare:
        note(f"{given}: taking the shipped problem")
        return shipped
    return given


def read(problem: Path, catalog: Path | None) -> tuple[Problem, Catalog, dict[str, Any]]:
    """Problem, catalog and their digests; every error of both at once."""
    problems, loaded, digests = read_all([problem], catalog)
    return problems[0], loaded, digests[0]


def read_all(paths: list[Path], catalog: Path | None) -> tuple[list[Problem], Catalog, list[dict[str, Any]]]:
    """Several problems and one catalog; every error of all of them at once."""
    from optimizer.handover.as_json import inputs_data
    from optimizer.inputs.catalog import load_catalog
    from optimizer.inputs.problem_file import load_problem_with_digest

    errors: list[str] = []
    loaded = tried(lambda: load_catalog(catalog), errors)
    problems, digests = [], []
    for path in paths:
        found = tried(lambda: load_problem_with_digest(problem_path(path)), errors)  # noqa: B023  (called at once)
        if found is not None:
            problems.append(found[0])
            digests.append(inputs_data(found[1], loaded.sha256 if loaded else None))
            from optimizer.inputs.agreement import unknown_parts
            errors += unknown_parts(found[0], loaded, str(path)) if loaded else []
            from optimizer.inputs.worn import with_worn_parts
            fitted = tried(partial(with_worn_parts, found[0], loaded), errors) if loaded else None
            if fitted is not None:
                problems[-1], loaded = fitted
    if errors or loaded is None:
        raise InputError(errors)
    return problems, loaded, digests


def tried(reading: Callable[[], Read], errors: list[str]) -> Read | None:
    """What a reading gives; None where it ends with errors, which are added to the list."""
    try:
        return reading()
    except InputError as bad:
        errors += bad.problems
        return None


@app.callback(invoke_without_command=True)
def bankstring(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        show(f"bankstring {optimizer.__version__}")
        raise typer.Exit(0)


def main() -> None:
    """Entry point."""
    # Many small matrices: a second thread only waits for the first, and takes a core from whatever runs beside it. Read when numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a name with letters that the terminal lacks is no reason to stop
    app(prog_name="bankstring")
