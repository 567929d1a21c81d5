"""Designs with their circuits: the program against the enumeration, each circuit against every pair of cable and device."""

from __future__ import annotations

import random
from collections import Counter

import numpy as np
import pytest
from enumerate import best_choice
from wired import roof_case, shipped, wired_case

from optimizer.answer import solve
from optimizer.circuits.circuit import Ask, Circuit
from optimizer.circuits.wiring import Wiring
from optimizer.needs.site import Needs
from optimizer.proof.check import check
from optimizer.proof.circuits import circuit_lines

SEEDS = (2, 6, 8, 12, 22, 24, 66, 84, 86, 112, 114, 120, 140, 152)
CHUNKS = [SEEDS[at : at + 3] for at in range(0, len(SEEDS), 3)]

OF_CIRCUITS = {
    "circuit-parts", "conductor-ampacity", "terminal-ampacity", "cable-voltage", "voltage-drop", "device-rating", "device-protects", "device-voltage",
    "interrupt-rating", "terminal-size", "string-fuse", "arc-fault",
}


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_the_program_finds_what_enumeration_finds_with_circuits(seeds: tuple[int, ...]) -> None:
    for seed in seeds:
        problem, catalog = wired_case(seed)
        best = best_choice(problem, catalog)
        answer = solve(problem, catalog)
        assert (answer.report.bill.objective_cents if answer.report else None) == best.cost_cents, f"seed {seed}: {answer.reason}"
        if answer.report is not None and answer.choice is not None:
            again = check(answer.choice.model_dump(mode="json"), problem, catalog)
            assert again.valid, f"seed {seed}"
            assert again.bill == answer.report.bill
            unpruned = solve(problem, catalog, prune=False) if seed % 4 == 3 else answer
            assert unpruned.report is not None
            assert unpruned.report.bill.objective_cents == best.cost_cents, f"seed {seed}"


def test_what_a_roofs_code_asks_moves_the_best_string() -> None:
    """Detectors above 80 V and a rapid shutdown: as the enumeration finds, some by paying, some by shorter strings."""
    paid = shorter = 0
    for seed in (7, 31, 35, 59, 117, 124, 142):
        problem, catalog = roof_case(seed)
        best, answer = best_choice(problem, catalog), solve(problem, catalog)
        assert answer.report is not None
        assert answer.report.bill.objective_cents == best.cost_cents, seed
        kinds = {device.kind for circuit in answer.report.circuits for device, _ in circuit.beside}
        assert ("array shutdown" in kinds) is problem.wiring.rapid_shutdown
        paid += "arc-fault detector" in kinds
        without = solve(*wired_case(seed), explain=False).report
        assert without is not None
        assert without.bill.objective_cents <= answer.report.bill.objective_cents
        shorter += max(block.series for block in answer.report.design.blocks) < max(block.series for block in without.design.blocks)
    assert paid >= 2
    assert shorter >= 3


def test_circuits_keep_designs_out() -> None:
    """The cases are about circuits: some rule of them alone keeps cheaper choices out."""
    alone: Counter[str] = Counter()
    for seed in (6, 86, 112, 152):
        problem, catalog = wired_case(seed)
        best = best_choice(problem, catalog)
        alone += best.alone
    assert {rule for rule in OF_CIRCUITS if alone[rule]} == {"circuit-parts", "voltage-drop", "terminal-ampacity", "arc-fault"}


@pytest.mark.parametrize("seed", range(12))
def test_a_circuit_takes_the_cheapest_pair_that_the_check_accepts(seed: int) -> None:
    """Every pair of cable and device is put before the check's own lines; hand-made currents, voltages, lengths."""
    rng = random.Random(seed)
    problem, _ = wired_case(3)
    catalog = shipped()
    data = problem.model_dump(exclude_unset=True)
    data["wiring"] = {"family": rng.choice(("NEC", "IEC")), "conductors_together": rng.choice((3, 6)), "inverter_run_m": rng.choice((1.0, 4.0, 15.0))}
    problem = type(problem).model_validate(data)
    wiring = Wiring(Needs(problem), catalog, lambda part: part.price_cents)
    fitter, use = wiring.inverting, "battery"
    for _ in range(6):
        current = round(10 ** rng.uniform(0.3, 2.7), 1)
        ask = Ask(
            "inverter", "", wiring.asked.inverter_run_m, 2, current, rng.choice((15.0, 30.0, 60.0)), rng.choice((1000.0, 8000.0, 18000.0)),
            wiring.needs.electronics_highest_c, current, rng.choice((12.8, 25.6, 51.2)), wiring.asked.inverter_drop_pct,
        )
        pairs = []
        for cable in wiring.cables(use):
            for device in wiring.devices("breaker", "fuse"):
                circuit = Circuit(ask, cable, device)
                if not any(line.fails for line in circuit_lines(wiring.needs, catalog.tables, (circuit,), wiring)):
                    cents = cable.price_cents * circuit.metres + device.price_cents
                    area = catalog.tables.conductors[cable.family, cable.size].area_mm2
                    if device.terminal_mm2_max is None or area <= device.terminal_mm2_max * (1 + 1e-6):
                        pairs.append(cents)
        fit = wiring.fit_of(fitter, ask)
        assert bool(fit.found[0]) == bool(pairs), (ask, pairs[:3])
        if pairs:
            assert int(fit.cents[0]) == min(pairs)


WITHOUT_DESIGN = (112, 120)


@pytest.mark.parametrize("seed", [seed for seed in SEEDS if seed not in WITHOUT_DESIGN])
def test_no_device_is_above_what_its_conductor_allows(seed: int) -> None:
    """Over designs of random cases: each protective device against its conductor, and the schedules name a rule each."""
    problem, catalog = wired_case(seed)
    answer = solve(problem, catalog)
    assert answer.report is not None
    tables = catalog.tables
    for circuit in answer.report.circuits:
        device, cable = circuit.device, circuit.cable
        if device is None or cable is None or circuit.ask.kind == "array run":
            continue
        conductor = tables.conductors[cable.family, cable.size]
        carried = conductor.ampacity_a(cable.insulation_c) * tables.ambient_factor(cable.family, conductor.rated_at_c(cable.insulation_c), circuit.ask.ambient_c)
        carried *= tables.bundling_factor(cable.family, problem.wiring.conductors_together)
        least = min(carried, conductor.ampacity_a(min(cable.insulation_c, 75)))
        ratings = np.array(tables.standard_ratings(cable.family))
        next_size = float(ratings[ratings >= least * (1 - 1e-6)].min()) if cable.family == "NEC" else least
        assert device.rated_a <= next_size * (1 + 1e-6)
        assert device.rated_a >= circuit.ask.steady_a * (1 - 1e-6)
