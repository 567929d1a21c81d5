"""Small random problems with small catalogs of plausible parts, the same for the same seed.

Each case is one of a few scenes (a cabin, a house, a mast, ...) with spices that any case may get (freight,
packs, owned parts, ties, ...) and one trap: something cheap that a single rule of the book keeps out.
`RULES_TRAPPED[seed % len(RULES_TRAPPED)]` names the rule; enough seeds visit every rule several times.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import numpy as np

from optimizer.inputs.catalog import Catalog, load_tables, shipped_folder
from optimizer.inputs.parts import Allowance, Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import MONTHS, Problem

PartKind = TypeVar("PartKind", bound=Part)

_complaints: list[str] = []
TABLES = load_tables(shipped_folder("catalogs"), _complaints)
assert not _complaints, _complaints


# --- plausible parts


def module(part_id: str, cells: int, watts: float, price: float, **more: Any) -> Module:
    vmp = round(cells * (0.52 if cells == 36 else 0.58), 2)
    imp = round(watts / vmp, 3)
    width = 1.0 if watts > 250 else 0.6
    return Module(**{
        "id": part_id, "price": price, "weight_kg": round(watts * 0.055, 2), "tech": "mono", "series_cells": cells,
        "pmax_w": watts, "vmp_v": vmp, "imp_a": imp, "voc_v": round(vmp * 1.2, 2), "isc_a": round(imp * 1.06, 3),
        "tc_isc_pct_k": 0.05, "tc_voc_pct_k": -0.28, "tc_pmax_pct_k": -0.36, "noct_c": 45, "max_system_v": 1000,
        "max_series_fuse_a": 25, "length_mm": round(watts / 200 / width * 1000), "width_mm": width * 1000, **more,
    })


LEAD = {  # absorption and float a cell, capacity in 5 and 100 h, greatest charge, coldest charge and discharge
    "flooded": (2.45, 2.24, 0.80, 1.12, 0.14, -40, -40),
    "agm": (2.40, 2.27, 0.85, 1.08, 0.30, -15, -20),
    "gel": (2.36, 2.28, 0.82, 1.12, 0.18, -15, -20),
}


def lead_battery(part_id: str, chemistry: str, cells: int, ah: float, price: float, **more: Any) -> Battery:
    absorb, floating, fast, slow, charge, cold_charge, cold = LEAD[chemistry]
    return Battery(**{
        "id": part_id, "price": price, "chemistry": chemistry, "cells": cells, "unit_v": 2.0 * cells,
        "weight_kg": round(cells * ah * 0.052, 1), "capacity_5h_ah": round(ah * fast, 2), "capacity_20h_ah": ah,
        "capacity_100h_ah": round(ah * slow, 2), "dod_daily": 0.3, "dod_autonomy": 0.5, "cycles": 900, "cycles_dod": 0.5,
        "efficiency_wh": 0.8 if chemistry == "flooded" else 0.85, "charge_min_share": 0.08 if chemistry == "gel" else 0.1,
        "charge_max_a": round(ah * charge, 1), "discharge_cont_a": round(ah * 0.4, 1), "discharge_peak_a": ah * 4.0,
        "discharge_peak_s": 5, "charge_t_min_c": cold_charge, "charge_t_max_c": 50, "discharge_t_min_c": cold,
        "discharge_t_max_c": 50, "absorb_v": round(absorb * cells, 3), "float_v": round(floating * cells, 3),
        "equalise_v": round(2.58 * cells, 3) if chemistry == "flooded" else None,
        "tcomp_mv_k": (-5.0 if chemistry == "flooded" else -3.0) * cells, "max_series": 24 // cells, "max_parallel": 4,
        "fault_current_a": ah * 20, "internal_resistance_mohm": round(90 * cells / ah, 3),
        "self_discharge_pct_month": 5 if chemistry == "flooded" else 2.5, "bms": False,
        "length_mm": 330, "width_mm": 172, "height_mm": 215, **more,
    })


def lithium_battery(part_id: str, cells: int, ah: float, price: float, **more: Any) -> Battery:
    return Battery(**{
        "id": part_id, "price": price, "chemistry": "lfp", "cells": cells, "unit_v": 3.2 * cells,
        "weight_kg": round(cells * ah * 0.027, 1), "capacity_5h_ah": round(ah * 0.96, 2), "capacity_20h_ah": ah,
        "capacity_100h_ah": ah, "dod_daily": 0.8, "dod_autonomy": 0.9, "cycles": 3500, "cycles_dod": 0.8,
        "efficiency_wh": 0.95, "charge_min_share": 0.0, "charge_max_a": ah * 0.5, "discharge_cont_a": ah * 1.0,
        "discharge_peak_a": ah * 2.0, "discharge_peak_s": 5, "charge_t_min_c": 0, "charge_t_max_c": 45,
        "discharge_t_min_c": -20, "discharge_t_max_c": 55, "absorb_v": round(3.55 * cells, 2), "float_v": round(3.4 * cells, 2),
        "tcomp_mv_k": 0, "max_series": max(1, 16 // cells), "max_parallel": 4, "fault_current_a": ah * 35,
        "internal_resistance_mohm": round(150 * cells / ah, 2), "self_discharge_pct_month": 2.5, "bms": True,
        "bms_low_v": 2.5 * cells, "bms_high_v": round(3.65 * cells, 2), "bms_cold_cut_out": True, "bms_w": 0.02 * cells,
        "length_mm": 330, "width_mm": 172, "height_mm": 215, **more,
    })


def controller(part_id: str, kind: str, amperes: float, volts: tuple[int, ...], price: float, **more: Any) -> Controller:
    pwm = kind == "pwm"
    own = {
        "pwm": {"pv_voc_max_v": 55.0 if max(volts) < 48 else 110.0, "pv_isc_max_a": amperes, "isc_basis": "stc", "start_over_bank_v": 0.8,
                "run_over_bank_v": 0.8, "efficiency": 0.99, "self_w": 0.3},
        "mppt": {"pv_voc_max_v": 150.0, "pv_isc_max_a": amperes * 1.2, "isc_basis": "max", "start_over_bank_v": 5.0,
                 "run_over_bank_v": 1.0, "mppt_min_v": 14.0, "efficiency": 0.965, "self_w": 0.8},
        "boost": {"pv_voc_max_v": 50.0, "pv_isc_max_a": 24.0, "isc_basis": "max", "start_over_bank_v": 0.0,
                  "run_over_bank_v": 0.0, "mppt_min_v": 10.0, "efficiency": 0.94, "self_w": 0.5},
    }[kind]
    return Controller(**{
        "id": part_id, "price": price, "weight_kg": round(0.05 * amperes, 2), "kind": kind, "bank_v": volts, "output_a": amperes,
        "pv_w_soft_x": None if pwm else 1.15, "pv_w_hard_x": None if pwm else 2.0,
        "load_terminal_a": amperes if amperes <= 40 else 0.0, "load_shares_rating": False, "lfp_profile": True,
        "temperature_compensated": True, "tcomp_t_min_c": 0, "tcomp_t_max_c": 40, "equalises": True, "low_t_cut_out": True,
        "battery_loss_ok": True, "polarity": "neg", "parallel_ok": True, "charge_limit_settable": not pwm,
        "full_output_t_max_c": 45, "derating_pct_k": 2.5, "pv_nominal_rule": False,
        **own, "pv_voc_operating_max_v": own["pv_voc_max_v"], **more,
    })


def inverter(part_id: str, volts: int, ac: str, watts: float, price: float, **more: Any) -> Inverter:
    per_12v = volts / 12
    return Inverter(**{
        "id": part_id, "price": price, "weight_kg": round(0.006 * watts, 2), "kind": "inverter", "bank_v": volts, "ac": ac,
        "hz": 50 if ac == "230" else 60, "wave": "sine", "cont_w": watts, "cont_va": watts, "surge_va": watts * 2.0, "surge_s": 5,
        "idle_w": round(max(4.0, 0.008 * watts), 1), "search_w": round(max(1.5, 0.003 * watts), 1), "efficiency": 0.91,
        "dc_low_cut_v": round(10.5 * per_12v, 1), "dc_max_v": round(16.5 * per_12v, 1), "max_parallel": 3, "series_240": ac == "120",
        "three_phase": ac == "230", "neutral_bond": "none", "full_output_t_max_c": 40, "derating_pct_k": 2.0, **more,
    })


def all_in_one(part_id: str, volts: int, ac: str, watts: float, price: float, **more: Any) -> Inverter:
    return inverter(part_id, volts, ac, watts, price, **{
        "kind": "all-in-one", "charge_a": 40, "charge_power_factor": 0.98, "transfer_a": 40, "neutral_bond": "switched",
        "tracker_output_a": 60, "tracker_voc_max_v": 200, "tracker_min_v": 50, "tracker_start_v": 60, "tracker_isc_max_a": 30,
        "tracker_w_max": 60 * volts * 1.3, "tracker_efficiency": 0.965, "idle_w": round(0.012 * watts, 1), **more,
    })


def converter(part_id: str, volts: tuple[int, ...], out: float, amperes: float, price: float, **more: Any) -> Converter:
    return Converter(**{
        "id": part_id, "price": price, "weight_kg": 0.6, "bank_v": volts, "in_min_v": min(volts) * 0.8, "in_max_v": max(volts) * 1.45,
        "out_v": out, "output_a": amperes, "efficiency": 0.91, "idle_w": 0.8, **more,
    })


ALLOWANCES = (
    ("AL-SYSTEM", "system", 12.0, 0.5), ("AL-MODULE", "module", 12.0, 1.5), ("AL-STRING", "array string", 8.0, 1.2),
    ("AL-CONTROLLER", "controller", 2.0, 0.3), ("AL-CONTROLLER-A", "controller ampere", 0.65, 0.03),
    ("AL-UNIT", "battery unit", 1.5, 0.3), ("AL-BATTERY-STRING", "battery string", 7.0, 0.3),
    ("AL-BALANCER", "series lithium unit", 12.0, 0.2), ("AL-INVERTER", "inverter", 22.0, 1.5),
    ("AL-INVERTER-A", "inverter dc ampere", 0.35, 0.03), ("AL-CONVERTER", "converter", 2.0, 0.2),
)


# --- a case in the making


@dataclass
class Draft:
    """A problem and a catalog while they are written."""

    rng: random.Random
    data: dict[str, Any]
    modules: list[Module]
    batteries: list[Battery]
    controllers: list[Controller]
    inverters: list[Inverter]
    converters: list[Converter] = field(default_factory=list)
    allowances: list[Allowance] = field(default_factory=list)
    cold_capacity: dict[str, Any] = field(default_factory=lambda: dict(TABLES.cold_capacity))

    def put(self, section: str, **values: Any) -> None:
        self.data.setdefault(section, {}).update(values)

    def loads(self, **values: Any) -> None:
        for load in self.data["loads"]:
            load.update(values)

    def load(self, item: str, watts: float, supply: str, volts: float, hours: float, **more: Any) -> None:
        self.data["loads"].append({
            "item": item, "watts": watts, "supply": supply, "volts": volts, "hours": dict.fromkeys(self.seasons, hours), **more,
        })

    @property
    def seasons(self) -> list[str]:
        return list(self.data.get("seasons") or ["all"])

    def group(self, kind: type[PartKind]) -> list[PartKind]:
        return next(
            parts for known, parts in (
                (Module, self.modules), (Battery, self.batteries), (Controller, self.controllers),
                (Inverter, self.inverters), (Converter, self.converters),
            ) if known is kind
        )  # type: ignore[return-value]

    def keep(self, kind: type[PartKind], wanted: Callable[[PartKind], bool]) -> None:
        """Leave only the wanted parts of a kind, unless that leaves none."""
        parts = self.group(kind)
        parts[:] = [part for part in parts if wanted(part)] or parts

    def decoys(self, kind: type[PartKind], change: Callable[[PartKind], dict[str, Any]], mark: str = "x") -> None:
        """A cheap copy of every part of a kind, with something changed."""
        share = self.rng.uniform(0.3, 0.7)
        parts = self.group(kind)
        parts += [
            part.model_copy(update={"id": f"{part.id}{mark}", "price": round(part.price * share, 2), **change(part)}) for part in parts
        ]

    def change(self, kind: type[PartKind], change: Callable[[PartKind], dict[str, Any]]) -> None:
        """Change something in every part of a kind."""
        parts = self.group(kind)
        parts[:] = [part.model_copy(update=change(part)) for part in parts]

    def case(self) -> tuple[Problem, Catalog]:
        catalog = Catalog(
            name="oracle", currency="USD", modules=_sorted(self.modules), batteries=_sorted(self.batteries),
            controllers=_sorted(self.controllers), inverters=_sorted(self.inverters), converters=_sorted(self.converters),
            allowances=_sorted(self.allowances), tables=replace(TABLES, cold_capacity=self.cold_capacity),
        )
        return Problem.model_validate(self.data), catalog


def _sorted(parts: Iterable[PartKind]) -> tuple[PartKind, ...]:
    return tuple(sorted(parts, key=lambda part: part.id))


def _pick(rng: random.Random, parts: list[PartKind], count: int) -> list[PartKind]:
    return rng.sample(parts, min(count, len(parts)))


def _draft(rng: random.Random, ac: str, **groups: Any) -> Draft:
    season = rng.uniform(0.7, 1.3)
    sun = [round(min(7.0, season * base + rng.uniform(-0.3, 0.3)), 2) for base in (3, 3.6, 4.2, 4.8, 5.2, 5.4, 5.4, 5.0, 4.4, 3.8, 3.2, 2.9)]
    air = [float(round(12 + 10 * base + rng.uniform(-2, 2))) for base in (-1, -0.8, -0.3, 0.2, 0.6, 0.9, 1, 0.9, 0.5, 0, -0.5, -0.9)]
    data: dict[str, Any] = {
        "name": "case", "site": {"ac": ac}, "array": {"sun_h": sun},
        "temperatures": {
            "lowest_c": float(rng.randint(-14, 0)), "hottest_c": float(rng.randint(33, 40)), "air_c": air,
            "battery_c": [max(8.0, t) for t in air], "battery_lowest_c": float(rng.randint(5, 8)), "electronics_highest_c": 40.0,
        },
        "autonomy": {"days": rng.choice((1.0, 1.5, 2.0))}, "loads": [],
        "bounds": {
            "modules_in_series": 2, "strings_per_controller": 2, "controllers": 2, "array_kinds": 2, "battery_strings": 3,
            "inverters": 1, "charge_limit_steps": (1.0, 0.5),
        },
    }
    if rng.random() < 0.35:  # one kind of array, wider
        data["bounds"].update(array_kinds=1, strings_per_controller=3, controllers=3, modules_in_series=3)
    if rng.random() < 0.3:
        data["seasons"] = {"summer": MONTHS[3:9], "winter": (*MONTHS[9:], *MONTHS[:3])}
    return Draft(rng, data, **groups)


# --- scenes


def cabin(rng: random.Random) -> Draft:
    """A 12 V cabin with DC loads and perhaps a small inverter."""
    draft = _draft(
        rng, rng.choice(("none", "120 V 60 Hz")),
        modules=_pick(rng, [module("M36-100", 36, 100, 82), module("M36-200", 36, 200, 148), module("M54-400", 54, 400, 135), module("M60-300", 60, 300, 116)], 3),
        batteries=_pick(rng, [
            lead_battery("B-AGM-100", "agm", 6, 100, 200), lead_battery("B-FLA-225", "flooded", 3, 225, 165),
            lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 440), lead_battery("B-GEL-120", "gel", 6, 120, 270),
        ], 3),
        controllers=[controller("C-PWM-30", "pwm", 30, (12, 24), 62), controller("C-MPPT-40", "mppt", 40, (12, 24), 205)],
        inverters=[inverter("I-12-400", 12, "120", 400, 80), inverter("I-12-700", 12, "120", 700, 118)],
    )
    draft.put("bank", volts=(12,))
    scale = rng.uniform(0.6, 1.2)
    draft.load("lights", round(40 * scale), "DC", 12, 5, night_share=1.0)
    draft.load("refrigerator", 50, "DC", 12, round(7 * scale, 1), surge_x=3, surge_s=0.5, starts_by_itself=True, dc_volts_max=17.0)
    if draft.data["site"]["ac"] != "none":
        draft.load("tools", 150, "AC", 120, 1, surge_x=2, surge_s=1, power_factor=0.8, days_per_week=rng.choice((3, 7)))
    return draft


def house(rng: random.Random) -> Draft:
    """A 24 V house with an AC refrigerator and a pump."""
    draft = _draft(
        rng, "230 V 50 Hz",
        modules=_pick(rng, [module("M54-430", 54, 430, 142), module("M72-380", 72, 380, 158), module("M60-330", 60, 330, 128), module("M72-550", 72, 550, 176, pack_qty=2)], 3),
        batteries=_pick(rng, [
            lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-FLA-400", "flooded", 3, 400, 340),
            lithium_battery("B-LFP8-100", 8, 100, 455), lithium_battery("B-LFP4-200", 4, 200, 430), lead_battery("B-GEL-200", "gel", 6, 200, 510),
        ], 3),
        controllers=[controller("C-MPPT-30", "mppt", 30, (12, 24, 48), 168), controller("C-MPPT-60", "mppt", 60, (12, 24, 48), 380)],
        inverters=[inverter("I-24-1500", 24, "230", 1500, 280), inverter("I-24-2500", 24, "230", 2500, 420)],
    )
    draft.put("bank", volts=(24,))
    scale = rng.uniform(0.6, 1.1)
    draft.load("lights", round(60 * scale), "AC", 230, 5, power_factor=0.9, night_share=0.9)
    draft.load("refrigerator", 90, "AC", 230, round(9 * scale, 1), surge_x=5, surge_s=0.5, power_factor=0.75, starts_by_itself=True)
    draft.load("pump", 400, "AC", 230, 0.4, surge_x=3, surge_s=1, power_factor=0.7, critical="defer", days_per_week=rng.choice((4, 7)))
    if rng.random() < 0.4:
        draft.load("radio", 15, "DC", 12, 8, dc_volts_max=16.0)
        draft.converters = [converter("D-24-12", (24,), 12, 10, 38), converter("D-12-48", (12, 24, 48), 12, 6, 55)]
    return draft


def large_house(rng: random.Random) -> Draft:
    """A 48 V house with all-in-one units, packs of fifteen and of sixteen cells."""
    draft = _draft(
        rng, "230 V 50 Hz",
        modules=_pick(rng, [module("M54-430", 54, 430, 142), module("M72-550", 72, 550, 176, pack_qty=rng.choice((1, 2))), module("M60-460", 60, 460, 158)], 2),
        batteries=_pick(rng, [
            lithium_battery("B-LFP16-100", 16, 100, 980), lithium_battery("B-LFP15-100", 15, 100, 860, absorb_v=53.2), lead_battery("B-AGM-200", "agm", 6, 200, 398),
            lithium_battery("B-LFP16-50", 16, 50, 540),
        ], 3),
        controllers=[controller("C-MPPT-60", "mppt", 60, (12, 24, 48), 430)],
        inverters=[all_in_one("A-48-3500", 48, "230", 3500, 620), inverter("I-48-2500", 48, "230", 2500, 520)],
    )
    draft.put("bank", volts=(48,))
    draft.put("bounds", modules_in_series=3, inverters=2)
    scale = rng.uniform(0.6, 1.1)
    draft.load("lights", 100, "AC", 230, round(6 * scale, 1), night_share=0.9)
    draft.load("refrigerator", 120, "AC", 230, round(12 * scale, 1), surge_x=4, surge_s=0.5, power_factor=0.8, starts_by_itself=True)
    draft.load("washing", 800, "AC", 230, 1, power_factor=0.9, surge_x=2, surge_s=1, night_share=0.1, days_per_week=rng.choice((2, 7)))
    return draft


def split_house(rng: random.Random) -> Draft:
    """A 48 V house with 120 V and 240 V loads."""
    draft = _draft(
        rng, "120/240 V 60 Hz",
        modules=[module("M54-430", 54, 430, 142), module("M72-550", 72, 550, 176)],
        batteries=[lithium_battery("B-LFP16-100", 16, 100, 980), lead_battery("B-FLA-225", "flooded", 3, 225, 165)],
        controllers=[controller("C-MPPT-60", "mppt", 60, (24, 48), 430)],
        inverters=[
            inverter("I-48-2000", 48, "120", 2000, 480), inverter("I-48-S4000", 48, "120/240", 4000, 1250),
            all_in_one("A-48-S5000", 48, "120/240", 5000, 1250),
        ],
    )
    draft.put("bank", volts=(48,))
    draft.put("bounds", modules_in_series=3, inverters=2)
    scale = rng.uniform(0.6, 1.1)
    draft.load("lights", 100, "AC", 120, round(6 * scale, 1), night_share=0.9)
    draft.load("refrigerator", 150, "AC", 120, round(10 * scale, 1), surge_x=4, surge_s=0.5, power_factor=0.8, starts_by_itself=True)
    draft.load("pump", 700, "AC", 240, 0.5, surge_x=3, surge_s=1, power_factor=0.75, night_share=0.1)
    return draft


def three_phases(rng: random.Random) -> Draft:
    """A workshop on three phases, used in the week."""
    draft = _draft(
        rng, "230/400 V 50 Hz",
        modules=[module("M54-430", 54, 430, 142), module("M72-550", 72, 550, 176, pack_qty=2)],
        batteries=[lithium_battery("B-LFP16-100", 16, 100, 980), lead_battery("B-FLA-400", "flooded", 3, 400, 340)],
        controllers=[controller("C-MPPT-60", "mppt", 60, (24, 48), 430)],
        inverters=[
            inverter("I-48-1200", 48, "230", 1200, 310), all_in_one("A-48-2500", 48, "230", 2500, 560), inverter("I-48-2000", 48, "230", 2000, 460),
        ],
    )
    draft.put("bank", volts=(48,))
    draft.put("bounds", modules_in_series=3, inverters=3, array_kinds=1, controllers=3)
    draft.put("inverter", on=rng.choice(("always", "when used", "search")))
    draft.load("lights", 150, "AC", 230, 4, days_per_week=5)
    draft.load("saw", 900, "AC", 400, 1.5, surge_x=2.5, surge_s=1, power_factor=0.8, night_share=0, days_per_week=5)
    draft.load("computer", 100, "AC", 230, 6, power_factor=0.9, night_share=0.2, days_per_week=5)
    return draft


def mast(rng: random.Random) -> Draft:
    """A radio mast on a 48 V bank that small modules charge through boosting trackers."""
    draft = _draft(
        rng, "none",
        modules=[module("M36-100", 36, 100, 82), module("M36-160", 36, 160, 125), module("M36-200", 36, 200, 150)],
        batteries=_pick(rng, [
            lead_battery("B-AGM-100", "agm", 6, 100, 200), lithium_battery("B-LFP16-50", 16, 50, 540), lithium_battery("B-LFP15-50", 15, 50, 480, absorb_v=53.2),
            lithium_battery("B-LFP4-50", 4, 50, 130),
        ], 3),
        controllers=[controller("C-BOOST-8", "boost", 8, (24, 48), 112), controller("C-MPPT-20", "mppt", 20, (12, 24, 48), 170)],
        inverters=[inverter("I-48-300", 48, "230", 300, 90)],
    )
    draft.put("bank", volts=(48,))
    draft.put("bounds", battery_strings=2)
    draft.load("radio", round(12 * rng.uniform(0.7, 1.2)), "DC", 48, 24, dc_volts_max=64.0)
    return draft


SCENES = (cabin, house, large_house, split_house, three_phases, mast)


# --- spices: what any case may get


def _freight(draft: Draft) -> None:
    draft.put("price", freight=25, freight_per_kg=round(draft.rng.uniform(0.2, 3), 2), margin_pct=draft.rng.choice((0, 12.5)), tax_pct=draft.rng.choice((0, 7.7, 19)))


def _objective(draft: Draft) -> None:
    draft.put("objective", **draft.rng.choice((
        {"price_per_kg": 2.5}, {"price_per_distinct_part": 80}, {"price_per_connection": 6.5}, {"price_per_kg": 1, "price_per_connection": 3},
    )))


def _packs(draft: Draft) -> None:
    draft.change(Module, lambda part: {"pack_qty": draft.rng.choice((1, 2, 4))})
    draft.change(Battery, lambda part: {"pack_qty": draft.rng.choice((1, 1, 2))})


def _twins(draft: Draft) -> None:
    """Parts that differ in nothing but their ids."""
    kind = draft.rng.choice((Module, Battery, Inverter))
    parts = draft.group(kind)
    parts.append(parts[0].model_copy(update={"id": f"{parts[0].id}-twin"}))


def _owned(draft: Draft) -> None:
    part = draft.rng.choice([*draft.modules, *draft.batteries, *draft.controllers, *draft.inverters])
    own = {"part": part.id, "quantity": draft.rng.choice((1, 2, 3)), "age_months": draft.rng.choice((0, 6, 40)), "must_use": draft.rng.random() < 0.2}
    draft.data.setdefault("owned", []).append(own)


def _stock(draft: Draft) -> None:
    for kind in (Module, Battery, Controller):
        draft.change(kind, lambda part: {"stock": draft.rng.choice((None, None, 1, 2, 4))})


def _locks(draft: Draft) -> None:
    locks = draft.data.setdefault("locks", {})
    names = [part.id for part in draft.modules]
    locks.update(draft.rng.choice((
        {"at_most": {draft.rng.choice(names): draft.rng.choice((0, 1, 2))}}, {"at_least": {draft.rng.choice(names): 2}},
        {"only": (draft.rng.choice(draft.controllers).id,)}, {"exclude": (draft.rng.choice(draft.batteries).id,)},
        {"at_most": {draft.controllers[0].id: 1}},
    )))


def _rules(draft: Draft) -> None:
    rules = draft.data.setdefault("rules", {})
    rules.update(draft.rng.choice((
        {"minimum-charge-current": "soft"}, {"recovery": "off"}, {"full-recharge": "soft"}, {"uncertainty": "requirement"},
        {"daily-depth": "requirement"}, {"array-above-rating": "requirement"}, {"autonomy": "soft"}, {"lead-acid-parallel-preferred": "requirement"},
        {"bank-voltage-allowed": "off"}, {"weekly-swing": "off"}, {"part-limit": "off"}, {"stock": "soft"}, {"part-demanded": "soft"},
        {"monthly-balance": "soft"}, {"sag-above-cut-out": "off"}, {"waveform": "off"}, {"ripple-minimum": "requirement", "one-string-out": "requirement"},
    )))


def _generator(draft: Draft) -> None:
    draft.put("site", other_source="generator")
    draft.put("balance", minimum_solar_share=draft.rng.choice((0.6, 0.8, 1.0)))


def _volts(draft: Draft) -> None:
    draft.put("bank", volts=(12, 24, 48))


def _equalise(draft: Draft) -> None:
    draft.put("bank", equalise=draft.rng.choice(("connected", "never")))


def _shade(draft: Draft) -> None:
    draft.put("array", shade=[round(draft.rng.uniform(0.8, 1), 2) for _ in MONTHS], mounting=draft.rng.choice(("close to a roof", "flat on a vehicle")))


def _hot(draft: Draft) -> None:
    draft.put("temperatures", electronics_highest_c=48.0)
    draft.put("site", elevation_m=2600)


def _unused(draft: Draft) -> None:
    """Nobody is there from November to January, and winter asks for less autonomy."""
    draft.data["seasons"] = {"summer": MONTHS[3:9], "spring": MONTHS[1:3], "autumn": MONTHS[9:10]}
    hours = [next(iter(load["hours"].values())) for load in draft.data["loads"]]
    for load, h in zip(draft.data["loads"], hours, strict=True):
        load["hours"] = {"summer": h, "spring": round(h * 0.5, 2), "autumn": round(h * 0.8, 2)}
    draft.put("autonomy", days={"summer": 1.0, "spring": 2.0, "autumn": 1.5})
    draft.put("temperatures", battery_lowest_c={"summer": 12.0, "spring": 5.0, "autumn": 6.0})


def _dear_sizes(draft: Draft) -> None:
    """Prices that do not rise evenly with size."""
    for kind in (Module, Battery, Controller, Inverter):
        draft.change(kind, lambda part: {"price": round(part.price * draft.rng.uniform(0.7, 1.4), 2)})


def _unlike(draft: Draft) -> None:
    """Sheets that are silent, light from behind, controllers that are alone or have terminals of their own."""
    draft.change(Module, lambda part: {"bifacial_pct": draft.rng.choice((0, 0, 10)), "tc_voc_pct_k": draft.rng.choice((part.tc_voc_pct_k, None))})
    draft.change(Controller, lambda part: {
        "parallel_ok": draft.rng.random() < 0.7, "temperature_compensated": draft.rng.random() < 0.7, "equalises": draft.rng.random() < 0.7,
        "efficiency": round(part.efficiency - draft.rng.choice((0, 0.01, 0.03)), 3),
    })


def _hopeless(draft: Draft) -> None:
    """One demand too many."""
    section, demand = draft.rng.choice((
        ("limits", {"budget": 45.0}), ("array", {"area_m2": 0.7}), ("array", {"rectangles_m": ("0.70 x 0.50",)}), ("limits", {"piece_kg_max": 4.0}),
        ("autonomy", {"days": 14.0}), ("bank", {"chemistries": ("nickel-cadmium",)}), ("array", {"volts_max": 11.0}),
        ("limits", {"total_kg_max": 30.0}), ("array", {"sun_h": 0.4}),
    ))
    draft.put(section, **demand)


SPICES: tuple[tuple[float, Callable[[Draft], None]], ...] = (
    (0.9, _dear_sizes), (0.25, _freight), (0.2, _objective), (0.2, _packs), (0.2, _twins), (0.2, _owned), (0.12, _stock), (0.12, _locks),
    (0.15, _rules), (0.15, _generator), (0.2, _volts), (0.15, _equalise), (0.15, _shade), (0.1, _hot), (0.12, _unused),
    (0.2, _unlike), (0.08, _hopeless),
)


# --- traps: for each rule something cheap that this rule alone keeps out

Trap = Callable[[Draft], None]
TRAPS: dict[str, tuple[tuple[Callable[[random.Random], Draft], ...], Trap]] = {}


def trap(rule: str, *scenes: Callable[[random.Random], Draft]) -> Callable[[Trap], Trap]:
    def add(build: Trap) -> Trap:
        TRAPS[rule] = (scenes or SCENES, build)
        return build
    return add


def _decoy(rule: str, kind: type[PartKind], change: Callable[[PartKind], dict[str, Any]], *scenes: Any, raised: bool = False) -> None:
    @trap(rule, *scenes)
    def build(draft: Draft) -> None:
        draft.decoys(kind, change)
        if raised:
            draft.data.setdefault("rules", {})[rule] = "requirement"


def _always(**values: Any) -> Callable[[Any], dict[str, Any]]:
    return lambda _: values


AC_SCENES = (house, large_house, split_house, three_phases)

# controllers
_decoy("cold-open-circuit", Controller, lambda c: {"pv_voc_max_v": max(c.bank_v) + 0.5, "pv_voc_operating_max_v": max(c.bank_v) + 0.5}, house, large_house, split_house)
_decoy("operating-open-circuit", Controller, lambda c: {"pv_voc_operating_max_v": max(c.bank_v) + 0.5}, house, large_house, raised=True)
_decoy("hot-run-voltage", Controller, _always(run_over_bank_v=110.0), house, large_house, split_house)
_decoy("start-voltage", Controller, _always(start_over_bank_v=140.0), house, large_house, split_house)
_decoy("tracker-window", Controller, _always(mppt_min_v=149.0), house, large_house, mast)
_decoy("controller-input-current", Controller, _always(pv_isc_max_a=2.0), cabin, house, large_house)
_decoy("controller-input-power", Controller, _always(pv_w_soft_x=0.05, pv_w_hard_x=0.05), house, large_house, mast)
_decoy("array-above-rating", Controller, lambda c: {} if c.kind == "pwm" else {"pv_w_soft_x": 0.1}, house, large_house, raised=True)
_decoy("quick-controller-size", Controller, lambda c: {"output_a": c.output_a * 0.7}, house, large_house, cabin, raised=True)
_decoy("earthing-polarity", Controller, _always(polarity="common-positive"))
_decoy("controller-bank-voltage", Controller, lambda c: {"bank_v": (36,)}, cabin, house, mast)
_decoy("pwm-rating", Controller, lambda c: {"output_a": 4.0, "pv_isc_max_a": 40.0} if c.kind == "pwm" else {"price": c.price}, cabin)
_decoy("parallel-controllers", Controller, _always(parallel_ok=False), mast, cabin, house)


@trap("parallel-controllers", mast, house)
def _parallel_controllers(draft: Draft) -> None:
    draft.put("bounds", strings_per_controller=1)
    draft.decoys(Controller, _always(parallel_ok=False))


@trap("charge-profile", cabin, house)
def _charge_profile(draft: Draft) -> None:
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 440)]
    draft.decoys(Controller, _always(lfp_profile=False))


@trap("battery-loss", cabin, house)
def _battery_loss(draft: Draft) -> None:
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 440)]
    draft.decoys(Controller, _always(battery_loss_ok=False))


@trap("low-temperature-cut-out", cabin, house)
def _low_temperature_cut_out(draft: Draft) -> None:
    draft.put("temperatures", battery_lowest_c=2.0)
    draft.batteries = [lithium_battery(f"B-LFP-{ah}", 4, ah, price, bms_cold_cut_out=False) for ah, price in ((100, 240), (200, 430))]
    draft.decoys(Controller, _always(low_t_cut_out=False))


@trap("controller-room-temperature", house, large_house)
def _controller_room_temperature(draft: Draft) -> None:
    draft.controllers.append(controller("C-HOT", "mppt", 20, (12, 24, 48), 60, full_output_t_max_c=5, derating_pct_k=4.0))
    draft.data.setdefault("locks", {}).setdefault("at_least", {})["C-HOT"] = 1
    draft.put("bounds", array_kinds=2, controllers=2)


@trap("load-terminal-current", cabin)
def _load_terminal_current(draft: Draft) -> None:
    draft.put("dc", loads_on="controller load terminals")
    draft.decoys(Controller, lambda c: {"load_terminal_a": 2.0, "load_shares_rating": draft.rng.random() < 0.5})


@trap("tracker-count", large_house, split_house, three_phases)
def _tracker_count(draft: Draft) -> None:
    """A tracker of an inverter that is not there costs nothing."""


@trap("aged-run-voltage", house)
def _aged_run_voltage(draft: Draft) -> None:
    """At 24 V a module of 60 cells runs hot just above the charging voltage: not after twenty years."""
    draft.data.setdefault("rules", {})["aged-run-voltage"] = "requirement"
    draft.put("temperatures", hottest_c=35.0)
    draft.put("array", mounting="open rack")
    draft.put("bounds", modules_in_series=1)
    draft.batteries = [lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-AGM-120", "agm", 6, 120, 260)]
    draft.modules = [module("M60-330", 60, 330, 90, vmp_v=v, voc_v=round(v * 1.2, 1), imp_a=round(330 / v, 2), isc_a=round(350 / v, 2)) for v in (36.5,)]
    draft.modules += [module("M72-380", 72, 380, 170), module("M60-320", 60, 320, 85, vmp_v=37.5, voc_v=45, imp_a=8.53, isc_a=9.1)]


@trap("boost-voltage", mast)
def _boost_voltage(draft: Draft) -> None:
    draft.keep(Controller, lambda c: c.kind == "boost")
    draft.decoys(Module, lambda m: {
        "series_cells": 66, "vmp_v": 36.0, "voc_v": 43.5, "imp_a": round(m.pmax_w / 36.0, 3), "isc_a": round(m.pmax_w / 33.5, 3),
    })


@trap("charge-limit-soft-step", house, cabin)
def _limited(draft: Draft) -> None:
    """Batteries that stand little current: a limit, a smaller controller or more strings."""
    draft.change(Battery, lambda b: {"charge_max_a": round(b.charge_max_a * 0.4, 1), "charge_min_share": 0.02})
    draft.put("balance", full_recharge_days=20.0)


# modules and their strings
_decoy("module-system-voltage", Module, _always(max_system_v=20.0))


@trap("extra-low-voltage", house, cabin)
def _extra_low_voltage(draft: Draft) -> None:
    draft.put("array", volts_max=75.0)
    draft.put("bank", volts=(12, 24))
    draft.decoys(Module, lambda m: {
        "series_cells": 108, "vmp_v": 64.0, "voc_v": 74.0, "imp_a": round(m.pmax_w / 64.0, 3), "isc_a": round(m.pmax_w / 60.0, 3),
    })


def _pwm_only(draft: Draft) -> None:
    draft.put("bounds", strings_per_controller=3)
    draft.keep(Controller, lambda c: c.kind == "pwm")
    draft.modules = [module("M36-100", 36, 100, 82), module("M36-200", 36, 200, 148)]


@trap("pwm-nominal-match", cabin)
def _pwm_nominal_match(draft: Draft) -> None:
    _pwm_only(draft)
    draft.modules.append(module("M54-400", 54, 400, 100))
    draft.data.setdefault("rules", {})["pwm-nominal-match"] = "requirement"


@trap("pwm-nominal-rule", cabin)
def _pwm_nominal_rule(draft: Draft) -> None:
    _pwm_only(draft)
    draft.modules.append(module("M54-400", 54, 400, 100))
    draft.change(Controller, _always(pv_nominal_rule=True))


def _low_volts(draft: Draft, vmp: float) -> None:
    _pwm_only(draft)
    draft.put("temperatures", hottest_c=38.0)
    draft.decoys(Module, lambda m: {
        "series_cells": 32, "vmp_v": vmp, "voc_v": round(vmp * 1.2, 2), "pmax_w": m.pmax_w, "imp_a": round(m.pmax_w / vmp, 3), "isc_a": round(m.pmax_w / vmp * 1.07, 3),
    })


@trap("pwm-absorption-current", cabin)
def _pwm_absorption_current(draft: Draft) -> None:
    _low_volts(draft, 15.2)
    draft.keep(Battery, lambda b: b.chemistry == "lfp")
    draft.put("balance", array_to_load=1.0)


@trap("pwm-absorption-current-full", cabin)
def _pwm_absorption_current_full(draft: Draft) -> None:
    draft.data.setdefault("rules", {})["pwm-absorption-current-full"] = "requirement"
    _low_volts(draft, 17.2)
    draft.put("balance", array_to_load=1.0)


# batteries
def _small(share: float, **more: Any) -> Callable[[Battery], dict[str, Any]]:
    """A smaller unit of the same kind."""
    return lambda b: {
        **{
            name: round(getattr(b, name) * share, 2) for name in (
                "capacity_5h_ah", "capacity_20h_ah", "capacity_100h_ah", "charge_max_a", "discharge_cont_a", "discharge_peak_a", "weight_kg",
            )
        }, "internal_resistance_mohm": b.internal_resistance_mohm / share, **more,
    }


_decoy("battery-parallel-limit", Battery, lambda b: {"price": round(b.price * 0.25, 2), **_small(0.55, max_parallel=1)(b)}, cabin, house)
_decoy("discharge-temperature", Battery, _always(discharge_t_min_c=15.0))
_decoy("daily-depth", Battery, _always(dod_daily=0.05), cabin, house, large_house, raised=True)
_decoy("continuous-discharge", Battery, _always(discharge_cont_a=1.5), house, large_house, cabin)
_decoy("autonomy", Battery, _always(dod_autonomy=0.1), cabin, house, large_house)
_decoy("freezing-floor", Battery, _always(dod_autonomy=1.0), house)


@trap("battery-series-limit", house)
def _battery_series_limit(draft: Draft) -> None:
    draft.batteries = [lithium_battery("B-LFP4-200", 4, 200, 430), lithium_battery("B-LFP4-100", 4, 100, 235), lead_battery("B-AGM-200", "agm", 6, 200, 398)]
    draft.decoys(Battery, _always(max_series=1))


def _cheap_and_small(share: float) -> Callable[[Battery], dict[str, Any]]:
    return lambda b: {"price": round(b.price * share * 0.4, 2), **_small(share, max_parallel=8)(b)}


@trap("lead-acid-parallel", cabin, house)
def _lead_acid_parallel(draft: Draft) -> None:
    draft.put("bounds", battery_strings=4, array_kinds=1)
    draft.keep(Battery, lambda b: b.chemistry in ("agm", "gel"))
    draft.batteries = [b for b in draft.batteries if not b.bms] or [lead_battery("B-AGM-200", "agm", 6, 200, 398)]
    draft.put("balance", full_recharge_days=30.0)
    draft.data.setdefault("rules", {})["minimum-charge-current"] = "soft"
    for share in (0.15, 0.3):
        draft.decoys(Battery, _cheap_and_small(share), f"-{share}")


@trap("lead-acid-parallel-preferred", cabin, house)
def _lead_acid_parallel_preferred(draft: Draft) -> None:
    _lead_acid_parallel(draft)
    draft.data.setdefault("rules", {})["lead-acid-parallel-preferred"] = "requirement"


@trap("battery-age", cabin, house)
def _battery_age(draft: Draft) -> None:
    draft.put("autonomy", days=2.0)
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245, max_parallel=4), lead_battery("B-AGM-100", "agm", 6, 150, 330)]
    draft.data["owned"] = [{"part": "B-LFP-100", "quantity": 1, "age_months": 40}]
    draft.put("bank", age_spread_months_max=12.0)
    if draft.rng.random() < 0.5:
        draft.batteries.append(lithium_battery("B-LFP-110", 4, 110, 275))


@trap("cold-capacity-known", cabin, house)
def _cold_capacity_known(draft: Draft) -> None:
    draft.batteries = [lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-GEL-200", "gel", 6, 200, 150), lead_battery("B-FLA-220", "flooded", 3, 220, 165)]
    draft.cold_capacity["gel"] = (np.array([10.0, 25.0, 50.0]), np.array([0.88, 1.0, 1.0]))


@trap("freezing-floor", house)
def _freezing_floor(draft: Draft) -> None:
    draft.batteries = [lead_battery("B-FLA-400", "flooded", 3, 400, 340), lead_battery("B-FLA-300", "flooded", 3, 300, 260), lead_battery("B-FLA2-600", "flooded", 1, 600, 230)]
    draft.put("temperatures", battery_lowest_c=-32.0, battery_c=-6.0)
    draft.data.setdefault("rules", {})["minimum-charge-current"] = "soft"
    draft.put("balance", full_recharge_days=30.0)
    draft.decoys(Battery, _always(dod_autonomy=0.9))


@trap("charge-temperature", cabin, house)
def _charge_temperature(draft: Draft) -> None:
    draft.put("temperatures", battery_lowest_c=-6.0)
    draft.batteries = [
        lithium_battery("B-LFP-100", 4, 100, 230), lithium_battery("B-LFP-100H", 4, 100, 330, charge_t_min_c=-20, heater_wh_day=90),
        lithium_battery("B-LFP-200H", 4, 200, 600, charge_t_min_c=-20, heater_wh_day=140),
    ]


_decoy("battery-too-hot", Battery, _always(charge_t_max_c=40.0), cabin, house, large_house)


@trap("battery-too-hot", cabin, house, large_house)
def _battery_too_hot(draft: Draft) -> None:
    draft.put("temperatures", battery_highest_c=43.0)
    draft.decoys(Battery, _always(charge_t_max_c=40.0))


@trap("battery-warm", cabin, house)
def _battery_warm(draft: Draft) -> None:
    warm = draft.rng.choice((28.0, 33.0, 34.0))
    draft.put("temperatures", battery_c=warm, battery_highest_c=36.0)
    draft.data.setdefault("rules", {})["battery-warm"] = "requirement"


@trap("storage-months", cabin, house)
def _storage_months(draft: Draft) -> None:
    draft.put("bank", idle_months=5.0)
    draft.decoys(Battery, _always(self_discharge_pct_month=9.0))


@trap("surge-discharge", house, cabin)
def _surge_discharge(draft: Draft) -> None:
    """A motor that draws many times its running power, from units that give little more than their steady current."""
    draft.keep(Battery, lambda b: b.bms)
    draft.loads(surge_x=5.0, surge_s=2.0)
    draft.decoys(Battery, lambda b: {"discharge_cont_a": 40.0 if b.cells == 4 else 25.0, "discharge_peak_a": 45.0 if b.cells == 4 else 30.0})


@trap("sag-above-cut-out", house)
def _sag_above_cut_out(draft: Draft) -> None:
    draft.batteries = [lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-FLA-400", "flooded", 3, 400, 340)]
    draft.decoys(Battery, lambda b: {"internal_resistance_mohm": b.internal_resistance_mohm * 20})


@trap("one-string-out", house, large_house)
def _one_string_out(draft: Draft) -> None:
    draft.keep(Battery, lambda b: b.bms)
    draft.data.setdefault("rules", {})["one-string-out"] = "requirement"
    watts = sum(load["watts"] for load in draft.data["loads"] if load["supply"] == "AC")
    steady = watts / 0.91 / (10.5 / 12 * draft.data["bank"]["volts"][-1])
    draft.decoys(Battery, lambda b: {"discharge_cont_a": round(0.75 * steady, 1), "discharge_peak_a": 600.0, "price": round(b.price * 0.35, 2)})


@trap("ripple-minimum", house)
def _ripple_minimum(draft: Draft) -> None:
    draft.batteries = [lead_battery("B-AGM-100", "agm", 6, 100, 215), lead_battery("B-AGM-200", "agm", 6, 200, 398)]
    draft.data.setdefault("rules", {})["ripple-minimum"] = "requirement"
    draft.decoys(Inverter, lambda i: {"cont_w": 9000.0, "cont_va": 9000.0, "surge_va": 18000.0})


@trap("minimum-charge-current", house, cabin)
def _minimum_charge_current(draft: Draft) -> None:
    draft.batteries = [lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-GEL-200", "gel", 6, 200, 420), lead_battery("B-FLA-220", "flooded", 3, 220, 165)]
    draft.put("array", sun_h=[round(s + 1.5, 2) for s in draft.data["array"]["sun_h"]])
    draft.put("bank", charge_context="cycled daily")


@trap("maximum-charge-current", house, cabin)
def _maximum_charge_current(draft: Draft) -> None:
    draft.decoys(Battery, lambda b: {"charge_max_a": round(b.charge_max_a * 0.25, 1), "charge_min_share": 0.0})


@trap("chemistry-allowed", cabin, house)
def _chemistry_allowed(draft: Draft) -> None:
    draft.put("bank", chemistries=("agm", "gel"))
    draft.batteries = [lithium_battery("B-LFP-200", 4, 200, 150), lead_battery("B-GEL-200", "gel", 6, 200, 510), lead_battery("B-AGM-200", "agm", 6, 200, 398)]


@trap("battery-ventilation", cabin, house)
def _battery_ventilation(draft: Draft) -> None:
    draft.put("bank", place="living space")
    draft.batteries = [lithium_battery("B-LFP-200", 4, 200, 480), lead_battery("B-FLA-225", "flooded", 3, 225, 70), lead_battery("B-FLA-400", "flooded", 3, 400, 110)]


@trap("attendance", cabin, house)
def _attendance(draft: Draft) -> None:
    draft.put("site", attended=False)
    draft.batteries = [lithium_battery("B-LFP-200", 4, 200, 480), lead_battery("B-FLA-225", "flooded", 3, 225, 70), lead_battery("B-FLA-400", "flooded", 3, 400, 110)]


@trap("battery-unit-energy", cabin, house)
def _battery_unit_energy(draft: Draft) -> None:
    draft.put("bank", unit_kwh_max=1.5)
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 300), lead_battery("B-AGM-100", "agm", 6, 100, 200)]


@trap("battery-place-energy", cabin, house)
def _battery_place_energy(draft: Draft) -> None:
    draft.put("bank", total_kwh_max=draft.rng.choice((3.0, 4.0, 6.0)))
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 300), lithium_battery("B-LFP-200", 4, 200, 590), lead_battery("B-AGM-200", "agm", 6, 200, 170)]


# loads on the bank, converters
@trap("bank-voltage-allowed", house)
def _bank_voltage_allowed(draft: Draft) -> None:
    draft.put("bank", volts=(48,))
    draft.inverters += [inverter("I-48-1500", 48, "230", 1500, 420)]


@trap("dc-load-on-bank", house)
def _dc_load_on_bank(draft: Draft) -> None:
    draft.data["loads"] = [load for load in draft.data["loads"] if load["supply"] == "AC"]
    draft.load("lamps", 20, "DC", 12, 6, dc_volts_max=36.0)
    draft.converters = [converter("D-24-12", (24,), 12, 10, 38), converter("D-ANY-12", (12, 24, 48), 12, 6, 55)]


def _fed(draft: Draft, change: Callable[[Converter], dict[str, Any]]) -> None:
    draft.data["loads"] = [load for load in draft.data["loads"] if load["supply"] == "AC"]
    draft.load("lamps", draft.rng.choice((20, 90)), "DC", 12, 4)
    draft.converters = [converter("D-24-12", (24,), 12, 10, 38), converter("D-ANY-12", (12, 24, 48), 12, 6, 55)]
    draft.decoys(Converter, change)


@trap("converter-input", house)
def _converter_input(draft: Draft) -> None:
    _fed(draft, _always(bank_v=(12,)))


@trap("converter-output-voltage", house)
def _converter_output_voltage(draft: Draft) -> None:
    _fed(draft, _always(out_v=5.0))


@trap("dc-load-upper-voltage", cabin)
def _dc_load_upper_voltage(draft: Draft) -> None:
    draft.loads(dc_volts_max=14.3)
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 440)]
    draft.decoys(Battery, _always(absorb_v=14.5))
    if draft.rng.random() < 0.5:
        draft.converters = [converter("D-12-12", (12,), 12, 10, 45)]


# inverters
_decoy("bank-current-practice", Inverter, lambda i: {"cont_w": 400.0 * i.bank_v, "cont_va": 400.0 * i.bank_v, "surge_va": 800.0 * i.bank_v}, house, large_house, raised=True)
_decoy("continuous-power", Inverter, _always(cont_w=100.0), *AC_SCENES)
_decoy("ac-standard", Inverter, lambda i: {"ac": "120" if i.ac == "230" else "230", "hz": 60 if i.ac == "230" else 50}, house, large_house, three_phases)
_decoy("inverter-dc-window", Inverter, lambda i: {"dc_max_v": round(i.bank_v * 1.06, 1)}, house, large_house, split_house)
_decoy("inverter-bank-voltage", Inverter, lambda i: {"bank_v": 36, "dc_low_cut_v": min(i.dc_low_cut_v, 36.0), "dc_max_v": 80.0}, house, large_house)
_decoy("waveform", Inverter, _always(wave="modified"), *AC_SCENES)


@trap("inverter-present", *AC_SCENES)
def _inverter_present(draft: Draft) -> None:
    """No inverter is always cheaper than one."""


@trap("continuous-va", house, large_house)
def _continuous_va(draft: Draft) -> None:
    draft.loads(power_factor=0.5)
    watts = sum(load["watts"] for load in draft.data["loads"] if load["supply"] == "AC")
    draft.decoys(Inverter, _always(cont_w=watts * 1.4, cont_va=watts * 1.45, surge_va=9000.0))


@trap("leg-power", split_house, three_phases)
def _leg_power(draft: Draft) -> None:
    """One large load on one leg."""
    volts = 120 if draft.data["site"]["ac"].startswith("120") else 230
    draft.load("kettle", 1500, "AC", volts, 0.1, night_share=0.1)
    draft.decoys(Inverter, lambda i: {
        "cont_w": i.cont_w * 0.65, "cont_va": i.cont_va * 0.65, "surge_va": 20_000.0,
    })


@trap("surge", house, large_house, split_house)
def _surge(draft: Draft) -> None:
    draft.loads(surge_s=2.0)
    draft.decoys(Inverter, lambda i: {"surge_va": i.cont_va, "surge_s": 0.1})


@trap("stacking", house, large_house)
def _stacking(draft: Draft) -> None:
    draft.put("bounds", inverters=2)
    va = sum(load["watts"] / load.get("power_factor", 1) for load in draft.data["loads"] if load["supply"] == "AC")
    draft.decoys(Inverter, lambda i: {
        "cont_w": va * 0.75, "cont_va": va * 0.75, "surge_va": 20_000.0, "max_parallel": 1, "idle_w": 3.0, "price": round(i.price * 0.2, 2),
    })


@trap("neutral-bond", house, large_house)
def _neutral_bond(draft: Draft) -> None:
    draft.put("site", other_source=draft.rng.choice(("generator", "shore")))
    draft.decoys(Inverter, _always(neutral_bond="fixed"))


@trap("cut-out-order", house, large_house)
def _cut_out_order(draft: Draft) -> None:
    draft.keep(Battery, lambda b: b.bms)
    draft.decoys(Inverter, lambda i: {"dc_low_cut_v": round(i.bank_v * 9.0 / 12, 1)})


@trap("charge-below-cut-off", cabin, house)
def _charge_below_cut_off(draft: Draft) -> None:
    draft.batteries = [lithium_battery("B-LFP-100", 4, 100, 245), lithium_battery("B-LFP-200", 4, 200, 440)]
    draft.decoys(Battery, _always(bms_high_v=14.1))


# energy
@trap("monthly-balance", cabin, house, large_house)
def _monthly_balance(draft: Draft) -> None:
    draft.put("balance", array_to_load=1.4)
    draft.put("autonomy", recovery_days=50.0)


@trap("recovery", house, large_house)
def _recovery(draft: Draft) -> None:
    draft.put("balance", array_to_load=0.9)
    draft.put("autonomy", recovery_days=4.0)


@trap("full-recharge", house)
def _full_recharge(draft: Draft) -> None:
    draft.put("balance", array_to_load=0.9, full_recharge_days=4.0)
    draft.put("autonomy", recovery_days=40.0)
    draft.batteries = [lead_battery("B-AGM-200", "agm", 6, 200, 398), lead_battery("B-FLA-220", "flooded", 3, 220, 165)]
    draft.change(Battery, _always(charge_min_share=0.03))


@trap("weekly-swing", cabin, house)
def _weekly_swing(draft: Draft) -> None:
    draft.put("autonomy", days=0.4)
    draft.loads(days_per_week=2.5)


@trap("uncertainty", house, large_house)
def _uncertainty(draft: Draft) -> None:
    draft.put("balance", array_to_load=1.0)
    draft.put("autonomy", recovery_days=50.0)
    draft.data.setdefault("rules", {})["uncertainty"] = "requirement"


# room, weight, money, numbers of parts
@trap("array-area", cabin, house)
def _array_area(draft: Draft) -> None:
    draft.put("array", area_m2=round(draft.rng.uniform(4, 9), 1))
    draft.decoys(Module, lambda m: {"length_mm": m.length_mm * 2})


@trap("array-rectangles", cabin, house)
def _array_rectangles(draft: Draft) -> None:
    draft.put("array", rectangles_m=("3.30 x 2.40", "2.20 x 1.10"))
    draft.decoys(Module, lambda m: {"length_mm": m.length_mm * 1.8})


@trap("heaviest-piece", cabin, house)
def _heaviest_piece(draft: Draft) -> None:
    draft.put("limits", piece_kg_max=50.0)
    draft.decoys(Battery, lambda b: {"weight_kg": 51.0 + b.weight_kg})


@trap("total-weight", cabin, house)
def _total_weight(draft: Draft) -> None:
    draft.batteries = [lithium_battery("B-LFP-200", 4, 200, 480), lithium_battery("B-LFP-100", 4, 100, 260)]
    draft.put("limits", total_kg_max=draft.rng.choice((250.0, 400.0)))
    draft.decoys(Battery, lambda b: {"weight_kg": 400.0})


@trap("stock")
def _out_of_stock(draft: Draft) -> None:
    draft.decoys(draft.rng.choice((Module, Battery, Controller)), _always(stock=0))


@trap("part-limit")
def _part_limit(draft: Draft) -> None:
    kind = draft.rng.choice((Module, Battery, Controller))
    draft.decoys(kind, _always())
    decoys = [part.id for part in draft.group(kind) if part.id.endswith("x")]
    kept = [part.id for part in draft.group(kind) if not part.id.endswith("x")]
    draft.data.setdefault("locks", {}).update(draft.rng.choice(({"exclude": decoys}, {"only": kept}, {"at_most": dict.fromkeys(decoys, 0)})))


@trap("part-demanded")
def _part_demanded(draft: Draft) -> None:
    part = draft.rng.choice(draft.modules)
    dear = part.model_copy(update={"id": f"{part.id}-dear", "price": round(part.price * 2, 2)})
    draft.modules.append(dear)
    if draft.rng.random() < 0.5:
        draft.data.setdefault("locks", {}).setdefault("at_least", {})[dear.id] = 1
    else:
        draft.modules[-1] = dear.model_copy(update={"price": round(part.price * 4, 2)})
        draft.data.setdefault("owned", []).append({"part": dear.id, "quantity": 1, "must_use": True})


@trap("budget")
def _budget(draft: Draft) -> None:
    """The bill may be too high, or something light and dear wins on the objective until the bill is looked at."""
    if draft.rng.random() < 0.4:
        draft.put("limits", budget=draft.rng.choice((120.0, 300.0, 900.0)))
        return
    draft.put("objective", price_per_kg=8.0)
    draft.put("limits", budget=draft.rng.choice((1100.0, 1600.0, 2400.0)))
    draft.decoys(Battery, lambda b: {"weight_kg": 0.4 * b.weight_kg, "price": round(b.price * 1.6, 2)}, "-light")


RULES_TRAPPED = tuple(sorted(TRAPS))
"""The rule that case `seed` is about stands at `seed % len(RULES_TRAPPED)`; one name is no rule: charge limits."""


def case(seed: int) -> tuple[Problem, Catalog]:
    """Problem and catalog of a seed."""
    rng = random.Random(seed * 7919 + 11)
    scenes, build = TRAPS[RULES_TRAPPED[seed % len(RULES_TRAPPED)]]
    draft = scenes[(seed // len(RULES_TRAPPED)) % len(scenes)](rng)
    draft.allowances = [Allowance(id=name, per=per, price=round(price * rng.uniform(0.8, 1.2), 2), weight_kg=kg) for name, per, price, kg in ALLOWANCES]
    for chance, spice in SPICES:
        if rng.random() < chance:
            spice(draft)
    build(draft)
    known = {part.id for part in (*draft.modules, *draft.batteries, *draft.controllers, *draft.inverters)}
    _forget_unknown(draft, known)
    return draft.case()


def _forget_unknown(draft: Draft, known: set[str]) -> None:
    """A trap may have replaced parts that a spice speaks of."""
    draft.data["owned"] = [own for own in draft.data.get("owned", []) if own["part"] in known]
    locks = draft.data.get("locks", {})
    for name, held in list(locks.items()):
        kept = {k: v for k, v in held.items() if k in known} if isinstance(held, dict) else tuple(k for k in held if k in known)
        locks[name] = kept
