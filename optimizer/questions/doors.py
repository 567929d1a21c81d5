"""Doors that a first purchase can keep open: what each costs today, and until when the best plan still keeps it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from optimizer.answer import solve
from optimizer.design import Design
from optimizer.errors import InputError
from optimizer.growth.ledger import ALLOWANCE, Ledger
from optimizer.growth.plan import Plan
from optimizer.growth.plan_search import PlanSearch
from optimizer.growth.tree import FIRST
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.growth import Growth
from optimizer.inputs.parts import Battery, Controller, Inverter
from optimizer.inputs.problem import Problem
from optimizer.needs.requirements import with_section
from optimizer.rules.bank import units_in_series

Progress = Callable[[str], None]
PlanLater = Callable[[int], Plan | None]

MONTHS_APART = 12
"""Months between the dates of growth that are tried; between two that differ it is halved to the month."""


@dataclass(frozen=True)
class Door:
    """One way to stay able to grow."""

    door: str
    price_now_cents: float | None
    """What the cheapest first purchase that keeps it costs more than the cheapest of all; None where none keeps it."""
    kept_now: bool
    """Whether the best plan keeps it."""
    closes_month: int | None
    """Last month of the first step in which the best plan still keeps it; None where it does not, or does in every month tried."""
    looked_to_month: int | None
    """Last month that was tried; None for a door that is not followed over the dates."""


@dataclass(frozen=True)
class Way:
    """A door as a property of a first design, and the problem whose designs all have it."""

    name: str
    keeps: Callable[[Design], bool]
    only: Callable[[Problem, Catalog], Problem]


def ways(volts_later: int, volts_now: int) -> Iterator[Way]:
    """The doors of a plan whose bank is at `volts_later` at most in any of its later nodes, the cheapest of today at `volts_now`."""
    yield Way("inverter that can be stacked", _stackable, lambda problem, catalog: _without(
        problem, [one.id for one in catalog.inverters if one.max_parallel < 2]))
    higher = max(volts_later, volts_now)
    if higher == volts_now:
        return
    yield Way(f"bank at {higher} V from the start", lambda design: design.bank.volts >= higher, lambda problem, _: with_section(
        problem, "bank", volts=tuple(v for v in problem.bank.volts if v >= higher)))
    yield Way(f"controllers that also take {higher} V", lambda design: all(_takes(block.part, higher) for block in design.blocks), lambda problem, catalog: _without(
        problem, [one.id for kind in (catalog.controllers, _all_in_one(catalog)) for one in kind if not _takes(one, higher)]))
    yield Way(f"battery units that can be wired for {higher} V", lambda design: design.bank.is_lithium and _rewired(design.bank.battery, higher, 4), lambda problem, catalog: _without(
        problem, [one.id for one in catalog.batteries if catalog.chemistry(one).family != "lithium" or not _rewired(one, higher, catalog.chemistry(one).cells_per_12v)]))


def _over_the_horizon(problem: Problem, growth: Growth) -> Problem:
    """The problem without its growth; what a source burns counts over the years of the plan, at today's prices."""
    alone = problem.model_copy(update={"growth": None})
    if not problem.source_in_design:
        return alone
    use = problem.source_use.model_copy(update={"years": growth.horizon_years})
    life = problem.life_cycle.model_copy(update={"discount_pct": growth.discount_pct})
    return alone.model_copy(update={problem.site.other_source: use, "life_cycle": life})


def _without(problem: Problem, parts: list[str]) -> Problem:
    return with_section(problem, "locks", exclude=tuple(dict.fromkeys((*problem.locks.exclude, *parts))))


def _all_in_one(catalog: Catalog) -> tuple[Inverter, ...]:
    """Inverters that charge from an array of their own."""
    return tuple(one for one in catalog.inverters if one.kind == "all-in-one")


def _stackable(design: Design) -> bool:
    inverter = design.inverters.inverter
    return inverter is not None and inverter.max_parallel > design.inverters.count


def _takes(part: Controller | Inverter, volts: int) -> bool:
    return volts in part.bank_v if isinstance(part, Controller) else part.bank_v == volts


