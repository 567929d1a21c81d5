"""What the customer asked for, as a list of named requirements that can be loosened and tightened.

Every question works on this list and knows nothing of what a requirement is: it has a name, a unit, a value and
ladders of notches; `with_value` gives the problem with another value. What a hard rule holds is never loosened: it is
not in it, or with tighter notches only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from optimizer.inputs.array import Array
from optimizer.inputs.generator import AlternatorUse, GeneratorUse
from optimizer.inputs.planes import Plane
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.demand import Demand
from optimizer.needs.site import Needs
from optimizer.needs.sunlight import sun_hours_that_count
from optimizer.rules.book import Severities

INDOOR_C = 15.0
"""A heated utility room; common practice, no source."""

BIG_LOAD_SHARE = 0.1
"""Share of a season's energy from which a load is worth a question of its own."""


@dataclass(frozen=True)
class Requirement:
    """One requirement of a problem; notches run from the present value outward, the last is the furthest."""

    name: str
    title: str
    unit: str
    now: Any
    looser: tuple[Any, ...]
    tighter: tuple[Any, ...]
    with_value: Callable[[Any], Problem]
    without: Any = None
    """Value that stands for 'not asked at all'; None where the requirement cannot be left out."""


def with_section(problem: Problem, section: str, **values: Any) -> Problem:
    """A problem with some values of one section changed."""
    return problem.model_copy(update={section: getattr(problem, section).model_copy(update=values)})


def requirements(problem: Problem, *, circuits: bool = False) -> tuple[Requirement, ...]:
    """Every requirement of a problem that has a ladder; those of circuits only where a catalog has parts for them."""
    return tuple(_each(problem, circuits=circuits))


def _each(problem: Problem, *, circuits: bool) -> Iterator[Requirement]:
    """The same one by one, for whoever looks for one of them."""
    for family in (_autonomy, _energy, _generator, _temperatures, _room, _mounting, _money_and_weight, _bank, _loads, _reliability):
        yield from family(problem)
    if circuits:
        yield from _ways(problem)


def loosened(problem: Problem, values: Mapping[str, Any]) -> Problem:
    """The problem with several requirements at other values, by their names.

    They are taken one after the other in the order of the list, each from the problem as it then stands; one that an
    earlier change took away with it (the start of a load that is gone) changes nothing any more.
    """
    for name in [one.name for one in requirements(problem, circuits=True) if one.name in values]:
        there = next((one for one in _each(problem, circuits=True) if one.name == name), None)
        if there is not None:
            problem = there.with_value(values[name])
    return problem


NO_LIMIT = "no limit"


def _number(problem: Problem, name: str, title: str, unit: str, looser: tuple[float, ...], tighter: tuple[float, ...], **more: Any) -> Requirement:
    """A requirement that is one number of one section; `name` is section.key."""
    section, key = name.split(".")

    def with_value(value: Any) -> Problem:
        return with_section(problem, section, **{key: None if value == NO_LIMIT else value})

    return Requirement(name, title, unit, getattr(getattr(problem, section), key), looser, tighter, with_value, **more)


def with_context_kept(problem: Problem) -> Problem:
    """The problem with its charge context said aloud: else more days would ask for less charge current from four days on."""
    return with_section(problem, "bank", charge_context=Needs(problem).charge_context)


def _autonomy(problem: Problem) -> Iterator[Requirement]:
    days = problem.autonomy.days
    given = days if isinstance(days, dict) else {"": days}
    for season, now in given.items():
        def with_value(value: Any, season: str = season) -> Problem:
            changed = {**days, season: value} if isinstance(days, dict) else value
            return with_section(with_context_kept(problem), "autonomy", days=changed)

        step = 1.0 if now >= 3 else 0.5
        looser = tuple(round(now - step * n, 3) for n in range(1, 9) if now - step * n >= 0.5)
        where = f" in season {season}" if season else ""
        yield Requirement(
            f"autonomy.days{'.' + season if season else ''}", f"days without sun{where}", "d", now, looser,
            tuple(round(now + step * n, 3) for n in range(1, 5)), with_value,
        )


