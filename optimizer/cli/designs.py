"""Commands that make and judge designs, and what they need: solve, check, lint, demand, new."""

from __future__ import annotations

import time
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from optimizer.cli.page import (
    NO_DESIGN,
    STOPPED,
    AsJson,
    CatalogPath,
    ProblemPath,
    app,
    note,
    problem_path,
    read,
    read_all,
    show,
    tried,
)
from optimizer.errors import InputError, WrongUse

if TYPE_CHECKING:
    from optimizer.answer import Answer
    from optimizer.inputs.catalog import Catalog
    from optimizer.inputs.problem import Problem


class SolverName(StrEnum):
    highs = "highs"
    cbc = "cbc"


@app.command(epilog="Example: bankstring solve year_round_home --json")
def solve(
    problems: Annotated[list[Path], typer.Argument(
        metavar="PROBLEM", help="Problem files (TOML), or bare names of shipped problems; each is solved by itself.",
    )],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
    time_limit: Annotated[float | None, typer.Option("--time-limit", metavar="SECONDS", min=0.001, help="Stop after this long.")] = None,
    gap: Annotated[float | None, typer.Option("--gap", metavar="SHARE", min=0, max=0.999, help="Stop when this near to proof (0.01: 1 %).")] = None,
    solver: Annotated[SolverName, typer.Option("--solver", help="The solver behind the search.")] = SolverName.highs,
    near: Annotated[Path | None, typer.Option("--near", metavar="CHOICE", help="A choice or an answer that was ordered: change the fewest lines of it.")] = None,
) -> None:
    """The cheapest design that breaks no rule, proven.

    With several problems each is solved by itself, and one bill of materials for all of them follows. With --near the
    design changes the fewest lines of an order, and of several such it is the cheapest.
    Exit code: 0 proven, 4 there is no design, 5 stopped before proof.
    """
    from optimizer.handover import as_json as data
    from optimizer.handover import terminal

    if near is not None and len(problems) > 1:
        raise WrongUse("--near compares with one order: give one problem")
    since = time.perf_counter()
    asked, parts, digests = read_all(problems, catalog)
    read_s = time.perf_counter() - since
    changes = {key: value for key, value in (("time_limit_s", time_limit), ("gap", gap)) if value is not None}
    asked = [problem.model_copy(update={"solver": problem.solver.model_copy(update=changes)}) for problem in asked]
    if near is not None:
        raise typer.Exit(_solved_near(asked[0], parts, near, solver.value, digests[0], as_json=as_json))
    answers = [solved(problem, parts, solver.value, read_s) for problem in asked]
    told = list(zip(answers, digests, strict=True))
    if as_json:
        show(data.text_of(data.solve_data(*told[0]) if len(told) == 1 else data.combined_data(told, parts)))
    else:
        pages = [terminal.solve_text(answer) for answer in answers]
        pages += [terminal.combined_text(answers, parts)] if len(answers) > 1 else []
        show("\n\n\n".join(pages))
    codes = {answer.outcome.value for answer in answers}
    raise typer.Exit(NO_DESIGN if "infeasible" in codes else STOPPED if codes != {"optimal"} else 0)


def _solved_near(problem: Problem, catalog: Catalog, order: Path, solver: str, digests: dict[str, Any], *, as_json: bool) -> int:
    """Show the design that changes the fewest lines of an order; returns the exit code."""
    from optimizer.design import load_choice
    from optimizer.handover.as_json import text_of
    from optimizer.handover.near_json import near_data
    from optimizer.handover.near_text import near_text
    from optimizer.questions.near import near as nearest_to

    chosen = load_choice(order)
    try:
        found = nearest_to(problem, catalog, chosen, note, solver)
    except InputError as bad:
        raise InputError([f"{order}: {text}" for text in bad.problems]) from None
    show(text_of(near_data(found, digests)) if as_json else near_text(found))
    return {"infeasible": NO_DESIGN, "optimal": 0}.get(found.answer.outcome.value, STOPPED)


def solved(problem: Problem, catalog: Catalog, solver: str, read_s: float) -> Answer:
    """One answer, with the reading in its times."""
    from dataclasses import replace

    from optimizer.answer import solve as answer_to

    answer = answer_to(problem, catalog, solver=solver)
    times = {**answer.timing_s, "read": read_s, "total": answer.timing_s["total"] + read_s}
    note(f"{problem.name}: {answer.outcome.value} after {times['total']:.1f} s")
    return replace(answer, timing_s=times)


