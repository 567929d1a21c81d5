"""Price staircases as a picture that can be read in grey: told apart by line style, marker and a label at the line's end."""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from optimizer.errors import InputError, WrongUse
from optimizer.questions.curve import Axis, Curve, Step

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SUFFIXES = (".svg", ".png")
FOOTER = "Preliminary design: local codes and licensed practice decide"

LINES: tuple[str | tuple[int, tuple[int, ...]], ...] = ("-", "--", ":", "-.", (0, (8, 2)), (0, (3, 1, 1, 1, 1, 1)))
MARKERS = ("o", "s", "^", "D", "v", "P", "X")
"""One more than there are line styles, so that 42 curves pass before a pair comes again."""
GREYS = ("black", "0.35")

FIXED: dict[Any, Any] = {"svg.hashsalt": "bankstring", "svg.fonttype": "none", "text.parse_math": False, "hatch.linewidth": 0.5, "hatch.color": "0.4"}
"""The same picture gives the same file; words stay words, and a $ in a name is a $."""

LABEL_SHARE = 0.045
"""Height of a label, as a share of the axis."""


def picture_file(path: Path) -> Path:
    """The file for a picture, looked at before anything is solved. Raises WrongUse for its suffix, InputError for its folder."""
    if path.suffix.lower() not in SUFFIXES:
        raise WrongUse(f"--picture {path}: the name of a picture ends in {' or '.join(SUFFIXES)}")
    if not path.parent.is_dir():
        raise InputError(f"{path}: cannot be written: there is no folder '{path.parent}'")
    if path.is_dir():
        raise InputError(f"{path}: cannot be written: it is a folder")
    return path


def save(figure: Figure, path: Path) -> None:
    """Write a figure as its file name says, the same bytes each time. Raises InputError where it cannot be written."""
    svg = path.suffix.lower() == ".svg"
    about: dict[str, str | None] = {"Date": None, "Creator": "bankstring"} if svg else {"Software": "bankstring"}
    try:
        figure.savefig(path, format=path.suffix.lower()[1:], dpi=150, metadata=about)
    except OSError as bad:
        raise InputError(f"{path}: cannot be written: {bad.strerror or bad}") from None
    if svg:  # as wide as the window or the sheet at most: a phone and a printer show all of it
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("<svg ", '<svg style="max-width: 100%; height: auto" ', 1), encoding="utf-8")


