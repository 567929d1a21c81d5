"""cables.csv, protection.csv and their tables: what a row may be, and every error with its line and column."""

from __future__ import annotations

import json
import shutil

import pytest
from typer.testing import CliRunner

from optimizer import load_catalog
from optimizer.cli import app
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.circuit_tables import CircuitTables

SHIPPED = load_catalog()
CABLE = {
    "id": "CA-X", "family": "NEC", "size": "10 AWG", "use": "array", "insulation_c": "90", "dc_v_max": "1000", "tinned": "n",
    "sunlight_ok": "y", "weight_kg": "0.08", "price": "0.9",
}
DEVICE = {
    "id": "PB-X", "kind": "breaker", "rated_a": "60", "dc_v_max": "150", "ac_v_max": "", "interrupt_a": "10000", "load_break": "y",
    "polarised": "n", "ways": "", "terminal_mm2_max": "25", "weight_kg": "0.2", "price": "20",
}


@pytest.fixture
def folder(tmp_path):
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    return home


def write(home, name, *rows):
    text = ",".join(rows[0]) + "\n" + "".join(",".join(row.values()) + "\n" for row in rows)
    (home / name).write_text(text, encoding="utf-8")
    return home


def errors_of(home):
    with pytest.raises(InputError) as caught:
        load_catalog(home)
    return caught.value.problems


def test_good_rows_are_read(folder):
    write(folder, "protection.csv", DEVICE)
    catalog = load_catalog(write(folder, "cables.csv", CABLE))
    cable, device = catalog.by_id["CA-X"], catalog.by_id["PB-X"]
    assert catalog.cables == (cable,)
    assert catalog.protection == (device,)
    assert (cable.size, cable.insulation_c, cable.sunlight_ok, cable.price_cents) == ("10 AWG", 90, True, 90)
    assert (device.kind, device.rated_a, device.ac_v_max, device.ways) == ("breaker", 60, None, None)
    assert catalog.doubts == ()


def test_the_files_are_optional(folder):
    for name in ("cables.csv", "protection.csv"):
        (folder / name).unlink()
    for name in ("conductors", "ambient_factors", "bundling_factors", "standard_ratings"):
        (folder / "tables" / f"{name}.csv").unlink()
    catalog = load_catalog(folder)
    assert (catalog.cables, catalog.protection) == ((), ())
    assert catalog.tables.conductors == SHIPPED.tables.conductors
    assert CircuitTables().conductors == {}


@pytest.mark.parametrize(("changed", "messages"), [
    ({"size": "11 AWG"}, ["size: is not in tables/conductors.csv for the NEC family (did you mean '1 AWG'?) (got '11 AWG')"]),
    ({"size": "6 mm2"}, ["size: is not in tables/conductors.csv for the NEC family (got '6 mm2')"]),
    ({"insulation_c": "70"}, ["insulation_c: the ampacity tables of the NEC family are for 60, 75, 90 C (got '70')"]),
    ({"insulation_c": "105"}, ["insulation_c: must be 60, 70, 75 or 90 (got '105')"]),
    ({"sunlight_ok": "n"}, ["sunlight_ok: cable of an array lies in the sun: it must be y (got 'False')"]),
    ({"weight_kg": "0.03"}, ["weight_kg: is less than the copper in it (0.047 kg a metre): is it the weight of one metre? (got '0.03')"]),
    ({"weight_kg": ""}, ["weight_kg: is required and blank"]),
    ({"use": "roof"}, ["use: must be 'array', 'battery' or 'building' (got 'roof')"]),
    ({"tinned": "maybe", "dc_v_max": "0"}, [
        "dc_v_max: must be greater than 0 (got '0')", "tinned: must be y or n (got 'maybe')",
    ]),
])
def test_a_bad_cable_is_named(folder, changed, messages):
    assert errors_of(write(folder, "cables.csv", {**CABLE, **changed})) == [f"mine/cables.csv:2: {message}" for message in messages]


