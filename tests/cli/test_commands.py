"""Exit codes, stdout and stderr of every command."""

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from typer.main import get_command

import optimizer
from optimizer.answer import Outcome
from optimizer.cli import app
from optimizer.errors import SolverFailed
from optimizer.inputs.catalog import shipped_folder

COMMANDS = get_command(app).commands


MANY_SOLVES = ("cost-of", "curve", "grow")
"""Commands whose examples solve hundreds of problems: they run with a catalog of few parts, kits among them."""

FEW = {
    "modules": ("PV-080-36P", "PV-100-36", "PV-395-108B"), "batteries": ("BT-LFP12-012", "BT-LFP12-100", "BT-AGM12-035", "BT-FLA6-225"),
    "controllers": ("CP-A10", "CP-A30", "CM-A30-V100"), "inverters": ("IV-700W-B12-AC120", "IV-1500W-B24-AC120"), "kits": ("K-LIGHTS-100", "K-CABIN-790"),
}


def leave_few(folder):
    """Leave few parts of each kind in a copy of the catalog."""
    for kind, ids in FEW.items():
        file = folder / f"{kind}.csv"
        header, *rows = file.read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if row.split(",")[0] in ids]
        assert len(kept) == len(ids)
        file.write_text("\n".join([header, *kept]), encoding="utf-8")


def python(*arguments, cwd):
    return subprocess.run([sys.executable, *arguments], capture_output=True, text=True, cwd=cwd, timeout=120)


# --- solve


def test_solve_exits_by_outcome(run, site):
    ran = run("solve", site, "--json")
    outcome = json.loads(ran.out)["outcome"]
    assert (outcome, ran.code) in {("optimal", 0), ("infeasible", 4)}
    assert "shipped" in ran.err
    assert outcome in ran.err


def test_impossible_site_is_an_explained_answer(run):
    ran = run("solve", "coast_house")
    assert ran.code == 4
    assert "there is no design" in ran.out.splitlines()[0]
    assert "`bankstring relax PROBLEM`" in ran.out
    assert "Cautions for this design" not in ran.out
    assert "Price" not in ran.out


@pytest.mark.parametrize(("outcome", "kept", "said"), [
    (Outcome.FEASIBLE, True, "not proven: no design costs less than 150.00"),
    (Outcome.STOPPED, False, "no design was found. stopped after 1 s"),
])
def test_stopped_at_a_limit_exits_5(run, monkeypatch, answer_of, outcome, kept, said):
    whole = answer_of("light_kit")
    stopped = replace(
        whole, outcome=outcome, report=whole.report if kept else None, choice=whole.choice if kept else None, bound_cents=15000.0,
        gap=0.2, reason="" if kept else "stopped after 1 s",
    )
    monkeypatch.setattr("optimizer.answer.solve", lambda *_, **__: stopped)
    ran = run("solve", "light_kit")
    assert ran.code == 5
    assert said in " ".join(ran.out.split())
    found = json.loads(run("solve", "light_kit", "--json").out)
    assert (found["outcome"], found["cost"]["bound"], found["cost"]["gap"]) == (outcome.value, 150.0, 0.2)
    assert (found["choice"] is not None) is kept


def test_limits_reach_the_solver(run, monkeypatch, answer_of):
    seen = []

    def solving(problem, _catalog, *, solver):
        seen.append((problem.solver.time_limit_s, problem.solver.gap, solver))
        return answer_of("light_kit")

    monkeypatch.setattr("optimizer.answer.solve", solving)
    assert run("solve", "light_kit", "--time-limit", "7", "--gap", "0.05", "--solver", "cbc").code == 0
    assert run("solve", "light_kit").code == 0
    assert seen == [(7.0, 0.05, "cbc"), (60.0, 0.0, "highs")]


def test_solver_failure_exits_6(run, monkeypatch):
    def solving(*_, **__):
        raise SolverFailed("the solver ended without an answer")

    monkeypatch.setattr("optimizer.answer.solve", solving)
    ran = run("solve", "light_kit")
    assert (ran.code, ran.out) == (6, "")
    assert "the solver ended without an answer" in ran.err


