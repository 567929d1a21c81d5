"""Which rule forced each part of a design, and which bounds of ours it lies on."""

from __future__ import annotations

from optimizer.proof.check import Report

# Rules that decide about a kind of part, those that usually bind first.
DECIDING = {
    "battery": (
        "autonomy", "freezing-floor", "continuous-discharge", "surge-discharge", "sag-above-cut-out", "maximum-charge-current", "weekly-swing",
    ),
    "module": ("monthly-balance", "recovery", "full-recharge", "minimum-charge-current", "array-rectangles", "array-area"),
    "controller": (
        "controller-input-current", "pwm-rating", "cold-open-circuit", "controller-input-power", "maximum-charge-current", "load-terminal-current",
    ),
    "inverter": ("surge", "leg-power", "continuous-va", "continuous-power"),
    "converter": ("dc-load-voltage", "dc-load-on-bank"),
}


def forces_of(report: Report) -> dict[str, str]:
    """For each part the tightest of the rules that decide about its kind."""
    design = report.design
    kinds = {design.bank.battery.id: "battery"}
    for block in design.blocks:
        kinds[block.module.id] = "module"
        kinds.setdefault(block.part.id, "controller")
    if design.inverters.inverter is not None:
        kinds[design.inverters.inverter.id] = "inverter"
    for use in design.converters:
        kinds[use.converter.id] = "converter"
    forces = {}
    for part_id, kind in kinds.items():
        rivals = [line for line in report.lines if line.rule in DECIDING[kind] and line.margin_share is not None and line.passed]
        line = min(rivals, key=lambda one: one.margin_share or 0.0, default=None)
        if line is None or (line.margin_share or 0.0) > LOOSE_SHARE:
            forces[part_id] = "no rule closely: the cheapest that fits"
        else:
            asked = f"{_figure(line.actual)} {line.unit}, {line.sense} {_figure(line.required)} asked"
            forces[part_id] = f"{_lowered(line.title)}: {asked}"
    return forces


LOOSE_SHARE = 0.5
"""Margin from which a rule is not said to force a part."""


def _lowered(title: str) -> str:
    """A title as it stands inside a sentence: 'DC loads' stays as it is."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def _figure(value: float) -> str:
    """A number as a person writes it."""
    return f"{value:,.0f}" if abs(value) >= 1000 else f"{value:.4g}"


def near_bounds_of(report: Report) -> tuple[str, ...]:
    """Bounds of ours, not of the trade, that the design lies on."""
    return tuple(
        f"the design lies on our bound of {line.required:g} {line.where}: raise it in [bounds] to look further"
        for line in report.lines if line.rule == "bounds" and line.actual == line.required and line.required > 2
    )
