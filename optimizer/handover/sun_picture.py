"""A picture of the sun by month: what counts, tilts beside it, and a sky without clouds; legible in grey."""

from __future__ import annotations

import warnings
from pathlib import Path

from optimizer.handover.pictures import FIXED, FOOTER, LINES, MARKERS, picture_file, save
from optimizer.inputs.problem import MONTHS
from optimizer.questions.sun import Sun

BESIDE_DEG = (0.0, 30.0, 60.0, 90.0)
"""Tilts that are drawn for comparison."""


def draw_sun(path: Path, suns: tuple[Sun, ...]) -> None:
    """Write the sun by month as SVG or PNG. Raises InputError where it cannot be written."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    picture_file(path)
    sun = suns[0]
    with mpl.rc_context(FIXED), warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a letter that the font lacks is drawn as a box
        figure = Figure(figsize=(9, 5.2))
        plot = figure.add_axes((0.09, 0.14, 0.66, 0.74))
        at = range(12)
        best = sun.best
        beside = [one for one in sun.tilts if (one.tilt_deg in BESIDE_DEG or one is best) and one.tilt_deg != sun.plane.tilt_deg]
        for number, one in enumerate(beside):
            name = f"tilt {one.tilt_deg:g} deg" + (", best for the\nweakest month of use" if one is best else "")
            marker = MARKERS[(number + 1) % len(MARKERS)]
            plot.plot(at, one.sun_h, color="0.45", linewidth=1, linestyle=LINES[(number + 1) % len(LINES)], marker=marker, markersize=4, label=name)
        if sun.ceiling is not None and len(suns) == 1:
            plot.plot(at, sun.ceiling, color="0.6", linewidth=3, label="sky without clouds\non the plane")
        for number, other in enumerate(suns[1:], start=1):
            style, marker = LINES[number % len(LINES)], MARKERS[number % len(MARKERS)]
            plot.plot(at, other.counts, color="0.25", linewidth=1.5, linestyle=style, marker=marker, markersize=5, label=f"what counts on\n{other.name}")
        plane = "the plane" if sun.plane.tilt_deg is None else f"the plane, tilt {sun.plane.tilt_deg:g} deg"
        if sun.plane.tilt_deg_by_month is not None:
            plane = "the plane as it is\nset anew through the year"
        tilt = plane if sun.name is None else sun.name
        plot.plot(at, sun.counts, color="black", linewidth=2, marker=MARKERS[0], markerfacecolor="white", label=f"what counts on\n{tilt}")
        plot.set_xticks(list(at), [name if month in sun.months_of_use else f"({name})" for month, name in enumerate(MONTHS)])
        plot.set_ylim(bottom=0)
        plot.set_ylabel("sun hours [h/day]")
        plot.grid(axis="y", color="0.9", linewidth=0.6)
        plot.spines[["top", "right"]].set_visible(False)
        plot.legend(loc="center left", bbox_to_anchor=(1.01, 0.5), frameon=False, fontsize=8)
        figure.text(0.09, 0.93, f"{sun.problem.name}: sun by month", fontsize=11)
        figure.text(0.09, 0.02, f"{sun.plane.origin[0].upper()}{sun.plane.origin[1:]}. {FOOTER}", fontsize=7, color="0.25")
        save(figure, path)
