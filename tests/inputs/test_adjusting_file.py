"""`adjustments_per_year` and `tilt_deg_by_month` in a problem, `adjustable` in mounts.csv: what may be, and every error with its place."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from optimizer import load_catalog, load_problem
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.parts import Complaint
from optimizer.needs.positions import changes_a_year, positions

STATION = shipped_folder("problems") / "bird_station.toml"
PLAN = "[" + ", ".join(["75"] * 3 + ["30"] * 6 + ["75"] * 3) + "]"


def station(folder: Path, *changes: tuple[str, str]) -> Path:
    text = STATION.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    shutil.copy(STATION.with_name("bird_station_loads.csv"), folder)
    (folder / "station.toml").write_text(text, encoding="utf-8")
    return folder / "station.toml"


def errors(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_problem(path)
    return [text.split("station.toml: ")[-1] for text in caught.value.problems]


def test_a_settled_plan_is_read(tmp_path: Path) -> None:
    problem = load_problem(station(tmp_path, ('tilt_deg = "best"', f"tilt_deg_by_month = {PLAN}"), ("adjustments_per_year = 2\n", "")))
    assert problem.array.positions_deg == (30.0, 75.0)
    assert not problem.array.tilt_is_open
    assert load_problem(STATION).array.positions_deg == ()
    assert load_problem(STATION).array.tilt_is_open


@pytest.mark.parametrize(("changes", "said"), [
    ([('tilt_deg = "best"', "tilt_deg = 40")], "adjustments_per_year: needs tilts to choose from"),
    ([("adjustments_per_year = 2", "adjustments_per_year = 1")], "adjustments_per_year"),
    ([("adjustments_per_year = 2", f"tilt_deg_by_month = {PLAN}")], "tilt_deg and tilt_deg_by_month say the same thing"),
    ([('tilt_deg = "best"', f"tilt_deg_by_month = {PLAN}")], "tilt_deg_by_month says already when the array is adjusted"),
    ([('tilt_deg = "best"', "tilt_deg_by_month = [30, 60]"), ("adjustments_per_year = 2\n", "")], "12 values"),
    ([('[mounting]\nplaces = ["ground"]', "[mounting]\nplaces = []"), ("[mounting]", "#"), ("places = []", ""), ("wind_m_s = 40", ""), ("snow_kn_m2 = 1.6", "")],
     "array.adjustments_per_year: needs a section [mounting]"),
    ([("[autonomy]", "[reliability]\nloss_of_load_hours_max = 20\n\n[autonomy]")], "array.adjustments_per_year: tilts are told apart by the sun of months"),
    ([("[autonomy]", '[[planes]]\nname = "a"\ntilt_deg = 20\nazimuth_deg = 180\n\n[autonomy]')], "is for an array on one plane"),
])
def test_what_cannot_be_is_said(tmp_path: Path, changes: list[tuple[str, str]], said: str) -> None:
    assert any(said in text for text in errors(station(tmp_path, *changes)))


@pytest.mark.parametrize(("changed", "said"), [
    ({"tilt_max_deg": 20.0}, "can be set to one tilt only"), ({"place": "pitched roof"}, "its pitch is their only tilt"),
])
def test_a_mount_that_cannot_be_set_anew(changed: dict[str, object], said: str) -> None:
    mount = next(one for one in load_catalog().mounts if one.adjustable).model_copy(update={"tilt_min_deg": 20.0, **changed})
    complaints: list[Complaint] = list(mount.errors())
    assert [(column, said in text) for column, text in complaints] == [("adjustable", True)]


def test_fixed_mounts_of_the_catalog_are_no_dearer_than_adjustable_ones() -> None:
    """An invented catalog, but a plausible one: by the place of a module, a mount that can be set anew costs more than the plain one of its size."""
    mounts = {one.id: one for one in load_catalog().mounts}
    for plain, other in (("MT-GROUND-2", "MT-GROUND-2J"), ("MT-GROUND-6", "MT-GROUND-6J")):
        assert mounts[other].adjustable
        assert not mounts[plain].adjustable
        assert mounts[other].modules == mounts[plain].modules
        assert mounts[other].price > mounts[plain].price


def test_positions_by_hand() -> None:
    assert [one.words for one in positions([75.0] * 3 + [30.0] * 6 + [75.0] * 3)] == ["30 deg Apr to Sep", "75 deg Oct to Mar"]
    assert [one.words for one in positions([40.0] * 11 + [75.0])] == ["40 deg Jan to Nov", "75 deg Dec"]
    assert [one.months for one in positions([20.0] * 12)] == [tuple(range(12))]
    assert [changes_a_year(tilts) for tilts in ([20.0] * 12, [40.0] * 11 + [75.0], [10.0, 20.0] * 6, [10, 10, 10, 20, 20, 20, 30, 30, 30, 20, 20, 20])] == [0, 2, 12, 4]
