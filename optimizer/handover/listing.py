"""Demand and the soundness of the files, for a person at a terminal."""

from __future__ import annotations

from typing import Any

from optimizer.handover.cautions import ALWAYS
from optimizer.handover.layout import bullets, figure, joined, labelled, section, wrapped

AVERAGES = next(text for text in ALWAYS if text.startswith("Sun and loads are averages"))


def demand_text(data: dict[str, Any]) -> str:
    """The answer of `demand`, from its plain data."""
    rows = [f"  {'month':<7}{'season':<16}{'AC':>10}{'DC':>10}{'together':>11}{'use day':>11}"]
    for month in data["months"]:
        if month["season"] is None:
            rows.append(f"  {month['month']:<7}not used")
            continue
        both = month["ac_wh"] + month["dc_wh"]
        rows.append(
            f"  {month['month']:<7}{month['season'][:15]:<16}{month['ac_wh']:>10,.0f}{month['dc_wh']:>10,.0f}{both:>11,.0f}{month['use_day_wh']:>11,.0f}"
        )
    start = f"{figure(data['worst_start_va'])} VA for {figure(data['worst_start_s'])} s: {data['worst_start_load']}"
    return joined([
        *wrapped(data["problem"]),
        *section("Energy at the loads (Wh a day, averaged over the week; a day of use)", rows),
        *section("Power at the same time", [
            *labelled("AC", f"{figure(data['coincident_w'])} W, {figure(data['coincident_va'])} VA", 18),
            *labelled("DC", f"{figure(data['coincident_dc_w'])} W, {figure(data['peak_dc_w'])} W while the worst load starts", 18),
            *labelled("Worst AC start", start if data["worst_start_load"] else "no AC loads", 18),
        ]),
        "",
        *wrapped("Losses, the inverter's own use and the battery come on top: they depend on the parts that are chosen."),
        *wrapped(AVERAGES),
    ])


def lint_text(data: dict[str, Any]) -> str:
    """The answer of `lint`, from its plain data."""
    counts = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in data["parts"].items())
    doubts = len(data["doubts"])
    if data["errors"]:
        errors = len(data["errors"])
        verdict = f"{errors} error{'s' if errors > 1 else ''}: nothing can be solved until {'they are' if errors > 1 else 'it is'} mended."
    else:
        verdict = "No errors" + (f", {doubts} doubt{'s' if doubts > 1 else ''}." if doubts else " and no doubts.")
    return joined([
        *wrapped(verdict),
        *(wrapped(f"Catalog {data['catalog']}: {counts}") if data["catalog"] else []),
        *section("Errors", bullets(data["errors"])),
        *section("Doubts: possible, but often a slip of the pen", bullets(data["doubts"])),
    ])
