"""The command that looks years ahead: grow."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli.page import NO_DESIGN, STOPPED, AsJson, CatalogPath, ProblemPath, app, note, read, show


@app.command(epilog="Example: bankstring grow market_stall")
def grow(
    problem: ProblemPath,
    minutes: Annotated[float, typer.Option("--minutes", metavar="MINUTES", min=0.05, max=600, help="Time for the whole question; plans that it is not enough for carry their gap, and what is not begun when it is over is left out.")] = 15.0,
    picture: Annotated[Path | None, typer.Option("--picture", metavar="FILE", help="Draw timeline and cost over the probability of growth: .svg or .png.")] = None,
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """What to buy now and what later: the best plan over the problem's futures, regrets, doors and where the answer flips.

    Ctrl-C ends it with what is known so far.
    """
    from optimizer.handover.as_json import text_of
    from optimizer.handover.grow_json import grow_data
    from optimizer.handover.grow_text import grow_text
    from optimizer.questions.grow import grow as grown_over

    if picture is not None:
        from optimizer.handover.pictures import picture_file

        picture_file(picture)
    asked, parts, digests = read(problem, catalog)
    found = grown_over(asked, parts, note, minutes=minutes)
    if picture is not None and found.best is not None:
        from optimizer.handover.growth_pictures import draw_growth

        draw_growth(picture, found)
        note(f"wrote {picture}")
    show(text_of(grow_data(found, digests)) if as_json else grow_text(found))
    raise typer.Exit(NO_DESIGN if found.best is None and found.complete else 0 if found.proven else STOPPED)
