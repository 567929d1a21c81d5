"""Designs with their mounts: the program against the enumeration, in which every set of mounts of every array stands before the check."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import cache
from typing import Any

import pytest
from enumerate import Walk, best_choice
from mounted import mounted_case

from optimizer import load_catalog, load_problem
from optimizer.answer import check, solve
from optimizer.bill import PriceList
from optimizer.design import Block
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog, shipped_folder
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.mounting import Mounting
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import Locks, Problem
from optimizer.needs.sunlight import at_tilt
from optimizer.proof.mounts import mount_lines

SEEDS = (0, 1, 2, 3, 4, 6, 7, 8, 10, 11, 14, 16, 20, 22, 26, 28)
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


def test_mounts_keep_designs_out() -> None:
    """The cases are about mounts: arrays that none may carry alone keep cheaper choices out."""
    alone = [best_choice(*mounted_case(seed)).alone["mount-parts"] for seed in (4, 7, 26, 28)]
    assert min(alone) > 0


@pytest.mark.parametrize("seed", range(10))
def test_an_array_takes_the_cheapest_set_that_the_check_accepts(seed: int) -> None:
    """Every set of mounts, none of them empty, stands before the check's own lines; up to nine modules."""
    problem, catalog = mounted_case(seed)
    rng, walk, mounts = random.Random(seed), Walk(problem, catalog), PriceList(problem, catalog).mounts
    for module in rng.sample(catalog.modules, min(2, len(catalog.modules))):
        for modules in (1, 2, 3, 5, rng.randint(6, 9)):
            block = Block(catalog.controllers[0], module, modules, 1)
            taken, best = mounts.of_block(block), walk._mounts_of(block)
            assert (taken is None) == (best is None), (seed, module.id, modules)
            if taken is not None and best is not None:
                price, weight = ([(mounts.cents_of(m) * n, round(1000 * m.weight_kg) * n) for m, n in one] for one in (taken, best))
                assert [sum(column) for column in zip(*price, strict=True)] == [sum(column) for column in zip(*weight, strict=True)]
                assert not [line.rule for line in mount_lines(walk.needs, catalog.mounts, block, taken, "") if line.fails]


# --- one rule at a time

HUT, SHIPPED = load_problem(shipped_folder("problems") / "island_hut.toml"), load_catalog()
ASKED = HUT.mounting
assert ASKED is not None


@cache
def hut_choice() -> dict[str, Any]:
    choice = solve(HUT, SHIPPED).choice
    assert choice is not None
    return choice.model_dump(mode="json")


def on(mounts: dict[str, int], problem: Problem = HUT, catalog: Catalog = SHIPPED) -> set[str]:
    """Rules that the hut's design breaks on other mounts."""
    choice = hut_choice()
    charging = [{**block, "mounts": mounts} for block in choice["charging"]]
    return {line.rule for line in check({**choice, "charging": charging}, problem, catalog).failures}


def asking(**changed: Any) -> Problem:
    assert ASKED is not None
    return HUT.model_copy(update={"mounting": ASKED.model_copy(update=changed)})


def with_mount(**changed: Any) -> Catalog:
    mount = SHIPPED.find("MT-FLAT-2A", Mount).model_copy(update={"id": "MT-OTHER", **changed})
    return replace(SHIPPED, mounts=tuple(sorted((*SHIPPED.mounts, mount), key=lambda one: one.id)))


def test_the_hut_stands() -> None:
    assert on({"MT-FLAT-2A": 1}) == set()
    assert on({"MT-FLAT-2A": 2}) == set()  # dearer, and one module on each: no rule forbids it


@pytest.mark.parametrize(("changed", "rule"), [
    ({"place": "ground"}, "mount-place"), ({"wind_max_m_s": 43.9}, "mount-wind"), ({"snow_max_kn_m2": 0.59}, "mount-snow"),
    ({"tilt_min_deg": 16.0}, "mount-tilt"), ({"tilt_max_deg": 14.0, "tilt_min_deg": 10.0}, "mount-tilt"), ({"module_length_max_mm": 1688.0}, "mount-size"),
    ({"module_width_max_mm": 995.0}, "mount-size"), ({"salt": False}, "mount-salt"), ({"modules": 1}, "mount-modules"), ({"ballast_kg": 60.0}, "roof-load"),
])
def test_each_rule_keeps_a_mount_out(changed: dict[str, Any], rule: str) -> None:
    catalog = with_mount(price=1.0, **changed)
    assert on({"MT-OTHER": 1}, catalog=catalog) == {rule}
    # It is almost for nothing, and not taken under the same modules; of the one for a single module there are more.
    answer = solve(HUT.model_copy(update={"locks": Locks(only=("PV-330-120H",))}), catalog)
    assert answer.report is not None
    taken = answer.report.prices.mounts.pieces(answer.report.design)
    assert (taken["MT-OTHER"] > 0) == (rule == "mount-modules")


