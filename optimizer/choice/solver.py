"""Runs a program with one of the solvers and says in our own words how it ended.

A stop at a time limit reports "Optimal" with both solvers, and after "Infeasible" the variables still hold numbers:
values are read only where a solution exists, and the ending is told from the solver's own state.
"""

from __future__ import annotations

import contextlib
import io
import os
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

import pulp

from optimizer.errors import SolverFailed, WrongUse

SOLVERS = ("highs", "cbc")

class Ending(Enum):
    """How a solve ended."""

    OPTIMAL = "optimal"
    STOPPED_WITH_SOLUTION = "stopped with a solution"
    STOPPED = "stopped without"
    INFEASIBLE = "infeasible"


@dataclass(frozen=True)
class Solved:
    """Ending, objective and proven bound of one solve."""

    ending: Ending
    objective: float | None
    bound: float | None

    @property
    def has_solution(self) -> bool:
        """Whether the variables may be read."""
        return self.ending in (Ending.OPTIMAL, Ending.STOPPED_WITH_SOLUTION)


@contextlib.contextmanager
def _quiet() -> Iterator[None]:
    """Solvers print banners on some calls even when told to be silent; stdout belongs to the answer."""
    with contextlib.redirect_stdout(io.StringIO()), Path(os.devnull).open("w") as nowhere:
        try:
            kept = os.dup(1)
        except OSError:
            yield
            return
        os.dup2(nowhere.fileno(), 1)
        try:
            yield
        finally:
            os.dup2(kept, 1)
            os.close(kept)


def run(problem: Any, solver: str, time_limit_s: float, gap: float) -> Solved:
    """Solve a program.

    gap: relative gap at which to stop; 0 proves the optimum.
    Raises WrongUse for a solver that is not there, SolverFailed where the ending says nothing.
    """
    if solver not in SOLVERS:
        raise WrongUse(f"solver '{solver}' is not known: use one of {', '.join(SOLVERS)}")
    with _quiet():
        return _highs(problem, time_limit_s, gap) if solver == "highs" else _cbc(problem, time_limit_s, gap)


def _highs(problem: Any, time_limit_s: float, gap: float) -> Solved:
    import highspy

    engine = pulp.HiGHS(msg=False, timeLimit=time_limit_s, gapRel=gap, gapAbs=0.0 if gap == 0 else None)
    problem.solve(engine)
    model = problem.solverModel
    status = model.getModelStatus()
    info = model.getInfo()
    found = info.primal_solution_status == highspy.SolutionStatus.kSolutionStatusFeasible
    bound = info.mip_dual_bound if abs(info.mip_dual_bound) < 1e30 else None
    kinds = highspy.HighsModelStatus
    if status == kinds.kOptimal:
        return Solved(Ending.OPTIMAL, info.objective_function_value, bound)
    if status in (kinds.kInfeasible, kinds.kUnboundedOrInfeasible):
        return Solved(Ending.INFEASIBLE, None, None)
    if status in (kinds.kTimeLimit, kinds.kIterationLimit, kinds.kSolutionLimit, kinds.kInterrupt):
        return Solved(Ending.STOPPED_WITH_SOLUTION if found else Ending.STOPPED, info.objective_function_value if found else None, bound)
    raise SolverFailed(f"HiGHS ended with '{model.modelStatusToString(status)}'; try --solver cbc")


def row_duals(problem: Any, rows: int) -> list[float]:
    """Duals of the rows of a program that HiGHS solved without whole numbers, in the order in which the rows were added.

    rows: how many were added; SolverFailed where the solver has another number of them.
    """
    duals = [float(value) for value in problem.solverModel.getSolution().row_dual]
    if len(duals) != rows:
        raise SolverFailed(f"HiGHS has {len(duals)} rows where {rows} were added")
    return duals


def cbc_command() -> Any | None:
    """PuLP's way to CBC where the program is found, else None."""
    for name in ("COIN_CMD", "PULP_CBC_CMD"):
        kind = getattr(pulp, name, None)
        if kind is not None:
            with contextlib.suppress(Exception):
                if kind(msg=False).available():
                    return kind
    return None


def _cbc(problem: Any, time_limit_s: float, gap: float) -> Solved:
    kind = cbc_command()
    if kind is None:
        raise WrongUse("solver 'cbc' is not found on this machine: install CBC, or use --solver highs")
    problem.solve(kind(msg=False, timeLimit=time_limit_s, gapRel=gap, gapAbs=0.0 if gap == 0 else None))
    status, found = problem.status, problem.sol_status
    if found == pulp.LpSolutionOptimal:
        objective = float(pulp.value(problem.objective) or 0.0)
        return Solved(Ending.OPTIMAL, objective, objective)
    if status == pulp.LpStatusInfeasible:
        return Solved(Ending.INFEASIBLE, None, None)
    if found == pulp.LpSolutionIntegerFeasible:
        return Solved(Ending.STOPPED_WITH_SOLUTION, float(pulp.value(problem.objective) or 0.0), None)
    if status == pulp.LpStatusNotSolved:
        return Solved(Ending.STOPPED, None, None)
    raise SolverFailed(f"CBC ended with status {status} and solution status {found}; try --solver highs")
