"""Why a part is not in the design, and what would bring it in."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal, TypeVar, cast

from optimizer.answer import Answer, Outcome, solve
from optimizer.circuits.busbars import POLES
from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Autotransformer, Busbar, Cable, Protection, SoftStarter
from optimizer.inputs.kits import Kit
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Allowance, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import fits
from optimizer.inputs.text_tables import nearest
from optimizer.needs.requirements import requirements, with_section
from optimizer.needs.site import Needs
from optimizer.needs.stepping import carries, stepped_up
from optimizer.proof.check import Report
from optimizer.proof.lines import Line
from optimizer.questions import in_mounts
from optimizer.questions.again import held_against, solve_like
from optimizer.questions.in_circuits import places_of, serving
from optimizer.rules.book import RULES, meets

Verdict = Literal["chosen", "beaten", "screened out"]

PartKind = TypeVar("PartKind", bound=Part)

Progress = Callable[[str], None]

LIMITS = ("limits.", "array.", "planes.", "bank.")
"""Requirements that are a limit on the whole and can be left out."""

STEPS_MOST = 60
"""Crossings of cost lines to follow; each is the line of another design, so few are ever met."""


@dataclass(frozen=True)
class Blocking:
    """The rule that keeps a part out, and what comes nearest to meeting it."""

    rule: str
    shortfall: str


@dataclass(frozen=True)
class WhyNot:
    """The verdict on one part; money in cents."""

    part: str
    verdict: Verdict
    base: Answer
    with_part: Answer | None
    """The cheapest design that contains the part, where there is one."""
    enters_below_cents: int | None
    """Highest price at which the best design with the part costs no more than the best without it; None where no price
    does, and where every price does (`indispensable`)."""
    blocking: Blocking | None
    reason: str
    indispensable: bool = False
    """Whether the part stays at any price: without it there is no design."""
    more_cents: int | None = None
    """What the cheapest design costs more with a cable or device in place of its own, where every rule still holds."""


def proven(answer: Answer) -> bool:
    """Whether nothing is left open: the cheapest design, or that there is none."""
    return answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE)


def why_not(problem: Problem, catalog: Catalog, part_id: str, progress: Progress = lambda _: None) -> WhyNot:
    """Chosen; or beaten, by how much and from which price on; or screened out, by which rule. A kit is asked after like a part.

    A cable or a device of a circuit is not chosen for itself: it is held against each circuit of the cheapest design.

    Raises InputError for a part that the catalog does not hold, and for an allowance, which nobody chooses.
    """
    part = catalog.sold.get(part_id)
    if part is None:
        raise InputError(f"part '{part_id}' is not in the catalog{nearest(part_id, list(catalog.sold))}")
    if isinstance(part, Allowance):
        raise InputError(f"part '{part_id}' is an allowance: it comes with every {part.per} and is not chosen")
    progress("the cheapest design")
    base = solve(problem, catalog)
    if isinstance(part, Cable | Protection):
        return _in_circuits(base, catalog, part)
    if isinstance(part, Busbar):
        return _at_the_bank(base, part)
    if isinstance(part, Autotransformer):
        return _behind_inverters(base, problem, catalog, part, progress)
    if isinstance(part, SoftStarter):
        return _before_motors(base, problem, catalog, part, progress)
    if isinstance(part, Mount):
        return _under_arrays(base, problem, catalog, part, progress)
    if base.report is not None and _holds(base.report, part_id):
        progress(f"the cheapest design without {part_id}")
        without = solve(with_section(problem, "locks", exclude=(*problem.locks.exclude, part_id)), catalog)
        price, always = None, without.outcome is Outcome.INFEASIBLE
        if without.report is not None:
            demanding = _demanding(problem, part_id)
            now = solve_like(base, demanding, catalog)
            price, always = _entering(demanding, catalog, part, without.report.bill.objective_cents, progress, now)
        return WhyNot(part_id, "chosen", base, base, price, None, "it is in the cheapest design", always)
    locked = _locked_out(problem, catalog, part)
    if locked:
        return WhyNot(part_id, "screened out", base, None, None, None, locked)
    progress(f"the cheapest design with {part_id}")
    demanding = _demanding(problem, part_id)
    with_part = solve(demanding, catalog)
    if with_part.report is None:
        blocking, reason = _blocking(problem, catalog, part, base, with_part)
        return WhyNot(part_id, "screened out", base, None, None, blocking, reason)
    price = None
    if base.report is not None:
        price, _ = _entering(demanding, catalog, part, base.report.bill.objective_cents, progress, with_part)
    return WhyNot(part_id, "beaten", base, with_part, price, None, f"a design without it costs no more{_unused(with_part.report, part)}")


def _in_circuits(base: Answer, catalog: Catalog, part: Cable | Protection) -> WhyNot:
    """A part that is not chosen for itself: it is sized with its circuit, so each circuit is asked."""
    if base.report is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"the problem has no design at all. {base.reason}")
    serves = serving(base.report, part)
    if serves:
        return WhyNot(part.id, "chosen", base, base, None, None, f"it is sized with its circuit, and serves the {' and the '.join(serves)}")
    places, none = places_of(base.report, catalog, part)
    if not places:
        return WhyNot(part.id, "screened out", base, None, None, None, none)
    best = min((place for place in places if place.more_cents is not None), key=lambda place: place.more_cents or 0, default=None)
    if best is not None:
        reason = f"it is sized with its circuit: it may serve the {best.name}, where {best.instead} costs {(best.more_cents or 0) / 100:,.2f} less"
        return WhyNot(part.id, "beaten", base, None, None, None, reason, more_cents=best.more_cents)
    closest = max(places, key=lambda place: place.margin_share)
    reason = f"it is sized with its circuit, and no circuit of the cheapest design may have it; nearest is the {closest.name}, which has {closest.instead}"
    if closest.broken is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"{reason}: {closest.forbids}")
    blocking = Blocking(closest.broken.rule, _shortfall(closest.broken, catalog.currency))
    return WhyNot(part.id, "screened out", base, None, None, blocking, reason)


def _at_the_bank(base: Answer, part: Busbar) -> WhyNot:
    """A busbar is sized for what may meet at the bank of a design: it is held against that of the cheapest."""
    if base.report is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"the problem has no design at all. {base.reason}")
    design, prices = base.report.design, base.report.prices
    joint = prices.wiring.busbar(design.bank, design.inverters, design.converters)
    if joint is None or joint.bar is None:
        return WhyNot(part.id, "screened out", base, None, None, None, "the cheapest design has no busbars: too little meets at its bank, or the catalog has no cables")
    if joint.bar.id == part.id:
        return WhyNot(part.id, "chosen", base, base, None, None, "the circuits of the cheapest design meet at a pair of them")
    asked = (("busbar-rating", part.rated_a, joint.carries_a, "A"), ("busbar-ways", part.ways, joint.ways, "conductors"), ("busbar-voltage", part.dc_v_max, joint.stands_v, "V"))
    for rule, has, needs, unit in asked:
        if not meets(has, needs, "at least"):
            told = Blocking(rule, f"{has:g} {unit}, {needs:.4g} asked")
            return WhyNot(part.id, "screened out", base, None, None, told, f"it is too small for what may meet at the bank of the cheapest design, which has {joint.bar.id}")
    more, bill = POLES * (prices.bought_cents(part) - prices.bought_cents(joint.bar)), base.report.bill
    reason = f"it may serve the bank of the cheapest design, where a pair of {joint.bar.id} costs {more / 100:,.2f} less"
    return WhyNot(part.id, "beaten", base, None, None, None, reason, more_cents=prices.total_of(bill.parts_and_freight_cents + more)[2] - bill.total_cents)


def _behind_inverters(base: Answer, problem: Problem, catalog: Catalog, part: Autotransformer, progress: Progress) -> WhyNot:
    """An autotransformer makes a problem of its own: that is solved, and compared with the cheapest design."""
    if problem.inverter.autotransformer != "may":
        return WhyNot(part.id, "screened out", base, None, None, None, 'the problem does not say inverter.autotransformer = "may"')
    if base.report is not None and base.choice is not None and base.choice.autotransformer == part.id:
        progress(f"the cheapest design without {part.id}")
        others = tuple(one for one in catalog.autotransformers if one.id != part.id)
        without = solve(problem, replace(catalog, autotransformers=others), explain=False)
        more = without.report.bill.objective_cents - base.report.bill.objective_cents if without.report is not None else None
        stays = None if more is None else part.price_cents + more
        return WhyNot(part.id, "chosen", base, base, stays, None, "it makes 240 V of what the inverters of the cheapest design give", without.outcome is Outcome.INFEASIBLE)
    if not carries(problem, part):
        return WhyNot(part.id, "screened out", base, None, None, None, "it does not carry, or does not start, the loads of 240 V, or there are none")
    progress(f"the cheapest design with {part.id}")
    with_part = solve(stepped_up(problem, part), catalog)
    if with_part.report is None or base.report is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"with it there is no design. {with_part.reason}")
    enters = part.price_cents - (with_part.report.bill.objective_cents - base.report.bill.objective_cents)
    return WhyNot(part.id, "beaten", base, with_part, enters if enters >= 0 else None, None, "a design without it costs no more")


def _under_arrays(base: Answer, problem: Problem, catalog: Catalog, part: Mount, progress: Progress) -> WhyNot:
    """A mount is chosen with its array: each array of the cheapest design is asked, and its price is looked for by solving again."""
    if base.report is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"the problem has no design at all. {base.reason}")
    if not base.report.prices.mounts.active:
        return WhyNot(part.id, "screened out", base, None, None, None, "the problem has no section [mounting]: an allowance stands for mounts")

    def least(cents: int) -> tuple[int, int] | None:
        progress(f"{part.id} at {cents / 100:,.2f}")
        report = solve(problem, with_price(catalog, part, cents), explain=False).report
        return None if report is None else (report.bill.objective_cents, report.prices.mounts.pieces(report.design)[part.id])

    arrays = in_mounts.arrays_on(base.report, part)
    if arrays:
        progress(f"the cheapest design without {part.id}")
        without = solve(with_section(problem, "locks", exclude=(*problem.locks.exclude, part.id)), catalog, explain=False)
        always = without.outcome is Outcome.INFEASIBLE
        price = in_mounts.highest_price(least, part.price_cents, without.report.bill.objective_cents) if without.report else None
        return WhyNot(part.id, "chosen", base, base, None if price is None else int(price), None, f"{' and '.join(arrays)} of the cheapest design stands on it", always)
    locked = _locked_out(problem, catalog, part)
    if locked:
        return WhyNot(part.id, "screened out", base, None, None, None, locked)
    places = in_mounts.places_under(base.report, catalog, part)
    best = min((place for place in places if place.more_cents is not None), key=lambda place: place.more_cents or 0, default=None)
    broken = next((place.broken for place in places if place.broken is not None), None)
    price = in_mounts.highest_price(least, 0, base.report.bill.objective_cents)
    cents = None if price is None else int(price)
    if best is not None:
        reason = f"the cheapest mounts with it under {best.name} cost {(best.more_cents or 0) / 100:,.2f} more"
        return WhyNot(part.id, "beaten", base, None, cents, None, reason, more_cents=best.more_cents)
    blocking = None if broken is None else Blocking(broken.rule, _shortfall(broken, catalog.currency))
    forbids = "a rule keeps it from under the arrays" if broken is not None else "it is too large for the arrays"
    verdict: Verdict = "screened out" if broken is not None and cents is None else "beaten"
    return WhyNot(part.id, verdict, base, None, cents, blocking, f"{forbids} of the cheapest design")


def _before_motors(base: Answer, problem: Problem, catalog: Catalog, part: SoftStarter, progress: Progress) -> WhyNot:
    """A soft starter is fitted before loads that may have one: its price is looked for by solving again."""
    able = [load.item for load in problem.loads if load.soft_starter == "may" and fits(part, load)]
    if not able:
        return WhyNot(part.id, "screened out", base, None, None, None, "no load that may have a soft starter takes it: its volts, its volt-amperes or a start that is gentle already")

    def least(cents: int) -> tuple[int, int] | None:
        progress(f"{part.id} at {cents / 100:,.2f}")
        report = solve(problem, with_price(catalog, part, cents), explain=False).report
        return None if report is None else (report.bill.objective_cents, report.prices.starters[part.id])

    if base.report is not None and base.report.prices.starters[part.id]:
        progress(f"the cheapest design without {part.id}")
        others = tuple(one for one in catalog.soft_starters if one.id != part.id)
        without = solve(problem, replace(catalog, soft_starters=others), explain=False)
        price = in_mounts.highest_price(least, part.price_cents, without.report.bill.objective_cents) if without.report else None
        before = " and ".join(item for item, one in (base.choice.soft_starters if base.choice else {}).items() if one == part.id)
        always = without.outcome is Outcome.INFEASIBLE
        return WhyNot(part.id, "chosen", base, base, None if price is None else int(price), None, f"it stands before {before}", always)
    if base.report is None:
        return WhyNot(part.id, "screened out", base, None, None, None, f"the problem has no design at all. {base.reason}")
    price = in_mounts.highest_price(least, 0, base.report.bill.objective_cents)
    reason = f"before {' or '.join(able)} it saves less than it costs"
    return WhyNot(part.id, "beaten", base, None, None if price is None else int(price), None, reason)


def _holds(report: Report, part_id: str) -> bool:
    """Whether a design uses a part, or its bill a kit."""
    return bool(report.design.pieces[part_id]) or any(use.kit.id == part_id for use in report.bill.kits)


def _unused(report: Report, part: Part | Kit) -> str:
    """What a kit leaves over in the cheapest design for which it is bought, in words."""
    left_over = next((use.left_over for use in report.bill.kits if use.kit.id == part.id), {})
    words = ", ".join(f"{count} x {one}" for one, count in left_over.items())
    return f"; with it there would be left over: {words}" if words else ""


def _demanding(problem: Problem, part_id: str) -> Problem:
    """The problem with at least one piece of a part asked for."""
    least = {**problem.locks.at_least, part_id: max(1, problem.locks.at_least.get(part_id, 0))}
    return with_section(problem, "locks", at_least=least)


def _locked_out(problem: Problem, catalog: Catalog, part: Part | Kit) -> str:
    """The lock of the problem that keeps a part out, in words; empty where none does."""
    locks = problem.locks
    if part.id in locks.exclude:
        return "the problem itself leaves it out: locks.exclude"
    if locks.at_most.get(part.id) == 0:
        return "the problem itself leaves it out: locks.at_most is 0"
    if isinstance(part, Kit):
        return "there is none in stock" if part.stock == 0 and Needs(problem).severities.enforced("stock") else ""
    kept = [one for one in locks.only if isinstance(catalog.by_id.get(one), type(part))]
    if kept and part.id not in kept:
        return f"the problem itself leaves it out: locks.only keeps {', '.join(kept)}"
    return ""


def _blocking(problem: Problem, catalog: Catalog, part: Part | Kit, base: Answer, with_part: Answer) -> tuple[Blocking | None, str]:
    """The rule that keeps a part out, and the reason in words.

    First each limit of the problem is left out: where one opens the way, what its design breaks is the answer. Else the
    screening says it, asked with the part as the only one of its kind.
    """
    if base.outcome is Outcome.INFEASIBLE:
        return None, f"the problem has no design at all, with this part or without it. {base.reason}"
    demanding = _demanding(problem, part.id)  # a kit is on no bill but where it is asked for
    for requirement in requirements(demanding):
        if requirement.without is None or not requirement.name.startswith(LIMITS):
            continue
        opened = solve(requirement.with_value(requirement.without), catalog)
        if opened.report is not None and opened.choice is not None:
            broken = held_against(opened, demanding, catalog).failures
            if broken:
                line = broken[0]
                reason = f"the problem's limit '{requirement.title}' keeps it out; without that limit there is a design with it"
                return Blocking(line.rule, _shortfall(line, catalog.currency)), reason
    if isinstance(part, Kit):
        return None, with_part.reason
    others = tuple(one for one in problem.locks.only if not isinstance(catalog.by_id.get(one), type(part)))
    alone = solve(with_section(problem, "locks", only=(*others, part.id)), catalog)
    asked = alone if alone.report is None else with_part  # a design needs no inverter: then only the demand says more
    named = [row for row in asked.screening if f"'{RULES[row.rule].title}'" in asked.reason]
    emptied = [row for row in asked.screening if row.left == 0]
    row = next(iter(named or emptied), None)
    return (Blocking(row.rule, row.example) if row else None), asked.reason


def _shortfall(line: Line, currency: str) -> str:
    """A broken rule with its figures."""
    actual, required = (_said(value) for value in (line.actual, line.required))
    unit = {"money": f" {currency}", "": "", "count": ""}.get(line.unit, f" {line.unit}")
    return f"{line.title}: {actual}{unit}, {line.sense} {required} asked"


def _said(value: object) -> str:
    """A figure, or one word or several."""
    if isinstance(value, tuple):
        return " or ".join(_said(one) for one in value)
    return f"{value:.6g}" if isinstance(value, int | float) else str(value)


# --- prices


def _entering(
    demanding: Problem, catalog: Catalog, part: Part | Kit, target_cents: int, progress: Progress, now: Answer,
) -> tuple[int | None, bool]:
    """Highest price at which a design with the part costs at most the target, and whether any price does; now: at its price."""
    price = highest_price(demanding, catalog, part, target_cents, progress, now=now)
    return (None, True) if price == math.inf else (None if price is None else int(price), False)


def highest_price(
    problem: Problem, catalog: Catalog, part: Part | Kit, target_cents: int, progress: Progress = lambda _: None, *, now: Answer | None = None,
) -> float | None:
    """Highest price of a part or a kit, in whole cents, at which the cheapest design costs at most the target.

    None where it costs more even with the part for nothing, infinite where it never costs more. The least cost is
    concave in the price of a part, each design being a straight line: from above, the crossing of one line with the
    target lies at or below the price looked for; from there each further line reaches at most as far as that price.
    now: the answer at the part's present price, where it is known.
    """
    def line(report: Report | None) -> tuple[int, int] | None:
        if report is None:
            return None
        return report.bill.objective_cents, next((line.quantity for line in report.bill.lines if line.part == part.id), 0)

    def least(cents: int, most_cents: int | None = None) -> tuple[int, int] | None:
        progress(f"{part.id} at {cents / 100:,.2f}")
        return line(solve(problem, with_price(catalog, part, cents), most_cents=most_cents).report)

    if problem.life_cycle.objective != "purchase" and not isinstance(part, Kit):
        return _by_halving(least, target_cents)
    price = part.price_cents
    here = least(price) if now is None else line(now.report)
    if here is None or here[0] > target_cents:
        # From above, along the present line; where it ends below nothing, or says nothing, with the part for nothing.
        over, bought = (here[0] - target_cents, here[1]) if here is not None else (0, 0)
        price = max(0, price + (-over // bought)) if bought else 0
        here = least(price, target_cents)
        if here is None:
            return None
    for _ in range(STEPS_MOST):
        cost, bought = here
        if not bought:
            return math.inf
        step = max(1, (target_cents - cost) // bought)
        higher = least(price + step, target_cents)
        if higher is None:
            return price
        price, here = price + step, higher
    return price


def _by_halving(least: Callable[[int], tuple[int, int] | None], target_cents: int) -> float | None:
    """Highest whole price at which the least cost is at most the target, where replacements rise with it, in no straight line.

    A design that buys a piece costs more than the target once the piece alone does; one that buys none never may.
    """
    def within(cents: int) -> bool:
        found = least(cents)
        return found is not None and found[0] <= target_cents

    low, high = 0, target_cents + 1
    if not within(low):
        return None
    if within(high):
        return math.inf
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if within(middle) else (low, middle)
    return low


def with_price(catalog: Catalog, part: Part | Kit, price_cents: int) -> Catalog:
    """The catalog with another price for one part or kit."""
    changed = part.model_copy(update={"price": price_cents / 100})
    if isinstance(changed, Kit):
        return replace(catalog, kits=tuple(changed if kit.id == part.id else kit for kit in catalog.kits))

    def swapped(parts: tuple[PartKind, ...]) -> tuple[PartKind, ...]:
        return tuple(cast("PartKind", changed) if one.id == part.id else one for one in parts)

    return replace(
        catalog, modules=swapped(catalog.modules), batteries=swapped(catalog.batteries), controllers=swapped(catalog.controllers),
        inverters=swapped(catalog.inverters), converters=swapped(catalog.converters), allowances=swapped(catalog.allowances),
        cables=swapped(catalog.cables), protection=swapped(catalog.protection), mounts=swapped(catalog.mounts),
        soft_starters=swapped(catalog.soft_starters), autotransformers=swapped(catalog.autotransformers),
        generators=swapped(catalog.generators), chargers=swapped(catalog.chargers),
        alternator_chargers=swapped(catalog.alternator_chargers), busbars=swapped(catalog.busbars),
    )
