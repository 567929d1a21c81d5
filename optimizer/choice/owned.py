"""Parts that the customer has: which of them can serve at all, and by which rule not."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from optimizer.bill import PriceList
from optimizer.choice.banks import bank_table
from optimizer.choice.blocks import arrays, blocks_of_class
from optimizer.choice.cores import Cores, power_cores
from optimizer.choice.inverters import inverter_table
from optimizer.choice.screening import Screening
from optimizer.choice.stock import Stock
from optimizer.inputs.catalog import FILES, Catalog
from optimizer.inputs.circuit_parts import OF_SOURCES
from optimizer.inputs.parts import Battery, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Locks, Problem
from optimizer.needs.requirements import with_section
from optimizer.needs.site import Needs
from optimizer.rules.book import RULES, Severities

Verdict = Literal["used", "not used", "cannot serve"]


@dataclass(frozen=True)
class OwnedPart:
    """What became of a part that the customer has: how many there are, how many are used, and why no more."""

    part: str
    quantity: int
    used: int
    verdict: Verdict
    rule: str | None
    reason: str

    @property
    def sentence(self) -> str:
        """The verdict in one sentence."""
        return f"owned {self.part}: {self.verdict}: {self.reason}"


def owned_parts(problem: Problem, catalog: Catalog, pieces: Mapping[str, int] | None) -> tuple[OwnedPart, ...]:
    """The verdict on each part that the customer has; `pieces` are those of the answer's design, None where there is none."""
    found = []
    for part_id, quantity in _quantities(problem).items():
        used = min(quantity, pieces.get(part_id, 0)) if pieces is not None else 0
        if used:
            reason = "" if used == quantity else f"{quantity - used} more would make no design cheaper"
            found.append(OwnedPart(part_id, quantity, used, "used", None, reason))
            continue
        unfit = cannot_serve(problem, catalog, part_id)
        if unfit is not None:
            found.append(OwnedPart(part_id, quantity, 0, "cannot serve", *unfit))
            continue
        reason = "there is no design" if pieces is None else "a design without it costs no more"
        found.append(OwnedPart(part_id, quantity, 0, "not used", None, reason))
    return tuple(found)


def unfit_demands(problem: Problem, catalog: Catalog) -> tuple[OwnedPart, ...]:
    """Parts that the customer has and that must be used, and that cannot be."""
    if not Severities(problem.rules).enforced("part-demanded"):
        return ()
    demanded = dict.fromkeys(own.part for own in problem.owned if own.must_use)
    quantities = _quantities(problem)
    judged = ((part_id, cannot_serve(problem, catalog, part_id)) for part_id in demanded)
    return tuple(OwnedPart(part_id, quantities[part_id], 0, "cannot serve", *unfit) for part_id, unfit in judged if unfit is not None)


def cannot_serve(problem: Problem, catalog: Catalog, part_id: str) -> tuple[str | None, str] | None:
    """The rule, and in words what it finds, that keeps a part out whatever else is chosen; None where none does.

    The candidates are made again with the part as the only one of its kind and without locks. Where some are left, it
    may serve: what the whole design asks for is the program's to say.
    """
    part = catalog.by_id[part_id]
    if isinstance(part, Inverter) and problem.site.ac == "none":
        return None, "the site has no AC"
    of_source = OF_SOURCES.get(type(part), ())
    if of_source and not (problem.source_in_design and problem.site.other_source in of_source):
        return None, f"the design has no {of_source[0]}: [{of_source[0]}] in_design = true gives it one"
    kind = next(name for name, record in FILES.items() if isinstance(part, record))
    alone = replace(catalog, **{kind: (part,)}, kits=())  # type: ignore[arg-type]  # the part's own kind
    # Budget and weight of a whole design are no fault of the part's.
    limits = problem.limits.model_copy(update={"budget": None})
    asked = with_section(problem, problem.site.other_source, required=bool(of_source)) if problem.source_in_design else problem
    asked = asked.model_copy(update={"locks": Locks(), "limits": limits, "owned": tuple(
        own.model_copy(update={"must_use": False}) for own in problem.owned if own.part == part_id
    )})
    needs, severities = Needs(asked), Severities(asked.rules)
    stock = Stock(asked, alone, PriceList(asked, alone))
    if isinstance(part, Converter):
        return _converter_unfit(part, needs)
    screening = Screening(severities)
    if isinstance(part, Battery | Inverter):  # by itself first: that names the rule best
        table, _ = (bank_table if isinstance(part, Battery) else inverter_table)(needs, alone, screening, stock)
        if not (len(table) if isinstance(part, Battery) else (table.inverter >= 0).any()):
            return _said(part, asked, screening)
    all_stock = Stock(asked, catalog, PriceList(asked, catalog))
    if not len(power_cores(needs, catalog, Screening(severities), all_stock).table):
        return None  # nothing serves here, and the part is not to blame
    screening = Screening(severities)
    cores = power_cores(needs, alone, screening, stock)
    if isinstance(part, Battery | Inverter) or of_source:
        there = any(part_id in dict(cores.pieces(row)) for row in range(len(cores.table)))
    else:
        there = _has_block(part, needs, alone, cores, screening, stock)
    return None if there else _said(part, asked, screening)


def _converter_unfit(part: Converter, needs: Needs) -> tuple[str | None, str] | None:
    """Why a converter feeds no load of the site."""
    if part.out_v not in needs.demand.dc_volts:
        return None, f"the site has no DC loads of {part.out_v:g} V"
    volts, limit = needs.problem.bank.volts, needs.problem.limits.piece_kg_max
    if not set(part.bank_v) & set(volts):
        made, may_be = (" or ".join(str(one) for one in sorted(given)) for given in (part.bank_v, volts))
        return "converter-input", f"{RULES['converter-input'].title} (made for {made} V, {may_be} V may be)"
    if limit is not None and part.weight_kg > limit and Severities(needs.problem.rules).enforced("heaviest-piece"):
        return "heaviest-piece", f"{RULES['heaviest-piece'].title} ({part.weight_kg:g} kg, at most {limit:g} is asked)"
    return None


def _has_block(part: Part, needs: Needs, catalog: Catalog, cores: Cores, screening: Screening, stock: Stock) -> bool:
    """Whether some controller with its array is left for some bank: what it adds to others is not asked."""
    trackers = [inverter for inverter in cores.inverters if inverter.kind == "all-in-one"] if isinstance(part, Module) else []
    strings = arrays(needs, catalog, screening, stock, trackers)
    return any(
        len(blocks_of_class(strings, cores.classes[number], float(cores.table.ceiling_v[cores.table.bank_class == number].max()), np.inf, np.inf))
        for number in sorted(set(cores.table.bank_class.tolist()))
    )


def _said(part: Part, problem: Problem, screening: Screening) -> tuple[str | None, str]:
    """Rule and words of what emptied the candidates."""
    rows = screening.rows()
    row = next((row for row in rows if f"'{RULES[row.rule].title}'" in screening.emptied_by), None)
    row = row or next((row for row in rows if row.left == 0), None)
    if row is None:
        return None, "no candidate of the program holds it"
    if row.rule == "ac-standard" and isinstance(part, Inverter):
        return row.rule, f"AC standard ({part.ac} V inverter, {problem.site.ac} asked)"
    return row.rule, f"{RULES[row.rule].title} ({row.example})"


def _quantities(problem: Problem) -> Counter[str]:
    found: Counter[str] = Counter()
    for own in problem.owned:
        found[own.part] += own.quantity
    return found
