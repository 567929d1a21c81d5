"""What the README says is true to the letter: its commands run, its links and names exist."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

import optimizer
from optimizer.cli import app

HOME = Path(optimizer.__file__).parent.parent
README = (HOME / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
COMMANDS = [line for kind, text in BLOCKS if kind == "sh" for line in text.splitlines()]
SETUP = [line for line in COMMANDS if line.startswith("python3 -m venv ")]
TYPED = [line.split()[1:] for line in COMMANDS if line.startswith("bankstring ")]


def test_two_commands_set_up_a_fresh_machine():
    solving, testing = (line.split(" && ") for line in SETUP)
    assert solving[:2] == ["python3 -m venv .venv", ".venv/bin/pip install -q ."]
    assert testing == ["python3 -m venv .venv", ".venv/bin/pip install -q -e '.[test]'", ".venv/bin/pytest -n auto"]
    # The folder of the environment may already be there: venv and pip do not mind a second time.


def test_the_command_that_solves_an_example_runs():
    """The last step of the first line, in the folder of the README and through the installed command's own entry."""
    command = shlex.split(SETUP[0].split(" && ")[-1])
    assert command[0] == ".venv/bin/bankstring"
    ran = subprocess.run(
        [sys.executable, "-m", "optimizer", *command[1:]], cwd=HOME, capture_output=True, text=True, timeout=120,
        env={**os.environ, "COLUMNS": "80"}, check=False,
    )
    assert ran.returncode == 0
    assert ran.stdout.startswith("Year-round home\n")
    assert "proven" in ran.stdout


def test_the_entry_point_is_the_command():
    text = (HOME / "pyproject.toml").read_text(encoding="utf-8")
    assert 'bankstring = "optimizer.cli:main"' in text
    assert 'requires-python = ">=3.11"' in text
    assert "Python 3.11 or later" in README
    assert '"pytest-xdist' in text  # pytest -n auto


def test_the_commands_typed_one_after_the_other_run(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert [words[0] for words in TYPED] == ["new", "lint", "solve"]
    for words in TYPED:
        result = CliRunner().invoke(app, words)
        assert result.exit_code == 0, (words, result.output)


SHOWN = [text.splitlines() for kind, text in BLOCKS if kind == "text"]


def test_the_outputs_that_are_shown_are_true(monkeypatch):
    """Each shows a command and lines of what it prints in a window 80 wide."""
    assert SHOWN
    monkeypatch.setenv("COLUMNS", "80")
    for command, *lines in SHOWN:
        result = CliRunner().invoke(app, shlex.split(command.removeprefix("$ bankstring ")))
        assert result.exit_code == 0, (command, result.output)
        assert "\n".join(lines) in result.stdout, command


def test_the_table_names_every_command():
    named = re.findall(r"^\| `bankstring ([a-z-]+)", README, re.MULTILINE)
    assert named == [command.name or command.callback.__name__.replace("_", "-") for command in app.registered_commands]


def test_the_python_example_runs(monkeypatch):
    monkeypatch.chdir(HOME)
    (example,) = [text for kind, text in BLOCKS if kind == "python"]
    names: dict[str, object] = {}
    exec(compile(example, "README.md", "exec"), names)
    assert names["answer"].outcome == "optimal"
    assert names["report"].valid


@pytest.mark.parametrize("target", sorted(set(re.findall(r"\]\(([^)#]+)\)", README))))
def test_links_lead_somewhere(target):
    assert (HOME / target).exists()


def test_the_sites_are_shipped():
    assert "nineteen complete sites, four of them growing" in README
    assert len(list((HOME / "problems").glob("*.toml"))) == 19


def test_the_cautions_are_there_and_promise_nothing():
    assert "Local codes" in README
    assert "licensed practice decide" in README
    assert not re.search(r"\b(safe|compliant)\b", README, re.IGNORECASE)
