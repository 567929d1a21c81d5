"""The schedules of a design for a person at a terminal."""

from __future__ import annotations

import re
from collections.abc import Iterator

from optimizer.handover.layout import WIDTH, bullets, columns, figure, section, wrapped
from optimizer.handover.schedules import (
    Data,
    busbars_data,
    circuits_data,
    mounts_data,
    settings_data,
    switching_data,
)
from optimizer.proof.check import Report

HEADING = f"{'current':>9}{'one way':>9}{'drop':>9}"

LEGEND = (
    "Current: what may flow for hours; devices are for 1.25 times as much. One way: length of the circuit. Drop: share of the "
    "voltage lost at that current (of an array: at full power), where it is limited. In brackets: the rule with the least to spare."
)

SETTING_AT = 46
"""Column in which the value of a setting begins."""

UNIT_IN_NAME = re.compile(r" \[(.+?)\]")


def schedules_text(report: Report) -> list[str]:
    """Circuits with their conductors and devices, switches and earthing, settings; nothing where allowances stand for circuits."""
    mounts = section("Mounts", [line for row in mounts_data(report) for line in _mount(row)])
    if not report.circuits:
        return mounts
    circuits = [*wrapped(LEGEND, "  "), HEADING.rjust(WIDTH), *(line for row in circuits_data(report) for line in _circuit(row))]
    return [
        *mounts,
        *section("Circuits: conductors and overcurrent devices", circuits),
        *section("Busbars", [line for row in busbars_data(report) for line in _busbars(row)]),
        *section("Disconnects and earthing: checklist", bullets(f"{row['item']}: {row['what']}" for row in switching_data(report))),
        *section("Settings", [line for sheet in settings_data(report) for line in _sheet(sheet)]),
    ]


def _mount(row: Data) -> Iterator[str]:
    each = f", each of {row['arrays']}" if row["arrays"] > 1 else ""
    ballast = f", {figure(row['ballast_kg'])} kg of ballast on them" if row["ballast_kg"] else ""
    what = f"array {row['array']}{each}: {row['count']} x {row['mount']}, {row['place']}, with {row['places_each']} places each, for {row['modules']} x {row['module']}"
    yield from wrapped(f"{what}{ballast}", "  ")
    rated = f"rated for {figure(row['wind_max_m_s'])} m/s of wind and {figure(row['snow_max_kn_m2'])} kN/m2 of snow"
    roof = f"; the roof bears {figure(row['roof_load_kn_m2'])} kN/m2 of {figure(row['roof_load_max_kn_m2'])} with the snow" if row["roof_load_kn_m2"] is not None else ""
    yield from wrapped(f"{rated}, {figure(row['wind_m_s'])} and {figure(row['snow_kn_m2'])} asked{roof}", " " * 6)


def _busbars(row: Data) -> Iterator[str]:
    asked = f"{figure(row['carries_a'])} A, the sum of the loads or of what may charge the bank, whichever is more; {row['conductors']} conductors, with those of as many controllers as the problem allows"
    if row["part"] is None:
        yield from wrapped(f"no busbar of the catalog may serve: {asked}; {figure(row['voltage_v'])} V", "  ")
        return
    yield from wrapped(f"{row['part']}, one for each pole: {figure(row['rated_a'])} A and {row['ways']} conductors each{_why(row['set_by'])}", "  ")
    yield from wrapped(f"must carry {asked}", " " * 6)


def _circuit(row: Data) -> Iterator[str]:
    name = f"{row['count']} x {row['circuit']}" + (f", {row['where']}" if row["where"] else "")
    drop = f"{row['drop_pct']:.2f} %" if row["drop_pct"] is not None else "-"
    yield from columns(f"  {name}", f"{row['steady_a']:7.1f} A{row['one_way_m']:7g} m{drop:>9}")
    yield from wrapped(f"{_cable(row)}{_why(row['wire_set_by'])}", " " * 6, " " * 8)
    if row["earth"]:
        yield from wrapped(f"equipment earth of {row['earth']['size']} at least, not priced [{row['earth']['source'].removesuffix(' (from memory)')}]", " " * 6, " " * 8)
    if row["device"]:
        breaks = f"; breaks {figure(row['interrupt_a'])} A, a short circuit can reach {figure(row['fault_a'])} A" if row["fault_a"] else ""
        what = f"{row['device']}: {row['device_kind'].replace('ac ', 'AC ')} of {figure(row['device_a'])} A, {row['device_at']}{breaks}"
        yield from wrapped(f"{what}{_why(row['device_set_by'])}", " " * 6, " " * 8)
    for other in row["beside"]:
        number = f"{other['count']} x " if other["count"] > 1 else ""
        yield from wrapped(f"{number}{other['part']}: {other['kind']}", " " * 6, " " * 8)


def _cable(row: Data) -> str:
    if not row["cable"]:
        return "no cable of the catalog may serve"
    size, *others = dict.fromkeys(size for size in (row["size"], row["awg"], row["mm2"]) if size)
    or_else = f" (or {others[0]})" if others else ""
    return f"{row['cable']}: {row['conductors']} conductors of {size}{or_else}, {row['metres_each']} m in all; carries {figure(row['ampacity_a'])} A where it lies"


def _why(set_by: Data | None) -> str:
    return f" [{set_by['rule']}]" if set_by else ""


def _sheet(sheet: Data) -> Iterator[str]:
    yield from wrapped(f"{sheet['device']}" + (f", {sheet['count']} of them" if sheet["count"] > 1 else "") + f": {sheet['as']}", "  ")
    for name, value in sheet["settings"].items():
        unit = UNIT_IN_NAME.search(name)
        measured = f" {unit.group(1)}" if unit and not isinstance(value, str) else ""
        yield from wrapped(f"{figure(value)}{measured}", f"      {UNIT_IN_NAME.sub('', name)}".ljust(SETTING_AT))
    if sheet["agrees"]:
        yield from wrapped("agrees with the others by " + ", ".join(line["rule"] for line in sheet["agrees"]), " " * 6, " " * 8)