@pytest.mark.parametrize(("changed", "messages"), [
    ({"dc_v_max": "", "ac_v_max": "240"}, ["dc_v_max: is required for a breaker: what has no DC voltage must not be used on DC (got 'None')"]),
    ({"kind": "ac breaker"}, ["ac_v_max: is required for an ac breaker (got 'None')"]),
    ({"kind": "surge arrester", "rated_a": "", "dc_v_max": "", "load_break": "n"}, [
        "dc_v_max: a surge arrester needs dc_v_max or ac_v_max (got 'None')",
    ]),
    ({"rated_a": ""}, ["rated_a: is required for a breaker (got 'None')"]),
    ({"interrupt_a": ""}, ["interrupt_a: is required for a breaker: the fault current that it can break (got 'None')"]),
    ({"interrupt_a": "10"}, ["interrupt_a: must be above rated_a (60 A) (got '10.0')"]),
    ({"load_break": "n"}, ["load_break: must be y for a breaker (got 'False')"]),
    ({"kind": "fuse"}, ["load_break: must be n for a fuse (got 'True')"]),
    ({"kind": "fuse", "load_break": "n", "polarised": "y"}, [
        "polarised: must be n for a fuse: only DC breakers and switches know a direction (got 'True')",
    ]),
    ({"kind": "array switch", "load_break": "n"}, ["load_break: must be y for an array switch (got 'False')"]),
    ({"kind": "combiner", "load_break": "n"}, ["ways: combiners, and only they, have a number of strings that they take (got 'None')"]),
    ({"ways": "4"}, ["ways: combiners, and only they, have a number of strings that they take (got '4')"]),
    ({"kind": "relay"}, [
        "kind: must be 'string fuse', 'fuse', 'breaker', 'array switch', 'combiner', 'surge arrester', 'ac breaker', 'arc-fault detector' or 'array shutdown' (got 'relay')",
    ]),
])
def test_a_bad_device_is_named(folder, changed, messages):
    assert errors_of(write(folder, "protection.csv", {**DEVICE, **changed})) == [f"mine/protection.csv:2: {message}" for message in messages]


def test_every_error_of_both_files_is_listed(folder):
    write(folder, "cables.csv", {**CABLE, "size": "7 AWG"}, {**CABLE, "id": "CA-Y", "use": "roof"})
    assert [line.split(": ")[0] for line in errors_of(write(folder, "protection.csv", {**DEVICE, "rated_a": ""}))] == [
        "mine/cables.csv:3", "mine/cables.csv:2", "mine/protection.csv:2",
    ]


@pytest.mark.parametrize(("name", "row", "message"), [
    ("cables.csv", {**CABLE, "price": "90"}, "price: 1125.00 a kilogram, usually 5 to 60: is it the price of a metre of one conductor? (got '90.0')"),
    ("cables.csv", {**CABLE, "dc_v_max": "48"}, "dc_v_max: is usually 60 V or more (got '48.0')"),
    ("protection.csv", {**DEVICE, "rated_a": "5", "interrupt_a": "10"}, "interrupt_a: is usually 1,000 to 300,000 A: is it in kA? (got '10.0')"),
    ("protection.csv", {**DEVICE, "price": "1"}, "price: is usually 2 to 1,000 a piece (got '1.0')"),
    ("protection.csv", {**DEVICE, "kind": "string fuse", "load_break": "n"}, "rated_a: string fuses are usually 40 A or less (got '60.0')"),
])
def test_what_is_unlikely_is_a_doubt(folder, name, row, message):
    assert load_catalog(write(folder, name, row)).doubts == (f"mine/{name}:2: {message}",)


