"""The command line: arguments in, one call, exit code out. Heavy rooms are imported inside the commands."""

from optimizer.cli import designs, growth, questions, replay, sun
from optimizer.cli.page import app, main

__all__ = ["app", "designs", "growth", "main", "questions", "replay", "sun"]
