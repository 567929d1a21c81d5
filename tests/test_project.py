"""The project as a whole: where files lie, how long they are, what they say and do not say."""

from __future__ import annotations

import re
import subprocess
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "optimizer", "catalogs", "problems", "tests", "docs"}
LINES_MOST = 450


def tracked() -> list[Path]:
    """Files that git knows, or every file that is not hidden where there is no git."""
    try:
        listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    except (OSError, subprocess.CalledProcessError):
        found = (path.relative_to(ROOT) for path in ROOT.rglob("*") if path.is_file())
        return [path for path in found if not any(part.startswith(".") or part == "__pycache__" for part in path.parts)]
    return [Path(name) for name in listed.split("\0") if name and (ROOT / name).exists()]


def texts() -> list[Path]:
    """Tracked files in words, this one left out: it holds the words that others may not."""
    kinds = {".py", ".md", ".toml", ".csv", ".yaml", ".txt", ""}
    return [path for path in tracked() if path.suffix in kinds and path.name != Path(__file__).name]


def test_nothing_else_lies_at_the_top():
    top = {path.parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} == TOP_LEVEL


def test_no_file_of_the_package_is_too_long():
    long = {str(path): lines for path in tracked() if path.suffix == ".py" and path.parts[0] == "optimizer"
            and (lines := len((ROOT / path).read_text(encoding="utf-8").splitlines())) > LINES_MOST}
    assert not long, f"files over {LINES_MOST} lines are asking to be two"


def test_no_room_for_odds_and_ends():
    forbidden = {"utils", "helpers", "common", "types", "constants"}
    assert not [path for path in tracked() if path.parts[0] == "optimizer" and forbidden & {part.removesuffix(".py") for part in path.parts}]


def test_every_version_bound_says_why():
    lines = (ROOT / "pyproject.toml").read_text(encoding="utf-8").splitlines()
    bounds = [line for line in lines if re.search(r'"[^"]*[<>~=]=?\d[^"]*"', line.split("#")[0])]
    assert len(bounds) >= 15
    assert not [line for line in bounds if not re.search(r"#\s*\S+ \S+", line)]


def test_every_ignored_lint_rule_says_why():
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    ignored = text.split("\nignore = [\n", 1)[1].split("\n]", 1)[0].splitlines()
    assert len(ignored) > 20
    assert not [line for line in ignored if not re.search(r'",\s*#\s*\S+ \S+', line)]


def test_versions_agree():
    import optimizer

    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == optimizer.__version__
    assert f"\n## {optimizer.__version__}\n" in (ROOT / "docs/changelog.md").read_text(encoding="utf-8")


CLAIMS = {
    "that a design meets a code": r"\b(code|nec|fully)[- ]compliant\b|\bcompliant (design|system|with)\b|\bcomplies with\b",
    "that a design is without danger": r"\b(is|are|guaranteed|perfectly|completely) safe\b|\bsafe (design|system|to (install|build|touch))\b",
    "that somebody approved it": r"(?<!not )\b(certified|approved) by\b",
    "unfinished work": r"\b(TODO|FIXME|XXX)\b",
}


@pytest.mark.parametrize("claim", CLAIMS)
def test_no_file_claims(claim):
    flags = 0 if claim == "unfinished work" else re.IGNORECASE
    found = [
        f"{path}:{at}: {line.strip()}"
        for path in texts() for at, line in enumerate((ROOT / path).read_text(encoding="utf-8").splitlines(), 1)
        if re.search(CLAIMS[claim], line, flags)
    ]
    assert not found


def test_the_set_up_command_is_one_and_the_same():
    command = "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest -n auto"
    for name in ("README.md", "DEVELOPERS.md", ".ci/run"):
        assert command in (ROOT / name).read_text(encoding="utf-8"), name


def test_links_between_pages_lead_somewhere():
    links = [
        (path, target) for path in tracked() if path.suffix == ".md"
        for target in re.findall(r"\]\(([^)#:\s]+)(?:#[^)]*)?\)", (ROOT / path).read_text(encoding="utf-8"))
    ]
    assert links
    assert not [f"{path}: {target}" for path, target in links if not (ROOT / path.parent / target).exists()]


def test_decisions_are_numbered_once_and_say_what_was_decided():
    notes = sorted(path for path in tracked() if path.parts[:2] == ("docs", "decisions"))
    numbers = [path.name[:4] for path in notes]
    assert len(numbers) == len(set(numbers)) >= 4
    for path in notes:
        assert (ROOT / path).read_text(encoding="utf-8").startswith(f"# {path.name[:4]}: "), path


def test_the_program_page_names_every_family_of_the_program():
    from optimizer.choice.families import FAMILIES

    page = (ROOT / "docs/program.md").read_text(encoding="utf-8")
    assert not [family for family in FAMILIES if not re.search(rf"\b{family}\b", page)]
