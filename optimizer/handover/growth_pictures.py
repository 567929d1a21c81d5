"""Pictures of a plan: what is bought when under each future, and expected cost over the probability of growth; legible in grey."""

from __future__ import annotations

import textwrap
import warnings
from pathlib import Path
from typing import TYPE_CHECKING

from optimizer.errors import InputError
from optimizer.handover.layout import money
from optimizer.handover.pictures import FIXED, FOOTER, GREYS, LINES, picture_file, save
from optimizer.questions.grown import Grown

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TEXT_WIDTH, LEAST_TEXT_WIDTH, LINES_MOST = 34, 16, 6
"""Letters in a line of a purchase's label, at most and where the next date is near; and its lines."""

LETTERS = 150
"""Letters of a label that the whole timeline has room for."""


NAME_WIDTH = 14
"""Letters in a line of a future's name, left of its line."""


def draw_growth(path: Path, grown: Grown) -> None:
    """Write the timeline and the cost lines as SVG or PNG. Raises InputError where it cannot be written, or nothing is known."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    picture_file(path)
    if grown.best is None:
        raise InputError(f"{path}: there is no plan to draw")
    with mpl.rc_context(FIXED), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        figure = Figure(figsize=(10, 8.6))
        _timeline(figure.add_axes((0.12, 0.53, 0.84, 0.39)), grown)
        _cost_lines(figure.add_axes((0.12, 0.12, 0.84, 0.3)), grown)
        figure.text(0.02, 0.965, f"{grown.problem.name}: what to buy now and what later", fontsize=12)
        figure.text(0.02, 0.012, FOOTER, fontsize=7, color="0.25")
        save(figure, path)


def _timeline(plot: Axes, grown: Grown) -> None:
    best, growth = grown.best, grown.problem.growth
    plan = best.planned.plan if best is not None else None
    assert plan is not None, "asked only with a plan"
    assert growth is not None, "a plan has growth"
    futures = [future for future in growth.futures if future.name in plan.cost_by_future]
    plot.set_xlim(-0.02 * growth.horizon_years, growth.horizon_years)
    plot.set_ylim(len(futures) - 0.2, -0.4)
    plot.set_yticks(range(len(futures)), [f"{textwrap.fill(future.name, NAME_WIDTH)}\n{100 * future.probability:.0f} %" for future in futures])
    plot.set_xlabel("year")
    plot.spines[["top", "right"]].set_visible(False)
    for row, future in enumerate(futures):
        plot.plot([0, growth.horizon_years], [row, row], color="0.6", linewidth=1)
        nodes = list(plan.ledger.tree.of_future(future.name))
        for node in nodes:
            visit = plan.visits[node.number]
            plot.plot([node.year], [row], marker="o" if node.parent is None else "s", color="black", markersize=7)
            parts = ", ".join(f"{n} x {part}" for part, n in sorted({**visit.kits, **visit.new_parts}.items())) or "nothing"
            later = [one.year for one in nodes if one.year > node.year]
            room = LETTERS * (min(later) - node.year) / growth.horizon_years if later else TEXT_WIDTH
            words = textwrap.fill(parts, int(min(TEXT_WIDTH, max(LEAST_TEXT_WIDTH, room))), max_lines=LINES_MOST, placeholder=" ...", break_on_hyphens=False)
            if node.parent is None and row:
                continue  # the first purchase is the same in every future
            plot.annotate(f"{money(visit.spent_cents + visit.changeover_cents)} {grown.catalog.currency}\n{words}", (node.year, row), xytext=(4, -4), textcoords="offset points", fontsize=6.5, va="top")


def _cost_lines(plot: Axes, grown: Grown) -> None:
    plot.set_xlim(0, 100)
    plot.set_xlabel("probability of growth [%]")
    plot.set_ylabel(f"expected present cost\n[{grown.catalog.currency}]")
    plot.spines[["top", "right"]].set_visible(False)
    for at, line in enumerate(grown.lines):
        style, colour = LINES[at % len(LINES)], GREYS[at // len(LINES) % len(GREYS)]
        plot.plot([0, 100], [line.never_cents / 100, line.certain_cents / 100], linestyle=style, color=colour, label=line.first_purchase)
    for flip in grown.flips:
        line = min(grown.lines, key=lambda one: one.at(flip.probability))
        cents = line.at(flip.probability)
        plot.plot([100 * flip.probability], [cents / 100], marker="o", color="black")
        plot.annotate(f"{100 * flip.probability:.0f} %", (100 * flip.probability, cents / 100), xytext=(4, -10), textcoords="offset points", fontsize=8)
    if grown.lines:
        plot.axvline(100 * grown.probability, color="0.5", linewidth=0.8, linestyle=":")
        plot.text(100 * grown.probability, 1.01, "as the problem says", ha="center", va="bottom", fontsize=7, color="0.25", transform=plot.get_xaxis_transform())
        plot.legend(fontsize=7, frameon=False, loc="best")
    else:
        varies = 0 < grown.probability < 1
        plot.text(50, 0.5, "not reached in the time" if varies else "no probability to vary", ha="center", transform=plot.get_xaxis_transform())
