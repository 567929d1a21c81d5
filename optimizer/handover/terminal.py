"""A checked design for a person at a terminal: the money first, then the parts, then the proof."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from optimizer.answer import Answer, Outcome
from optimizer.bill import BillLine
from optimizer.choice.owned import OwnedPart
from optimizer.choice.screening import ScreenRow
from optimizer.design import Block, Design
from optimizer.handover.as_json import assumed_data, beyond_stock, bound_cents, combined_lines
from optimizer.handover.cautions import ALWAYS, own_cautions
from optimizer.handover.generator_text import (
    NAMES,
    generator_text,
    running_words,
    source_words,
    visits_text,
)
from optimizer.handover.layout import (
    bullets,
    columns,
    figure,
    joined,
    labelled,
    money,
    readable,
    section,
    short,
    wrapped,
)
from optimizer.handover.schedules_text import schedules_text
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.positions import positions
from optimizer.needs.sunlight import by_plane, sun_on_plane
from optimizer.proof.check import Report
from optimizer.proof.lines import Line
from optimizer.rules.book import RULES

SEVERITY_WORDS = {"hard": "hard", "requirement": "requirement", "soft": "good practice", "off": "off"}

TIGHT_SHARE = 0.15
"""Margin up to which a rule counts as deciding, for the eye."""
TIGHT_LEAST, TIGHT_MOST = 5, 14

WITHOUT_MARGIN = frozenset({
    "inverter-present", "tracker-count", "parallel-controllers", "battery-series-limit", "bounds", "stock", "part-limit", "part-demanded",
})
"""Rules on mere presence and number: that they hold exactly says nothing."""


def solve_text(answer: Answer, price: str = "") -> str:
    """The answer of `solve`; `price` stands for the line of price and proof where another question was asked."""
    if answer.report is None:
        return joined(_without_design(answer))
    report, problem = answer.report, answer.problem
    return joined([
        *wrapped(problem.name), "",
        *labelled("Price", price or _price(answer)),
        *_life_cycle(report, answer.catalog.currency),
        *_headline(report),
        *(labelled("Replayed", f"{answer.rounds} design{'s' if answer.rounds > 1 else ''} on the way to this one") if answer.rounds else []),
        *_bill(report.bill.lines, report.bill.total_cents, answer.catalog, answer.forces),
        *owned_lines(answer.owned),
        *_months(report),
        *generator_text(report.generator),
        *visits_text(report.visits),
        *schedules_text(report),
        *_rules(report),
        *section("On a bound of the search", bullets(answer.near_bounds)),
        *_cautions(report, problem),
        *_assumed(report, problem),
    ])


def check_text(report: Report, problem: Problem, catalog: Catalog) -> str:
    """The answer of `check`."""
    return joined([
        *wrapped(f"{problem.name}: {verdict(report)}"),
        *section("What is broken", _lines_of(_sorted(report.failures))),
        "",
        *labelled("Price", f"{money(report.bill.total_cents)} {catalog.currency}"),
        *_life_cycle(report, catalog.currency),
        *_headline(report),
        *_bill(report.bill.lines, report.bill.total_cents, catalog, {}),
        *_months(report),
        *generator_text(report.generator),
        *visits_text(report.visits),
        *schedules_text(report),
        *_rules(report),
        *_cautions(report, problem),
        *_assumed(report, problem),
    ])


def verdict(report: Report) -> str:
    """One sentence on a checked choice."""
    broken = {line.rule for line in report.failures}
    if not broken:
        return "the choice breaks no rule that the tool knows."
    return f"the choice breaks {len(broken)} rule{'s' if len(broken) > 1 else ''}."


def combined_text(answers: Sequence[Answer], catalog: Catalog) -> str:
    """One bill for several systems, each solved by itself."""
    bills = [answer.report.bill for answer in answers if answer.report is not None]
    if len(bills) < len(answers):
        missing = ", ".join(answer.problem.name for answer in answers if answer.report is None)
        return joined(wrapped(f"No combined bill: there is no design for {missing}."))
    lines = combined_lines(bills, catalog)
    names = ", ".join(answer.problem.name for answer in answers)
    notes = ["Each system was solved by itself; parts, freight, margin and tax are added up."]
    if any(answer.problem.owned for answer in answers):
        notes.append("Parts owned are counted in each problem that lists them: list each piece in one problem only.")
    notes += [f"More than there is: {text}." for text in beyond_stock(lines, catalog)]
    return joined([
        *wrapped(f"All together: {names}"),
        *_bill(lines, sum(bill.total_cents for bill in bills), catalog, {}),
        *section("Notes", bullets(notes)),
    ])


# --- the parts of the page


def _price(answer: Answer) -> str:
    assert answer.report is not None, "asked only where there is a design"
    price = f"{money(answer.report.bill.total_cents)} {answer.catalog.currency}"
    by = "life-cycle cost" if answer.problem.life_cycle.objective == "life-cycle" else "price"
    if answer.problem.source_in_design:
        runs = running_words(answer.problem)
        by += f" with {money(answer.report.bill.running_cents)} of {runs}" if answer.report.bill.running_cents else f" with {runs}"
    if any(answer.problem.objective.model_dump().values()):
        by += " and by what [objective] adds to it"
    if answer.outcome is Outcome.OPTIMAL:
        if answer.problem.counts_beside_the_bill:  # a dearer bill may win
            return f"{price}, the best that breaks no rule by {by}: proven"
        return f"{price}, the cheapest that breaks no rule: proven"
    bound = bound_cents(answer)
    proof = f"no design costs less than {money(bound)}" if bound is not None else "how much cheaper one could be is not known"
    gap = f" ({100 * answer.gap:.2g} % below)" if answer.gap else ""
    which = f" by {by}" if answer.problem.counts_beside_the_bill else ""
    return f"{price}, the best found{which} before the limit, not proven: {proof}{gap}"


def _life_cycle(report: Report, currency: str) -> list[str]:
    """Cost over the years, whether or not it was minimised, and how long the bank lives."""
    cycle, bank = report.life_cycle, report.life_cycle.bank
    later = cycle.total_cents - report.bill.total_cents
    limit = {"cycles": "by its cycles", "calendar": "by the calendar"}[bank.limited_by]
    return labelled(
        "Life cycle", f"{money(cycle.total_cents)} {currency} over {cycle.years:g} years at {cycle.discount_pct:g} % a year, "
        f"{money(later)} of it for what is replaced; the bank lasts {bank.years:.3g} years, limited {limit}"
        f"{f'; without {running_words(report.whole.needs.problem)}' if report.bill.running_cents else ''}",
    )


def _headline(report: Report) -> list[str]:
    design = report.design
    needs = report.whole.needs
    month, asked = report.design_month, 1.0 if design.source is not None and needs.source_h is None else needs.array_to_load
    lines = labelled("Bank", _bank(design))
    for number, block in enumerate(design.blocks, start=1):
        lines += labelled(f"Array {number}" if len(design.blocks) > 1 else "Array", _array(block))
    inverters = design.inverters
    lines += labelled(
        "Inverter", f"{inverters.count} x {inverters.inverter.id}, {figure(inverters.inverter.cont_w)} W"
        f"{' each' if inverters.count > 1 else ''}" if inverters.inverter else "none",
    )
    fitted = needs.problem.inverter.stepped_up
    if fitted is not None:
        lines += labelled("240 V", f"through the autotransformer {fitted.part}: {fitted.asked_va:,.0f} VA of loads")
    for use in design.converters:
        lines += labelled("Converter", f"{use.count} x {use.converter.id} for the DC {use.load_v:g} V loads")
    if design.source is not None:
        lines += labelled(NAMES[design.source.kind], source_words(design.source))
    lines += _plane(report)
    lines += _adjusting(report)
    lines += _autonomy(report)
    lines += labelled("Month", f"{month.month} is the shortest: the array gives {_ratio(month.ratio)} times the load, {asked:.2f} asked{f' with the {design.source.kind}' if design.source is not None else ''}")
    lines += _reliability(report)
    lines += labelled("Weight", f"{report.bill.weight_kg:,.0f} kg in all")
    missed = len({line.rule for line in report.lines if line.severity == "soft" and line.passed is False})
    verdict_text = "every hard rule and every requirement holds" if report.valid else f"{len({line.rule for line in report.failures})} broken"
    if missed:
        verdict_text += f"; {missed} point{'s' if missed > 1 else ''} of good practice missed"
    return lines + labelled("Rules", verdict_text)


def _reliability(report: Report) -> list[str]:
    """What the design lived through, where the problem has a loss-of-load limit or hours."""
    asked, loss = report.whole.needs.problem.reliability, report.lived
    if loss is None:
        return []
    critical_only = asked is not None and asked.critical_only
    which, unmet, interval = ("critical loads", loss.critical_unmet_fraction, loss.critical_interval_95) if critical_only else (
        "loads", loss.unmet_fraction, loss.interval_95,
    )
    sure = f" (95 %: {short(interval[0])} to {short(interval[1])})" if interval is not None else ""
    lived = "the weather file's own year" if loss.seed is None else f"{loss.years:,} synthetic year{'s' if loss.years > 1 else ''}, seed {loss.seed}"
    return labelled(
        "Lived", f"{which} off {short(loss.hours(critical_only=critical_only))} h a year{sure}"
        f"{f', {short(asked.loss_of_load_hours_max)} h allowed' if asked is not None else ''}; {100 * (unmet or 0.0):.2g} % of their energy unmet; {lived}",
    )


def _plane(report: Report) -> list[str]:
    """The plane of the array, where its sun was calculated."""
    used = {block.plane for block in report.design.blocks}
    lines = []
    for name, one in zip(report.whole.needs.planes, by_plane(report.whole.needs.problem), strict=True):
        if name in used and one.array.sun_h is None:
            lines += labelled("Sun", (f"{name}: " if name is not None else "") + sun_on_plane(one).origin)
    return lines


def _adjusting(report: Report) -> list[str]:
    """How an array is set through the year, where its tilt changes."""
    by_month = report.whole.needs.problem.array.tilt_deg_by_month
    if by_month is None:
        return []
    each = positions(by_month)
    when = ", ".join(f"at the beginning of {MONTHS[one.months[0]]} to {one.tilt_deg:g} deg" for one in each)
    return labelled("Set anew", f"{len(each)} times a year: {when}")


def _bank(design: Design) -> str:
    bank = design.bank
    kwh = bank.battery.energy_kwh * bank.units
    return (
        f"{bank.volts} V, {bank.battery.chemistry}, {kwh:.3g} kWh: {bank.units} x {bank.battery.id}, "
        f"{bank.series} in series x {bank.strings} string{'s' if bank.strings > 1 else ''}"
    )


def _array(block: Block) -> str:
    device = f"{'the tracker of ' if block.built_in else ''}{block.part.id}"
    each = f"{block.count} x {device}, each with " if block.count > 1 else f"{device} with "
    text = (
        f"{figure(block.array_w * block.count)} W: {each}{block.modules_each} x {block.module.id}, "
        f"{block.series} in series x {block.strings} string{'s' if block.strings > 1 else ''}"
    )
    return text + block.on_plane + (f", charge limit set to {block.limit_a:g} A" if block.limit_a is not None else "")


def _autonomy(report: Report) -> list[str]:
    held = []
    for at, season in enumerate(report.whole.needs.seasons):
        old_d, new_d = report.whole.autonomy_held_d(at)
        where = f"season {season.demand.name}: " if len(report.whole.needs.seasons) > 1 else ""
        held += labelled("Autonomy", f"{where}{old_d:.1f} days cold and at the end of its life, {new_d:.1f} new; {season.autonomy_d:g} asked")
    return held


def _bill(lines: Sequence[BillLine], total_cents: int, catalog: Catalog, forces: Mapping[str, str]) -> list[str]:
    named = set(catalog.sold) - {allowance.id for allowance in catalog.allowances}
    body = columns("  qty  part", f"{'each':>10}{'price ' + catalog.currency:>12}")
    for line in lines:
        text = f"{line.part}  {line.description}" if line.part in named else line.description or line.part
        body += columns(f"{line.quantity:5,d}  {text}", f"{money(line.unit_cents):>10}{money(line.price_cents):>12}")
        if line.part in forces:
            body += wrapped(readable(forces[line.part]), " " * 9 + "forced by: ", " " * 11)
    return section("Bill of materials", [*body, *columns("       total", f"{money(total_cents):>12}")])


def owned_lines(owned: Iterable[OwnedPart]) -> list[str]:
    """What became of the customer's own parts."""
    return section("Parts owned", bullets(
        f"{own.part}: {own.used} of {own.quantity} {readable(f'used; {own.reason}' if own.reason else 'used')}" if own.used
        else f"{own.part}: {own.verdict}: {readable(own.reason)}"
        for own in owned
    ))


