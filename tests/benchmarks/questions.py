"""How many plain solves each question takes, on the year-round home and the shipped catalog: `python tests/benchmarks/questions.py`.

All in one run with everything imported, medians of several runs in turns, since a machine that changes its pace is at its
best for a moment only, and a question takes longer than that. Each is asked of a catalog
that nothing was asked of before: what re-solves share is theirs, not the plain solve's. It prints and asserts nothing; the aims beside
the ratios are those of the design card.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from statistics import median
from typing import Any

from optimizer import load_catalog, load_problem, solve
from optimizer.inputs.problem_file import shipped_problem
from optimizer.questions.cost_of import cost_of
from optimizer.questions.curve import curve
from optimizer.questions.ranking import ranking
from optimizer.questions.versus import versus

RUNS = 3


def middle_s(one: Callable[[], Any], asked: Callable[[], Any]) -> tuple[float, float, Any]:
    """Median times of a plain solve and of a question [s], taken in turns since machines change their pace, and what the last gave."""
    of_one, times, given = [], [], None
    for _ in range(RUNS):
        for _ in range(RUNS):
            since = time.perf_counter()
            one()
            of_one.append(time.perf_counter() - since)
        since = time.perf_counter()
        given = asked()
        times.append(time.perf_counter() - since)
    return median(of_one), median(times), given


def main() -> None:
    """Print the ratios."""
    path = shipped_problem("year_round_home.toml")
    assert path is not None, "the year-round home ships with the tool"
    problem, catalog = load_problem(path), load_catalog(None)
    solve(problem, catalog)
    questions: tuple[tuple[str, int, Callable[[], Any], Callable[[Any], str]], ...] = (
        ("versus --by controller", 3, lambda: versus(problem, replace(catalog), "controller"), lambda found: f"{len(found.options)} alternatives, {len(found.flips)} flips"),
        ("ranking -n 5", 8, lambda: ranking(problem, replace(catalog), 5), lambda found: f"{len(found.designs)} designs"),
        ("cost-of", 30, lambda: cost_of(problem, replace(catalog)), lambda found: f"{len(found.priced)} requirements"),
        ("curve --over autonomy", 20, lambda: curve(problem, replace(catalog), "autonomy"), lambda found: f"{len(found.steps)} steps"),
    )
    for name, aim, asked, told in questions:
        one_s, took_s, found = middle_s(lambda: solve(problem, replace(catalog)), asked)
        print(f"{name:<24}{took_s:6.2f} s ={took_s / one_s:6.1f} solves of {one_s:.2f} s (aim {aim}, or 1.5 s), {told(found)}")


if __name__ == "__main__":
    main()
