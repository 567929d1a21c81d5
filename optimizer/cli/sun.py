"""The command that looks at the sun of a site: sun."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from optimizer.cli.page import AsJson, ProblemPath, app, note, problem_path, show


@app.command(epilog="Example: bankstring sun weekend_cabin")
def sun(
    problem: ProblemPath,
    picture: Annotated[Path | None, typer.Option("--picture", metavar="FILE", help="Draw the sun by month: .svg or .png.")] = None,
    _catalog: Annotated[Path | None, typer.Option("--catalog", metavar="DIR", help="As in the other commands; sun knows no part and reads none.")] = None,
    as_json: AsJson = False,
) -> None:
    """Sun hours by month on the array's plane and by tilt, the best tilt, temperatures, and where each comes from.

    Figures that a sky without clouds could not give are called out.
    """
    from optimizer.handover.as_json import inputs_data, text_of
    from optimizer.handover.sun_json import sun_data
    from optimizer.handover.sun_text import sun_text
    from optimizer.inputs.problem_file import load_problem_with_digest
    from optimizer.questions.sun import sun as sun_of

    if picture is not None:
        from optimizer.handover.pictures import picture_file

        picture_file(picture)
    asked, digest = load_problem_with_digest(problem_path(problem))
    found = sun_of(asked)
    if picture is not None:
        from optimizer.handover.sun_picture import draw_sun

        draw_sun(picture, found)
        note(f"wrote {picture}")
    show(text_of(sun_data(found, inputs_data(digest, None))) if as_json else sun_text(found))
