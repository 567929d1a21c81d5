"""The schedules of a design for a person at a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.handover.layout import bullets, columns, figure, section, wrapped
from optimizer.handover.schedules import Data, circuits_data, settings_data, switching_data
from optimizer.proof.check import Report


def schedules_text(report: Report) -> list[str]:
    """Circuits with their conductors and devices, switches and earthing, settings; nothing where allowances stand for circuits."""
    if not report.circuits:
        return []
    return [
        *section("Circuits: conductors and overcurrent devices", [line for row in circuits_data(report) for line in _circuit(row)]),
        *section("Disconnects and earthing: checklist", bullets(f"{row['item']}: {row['what']}" for row in switching_data(report))),
        *section("Settings", [line for sheet in settings_data(report) for line in _sheet(sheet)]),
    ]


def _circuit(row: Data) -> Iterator[str]:
    name = f"{row['count']} x {row['circuit']}" + (f", {row['where']}" if row["where"] else "")
    drop = f"{row['drop_pct']:6.2f} %" if row["drop_pct"] is not None else f"{'':>8}"
    yield from columns(f"  {name}", f"{row['steady_a']:7.1f} A{row['one_way_m']:6g} m{drop}")
    sizes = " = ".join(size for size in (row["awg"], row["mm2"]) if size)
    cable = f"{row['cable']}: {sizes}, carries {figure(row['ampacity_a'])} A there" if row["cable"] else "no cable of the catalog may serve"
    yield from wrapped(f"{cable}{_why(row['wire_set_by'])}", " " * 6, " " * 8)
    if row["device"]:
        breaks = f", breaks {figure(row['interrupt_a'])} A of {figure(row['fault_a'])} A" if row["fault_a"] else ""
        yield from wrapped(f"{row['device']}: {row['device_kind']}, {figure(row['device_a'])} A{breaks}{_why(row['device_set_by'])}", " " * 6, " " * 8)
    for other in row["beside"]:
        yield from wrapped(f"{other['part']}: {other['kind']}", " " * 6, " " * 8)


def _why(set_by: Data | None) -> str:
    return f" [{set_by['rule']}]" if set_by else ""


def _sheet(sheet: Data) -> Iterator[str]:
    settings = ", ".join(f"{name} {figure(value)}" for name, value in sheet["settings"].items())
    agrees = "; agrees by " + ", ".join(line["rule"] for line in sheet["agrees"]) if sheet["agrees"] else ""
    yield f"  {sheet['device']}" + (f", {sheet['count']} of them" if sheet["count"] > 1 else "")
    yield from wrapped(settings + agrees, " " * 6)
