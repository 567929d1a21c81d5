"""Answers as plain data, ready for JSON: the keys of the contract, no NaN and no infinity."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

import optimizer
from optimizer.answer import Answer
from optimizer.bill import Bill, BillLine, PriceList, by_the_metre
from optimizer.choice.owned import OwnedPart
from optimizer.design import Choice
from optimizer.handover.cautions import cautions
from optimizer.handover.generator_text import generator_data, visits_data
from optimizer.handover.schedules import schedules_data
from optimizer.inputs.catalog import FILES, Catalog
from optimizer.inputs.parts import Allowance
from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.demand import Demand
from optimizer.needs.positions import positions
from optimizer.needs.sunlight import azimuth_of, by_plane, sun_on_plane
from optimizer.proof.check import Report
from optimizer.proof.lines import Line

Data = dict[str, Any]


def plain(value: Any) -> Any:
    """Numbers, texts, lists and objects that JSON knows; NaN and infinity become null.

    >>> plain({"a": (1, float("inf"))})
    {'a': [1, None]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def text_of(data: Data) -> str:
    """The JSON text of an object."""
    return json.dumps(plain(data), indent=2, allow_nan=False)


def inputs_data(problem_sha256: str | None, catalog_sha256: str | None) -> Data:
    """Which files an answer was made from, and by which version."""
    return {"problem_sha256": problem_sha256, "catalog_sha256": catalog_sha256, "version": optimizer.__version__}


def choice_data(choice: Choice) -> Data:
    """The object that `check` reads back; tilt, source, soft starters and autotransformer are in it where the problem left them open, planes where it has several."""
    open_ = ("tilt_deg", "tilt_deg_by_month", "tilt_deg_by_plane", "source", "soft_starters", "autotransformer")
    left_out = {name for name in open_ if not getattr(choice, name) and getattr(choice, name) != 0}
    data: Data = choice.model_dump(mode="json", exclude=left_out)
    for one in data["charging"]:
        if one["plane"] is None:
            del one["plane"]
    return data


def bill_data(lines: Sequence[BillLine]) -> list[Data]:
    """Lines of a bill in money."""
    return [
        {
            "part": line.part, "description": line.description, "quantity": line.quantity,
            "unit_price": line.unit_cents / 100, "price": line.price_cents / 100,
        }
        for line in lines
    ]


def kits_data(bill: Bill) -> list[Data]:
    """Kits that are bought, with what is in one and what all of them leave over."""
    return [
        {"kit": use.kit.id, "quantity": use.count, "parts": dict(use.kit.contents), "left_over": dict(use.left_over)}
        for use in bill.kits
    ]


def life_cycle_data(report: Report) -> Data:
    """Cost over the years in present money, and what is bought again when."""
    cycle = report.life_cycle
    return {
        "years": cycle.years, "discount_pct": cycle.discount_pct, "cost": cycle.total_cents / 100, "objective": cycle.objective,
        "battery_life_years": cycle.bank.years, "limited_by": cycle.bank.limited_by,
        "replacements": [
            {"part": one.part, "pieces": one.pieces, "year": round(one.year, 2), "cost": one.cents / 100} for one in cycle.replacements
        ],
    }


def owned_data(owned: Sequence[OwnedPart]) -> list[Data]:
    """What became of the customer's own parts."""
    return [
        {"part": own.part, "quantity": own.quantity, "used": own.used, "verdict": own.verdict, "rule": own.rule, "reason": own.reason}
        for own in owned
    ]


def check_line_data(line: Line) -> Data:
    """One line of the proof."""
    return {
        "rule": line.rule, "title": line.title, "where": line.where, "sense": line.sense, "required": line.required,
        "actual": line.actual, "unit": line.unit, "margin": line.margin, "margin_share": line.margin_share,
        "severity": line.severity, "passed": line.passed, "source": line.source,
    }


def months_data(report: Report) -> list[Data]:
    """Energy balance by month of use."""
    return [
        {"month": month.month, "sun_h": month.sun_h, "load_wh": month.load_wh, "array_wh": month.array_wh, "ratio": month.ratio, "carried_wh": month.left_wh}
        for month in report.months
    ]


def plane_data(report: Report | None) -> Data | None:
    """The plane of the array, and where its sun hours come from; None where there are several."""
    return None if report is None or report.whole.needs.problem.planes else _plane_data(report.whole.needs.problem)


def planes_data(report: Report | None) -> Data:
    """The planes of the problem, where it has [[planes]]."""
    if report is None or not report.whole.needs.problem.planes:
        return {}
    problem = report.whole.needs.problem
    named = zip(problem.planes, by_plane(problem), strict=True)
    return {"planes": [{"name": plane.name, **_plane_data(one)} for plane, one in named]}


def _plane_data(problem: Problem) -> Data:
    sun = sun_on_plane(problem)
    data: Data = {"tilt_deg": sun.tilt_deg, "azimuth_deg": azimuth_of(problem), "origin": sun.origin}
    return data if sun.tilt_deg_by_month is None else {**data, "positions": positions_data(sun.tilt_deg_by_month)}


def positions_data(tilt_deg_by_month: Sequence[float]) -> list[Data]:
    """Positions of an array that is set anew through the year, each with its months, in which it is set at the beginning of the first."""
    return [{"tilt_deg": one.tilt_deg, "months": [MONTHS[month] for month in one.months]} for one in positions(tilt_deg_by_month)]


def reliability_data(report: Report | None, problem: Problem, rounds: int) -> Data | None:
    """What the design lived through, where the problem has a loss-of-load limit; figures are null where there is no design."""
    asked, loss = problem.reliability, report.loss if report else None
    if asked is None:
        return None
    return {
        "loss_of_load_hours_max": asked.loss_of_load_hours_max, "critical_only": asked.critical_only, "rounds": rounds,
        "weather": "the weather file's own year" if loss is not None and loss.seed is None else "synthetic years",
        "seed": loss.seed if loss else asked.seed, "years": loss.years if loss else asked.years,
        **{name: getattr(loss, name, None) for name in LOSS_KEYS},
    }


def lived_data(report: Report | None) -> Data | None:
    """What the design left unmet in lived years, where the problem has a limit or hours."""
    loss = report.lived if report else None
    if loss is None:
        return None
    weather = "the weather file's own year" if loss.seed is None else "synthetic years"
    return {"weather": weather, "seed": loss.seed, "years": loss.years, **{name: getattr(loss, name) for name in LOSS_KEYS}}


LOSS_KEYS = ("unmet_fraction", "loss_of_load_hours", "interval_95", "critical_unmet_fraction", "critical_loss_hours", "critical_interval_95")


def assumed_data(report: Report | None, problem: Problem) -> Data:
    """Values that nobody gave: of the problem, and of the parts used."""
    parts = {part.id: list(part.assumed) for part in report.design.parts if part.assumed} if report else {}
    return {"problem": list(problem.defaults()), "parts": parts}


def bound_cents(answer: Answer) -> int | None:
    """Total below which no design exists [cents]; None where prices beside the bill are part of the question."""
    if answer.problem.counts_beside_the_bill:
        return None
    bill = answer.report.bill if answer.report else None
    if bill is not None and answer.gap == 0:
        return bill.total_cents
    if answer.bound_cents is None or not math.isfinite(answer.bound_cents):
        return None
    # Margin and tax rise with parts and freight, so the bound on these is one on the total.
    return PriceList(answer.problem, answer.catalog).total_of(max(0, math.floor(answer.bound_cents + 1e-6)))[2]


def cost_data(answer: Answer) -> Data:
    """What it costs and how well that is proven."""
    bill, bound = (answer.report.bill if answer.report else None), bound_cents(answer)
    return {
        "total": bill.total_cents / 100 if bill else None,
        "currency": answer.catalog.currency,
        "bound": None if bound is None else bound / 100,
        "gap": answer.gap,
        "objective": bill.objective_cents / 100 if bill else None,
        "running": bill.running_cents / 100 if bill and answer.problem.source_in_design else None,
    }


def solve_data(answer: Answer, inputs: Data) -> Data:
    """The answer of `solve`."""
    report = answer.report
    return {
        "outcome": answer.outcome.value,
        "problem": answer.problem.name,
        "reason": answer.reason,
        "cost": cost_data(answer),
        "choice": choice_data(answer.choice) if answer.choice else None,
        "bill": bill_data(report.bill.lines) if report else [],
        "kits": kits_data(report.bill) if report else [],
        "weight_kg": report.bill.weight_kg if report else None,
        "life_cycle": life_cycle_data(report) if report else None,
        "owned": owned_data(answer.owned),
        "forces": answer.forces,
        "checks": [check_line_data(line) for line in report.lines] if report else [],
        "months": months_data(report) if report else [],
        "plane": plane_data(report),
        **planes_data(report),
        "reliability": reliability_data(report, answer.problem, answer.rounds),
        "lived": lived_data(report),
        "design_month": report.design_month.month if report else None,
        "schedules": schedules_data(report) if report else None,
        "generator": generator_data(report.generator) if report else None,
        "visits": visits_data(report.visits) if report else None,
        "screening": [
            {"rule": row.rule, "removed": row.removed, "left": row.left, "example": row.example} for row in answer.screening
        ],
        "near_bounds": list(answer.near_bounds),
        "cautions": cautions(report, answer.problem),
        "assumed": assumed_data(report, answer.problem),
        "timing_s": answer.timing_s,
        "sizes": answer.sizes,
        "inputs": inputs,
    }


def check_data(report: Report, choice: Choice, problem: Problem, currency: str, inputs: Data) -> Data:
    """The answer of `check`."""
    return {
        "valid": report.valid,
        "problem": problem.name,
        "cost": {"total": report.bill.total_cents / 100, "currency": currency},
        "choice": choice_data(choice),
        "bill": bill_data(report.bill.lines),
        "kits": kits_data(report.bill),
        "weight_kg": report.bill.weight_kg,
        "life_cycle": life_cycle_data(report),
        "checks": [check_line_data(line) for line in report.lines],
        "months": months_data(report),
        "plane": plane_data(report),
        **planes_data(report),
        "reliability": reliability_data(report, problem, 1),
        "lived": lived_data(report),
        "design_month": report.design_month.month,
        "schedules": schedules_data(report),
        "generator": generator_data(report.generator),
        "visits": visits_data(report.visits),
        "cautions": cautions(report, problem),
        "assumed": assumed_data(report, problem),
        "inputs": inputs,
    }


def demand_data(problem: Problem, inputs: Data) -> Data:
    """The answer of `demand`: energy at the loads' terminals."""
    demand = Demand(problem)
    months = []
    for name, season in zip(MONTHS, demand.by_month, strict=True):
        if season is None:
            months.append({"month": name, "season": None, "ac_wh": 0.0, "dc_wh": 0.0, "use_day_wh": 0.0})
            continue
        months.append({
            "month": name, "season": season.name, "ac_wh": float(season.average_wh[0]), "dc_wh": float(season.average_wh[1:].sum()),
            "use_day_wh": float(season.use_day_wh.sum()),
        })
    worst = demand.starts[0] if demand.starts else None
    return {
        "problem": problem.name,
        "months": months,
        "coincident_w": demand.coincident_w,
        "coincident_va": demand.coincident_va,
        "coincident_dc_w": float(demand.coincident_dc_w.sum()),
        "peak_dc_w": float(demand.peak_dc_w.sum()),
        "worst_start_va": worst.va if worst else 0.0,
        "worst_start_load": worst.item if worst else None,
        "worst_start_s": worst.seconds if worst else 0.0,
        "inputs": inputs,
    }


def lint_data(catalog: Catalog | None, errors: Sequence[str], doubts: Sequence[str], inputs: Data) -> Data:
    """The answer of `lint`."""
    parts = {kind: len(getattr(catalog, kind)) for kind in (*FILES, "kits")} if catalog else {}
    return {
        "sound": not errors, "catalog": catalog.name if catalog else None, "parts": parts, "errors": list(errors),
        "doubts": list(doubts), "inputs": inputs,
    }


def _place_on_bill(part: str, catalog: Catalog) -> int:
    """Kits and parts first, then allowances, then sums of money."""
    if part not in catalog.sold:
        return 2
    return 1 if isinstance(catalog.sold[part], Allowance) else 0


def combined_lines(bills: Sequence[Bill], catalog: Catalog) -> list[BillLine]:
    """Bills of several systems as one: same parts added, sums of money (freight, margin, tax) added up."""
    found: dict[str, list[BillLine]] = {}
    for bill in bills:
        for line in bill.lines:
            found.setdefault(line.part, []).append(line)
    combined = []
    for part, lines in sorted(found.items(), key=lambda item: _place_on_bill(item[0], catalog)):
        price = sum(line.price_cents for line in lines)
        if part in catalog.sold:
            quantity = sum(line.quantity for line in lines)
            combined.append(BillLine(part, catalog.sold[part].description + by_the_metre(catalog.sold[part]), quantity, lines[0].unit_cents, price))
        else:
            combined.append(BillLine(part, lines[0].description, 1, price, price))
    return combined


def beyond_stock(lines: Sequence[BillLine], catalog: Catalog) -> list[str]:
    """Parts of which a combined bill takes more than there are: each system was solved with the whole stock."""
    beyond = []
    for line in lines:
        part = catalog.sold.get(line.part)
        if part is not None and part.stock is not None and line.quantity > part.stock:
            beyond.append(f"{line.part}: {line.quantity} wanted, {part.stock} in stock")
    return beyond


def combined_data(answers: Sequence[tuple[Answer, Data]], catalog: Catalog) -> Data:
    """The answer of `solve` for several problems: each by itself, and one bill where all have a design."""
    bills = [answer.report.bill for answer, _ in answers if answer.report is not None]
    whole = len(bills) == len(answers)
    lines = combined_lines(bills, catalog) if whole else []
    return {
        "answers": [solve_data(answer, inputs) for answer, inputs in answers],
        "cost": {"total": sum(bill.total_cents for bill in bills) / 100 if whole else None, "currency": catalog.currency},
        "bill": bill_data(lines),
        "beyond_stock": beyond_stock(lines, catalog),
    }
