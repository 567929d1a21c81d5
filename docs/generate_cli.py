# ruff: noqa: INP001  (docs is a folder of pages, no package)
"""Write docs/cli.md from the commands themselves: `python docs/generate_cli.py`.

Nothing on the page is written by hand; tests/cli/test_cli_page.py compares the page with what this gives.
"""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable, Iterator
from enum import Enum
from pathlib import Path
from typing import Any, get_args, get_type_hints

from typer.models import ArgumentInfo

from optimizer.cli import app

PAGE = Path(__file__).with_name("cli.md")

OPENING = """# The command line

This page is written by `python docs/generate_cli.py` from the commands in `optimizer/cli/`; change those, not this page.

Results go to stdout, progress and messages to stderr. `python -m optimizer` is the same as `bankstring`.
A PROBLEM is a file ([problem-file.md](problem-file.md)) or the bare name of a shipped problem, as `year_round_home`; a
catalog is a folder ([catalog.md](catalog.md)).

| exit code | meaning |
|---|---|
| 0 | done: a proven design, a choice that breaks no rule that the tool knows, or a question answered |
| 2 | wrong use of the command line |
| 3 | an input file is wrong: every error is listed |
| 4 | `solve`: no design exists, and why; `check`: the choice breaks rules, and which |
| 5 | stopped at a limit before proof: the best so far with its gap, or none yet |
| 6 | the solver failed |
"""


def cell(text: str) -> str:
    """Text for a table cell."""
    return " ".join(text.split()).replace("|", "\\|")


def written(kind: Any, info: Any) -> str:
    """How a parameter is written on the command line."""
    if isinstance(info, ArgumentInfo):
        return f"`{info.metavar}`"
    if kind is bool:
        value = ""
    elif isinstance(kind, type) and issubclass(kind, Enum):
        value = " " + " or ".join(str(choice.value) for choice in kind)
    else:
        value = f" {info.metavar}"
    names = [name for name in (info.default, *(info.param_decls or ())) if isinstance(name, str)]  # in Annotated the first name stands as the default
    return f"`{', '.join(names)}{value}`"


def left_out(default: Any) -> str:
    """What holds where a parameter is not given."""
    if default is inspect.Parameter.empty:
        return "required"
    return "" if default in (None, False) else f"{getattr(default, 'value', default)}"


def parameters(callback: Callable[..., Any]) -> Iterator[str]:
    """A table of what a command takes."""
    yield "| | meaning | left out |"
    yield "|---|---|---|"
    hints = get_type_hints(callback, include_extras=True)
    for name, parameter in inspect.signature(callback).parameters.items():
        kind, info = get_args(hints[name])[:2]
        yield f"| {cell(written(kind, info))} | {cell(info.help)} | {left_out(parameter.default)} |"


def section(callback: Callable[..., Any], epilog: str) -> list[str]:
    """One command: what it does, what it takes, an example."""
    name = callback.__name__.replace("_", "-")
    text = inspect.cleandoc(callback.__doc__ or "")
    example = epilog.removeprefix("Example: ")
    return [f"## `bankstring {name}`", "", text, "", *parameters(callback), "", "```", example, "```", ""]


def page() -> str:
    """The whole page."""
    lines = [OPENING]
    for command in app.registered_commands:
        assert command.callback is not None, "every command has a function"
        lines += section(command.callback, command.epilog or "")
    return "\n".join(lines).rstrip() + "\n"


def main() -> int:
    """Write the page."""
    PAGE.write_text(page(), encoding="utf-8")
    sys.stderr.write(f"wrote {PAGE}\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
