"""Random plausible catalogs of a stated size, and a site that they can serve; the same seed gives the same catalog.

No part is real. Ratings follow the proportions of their kind, so that every row passes the catalog's own physics;
prices lie in a band around a price a watt, an ampere-hour or an ampere, so that many parts compete.
"""

from __future__ import annotations

import random
from typing import NamedTuple

from optimizer.inputs.catalog import Catalog, load_tables, shipped_folder
from optimizer.inputs.parts import Allowance, Battery, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem


class Size(NamedTuple):
    """Parts of each kind."""

    modules: int
    batteries: int
    controllers: int
    inverters: int


SIZES = {"small": Size(20, 12, 12, 12), "middle": Size(60, 40, 24, 20), "large": Size(200, 100, 60, 60)}


def _price(draw: random.Random, middle: float, spread: float = 0.25) -> float:
    return round(middle * draw.uniform(1 - spread, 1 + spread), 2)


def _packing(draw: random.Random) -> dict[str, int]:
    """One part in twelve is sold in packs, one in six has a stock that may bind."""
    return {
        **({"pack_qty": draw.choice((2, 4, 6))} if draw.random() < 1 / 12 else {}),
        **({"stock": draw.choice((6, 12, 24))} if draw.random() < 1 / 6 else {}),
    }


def _module(draw: random.Random, at: int) -> Module:
    cells = draw.choice((36, 36, 54, 60, 60, 66, 72))
    isc = round(draw.uniform(3, 10.5) if cells == 36 else draw.uniform(9, 18.5), 2)
    voc = round(cells * draw.uniform(0.61, 0.71), 2)
    vmp, imp = round(voc * draw.uniform(0.82, 0.845), 2), round(isc * draw.uniform(0.93, 0.955), 2)
    watts = round(vmp * imp)
    area_m2 = watts / 1000 / draw.uniform(0.17, 0.222)
    width_m = draw.uniform(0.5, 0.7) if cells == 36 else draw.choice((0.992, 1.05, 1.134, 1.303))
    pmax = draw.uniform(-0.42, -0.29)
    return Module(
        id=f"PV-{at:03d}", tech="mono", series_cells=cells, pmax_w=watts, voc_v=voc, isc_a=isc, vmp_v=vmp, imp_a=imp,
        tc_isc_pct_k=round(draw.uniform(0.03, 0.06), 3), tc_voc_pct_k=round(pmax * draw.uniform(0.74, 0.85), 3),
        tc_pmax_pct_k=round(pmax, 3), noct_c=draw.choice((43, 44, 45, 46, 47)), max_system_v=600 if cells == 36 else draw.choice((1000, 1500)),
        max_series_fuse_a=15 if isc < 10 else 25, bifacial_pct=draw.choice((0, 0, 0, 8)), length_mm=round(1000 * area_m2 / width_m),
        width_mm=round(1000 * width_m), weight_kg=round(11.5 * area_m2, 1), price=_price(draw, 14 + watts * (0.55 if cells == 36 else 0.32)), **_packing(draw),
    )


LEAD = {  # unit volts, cells, absorption, float, equalise, compensation; ampere-hours from to; price a kWh
    "flooded": [(2, 1, 2.45, 2.23, 2.58, -5, 400, 1300, 160), (6, 3, 7.35, 6.7, 7.75, -15, 180, 430, 125), (12, 6, 14.6, 13.5, 15.5, -30, 80, 150, 105)],
    "agm": [(6, 3, 7.2, 6.8, None, -9, 180, 400, 240), (12, 6, 14.4, 13.6, None, -18, 50, 250, 180)],
    "gel": [(12, 6, 14.1, 13.6, None, -18, 60, 240, 215)],
    "tubular gel": [(2, 1, 2.35, 2.25, None, -3, 300, 1000, 330), (12, 6, 14.1, 13.5, None, -18, 100, 170, 250)],
}
LITHIUM = [(12.8, 4, 14.2, 13.6, 10.0, 14.6, 50, 320, 190), (25.6, 8, 28.4, 27.2, 20.0, 29.2, 50, 220, 185), (51.2, 16, 56.0, 54.4, 40.0, 58.4, 50, 290, 170)]
DEPTH = {"flooded": (0.3, 0.5), "agm": (0.3, 0.5), "gel": (0.3, 0.6), "tubular gel": (0.35, 0.7)}


