"""Catalog files as people make them: every kind of damage is named with file, line, column and reason."""

import shutil

import pytest

from optimizer import load_catalog
from optimizer.errors import InputError
from optimizer.inputs.catalog import FILES, shipped_folder

SHIPPED = load_catalog()
MODULE = (
    "id,tech,series_cells,pmax_w,voc_v,isc_a,vmp_v,imp_a,tc_isc_pct_k,tc_voc_pct_k,tc_pmax_pct_k,noct_c,"
    "max_system_v,max_series_fuse_a,bifacial_pct,length_mm,width_mm,weight_kg,price\n"
)
GOOD = {
    "id": "PV-A", "tech": "mono", "series_cells": "54", "pmax_w": "430", "voc_v": "38.7", "isc_a": "13.95", "vmp_v": "32.4",
    "imp_a": "13.28", "tc_isc_pct_k": "0.045", "tc_voc_pct_k": "-0.25", "tc_pmax_pct_k": "-0.29", "noct_c": "45",
    "max_system_v": "1500", "max_series_fuse_a": "25", "bifacial_pct": "0", "length_mm": "1722", "width_mm": "1134",
    "weight_kg": "21.8", "price": "142",
}


def row(**changed):
    cells = {**GOOD, **changed}
    return ",".join(f'"{cell}"' if "," in cell else cell for cell in cells.values()) + "\n"


@pytest.fixture
def folder(tmp_path):
    """A copy of the shipped catalog with one module of our own."""
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    (home / "modules.csv").write_text(MODULE + row(), encoding="utf-8")
    (home / "kits.csv").unlink()  # it speaks of shipped modules
    return home


def errors_of(home):
    with pytest.raises(InputError) as caught:
        load_catalog(home)
    return caught.value.problems


def errors_with(home, **changed):
    (home / "modules.csv").write_text(MODULE + row(**changed), encoding="utf-8")
    return errors_of(home)


def doubts_with(home, **changed):
    (home / "modules.csv").write_text(MODULE + row(**changed), encoding="utf-8")
    return load_catalog(home).doubts


def edit(home, name, part_id, column, cell):
    """Replace one cell of a shipped file."""
    lines = (home / name).read_text(encoding="utf-8").splitlines()
    at = lines[0].split(",").index(column)
    for number, line in enumerate(lines):
        cells = line.split(",")
        if cells[0] == part_id:
            assert '"' not in line, "quoted cells are not split here"
            cells[at] = cell
            lines[number] = ",".join(cells)
            (home / name).write_text("\n".join(lines), encoding="utf-8")
            return number + 1
    raise AssertionError(part_id)


# --- coefficients


@pytest.mark.parametrize(("column", "cell", "reason"), [
    ("tc_voc_pct_k", "0.25", "must be negative, in %/K: was the sign lost, or is it in V/K?"),
    ("tc_pmax_pct_k", "0.29", "must be negative, in %/K"),
    ("tc_voc_pct_k", "-97", "must lie between -1 and 1 %/K: is it in mV/K or in parts per million?"),
    ("tc_isc_pct_k", "-0.29", "must be about +0.05 %/K: are two coefficients exchanged?"),
])
def test_coefficients_that_no_module_has(folder, column, cell, reason):
    assert errors_with(folder, **{column: cell}) == [f"mine/modules.csv:2: {column}: {reason} (got '{cell}')"]


def test_coefficient_in_volts_a_kelvin_is_doubted(folder):
    assert doubts_with(folder, tc_voc_pct_k="-0.097") == (
        "mine/modules.csv:2: tc_voc_pct_k: is usually -0.42 to -0.20 %/K: is it in V/K, or the coefficient of power? (got '-0.097')",
    )


def test_coefficients_of_power_and_voltage_exchanged_are_doubted(folder):
    assert doubts_with(folder, tc_voc_pct_k="-0.29", tc_pmax_pct_k="-0.25") == (
        "mine/modules.csv:2: tc_voc_pct_k: is usually nearer to 0 than that of power (-0.25 %/K): are they exchanged? (got '-0.29')",
    )


# --- other figures that cannot be


def test_half_cut_cells_counted_twice(folder):
    assert errors_with(folder, series_cells="108") == [
        ("mine/modules.csv:2: series_cells: 0.36 V a cell is not silicon (0.5 to 0.8): half-cut modules count 54, 60, 66 or 72 "
        "cells in series, not 108 to 144 (got '108')")
    ]


