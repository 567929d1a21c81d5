"""Questions about mounts: why not this one, what do wind, snow, roof and place cost, which rating would open an impossible site."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from optimizer import load_catalog, load_problem
from optimizer.answer import solve
from optimizer.cli import app
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import requirements
from optimizer.questions.cost_of import cost_of
from optimizer.questions.curve import axis_of
from optimizer.questions.gaps import FIELDS, Field, gaps
from optimizer.questions.opening import Opening
from optimizer.questions.relax import relax
from optimizer.questions.why_not import why_not, with_price

HUT, CATALOG = load_problem(shipped_folder("problems") / "island_hut.toml"), load_catalog()
FEW = replace(
    CATALOG, modules=tuple(one for one in CATALOG.modules if one.id in ("PV-330-120H", "PV-200-36", "PV-100-36")),
    batteries=tuple(one for one in CATALOG.batteries if one.id in ("BT-LFP24-100", "BT-LFP12-100", "BT-FLA12-100")), kits=(),
)


def asking(**changed: Any) -> Problem:
    assert HUT.mounting is not None
    return HUT.model_copy(update={"mounting": HUT.mounting.model_copy(update=changed)})


def cents(problem: Problem, catalog: Any) -> int | None:
    report = solve(problem, catalog, explain=False).report
    return report.bill.objective_cents if report else None


@pytest.mark.parametrize(("mount", "rule"), [
    ("MT-PITCH-4", "mount-place"), ("MT-FLAT-1B", "mount-wind"), ("MT-FLAT-2B", "roof-load"),
])
def test_a_mount_that_may_not_stand_there(mount: str, rule: str) -> None:
    found = why_not(HUT, FEW, mount)
    assert found.verdict == "screened out"
    assert found.blocking is not None
    assert found.blocking.rule == rule


def test_the_shortfall_says_what_is_asked() -> None:
    found = why_not(HUT, FEW, "MT-FLAT-1B")
    assert found.blocking is not None
    assert found.blocking.shortfall == "Mounts are rated for the site's wind: 38 m/s, at least 44 asked"
    place = why_not(asking(places=("flat roof", "ground")), FEW, "MT-PITCH-4").blocking
    assert place is not None
    assert place.shortfall.endswith("pitched roof, equals flat roof or ground asked")


def test_a_beaten_mount_enters_at_its_price() -> None:
    problem = HUT.model_copy(update={"array": HUT.array.model_copy(update={"tilt_deg": 20.0})})
    assert problem.mounting is not None
    problem = problem.model_copy(update={"mounting": problem.mounting.model_copy(update={"places": ("flat roof", "ground")})})
    found = why_not(problem, FEW, "MT-GROUND-4H")
    base = solve(problem, FEW)
    assert found.verdict == "beaten"
    assert base.report is not None
    mount = FEW.find("MT-GROUND-4H", Mount)
    # The same design on the other mount, bought with its freight, in place of the one of today.
    today = FEW.find("MT-FLAT-2A", Mount)
    assert found.more_cents == sum(sign * (one.price_cents + round(110 * one.weight_kg)) for sign, one in ((1, mount), (-1, today)))
    price = found.enters_below_cents
    assert price is not None
    at, above = (cents(problem, with_price(FEW, mount, price + more)) for more in (0, 1))
    assert at == above == base.report.bill.objective_cents
    assert (cents(problem, with_price(FEW, mount, price - 1)) or 0) < base.report.bill.objective_cents


def test_a_chosen_mount_stays_up_to_its_price() -> None:
    found = why_not(HUT, FEW, "MT-FLAT-2A")
    assert found.verdict == "chosen"
    assert not found.indispensable or found.enters_below_cents is None
    without = cents(HUT.model_copy(update={"locks": HUT.locks.model_copy(update={"exclude": ("MT-FLAT-2A",)})}), FEW)
    if found.enters_below_cents is None:
        assert without is None
        return
    mount = FEW.find("MT-FLAT-2A", Mount)
    assert cents(HUT, with_price(FEW, mount, found.enters_below_cents)) <= without  # type: ignore[operator]
    report = solve(HUT, with_price(FEW, mount, found.enters_below_cents + 1)).report
    assert report is not None
    assert not report.prices.mounts.pieces(report.design)["MT-FLAT-2A"]


def test_locks_and_a_problem_without_mounts_are_said() -> None:
    locked = HUT.model_copy(update={"locks": HUT.locks.model_copy(update={"exclude": ("MT-FLAT-2B",)})})
    assert why_not(locked, FEW, "MT-FLAT-2B").reason == "the problem itself leaves it out: locks.exclude"
    only = HUT.model_copy(update={"locks": HUT.locks.model_copy(update={"only": ("MT-FLAT-2A",)})})
    assert why_not(only, FEW, "MT-FLAT-2B").reason == "the problem itself leaves it out: locks.only keeps MT-FLAT-2A"
    plain = HUT.model_copy(update={"mounting": None})
    assert why_not(plain, FEW, "MT-FLAT-2B").reason == "the problem has no section [mounting]: an allowance stands for mounts"


# --- requirements


def test_hard_rules_of_mounts_are_tightened_only() -> None:
    found = {one.name: one for one in requirements(HUT) if one.name.startswith("mounting.")}
    assert set(found) == {"mounting.places", "mounting.wind_m_s", "mounting.snow_kn_m2", "mounting.roof_load_max_kn_m2"}
    assert {name for name, one in found.items() if one.looser or one.without} == {"mounting.places"}
    assert found["mounting.wind_m_s"].tighter == (49, 54)
    assert not [one for one in requirements(HUT.model_copy(update={"mounting": None})) if one.name.startswith("mounting.")]


def test_what_they_cost() -> None:
    priced = {one.requirement.name: one for one in cost_of(HUT, FEW).priced}
    base = cents(HUT, FEW)
    for name, asked in (("wind_m_s", 49.0), ("snow_kn_m2", 1.1), ("roof_load_max_kn_m2", 0.72)):
        one = priced[f"mounting.{name}"]
        assert one.looser is None
        assert one.tighter is not None
        assert (one.tighter.answer.report.bill.objective_cents if one.tighter.answer.report else None) == cents(asking(**{name: asked}), FEW)
    anywhere = priced["mounting.places"].looser
    assert anywhere is not None
    assert anywhere.cents is not None
    assert base is not None
    assert anywhere.cents <= base


def test_another_place_opens_a_site() -> None:
    """A roof of which mounts ask too much: elsewhere there is a design, and no rule of wind or weight was touched."""
    problem = asking(places=("pole",), wind_m_s=46.0)
    found = relax(problem, FEW, together=1, with_gaps=False)
    assert ["mounting.places"] in [[one.requirement.name for one in way.loosen] for way in found.ways]
    assert not any(one.requirement.name.split(".")[-1] in ("wind_m_s", "snow_kn_m2", "roof_load_max_kn_m2") for way in found.ways for one in way.loosen)


def test_a_gap_names_the_rating_that_would_do() -> None:
    problem = asking(wind_m_s=70.0)
    found = [gap for gap in gaps(problem, FEW, Opening()) if gap.sufficient]
    assert [(gap.field.kind, gap.field.name) for gap in found] == [("mounts", "wind_max_m_s")]
    needed = float(found[0].needed)
    assert 70 <= needed <= 70 * 1.01
    assert cents(problem, Field("mounts", "wind_max_m_s", "m/s", rises=True).lifted(FEW, needed)) is not None
    assert {field.name for field in FIELDS if field.kind == "mounts"} >= {"wind_max_m_s", "snow_max_kn_m2", "tilt_max_deg", "ballast_kg"}


def test_a_place_without_mounts_is_a_gap() -> None:
    bare = replace(FEW, mounts=tuple(one for one in FEW.mounts if one.place != "flat roof"))
    found = [(gap.field.name, gap.needed) for gap in gaps(HUT, bare, Opening()) if gap.sufficient]
    assert ("place", "flat roof") in found


def test_the_price_of_a_mount_is_an_axis_that_is_sampled() -> None:
    assert not axis_of(HUT, CATALOG, "price:MT-FLAT-2A").exact


# --- handed over


def test_schedules_and_cautions_name_the_mounts(tmp_path: Path) -> None:
    runner = CliRunner()
    answer = json.loads(runner.invoke(app, ["solve", str(shipped_folder("problems") / "island_hut.toml"), "--json"]).stdout)
    (row,) = answer["schedules"]["mounts"]
    assert (row["mount"], row["count"], row["modules"], row["place"]) == ("MT-FLAT-2A", 1, 2, "flat roof")
    assert row["roof_load_kn_m2"] == pytest.approx(next(line["actual"] for line in answer["checks"] if line["rule"] == "roof-load"))
    assert any("structural engineer" in text for text in answer["cautions"])
    assert any("tinned" in text for text in answer["cautions"])
    assert all(CATALOG.by_id[row["cable"]].tinned for row in answer["schedules"]["circuits"])  # type: ignore[attr-defined]
    text = runner.invoke(app, ["solve", str(shipped_folder("problems") / "island_hut.toml")]).stdout
    assert "1 x MT-FLAT-2A, flat roof" in text
    choice = tmp_path / "mine.json"
    charging = [{**block, "mounts": {"MT-FLAT-2B": 1}} for block in answer["choice"]["charging"]]
    choice.write_text(json.dumps({**answer["choice"], "charging": charging}), encoding="utf-8")
    checked = runner.invoke(app, ["check", str(shipped_folder("problems") / "island_hut.toml"), str(choice), "--json"])
    assert checked.exit_code == 4
    assert [line["rule"] for line in json.loads(checked.stdout)["checks"] if line["passed"] is False and line["severity"] != "soft"] == ["roof-load"]
