"""A cable or a device put in the place of another in each circuit of a design: which rule it breaks, or what it costs more."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from optimizer.bill import PriceList
from optimizer.circuits.circuit import Circuit
from optimizer.circuits.wiring import Wiring
from optimizer.design import Block, Design
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import Cable, Protection
from optimizer.proof.check import Report, check_design
from optimizer.proof.circuits import circuit_lines
from optimizer.proof.lines import Line

CABLES = {
    "array": ("array string", "array run"), "battery": ("battery string", "inverter", "charge", "DC branch", "charger", "alternator"),
    "building": ("AC output", "DC branch", "generator", "shore"),
}
"""Circuits that a cable may be laid in, by its use."""

DEVICES = {
    "string fuse": ("array string",), "fuse": ("battery string", "inverter", "charge", "DC branch", "charger", "alternator"),
    "breaker": ("inverter", "charge", "DC branch", "charger", "alternator"),
    "array switch": ("array run",), "ac breaker": ("AC output", "generator", "shore"), "combiner": ("array run",), "surge arrester": ("array run",),
    "arc-fault detector": ("array run",), "array shutdown": ("array run",),
}
"""Circuits that a device may stand in, by its kind."""

BESIDE = ("combiner", "surge arrester", "arc-fault detector", "array shutdown")
"""Devices that stand beside the one that opens the circuit."""


@dataclass(frozen=True)
class Place:
    """A circuit with another part in it; either something forbids it, or it costs something more."""

    name: str
    instead: str
    """The part of the design in whose place it is put."""
    more_cents: int | None
    broken: Line | None = None
    forbids: str = ""
    """What no rule's figures say, in words."""

    @property
    def margin_share(self) -> float:
        """How far from the broken rule, as a share of what is required: the nearest to 0 is the nearest."""
        return -1e9 if self.broken is None or self.broken.margin_share is None else self.broken.margin_share


def serving(report: Report, part: Cable | Protection) -> list[str]:
    """Names of the circuits of a design in which a part is."""
    return [_name(circuit) for circuit in report.circuits if circuit.pieces[part.id]]


def _name(circuit: Circuit) -> str:
    """A circuit as it stands inside a sentence."""
    return f"{circuit.ask.kind} circuit" + (f" ({circuit.ask.where})" if circuit.ask.where else "")


def places_of(report: Report, catalog: Catalog, part: Cable | Protection) -> tuple[list[Place], str]:
    """Every circuit that could have the part by its kind, with the part in it; where there is none, why."""
    if not report.circuits:
        return [], "this catalog has no cables, so circuits are not sized: allowances stand for them"
    prices = PriceList(report.whole.needs.problem, catalog)
    sized = prices.wiring
    if isinstance(part, Cable):
        if part.family != sized.family:
            return [], f"the circuits of this problem are of the {sized.family} family of tables, the cable is of the {part.family} family"
        if sized.tinned and not part.tinned:
            return [], f"the problem asks for tinned cable: {'wiring.tinned' if sized.asked.tinned else 'mounting.salt'}"
    found = [_place(report, prices, catalog, circuit, part) for circuit in report.circuits]
    what = f"{part.use} cable" if isinstance(part, Cable) else part.kind
    return [place for place in found if place is not None], f"no circuit of the cheapest design takes {'an' if what[0] in 'aeiou' else 'a'} {what}"


def _place(report: Report, prices: PriceList, catalog: Catalog, circuit: Circuit, part: Cable | Protection) -> Place | None:
    if circuit.ask.kind not in (CABLES[part.use] if isinstance(part, Cable) else DEVICES[part.kind]):
        return None
    old: Cable | Protection | None
    if isinstance(part, Cable):
        old, changed = circuit.cable, replace(circuit, cable=part)
    elif part.kind in BESIDE:
        old = next((one for one, _ in circuit.beside if one.kind == part.kind), None)
        changed = replace(circuit, beside=tuple((part if one is old else one, number) for one, number in circuit.beside))
    else:
        old, changed = circuit.device, replace(circuit, device=part)
    if old is None:
        return None  # this circuit needs none
    name = _name(circuit)
    if isinstance(part, Cable) and circuit.ask.kind == "array run":
        return _on_the_run(report, catalog, circuit, part)
    sized, needs = prices.wiring, report.whole.needs
    if isinstance(part, Protection) and part.ways is not None:
        strings = _block(report.design, circuit).strings
        if part.ways < strings:
            return Place(name, old.id, None, forbids=f"it takes {part.ways} strings, and there are {strings}")

    def first_broken(one: Circuit) -> Line | None:
        return next((line for line in circuit_lines(needs, catalog.tables, (one,), sized) if line.fails), None)

    best = next((one for one in _with_partners(changed, sized, part) if first_broken(one) is None), None)
    if best is not None:
        before, after = (sum(sized.cents_of(catalog.by_id[one]) * pieces for one, pieces in have.pieces.items()) for have in (circuit, best))
        bill = report.bill
        return Place(name, old.id, prices.total_of(bill.parts_and_freight_cents + after - before)[2] - bill.total_cents)
    return Place(name, old.id, None, first_broken(changed))


def _with_partners(changed: Circuit, sized: Wiring, part: Cable | Protection) -> Iterator[Circuit]:
    """The circuit with every device that could stand before a cable, or every cable behind a device, the cheapest first."""
    fitter = {
        "array string": sized.strings, "charge": sized.charging, "battery string": sized.bank_strings, "inverter": sized.inverting,
        "AC output": sized.ac_output, "DC branch": sized.dc_branches,
        "charger": sized.charging,
    }.get(changed.ask.kind)
    if changed.ask.kind in ("generator", "shore", "alternator"):
        fitter = sized.sources.supply_fitter(changed.ask)
    if fitter is None or changed.device is None:  # nothing that must fit the other
        yield changed
    elif isinstance(part, Cable):
        yield from (replace(changed, device=device) for device in fitter.devices)
    else:
        yield from (replace(changed, cable=cable) for cable in fitter.cables)


def _block(design: Design, circuit: Circuit) -> Block:
    """The block that a circuit of an array belongs to."""
    return design.blocks[int(circuit.ask.where.removeprefix("array ").split(":")[0]) - 1]


def _on_the_run(report: Report, catalog: Catalog, circuit: Circuit, cable: Cable) -> Place:
    """The run from an array is chosen with its losses: the whole design is held against every rule but the budget."""
    block = _block(report.design, circuit)
    blocks = tuple(replace(one, cable=cable) if one is block else one for one in report.design.blocks)
    other = check_design(replace(report.design, blocks=blocks), report.whole.needs, catalog)
    broken = next((line for line in other.failures if line.rule != "budget"), None)
    instead = circuit.cable.id if circuit.cable is not None else ""
    return Place(_name(circuit), instead, None if broken else other.bill.paid_cents - report.bill.paid_cents, broken)