def test_nominal_voltage_written_as_working_voltage(folder):
    assert errors_with(folder, vmp_v="24") == [
        "mine/modules.csv:2: pmax_w: is not vmp_v x imp_a = 318.7 W (more than 3 % apart) (got '430.0')"
    ]


def test_price_of_a_pallet_is_doubted(folder):
    assert doubts_with(folder, price="4402") == (
        "mine/modules.csv:2: price: 10.24 a watt, usually 0.10 to 4: price of a pair or a pallet? (got '4402.0')",
    )


def test_negative_price(folder):
    assert errors_with(folder, price="-142") == ["mine/modules.csv:2: price: must be greater than or equal to 0 (got '-142')"]


@pytest.mark.parametrize("cell", ["nan", "inf"])
def test_not_a_number_is_not_a_number(folder, cell):
    assert errors_with(folder, voc_v=cell) == [f"mine/modules.csv:2: voc_v: must be a finite number (got '{cell}')"]


def test_capacity_at_100_hours_in_the_column_of_20_hours(folder):
    line = edit(folder, "batteries.csv", "BT-FLA6-225", "capacity_20h_ah", "260")
    assert errors_of(folder) == [
        (f"mine/batteries.csv:{line}: capacity_20h_ah: capacity must not fall with a slower discharge: 5 h 171, 20 h 260, "
        "100 h 250 Ah (got '260.0')")
    ]


def test_lithium_pack_called_12_v_is_doubted(folder):
    line = edit(folder, "batteries.csv", "BT-LFP12-100", "unit_v", "12.0")
    assert load_catalog(folder).doubts == (
        (f"mine/batteries.csv:{line}: unit_v: 3.00 V a cell, usually 2.0 lead-acid, 3.2 lithium iron phosphate, 1.2 nickel: "
        "12.8 written as 12? (got '12.0')"),
    )


def test_inverter_rated_by_its_peak(folder):
    line = edit(folder, "inverters.csv", "IV-1000W-B12-AC120", "surge_va", "900")
    assert errors_of(folder) == [
        f"mine/inverters.csv:{line}: surge_va: must be at least cont_va (1000): is cont_w a peak figure? (got '900.0')"
    ]


def test_unknown_chemistry_has_a_hint(folder):
    line = edit(folder, "batteries.csv", "BT-FLA6-225", "chemistry", "floded")
    assert errors_of(folder) == [
        f"mine/batteries.csv:{line}: chemistry: 'floded' is not in tables/chemistry.csv (did you mean 'flooded'?)"
    ]


# --- damage by spreadsheets


@pytest.mark.parametrize("cell", ["12/24", "12-24", "24-Dec", "Dec-24"])
def test_list_of_voltages_that_became_a_date(folder, cell):
    line = edit(folder, "controllers.csv", "CP-A10", "bank_v", cell)
    assert errors_of(folder) == [
        (f"mine/controllers.csv:{line}: bank_v: must be a number: '{cell}' looks like a date that a spreadsheet made; "
        "write lists with spaces, as '12 24'")
    ]


def test_one_voltage_that_became_a_date(folder):
    line = edit(folder, "inverters.csv", "IV-1000W-B12-AC120", "bank_v", "12/24")
    assert errors_of(folder) == [
        f"mine/inverters.csv:{line}: bank_v: '12/24' looks like a date that a spreadsheet made; write it as text"
    ]


@pytest.mark.parametrize(("cell", "reason"), [
    ("38,7", "'38,7' has a decimal comma, write 38.7"),
    ("1,234", "'1,234' has a thousands separator or a decimal comma; write 1234 if it is the former"),
    ("38.7V", "'38.7V' carries a unit; the unit stands in the column's name"),
    ("38Vdc", "'38Vdc' carries a unit; the unit stands in the column's name"),
    ("38.7 V", "'38.7 V' carries a unit; the unit stands in the column's name"),
    ("about 38", "must be a number (got 'about 38')"),
])
def test_numbers_that_are_not(folder, cell, reason):
    reason = reason if reason.startswith("must") else f"must be a number: {reason}"
    assert errors_with(folder, voc_v=cell) == [f"mine/modules.csv:2: voc_v: {reason}"]


