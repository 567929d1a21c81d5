"""Everything a user can meet, each with its exit code.

BankstringError
├── WrongUse        2  the command line is wrong
├── InputError      3  an input file is wrong; carries every error, not the first
│   └── OutOfRange  3  a rule was asked outside its range of validity
└── SolverFailed    6  the solver failed

An impossible problem (4) and a stop before proof (5) are answers, not errors: see `answer.Outcome`.
"""

from __future__ import annotations

from collections.abc import Sequence


class BankstringError(Exception):
    """Base of all errors that are shown to a user as sentences, never as a traceback."""

    exit_code = 1


class WrongUse(BankstringError):
    """The command line asks for something that does not exist."""

    exit_code = 2


class InputError(BankstringError):
    """One or more input files are wrong; `problems` lists every error found."""

    exit_code = 3

    def __init__(self, problems: str | Sequence[str]) -> None:
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        super().__init__("\n".join(self.problems))


class OutOfRange(InputError):
    """A rule was asked outside its range of validity."""


class SolverFailed(BankstringError):
    """The solver ended without saying anything useful."""

    exit_code = 6
