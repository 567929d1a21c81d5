"""The answer of `grow`, for a person at a terminal."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Mapping

from optimizer.growth.plan import Plan, Visit
from optimizer.handover.cautions import BEHIND_A_TRANSFORMER, beside_the_array, counted_on
from optimizer.handover.generator_text import running_words
from optimizer.handover.layout import bullets, columns, joined, labelled, money, section, wrapped
from optimizer.handover.questions_text import PRELIMINARY, in_words
from optimizer.handover.terminal import owned_lines
from optimizer.needs.sunlight import sun_on_plane
from optimizer.questions.grown import Grown

WHOLE_PAGE = (
    "Every design here is preliminary. `bankstring check PROBLEM ANSWER`, ANSWER being what --json prints, gives the whole page of the one to buy now, with its cables, "
    "fuses, settings and cautions. `bankstring solve` finds the cheapest for today alone, which may be another."
)


def grow_text(grown: Grown) -> str:
    """The answer of `grow`."""
    name, currency = grown.problem.name, grown.catalog.currency
    best = grown.best
    if best is None or best.planned.plan is None:
        told = f"{name}: there is no plan: {grown.reason}." if grown.complete else f"{name}: stopped before a plan was found."
        return joined([*wrapped(told), *section("Notes", bullets([PRELIMINARY]))])
    proof = "proven" if best.planned.proven else f"not proven; another plan may cost up to {100 * (best.planned.gap or 0):.1f} % less"
    lines = [
        *wrapped(f"{name}: {money(best.expected_cents)} {currency} in expectation, present money: {proof}"),
        *wrapped(f"Growth comes with a probability of {100 * grown.probability:.0f} %."),
    ]
    lines += section("Buy now", _visit(best.planned.plan, best.planned.plan.first, currency, running_words(grown.problem)))
    lines += _timeline(best.planned.plan, currency, _runs(grown))
    lines += owned_lines(grown.owned)
    lines += section(f"Present cost under each future, {currency}", _costs(grown))
    lines += section(f"Regret: what a first purchase costs more than the best for that future, {currency}", _regrets(grown))
    if grown.step_by_step_cents is not None:
        more = grown.step_by_step_cents - best.expected_cents
        lines += section("Step by step", wrapped(
            f"At each date the design that is cheapest then, with no thought of what comes after, costs {money(grown.step_by_step_cents)} {currency} in expectation: "
            + (f"{money(more)} more." if more >= 1 else "no more than this plan."), "  "))
    lines += section("Where the answer flips", _flips(grown))
    lines += section(f"Doors: what keeping each open costs today, {currency}", _doors(grown))
    lines += section("Not now", _waits(grown))
    return joined([*lines, *section("Notes", bullets(_notes(grown)))])


def _timeline(plan: Plan, currency: str, runs: str) -> Iterator[str]:
    later = sorted((visit for visit in plan.visits.values() if visit.node.parent is not None), key=lambda one: (one.node.future, one.node.year))
    for visit in later:
        stage = f": {visit.node.stage}" if visit.node.stage else ": nothing changes"
        yield from section(f"Year {visit.node.year:g}, if '{visit.node.future}'{stage}", _visit(plan, visit, currency, runs))


def _visit(plan: Plan, visit: Visit, currency: str, runs: str) -> Iterator[str]:
    yield from labelled("design", in_words(visit.design))
    yield from labelled("buy", _listed({**visit.kits, **visit.new_parts}) or "nothing")
    new = Counter(visit.new_parts)
    for kit in plan.ledger.kits:
        new.update({part: each * visit.kits.get(kit.id, 0) for part, each in kit.parts})
    kept = {part: n - new[part] for part, n in visit.design.pieces.items() if n > new[part]}
    if kept and visit.node.parent is not None:
        yield from labelled("keep", _listed(kept))
    sold: dict[str, int] = {}
    for (item, _), n in visit.sold.items():
        sold[item] = sold.get(item, 0) + n
    if sold:
        yield from labelled("let go", f"{_listed(sold)}{f', for {money(visit.got_cents)} {currency}' if visit.got_cents else ''}")
    if visit.idle:
        yield from labelled("unused", _listed(visit.idle))
    extra = f", of which {money(visit.changeover_cents)} for the change of voltage" if visit.changeover_cents else ""
    what = "cable, fuses and fittings with it"
    if not (visit.new_parts or visit.kits or visit.changeover_cents) and visit.spent_cents:
        what = "all of it cable, fuses and fittings"
    yield from labelled("pay", f"{money(visit.spent_cents + visit.changeover_cents)} {currency} of that year, {what}{extra}")
    if visit.yearly_cents:
        yield from labelled("run", f"{money(round(visit.yearly_cents))} {currency} a year for {runs}, at today's prices")


def _runs(grown: Grown) -> str:
    """What sources of the plans cost to run, in words."""
    nodes = [visit.node for named in grown.plans if named.planned.plan is not None for visit in named.planned.plan.visits.values()]
    return running_words(next((node.problem for node in nodes if node.problem.source_in_design), grown.problem))


def _listed(pieces: Mapping[str, int]) -> str:
    return ", ".join(f"{n} x {part}" for part, n in sorted(pieces.items()))


def _when(name: str) -> str:
    """For what a plan is the best.

    >>> _when("stays, for certain"), _when("growth for certain")
    ("if 'stays' is certain", 'if growth is certain')
    """
    future, comma, _ = name.rpartition(", for certain")
    return f"if '{future}' is certain" if comma else name.replace("growth for certain", "if growth is certain")


def _costs(grown: Grown) -> Iterator[str]:
    for named in grown.plans:
        mark = "" if named.planned.proven else " (not proven)"
        yield from columns(f"  best {_when(named.name)}{mark}: {named.first_purchase}", "  " + (money(named.expected_cents) + " expected" if math.isfinite(named.expected_cents) else "not for every future"))
        yield from labelled("", "; ".join(f"{future} {_cost(cents)}" for future, cents in named.cost_by_future.items()), 9)
        if any(named.running_by_future.values()):
            runs = "; ".join(f"{future} {money(round(cents))}" for future, cents in named.running_by_future.items())
            yield from labelled("", f"of that {_runs(grown)}: {runs}", 9)


def _cost(cents: float) -> str:
    """Money, or that a first purchase leaves no plan."""
    return money(cents) if math.isfinite(cents) else "no plan"


def _regrets(grown: Grown) -> Iterator[str]:
    for one in grown.regrets:
        by_future = "; ".join(f"{future} {_cost(cents)}" for future, cents in one.by_future.items())
        if one.proven:
            yield from columns(f"  {one.kind}: {one.first_purchase}", "  " + _cost(one.greatest) + " at most")
            yield from labelled("", f"{by_future}; expected cost {_cost(one.expected_cents)}", 9)
        else:  # what a plan that more time may better would be regretted for is no regret of the purchase
            least = f", the best no less than {money(one.least_cents)}" if one.least_cents > 0 else ""
            yield from columns(f"  {one.kind} (not proven): {one.first_purchase}", "  not known")
            yield from labelled("", f"expected cost of what was found {_cost(one.expected_cents)}{least}; of it {by_future}", 9)


def _flips(grown: Grown) -> Iterator[str]:
    if not grown.lines:
        return
    if not grown.flips:
        of = "" if grown.complete else " of those that were asked"
        yield from wrapped(f"At every probability of growth the same first purchase is the best{of}: {grown.lines[0].first_purchase}.", "  ")
    for flip in grown.flips:
        yield from wrapped(f"At a probability of growth of {100 * flip.probability:.1f} %: below it {flip.before}; above it {flip.after}.", "  ")


def _doors(grown: Grown) -> Iterator[str]:
    for door in grown.doors:
        price = "cannot be kept" if door.price_now_cents is None else money(door.price_now_cents)
        yield from columns(f"  {door.door}", "  " + price)
        if not door.kept_now:
            told = "the best plan does not keep it"
        elif door.looked_to_month is None:
            told = "the best plan keeps it, in part or whole"
        elif door.closes_month is None:
            told = f"the best plan keeps it wherever growth begins, looked at to month {door.looked_to_month}"
        else:
            told = f"the best plan keeps it if growth begins in month {door.closes_month} or sooner"
        yield from labelled("", told, 9)


def _waits(grown: Grown) -> list[str]:
    return bullets(f"{one.pieces} x {one.part}, year {one.year:g} if '{one.future}': {one.reason}" for one in grown.waits)


def _fitted(grown: Grown) -> Iterator[str]:
    """What to know of the soft starters and autotransformers of any plan that is named."""
    fittings = [visit.design.fittings for named in grown.plans if named.planned.plan is not None for visit in named.planned.plan.visits.values()]
    before = sorted({item for one in fittings for item, _, _ in one.starters})
    if before:
        yield counted_on(before)
    if any(one.autotransformer is not None for one in fittings):
        yield BEHIND_A_TRANSFORMER


def _sources(grown: Grown) -> Iterator[str]:
    """How what sources burn is counted, and what to know of the sources of any plan that is named."""
    growth = grown.problem.growth
    assert growth is not None, "a plan has growth"
    plans = [named.planned.plan for named in grown.plans if named.planned.plan is not None]
    kinds = {visit.design.source.kind for plan in plans for visit in plan.visits.values() if visit.design.source is not None}
    if not kinds:
        return
    trend = growth.price_trend_pct.get("running", 0.0)
    yield (
        f"{_runs(grown).capitalize()} of every year until the next date are counted, each at its year's end{f', rising {trend:g} % a year' if trend else ''}, "
        "without margin and tax, as they are paid by whoever runs it."
    )
    yield from (beside_the_array(kind, "the current of each date") for kind in sorted(kinds))


def _notes(grown: Grown) -> list[str]:
    growth = grown.problem.growth
    assert growth is not None, "a plan has growth"
    circuits = (
        "the circuits of every stage are sized for its design, and what they cost above those that are there, at the same bank voltage, is bought then."
        if grown.catalog.cables else "cable and fuses are priced allowances."
    )
    notes = [
        f"Costs are discounted at {growth.discount_pct:g} % a year over {growth.horizon_years:g} years; prices of later years follow price_trend_pct; {circuits}",
        "Every stage was held against every rule of its own day. Batteries of ages further apart than their chemistry stands are not put in one bank; "
        "modules of a later purchase get a controller of their own.",
    ]
    if len(growth.futures) > 1:
        notes.append("The first purchase is the same in every future. After it the plan takes it as known which future has come: what is bought later may differ by what comes later still.")
    notes += [*_fitted(grown), *_sources(grown)]
    if grown.problem.array.sun_h is None:
        notes.append(f"The plane of the array in every stage: {sun_on_plane(grown.problem).origin}.")
    if not grown.complete:
        over = f"The time was over before '{grown.not_asked}' was asked" if grown.not_asked else "Stopped by hand"
        notes.append(f"{over}: what was not reached is left out{'; --minutes gives more time' if grown.not_asked else ''}.")
    if not grown.all_proven:
        notes.append("Plans marked as not proven ended with a gap; --minutes gives more time. Regrets, flips and doors that rest on them may shift by as much.")
    return [*notes, WHOLE_PAGE]