def test_unquoted_decimal_comma_makes_a_cell_too_many(folder):
    (folder / "modules.csv").write_text(MODULE + row().replace("38.7", "38,7"), encoding="utf-8")
    assert errors_of(folder) == [
        "mine/modules.csv:2: has more cells than the header has columns: a decimal comma, or a comma inside a text without quotes?"
    ]


@pytest.mark.parametrize("separator", [";", "\t"])
def test_semicolons_and_tabs_are_read(folder, separator):
    (folder / "modules.csv").write_text((MODULE + row()).replace(",", separator), encoding="utf-8")
    assert load_catalog(folder).modules[0].voc_v == 38.7


def test_decimal_comma_in_a_semicolon_file_is_named(folder):
    (folder / "modules.csv").write_text((MODULE + row()).replace(",", ";").replace("38.7", "38,7"), encoding="utf-8")
    assert errors_of(folder) == ["mine/modules.csv:2: voc_v: must be a number: '38,7' has a decimal comma, write 38.7"]


def test_byte_order_mark_blank_lines_and_windows_line_ends_are_read(folder):
    text = (MODULE + "\n" + row() + "\n,,\n").replace("\n", "\r\n")
    (folder / "modules.csv").write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert [part.id for part in load_catalog(folder).modules] == ["PV-A"]


def test_other_encodings_are_named(folder):
    (folder / "modules.csv").write_bytes((MODULE + row(tech="m\xf6no")).encode("latin-1"))
    assert errors_of(folder) == [
        f"mine/modules.csv: byte {len(MODULE) + len('PV-A,m')} is not UTF-8 text; save it again as 'CSV UTF-8'"
    ]


def test_line_break_inside_a_cell(folder):
    (folder / "modules.csv").write_text(MODULE + row().replace("mono", '"mo\nno"'), encoding="utf-8")
    assert errors_of(folder) == ["mine/modules.csv:2: tech: has a line break inside the cell"]


def test_ids_stay_text(folder):
    (folder / "modules.csv").write_text(MODULE + row(id="NA") + row(id="007", vmp_v="32.5") + row(id="1e3", vmp_v="32.6"), encoding="utf-8")
    assert [part.id for part in load_catalog(folder).modules] == ["007", "1e3", "NA"]


def test_same_id_twice_and_in_two_files(folder):
    (folder / "modules.csv").write_text(MODULE + row() + row() + row(id="CP-A5"), encoding="utf-8")
    assert errors_of(folder) == [
        "mine/modules.csv:3: id: 'PV-A' stands already at mine/modules.csv:2",
        "mine/controllers.csv:2: id: 'CP-A5' stands already at mine/modules.csv:4",
    ]


# --- columns, blanks and files


def test_unknown_column_names_the_nearest(folder):
    (folder / "modules.csv").write_text(MODULE.replace("voc_v", "voc") + row(), encoding="utf-8")
    assert errors_of(folder) == ["mine/modules.csv:1: column 'voc' is not known (did you mean 'voc_v'?)"]


def test_column_twice(folder):
    (folder / "modules.csv").write_text(MODULE.replace("imp_a", "isc_a") + row(), encoding="utf-8")
    assert errors_of(folder) == ["mine/modules.csv:1: column 'isc_a' stands twice"]


def test_blank_where_a_rule_needs_a_number(folder):
    assert errors_with(folder, isc_a="") == ["mine/modules.csv:2: isc_a: is required and blank"]


def test_blank_is_unknown_and_never_zero(folder):
    edit(folder, "inverters.csv", "IV-2000W-B12-AC120", "idle_w", "")
    part = load_catalog(folder).by_id["IV-2000W-B12-AC120"]
    assert part.idle_w == 20.0
    assert part.assumed == ("idle_w = 20.0",)


def test_blank_weight_and_blank_cut_off_draw_are_cautious(folder):
    (folder / "modules.csv").write_text(MODULE + row(weight_kg=""), encoding="utf-8")
    catalog = load_catalog(folder)
    assert (catalog.modules[0].weight_kg, catalog.modules[0].assumed) == (25.0, ("weight_kg = 25",))
    assert catalog.by_id["BT-LFP12-200"].assumed == ("bms_w = 2",)
    assert catalog.by_id["BT-FLA6-225"].assumed == (), "a battery without a cut-off has nothing to assume"


def test_missing_file(folder):
    (folder / "batteries.csv").unlink()
    assert errors_of(folder) == ["mine/batteries.csv: file not found; `bankstring new --catalog DIR` copies a whole catalog to edit"]


