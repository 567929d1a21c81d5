"""The answer of `replay` as JSON."""

from __future__ import annotations

from dataclasses import asdict

from optimizer.design import choice_of
from optimizer.handover.as_json import Data, choice_data
from optimizer.handover.cautions import cautions
from optimizer.questions.replay import Figures, Replayed


def replay_data(found: Replayed, inputs: Data) -> Data:
    """The answer of `replay`."""
    report, figures = found.report, found.figures
    return {
        "outcome": found.answer.outcome.value if found.answer else "choice",
        "reason": found.answer.reason if found.answer else "",
        "valid": report.valid if report else None,
        "choice": choice_data(choice_of(report.design)) if report else None,
        "years": found.years, "seed": found.seed, "weather": found.weather, "bank": "new" if found.new else "end of life",
        "assumed": list(found.assumed),
        **(_figures(figures) if figures else dict.fromkeys(KEYS)),
        "cautions": cautions(report, found.problem),
        "inputs": inputs,
    }


KEYS = (
    "unmet_fraction", "critical_unmet_fraction", "loss_of_load_hours", "interval_95", "critical_loss_hours", "critical_interval_95",
    "years_with_loss", "years_with_loss_95", "soc_by_month", "full_days_in_fortnight", "full_cycles", "life_years", "life_by_cycles_years",
    "calendar_life_years", "surplus_kwh", "other_source_kwh", "other_source_h", "generator_h", "worst_fortnight", "energy_kwh", "balance_error",
)


def _figures(figures: Figures) -> Data:
    found = {
        **{name: getattr(figures, name) for name in KEYS if hasattr(figures, name)},
        "soc_by_month": [asdict(month) for month in figures.charge],
        "full_days_in_fortnight": {"least": figures.least_full_days, "mean_of_yearly_least": figures.usual_least_full_days},
        "surplus_kwh": figures.energy_kwh["surplus"], "other_source_kwh": figures.energy_kwh["other_source"],
        "energy_kwh": dict(figures.energy_kwh), "worst_fortnight": asdict(figures.worst),
    }
    return {key: found[key] for key in KEYS}