def _rewired(battery: Battery, volts: int, cells_per_12v: int) -> bool:
    series = int(units_in_series(volts, battery.cells, cells_per_12v))
    return 1 <= series <= battery.max_series


def doors(problem: Problem, search: PlanSearch, plan: Plan, later: PlanLater, progress: Progress) -> Iterator[Door]:
    """Each door with its price today, and the month up to which the best plan keeps it as growth comes later and later."""
    today = _over_the_horizon(problem, search.tree.growth)
    catalog = search.catalog
    cheapest = solve(today, catalog, explain=False)
    if cheapest.report is None:
        return
    base = cheapest.report.bill.objective_cents
    volts_later = max(visit.design.bank.volts for visit in plan.visits.values())
    growth = search.tree.growth
    years = [node.year for node in search.tree.nodes if node.parent is not None]
    known: dict[int, Plan | None] = {0: plan}
    most = max(0, int(12 * (growth.horizon_years - max(years, default=growth.horizon_years))) - 1)
    most = last_month(search, most)
    first = round(12 * min(years, default=0.0))

    def at(months: int) -> Plan | None:
        if months not in known:
            known[months] = later(months)
        return known[months]

    stacked = any(visit.design.inverters.inverter is not None for visit in plan.visits.values())
    for way in ways(volts_later, cheapest.report.design.bank.volts):
        if way.keeps is _stackable and not stacked:
            continue
        progress(f"door: {way.name}")
        asked = way.only(today, catalog)
        with_door = solve(asked, catalog, explain=False).report if asked.bank.volts else None  # only a stage may allow the voltage
        keeps = with_door is not None and way.keeps(with_door.design)
        price = float(with_door.bill.objective_cents - base) if with_door is not None and keeps else None
        kept = way.keeps(plan.first.design)
        last = _last_kept(lambda months, way=way: (found := at(months)) is not None and way.keeps(found.first.design), most) if kept else None  # type: ignore[misc]
        yield Door(way.name, price, kept, None if last is None or last == most else first + last, first + most)
    ahead = plan.first.bought
    laid = sum(n - _used(plan, item) for item, n in ahead.items() if item.startswith(ALLOWANCE))
    extra = _cable_ahead_cents(plan)
    if extra is not None:
        yield Door("cable, fuses and fittings for the final currents", extra, laid > 0, None, None)


def has_prices(search: PlanSearch, months: int) -> bool:
    """Whether no part would be bought only to be sold again where every step comes so many months later: prices that rise may make it so."""
    try:
        Ledger(search.tree.later(months / 12), search.catalog)
    except InputError:
        return False
    return True


def last_month(search: PlanSearch, most: int) -> int:
    """The last month, up to `most`, of which that holds."""
    return next((months for months in range(most, 0, -1) if has_prices(search, months)), 0)


def _used(plan: Plan, item: str) -> int:
    return plan.first.usage.get(item, 0)


def _cable_ahead_cents(plan: Plan) -> float | None:
    """Price today of everything laid for the last designs that the first one does not need; None where nothing is."""
    first = plan.ledger.tree.nodes[FIRST]
    now = plan.first.usage
    most = dict(now)
    for visit in plan.visits.values():
        for item, n in visit.usage.items():
            if item.startswith(ALLOWANCE):
                most[item] = max(most.get(item, 0), n)
    extra = sum((n - now.get(item, 0)) * plan.ledger.price(item, first) for item, n in most.items() if item.startswith(ALLOWANCE))
    return extra if extra > 0 else None


def _last_kept(keeps: Callable[[int], bool], most: int) -> int:
    """Last month of delay up to which a door is kept, looked at every so many months and halved between."""
    good = 0
    for months in [*range(MONTHS_APART, most, MONTHS_APART), most]:
        if keeps(months):
            good = months
            continue
        bad = months
        while bad - good > 1:
            middle = (good + bad) // 2
            good, bad = (middle, bad) if keeps(middle) else (good, middle)
        return good
    return most
