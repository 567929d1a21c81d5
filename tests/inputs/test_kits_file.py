"""kits.csv: what a kit may be, and every error with its line and column."""

from __future__ import annotations

import shutil

import pytest

from optimizer import load_catalog
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder

HEADER = "id,description,price,parts,stock\n"


@pytest.fixture
def folder(tmp_path):
    home = tmp_path / "mine"
    shutil.copytree(shipped_folder("catalogs"), home)
    return home


def with_rows(folder, *rows, header=HEADER):
    (folder / "kits.csv").write_text(header + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return folder


def errors_of(folder):
    with pytest.raises(InputError) as caught:
        load_catalog(folder)
    return caught.value.problems


def test_a_kit_is_read_with_its_parts_and_counts(folder):
    kits = load_catalog(with_rows(folder, "K-B,Cabin,199.90,PV-100-36 x 2; CP-A10,3", "K-A,,50,CP-A10 x2,")).kits
    assert [kit.id for kit in kits] == ["K-A", "K-B"]
    assert dict(kits[1].contents) == {"PV-100-36": 2, "CP-A10": 1}
    assert (kits[1].price_cents, kits[1].stock, kits[1].description) == (19990, 3, "Cabin")
    assert dict(kits[0].contents) == {"CP-A10": 2}
    assert kits[0].stock is None


def test_a_catalog_without_the_file_has_no_kits(folder):
    (folder / "kits.csv").unlink(missing_ok=True)
    assert load_catalog(folder).kits == ()


def test_the_file_is_part_of_the_catalogs_digest(folder):
    before = load_catalog(with_rows(folder, "K-A,,50,CP-A10 x 2,")).sha256
    assert load_catalog(with_rows(folder, "K-A,,51,CP-A10 x 2,")).sha256 != before


@pytest.mark.parametrize(("row", "message"), [
    ("K-A,,50,CP-A11 x 2,", "kits.csv:2: parts: part 'CP-A11' is not in the catalog (did you mean 'CP-A15'?)"),
    ("K-A,,50,CP-A10 x 0,", "kits.csv:2: parts: the count of 'CP-A10' must be a whole number of 1 or more (got 'CP-A10 x 0')"),
    ("K-A,,50,CP-A10 x -1,", "kits.csv:2: parts: the count of 'CP-A10' must be a whole number of 1 or more (got 'CP-A10 x -1')"),
    ("K-A,,50,CP-A10 x 1.5,", "kits.csv:2: parts: the count of 'CP-A10' must be a whole number of 1 or more (got 'CP-A10 x 1.5')"),
    ("K-A,,50,CP-A10; CP-A10 x 2,", "kits.csv:2: parts: 'CP-A10' stands twice (got 'CP-A10; CP-A10 x 2')"),
    ("K-A,,50,2 x CP-A10,", "kits.csv:2: parts: the count of '2' must be a whole number of 1 or more (got '2 x CP-A10')"),
    ("K-A,,50,CP-A10 and PV-100-36,",
     "kits.csv:2: parts: 'CP-A10 and PV-100-36' is not a part of a kit: write PART x COUNT, as 'PV-100 x 2; CP-A10 x 1' (got 'CP-A10 and PV-100-36')"),
    ("K-A,,50,;,", "kits.csv:2: parts: a kit needs parts: write PART x COUNT, as 'PV-100 x 2; CP-A10 x 1' (got ';')"),
    ("K-A,,50,,", "kits.csv:2: parts: is required and blank"),
    ("K-A,,,CP-A10,", "kits.csv:2: price: is required and blank"),
    ('K-A,,"50,5",CP-A10,', "kits.csv:2: price: must be a number: '50,5' has a decimal comma, write 50.5"),
    ("K-A,,-1,CP-A10,", "kits.csv:2: price: must be greater than or equal to 0 (got '-1')"),
    ("K A,,50,CP-A10,", "kits.csv:2: id: "),
    ("CP-A10,,50,CP-A10,", "kits.csv:2: id: 'CP-A10' stands already at mine/controllers.csv:"),
    ("K-A,,50,AL-BASE,", "kits.csv:2: parts: 'AL-BASE' is an allowance: it is priced with what it belongs to and comes in no kit"),
])
def test_every_error_names_its_line_and_column(folder, row, message):
    allowance = load_catalog(folder).allowances[0].id
    (error,) = errors_of(with_rows(folder, row.replace("AL-BASE", allowance)))
    assert error.removeprefix("mine/").startswith(message.replace("AL-BASE", allowance))


def test_all_errors_are_told_at_once(folder):
    errors = errors_of(with_rows(folder, "K-A,,x,CP-A10,", "K-A,,50,CP-A99,", "K-A,,60,CP-A10,"))
    assert [error.split(": ")[0].removeprefix("mine/") for error in errors] == ["kits.csv:2", "kits.csv:3", "kits.csv:4"]


def test_a_part_whose_own_row_is_wrong_is_not_said_to_be_missing_too(folder):
    edited = (folder / "controllers.csv").read_text(encoding="utf-8").replace("CP-A10,", "CP-A10,Small,nothing,", 1)
    (folder / "controllers.csv").write_text(edited, encoding="utf-8")
    errors = errors_of(with_rows(folder, "K-A,,50,CP-A10,", "K-B,,50,CP-A10 x 0,"))
    assert [error.removeprefix("mine/").split(": ")[0].split(":")[0] for error in errors] == ["controllers.csv", "kits.csv"]
    assert "CP-A10 x 0" in errors[1]


def test_an_unknown_column_names_the_nearest(folder):
    (error,) = errors_of(with_rows(folder, "K-A,50,CP-A10", header="id,price,part\n"))
    assert error == "mine/kits.csv:1: column 'part' is not known (did you mean 'parts'?)"


def test_a_kit_that_saves_nothing_is_a_doubt(folder):
    apart = load_catalog(folder).by_id["CP-A10"].price
    saves, not_ = f"K-A,,{apart - 0.01:.2f},CP-A10,", f"K-B,,{apart:.2f},CP-A10,"
    (doubt,) = load_catalog(with_rows(folder, saves, not_)).doubts
    assert doubt.startswith("mine/kits.csv:3: price: is no less than that of its parts one by one")