def _battery(draw: random.Random, at: int) -> Battery:
    if draw.random() < 0.45:
        unit, cells, absorb, hold, low, high, least, most, per_kwh = draw.choice(LITHIUM)
        ah = round(draw.uniform(least, most), -1)
        kwh = unit * ah / 1000
        return Battery(
            id=f"BT-{at:03d}", chemistry="lfp", unit_v=unit, cells=cells, capacity_5h_ah=round(0.96 * ah, 1), capacity_20h_ah=ah, capacity_100h_ah=ah,
            dod_daily=0.8, dod_autonomy=draw.choice((0.85, 0.9)), cycles=4000, cycles_dod=0.8, efficiency_wh=draw.choice((0.94, 0.95)), charge_min_share=0,
            charge_max_a=0.5 * ah, discharge_cont_a=draw.choice((0.7, 1.0)) * ah, discharge_peak_a=2 * ah, discharge_peak_s=5, charge_t_min_c=0,
            charge_t_max_c=45, discharge_t_min_c=-20, discharge_t_max_c=55, absorb_v=absorb, float_v=hold, tcomp_mv_k=0, max_series=round(51.2 / unit),
            max_parallel=draw.choice((4, 8)), fault_current_a=30 * ah, internal_resistance_mohm=round(600 * unit / 12.8 / ah, 2), self_discharge_pct_month=2.5,
            bms=True, bms_low_v=low, bms_high_v=high, bms_cold_cut_out=True, bms_w=round(0.04 * unit, 2), length_mm=400, width_mm=250, height_mm=220,
            weight_kg=round(kwh * 1000 / draw.uniform(100, 130), 1), price=_price(draw, 40 + per_kwh * kwh), **_packing(draw),
        )
    chemistry = draw.choice(tuple(LEAD))
    unit, cells, absorb, hold, equal, slope, least, most, per_kwh = draw.choice(LEAD[chemistry])
    ah = round(draw.uniform(least, most), -1)
    daily, deep = DEPTH[chemistry]
    kwh = unit * ah / 1000
    return Battery(
        id=f"BT-{at:03d}", chemistry=chemistry, unit_v=unit, cells=cells, capacity_5h_ah=round(ah * draw.uniform(0.77, 0.86)), capacity_20h_ah=ah,
        capacity_100h_ah=round(ah * draw.uniform(1.08, 1.14)), dod_daily=daily, dod_autonomy=deep, cycles=1200, cycles_dod=0.5,
        efficiency_wh=round(draw.uniform(0.8, 0.86), 2), charge_min_share=draw.choice((0.08, 0.1)), charge_max_a=round(ah * draw.uniform(0.14, 0.28)),
        discharge_cont_a=round(0.4 * ah), discharge_peak_a=round(3 * ah), discharge_peak_s=5, charge_t_min_c=-15, charge_t_max_c=45, discharge_t_min_c=-20,
        discharge_t_max_c=50, absorb_v=absorb, float_v=hold, equalise_v=equal, tcomp_mv_k=slope, max_series=round(48 / unit), max_parallel=draw.choice((2, 3)),
        fault_current_a=15 * ah, internal_resistance_mohm=round(90 * unit * (1 if unit > 2 else 0.6) / ah * 1.0, 3), self_discharge_pct_month=3, bms=False,
        length_mm=350, width_mm=200, height_mm=300, weight_kg=round(kwh * 1000 / draw.uniform(30, 42), 1), price=_price(draw, 10 + per_kwh * kwh), **_packing(draw),
    )