@app.command(epilog="Example: bankstring check weekend_cabin my_choice.toml")
def check(
    problem: ProblemPath,
    choice: Annotated[Path, typer.Argument(metavar="CHOICE", help="A choice, or a whole answer of solve, as TOML or JSON.")],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """Every rule on a design that somebody wrote by hand.

    Exit code: 0 no rule that the tool knows is broken, 4 some rule is.
    """
    from optimizer.answer import check as report_on
    from optimizer.design import load_choice
    from optimizer.handover import as_json as data
    from optimizer.handover import terminal

    asked, parts, digests = read(problem, catalog)
    chosen = load_choice(choice)
    try:
        report = report_on(chosen, asked, parts)
    except InputError as bad:
        raise InputError([f"{choice}: {text}" for text in bad.problems]) from None
    if as_json:
        show(data.text_of(data.check_data(report, chosen, asked, parts.currency, digests)))
    else:
        show(terminal.check_text(report, asked, parts))
    raise typer.Exit(0 if report.valid else NO_DESIGN)


@app.command(epilog="Example: bankstring lint year_round_home")
def lint(
    problem: Annotated[Path | None, typer.Argument(metavar="PROBLEM", help="Problem file to look at too.")] = None,
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """Is the catalog sound, and the problem? Every error of every row, and what looks like a slip.

    Exit code: 0 no errors, 3 errors.
    """
    from optimizer.handover.as_json import inputs_data, lint_data, text_of
    from optimizer.handover.listing import lint_text
    from optimizer.inputs.catalog import load_catalog
    from optimizer.inputs.problem_file import load_problem_with_digest

    errors: list[str] = []
    doubts: list[str] = []
    loaded = tried(lambda: load_catalog(catalog), errors)
    doubts += loaded.doubts if loaded else []
    digest = None
    if problem is not None:
        found = tried(lambda: load_problem_with_digest(problem_path(problem)), errors)
        if found is not None:
            asked, digest = found
            doubts += [f"{problem}: {text}" for text in asked.doubts()]
            from optimizer.needs.clear_sky import doubts as sun_doubts
            from optimizer.needs.sunlight import by_plane, sun_on_plane
            doubts += [f"{problem}: {text}" for text in sun_doubts(asked)]
            tried(lambda: [sun_on_plane(one) for one in by_plane(asked)], errors)
            from optimizer.inputs.agreement import unknown_parts
            errors += unknown_parts(asked, loaded, str(problem)) if loaded else []
    answer = lint_data(loaded, errors, doubts, inputs_data(digest, loaded.sha256 if loaded else None))
    show(text_of(answer) if as_json else lint_text(answer))
    raise typer.Exit(InputError.exit_code if errors else 0)


@app.command(epilog="Example: bankstring demand weekend_cabin")
def demand(
    problem: ProblemPath,
    _catalog: Annotated[Path | None, typer.Option("--catalog", metavar="DIR", help="As in the other commands; demand knows no part and reads none.")] = None,
    as_json: AsJson = False,
) -> None:
    """What the loads ask for: energy by month, AC and DC, power at the same time, the worst start."""
    from optimizer.handover.as_json import demand_data, inputs_data, text_of
    from optimizer.handover.listing import demand_text
    from optimizer.inputs.problem_file import load_problem_with_digest

    asked, digest = load_problem_with_digest(problem_path(problem))
    found = demand_data(asked, inputs_data(digest, None))
    show(text_of(found) if as_json else demand_text(found))


@app.command(epilog="Example: bankstring new my_cabin.toml --choice my_choice.toml")
def new(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="Problem file to write, with a CSV file of loads beside it.")] = None,
    catalog: Annotated[Path | None, typer.Option("--catalog", metavar="DIR", help="Copy the shipped catalog to this new folder.")] = None,
    choice: Annotated[Path | None, typer.Option("--choice", metavar="FILE", help="Write a choice to fill in, for check.")] = None,
    as_json: AsJson = False,
) -> None:
    """Files to start from: a commented problem that can be solved as it stands, a catalog, a choice.

    Nothing is overwritten.
    """
    from optimizer.handover import starter
    from optimizer.handover.as_json import text_of

    if file is None and catalog is None and choice is None:
        raise WrongUse("say what to write: a problem FILE, --catalog DIR or --choice FILE")
    written: list[Path] = []
    written += starter.new_problem(file) if file is not None else []
    written += starter.new_catalog(catalog) if catalog is not None else []
    written += starter.new_choice(choice) if choice is not None else []
    show(text_of({"written": [str(path) for path in written]}) if as_json else "\n".join(f"wrote {path}" for path in written))
