"""The schedules that an electrician builds from: every circuit, where its device stands, what is set on each device."""

import json
import re

import pytest

from optimizer.handover.schedules import circuits_data, settings_data, switching_data
from optimizer.handover.schedules_text import schedules_text

WITH_CIRCUITS = ("camper", "light_kit", "workshop", "year_round_home")


@pytest.mark.parametrize("name", WITH_CIRCUITS)
def test_every_circuit_has_its_rows_within_80_columns(answer_of, name):
    report = answer_of(name).report
    lines = schedules_text(report)
    assert max(map(len, lines)) < 80
    text = " ".join(" ".join(lines).split())
    rows = circuits_data(report)
    assert len(rows) == len(report.circuits) == len(re.findall(r"^  \d+ x ", "\n".join(lines), re.MULTILINE))
    for row in rows:
        assert f"{row['cable']}: {row['conductors']} conductors of {row['size']}" in text
        if row["device"]:
            assert f"{row['device']}: {row['device_kind'].replace('ac ', 'AC ')} of {row['device_a']:g} A, {row['device_at']}" in text
        for beside in row["beside"]:
            assert f"{beside['part']}: {beside['kind']}" in text
    metres = sum(row["metres_each"] * row["count"] for row in rows)
    on_the_bill = sum(line.quantity for line in report.bill.lines if line.part in {row["cable"] for row in rows})
    assert metres == on_the_bill


def test_figures_of_a_circuit_are_those_of_the_hand(answer_of):
    # hand: 6,000 VA / 230 V = 26.09 A; 2 conductors x 45 m; 10 mm2 at 1.95 ohm/km x (1 + 0.00393 x 55) = 2.3715: 5.569 V, 2.42 %
    (row,) = [row for row in circuits_data(answer_of("workshop").report) if row["circuit"] == "AC output"]
    assert row["steady_a"] == pytest.approx(26.087, abs=0.001)
    assert (row["metres_each"], row["size"], row["device_at"]) == (90, "10 mm2", "at the inverter")
    assert row["drop_pct"] == pytest.approx(2.421, abs=0.002)


@pytest.mark.parametrize(("name", "apart"), [("workshop", False), ("camper", True), ("light_kit", True)])
def test_a_controller_disconnect_is_asked_for_where_there_are_controllers(answer_of, name, apart):
    rows = {row["item"]: row["what"] for row in switching_data(answer_of(name).report)}
    assert ("controller disconnect" in rows) == apart
    assert not any("each of 1 " in what for what in rows.values())
    assert ("inverter disconnect" in rows) == (answer_of(name).choice.inverter is not None)


@pytest.mark.parametrize("name", WITH_CIRCUITS)
def test_every_setting_stands_on_a_line_of_its_own_with_its_unit(answer_of, name):
    report = answer_of(name).report
    lines = schedules_text(report)
    lines = lines[lines.index("Settings") + 1 :]
    for sheet in settings_data(report):
        assert any(f"{sheet['device']}" in line and f": {sheet['as']}" in line for line in lines)
        for setting, value in sheet["settings"].items():
            label = re.sub(r" \[.+?\]", "", setting)
            found = [line for line in lines if line.startswith(f"      {label}  ")]
            assert found, label
            unit = re.search(r"\[(.+?)\]", setting)
            if unit and not isinstance(value, str):
                assert all(line.endswith((f" {unit.group(1)}", "disabled", "off")) for line in found)
    assert len({(sheet["device"], sheet["as"]) for sheet in settings_data(report)}) == len(settings_data(report))


def test_the_same_rows_stand_in_the_json(run):
    schedules = json.loads(run("solve", "light_kit", "--json").out)["schedules"]
    assert all(row["device_at"] for row in schedules["circuits"] if row["device"])
    assert next(sheet["as"] for sheet in schedules["settings"]) == "charging, array 1"


@pytest.mark.parametrize(("site", "run_size", "inverter_size"), [("workshop", "10 mm2", "50 mm2"), ("camper", "14 AWG", "4 AWG")])
def test_earth_conductors_stand_beside_their_circuits(run, site, run_size, inverter_size):
    """IEC by the line conductor: 10 mm2, and half of 95 mm2 as the next standard size; NEC by the device: 1.25 x 7.3 A and 300 A."""
    rows = json.loads(run("solve", site, "--json").out)["schedules"]["circuits"]
    earthed = {row["circuit"]: row["earth"]["size"] for row in reversed(rows) if row["earth"]}
    assert set(earthed) == {"array run", "inverter", "AC output"}
    assert (earthed["array run"], earthed["inverter"]) == (run_size, inverter_size)
    assert f"equipment earth of {inverter_size} at least" in " ".join(run("solve", site).out.split())


def test_a_transfer_switch_stands_before_ac_of_another_source_and_not_before_an_alternator(run):
    """The camper's alternator gives DC to a charger; the home's generator gives AC to the loads."""
    assert "transfer switch: between generator and loads" in run("solve", "year_round_home").out
    camper = " ".join(run("solve", "camper").out.split())
    assert "array switch: one" in camper
    assert "transfer switch: between" not in camper