def _energy(problem: Problem) -> Iterator[Requirement]:
    now = problem.balance.array_to_load
    looser = tuple(round(now - 0.1 * n, 2) for n in range(1, 6) if now - 0.1 * n >= 0.999)
    yield _number(problem, "balance.array_to_load", "array-to-load ratio", "share", looser, (round(now + 0.1, 2), round(now + 0.2, 2)))
    if problem.site.other_source == "none" or problem.source_in_design:
        now = problem.autonomy.recovery_days
        yield _number(
            problem, "autonomy.recovery_days", "days to refill the bank", "d", tuple(n for n in (now * 2, 60.0) if now < n <= 60),
            (max(1.0, round(now / 2, 2)),),
        )
    months = Demand(problem).months_of_use
    if len(months) > 1:
        yield _months(problem, months)


def _generator(problem: Problem) -> Iterator[Requirement]:
    """What a source in the design may do, what its fuel or energy costs, and what the array must give of the year."""
    if not problem.source_in_design:
        return
    use, share, other = problem.source_use, problem.balance.minimum_solar_share, problem.site.other_source
    if isinstance(use, GeneratorUse):
        yield from _fuel(problem, use)
    elif use.price_per_kwh:
        price = use.price_per_kwh
        yield _number(problem, f"{other}.price_per_kwh", f"price of a kilowatt-hour from the {other}", "money", (round(price / 2, 3),), (round(price * 1.5, 3), round(price * 2, 3)))
    if isinstance(use, AlternatorUse) and use.rated_a:
        rated = use.rated_a
        yield _number(problem, "alternator.rated_a", "rating of the alternator", "A", (round(rated * 1.5), round(rated * 2.5)), (round(rated * 0.7),))
    if share is not None:
        looser = tuple(less for less in (round(share - 0.1, 3), round(share - 0.25, 3)) if less >= 0.1)
        yield _number(
            problem, "balance.minimum_solar_share", "array's share of the year's load", "share", (*looser, NO_LIMIT), tuple(more for more in (round(share + 0.1, 3),) if more <= 1),  # type: ignore[arg-type]
            without=NO_LIMIT,
        )


def _fuel(problem: Problem, use: GeneratorUse) -> Iterator[Requirement]:
    longer = tuple(hours for hours in (round(1.5 * use.hours_per_day_max, 2), 24.0) if use.hours_per_day_max < hours <= 24)
    yield _number(problem, "generator.hours_per_day_max", "hours a day of the generator", "h", longer, (round(use.hours_per_day_max / 2, 2),))
    price = use.fuel_price_per_l
    if price:
        yield _number(problem, "generator.fuel_price_per_l", "price of a litre of fuel", "money", (round(price / 2, 3),), (round(price * 1.5, 3), round(price * 2, 3)))


def _months(problem: Problem, months: tuple[int, ...]) -> Requirement:
    """Months of use: loosened by giving up the months with the least sun, one after the other."""
    sun_h = sun_hours_that_count(problem)
    by_sun = sorted(months, key=lambda month: (sun_h[month], month))
    seasons: dict[str, tuple[str, ...]] = {season: tuple(named) for season, named in problem.seasons.items()} or {"all": MONTHS}

    def with_value(dropped: str) -> Problem:
        gone = set(dropped.split()[1:])
        kept = {season: tuple(month for month in named if month not in gone) for season, named in seasons.items()}
        return problem.model_copy(update={"seasons": kept, "loads": tuple(_in_seasons(load, seasons) for load in problem.loads)})

    def _in_seasons(load: Any, known: Any) -> Any:
        return load if all(season in known for season in load.hours) else load.model_copy(update={"hours": {"all": load.hours.get("all", 0.0)}})

    looser = tuple("without " + " ".join(MONTHS[month] for month in by_sun[:n]) for n in range(1, min(6, len(by_sun))))
    return Requirement("months of use", "months of use", "months", f"{len(months)} months", looser, (), with_value)


def _temperatures(problem: Problem) -> Iterator[Requirement]:
    now = problem.temperatures.lowest_c
    yield _number(problem, "temperatures.lowest_c", "lowest temperature of the modules", "C", (now + 5, now + 10), (now - 5, now - 10))
    lowest = problem.temperatures.battery_lowest_c
    coldest = min(lowest.values()) if isinstance(lowest, dict) else lowest
    if coldest < INDOOR_C:
        def indoors(value: str) -> Problem:
            del value
            kept = {season: max(c, INDOOR_C) for season, c in lowest.items()} if isinstance(lowest, dict) else max(lowest, INDOOR_C)
            moved = with_section(
                problem, "temperatures", battery_lowest_c=kept, battery_c=tuple(max(c, INDOOR_C) for c in problem.temperatures.battery_c)
            )
            return with_section(moved, "bank", place="ventilated room")

        yield Requirement("battery place", "where the battery stands", "", problem.bank.place, ("in a room at 15 C",), (), indoors)


