"""The shipped catalog: sizes, variety, tables against their sources, and its description."""

import itertools
import tomllib
from pathlib import Path

import numpy as np
import pytest

from optimizer import load_catalog
from optimizer.inputs.catalog import FILES, shipped_folder
from optimizer.inputs.text_tables import read_rows

SHIPPED = load_catalog()


def test_shipped_catalog_has_a_suppliers_variety():
    sizes = {kind: len(getattr(SHIPPED, kind)) for kind in FILES}
    assert sizes == {
        "modules": 25, "batteries": 28, "controllers": 25, "inverters": 37, "converters": 8, "allowances": 9,
        "cables": 81, "protection": 176, "generators": 10, "mounts": 15, "soft_starters": 6, "chargers": 11, "alternator_chargers": 7, "busbars": 14, "autotransformers": 4,
    }


def test_shipped_catalog_has_no_doubts():
    assert SHIPPED.doubts == ()


def test_shipped_catalog_leaves_some_cells_unknown():
    assumed = {part.id: part.assumed for part in SHIPPED.parts() if part.assumed}
    assert assumed["IV-300W-B12-AC120M"] == ("idle_w = 5.0", "search_w = 5.0")
    assert assumed["IV-3000W-B24-AC120"] == ("idle_w = 30.0",)
    assert SHIPPED.find("PV-010-36", FILES["modules"]).tc_voc_pct_k is None


GROWS_WITH_SIZE = {
    "modules": ("pmax_w", "isc_a", "imp_a", "length_mm", "weight_kg", "price"),
    "batteries": ("capacity_20h_ah", "charge_max_a", "discharge_cont_a", "discharge_peak_a", "fault_current_a", "weight_kg", "price"),
    "controllers": ("output_a", "pv_isc_max_a", "self_w", "weight_kg", "price"),
    "inverters": ("cont_w", "surge_va", "idle_w", "weight_kg", "price"),
    "converters": ("output_a", "idle_w", "weight_kg", "price"),
}


@pytest.mark.parametrize("kind", list(GROWS_WITH_SIZE))
def test_no_two_parts_differ_by_a_factor_only(kind):
    parts = {part.id: part for part in getattr(SHIPPED, kind)}
    assert len(parts) >= 8
    for one, other in itertools.combinations(parts.values(), 2):
        if getattr(one, "ac", None) != getattr(other, "ac", None):
            continue  # the same unit for another AC standard
        ratios = [getattr(one, column) / getattr(other, column) for column in GROWS_WITH_SIZE[kind]]
        assert max(ratios) / min(ratios) > 1.02, f"{one.id} and {other.id} differ by a factor only"


def test_holes_of_the_shipped_catalog_are_still_there():
    # Gaps that the answers of impossible sites rest on.
    heated = [b for b in SHIPPED.batteries if b.bms and b.charge_t_min_c < 0]
    assert heated
    assert all(b.unit_v < 48 for b in heated)
    assert max(i.cont_w for i in SHIPPED.inverters if (i.bank_v, i.ac) == (12, "230")) == 350
    assert not [i for i in SHIPPED.inverters if (i.bank_v, i.ac) == (24, "120/240")]
    assert min(i.cont_w for i in SHIPPED.inverters if (i.bank_v, i.ac) == (48, "120")) == 3800
    assert [m.id for m in SHIPPED.modules if m.series_cells == 36 and m.vmp_v >= 20] == ["PV-200-36"]


def test_lithium_cut_off_lies_below_inverter_cut_out_and_above_charging():
    for battery in SHIPPED.batteries:
        if battery.bms:
            twelves = {4: 1, 8: 2, 15: 4, 16: 4}[battery.cells]
            assert battery.bms_high_v > battery.absorb_v, battery.id
            cut_outs = [inverter.dc_low_cut_v for inverter in SHIPPED.inverters if inverter.bank_v == 12 * twelves]
            assert battery.bms_low_v < min(cut_outs), battery.id


def test_chemistries_and_tables_fit_each_other():
    tables = SHIPPED.tables
    assert set(tables.chemistries) == {"flooded", "agm", "gel", "tubular gel", "lfp", "nickel-cadmium"}
    assert {battery.chemistry for battery in SHIPPED.batteries} == set(tables.chemistries)
    for name, (celsius, share) in tables.cold_capacity.items():
        assert celsius[0] <= -40, name
        assert celsius[-1] >= 45, name
        cold = share[celsius <= 25]
        assert (np.diff(cold) > 0).all(), name


def test_cold_capacity_of_flooded_cells_at_40_f_is_the_published_multiplier():
    # Widely published table: 1.30 times the capacity at 40 F (second-hand).
    celsius, share = SHIPPED.tables.cold_capacity["flooded"]
    assert 1 / np.interp(4.44, celsius, share) == pytest.approx(1.30, abs=0.001)


def test_freezing_table_falls_from_empty_to_full():
    depth, celsius = SHIPPED.tables.freezing
    assert depth.tolist() == [1.0, 0.75, 0.5, 0.25, 0.0]
    assert celsius.tolist() == [-8, -16, -24, -37, -57]


def test_open_circuit_factors_are_those_of_the_electrical_code():
    lowest, factor = SHIPPED.tables.voc_factors  # NFPA 70 (NEC) Table 690.7(A)
    assert dict(zip(lowest.tolist(), factor.tolist(), strict=True)) == {
        20: 1.02, 15: 1.04, 10: 1.06, 5: 1.08, 0: 1.10, -5: 1.12, -10: 1.14, -15: 1.16, -20: 1.18, -25: 1.20, -30: 1.21,
        -35: 1.23, -40: 1.25,
    }


# --- the documentation

DOCS = Path(__file__).parents[2] / "docs" / "catalog.md"


@pytest.mark.parametrize("kind", list(FILES))
def test_every_column_is_documented(kind):
    text = DOCS.read_text(encoding="utf-8")
    section = text.split(f"## {kind}.csv")[1].split("\n## ")[0] + text.split("## Columns of every file")[1].split("\n## ")[0]
    missing = [column for column in FILES[kind].model_fields if column != "assumed" and f"`{column}`" not in section]
    assert missing == []


def test_every_table_is_documented():
    text = DOCS.read_text(encoding="utf-8")
    for path in sorted((shipped_folder("catalogs") / "tables").glob("*.csv")):
        for column in read_rows(path, path.read_text(encoding="utf-8").splitlines()[0].split(","), [])[0].cells:
            assert f"`{column}`" in text.split(f"### tables/{path.name}")[1].split("\n##")[0], (path.name, column)
    assert set(tomllib.loads((shipped_folder("catalogs") / "catalog.toml").read_text(encoding="utf-8"))) == {"name", "currency"}
