"""Times of `solve` at three catalog sizes, of other ways to the same optimum, and of the whole process.

    python tests/benchmarks/run.py                    everything; the peers at the middle size take long
    python tests/benchmarks/run.py --only ours        only our own times
    python tests/benchmarks/run.py --only peers --sizes small

Every measurement is a process of its own, one after the other; the machine should be idle: where it is not, CPU seconds
(all threads together) say more than seconds. Nothing is asserted about time, and a ratio is of figures of one run.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import platform
import resource
import statistics
import subprocess
import sys
import time
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
sys.path[:0] = [str(HERE), str(ROOT)]

WAYS = {
    "highs": "solve, HiGHS",
    "cbc": "solve, CBC",
    "highs-unpruned": "the same program unpruned, PuLP + HiGHS",
    "cbc-unpruned": "the same program unpruned, PuLP + CBC",
    "cp-sat": "the same candidates unpruned, CP-SAT",
    "one-kind": "solve, HiGHS, one kind of array",
    "enumeration": "plain enumeration, one kind of array",
}


def measure(size: str, seed: int, way: str, time_limit_s: float) -> dict[str, object]:
    """One solve in this process, after all imports."""
    for module in ("numpy", "pandas", "pulp", "highspy", "optimizer.answer"):
        importlib.import_module(module)
    if way == "cp-sat":
        importlib.import_module("ortools.sat.python.cp_model")
    from make_catalog import SIZES, make_catalog, make_problem

    import optimizer

    catalog, problem = make_catalog(SIZES[size], seed), make_problem(seed, time_limit_s)
    if way in ("one-kind", "enumeration"):
        problem = problem.model_copy(update={"bounds": problem.bounds.model_copy(update={"array_kinds": 1})})
    if way in ("cp-sat", "enumeration"):
        import peers

        busy = time.process_time()
        result = peers.cp_sat(problem, catalog, time_limit_s) if way == "cp-sat" else peers.enumeration(problem, catalog)
        objective, proven, seconds = result.objective, result.proven, result.seconds["total"]
        sizes = {"cores": result.cores, "blocks": result.blocks}
    else:
        busy, started = time.process_time(), time.perf_counter()
        answer = optimizer.solve(problem, catalog, prune="unpruned" not in way, solver=way.split("-", maxsplit=1)[0].replace("one", "highs"))
        seconds = time.perf_counter() - started
        objective = answer.report.bill.objective_cents if answer.report else None
        proven, sizes = answer.outcome.value in ("optimal", "infeasible"), answer.sizes
    cpu_s = time.process_time() - busy
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {"objective": objective, "proven": proven, "seconds": seconds, "cpu_s": cpu_s, "peak_mb": peak_mb, **sizes}


def in_own_process(size: str, seed: int, way: str, time_limit_s: float) -> dict[str, object]:
    """One measurement in a process of its own; a process that outlives twice its limit is ended."""
    command = [sys.executable, __file__, "--measure", size, str(seed), way, str(time_limit_s)]
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=2 * time_limit_s + 60, check=False)
    except subprocess.TimeoutExpired as ended:
        return {"objective": None, "proven": False, "seconds": ended.timeout, "peak_mb": float("nan"), "note": "ended from outside"}
    if done.returncode:
        return {"objective": None, "proven": False, "seconds": float("nan"), "peak_mb": float("nan"), "note": (done.stderr.strip().splitlines() or ["failed"])[-1]}
    return dict(json.loads(done.stdout.splitlines()[-1]))


def table(head: list[str], rows: list[list[str]]) -> None:
    """Print rows under a head, columns as wide as they need."""
    widths = [max(len(row[at]) for row in [head, *rows]) for at in range(len(head))]
    for row in [head, ["-" * width for width in widths], *rows]:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip())
    print(flush=True)


def ours(sizes: list[str], seeds: int, repeats: int) -> None:
    """Median time and greatest memory of `solve` at every size."""
    from make_catalog import SIZES

    rows = []
    for size in sizes:
        runs = [[in_own_process(size, seed, "highs", 600) for _ in range(repeats)] for seed in range(seeds)]
        assert all(run["proven"] and run["objective"] == one[0]["objective"] for one in runs for run in one), runs
        middles = sorted(statistics.median(float(run["seconds"]) for run in one) for one in runs)  # type: ignore[arg-type]
        busy = statistics.median(statistics.median(float(run["cpu_s"]) for run in one) for one in runs)  # type: ignore[arg-type]
        rows.append([
            size, "/".join(map(str, SIZES[size])), f"{statistics.median(middles):.3f}", f"{middles[0]:.3f} to {middles[-1]:.3f}", f"{busy:.3f}",
            f"{max(float(run['peak_mb']) for one in runs for run in one):.0f}",  # type: ignore[arg-type]
        ])
    print(f"solve after imports, to proven optimality and checked: {seeds} catalogs a size, median of {repeats} runs each")
    table(["size", "modules/batteries/controllers/inverters", "median s", "fastest and slowest catalog s", "median CPU s", "greatest peak MB"], rows)


def peers_against(size: str, seeds: int, ways: list[str], time_limit_s: float) -> None:
    """Every way on the same catalogs, with the optimum that each shows."""
    rows = []
    for seed in range(seeds):
        own = {way: in_own_process(size, seed, way, 600) for way in ("highs", "one-kind")}
        for way in ("highs", "one-kind", *ways):
            run = own.get(way) or in_own_process(size, seed, way, time_limit_s)
            against = own["one-kind" if way in ("one-kind", "enumeration") else "highs"]
            ratio = float(run["seconds"]) / float(against["seconds"])  # type: ignore[arg-type]
            same = "not shown" if not run["proven"] else "same" if run["objective"] == against["objective"] else "DIFFERENT"
            more = "" if run["proven"] else "> "
            rows.append([
                str(seed), WAYS[way], f"{run.get('cores', '')}", f"{run.get('blocks', '')}", f"{more}{float(run['seconds']):.2f}",  # type: ignore[arg-type]
                f"{float(run['cpu_s']):.2f}" if "cpu_s" in run else "",  # type: ignore[arg-type]
                "1" if run is against else f"{more}{ratio:.0f}", "none" if run["objective"] is None else f"{int(run['objective']) / 100:.2f}",  # type: ignore[call-overload]
                f"{same} {run.get('note', '')}".strip(), f"{float(run['peak_mb']):.0f}",  # type: ignore[arg-type]
            ])
    print(f"{size} size: seconds from problem and catalog to the optimum, after imports; limit {time_limit_s:g} s")
    table(["catalog", "way", "cores", "blocks", "s", "CPU s", "times ours", "cost found", "optimum", "peak MB"], rows)


def whole_process(repeats: int) -> None:
    """`python -m optimizer solve` against a process that only imports what it needs."""
    imports = "import numpy, pandas, pydantic, typer, pulp, highspy"
    commands = {
        "imports only": [sys.executable, "-c", imports],
        "python -m optimizer solve problems/year_round_home.toml": [sys.executable, "-m", "optimizer", "solve", "problems/year_round_home.toml"],
    }
    seconds: dict[str, list[float]] = {name: [] for name in commands}
    busy: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(repeats + 1):  # the first of each warms the disk and is left out
        for name, command in commands.items():
            started, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
            done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
            seconds[name].append(time.perf_counter() - started)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            busy[name].append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
            if done.returncode:
                print(f"{name}: ended with code {done.returncode}: {(done.stderr.strip().splitlines() or [''])[-1]}\n")
                return
    wall, cpu = ({name: statistics.median(times[1:]) for name, times in of.items()} for of in (seconds, busy))
    print(f"whole process, median of {repeats}")
    rows = [[name, f"{wall[name]:.2f}", f"{wall[name] / wall['imports only']:.2f}", f"{cpu[name]:.2f}", f"{cpu[name] / cpu['imports only']:.2f}"] for name in commands]
    table(["process", "s", "ratio", "CPU s", "ratio"], rows)


def main() -> None:
    """Everything that the arguments ask for, as tables."""
    arguments = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    arguments.add_argument("--measure", nargs=4, metavar=("SIZE", "SEED", "WAY", "LIMIT"), help="one measurement, as JSON")
    arguments.add_argument("--only", choices=("ours", "peers", "process"))
    arguments.add_argument("--sizes", nargs="+", default=["small", "middle", "large"], choices=("small", "middle", "large"))
    arguments.add_argument("--seeds", type=int, default=7, help="catalogs of each size for our own times")
    arguments.add_argument("--repeats", type=int, default=3)
    arguments.add_argument("--peer-seeds", type=int, default=2, help="catalogs of each size for the peers")
    arguments.add_argument("--ways", nargs="+", default=["enumeration", "cp-sat", "cbc", "highs-unpruned", "cbc-unpruned"], choices=tuple(WAYS))
    arguments.add_argument("--limit", type=float, default=300, help="seconds that a peer may take")
    given = arguments.parse_args()
    if given.measure:
        size, seed, way, limit = given.measure
        print(json.dumps(measure(size, int(seed), way, float(limit))))
        return
    versions = ", ".join(f"{name} {importlib.import_module(name).__version__}" for name in ("numpy", "pulp"))
    print(f"Python {platform.python_version()}, {versions}, {os.cpu_count()} cores, {platform.machine()}\n")
    if given.only in (None, "ours"):
        ours(given.sizes, given.seeds, given.repeats)
    if given.only in (None, "process"):
        whole_process(5)
    if given.only in (None, "peers"):
        for size in given.sizes:
            if size != "large":  # millions of candidates: no peer takes them unpruned
                peers_against(size, given.peer_seeds, given.ways, given.limit)


if __name__ == "__main__":
    main()
