"""The command that lives a design through years of weather: replay."""

from __future__ import annotations

from pathlib import Path
from threading import Timer
from typing import Annotated

import typer

from optimizer.cli.page import STOPPED, AsJson, CatalogPath, ProblemPath, app, note, read, show
from optimizer.errors import InputError

PATIENCE_S = 2.0
"""Time after which a person wants to hear what is going on."""


@app.command(epilog="Example: bankstring replay weekend_cabin --years 200")
def replay(
    problem: ProblemPath,
    choice: Annotated[Path | None, typer.Argument(metavar="CHOICE", help="A choice, or a whole answer of solve; without it the cheapest design.")] = None,
    years: Annotated[int, typer.Option("--years", metavar="N", min=1, max=100_000, help="Synthetic years to live through.")] = 1000,
    seed: Annotated[int, typer.Option("--seed", metavar="N", min=0, help="Seed of their weather: the same seed, the same years.")] = 1,
    new: Annotated[bool, typer.Option("--new", help="The bank as bought; otherwise as it is at the end of its life.")] = False,
    catalog: CatalogPath = None,
    as_json: AsJson = False,
) -> None:
    """A design lived through hour by hour: unmet energy, state of charge, full charges, battery life, surplus, generator hours.

    Years of weather are made up around the problem's monthly sun hours. Exit code: 0 answered, "there is no design" too;
    5 no design was found before a limit.
    """
    from optimizer.design import load_choice
    from optimizer.handover.as_json import text_of
    from optimizer.handover.replay_json import replay_data
    from optimizer.handover.replay_text import replay_text
    from optimizer.questions.replay import replay as lived

    asked, parts, digests = read(problem, catalog)
    chosen = load_choice(choice) if choice is not None else None
    told: list[str] = []
    patience = Timer(PATIENCE_S, lambda: note(told[-1]) if told else None)
    patience.daemon = True  # never a reason to stay when the user has gone

    def progress(text: str) -> None:
        told.append(text)
        if not patience.is_alive():
            note(text)

    patience.start()
    try:
        found = lived(asked, parts, chosen, years=years, seed=seed, new=new, progress=progress)
    except InputError as bad:
        raise InputError([f"{choice or problem}: {text}" for text in bad.problems]) from None
    finally:
        patience.cancel()
    show(text_of(replay_data(found, digests)) if as_json else replay_text(found))
    raise typer.Exit(STOPPED if found.answer is not None and found.answer.outcome.value == "stopped" else 0)