def _months(report: Report) -> list[str]:
    carried = any(month.left_wh is not None for month in report.months)
    body = [f"  {'month':<7}{'sun h':>7}{'load':>11}{'array':>11}{'ratio':>8}" + (f"{'carried Wh':>13}" if carried else "")]
    for month in report.months:
        mark = "   <- design month" if month is report.design_month else ""
        left = f"{month.left_wh:>13,.0f}" if month.left_wh is not None else ""
        body.append(f"  {month.month:<7}{month.sun_h:>7.1f}{month.load_wh:>11,.0f}{month.array_wh:>11,.0f}{_ratio(month.ratio):>8}{left}{mark}")
    return section("Monthly balance (Wh a day at the battery)", body)


def _ratio(ratio: float) -> str:
    return f"{ratio:.2f}" if ratio < 1000 else "> 999"


def _sorted(lines: Iterable[Line]) -> list[Line]:
    """Worst first: unknown, then by share of margin."""
    return sorted(lines, key=lambda line: (line.passed is not None, line.margin_share if line.margin_share is not None else -1.0, line.rule))


def _tightest(lines: Iterable[Line]) -> list[Line]:
    """Of each rule the line with the least margin, least first."""
    found: dict[str, Line] = {}
    for line in _sorted(lines):
        found.setdefault(line.rule, line)
    return list(found.values())