def test_without_any_mount_there_is_no_design() -> None:
    assert on({}, catalog=SHIPPED) == {"mount-modules"}
    bare = replace(SHIPPED, mounts=())
    assert "mounts.csv" in solve(HUT, bare).reason
    assert {line.rule for line in check(hut_choice(), HUT, bare).failures} == {"mount-parts"}


def test_mounts_of_a_problem_without_the_section_are_refused() -> None:
    with pytest.raises(InputError, match=r"no section \[mounting\]"):
        on({"MT-FLAT-2A": 1}, HUT.model_copy(update={"mounting": None}))


def test_the_answer_names_the_wind_that_would_do() -> None:
    reason = solve(asking(wind_m_s=70.0), SHIPPED).reason
    assert "'Mounts are rated for the site's wind' (nearest: MT-FLAT-2A: 52 m/s, at least 70 is asked)" in reason


def test_what_the_roof_bears() -> None:
    report = solve(HUT, SHIPPED).report
    assert report is not None
    (line,) = (one for one in report.lines if one.rule == "roof-load")
    # hand: 2 x 18.5 kg and 16 kg on 2 x 1.689 x 0.996 m2 x cos(15 deg) = 3.24985 m2, 9.80665 m/s2, and 0.6 kN/m2 of snow
    assert line.actual == pytest.approx(53 * 9.80665 / 3.24985 / 1000 + 0.6, abs=1e-5)
    assert on({"MT-FLAT-2A": 1}, asking(roof_load_max_kn_m2=0.7599)) == {"roof-load"}
    assert on({"MT-FLAT-2A": 1}, asking(roof_load_max_kn_m2=0.76)) == set()


def test_a_mount_that_is_not_full_lies_heavier() -> None:
    """Three modules on two mounts for two: one of them carries one module, which the roof may not bear; on three trays it does."""
    pair, tray = (Mount(
        id=name, place="flat roof", modules=modules, module_length_max_mm=2000, module_width_max_mm=1100, tilt_min_deg=0, tilt_max_deg=20, wind_max_m_s=60,
        snow_max_kn_m2=2, salt=True, ballast_kg=ballast, weight_kg=5, price=price,
    ) for name, modules, ballast, price in (("MT-PAIR", 2, 60, 40), ("MT-TRAY", 1, 20, 70)))
    catalog = replace(SHIPPED, mounts=(pair, tray))
    block = Block(catalog.controllers[0], SHIPPED.by_id["PV-330-120H"], 3, 1)  # type: ignore[arg-type]
    # hand: plan 1.62493 m2 a module. One on a pair: 83.5 kg, 0.504 kN/m2; two 102 kg, 0.308; one on a tray 43.5 kg, 0.263; with snow 0.6 more.
    heavy, light = (PriceList(asking(roof_load_max_kn_m2=most), catalog).mounts.of_block(block) for most in (1.2, 1.0))
    assert heavy == ((pair, 2),)
    assert light == ((pair, 1), (tray, 1))
    assert PriceList(asking(roof_load_max_kn_m2=0.85), catalog).mounts.of_block(block) is None


# --- money


def test_freight_of_dangerous_goods_by_hand() -> None:
    report = solve(HUT, SHIPPED).report
    assert report is not None
    lines = {line.part: line.price_cents for line in report.bill.lines}
    battery, count = report.design.bank.battery, report.design.bank.units
    assert battery.dangerous_goods == "9 UN3480"
    # hand: 1.60 for each kilogram of each battery, rounded to a cent a piece
    assert lines["dangerous-goods"] == count * round(160 * battery.weight_kg)
    plain = HUT.model_copy(update={"price": HUT.price.model_copy(update={"dangerous_goods_per_kg": {}})})
    same = check(hut_choice(), plain, SHIPPED).bill
    assert report.bill.total_cents - same.total_cents == lines["dangerous-goods"]
    assert "dangerous-goods" not in {line.part for line in same.lines}


