"""Time and memory of the replay: `python tests/benchmarks/replay.py [SITE] [YEARS]`. It prints and asserts nothing.

The making of the weather is counted by itself. Memory is what numpy and Python hold at most beside the weather.
"""

from __future__ import annotations

import sys
import time
import tracemalloc

import numpy as np

from optimizer import load_catalog, load_problem, solve
from optimizer.bill import PriceList
from optimizer.inputs.problem_file import shipped_problem
from optimizer.needs.hours import hour_loads
from optimizer.needs.synthetic import air_hours_c, sky_of
from optimizer.proof.plant import plant_of
from optimizer.proof.replay import live

RUNS = 3


def main() -> None:
    """Print the figures."""
    sites, years = [name for name in sys.argv[1:] if not name.isdecimal()], next((int(text) for text in sys.argv[1:] if text.isdecimal()), 1000)
    for site in sites or ["year_round_home", "light_kit", "weekend_cabin"]:
        path = shipped_problem(f"{site}.toml")
        assert path is not None, f"{site} ships with the tool"
        answer = solve(load_problem(path), load_catalog(None))
        assert answer.report is not None, f"{site} has a design"
        needs, design = answer.report.whole.needs, answer.report.design
        since = time.perf_counter()
        sun_w_m2, air_c = sky_of(answer.problem).plane_w_m2(years, np.random.default_rng(1)), air_hours_c(answer.problem.temperatures.air_c)
        weather_s = time.perf_counter() - since
        times = []
        for _ in range(RUNS):
            since = time.perf_counter()
            live(plant_of(needs, design, PriceList(answer.problem, answer.catalog).wiring, hour_loads(needs)), sun_w_m2, air_c)
            times.append(time.perf_counter() - since)
        tracemalloc.start()
        lived = live(plant_of(needs, design, PriceList(answer.problem, answer.catalog).wiring, hour_loads(needs)), sun_w_m2, air_c)
        peak = tracemalloc.get_traced_memory()[1] / 1e6
        tracemalloc.stop()
        kinds = ", ".join(block.device.kind for block in design.blocks)
        print(f"{site:<18}{years:6,} years: {min(times):5.2f} s, {peak:5.0f} MB; weather {weather_s:5.2f} s, {sun_w_m2.nbytes / 1e6:5.0f} MB; "
              f"balance {lived.balance_error:.0e}; {kinds}")


if __name__ == "__main__":
    main()
