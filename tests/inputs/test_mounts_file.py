"""mounts.csv and [mounting]: what may be, every error with its place, and what is doubted."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from optimizer import load_catalog, load_problem, solve
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.mounting import Mounting

SHIPPED = load_catalog()
HUT = shipped_folder("problems") / "island_hut.toml"
MOUNT = {
    "id": "MT-X", "place": "flat roof", "modules": "2", "module_length_max_mm": "2300", "module_width_max_mm": "1150", "tilt_min_deg": "10", "tilt_max_deg": "15",
    "wind_max_m_s": "44", "snow_max_kn_m2": "2.4", "salt": "y", "ballast_kg": "80", "weight_kg": "10", "price": "80",
}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    return home


def with_row(home: Path, **changed: str) -> Path:
    row = {**MOUNT, **changed}
    (home / "mounts.csv").write_text(",".join(row) + "\n" + ",".join(row.values()) + "\n", encoding="utf-8")
    return home


def hut(folder: Path, *changes: tuple[str, str]) -> Path:
    text = HUT.read_text(encoding="utf-8")
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    shutil.copy(HUT.with_name("island_hut_loads.csv"), folder)
    (folder / "hut.toml").write_text(text, encoding="utf-8")
    return folder / "hut.toml"


def errors(path: Path) -> list[str]:
    with pytest.raises(InputError) as caught:
        load_problem(path)
    return [text.split("hut.toml: ")[-1] for text in caught.value.problems]


def test_a_good_row_is_read_and_the_file_is_optional(folder: Path) -> None:
    catalog = load_catalog(with_row(folder))
    (mount,) = catalog.mounts
    assert (mount.place, mount.modules, mount.salt, mount.ballast_kg, mount.price_cents) == ("flat roof", 2, True, 80, 8000)
    assert catalog.by_id["MT-X"] is mount
    (folder / "mounts.csv").unlink()
    assert load_catalog(folder).mounts == ()


@pytest.mark.parametrize(("changed", "message"), [
    ({"place": "roof"}, "place: must be 'pitched roof', 'flat roof', 'ground' or 'pole' (got 'roof')"),
    ({"modules": "0"}, "modules: must be greater than or equal to 1 (got '0')"),
    ({"tilt_min_deg": "20"}, "tilt_min_deg: must not be above tilt_max_deg (15) (got '20.0')"),
    ({"tilt_max_deg": "95"}, "tilt_max_deg: must be less than or equal to 90 (got '95')"),
    ({"module_width_max_mm": "2400"}, "module_width_max_mm: is the short side: it must not be above module_length_max_mm (2300) (got '2400.0')"),
    ({"wind_max_m_s": ""}, "wind_max_m_s: is required and blank"),
    ({"salt": "maybe"}, "salt: must be y or n (got 'maybe')"),
    ({"weight_kg": "0"}, "weight_kg: must be greater than 0 (got '0')"),
])
def test_a_bad_row_is_named(folder: Path, changed: dict[str, str], message: str) -> None:
    with pytest.raises(InputError) as caught:
        load_catalog(with_row(folder, **changed))
    assert caught.value.problems == [f"mine/mounts.csv:2: {message}"]


@pytest.mark.parametrize(("changed", "message"), [
    ({"wind_max_m_s": "160"}, "wind_max_m_s: is usually 20 to 90 m/s: is it in km/h or in mph? (got '160.0')"),
    ({"snow_max_kn_m2": "240"}, "snow_max_kn_m2: is usually 15 kN/m2 or less: is it in kg/m2? (got '240.0')"),
    ({"place": "ground"}, "ballast_kg: ballast is for a flat roof, not for the ground (got '80.0')"),
    ({"price": "2"}, "price: 1.00 a module, usually 4 to 400 (got '2.0')"),
    ({"modules": "61", "price": "900"}, "modules: is usually 60 or fewer: modules on one mount (got '61')"),
    ({"module_length_max_mm": "65", "module_width_max_mm": "40"}, "module_length_max_mm: is usually 200 mm or more: is it in inches? (got '65.0')"),
])
def test_what_is_unlikely_is_a_doubt(folder: Path, changed: dict[str, str], message: str) -> None:
    assert load_catalog(with_row(folder, **changed)).doubts == (f"mine/mounts.csv:2: {message}",)


def test_the_shipped_mounts_leave_no_place_out_and_some_wishes_open() -> None:
    assert {mount.place for mount in SHIPPED.mounts} == {"pitched roof", "flat roof", "ground", "pole"}
    for place in ("pitched roof", "flat roof", "ground", "pole"):
        assert {mount.salt for mount in SHIPPED.mounts if mount.place == place} == {True, False}
    widest = max(module.width_mm for module in SHIPPED.modules)
    assert {mount.place for mount in SHIPPED.mounts if mount.module_width_max_mm >= widest} == {"pitched roof", "flat roof", "ground"}
    assert max(mount.wind_max_m_s for mount in SHIPPED.mounts if mount.place == "flat roof") == 52
    assert [one.id for one in SHIPPED.allowances if one.for_mounts] == ["AL-MOUNT"]


# --- [mounting]


def test_other_units(tmp_path: Path) -> None:
    problem = load_problem(hut(tmp_path, ("wind_m_s = 44", "wind_mph = 100"), ("snow_kn_m2 = 0.6", "snow_psf = 20"), ("roof_load_max_kn_m2 = 0.9", "roof_load_max_psf = 30")))
    asked = problem.mounting
    assert asked is not None
    # hand: 1 mph = 0.44704 m/s; 1 lbf/ft2 = 4.4482216 N / 0.09290304 m2 = 47.880 N/m2
    assert (asked.wind_m_s, asked.snow_kn_m2, asked.roof_load_max_kn_m2) == pytest.approx((44.704, 0.95761, 1.43641), abs=1e-5)


@pytest.mark.parametrize(("old", "new", "message"), [
    ("wind_m_s = 44 ", "", "mounting.wind_m_s: is required"),
    ("snow_kn_m2 = 0.6", "", "mounting.snow_kn_m2: is required"),
    ("snow_kn_m2 = 0.6", "snow_kn_m2 = -1", "mounting.snow_kn_m2: must be greater than or equal to 0 (got '-1')"),
    ("wind_m_s = 44", "wind_m_s = 440", "mounting.wind_m_s: must be less than or equal to 120 (got '440')"),
    ("salt = true", "salty = true", "mounting.salty: this key is not known (did you mean 'salt'?)"),
    ("tilt_deg = 15\n", "", "array.tilt_deg: is required with [mounting]: mounts are made for a range of tilts"),
    ('places = ["flat roof"]', 'places = ["roof"]', "mounting.places.0: must be 'pitched roof', 'flat roof', 'ground' or 'pole' (got 'roof')"),
])
def test_a_bad_section_is_named(tmp_path: Path, old: str, new: str, message: str) -> None:
    assert errors(hut(tmp_path, (old, new))) == [message]


@pytest.mark.parametrize(("changes", "message"), [
    ([("wind_m_s = 44", "wind_m_s = 5")], "mounting.wind_m_s: 5 m/s, usually 25 to 70: is it a mean wind, not that of the code?"),
    ([("roof_load_max_kn_m2 = 0.9", "")], "mounting.roof_load_max_kn_m2: is not given: what the roof bears is not looked at"),
    ([("roof_load_max_kn_m2 = 0.9", "roof_load_max_kn_m2 = 0.5")], "mounting.roof_load_max_kn_m2: snow alone is 0.6 kN/m2: nothing is left for an array"),
    ([("flat roof", "pitched roof")], 'array.mounting: is "open rack", but modules lie flush with a pitched roof: they get hotter "close to a roof"'),
    ([("tilt_deg = 15", "tilt_deg = 75")], "array.tilt_deg: 75 deg is steep for a roof"),
])
def test_what_is_unlikely_at_the_site_is_a_doubt(tmp_path: Path, changes: list[tuple[str, str]], message: str) -> None:
    assert list(load_problem(hut(tmp_path, *changes)).doubts()) == [message]


def test_every_key_is_documented() -> None:
    page = (Path(__file__).parents[2] / "docs/problem-file.md").read_text(encoding="utf-8")
    section = page.split("\n## [mounting]")[1].split("\n## ")[0]
    assert [key for key in Mounting.model_fields if f"`{key}`" not in section] == []


@pytest.mark.parametrize(("text", "message"), [
    ('dangerous_goods_per_kg = { "9 UN3480" = 1.6, "8 wet" = 0.7 }', None),
    ('dangerous_goods_per_kg = { "9 UN3481" = 1.6 }', "price.dangerous_goods_per_kg: class '9 UN3481' is that of no battery of the catalog (did you mean '9 UN3480'?)"),
])
def test_a_class_of_goods_that_no_battery_has_is_an_error(tmp_path: Path, text: str, message: str | None) -> None:
    problem = load_problem(hut(tmp_path, ('dangerous_goods_per_kg = { "9 UN3480" = 1.6, "8 wet" = 0.7 }', text)))
    if message is None:
        assert solve(problem, SHIPPED).report is not None
        return
    with pytest.raises(InputError) as caught:
        solve(problem, SHIPPED)
    assert caught.value.problems == [f"Island hut: {message}"]


@pytest.mark.parametrize(("locks", "said"), [
    ('[[owned]]\npart = "MT-FLAT-2A"\nquantity = 2', "owned.part"), ("[locks]\nat_least = { MT-FLAT-2A = 2 }", "locks.at_least"),
    ("[locks]\nat_most = { MT-FLAT-2A = 2 }", "locks.at_most"),
])
def test_mounts_are_no_inventory(tmp_path: Path, locks: str, said: str) -> None:
    problem = load_problem(hut(tmp_path, ("[price]", f"{locks}\n\n[price]")))
    with pytest.raises(InputError) as caught:
        solve(problem, SHIPPED)
    assert caught.value.problems == [f"Island hut: {said}: 'MT-FLAT-2A' is chosen with its array: it cannot be owned or demanded, nor limited to more than none"]
