"""docs/cli.md is what the commands say of themselves."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import optimizer
from optimizer.cli import app

DOCS = Path(optimizer.__file__).parent.parent / "docs"


def generated():
    spec = importlib.util.spec_from_file_location("generate_cli", DOCS / "generate_cli.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module.page()


def test_the_page_is_that_of_the_commands():
    assert (DOCS / "cli.md").read_text(encoding="utf-8") == generated(), "run `python docs/generate_cli.py`"


def test_the_page_names_every_command_and_every_option(run):
    page = generated()
    for command in app.registered_commands:
        name = command.name or command.callback.__name__.replace("_", "-")
        section = page.split(f"## `bankstring {name}`\n")[1].split("\n## ")[0]
        options = set(re.findall(r"--[a-z][a-z-]+", run(name, "--help").out)) - {"--help"}
        told = command.epilog or ""
        assert options <= set(re.findall(r"--[a-z][a-z-]+", section)), name
        assert f"```\n{told.removeprefix('Example: ')}\n```" in section
