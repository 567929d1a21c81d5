"""The command line: arguments in, one call, exit code out. Heavy rooms are imported inside the commands."""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TypeVar

import typer
from typer.core import TyperGroup

import optimizer
from optimizer.errors import BankstringError, InputError, WrongUse

if TYPE_CHECKING:
    from optimizer.answer import Answer
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


class SolverName(StrEnum):
    highs = "highs"
    cbc = "cbc"


class By(StrEnum):
    controller = "controller"
    voltage = "voltage"
    chemistry = "chemistry"
    inverter_kind = "inverter-kind"
    module_format = "format"


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
    if given.is_file() or given.suffix not in ("", ".toml"):
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


# --- commands


@app.callback(invoke_without_command=True)
def bankstring(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        show(f"bankstring {optimizer.__version__}")
        raise typer.Exit(0)


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
) -> None:
    """The cheapest design that breaks no rule, proven.

    With several problems each is solved by itself, and one bill of materials for all of them follows.
    Exit code: 0 proven, 4 there is no design, 5 stopped before proof.
    """
    from optimizer.handover import as_json as data
    from optimizer.handover import terminal

    since = time.perf_counter()
    asked, parts, digests = read_all(problems, catalog)
    read_s = time.perf_counter() - since
    changes = {key: value for key, value in (("time_limit_s", time_limit), ("gap", gap)) if value is not None}
    answers = [solved(problem.model_copy(update={"solver": problem.solver.model_copy(update=changes)}), parts, solver.value, read_s) for problem in asked]
    told = list(zip(answers, digests, strict=True))
    if as_json:
        show(data.text_of(data.solve_data(*told[0]) if len(told) == 1 else data.combined_data(told, parts)))
    else:
        pages = [terminal.solve_text(answer) for answer in answers]
        pages += [terminal.combined_text(answers, parts)] if len(answers) > 1 else []
        show("\n\n\n".join(pages))
    codes = {answer.outcome.value for answer in answers}
    raise typer.Exit(NO_DESIGN if "infeasible" in codes else STOPPED if codes != {"optimal"} else 0)


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


# --- questions about a design: a question answered is exit 0, "impossible" too; 5 where a limit stopped an answer


@app.command(epilog="Example: bankstring versus weekend_cabin --by controller")
def versus(
    problem: ProblemPath,
    by: Annotated[By, typer.Option("--by", help="What to set side by side.")],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """The cheapest design under each alternative, side by side, and the price at which the winner changes."""
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import versus_data
    from optimizer.handover.questions_text import versus_text
    from optimizer.questions.versus import versus as compared

    asked, parts, digests = read(problem, catalog)
    found = compared(asked, parts, by.value, note)
    answer = versus_data(found, digests)
    show(text_of(answer) if as_json else versus_text(found))
    raise typer.Exit(0 if answer["exact"] else STOPPED)


@app.command(epilog="Example: bankstring ranking weekend_cabin -n 4 --by voltage,chemistry")
def ranking(
    problem: ProblemPath,
    count: Annotated[int, typer.Option("-n", min=1, help="Designs to list.")] = 5,
    by: Annotated[str, typer.Option("--by", help="What tells kinds apart, with commas.")] = "voltage,chemistry,controller,inverter-kind",
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """The cheapest designs that differ in kind, each proven next-best. Ctrl-C ends it with what is known so far."""
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import ranking_data
    from optimizer.handover.questions_text import ranking_text
    from optimizer.questions.ranking import ranking as ranked

    asked, parts, digests = read(problem, catalog)
    found = ranked(asked, parts, count, tuple(word.strip() for word in by.split(",")), note)
    show(text_of(ranking_data(found, digests)) if as_json else ranking_text(found))


@app.command(epilog="Example: bankstring cost-of weekend_cabin")
def cost_of(problem: ProblemPath, catalog: CatalogPath = None, as_json: AsJson = False) -> None:
    """What each requirement costs: the price with it one notch looser, one notch tighter, and without it.

    Ctrl-C ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import cost_of_data
    from optimizer.handover.questions_text import cost_of_text
    from optimizer.questions.cost_of import cost_of as priced

    asked, parts, digests = read(problem, catalog)
    found = priced(asked, parts, note)
    show(text_of(cost_of_data(found, digests)) if as_json else cost_of_text(found))
    raise typer.Exit(0 if found.exact else STOPPED)


@app.command(epilog="Example: bankstring curve weekend_cabin --over autonomy")
def curve(
    problem: ProblemPath,
    over: Annotated[str, typer.Option("--over", metavar="AXIS", help="autonomy, load, sun, temperature or price:PART.")],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print the steps as CSV.")] = False,
) -> None:
    """The staircase of the price over one requirement, all loads, the sun, the battery's temperature or a part's price.

    Ctrl-C ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import curve_data
    from optimizer.handover.questions_text import curve_csv, curve_text
    from optimizer.questions.curve import curve as walked

    if as_json and as_csv:
        raise WrongUse("--json and --csv: use one of them")
    asked, parts, digests = read(problem, catalog)
    found = walked(asked, parts, over, note)
    if as_json:
        show(text_of(curve_data(found, parts.currency, digests)))
    else:
        show(curve_csv(found, parts.currency) if as_csv else curve_text(found, asked.name, parts.currency))
    raise typer.Exit(0 if found.proven else STOPPED)


@app.command(epilog="Example: bankstring why-not weekend_cabin PV-100-36")
def why_not(
    problem: ProblemPath,
    part: Annotated[str, typer.Argument(metavar="PART", help="Part of the catalog, by its id.")],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """Why a part is not in the cheapest design, and the price that would bring it in."""
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import why_not_data
    from optimizer.handover.questions_text import why_not_text
    from optimizer.questions.why_not import why_not as judged

    asked, parts, digests = read(problem, catalog)
    found = judged(asked, parts, part, note)
    answer = why_not_data(found, digests)
    show(text_of(answer) if as_json else why_not_text(found))
    raise typer.Exit(0 if answer["exact"] else STOPPED)


@app.command(epilog="Example: bankstring diff before.json after.json")
def diff(
    before: Annotated[Path, typer.Argument(metavar="BEFORE", help="An answer, as `solve --json` writes it.")],
    after: Annotated[Path, typer.Argument(metavar="AFTER", help="Another one.")],
    _catalog: Annotated[Path | None, typer.Option("--catalog", metavar="DIR", help="As in the other commands; diff reads answers only.")] = None,
    as_json: AsJson = False,
) -> None:
    """What changed between two answers: lines of the bill, and rules that bind now or no longer."""
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import diff_data
    from optimizer.handover.questions_text import diff_text
    from optimizer.questions.diff import diff as changes
    from optimizer.questions.diff import load_answer

    errors: list[str] = []
    first, second = (tried(lambda: load_answer(path), errors) for path in (before, after))  # noqa: B023  (called at once)
    if first is None or second is None:
        raise InputError(errors)
    found = changes(first, second)
    show(text_of(diff_data(found)) if as_json else diff_text(found))


def main() -> None:
    """Entry point."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a name with letters that the terminal lacks is no reason to stop
    app(prog_name="bankstring")