def _controller(draw: random.Random, at: int) -> Controller:
    same = {
        "id": f"CC-{at:03d}", "lfp_profile": draw.random() < 0.85, "temperature_compensated": True, "tcomp_t_min_c": 0, "tcomp_t_max_c": 40,
        "equalises": True, "low_t_cut_out": draw.random() < 0.5, "battery_loss_ok": draw.random() < 0.85, "polarity": draw.choice(("neg", "neg", "any")),
        "parallel_ok": draw.random() < 0.9, "full_output_t_max_c": draw.choice((40, 45)), "derating_pct_k": 2.5,
    }
    if draw.random() < 0.3:
        output = draw.choice((10, 15, 20, 30, 40, 45, 60))
        return Controller(
            kind="pwm", bank_v=draw.choice(((12, 24), (12, 24), (12, 24, 48))), output_a=output, pv_voc_max_v=125, pv_voc_operating_max_v=125,
            pv_isc_max_a=output, isc_basis="stc", start_over_bank_v=0.8, run_over_bank_v=0.8, efficiency=0.99, self_w=round(0.1 + 0.015 * output, 2),
            load_terminal_a=output, load_shares_rating=True, weight_kg=0.025 * output, price=_price(draw, 10 + 2.4 * output), **same,
        )
    output, volts = draw.choice((15, 20, 30, 40, 60, 80, 100, 120)), draw.choice((100, 150, 150, 200, 250))
    return Controller(
        kind="mppt", bank_v=(12, 24) if volts == 100 else draw.choice(((12, 24, 48), (24, 48))), output_a=output, pv_voc_max_v=volts,
        pv_voc_operating_max_v=round(0.95 * volts), pv_isc_max_a=output + 5, isc_basis="max", pv_w_soft_x=1.11, pv_w_hard_x=draw.choice((1.7, 2.0)),
        start_over_bank_v=5, run_over_bank_v=1, mppt_min_v=14, efficiency=draw.choice((0.96, 0.965, 0.97)), self_w=round(0.2 + 0.025 * output, 2),
        charge_limit_settable=draw.random() < 0.8, weight_kg=0.05 * output, price=_price(draw, 20 + 5 * output + 0.06 * output * volts / 10), **same,
    )


def _inverter(draw: random.Random, at: int) -> Inverter:
    kind = draw.choice(("inverter", "inverter", "inverter-charger", "all-in-one"))
    bank = draw.choice((24, 48) if kind == "all-in-one" else (12, 24, 24, 48, 48))
    watts = draw.choice({12: (600, 1000, 1500, 2000), 24: (1000, 1500, 2000, 3000, 4000), 48: (1500, 2500, 3000, 5000, 6000)}[bank])
    tracker, charger = {}, {}
    if kind != "inverter":
        charger = {"charge_a": round(0.6 * watts / bank), "charge_power_factor": 0.98, "transfer_a": 30}
    if kind == "all-in-one":
        tracker = {
            "tracker_output_a": draw.choice((60, 80, 100)), "tracker_voc_max_v": draw.choice((145, 250, 450)), "tracker_min_v": 60,
            "tracker_start_v": 75, "tracker_isc_max_a": draw.choice((18, 27, 40)), "tracker_w_max": round(1.3 * watts), "tracker_efficiency": 0.97,
        }
    per_watt = {"inverter": 0.16, "inverter-charger": 0.36, "all-in-one": 0.19}[kind]
    return Inverter(
        id=f"IV-{at:03d}", kind=kind, bank_v=bank, ac="230", hz=50, wave="sine", cont_w=watts, cont_va=watts, surge_va=2 * watts,
        surge_s=draw.choice((3, 5)), idle_w=round(5 + draw.uniform(0.004, 0.012) * watts, 1), search_w=3, efficiency=round(draw.uniform(0.89, 0.95), 3),
        dc_low_cut_v=10.5 * bank / 12, dc_max_v=draw.choice((15.5, 16)) * bank / 12, max_parallel=1 if kind == "inverter" else draw.choice((1, 4, 6)),
        series_240=False, three_phase=False, neutral_bond="none", full_output_t_max_c=35, derating_pct_k=1.5, weight_kg=round(2 + 0.004 * watts, 1),
        price=_price(draw, 30 + per_watt * watts), **charger, **tracker,
    )


