"""The answer of `relax`, for a person at a terminal."""

from __future__ import annotations

from typing import Any

from optimizer.handover.layout import bullets, figure, joined, labelled, money, section, wrapped
from optimizer.handover.questions_text import closing, in_words
from optimizer.questions.gaps import Gap
from optimizer.questions.relax import TOGETHER_MOST, Loosened, Relaxed, Way

HARD = "Hard rules (fire, shock, destroyed part) were not loosened, and no way out that loosens one is looked for."


def relax_text(found: Relaxed) -> str:
    """The answer of `relax`."""
    name, currency = found.base.problem.name, found.base.catalog.currency
    if found.base.report is not None:
        total = money(found.base.report.bill.paid_cents)
        return joined([*wrapped(f"{name}: nothing has to be loosened: there is a design at {total} {currency}."), *section("Notes", bullets(closing(found.base.problem)))])
    lines = [*wrapped(f"{name}: there is no design. {found.base.reason}")]
    if found.beyond:
        lines += ["", *wrapped("Nor is there one with every requirement at its furthest: hard rules and this catalog forbid it.")]
    for number, way in enumerate(found.ways, start=1):
        lines += _way(number, way, currency)
    lines += section("Requirements that cannot all stand", bullets(" and ".join(one.title for one in group) for group in found.conflicts if group))
    for sufficient, title in ((True, "Parts that would open it by themselves"), (False, "Parts without which nothing in this catalog opens it")):
        lines += section(title, bullets(_gap(gap, currency) for gap in found.gaps if gap.sufficient is sufficient))
    return joined([*lines, *section("Notes", bullets(_notes(found)))])


def _way(number: int, way: Way, currency: str) -> list[str]:
    assert way.answer.report is not None, "a way leads to a design"
    lines = ["", f"  {number}  {money(way.cents)} {currency}"]
    for one in way.loosen:
        lines += labelled("", f"{one.requirement.title}: {_from_to(one)}", 5)
    return lines + labelled("", in_words(way.answer.report.design), 5)


def _from_to(one: Loosened) -> str:
    unit = one.requirement.unit if one.requirement.unit not in ("count", "money", "months", "share") else ""

    def said(value: Any) -> str:
        return f"{figure(value)} {unit}".rstrip() if isinstance(value, int | float) else str(value)

    return f"{said(one.requirement.now)} -> {said(one.to)}"


def _gap(gap: Gap, currency: str) -> str:
    unit = {"money": currency, "count": ""}.get(gap.field.unit, gap.field.unit)
    return f"{gap.field.kind}: {gap.field.name} {gap.field.sense.replace('equals', 'of')} {figure(gap.needed)} {unit}".rstrip()


def _notes(found: Relaxed) -> list[str]:
    notes = [HARD]
    if not found.beyond and not found.ways and found.complete:
        notes.append(f"No set of up to {TOGETHER_MOST} requirements opens it.")
    if not found.complete:
        notes.append("Stopped by hand: there may be more ways, and further conflicts and gaps.")
    if not found.exact:
        notes.append("Some questions behind this were stopped before proof and taken for impossible: a smaller or milder set may exist.")
    if found.gaps:
        notes.append("A gap is imagined on every part of its kind at once, the rest of each part as it is; found to 1 %.")
    return [*notes, *closing(found.base.problem)]