def draw_curves(path: Path, name: str, currency: str, curves: Sequence[tuple[str, Curve]], each: str | None = None) -> None:
    """Write curves over one axis as SVG or PNG; a file of that name is written over. Raises InputError where it cannot be written."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    picture_file(path)
    axis = curves[0][1].axis
    gaps = [(value, impossible) for value, found in curves if (impossible := [step for step in found.steps if step.start_cents is None])]
    with mpl.rc_context(FIXED), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        strip = 0.25 * len(gaps)
        figure = Figure(figsize=(9, 5.4 + strip))
        longest = max([len(value) for value, _ in curves] + [len(f"{value}: no design") for value, _ in gaps])
        top, bottom, left, right = 0.45, 0.95, 0.85, min(4.0, 0.4 + 0.075 * longest)  # inches around the plot
        width, height = figure.get_size_inches()
        under = bottom + (strip + 0.12 if gaps else 0)
        plot = figure.add_axes((left / width, under / height, (width - left - right) / width, (height - top - under) / height))
        _draw_plot(plot, axis, currency, curves)
        lowest = plot
        if gaps:
            lowest = figure.add_axes((left / width, bottom / height, (width - left - right) / width, strip / height), sharex=plot)
            _draw_gaps(lowest, axis, gaps)
            plot.tick_params(labelbottom=False)
        lowest.set_xlabel(f"{axis.name} [{axis.unit}]")
        title = f"{name}: the cheapest design over {axis.name}{f', for each {each}' if each else ''}"
        figure.text(left / width, 1 - 0.3 / height, title, fontsize=11)
        figure.text(left / width, 0.12 / height, "\n".join([*_doubts(curves), FOOTER]), fontsize=7, color="0.25")
        save(figure, path)


def _draw_plot(plot: Axes, axis: Axis, currency: str, curves: Sequence[tuple[str, Curve]]) -> None:
    highest = max((cents for _, found in curves for step in found.steps for cents in (step.start_cents, step.end_cents) if cents), default=100) / 100
    plot.set_xlim(axis.low, axis.high)
    plot.set_ylim(0, highest * 1.1)
    plot.set_ylabel(f"price [{currency}]")
    plot.yaxis.set_major_formatter(lambda price, _: f"{price:,.10g}")
    plot.grid(axis="y", color="0.9", linewidth=0.6)
    plot.set_axisbelow(True)
    plot.spines[["top", "right"]].set_visible(False)
    plot.axvline(axis.now, color="0.3", linewidth=0.7)
    plot.annotate("now", (axis.now, 1), xycoords=("data", "axes fraction"), xytext=(3, -1), textcoords="offset points", va="top", fontsize=8, color="0.2")
    ends: list[tuple[float, float, str]] = []
    for value, found in curves:
        possible = [step for step in found.steps if step.start_cents is not None]
        if possible:
            _draw_steps(plot, found.steps, len(ends))
            ends.append((possible[-1].end, (possible[-1].end_cents or 0) / 100, value))
    _label(plot, axis, ends, highest * 1.1)
    if not ends:
        words = "no design anywhere on the axis" if any(found.steps for _, found in curves) else "nothing was looked at"
        plot.text(0.5, 0.5, words, transform=plot.transAxes, ha="center")


def _draw_steps(plot: Axes, steps: Sequence[Step], number: int) -> None:
    """Each step as a thick line, its marker where it starts; thin joins, upright where the next starts."""
    colour, marker = GREYS[number % len(GREYS)], MARKERS[number % len(MARKERS)]
    for step in steps:
        if step.start_cents is not None and step.end_cents is not None:
            plot.plot(
                [step.start, step.end], [step.start_cents / 100, step.end_cents / 100], color=colour, linewidth=1.9, linestyle=LINES[number % len(LINES)],
                marker=marker, markevery=[0], markersize=5, markerfacecolor="white", markeredgecolor=colour, clip_on=False, zorder=3,
            )
    for one, other in pairwise(steps):
        if one.end_cents is not None and other.start_cents is not None:
            before, after = one.end_cents / 100, other.start_cents / 100
            plot.plot([one.end, other.start, other.start], [before, before, after], color=colour, linewidth=0.6, zorder=2)


def _label(plot: Axes, axis: Axis, ends: list[tuple[float, float, str]], highest: float) -> None:
    """Names at the ends of lines, moved up where another name stands."""
    taken: list[tuple[float, float]] = []
    height, near = LABEL_SHARE * highest, 0.2 * (axis.high - axis.low)
    for at, price, value in sorted(ends, key=lambda end: (end[1], end[2])):
        free = price
        for x, y in sorted(taken, key=lambda one: one[1]):
            if abs(x - at) < near and abs(y - free) < height:
                free = y + height
        taken.append((at, free))
        plot.annotate(
            value, (at, price), xytext=(at + 0.015 * (axis.high - axis.low), free), textcoords="data", va="center", fontsize=9, annotation_clip=False, zorder=4,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8}, arrowprops={"arrowstyle": "-", "color": "0.5", "linewidth": 0.5} if free != price else None,
        )


def _draw_gaps(strip: Axes, axis: Axis, gaps: Sequence[tuple[str, Sequence[Step]]]) -> None:
    """A row for each curve with a gap: hatched where there is no design."""
    strip.set_ylim(len(gaps) - 0.5, -0.5)
    strip.set_yticks([])
    strip.spines[["top", "right", "left"]].set_visible(False)
    for row, (value, steps) in enumerate(gaps):
        for step in steps:
            width = max(step.end - step.start, axis.resolution)
            strip.broken_barh([(step.start, width)], (row - 0.35, 0.7), facecolor="0.92", edgecolor="0.4", hatch="////", linewidth=0.5)
        words = f"{value}: no design" if value else "no design"
        strip.annotate(words, (1, row), xycoords=("axes fraction", "data"), xytext=(5, 0), textcoords="offset points", va="center", fontsize=8, annotation_clip=False)


def _doubts(curves: Sequence[tuple[str, Curve]]) -> list[str]:
    lines = []
    if not all(found.axis.exact for _, found in curves):
        lines.append("Sampled: a design that is the cheapest only between two samples may be missing.")
    if not all(found.proven for _, found in curves):
        lines.append("Interrupted, or stopped before proof: cheaper designs may exist.")
    return lines