def _room(problem: Problem) -> Iterator[Requirement]:
    array = problem.array
    yield from _room_of("array", "", array, lambda **values: with_section(problem, "array", **values))
    for plane in problem.planes:
        def changed(plane: Plane = plane, **values: Any) -> Problem:
            return problem.model_copy(update={"planes": tuple(one.model_copy(update=values) if one is plane else one for one in problem.planes)})

        yield from _room_of(f"planes.{plane.name}", f" on {plane.name}", plane, changed)
    if array.volts_max is not None:
        higher = tuple(volts for volts in (60.0, 120.0, 250.0) if volts > array.volts_max)
        yield _number(problem, "array.volts_max", "DC voltage policy", "V", (*higher, NO_LIMIT), (), without=NO_LIMIT)  # type: ignore[arg-type]


def _mounting(problem: Problem) -> Iterator[Requirement]:
    """Where arrays may stand; wind, snow and what the roof bears belong to hard rules: they are only ever tightened."""
    asked = problem.mounting
    if asked is None:
        return
    if asked.places:
        yield Requirement(
            "mounting.places", "where arrays may stand", "", " or ".join(asked.places), ("any place",), (),
            lambda _: with_section(problem, "mounting", places=()), without="any place",
        )
    wind, snow, roof = asked.wind_m_s, asked.snow_kn_m2, asked.roof_load_max_kn_m2
    yield _number(problem, "mounting.wind_m_s", "wind that mounts stand", "m/s", (), tuple(v for v in (wind + 5, wind + 10) if v <= 120))
    yield _number(problem, "mounting.snow_kn_m2", "snow that mounts stand", "kN/m2", (), tuple(s for s in (snow + 0.5, snow + 1) if s <= 30))
    if roof is not None and asked.on_a_roof:
        yield _number(problem, "mounting.roof_load_max_kn_m2", "load that the roof bears", "kN/m2", (), (round(roof * 0.8, 3),))


def _room_of(path: str, where: str, there: Array | Plane, changed: Callable[..., Problem]) -> Iterator[Requirement]:
    """Area and rectangles of one plane."""
    if there.area_m2 is not None:
        grown = tuple(round(there.area_m2 * share, 2) for share in (1.25, 1.5, 2.0, 3.0, 5.0, 10.0, 20.0))
        yield Requirement(
            f"{path}.area_m2", f"area for modules{where}", "m2", there.area_m2, (*grown, NO_LIMIT), (round(there.area_m2 * 0.8, 2),),
            lambda value: changed(area_m2=None if value == NO_LIMIT else value), without=NO_LIMIT,
        )
    if there.rectangles_m:
        yield Requirement(
            f"{path}.rectangles_m", f"free rectangles{where}", "", " and ".join(there.rectangles_m), ("any shape",), (),
            lambda _: changed(rectangles_m=()), without="any shape",
        )


def _money_and_weight(problem: Problem) -> Iterator[Requirement]:
    limits = problem.limits
    for key, title, unit in (("budget", "budget", "money"), ("total_kg_max", "payload", "kg"), ("piece_kg_max", "heaviest piece", "kg")):
        now = getattr(limits, key)
        if now is not None:
            grown = tuple(round(now * share, 2) for share in (1.25, 1.5, 2.0, 4.0, 8.0))
            yield _number(problem, f"limits.{key}", title, unit, (*grown, NO_LIMIT), (round(now * 0.9, 2),), without=NO_LIMIT)  # type: ignore[arg-type]


def _bank(problem: Problem) -> Iterator[Requirement]:
    volts = problem.bank.volts
    if set(volts) < {12, 24, 48}:
        every = tuple(sorted({*volts, 12, 24, 48}))
        yield Requirement(
            "bank.volts", "bank voltages allowed", "V", " ".join(map(str, volts)), (" ".join(map(str, every)),), (),
            lambda text: with_section(problem, "bank", volts=tuple(int(v) for v in text.split())), without=" ".join(map(str, every)),
        )
    if problem.bank.chemistries:
        yield Requirement(
            "bank.chemistries", "chemistries allowed", "", ", ".join(problem.bank.chemistries), ("any chemistry",), (),
            lambda _: with_section(problem, "bank", chemistries=()), without="any chemistry",
        )
    now = problem.bounds.battery_strings
    yield _number(problem, "bounds.battery_strings", "battery strings in parallel, most", "count", (now + 2, now + 4), tuple(n for n in (now - 1, 2, 1) if 1 <= n < now))
    if problem.inverter.on == "always" and any(load.supply == "AC" for load in problem.loads):
        yield Requirement(
            "inverter.on", "inverter runs", "", "always", ("when used",), (), lambda value: with_section(problem, "inverter", on=value),
        )


