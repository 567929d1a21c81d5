"""Designs with their mounts: the program against the enumeration, in which every set of mounts of every array stands before the check."""

from __future__ import annotations

import pytest
from enumerate import best_choice
from mounted import mounted_case

from optimizer.answer import solve
from optimizer.proof.check import check

SEEDS = (0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 14, 16, 17, 20)
CHUNKS = [SEEDS[at : at + 4] for at in range(0, len(SEEDS), 4)]


@pytest.mark.parametrize("seeds", CHUNKS, ids=lambda seeds: f"{seeds[0]}-{seeds[-1]}")
def test_the_program_finds_what_enumeration_finds_with_mounts(seeds: tuple[int, ...]) -> None:
    for seed in seeds:
        problem, catalog = mounted_case(seed)
        best = best_choice(problem, catalog)
        answer, unpruned = (solve(problem, catalog, prune=prune) for prune in (True, False))
        found = [one.report.bill.objective_cents if one.report else None for one in (answer, unpruned)]
        assert found == [best.cost_cents] * 2, f"seed {seed}: {answer.reason}"
        if answer.report is not None and answer.choice is not None:
            again = check(answer.choice.model_dump(mode="json"), problem, catalog)
            assert again.valid, f"seed {seed}"
            assert again.bill == answer.report.bill
