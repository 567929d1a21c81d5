"""The answer of `sun`, for a person at a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.handover.layout import bullets, joined, labelled, section, wrapped
from optimizer.handover.listing import AVERAGES
from optimizer.inputs.problem import MONTHS
from optimizer.needs.positions import positions
from optimizer.questions.sun import Sun

MARKS = "* most sun in its weakest month of use; - `solve` does not look there"


def sun_text(suns: tuple[Sun, ...]) -> str:
    """The answer of `sun`."""
    sun = suns[0]
    temperatures = sun.problem.temperatures
    air = f"{min(temperatures.air_c):g} to {max(temperatures.air_c):g} C"
    return joined([
        *wrapped(sun.problem.name), "",
        *(line for one in suns for line in (*labelled("Plane", _plane(one)), *labelled("Sun", one.plane.origin))),
        *_best(sun),
        *(line for one in suns for line in section(f"Sun by month{_on(one)} (h/day; months that are not used in brackets)", _months(one))),
        *section(f"What counts by tilt (h/day; {MARKS})", _tilts(sun)),
        *section("Temperatures of the air", [
            *labelled("Lowest", f"{temperatures.lowest_c:g} C: {sun.origins['lowest_c']}"),
            *labelled("Hottest", f"{temperatures.hottest_c:g} C: {sun.origins['hottest_c']}"),
            *labelled("By month", f"{air}: {sun.origins['air_c']}"),
        ]),
        *section("Where the rest comes from", _origins(sun)),
        *section("Warnings", bullets(sun.warnings)),
        *section("How far to trust it", bullets([*([sun.bias] if sun.bias else []), AVERAGES])),
    ])


def _on(sun: Sun) -> str:
    return "" if sun.name is None else f" on plane '{sun.name}'"


def _plane(sun: Sun) -> str:
    tilt = "tilt not stated" if sun.plane.tilt_deg is None else f"tilt {sun.plane.tilt_deg:g} deg"
    if sun.plane.tilt_deg_by_month is not None:
        tilt = "tilt " + ", ".join(one.words for one in positions(sun.plane.tilt_deg_by_month))
    azimuth = "azimuth not stated" if sun.azimuth_deg is None else f"azimuth {sun.azimuth_deg:g} deg"
    return f"{'' if sun.name is None else sun.name + ': '}{tilt}, {azimuth} (180 south, 90 east)"


def _best(sun: Sun) -> list[str]:
    best = sun.best
    if best is None:
        return []
    told = labelled("Best tilt", f"{best.tilt_deg:g} deg: {best.weakest_h:.2f} h in {MONTHS[best.weakest]}, the weakest month of use there")
    for one in sun.adjusted:
        each = positions(one.tilt_deg_by_month)
        if len(each) > 1:
            told += labelled(
                f"Set {one.changes} x", f"{', '.join(position.words for position in each)}: {one.weakest_h:.2f} h in {MONTHS[one.weakest]}; "
                f"{100 * one.gain_share:+.1f} % in the weakest month of use, {100 * one.year_gain_share:+.1f} % in all of them",
            )
        else:
            told += labelled(f"Set {one.changes} x", "gives no more in any month of use")
    return told


def _months(sun: Sun) -> Iterator[str]:
    clear = sun.ceiling is not None
    yield f"  {'month':<7}{'on plane':>10}{'left':>8}{'counts':>9}{'clear sky':>12}{'air C':>9}"
    for at, name in enumerate(MONTHS):
        shown = name if at in sun.months_of_use else f"({name})"
        sky = f"{sun.ceiling[at]:.2f}" if clear and sun.ceiling is not None else "-"
        yield f"  {shown:<7}{sun.plane.sun_h[at]:>10.2f}{100 * sun.left[at]:>6.0f} %{sun.counts[at]:>9.2f}{sky:>12}{sun.problem.temperatures.air_c[at]:>9.1f}"


def _tilts(sun: Sun) -> Iterator[str]:
    if not sun.tilts:
        return
    yield "  " + f"{'tilt':<8}" + "".join(f"{name:>5}" for name in MONTHS)
    several = len(sun.problem.array.tilts) > 1
    for one in sun.tilts:
        mark = "*" if one is sun.best else "-" if several and not one.tried else ""
        yield "  " + f"{one.tilt_deg:g} {mark}".ljust(8) + "".join(f"{hours:>5.1f}" for hours in one.sun_h)


def _origins(sun: Sun) -> Iterator[str]:
    for key, words in sun.origins.items():
        if key not in ("sun_h", "lowest_c", "hottest_c", "air_c"):
            yield from labelled(key, words, 15)