def test_several_problems_worst_exit_code_counts(run):
    assert run("solve", "light_kit", "weekend_cabin").code == 0
    ran = run("solve", "light_kit", "coast_house")
    assert ran.code == 4
    assert "No combined bill: there is no design for Coast house." in ran.out


# --- check


def test_answer_of_solve_is_read_back_and_valid(run, site, tmp_path):
    solved = json.loads(run("solve", site, "--json").out)
    if solved["choice"] is None:
        (tmp_path / "answer.json").write_text(json.dumps(solved))
        ran = run("check", site, "answer.json")
        assert ran.code == 3
        assert "holds no choice" in ran.err
        return
    for written in (solved, solved["choice"]):
        (tmp_path / "answer.json").write_text(json.dumps(written))
        ran = run("check", site, "answer.json", "--json")
        checked = json.loads(ran.out)
        assert ran.code == 0
        assert checked["valid"] is True
        assert checked["cost"] == {"total": solved["cost"]["total"], "currency": solved["cost"]["currency"]}
        assert checked["bill"] == solved["bill"]
        assert checked["checks"] == solved["checks"]


def test_broken_choice_exits_4_with_the_broken_rules_first(run, tmp_path):
    run("new", "--choice", "mine")
    text = (tmp_path / "mine.toml").read_text().replace("series = 1 ", "series = 5 ")
    (tmp_path / "mine.toml").write_text(text)
    ran = run("check", "weekend_cabin", "mine.toml")
    assert ran.code == 4
    first, rest = ran.out.split("\n\n", 1)
    assert first.startswith("Weekend cabin: the choice breaks ")
    assert rest.startswith("What is broken\n")
    assert "Cold open-circuit voltage of a string stays below the controller's" in rest.split("\n\n")[0]
    data = json.loads(run("check", "weekend_cabin", "mine.toml", "--json").out)
    assert data["valid"] is False
    broken = {line["rule"] for line in data["checks"] if line["severity"] != "soft" and line["passed"] is not True}
    assert "cold-open-circuit" in broken
    assert f"breaks {len(broken)} rules." in first


# --- lint and demand


def test_lint_counts_parts(run, catalog):
    ran = run("lint")
    assert ran.code == 0
    assert f"{len(catalog.modules)} modules" in ran.out
    data = json.loads(run("lint", "year_round_home", "--json").out)
    assert data["sound"] is True
    assert data["parts"]["batteries"] == len(catalog.batteries)
    assert data["errors"] == []


def test_lint_tells_errors_of_catalog_and_problem_and_doubts(run, tmp_path):
    run("new", "mine", "--catalog", "parts")
    problem, modules = tmp_path / "mine.toml", tmp_path / "parts" / "modules.csv"
    problem.write_text(problem.read_text().replace("elevation_m = 650", "elevation_m = 9000").replace("lowest_c = -36", "lowest_c = -5"))
    ran = run("lint", "mine", "--catalog", "parts")
    assert ran.code == 3
    assert "1 error: nothing can be solved until it is mended." in ran.out
    assert "elevation_m" in ran.out
    problem.write_text(problem.read_text().replace("elevation_m = 9000", "elevation_m = 650"))
    modules.write_text(modules.read_text().replace(",track", ""))
    ran = run("lint", "mine", "--catalog", "parts")
    assert ran.code == 0
    assert "above a monthly mean of the air" in " ".join(ran.out.split())
    modules.write_text(modules.read_text().replace("\nPV-", "\nPV ", 1))
    problem.write_text(problem.read_text().replace("elevation_m = 650", "elevation_m = 9000"))
    found = json.loads(run("lint", "mine", "--catalog", "parts", "--json").out)
    assert found["sound"] is False
    assert found["parts"] == {}
    assert any("modules.csv:2: id" in text for text in found["errors"])
    assert any("elevation_m" in text for text in found["errors"])


