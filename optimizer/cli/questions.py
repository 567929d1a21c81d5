"""Commands that ask about a design. A question answered is exit 0, "impossible" too; 5 where a limit stopped an answer."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from optimizer.cli.page import STOPPED, AsJson, CatalogPath, ProblemPath, app, note, read, show, tried
from optimizer.errors import InputError, WrongUse

if TYPE_CHECKING:
    from optimizer.questions.curve import Curve


class By(StrEnum):
    controller = "controller"
    voltage = "voltage"
    chemistry = "chemistry"
    inverter_kind = "inverter-kind"
    generator = "generator"
    alternator = "alternator"
    shore = "shore"
    module_format = "format"


@app.command(epilog="Example: bankstring versus weekend_cabin --by controller")
def versus(
    problem: ProblemPath,
    by: Annotated[By, typer.Option("--by", help="What to set side by side.")],
    flips: Annotated[bool, typer.Option("--flips", help="Where the winner changes: module price, temperature of the air, daily energy.")] = False,
    among: Annotated[str, typer.Option("--among", metavar="NAMES", help="Only these alternatives, with commas: pwm,mppt.")] = "",
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """The cheapest design under each alternative, side by side, and the price at which the winner changes.

    Ctrl-C during --flips ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.versus_json import versus_data
    from optimizer.handover.versus_text import versus_text
    from optimizer.questions.versus import versus as compared

    asked, parts, digests = read(problem, catalog)
    names = tuple(word.strip() for word in among.split(",") if word.strip())
    found = compared(asked, parts, by.value, note, flips=flips, among=names)
    answer = versus_data(found, digests)
    show(text_of(answer) if as_json else versus_text(found))
    raise typer.Exit(0 if answer["exact"] else STOPPED)


@app.command(epilog="Example: bankstring ranking weekend_cabin -n 2 --margin 5")
def ranking(
    problem: ProblemPath,
    count: Annotated[int, typer.Option("-n", metavar="N", min=1, help="Designs to list.")] = 5,
    by: Annotated[str, typer.Option("--by", metavar="KINDS", help="What tells kinds apart, with commas.")] = "voltage,chemistry,controller,inverter-kind",
    margin: Annotated[float | None, typer.Option("--margin", metavar="PCT", help="The cheapest design that leaves so many % of every limit as well.")] = None,
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """The cheapest designs that differ in kind, each proven next-best. Ctrl-C ends it with what is known so far."""
    from optimizer.handover.as_json import text_of
    from optimizer.handover.questions_json import ranking_data
    from optimizer.handover.questions_text import ranking_text
    from optimizer.questions.ranking import ranking as ranked

    asked, parts, digests = read(problem, catalog)
    found = ranked(asked, parts, count, tuple(word.strip() for word in by.split(",")), note, margin_pct=margin)
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
    over: Annotated[str, typer.Option("--over", metavar="AXIS", help="autonomy, load, sun, temperature, length (of the array's run) or price:PART.")],
    catalog: CatalogPath = None,
    as_json: AsJson = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="Print the steps as CSV.")] = False,
    each: Annotated[By | None, typer.Option("--each", metavar="WAY", help="A staircase for each controller, voltage, chemistry, inverter-kind, format, generator, alternator or shore.")] = None,
    picture: Annotated[Path | None, typer.Option("--picture", metavar="FILE", help="Draw it as well: a file .svg or .png, written over.")] = None,
) -> None:
    """The staircase of the price over one requirement, all loads, the sun, the battery's temperature or a part's price.

    Ctrl-C ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.pictures import draw_curves, picture_file
    from optimizer.handover.questions_json import curve_data, curves_data
    from optimizer.handover.questions_text import curve_csv, curve_text, curves_csv, curves_text
    from optimizer.questions.curve import curve as walked
    from optimizer.questions.curves import curves as all_walked

    if as_json and as_csv:
        raise WrongUse("--json and --csv: use one of them")
    if picture is not None:
        picture_file(picture)
    asked, parts, digests = read(problem, catalog)
    money, way = parts.currency, each.value if each else None
    if way is None:
        found = walked(asked, parts, over, note)
        several: tuple[tuple[str, Curve], ...] = (("", found),)
        show(text_of(curve_data(found, money, digests)) if as_json else curve_csv(found, money) if as_csv else curve_text(found, asked.name, money))
    else:
        several = all_walked(asked, parts, over, way, note)
        show(
            text_of(curves_data(several, money, way, digests)) if as_json
            else curves_csv(several, money) if as_csv else curves_text(several, asked.name, money, way)
        )
    if picture is not None:
        draw_curves(picture, asked.name, money, several, way)
        note(f"wrote {picture}")
    raise typer.Exit(0 if all(one.proven for _, one in several) else STOPPED)


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


@app.command(epilog="Example: bankstring relax weekend_cabin")
def relax(
    problem: ProblemPath,
    together: Annotated[int, typer.Option("--together", metavar="N", min=1, max=5, help="Requirements that are loosened together at most.")] = 5,
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """For an impossible problem: the smallest sets of requirements to loosen, what conflicts, and the catalog's gaps.

    Hard rules are never loosened. Ctrl-C ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.relax_json import relax_data
    from optimizer.handover.relax_text import relax_text
    from optimizer.questions.relax import relax as relaxed

    asked, parts, digests = read(problem, catalog)
    found = relaxed(asked, parts, note, together=together)
    show(text_of(relax_data(found, digests)) if as_json else relax_text(found))
    raise typer.Exit(0 if found.complete and found.exact else STOPPED)