DROPS = {
    "array_drop_pct": "from the array", "charge_drop_pct": "from the controllers to the busbars", "inverter_drop_pct": "to the inverters",
    "ac_drop_pct": "to the AC panel", "dc_drop_pct": "to the DC panel",
}
"""Limits of voltage drop, and the ways that they are of."""

DROP_LEAST_PCT = 0.2
"""Least limit of voltage drop that a problem may ask for."""

RUN_M = (1.0, 500.0)
"""Shortest run from the array that a question asks about, and the longest that a problem may have."""


def _ways(problem: Problem) -> Iterator[Requirement]:
    """The run from the array, and how much of the voltage may be lost on each way that there is."""
    now = problem.wiring.array_run_m
    looser = tuple(round(now * share, 2) for share in (0.5, 0.25) if now * share >= RUN_M[0])
    yield _number(problem, "wiring.array_run_m", "length of the run from the array", "m", looser, tuple(m for m in (now * 2,) if m <= RUN_M[1]))
    if not Severities(problem.rules).enforced("voltage-drop"):
        return
    supplies = {load.supply for load in problem.loads}
    unused = {key for key, supply in (("inverter_drop_pct", "AC"), ("ac_drop_pct", "AC"), ("dc_drop_pct", "DC")) if supply not in supplies}
    for key, way in DROPS.items():
        if key not in unused:
            now = getattr(problem.wiring, key)
            yield _number(
                problem, f"wiring.{key}", f"voltage drop {way}", "%", tuple(pct for pct in (5.0, 10.0) if pct > now),
                tuple(pct for pct in (round(now / 2, 3),) if pct >= DROP_LEAST_PCT),
            )


def _loads(problem: Problem) -> Iterator[Requirement]:
    starts = Demand(problem).starts
    worst = next((start for start in starts if start.seconds > 0 or start.va > 0), None)
    for at, load in enumerate(problem.loads):
        if worst is not None and load.item == worst.item and load.surge_x > 1:
            def softer(value: Any, at: int = at, load: Any = load) -> Problem:
                return _with_load(problem, at, load.model_copy(update={"surge_x": max(1.0, float(value))}))

            yield Requirement(
                f"start of {load.item}", f"starting multiple of {load.item}", "share", load.surge_x,
                (round(max(1.0, load.surge_x / 2), 3), 1.0), (round(load.surge_x * 1.25, 3),), softer, without=1.0,
            )
    energy = [sum(load.qty * load.watts * hours * load.days_per_week / 7 for hours in load.hours.values()) for load in problem.loads]
    for at, (load, wh) in enumerate(zip(problem.loads, energy, strict=True)):
        if len(problem.loads) > 1 and wh >= BIG_LOAD_SHARE * sum(energy):
            def used(value: Any, at: int = at, load: Any = load) -> Problem:
                return _with_load(problem, at, load.model_copy(update={"hours": {season: min(24.0, hours * value / 100) for season, hours in load.hours.items()}}) if value else None)

            yield Requirement(f"load {load.item}", f"use of {load.item}", "%", 100, (50, 0), (150,), used, without=0)


def _reliability(problem: Problem) -> Iterator[Requirement]:
    asked = problem.reliability
    if asked is None:
        return

    def with_value(value: Any) -> Problem:
        if value == NO_LIMIT:
            return problem.model_copy(update={"reliability": None})
        return with_section(problem, "reliability", loss_of_load_hours_max=value)

    now = asked.loss_of_load_hours_max
    grown = tuple(min(8760.0, round(now * times, 3)) for times in (2, 10)) if now else (1.0, 10.0)
    yield Requirement(
        "reliability.loss_of_load_hours_max", "hours a year with a load off", "h", now, (*grown, NO_LIMIT), (round(now / 2, 3),) if now else (),
        with_value, without=NO_LIMIT,
    )


def _with_load(problem: Problem, at: int, load: Any) -> Problem:
    loads = (*problem.loads[:at], *((load,) if load is not None else ()), *problem.loads[at + 1 :])
    return problem.model_copy(update={"loads": loads})
