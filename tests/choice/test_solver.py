"""The solver's endings in our own words: with both majors of PuLP, and with CBC where it is found."""

import random

import pulp
import pytest

from optimizer.choice.solver import Ending, cbc_command, run
from optimizer.errors import WrongUse

SOLVERS = ["highs", *(["cbc"] if cbc_command() is not None else [])]


def whole_number_model(*, impossible=False):
    model = pulp.LpProblem("small", pulp.LpMinimize)
    x = model.add_variable("x", 0, 10, cat="Integer")
    model += 3 * x
    model += (x >= 2.5, "least__0")
    if impossible:
        model += (x <= 2, "most__0")
    return model, x


def hard_model(size=60, rows=25, seed=7):
    """A market-split problem: far too hard to prove in a tenth of a second."""
    draw = random.Random(seed)
    model = pulp.LpProblem("hard", pulp.LpMinimize)
    x = [model.add_variable(f"x{i}", 0, 1, cat="Binary") for i in range(size)]
    over = [model.add_variable(f"o{r}", 0, None) for r in range(rows)]
    under = [model.add_variable(f"u{r}", 0, None) for r in range(rows)]
    model += pulp.lpSum(over) + pulp.lpSum(under)
    for r in range(rows):
        weights = [draw.randint(0, 99) for _ in x]
        row = pulp.lpSum(w * v for w, v in zip(weights, x, strict=True)) + over[r] - under[r]
        model += (row == sum(weights) // 2, f"split__{r}")
    return model


@pytest.mark.parametrize("solver", SOLVERS)
def test_optimum_is_proven_and_may_be_read(solver):
    model, x = whole_number_model()
    solved = run(model, solver, 10, 0.0)
    assert solved.ending is Ending.OPTIMAL
    assert solved.has_solution
    assert x.value() == pytest.approx(3)  # hand: the smallest whole number at or above 2.5
    assert solved.objective == pytest.approx(9)
    assert solved.bound == pytest.approx(9)


@pytest.mark.parametrize("solver", SOLVERS)
def test_impossible_has_no_solution_although_variables_hold_numbers(solver):
    model, _ = whole_number_model(impossible=True)
    solved = run(model, solver, 10, 0.0)
    assert solved.ending is Ending.INFEASIBLE
    assert not solved.has_solution
    assert solved.objective is None


def test_a_stop_at_the_time_limit_is_not_called_optimal():
    solved = run(hard_model(), "highs", 0.3, 0.0)
    assert solved.ending in (Ending.STOPPED_WITH_SOLUTION, Ending.STOPPED)
    if solved.has_solution:
        assert solved.bound < solved.objective


def test_nothing_is_printed(capfd):
    run(whole_number_model()[0], "highs", 10, 0.0)
    assert capfd.readouterr().out == ""


def test_unknown_solver_is_named():
    with pytest.raises(WrongUse, match=r"solver 'sometimes' is not known: use one of highs, cbc"):
        run(whole_number_model()[0], "sometimes", 10, 0.0)