def test_demand_of_every_site(run, site):
    ran = run("demand", site)
    assert ran.code == 0
    assert "Worst AC start" in ran.out
    assert run("demand", site, "--catalog", "nowhere").code == 0  # reads none


# --- the command line itself


def test_version(run):
    ran = run("--version")
    assert (ran.code, ran.out) == (0, f"bankstring {optimizer.__version__}\n")


@pytest.mark.parametrize("arguments", [
    (), ("solve",), ("resolve", "light_kit"), ("solve", "light_kit", "--gap", "2"), ("solve", "light_kit", "--time-limit", "0"),
    ("solve", "light_kit", "--solver", "abacus"), ("solve", "light_kit", "--colour"), ("check", "light_kit"), ("new",),
])
def test_wrong_use_exits_2(run, arguments):
    ran = run(*arguments)
    assert ran.code == 2
    assert ran.out == "" or not arguments


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_help_ends_with_an_example_that_runs(run, name):
    told = run(name, "--help")
    assert told.code == 0
    assert "--json" in told.out
    assert "--catalog" in told.out
    example = told.out.rstrip().splitlines()[-1].strip()
    assert example.startswith("Example: bankstring ")
    assert "[" not in told.out.splitlines()[0].replace("[OPTIONS]", "").replace("[PROBLEM]", "").replace("[FILE]", "").replace("[CHOICE]", "")
    if name != "new":
        run("new", "--choice", "my_choice.toml")
    if name == "diff":
        for file in ("before.json", "after.json"):
            Path(file).write_text(run("solve", "light_kit", "--json").out, encoding="utf-8")
    words = example.removeprefix("Example: bankstring ").split()
    assert words[0] == name
    if name in MANY_SOLVES:
        run("new", "--catalog", "few")
        leave_few(Path("few"))
        words += ["--catalog", "few"]
    assert run(*words).code == 0


def test_help_of_all_commands(run):
    told = run("--help")
    assert told.code == 0
    assert "local codes and\n  licensed practice decide" in told.out
    assert told.out.rstrip().endswith("Example: bankstring solve year_round_home")
    assert max(map(len, told.out.splitlines())) <= 80


def test_help_imports_nothing_heavy(tmp_path):
    code = (
        "import sys\nfrom optimizer.cli import app\ntry:\n    app(['--help'])\nexcept SystemExit:\n    pass\n"
        "print(sorted({'numpy', 'pandas', 'pulp', 'highspy', 'pydantic', 'rich'} & set(sys.modules)), file=sys.stderr)"
    )
    ran = python("-c", code, cwd=tmp_path)
    assert ran.stderr.strip() == "[]"


def test_whole_process_from_an_empty_folder(tmp_path):
    ran = python("-m", "optimizer", "solve", "light_kit", "--json", cwd=tmp_path)
    assert ran.returncode == 0
    assert json.loads(ran.stdout)["outcome"] == "optimal"  # nothing but the object on stdout
    assert ran.stderr.splitlines()[0] == "light_kit: taking the shipped problem"


def test_whole_process_with_a_mistake(tmp_path):
    ran = python("-m", "optimizer", "solve", "no_such_site", cwd=tmp_path)
    assert (ran.returncode, ran.stdout) == (3, "")
    assert "bankstring new FILE" in ran.stderr
    assert "Traceback" not in ran.stderr


def test_terminal_without_the_letters_of_a_name(tmp_path):
    home = shipped_folder("problems")
    text = (home / "light_kit.toml").read_text(encoding="utf-8").replace('name = "Light kit"', 'name = "Lumière ☀"')
    (tmp_path / "light_kit_loads.csv").write_bytes((home / "light_kit_loads.csv").read_bytes())
    (tmp_path / "mine.toml").write_text(text, encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, "-m", "optimizer", "demand", "mine.toml"], capture_output=True, cwd=tmp_path, timeout=120,
        env={**os.environ, "PYTHONIOENCODING": "latin-1"},
    )
    assert ran.returncode == 0
    assert ran.stdout.splitlines()[0] == "Lumière ?".encode("latin-1")
