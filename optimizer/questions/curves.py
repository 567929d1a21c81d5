"""One price staircase for each alternative, all over the same axis."""

from __future__ import annotations

from collections.abc import Callable

from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import Problem
from optimizer.questions.curve import Curve, axis_of, curve
from optimizer.questions.versus import alternatives, under

Progress = Callable[[str], None]


def curves(problem: Problem, catalog: Catalog, over: str, each: str, progress: Progress = lambda _: None) -> tuple[tuple[str, Curve], ...]:
    """The curve of the problem with only one alternative left, for each of them. Raises WrongUse for an unknown `each`,
    InputError where there is no alternative.

    Ctrl-C ends it with what is known so far: the alternatives that were not reached have a curve without steps, not complete.
    """
    found: list[tuple[str, Curve]] = []
    stopped = False
    values = alternatives(problem, catalog, each)
    if not values:
        raise InputError(f"--each {each}: problem and catalog leave no alternative to draw a staircase for")
    for value in values:
        asked = under(problem, catalog, each, value)
        here = Curve(axis_of(asked, catalog, over), (), complete=False)
        if not stopped:
            try:
                here = curve(asked, catalog, over, _about(value, progress))
            except KeyboardInterrupt:  # between two curves
                stopped = True
        stopped = stopped or not here.complete
        found.append((value, here))
    return tuple(found)


def _about(value: str, progress: Progress) -> Progress:
    return lambda text: progress(f"{value}: {text}")
