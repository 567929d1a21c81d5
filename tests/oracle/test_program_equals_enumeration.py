"""The program's answer is the cheapest of all choices, on hundreds of small random problems."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pulp
import pytest
from cases import RULES_TRAPPED, case
from walks import Enumerated

from optimizer.answer import Answer, solve
from optimizer.rules.book import RULES

ROUNDS = 4
"""Each rule's trap is set so many times."""

AGAIN = {  # traps that not every draw springs: two more seeds each that do
    "battery-place-energy": (614, 958),
    "battery-ventilation": (360, 618),
    "continuous-power": (372, 544),
    "one-string-out": (404, 490),
    "array-rectangles": (434, 606),
    "pwm-nominal-rule": (412, 498),
    "lead-acid-parallel": (652, 1082),
    "ripple-minimum": (416, 588),
    "aged-run-voltage": (345, 431),
    "lead-acid-parallel-preferred": (395, 997),
    "uncertainty": (427, 513),
    "parallel-controllers": (406, 836),
    "battery-warm": (447, 533),
    "bank-current-practice": (437, 523),
    "battery-parallel-limit": (527, 699),
    "battery-unit-energy": (359, 445),
    "full-recharge": (388, 646),
    "freezing-floor": (817, 903),
}
SEEDS = (*range(ROUNDS * len(RULES_TRAPPED)), *(seed for seeds in AGAIN.values() for seed in seeds))
CHUNK = 6
CHUNKS = [SEEDS[at : at + CHUNK] for at in range(0, len(SEEDS), CHUNK)]
WITH_CBC = SEEDS[7::44]

OF_CIRCUITS = {  # decided in test_circuits_enumerated.py: these cases have no cables
    "circuit-parts", "conductor-ampacity", "terminal-ampacity", "cable-voltage", "voltage-drop", "device-rating", "device-protects", "device-voltage",
    "interrupt-rating", "terminal-size", "string-fuse", "arc-fault", "rapid-shutdown", "cable-tinned",
}
OF_MOUNTS = {  # decided in test_mounts_enumerated.py: these cases have no mounts
    "mount-parts", "mount-place", "mount-wind", "mount-snow", "mount-tilt", "mount-adjustable", "mount-size", "mount-modules", "mount-salt",
    "roof-load",
}

OF_SOURCES = {  # decided in test_generator_in_design.py: these cases have no generator to choose
    "generator-present", "generator-ac", "generator-size", "generator-power", "generator-load", "generator-hours", "generator-refill", "solar-share",
    "charger-bank-voltage", "charger-profile", "charger-output", "charger-setting", "charger-rate", "all-sources-current",
}

OF_VISITING = {  # decided in test_visiting_sources.py: these cases have neither alternator nor shore power
    "source-present", "alternator-input", "alternator-load", "shore-size",
}
OF_BUSBARS = {  # decided in test_busbars.py: these cases have no busbars
    "busbar-rating", "busbar-ways", "busbar-voltage",
}

NEVER_BINDS = {
    *OF_CIRCUITS, *OF_MOUNTS, *OF_SOURCES, *OF_VISITING, *OF_BUSBARS,
    "autotransformer-size",  # decided in test_autotransformers.py
    "carry-over", "carry-over-year",  # decided in test_carry_over.py
    "spare-controller", "spare-inverter",  # decided in test_redundancy.py
    "bounds",  # the walk is made of what lies within the bounds
    "battery-series-count",  # the walk puts as many units in series as make the bank's class
    "dc-load-voltage",  # the walk takes the least number of converters that carry their loads
    "loss-of-load",  # these cases ask for no limit; test_target.py decides it
    "soft-starter-size",  # only loads of test_soft_starters.py may have one, and only those that fit are tried
    "charge-limit",  # the walk sets limits only where the device holds them
}


@cache
def answered(seed: int) -> Answer:
    """The answer to a seed's case, solved once for all tests of this file."""
    return solve(*case(seed))


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_the_program_finds_what_enumeration_finds(seeds: tuple[int, ...], enumerated: Callable[[int], Enumerated]) -> None:
    for seed in seeds:
        best = enumerated(seed).cost_cents
        answer = answered(seed)
        assert answer.outcome.value == ("infeasible" if best is None else "optimal"), f"seed {seed}"
        if best is None:
            assert answer.report is None
            assert answer.choice is None
            assert answer.reason
        else:
            assert answer.report is not None
            assert answer.report.valid, f"seed {seed}"
            assert answer.report.bill.objective_cents == best, f"seed {seed}"


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_pruning_changes_nothing(seeds: tuple[int, ...], enumerated: Callable[[int], Enumerated]) -> None:
    for seed in seeds[::4]:
        answer = solve(*case(seed), prune=False)
        assert (answer.report.bill.objective_cents if answer.report else None) == enumerated(seed).cost_cents, f"seed {seed}"


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_the_order_of_the_catalogs_rows_changes_nothing(seeds: tuple[int, ...]) -> None:
    for seed in seeds[::5]:
        problem, catalog = case(seed)
        rng = random.Random(seed)
        kinds = ("modules", "batteries", "controllers", "inverters", "converters", "allowances")
        shuffled = {kind: tuple(rng.sample(getattr(catalog, kind), len(getattr(catalog, kind)))) for kind in kinds}
        assert solve(problem, replace(catalog, **shuffled)).choice == answered(seed).choice, f"seed {seed}"


@pytest.mark.filterwarnings("ignore:PULP_CBC_CMD is deprecated:DeprecationWarning")
@pytest.mark.skipif("PULP_CBC_CMD" not in pulp.listSolvers(onlyAvailable=True), reason="this PuLP brings no CBC")
@pytest.mark.parametrize("seed", WITH_CBC)
def test_another_solver_chooses_the_same(seed: int) -> None:
    assert solve(*case(seed), solver="cbc").choice == answered(seed).choice


def test_every_rule_decides_some_cases(enumerated: Callable[[int], Enumerated]) -> None:
    """A rule counts where it alone keeps out a choice cheaper than the best valid one."""
    decided: Counter[str] = Counter()
    feasible = 0
    for seed in SEEDS:
        found = enumerated(seed)
        feasible += found.cost_cents is not None
        decided.update(found.alone.keys())
    print(f"{len(SEEDS)} cases, {feasible} feasible, {len(SEEDS) - feasible} infeasible")
    for rule in RULES:
        print(f"{rule:32}{decided[rule]:5}")
    assert len(SEEDS) >= 300
    assert feasible >= 0.6 * len(SEEDS)
    assert len(SEEDS) - feasible >= 0.1 * len(SEEDS)
    assert set(RULES) - NEVER_BINDS == set(decided), "a rule decides no case, or one that never should decides some"
    assert {rule: n for rule, n in decided.items() if n < 3} == {}
