"""Program and candidates against the bill and the check, on the shipped catalog."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optimizer import load_catalog, load_problem
from optimizer.answer import Outcome, solve
from optimizer.bill import PriceList
from optimizer.choice.candidates import candidates
from optimizer.choice.families import FAMILIES
from optimizer.choice.program import Program
from optimizer.choice.prune import undominated, undominated_in_groups
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.inputs.catalog import shipped_folder
from optimizer.needs.site import Needs
from optimizer.proof.check import check_design
from optimizer.proof.whole import Whole


@cache
def catalog():
    return load_catalog()


@cache
def catalog_without_kits():
    """Kits make a bill less than what its candidates cost one by one; tests/oracle/test_kits_enumerated.py holds them."""
    return replace(load_catalog(), kits=())


def problem(name, **sections):
    loaded = load_problem(shipped_folder("problems") / f"{name}.toml")
    changed = {key: getattr(loaded, key).model_copy(update=values) for key, values in sections.items()}
    return loaded.model_copy(update=changed)


def found_for(site, *, prune=False):
    needs = Needs(site)
    stock = Stock(site, catalog_without_kits(), PriceList(site, catalog_without_kits()))
    return candidates(needs, catalog_without_kits(), stock, Screening(needs.severities), prune=prune).result()


PRICED = {"price": {"freight_per_kg": 1.37, "freight": 12.5}, "objective": {"price_per_kg": 0.4, "price_per_connection": 0.9}}
LIVED = {"life_cycle": {"objective": "life-cycle", "years": 30.0}, "price": {"freight_per_kg": 1.37}}


@pytest.mark.parametrize("name", ["weekend_cabin", "camper", "year_round_home"])
@pytest.mark.parametrize("sections", [{}, PRICED, LIVED], ids=["plain", "freight and stated prices", "replacements"])
def test_costs_and_attributes_of_candidates_are_those_of_bill_and_proof(name, sections):
    site = problem(name, **sections)
    found = found_for(site)
    prices = PriceList(site, catalog_without_kits())
    draw = np.random.default_rng(1)
    for core in draw.choice(len(found.cores.table), min(6, len(found.cores.table)), replace=False):
        rows = np.nonzero(found.blocks.bank_class == found.cores.table.bank_class[core])[0]
        for row in draw.choice(rows, min(8, len(rows)), replace=False):
            design = found.design(int(core), [(int(row), 2)])
            packs = sum(
                -pieces % catalog().by_id[part].pack_qty * prices.bought_cents(catalog().by_id[part])
                for part, pieces in design.pieces.items()
            )
            cost = found.cores.table.cost[core] + 2 * found.blocks.cost[row]
            assert prices.bill(design).objective_cents == cost + packs
            whole = Whole.of(found.needs, catalog(), design, prices.wiring)
            assert np.allclose(whole.harvest_wh, 2 * found.blocks.harvest_wh[row])
            assert whole.charge_a("low_a") == pytest.approx(2 * found.blocks.low_a[row])
            assert whole.charge_a("high_a") == pytest.approx(2 * found.blocks.high_a[row])
            assert whole.highest_v == pytest.approx(found.blocks.highest_v[row])
            needed = np.max([v for rule, v in whole.core.needed_wh.items() if found.needs.severities.enforced(rule)], axis=0)
            assert np.allclose(found.cores.table.needed_wh[core], needed)


def test_a_cut_forbids_one_choice_and_nothing_else():
    program = Program(found_for(problem("light_kit", limits={"budget": 260.0})))
    first = program.solve("highs", 60, 0.0)
    core, counts = program.chosen()
    program.forbid(core, counts)
    second = program.solve("highs", 60, 0.0)
    assert second.has_solution
    assert program.chosen() != (core, counts)
    assert second.objective >= first.objective


def test_every_constraint_is_named_by_its_family():
    program = Program(found_for(problem("light_kit", limits={"budget": 260.0})))
    constraints = program.model.constraints
    listed = constraints() if callable(constraints) else constraints.values()
    names = {str(row.name).split("__")[0] for row in listed}
    assert names <= {*FAMILIES, "one_core", "class_link", "use_link", "distinct", "cut"}
    assert {"one_core", "energy", "kinds"} <= names


def test_dominance_keeps_both_ends_of_a_window():
    """Hand: window 40-60 A, need 100: A 90 gives 60 at 45 A, B 95 gives 60 at 25 A, C 60 gives 45 at 30 A; B + C is best."""
    cost = np.array([90.0, 95.0, 60.0])
    attributes = np.column_stack([[-60.0, -60.0, -45.0], [-45.0, -25.0, -30.0], [45.0, 25.0, 30.0]])
    assert undominated(cost, cost, attributes, np.arange(3)).all()


def test_dominance_drops_the_dearer_and_one_of_two_equals():
    cost = np.array([10.0, 10.0, 12.0])
    attributes = np.array([[1.0], [1.0], [1.0]])
    assert undominated(cost, cost, attributes, np.array([1, 0, 2])).tolist() == [False, True, False]


def test_dominance_in_groups_is_that_of_each_group() -> None:
    rng = np.random.default_rng(7)
    group, attributes = rng.integers(0, 9, 120), rng.integers(0, 4, (120, 3)).astype(float)
    attributes[:, 2] = 5  # a column that says nothing
    by_hand = [
        not any(
            group[a] == group[b] and (attributes[a] <= attributes[b]).all() and ((attributes[a] < attributes[b]).any() or a < b)
            for a in range(120) if a != b
        )
        for b in range(120)
    ]
    assert undominated_in_groups(group, attributes).tolist() == by_hand
    assert 9 < sum(by_hand) < 100


@pytest.mark.parametrize("name", ["weekend_cabin", "camper", "clinic", "clinic_vaccine_refrigerator", "light_kit", "workshop", "year_round_home"])
def test_shipped_sites_have_a_checked_optimum(name):
    answer = solve(problem(name), catalog())
    assert answer.outcome is Outcome.OPTIMAL
    assert answer.report.valid
    assert answer.gap == 0
    assert check_design(answer.report.design, Needs(answer.problem), catalog()).valid


@pytest.mark.parametrize(("name", "part_of_reason"), [("winter_hut", "in Dec"), ("coast_house", "inverter")])
def test_impossible_sites_say_why(name, part_of_reason):
    answer = solve(problem(name), catalog())
    assert answer.outcome is Outcome.INFEASIBLE
    assert answer.choice is None
    assert part_of_reason in answer.reason
    assert answer.screening
    assert all(row.removed > 0 for row in answer.screening)


def test_a_tiny_time_limit_is_reported_as_a_stop_or_met():
    answer = solve(problem("year_round_home", solver={"time_limit_s": 0.01}), catalog())
    assert answer.outcome in (Outcome.OPTIMAL, Outcome.FEASIBLE, Outcome.STOPPED)
    if answer.outcome is not Outcome.OPTIMAL:
        assert answer.gap is None or answer.gap > 0
