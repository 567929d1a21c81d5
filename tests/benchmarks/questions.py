"""How many plain solves each question takes, on the year-round home and the shipped catalog: `python tests/benchmarks/questions.py`.

All in one run with everything imported, the best of several, so that the ratios stand on a noisy machine. It prints and
asserts nothing; the aims beside the ratios are those of the design card.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

from optimizer import load_catalog, load_problem, solve
from optimizer.inputs.problem_file import shipped_problem
from optimizer.questions.cost_of import cost_of
from optimizer.questions.curve import curve
from optimizer.questions.ranking import ranking
from optimizer.questions.versus import versus

RUNS = 3


def best_s(asked: Callable[[], Any]) -> tuple[float, Any]:
    """Shortest time of several runs [s], and what the last gave."""
    times, given = [], None
    for _ in range(RUNS):
        since = time.perf_counter()
        given = asked()
        times.append(time.perf_counter() - since)
    return min(times), given


def main() -> None:
    """Print the ratios."""
    path = shipped_problem("year_round_home.toml")
    assert path is not None, "the year-round home ships with the tool"
    problem, catalog = load_problem(path), load_catalog(None)
    solve(problem, catalog)
    one_s, _ = best_s(lambda: solve(problem, catalog))
    print(f"one solve: {one_s:.2f} s")
    questions: tuple[tuple[str, int, Callable[[], Any], Callable[[Any], str]], ...] = (
        ("versus --by controller", 3, lambda: versus(problem, catalog, "controller"), lambda found: f"{len(found.options)} alternatives, {len(found.flips)} flips"),
        ("ranking -n 5", 8, lambda: ranking(problem, catalog, 5), lambda found: f"{len(found.designs)} designs"),
        ("cost-of", 30, lambda: cost_of(problem, catalog), lambda found: f"{len(found.priced)} requirements"),
        ("curve --over autonomy", 20, lambda: curve(problem, catalog, "autonomy"), lambda found: f"{len(found.steps)} steps"),
    )
    for name, aim, asked, told in questions:
        took_s, found = best_s(asked)
        print(f"{name:<24}{took_s:6.2f} s ={took_s / one_s:6.1f} solves (aim {aim}, or 1.5 s), {told(found)}")


if __name__ == "__main__":
    main()