@pytest.mark.parametrize(("name", "text", "messages"), [
    ("conductors", "family,size,area_mm2,r20_ohm_km,ampacity_75_a,ampacity_90_a,source\nNEC,10 AWG,5.26,3.3,40,35,x\nNEC,10 AWG,5.26,3.3,35,40,x\n"
     "IEC,6 mm2,6,3.3,,,x\n", [
        "conductors.csv:2: ampacity: must not fall from one insulation to a hotter one",
        "conductors.csv:3: size: '10 AWG' stands twice in the NEC family", "conductors.csv:4: ampacity: at least one is required",
    ]),
    ("ambient_factors", "family,insulation_c,ambient_to_c,factor,source\nNEC,90,30,1,x\nNEC,90,40,1.1,x\n", [
        "ambient_factors.csv: NEC at 90 C: factor: must not rise from step to step",
    ]),
    ("bundling_factors", "family,conductors_to,factor,source\nNEC,3,1,x\nNEC,3,0.8,x\nNEC,6,,x\n", [
        "bundling_factors.csv:4: factor: is required and blank", "bundling_factors.csv: NEC: a step stands twice",
    ]),
    ("standard_ratings", "family,rated_a,source\nNEC,fifteen,x\n", ["standard_ratings.csv:2: rated_a: must be a number (got 'fifteen')"]),
])
def test_a_bad_table_is_named(folder, name, text, messages):
    (folder / "cables.csv").unlink()
    (folder / "tables" / f"{name}.csv").write_text(text, encoding="utf-8")
    assert errors_of(folder) == [f"tables/{message}" for message in messages]


def test_lint_lists_the_rows_and_counts_them(folder):
    runner = CliRunner()
    sound = runner.invoke(app, ["lint", "--catalog", str(folder), "--json"])
    assert sound.exit_code == 0
    assert json.loads(sound.stdout)["parts"]["cables"] == len(SHIPPED.cables) > 30
    assert json.loads(sound.stdout)["parts"]["protection"] == len(SHIPPED.protection) > 100
    bad = runner.invoke(app, ["lint", "--catalog", str(write(folder, "cables.csv", {**CABLE, "size": "7 AWG"})), "--json"])
    assert bad.exit_code == 3
    assert any("mine/cables.csv:2: size:" in error for error in json.loads(bad.stdout)["errors"])


def test_new_copies_the_files(tmp_path):
    assert CliRunner().invoke(app, ["new", "--catalog", str(tmp_path / "copy")]).exit_code == 0
    copied = {path.name for path in (tmp_path / "copy").rglob("*.csv")}
    assert {"cables.csv", "protection.csv", "conductors.csv", "ambient_factors.csv", "bundling_factors.csv", "standard_ratings.csv"} <= copied
    assert load_catalog(tmp_path / "copy").cables == SHIPPED.cables


# --- the shipped rows


def test_shipped_cables_rise_in_weight_and_price_with_their_copper():
    groups = {}
    for cable in SHIPPED.cables:
        area = SHIPPED.tables.conductor(cable.family, cable.size).area_mm2
        groups.setdefault((cable.family, cable.use, cable.id.endswith("-T"), cable.size.startswith("2 x")), []).append((area, cable.weight_kg, cable.price))
    assert {key[:2] for key in groups} == {(family, use) for family in ("NEC", "IEC") for use in ("array", "battery", "building")}
    for rows in groups.values():
        areas, weights, prices = zip(*sorted(rows), strict=True)
        assert len(set(areas)) == len(areas)
        assert list(weights) == sorted(set(weights))
        assert list(prices) == sorted(set(prices))


def test_shipped_devices_cover_the_circuits_of_the_trade():
    def ratings(kind, dc_v=0, interrupt_a=0):
        return {
            device.rated_a for device in SHIPPED.protection
            if device.kind == kind and (device.dc_v_max or 0) >= dc_v and (device.interrupt_a or 0) >= interrupt_a
        }

    assert ratings("string fuse", 1000) == {10, 15, 20, 25, 30}
    assert {10, 60, 80, 125} <= ratings("breaker", 150)
    assert max(ratings("breaker", 600)) == 63
    assert {16, 32, 63, 125} <= ratings("array switch", 1000)
    assert {device.ways for device in SHIPPED.protection if device.kind == "combiner"} == {2, 3, 4, 6, 8, 10, 12}
    assert {150, 300} <= ratings("fuse", 58, 20_000)
    assert max(ratings("fuse", 58, 50_000)) == 600
    assert {device.ac_v_max for device in SHIPPED.protection if device.kind == "ac breaker"} == {240, 400}
    assert {device.dc_v_max for device in SHIPPED.protection if device.kind == "surge arrester"} >= {75, 150, 300, 600, 1000}