def _allowances() -> tuple[Allowance, ...]:
    prices = {
        "system": 12, "module": 12, "array string": 8, "controller": 2, "controller ampere": 0.65, "battery unit": 1.5, "battery string": 7,
        "series lithium unit": 12, "inverter": 22, "inverter dc ampere": 0.35, "converter": 2,
    }
    return tuple(Allowance(id=f"AL-{at:02d}", per=per, price=price, weight_kg=0.5) for at, (per, price) in enumerate(prices.items()))  # type: ignore[arg-type]


def make_catalog(size: Size, seed: int) -> Catalog:
    """A catalog of so many parts; converters and allowances as any catalog has them."""
    draw = random.Random(f"{seed} {size}")
    problems: list[str] = []
    tables = load_tables(shipped_folder("catalogs"), problems)
    assert not problems, problems
    converters = tuple(
        Converter(
            id=f"DC-{bank}-{amperes}", bank_v=(bank,), in_min_v=0.8 * bank, in_max_v=1.4 * bank, out_v=12, output_a=amperes,
            efficiency=0.9, idle_w=0.5, weight_kg=0.8, price=round(10 + 2.5 * amperes, 2),
        )
        for bank in (24, 48) for amperes in (10, 20)
    )
    catalog = Catalog(
        name=f"random {seed}", currency="USD",
        modules=tuple(_module(draw, at) for at in range(size.modules)), batteries=tuple(_battery(draw, at) for at in range(size.batteries)),
        controllers=tuple(_controller(draw, at) for at in range(size.controllers)), inverters=tuple(_inverter(draw, at) for at in range(size.inverters)),
        converters=converters, allowances=_allowances(), tables=tables,
    )
    complaints = [f"{part.id}: {complaint}" for part in catalog.parts() for complaint in Part.errors(part) or part.errors()]
    assert not complaints, complaints
    return catalog


def make_problem(seed: int, time_limit_s: float = 600.0) -> Problem:
    """A small home with AC loads, a pump and DC lights; 12, 24 and 48 V are allowed and at least two of them can serve it."""
    draw = random.Random(f"{seed} site")
    grow = draw.uniform(0.7, 1.5)
    ac = {"supply": "AC", "volts": 230, "power_factor": 0.9}
    return Problem.model_validate({
        "name": f"random home {seed}",
        "site": {"ac": "230 V 50 Hz", "latitude_deg": 42, "elevation_m": 400, "attended": True},
        "array": {"sun_h": [2.6, 3.3, 4.1, 4.7, 5.1, 5.4, 5.6, 5.3, 4.7, 3.7, 2.8, 2.4], "tilt_deg": 50, "azimuth_deg": 180},
        "temperatures": {
            "lowest_c": -18, "hottest_c": 36, "air_c": [0, 1, 5, 10, 15, 19, 22, 22, 17, 11, 5, 1],
            "battery_c": [13, 13, 14, 15, 17, 20, 22, 22, 19, 16, 14, 13], "battery_lowest_c": 9, "electronics_highest_c": 34,
        },
        "autonomy": {"days": draw.choice((1.5, 2.0, 2.5))},
        "loads": [
            {"item": "Refrigerator", "watts": 95, "surge_x": 5, "surge_s": 0.4, "starts_by_itself": True, "hours": {"all": 9}, **ac},
            {"item": "Lights", "qty": 8, "watts": 8, "hours": {"all": round(3 * grow, 2)}, "night_share": 0.9, **ac},
            {"item": "Computers", "qty": 2, "watts": 60, "hours": {"all": round(4 * grow, 2)}, **ac},
            {"item": "Washing machine", "watts": 400, "surge_x": 3, "surge_s": 1, "hours": {"all": round(0.6 * grow, 2)}, "night_share": 0, **ac},
            {"item": "Pump", "watts": round(350 * grow), "surge_x": 4, "surge_s": 0.6, "starts_by_itself": True, "hours": {"all": 0.8}, "night_share": 0.2, **ac},
            {"item": "Radio", "watts": round(12 * grow), "supply": "DC", "volts": 12, "hours": {"all": 5}},
        ],
        "solver": {"time_limit_s": time_limit_s},
    })
