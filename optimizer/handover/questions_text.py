"""Answers to the questions about a design, for a person at a terminal."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from optimizer.answer import Answer, Outcome
from optimizer.design import Design
from optimizer.handover.generator_text import running_words
from optimizer.handover.layout import (
    bullets,
    columns,
    figure,
    joined,
    labelled,
    lowered,
    money,
    readable,
    section,
    wrapped,
)
from optimizer.handover.questions_json import exact
from optimizer.inputs.circuit_parts import Busbar, Cable, Protection, SoftStarter
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.problem import Problem
from optimizer.questions.cost_of import CostOf, Notch, Priced
from optimizer.questions.curve import Curve, Step
from optimizer.questions.diff import Difference, LineChange
from optimizer.questions.ranking import Ranking, WithMargin, tightest
from optimizer.questions.why_not import WhyNot
from optimizer.rules.book import RULES

NOT_PROVEN = "Some answers were stopped before proof: their prices are the best found, and cheaper ones may exist."
PRELIMINARY = "Every design behind these figures is preliminary: `bankstring solve` prints its proof and its cautions."


def closing(problem: Problem) -> list[str]:
    """The last notes under a question: what "cheapest" means where it is not the price, and that nothing here is a proof."""
    if not problem.counts_beside_the_bill:
        return [PRELIMINARY]
    by = "the life-cycle cost" if problem.life_cycle.objective == "life-cycle" else "the price"
    runs = running_words(problem)
    by += f", with {runs} as they count today" if problem.source_in_design else ""
    by += ", with what [objective] adds to it" if any(problem.objective.model_dump().values()) else ""
    shown = f"hold {runs} too" if problem.source_in_design else "are those of the bills"
    return [f"What is minimised, and called the cheapest, is {by}; the prices shown {shown}.", PRELIMINARY]


def in_words(design: Design) -> str:
    """A design in one line."""
    bank, inverter = design.bank, design.inverters.inverter
    parts = [f"{bank.volts} V {bank.battery.chemistry} {bank.units} x {bank.battery.id}"]
    for block in design.blocks:
        device = f"{block.count} x {'tracker of ' if block.built_in else ''}{block.part.id}"
        run = f" through {block.cable.id}" if block.cable is not None else ""
        parts.append(f"{block.modules} x {block.module.id}{run} on {device}{block.on_plane}")
    if inverter is not None:
        parts.append(f"{design.inverters.count} x {inverter.id}")
    parts += [f"{use.count} x {use.converter.id}" for use in design.converters]
    parts += [f"{pieces} x {part} before {item}" for item, part, pieces in design.fittings.starters]
    if design.fittings.autotransformer is not None:
        parts.append(f"autotransformer {design.fittings.autotransformer}")
    if design.source is not None:
        source = design.source
        charger = f"{source.count} x {source.charger.id} at " if source.charger is not None else ""
        parts.append(f"{source.generator.id if source.generator else source.kind} charging through {charger or 'the inverters at '}{source.charge_a:g} A")
    return ", ".join(parts)


def failed(answer: Answer) -> str:
    """What to say where there is no design."""
    return "impossible" if answer.outcome is Outcome.INFEASIBLE else "not known: stopped"


def _cost(answer: Answer) -> str:
    return money(answer.report.bill.paid_cents) if answer.report else failed(answer)


def design_words(answer: Answer) -> str:
    """The design of an answer in one line, or why there is none."""
    return in_words(answer.report.design) if answer.report else f"{failed(answer)}. {readable(answer.reason)}"


# --- ranking


def ranking_text(found: Ranking) -> str:
    """The answer of `ranking`."""
    name, currency = found.last.problem.name, found.last.catalog.currency
    lines = wrapped(f"{name}: the cheapest designs that differ in {', '.join(found.counted)}")
    if not found.designs:
        return joined([*lines, "", *wrapped(design_words(found.last))])
    first = found.designs[0].cents
    for place, ranked in enumerate(found.designs, start=1):
        more = f", {money(ranked.cents - first)} more" if ranked.cents > first else ""
        lines += ["", f"  {place}  {money(ranked.cents)} {currency}{more}"]
        lines += labelled("", design_words(ranked.answer), 5)
        lines += [line for told in ranked.differs_in for line in labelled("", told, 5)]
    near = "kind lies" if found.within_2_pct == 1 else "kinds lie"
    lines += ["", *wrapped(f"{found.within_2_pct} {near} within 2 % of the cheapest" + (", of those listed." if not found.exhausted else "."))]
    if found.exhausted:
        lines += wrapped("There is no design of another kind.")
    lines += _margin(found.margin, first, currency) if found.margin else []
    notes = closing(found.last.problem)
    answers = [ranked.answer for ranked in found.designs] + ([found.margin.answer] if found.margin else [])
    if any(answer.outcome in (Outcome.FEASIBLE, Outcome.STOPPED) for answer in answers):
        notes.insert(0, NOT_PROVEN)
    if not found.complete:
        notes.insert(0, "Stopped by hand: the list may go on.")
    return joined([*lines, *section("Notes", bullets(notes))])


def _margin(margin: WithMargin, first: int, currency: str) -> list[str]:
    """The cheapest design that stays away from every limit."""
    lines = ["", *wrapped(f"With at least {margin.margin_pct:g} % margin on every limit that is kept")]
    if margin.cents is None:
        return [*lines, *labelled("", design_words(margin.answer), 5)]
    more = f", {money(margin.cents - first)} more" if margin.cents > first else ""
    lines += [f"     {money(margin.cents)} {currency}{more}", *labelled("", design_words(margin.answer), 5)]
    line = tightest(margin.answer)
    return lines if line is None else [*lines, *labelled("", f"nearest to its limit: {lowered(line.title)}, {100 * (line.margin_share or 0):.1f} %", 5)]


# --- cost-of


def cost_of_text(found: CostOf) -> str:
    """The answer of `cost-of`."""
    base = found.base.report
    name, currency = found.base.problem.name, found.base.catalog.currency
    if base is None:
        return joined([
            *wrapped(f"{name}: {failed(found.base)}, so no requirement has a price."),
            *wrapped(readable(found.base.reason)),
            *wrapped("What to loosen is another question: `bankstring relax PROBLEM` answers it."),
        ])
    total = base.bill.paid_cents
    lines = [*wrapped(f"{name}: what each requirement costs"), *labelled("Now", f"{money(total)} {currency}"), "",
             f"  {'change against now, ' + currency:<41}{'looser':>12}{'tighter':>12}{'without':>12}"]
    for one in found.priced:
        lines += columns(f"  {one.requirement.title}", "".join(f"{_change(notch, total):>12}" for notch in (one.looser, one.tighter, one.without)))
        lines += wrapped(_values(one), "    ")
    notes = ["Each requirement is changed by itself; two savings do not add up.", "Hard rules have no price: they are never loosened."]
    notes += [] if found.complete else ["Interrupted: requirements that are missing were not asked."]
    notes += [] if found.exact or not found.complete else [NOT_PROVEN]
    return joined([*lines, *section("Notes", bullets([*notes, *closing(found.base.problem)]))])


def _change(notch: Notch | None, total: int) -> str:
    if notch is None:
        return "-"
    if notch.cents is None:
        return "impossible" if notch.answer.outcome is Outcome.INFEASIBLE else "stopped"
    return "no change" if notch.cents == total else f"{(notch.cents - total) / 100:+,.2f}"


def _values(one: Priced) -> str:
    unit = f" {one.requirement.unit}" if one.requirement.unit not in ("", "count", "money", "months", "share") else ""

    def said(value: Any) -> str:
        return f"{figure(value)}{unit}" if isinstance(value, int | float) else str(value)

    texts = [f"now {said(one.requirement.now)}"]
    texts += [f"{word} {said(notch.value)}" for word, notch in (("looser", one.looser), ("tighter", one.tighter)) if notch]
    if one.without is not None and (one.looser is None or one.without.value != one.looser.value):
        texts.append(f"without: {said(one.without.value)}")
    return "; ".join(texts)


# --- curve


def curve_text(found: Curve, name: str, currency: str) -> str:
    """The answer of `curve`."""
    axis = found.axis
    lines = [*wrapped(f"{name}: the cheapest design over {axis.name} [{axis.unit}]"), "", f"    {'from':>9}{'to':>10}{'price ' + currency:>15}  design"]
    for step in found.steps:
        here = "now" if step.start <= axis.now <= step.end else ""
        start = f"{here:<4}{figure(step.start):>9}{figure(step.end):>10}{_prices(step):>15}  "
        lines += wrapped(design_words(step.answer), start)
        if step.end_cents != step.start_cents and step.end_cents is not None:
            lines += [f"{'up to':>23}{money(step.end_cents):>15}"]
    return joined([*lines, *section("Notes", bullets(_curve_notes(found)))])


def _curve_notes(found: Curve) -> list[str]:
    axis, unit = found.axis, found.axis.unit.split(" ")[0]
    notes = []
    if found.exact:
        notes.append(f"Exact: every step is found, its ends to {axis.resolution:g} {unit}.")
    elif axis.exact:
        notes.append(f"Ends of steps to {axis.resolution:g} {unit}.")
    else:
        notes.append(
            f"Sampled, ends of steps to {axis.resolution:g} {unit}: a design that is the cheapest only between two samples may be missing."
        )
    if not found.complete:
        notes.append("Interrupted: the rest of the axis was not looked at.")
    if any(step.answer.outcome in (Outcome.FEASIBLE, Outcome.STOPPED) for step in found.steps):
        notes.append(NOT_PROVEN)
    return [*notes, *(closing(found.steps[0].answer.problem) if found.steps else [PRELIMINARY])]


def _prices(step: Step) -> str:
    return money(step.start_cents) if step.start_cents is not None else "none"


def curves_text(curves: Sequence[tuple[str, Curve]], name: str, currency: str, each: str) -> str:
    """The answer of `curve --each`: one table after the other."""
    blocks = []
    for value, found in curves:
        heading = wrapped(f"{each}: {value}")
        blocks.append("\n".join([*heading, "-" * max(map(len, heading)), curve_text(found, name, currency)]))
    return "\n\n\n".join(blocks)


def curve_csv(found: Curve, currency: str) -> str:
    """The steps of a curve as a table for a spreadsheet."""
    return _csv(STEP_COLUMNS, _step_rows(found, currency))


def curves_csv(curves: Sequence[tuple[str, Curve]], currency: str) -> str:
    """The steps of several curves as one table, the alternative in its first column."""
    return _csv(("each", *STEP_COLUMNS), [[value, *row] for value, found in curves for row in _step_rows(found, currency)])


STEP_COLUMNS = ("over", "unit", "from", "to", "cost_from", "cost_to", "currency", "outcome", "design")


def _csv(names: Sequence[str], rows: list[list[str | None]]) -> str:
    import pandas as pd

    return pd.DataFrame(rows, columns=list(names)).to_csv(index=False, lineterminator="\n").rstrip("\n")


def _step_rows(found: Curve, currency: str) -> list[list[str | None]]:
    rows: list[list[str | None]] = []
    for step in found.steps:
        costs = [None if cents is None else f"{cents / 100:.2f}" for cents in (step.start_cents, step.end_cents)]
        design = in_words(step.answer.report.design) if step.answer.report else None
        rows.append([found.axis.name, found.axis.unit, f"{step.start:g}", f"{step.end:g}", *costs, currency, step.answer.outcome.value, design])
    return rows


# --- why-not


def why_not_text(found: WhyNot) -> str:
    """The answer of `why-not`."""
    base, part, currency = found.base, found.base.catalog.sold[found.part], found.base.catalog.currency
    lines = [*wrapped(f"{found.part}: {found.verdict}"), *labelled("Price", f"{money(part.price_cents)} {currency} a {'metre' if isinstance(part, Cable) else 'piece'}")]
    if base.report is not None:
        lines += labelled("Cheapest", f"{_cost(base)} {currency}: {design_words(base)}")
    lines += labelled("Reason", readable(found.reason) or failed(found.with_part or base))
    if found.blocking is not None:
        lines += labelled("Rule", f"{RULES[found.blocking.rule].title} ({found.blocking.rule})")
        lines += labelled("Shortfall", readable(found.blocking.shortfall))
    if found.more_cents is not None and base.report is not None:
        lines += labelled("With it", f"{money(base.report.bill.paid_cents + found.more_cents)} {currency}")
    if found.verdict == "beaten" and found.with_part is not None and found.with_part.report is not None and base.report is not None:
        more = found.with_part.report.bill.paid_cents - base.report.bill.paid_cents
        lines += labelled("With it", f"{_cost(found.with_part)} {currency}, {money(more)} more: {design_words(found.with_part)}")
        entering = f"at {money(found.enters_below_cents)} {currency} a piece or less a design with it costs no more" \
            if found.enters_below_cents is not None else "at no price: even for nothing, the design around it costs more"
        lines += labelled("Enters", entering)
    if found.verdict == "beaten" and isinstance(part, Mount | SoftStarter):
        cents = found.enters_below_cents
        never = "at no price: even for nothing, no design with it is cheaper"
        lines += labelled("Enters", never if cents is None else f"at {money(cents)} {currency} a piece or less a design with it costs no more")
    if found.verdict == "chosen" and not isinstance(part, Busbar | Cable | Protection):
        stays = f"up to {money(found.enters_below_cents)} {currency} a piece" if found.enters_below_cents is not None else "not known"
        lines += labelled("Stays", "at any price: without it there is no design" if found.indispensable else stays)
    return joined([*lines, *section("Notes", bullets([*([] if exact(found) else [NOT_PROVEN]), *closing(base.problem)]))])


# --- diff


def diff_text(found: Difference) -> str:
    """The answer of `diff`."""
    change = round(found.total_after - found.total_before, 2)
    head = f"{found.total_before:,.2f} {found.currency} before, {found.total_after:,.2f} after: {change:+,.2f}"
    body = [
        *section("Added", _lines(found.added)), *section("Removed", _lines(found.removed)), *section("Changed", _lines(found.changed)),
        *section("Rules that bind now", bullets(_titles(found.became_binding))),
        *section("Rules that bind no longer", bullets(_titles(found.no_longer_binding))),
    ]
    return joined([*labelled("Price", head), *(body or ["", "Nothing changed."])])


def _titles(rules: Iterable[str]) -> list[str]:
    return [f"{RULES[rule].title} ({rule})" if rule in RULES else rule for rule in rules]


def _lines(changes: Iterable[LineChange]) -> list[str]:
    return [
        text for one in changes
        for text in columns(
            f"  {one.part}  {one.description}",
            f"{one.quantity_before:>6,d} -> {one.quantity_after:,d}{one.price_after - one.price_before:>+14,.2f}",
        )
    ]