def _rules(report: Report) -> list[str]:
    missed = _sorted(line for line in report.lines if line.severity == "soft" and line.passed is not True)
    holding = _tightest(
        line for line in report.lines
        if line.passed is True and line.margin_share is not None and line.sense != "equals" and line.rule not in WITHOUT_MARGIN
    )
    near = [line for line in holding if (line.margin_share or 0.0) <= TIGHT_SHARE]
    shown = holding[: min(TIGHT_MOST, max(TIGHT_LEAST, len(near)))]
    rest = len({line.rule for line in report.lines}) - len({line.rule for line in (*missed, *shown, *report.failures)})
    more = wrapped(f"{rest} more rules hold with more to spare or have no margin; --json lists every one.", "  ") if rest > 0 else []
    return [
        *section("Good practice missed (reported, not enforced)", _lines_of(missed)),
        *section("Rules that bind, least margin first", [*_lines_of(shown), *more] if shown else more),
    ]


def _lines_of(lines: Iterable[Line]) -> list[str]:
    return [text for line in lines for text in _line(line)]


def _line(line: Line) -> list[str]:
    if line.passed is None:
        margin = "?"
    elif line.margin_share is None:
        margin = "holds" if line.passed else "no"
    else:
        margin = _percent(100 * line.margin_share)
    unit = f" {line.unit}" if line.unit not in ("", "count", "money") else ""
    sense = {"equals": "must be"}.get(line.sense, line.sense)
    figures = f"{figure(line.actual)}{unit}, {sense} {figure(line.required)}{unit}"
    return wrapped(f"{line.title}: {figures} ({line.where}) [{SEVERITY_WORDS[line.severity]}]", f"{margin:>8}  ")