def test_dear_goods_change_the_chemistry() -> None:
    dear = HUT.model_copy(update={"price": HUT.price.model_copy(update={"dangerous_goods_per_kg": {"9 UN3480": 40.0}})})
    chosen = [solve(problem, SHIPPED).report for problem in (HUT, dear)]
    assert [one.design.bank.chemistry.family for one in chosen if one is not None] == ["lithium", "lead-acid"]


def test_the_allowance_for_mounts_is_counted_once_or_not_at_all() -> None:
    bills = [check({**hut_choice(), "tilt_deg": None}, problem, SHIPPED).bill for problem in (HUT, HUT.model_copy(update={"mounting": None}))]
    with_mounts, without = ({line.part: line.quantity for line in bill.lines} for bill in bills)
    assert with_mounts["MT-FLAT-2A"] == 1
    assert "AL-MOUNT" not in with_mounts
    assert without["AL-MOUNT"] == 2
    assert not [part for part in without if part.startswith("MT-")]


# --- what must always hold


def cost(problem: Problem, catalog: Catalog) -> float:
    report = solve(problem, catalog, explain=False).report
    return float("inf") if report is None else report.bill.objective_cents


@pytest.mark.parametrize("seed", (1, 2, 8, 10, 20))
def test_asking_more_of_mounts_never_costs_less(seed: int) -> None:
    problem, catalog = mounted_case(seed)
    asked = problem.mounting
    assert asked is not None
    least = cost(problem, catalog)
    assert least < float("inf")
    harder: list[dict[str, Any]] = [{"wind_m_s": asked.wind_m_s + 5}, {"snow_kn_m2": asked.snow_kn_m2 + 1.0}, {"salt": True}]
    if asked.roof_load_max_kn_m2 is not None:
        harder.append({"roof_load_max_kn_m2": asked.roof_load_max_kn_m2 * 0.7})
    for changed in harder:
        assert cost(problem.model_copy(update={"mounting": asked.model_copy(update=changed)}), catalog) >= least, changed


@pytest.mark.parametrize("seed", (1, 2, 8, 10, 20))
def test_free_mounts_cost_what_no_mounts_cost(seed: int) -> None:
    """One that weighs and costs next to nothing and carries everything: the same design as without the section and without its allowance."""
    problem, catalog = mounted_case(seed)
    data = problem.model_dump(exclude_unset=True)
    data.pop("mounting")
    data.setdefault("locks", {}).pop("exclude", None)
    tilt = problem.array.tilts[0]
    free = Mount(
        id="MT-FREE", place="ground", modules=100, module_length_max_mm=5000, module_width_max_mm=5000, tilt_min_deg=tilt, tilt_max_deg=tilt, wind_max_m_s=90,
        snow_max_kn_m2=9, salt=True, weight_kg=1e-9, price=0.0,
    )
    bare = replace(catalog, mounts=(), allowances=tuple(one for one in catalog.allowances if not one.for_mounts))
    data["rules"] = {**data.get("rules", {}), "cable-tinned": "off"}
    plain = Problem.model_validate(data)
    mounted = plain.model_copy(update={"mounting": Mounting(wind_m_s=40, snow_kn_m2=1.0)})
    assert cost(mounted, replace(bare, mounts=(free,))) == cost(plain, bare)


def test_an_allowance_that_stands_for_mounts_stays_without_the_section() -> None:
    problem, catalog = mounted_case(2)
    plain = problem.model_copy(update={"mounting": None})
    unmarked = tuple(one.model_copy(update={"for_mounts": False}) for one in catalog.allowances)
    assert all(isinstance(one, Allowance) for one in unmarked)
    assert cost(plain, catalog) == cost(plain, replace(catalog, mounts=(), allowances=unmarked))


def test_the_cheapest_tilt_may_have_less_sun() -> None:
    """Several tilts: the answer is the least of all of them, though the sunniest has dearer mounts."""
    kwh = (0.7, 1.3, 2.4, 3.9, 5.0, 5.3, 5.1, 4.3, 3.0, 1.7, 0.85, 0.55)
    array = HUT.array.model_copy(update={"sun_h": None, "horizontal_kwh_m2": kwh, "tilt_deg": (12.0, 15.0, 30.0)})
    several = HUT.model_copy(update={"array": array, "mounting": ASKED.model_copy(update={"roof_load_max_kn_m2": 1.4}) if ASKED else None})
    each = {tilt: cost(at_tilt(several, tilt), SHIPPED) for tilt in several.array.tilts}
    answer = solve(several, SHIPPED)
    assert answer.report is not None
    assert answer.report.bill.objective_cents == min(each.values())
    assert len(set(each.values())) > 1
