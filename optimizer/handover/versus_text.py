"""The answer of `versus` as text: alternatives as columns, facts as rows."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence

from optimizer.answer import Outcome
from optimizer.handover.as_json import Data
from optimizer.handover.layout import bullets, figure, joined, labelled, lowered, money, section, wrapped
from optimizer.handover.questions_json import SUBSYSTEMS
from optimizer.handover.questions_text import NOT_PROVEN, closing, design_words, in_words
from optimizer.handover.versus_json import beside_price, controller_facts, figures_data
from optimizer.questions.flips import STRETCHES, Interval, Intervals
from optimizer.questions.versus import Option, Versus

ACROSS = 4
"""Designs that fit beside each other."""

Rows = tuple[tuple[str, Callable[[Data], str]], ...]


def _in_year(name: str, sign: str = "") -> Callable[[Data], str]:
    """A sum over the year [kWh]; what rounds to nothing as a dash."""
    return lambda data: f"{sign}{data['year'][name]:,.0f}" if round(data["year"][name]) else "-"


def _generator_cell(generator: Data | None) -> str:
    """What a generator costs beside the bill: with its purchase where that is not on it."""
    if generator is None or generator["price"] is None:
        return "-"
    return f"{generator['present_cost'] if generator['in_design'] else generator['price'] + generator['running_cost']:,.2f}"


ROWS: Rows = (
    *((f"  {kind}", lambda data, kind=kind: f"{data['price_by_subsystem'][kind]:,.2f}") for kind in SUBSYSTEMS),
    ("  cables in these", lambda data: f"{data['cable_allowance']:,.2f}"),
    ("  generator, running", lambda data: _generator_cell(data["generator"])),
    ("  energy paid for", lambda data: f"{data['visits']['present_cost']:,.2f}" if data["visits"] else "-"),
    ("life cycle", lambda data: f"{data['life_cycle']:,.2f}"),
    ("design month", lambda data: str(data["design_month"])),
    ("  harvest Wh/day", lambda data: figure(float(data["harvest_wh"]))),
    ("  load Wh/day", lambda data: figure(float(data["load_wh"]))),
    ("  lost Wh/day", lambda data: figure(float(data["lost_wh"]))),
    ("year, array kWh", _in_year("could_kwh")),
    ("  conversion", _in_year("conversion_kwh", "-")),
    ("  clipping", _in_year("clipping_kwh", "-")),
    ("  PWM voltage", _in_year("voltage_kwh", "-")),
    ("  own use", _in_year("own_use_kwh", "-")),
    ("  battery", _in_year("battery_kwh", "-")),
    ("  harvest kWh", _in_year("harvest_kwh")),
    ("  load kWh", _in_year("load_kwh")),
    ("array W", lambda data: figure(data["array_w"])),
    ("array m2", lambda data: f"{data['area_m2']:.1f}"),
    ("modules", lambda data: str(data["modules"])),
    ("array strings", lambda data: str(data["array_strings"])),
    ("bank units", lambda data: str(data["bank_units"])),
    ("bank strings", lambda data: str(data["bank_strings"])),
    ("weight kg", lambda data: f"{data['weight_kg']:,.0f}"),
    ("largest DC A", lambda data: f"{data['largest_dc_a']:.0f}"),
    ("charge A, most", lambda data: f"{data['charge_a']:.0f}"),
    ("array A, most", lambda data: f"{data['array_a']:.0f}"),
    ("practice unkept", lambda data: str(len(data["not_kept"]) or "-")),
)

FACTS: Rows = (
    ("controllers", lambda data: " + ".join(str(count) for count in data["controllers"].values())),
    ("bank V taken", lambda data: " ".join(f"{volts:g}" for volts in data["bank_v"]) or "none in common"),
    ("LFP profile", lambda data: figure(data["lfp_profile"])),
    ("cold cut-out", lambda data: figure(data["low_t_cut_out"])),
    ("others beside it", lambda data: figure(data["parallel_ok"])),
    ("own use W", lambda data: f"{data['self_w']:.1f}" if not data["in_inverter"] or data["self_w"] else "the inverter's"),
    ("load terminals A", lambda data: f"{data['load_terminal_a']:g}" if data["load_terminal_a"] else "none"),
    ("modules a string", lambda data: str(data["modules_in_series"])),
)

HARVEST = (
    "Harvest is what could serve loads, over the months of use; what a full bank cannot take is not taken off. Before it: the "
    "array at its maximum power point at the temperature of its cells, soiling and unequal modules taken off. Taken from that: "
    "the array's wire (behind a tracker) and the controllers' conversion; what a tracker clips; what a PWM controller leaves "
    "because the bank's voltage is not that of the maximum power point; the controllers' own use; the way through the battery. "
    "'Lost' of the design month is the first three."
)
CABLES_NOTE = "Cables are the conductors, fuses, breakers and switches of every circuit, with the allowances for links; they stand in the lines above as well."
ARRAY_A = "Array A is the most that one controller's array gives at the edge of a cloud; charge A the most that goes into the bank."


def versus_text(found: Versus) -> str:
    """The answer of `versus`."""
    currency = found.free.catalog.currency
    lines = wrapped(f"{found.free.problem.name}: the cheapest design under each alternative, by {found.by}")
    if found.cheapest is None:
        lines += ["", *wrapped("No alternative has a design.")]
    possible = [option for option in found.options if option.answer.report is not None]
    lines += _table(possible, currency)
    lines += section("Parts", [line for option in possible for line in labelled(option.value, design_words(option.answer), 20)])
    lines += section("Good practice not kept (reported, not enforced)", _not_kept(possible))
    if found.by == "controller":
        lines += _beside_price(found, possible)
    lines += section(
        "No design", [line for option in found.options if option.answer.report is None
                      for line in labelled(option.value, design_words(option.answer), 20)],
    )
    lines += _compared(found, possible, currency)
    for along in found.intervals:
        lines += _intervals(along, currency)
    notes = [HARVEST, CABLES_NOTE, ARRAY_A] if possible else []
    if any(option.answer.outcome in (Outcome.FEASIBLE, Outcome.STOPPED) for option in found.options) or not all(along.proven for along in found.intervals):
        notes.insert(0, NOT_PROVEN)
    return joined([*lines, *section("Notes", bullets([*notes, *closing(found.free.problem)]))])


def _row(label: str, cells: Sequence[str]) -> str:
    room = 60 // max(3, len(cells))
    return f"  {label:<17}" + "".join(f"{cell:>{room}}" for cell in cells)


def _headings(names: Sequence[str]) -> list[str]:
    """Names above the columns, long ones on two lines."""
    room = 60 // max(3, len(names))
    split = [textwrap.wrap(name, room - 1) for name in names]
    most = max(map(len, split), default=0)
    return [_row("", [([""] * (most - len(words)) + words)[line] for words in split]) for line in range(most)]


def _table(possible: list[Option], currency: str) -> list[str]:
    lines: list[str] = []
    for at in range(0, len(possible), ACROSS):
        shown = possible[at : at + ACROSS]
        data = [figures_data(option.answer.report, option.answer.catalog) for option in shown if option.answer.report]
        lines += ["", *_headings([option.value for option in shown]), _row(f"price {currency}", [money(option.cents or 0) for option in shown])]
        rows = [(name, [of(one) for one in data]) for name, of in ROWS]
        lines += [_row(name, cells) for name, cells in rows if set(cells) != {"-"}]
    return lines


def _not_kept(possible: list[Option]) -> list[str]:
    lines = []
    for option in possible:
        assert option.answer.report is not None, "a possible option has a design"
        broken = figures_data(option.answer.report, option.answer.catalog)["not_kept"]
        if broken:
            lines += labelled(option.value, "; ".join(lowered(one["title"]) for one in broken), 20)
    return lines


def _beside_price(found: Versus, possible: list[Option]) -> list[str]:
    """What the catalog says of the chosen controllers, and what is generally said of their kinds."""
    lines: list[str] = []
    for at in range(0, len(possible), ACROSS):
        shown = possible[at : at + ACROSS]
        data = [controller_facts(option.answer.report.design) for option in shown if option.answer.report]
        lines += [*_headings([option.value for option in shown]), *(_row(name, [of(one) for one in data]) for name, of in FACTS)]
    general = beside_price(found) if len(possible) > 1 else []
    lines += bullets(f"{one['text']} ({one['source']})" for one in general)
    return section("Beside the price: the controllers chosen", lines)


def _compared(found: Versus, possible: list[Option], currency: str) -> list[str]:
    lines: list[str] = []
    if len(possible) > 1:
        least, most = found.options[0].cents or 0, found.options[1].cents or 0
        beside = ", the generator and its fuel left aside" if found.by == "generator" and not found.free.problem.source_in_design else ""
        first, second = found.options[0].value, found.options[1].value
        than = f"{money(abs(most - least))} {currency} {'less' if most >= least else 'more'} than" if most != least else "as much as"
        by = " to buy, and wins by what is minimised" if found.free.problem.counts_beside_the_bill and not found.free.problem.source_in_design else ""
        lines += ["", *wrapped(f"{first} costs {than} {second}{by}{beside}.")]
    free = found.free.report
    if free is not None and (not possible or free.bill.paid_cents != found.options[0].cents):
        lines += wrapped(f"With nothing left out: {money(free.bill.paid_cents)} {currency}: {in_words(free.design)}.")
    for flip in found.flips:
        lines += wrapped(
            f"{flip.winner} stays the cheapest up to {money(flip.cents)} {currency} for {flip.part}; above that it is {flip.follower}."
        )
    return lines


def _intervals(along: Intervals, currency: str) -> list[str]:
    """The winners along one axis."""
    axis, over = along.over.axis, along.over
    head = f"Winner by {over.title} [{axis.unit}]; {over.scale} [{over.scale_unit}]"
    lines = [f"    {'from':>8}{'to':>8}   {over.scale_unit:<18}{'winner':<18}price {currency}"] if along.found else []
    lines += [_interval(along, one) for one in along.found]
    closer = (axis.high - axis.low) / STRETCHES
    ends = f"Sampled, ends to {axis.resolution:g}: two crossings closer than {closer:g} may be missed."
    lines += wrapped(ends if along.complete else f"Interrupted: the rest was not looked at. {ends}", "    ")
    return section(head, lines)


def _interval(along: Intervals, one: Interval) -> str:
    axis, scaled = along.over.axis, along.over.scaled
    now = "now" if one.start <= axis.now <= one.end else ""
    scale = f"{figure(scaled(one.start))} to {figure(scaled(one.end))}"
    prices = [money(cents) for cents in (one.start_cents, one.end_cents) if cents is not None]
    price = " to ".join(dict.fromkeys(prices))
    return f"{now:<4}{figure(one.start):>8}{figure(one.end):>8}   {scale:<18}{one.winner or 'no design':<18}{price}"