def _percent(share: float) -> str:
    if abs(share) >= 1000:
        return "> 999 %" if share > 0 else "< -999 %"
    return f"{share:+.1f} %" if abs(share) < 10 else f"{share:+.0f} %"


def _cautions(report: Report | None, problem: Problem) -> list[str]:
    return [
        *section(f"Cautions for this {'design' if report is not None else 'problem'}", bullets(own_cautions(report, problem))),
        *section("Cautions for every design", bullets(ALWAYS)),
    ]


def _assumed(report: Report | None, problem: Problem) -> list[str]:
    assumed = assumed_data(report, problem)
    sections: dict[str, list[str]] = {}
    for text in assumed["problem"]:
        name, _, rest = text.partition(".")
        sections.setdefault(name, []).append(rest)
    body = [line for name, keys in sections.items() for line in labelled(name, ", ".join(keys), 16)]
    parts = [line for part, values in assumed["parts"].items() for line in labelled(part, ", ".join(values), 24)]
    return [
        *section("Values that the problem file left out", body),
        *section("Values that the catalog left blank, taken with caution", parts),
    ]


# --- no design


def _without_design(answer: Answer) -> list[str]:
    said = "there is no design" if answer.outcome is Outcome.INFEASIBLE else "no design was found"
    return [
        *wrapped(f"{answer.problem.name}: {said}."),
        *wrapped(readable(answer.reason) or "Nothing more is known."),
        *(wrapped("`bankstring relax PROBLEM` looks for what to loosen.") if answer.outcome is Outcome.INFEASIBLE else []),
        *owned_lines(answer.owned),
        *_screening(answer.screening),
        *_cautions(None, answer.problem),
        *_assumed(None, answer.problem),
    ]


def _screening(rows: Sequence[ScreenRow]) -> list[str]:
    """What each rule removed; the rule that left nothing comes first."""
    body = [f"  {'removed':>10}{'left':>10}  rule and the nearest miss"] if rows else []
    for row in sorted(rows, key=lambda one: one.left):
        start = f"  {row.removed:>10,}{row.left:>10,}  "
        body += wrapped(RULES[row.rule].title, start)
        body += wrapped(readable(row.example), " " * len(start))
    return section("What the rules removed, the least left first", body)