def test_missing_folder(tmp_path):
    assert errors_of(tmp_path / "none") == [
        f"{tmp_path / 'none'}: no such catalog folder; `bankstring new --catalog DIR` copies the shipped one to edit"
    ]


@pytest.mark.parametrize(("text", "message"), [
    ("", "mine/modules.csv:1: the file is empty; its first line must name the columns"),
    (MODULE, "mine/modules.csv: has no parts"),
])
def test_empty_file(folder, text, message):
    (folder / "modules.csv").write_text(text, encoding="utf-8")
    assert errors_of(folder) == [message]


def test_optional_files_may_be_missing(folder):
    (folder / "converters.csv").unlink()
    (folder / "allowances.csv").unlink()
    shutil.rmtree(folder / "tables")
    catalog = load_catalog(folder)
    assert (catalog.converters, catalog.allowances) == ((), ())
    assert set(catalog.tables.chemistries) == set(SHIPPED.tables.chemistries), "the shipped tables stand in"


def test_two_errors_in_one_file_and_one_in_another_are_all_listed(folder):
    (folder / "modules.csv").write_text(MODULE + row(voc_v="38,7", isc_a="") + row(id="PV-B", price="x"), encoding="utf-8")
    line = edit(folder, "controllers.csv", "CP-A5", "parallel_ok", "maybe")
    assert errors_of(folder) == [
        "mine/modules.csv:2: voc_v: must be a number: '38,7' has a decimal comma, write 38.7",
        "mine/modules.csv:2: isc_a: is required and blank",
        "mine/modules.csv:3: price: must be a number (got 'x')",
        f"mine/controllers.csv:{line}: parallel_ok: must be y or n (got 'maybe')",
    ]


def test_catalog_head(folder):
    (folder / "catalog.toml").write_text('name = "Mine"\ncurency = "USD"\n', encoding="utf-8")
    assert errors_of(folder) == [
        "mine/catalog.toml: key 'curency' is not known (did you mean 'currency'?)",
        'mine/catalog.toml: currency: is required, as: currency = "USD"',
    ]


def test_tables_are_judged_too(folder):
    path = folder / "tables" / "freezing.csv"
    path.write_text("depth,freezing_c,source\n1.0,-9,us\n0.5,cold,us\n0.75,-16,us\n", encoding="utf-8")
    assert errors_of(folder) == [
        "tables/freezing.csv:4: depth: must fall from row to row (got '0.75')",
        "tables/freezing.csv:3: freezing_c: must be a number (got 'cold')",
    ]
    path.write_text("depth,freezing_c,source\n", encoding="utf-8")
    assert errors_of(folder) == ["tables/freezing.csv: needs at least two rows"]


def test_part_is_found_by_id_and_kind():
    with pytest.raises(InputError, match=r"^part 'CP-A6' is not in the catalog \(did you mean 'CP-A60'\?\)$"):
        SHIPPED.find("CP-A6", FILES["controllers"])
    with pytest.raises(InputError, match=r"^part 'CP-A5' is a controller, not a module$"):
        SHIPPED.find("CP-A5", FILES["modules"])


def test_digest_changes_with_a_table(folder):
    before = load_catalog(folder).sha256
    path = folder / "tables" / "charge_context.csv"
    path.write_text(path.read_text(encoding="utf-8").replace("weekends,0.5", "weekends,0.4"), encoding="utf-8")
    assert load_catalog(folder).sha256 != before


# --- what a chemistry says about age


def test_a_chemistry_says_how_far_apart_in_age_its_units_may_be_and_how_long_they_last():
    chemistries = SHIPPED.tables.chemistries
    assert (chemistries["agm"].age_spread_months_max, chemistries["agm"].calendar_life_years) == (12, 6)
    assert (chemistries["lfp"].age_spread_months_max, chemistries["lfp"].calendar_life_years) == (24, 12)


def test_an_older_table_without_the_columns_of_age_still_loads(folder):
    table = folder / "tables" / "chemistry.csv"
    rows = [line.split(",") for line in table.read_text(encoding="utf-8").splitlines()]
    table.write_text("\n".join(",".join(cells[:8] + cells[10:]) for cells in rows), encoding="utf-8")
    lfp = load_catalog(folder).tables.chemistries["lfp"]
    assert (lfp.age_spread_months_max, lfp.calendar_life_years) == (12, 10)
