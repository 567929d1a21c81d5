"""The answer of `replay` for a person at a terminal."""

from __future__ import annotations

from collections.abc import Iterator

from optimizer.handover.cautions import own_cautions
from optimizer.handover.layout import bullets, figure, joined, labelled, section, short, wrapped
from optimizer.handover.questions_text import PRELIMINARY, design_words, in_words
from optimizer.proof.replay import LOSSES
from optimizer.questions.replay import SYNTHETIC, Figures, Replayed

WORDS = {
    "wire": "wire of the array", "conversion": "controllers' conversion", "clipped": "clipped at a controller's limit",
    "pwm_voltage": "PWM: bank below the best voltage", "supply": "inverters and converters under load", "standing": "standing by, day and night",
    "charging": "in and out of the battery", "self_discharge": "self-discharge",
}


def replay_text(found: Replayed) -> str:
    """The answer of `replay`."""
    if found.figures is None or found.report is None:
        assert found.answer is not None, "a choice always makes a design"
        return joined([*wrapped(f"{found.problem.name}: nothing to replay."), *wrapped(design_words(found.answer))])
    figures, report = found.figures, found.report
    source = report.whole.needs.problem.site.other_source
    made_up = f"{found.years:,} synthetic year{'s' if found.years > 1 else ''}, seed {found.seed}"
    years = made_up if found.weather == SYNTHETIC else found.weather
    age = "new" if found.new else "at the end of its life"
    lines = [*wrapped(f"{found.problem.name}: {years}, hour by hour; the bank {age}"), "", *labelled("Design", in_words(report.design))]
    if not report.valid:
        lines += labelled("Rules", f"broken: {len({line.rule for line in report.failures})}; `bankstring check` says which")
    if source == "none" or (found.problem.source_in_design and report.design.source is None):
        lines += _unmet(figures)
    else:
        lines += _other_source(figures, source, "its chargers" if report.design.source is not None else "the inverters")
    worst = figures.worst
    missing = f"{worst.missing_wh / 1000:.3g} kWh missing, " if worst.missing_wh > 1 else ""
    lines += labelled("Worst", f"the fortnight from {worst.first} to {worst.last} of year {worst.year:,}: {missing}lowest charge {_share(worst.lowest)}")
    lines += labelled("Full", f"on {figures.least_full_days} days of the worst fortnight, {figures.usual_least_full_days:.1f} of the worst in a usual year")
    lines += _life(figures)
    lines += labelled("Surplus", f"{figures.energy_kwh['surplus']:,.0f} kWh a year that the array could have given")
    lines += section("Ice", bullets(_ice(figures)))
    body = [f"  {'month':<7}{'mean':>8}{'lowest':>9}", *(f"  {month.month:<7}{_share(month.mean):>8}{_share(month.lowest):>9}" for month in figures.charge)]
    lines += section("State of charge", body)
    lines += section("Energy of a mean year (kWh)", _energy(figures))
    return joined([*lines, *section("Notes", bullets(_notes(found))), *section("Cautions for this design", bullets(own_cautions(report, found.problem)))])


def _share(share: float) -> str:
    return f"{100 * share:.0f} %"


def _percent(share: float) -> str:
    """A small share with two figures.

    >>> _percent(0.0), _percent(0.0031234), _percent(0.9996)
    ('0 %', '0.31 %', '100 %')
    """
    return f"{100 * share:.2g} %" if 1e-7 < share < 0.1 else f"{100 * share:.0f} %"


def _hours(mean: float, interval: tuple[float, float] | None) -> str:
    if interval is None:
        return f"{short(mean)} h in the year"
    if mean == 0:
        return "0 h in every year"
    return f"{short(mean)} h a year (95 %: {short(interval[0])} to {short(interval[1])})"


def _unmet(figures: Figures) -> list[str]:
    low, high = figures.years_with_loss_95
    lines = labelled("Unmet", f"{_percent(figures.unmet_fraction)} of the loads' energy")
    lines += labelled(
        "Load off", f"{_hours(figures.loss_of_load_hours, figures.interval_95)}; in {_percent(figures.years_with_loss)} of the years "
        f"(95 %: {_percent(low)} to {_percent(high)})",
    )
    if figures.critical_loss_hours is None:
        return lines + labelled("Critical", "no load is critical")
    return lines + labelled("Critical", f"{_percent(figures.critical_unmet_fraction or 0.0)} unmet, {_hours(figures.critical_loss_hours, figures.critical_interval_95)}")


def _other_source(figures: Figures, source: str, chargers: str) -> list[str]:
    lines = labelled("Source", f"the {source} carries {short(figures.energy_kwh['other_source'])} kWh a year, something in {figures.other_source_h:,.0f} hours a year")
    if figures.generator_h is None:
        return lines + labelled("", "no inverter of the design charges from it: how long it runs is not known")
    return lines + labelled("", f"{figures.generator_h:,.0f} h a year at the charging current of {chargers}")


def _life(figures: Figures) -> list[str]:
    by_cycles = f"{figures.life_by_cycles_years:,.0f} years by cycles" if figures.life_by_cycles_years is not None else "never worn by cycles"
    return labelled("Battery", f"{short(figures.full_cycles)} full cycles a year: {by_cycles}, {figures.calendar_life_years:g} by the calendar, so {figures.life_years:,.1f}")


def _ice(figures: Figures) -> Iterator[str]:
    """Months in which a discharged lead-acid bank could freeze and crack."""
    for month in figures.could_freeze:
        yield f"{month.month}: charge fell to {_share(month.lowest)}, and below {_share(month.freezes_below or 0.0)} the electrolyte freezes at the site's lowest battery temperature"


def _energy(figures: Figures) -> Iterator[str]:
    energy = figures.energy_kwh

    def row(words: str, kwh: float) -> str:
        return f"  {words:<42}{kwh:>12,.1f}"

    yield row("array at its best", energy["array"])
    if energy["other_source"]:
        yield row("other source", energy["other_source"])
    yield row("loads served", -energy["served"])
    for name in LOSSES:
        short = name.removesuffix("_wh")
        if abs(energy[short]) >= 0.05:
            yield row(WORDS[short], -energy[short])
    yield row("surplus not taken", -energy["surplus"])
    yield row("emptier at the end of the year", -energy["stored"])
    if energy["waiting"] >= 0.05:
        yield row("(loads that still wait for sun at the end)", energy["waiting"])


def _notes(found: Replayed) -> Iterator[str]:
    assert found.figures is not None, "asked only where a design was replayed"
    yield f"Energy adds up: what is left over is {figure(found.figures.balance_error)} of what went in. docs/replay.md says what the model holds and what it leaves out."
    if found.figures.interval_95 is not None and 0 < found.figures.years_with_loss * found.years < 30:
        yield "Few years had any loss: the interval of hours is rough."
    if found.problem.site.other_source != "none":
        yield "The other source is taken to be ready whenever something is missing, and to give just that at the bank."
    yield from (f"{text[0].upper()}{text[1:]}." for text in found.assumed)
    yield "Years that were lived are no forecast: a worse spell than any of them may come."
    yield PRELIMINARY
