"""The fewest changes to an order, against every set of changes enumerated."""

from __future__ import annotations

import json
from itertools import combinations

import pytest
from cases import case
from enumerate import best_choice
from small_cases import tiny
from typer.testing import CliRunner

from optimizer.answer import Outcome, solve
from optimizer.cli import app
from optimizer.design import design_of
from optimizer.handover.near_json import near_data
from optimizer.handover.near_text import near_text
from optimizer.inputs.parts import Allowance
from optimizer.needs.requirements import with_section
from optimizer.questions import near as question
from optimizer.questions.near import near

CASES = (
    (21, 1.7, 4), (27, 1.3, 0), (27, 1.7, None), (39, 1.3, 1), (39, 1.7, 1), (57, 1.3, 0), (61, 1.3, 0), (61, 1.7, 3),
    (69, 1.3, 1),
)
"""Seed, growth of the loads, lines that change at least (pinned; each is compared with the enumeration): none, one, three, four, impossible."""


def run(*arguments):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


def grown(problem, by=1.3):
    """The problem with every load larger."""
    return problem.model_copy(update={"loads": tuple(load.model_copy(update={"watts": load.watts * by}) for load in problem.loads)})


def enumerated(problem, catalog, order):
    """Fewest changed lines and their least cost: each set of lines let go with each set of new parts, the smallest first."""
    parts = [part_id for part_id, part in catalog.by_id.items() if not isinstance(part, Allowance)]
    for changes in range(len(parts) + 1):
        costs = [
            best_choice(with_section(
                problem, "locks",
                exclude=(*problem.locks.exclude, *(part for part in parts if part not in order and part not in freed)),
                at_least={**problem.locks.at_least, **{part: order[part] for part in order if part not in freed}},
                at_most={**problem.locks.at_most, **{part: order[part] for part in order if part not in freed}},
            ), catalog).cost_cents
            for freed in combinations(parts, changes)
        ]
        found = [cost for cost in costs if cost is not None]
        if found:
            return changes, min(found)
    return None


@pytest.mark.parametrize(("seed", "by", "changes"), CASES)
def test_the_fewest_changes_are_those_of_the_enumeration(seed, by, changes):
    problem, catalog = tiny(seed)
    choice = solve(problem, catalog).choice
    after = grown(problem, by)
    found = near(after, catalog, choice)
    order = design_of(choice, catalog).pieces
    expected = enumerated(after, catalog, order)
    if changes is None:
        assert expected is None
        assert found.answer.outcome is Outcome.INFEASIBLE
        return
    report = found.answer.report
    assert (found.changed_lines, report.bill.objective_cents) == expected
    assert found.changed_lines == changes
    assert found.complete
    assert report.valid
    assert found.answer.problem == after
    assert {*found.kept, *found.changed, *found.removed} == {*order}


def test_an_order_that_still_holds_is_kept_whole():
    problem, catalog = case(6)
    answer = solve(problem, catalog)
    found = near(grown(problem, 0.95), catalog, answer.choice)
    assert found.changed_lines == 0
    assert found.kept == answer.report.design.pieces
    assert not found.added


def test_what_is_known_so_far_after_a_stop(monkeypatch):
    problem, catalog = case(6)
    choice = solve(problem, catalog).choice

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(question._Search, "run", stop)
    found = near(grown(problem), catalog, choice)
    assert not found.complete
    assert found.answer.outcome is Outcome.FEASIBLE
    assert found.answer.choice == found.cheapest.choice


def test_the_command(tmp_path):
    order = tmp_path / "order.json"
    order.write_text(run("solve", "light_kit", "--json").stdout)
    told = run("solve", "light_kit", "--near", order, "--json")
    assert told.exit_code == 0, told.stderr
    data = json.loads(told.stdout)
    assert data["near"]["changed_lines"] == 0
    assert data["near"]["complete"]
    assert data["near"]["changed"] == data["near"]["added"] == data["near"]["removed"] == []
    assert {"part", "quantity"} == set(data["near"]["kept"][0])
    text = run("solve", "light_kit", "--near", order).stdout
    assert "Against the order" in text
    assert "No line changes" in text
    assert max(map(len, text.splitlines())) <= 79


def test_changes_in_text_and_json():
    problem, catalog = tiny(39)
    found = near(grown(problem), catalog, solve(problem, catalog).choice)
    told = near_data(found, {})["near"]
    assert told["changed_lines"] == len(told["changed"]) + len(told["added"]) + len(told["removed"]) == 1
    assert all(set(line) == {"part", "from", "to"} for line in told["changed"])
    text = near_text(found)
    assert "1 line changes" in text
    assert max(map(len, text.splitlines())) <= 79


def test_one_order_is_for_one_problem(tmp_path):
    refused = run("solve", "light_kit", "weekend_cabin", "--near", tmp_path / "order.json")
    assert refused.exit_code == 2
    assert "--near" in refused.stderr


@pytest.mark.parametrize("text", ["", "choice = 3", '{"choice": null}'])
def test_a_file_that_is_no_choice(tmp_path, text):
    order = tmp_path / "order.toml"
    order.write_text(text)
    assert run("solve", "light_kit", "--near", order).exit_code == 3
