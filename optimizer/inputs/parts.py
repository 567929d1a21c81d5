"""What a catalog row may be: one frozen record a kind of part, each held against physics.

A blank cell is unknown, never 0. Where a rule can live with a cautious value it stands in `CAUTIOUS` of the
record and is listed in the answer (`assumed`; an empty text: nothing need be assumed for this row); everything
else that a rule needs must be given. Columns for something that a part may lack (load terminals, a charger,
a heater) are blank where it lacks it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Annotated, Any, ClassVar, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from optimizer.rules.money import cents

Positive = Annotated[float, Field(gt=0, le=1e6, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, le=1e6, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]
Kelvinable = Annotated[float, Field(ge=-60, le=100, allow_inf_nan=False)]
Count = Annotated[int, Field(ge=1, le=10_000)]


def _percent_a_kelvin(value: float) -> float:
    if not -1 <= value <= 1:
        raise ValueError("must lie between -1 and 1 %/K: is it in mV/K or in parts per million?")
    return value


def _yes_no(value: Any) -> Any:
    if isinstance(value, str):
        try:
            return {"y": True, "yes": True, "n": False, "no": False}[value.strip().lower()]
        except KeyError:
            raise ValueError("must be y or n") from None
    return value


def _whole_number(value: Any) -> Any:
    return int(value) if isinstance(value, str) and value.isdecimal() else value


def _whole_numbers(value: Any) -> Any:
    if isinstance(value, str):
        return tuple(value.split())
    return value


Coefficient = Annotated[float, Field(allow_inf_nan=False), AfterValidator(_percent_a_kelvin)]
YesNo = Annotated[bool, BeforeValidator(_yes_no)]
Volts = Annotated[tuple[int, ...], BeforeValidator(_whole_numbers), Field(min_length=1)]

Complaint = tuple[str, str]
"""A field and what is wrong with it."""


class Part(BaseModel):
    """What every part has: a name, a price, a weight, a stock."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    CAUTIOUS: ClassVar[dict[str, Callable[[dict[str, str]], str]]] = {}

    id: Annotated[str, Field(min_length=1, max_length=40, pattern=r"^[A-Za-z0-9][A-Za-z0-9._+/-]*$")]
    description: str = ""
    price: Annotated[float, Field(ge=0, le=1e7, allow_inf_nan=False)]
    weight_kg: NotNegative = 0.0
    pack_qty: Count = 1
    stock: Annotated[int, Field(ge=0, le=1_000_000)] | None = None
    assumed: tuple[str, ...] = ()

    @property
    def price_cents(self) -> int:
        """Price of one piece in whole cents."""
        return cents(self.price)

    def errors(self) -> Iterator[Complaint]:
        """What physics forbids."""
        yield from ()

    def doubts(self) -> Iterator[Complaint]:
        """What is possible but unlikely: usually a slip of the pen."""
        yield from ()


def _outside(value: float, low: float, high: float) -> bool:
    return not low <= value <= high


class Module(Part):
    """A photovoltaic module at standard test conditions."""

    CAUTIOUS: ClassVar = {"bifacial_pct": lambda _: "0", "weight_kg": lambda _: "25"}

    tech: str
    series_cells: Count
    pmax_w: Positive
    voc_v: Positive
    isc_a: Positive
    vmp_v: Positive
    imp_a: Positive
    tc_isc_pct_k: Coefficient
    tc_voc_pct_k: Coefficient | None = None
    tc_pmax_pct_k: Coefficient
    noct_c: Annotated[float, Field(ge=35, le=80)]
    max_system_v: Positive
    max_series_fuse_a: Positive
    bifacial_pct: Annotated[float, Field(ge=0, le=30)] = 0.0
    length_mm: Positive
    width_mm: Positive

    @property
    def area_m2(self) -> float:
        """Area of one module [m2]."""
        return self.length_mm * self.width_mm / 1e6

    def errors(self) -> Iterator[Complaint]:
        """Power, voltages, currents and coefficients that no module can have."""
        if self.voc_v <= self.vmp_v:
            yield "voc_v", f"open-circuit voltage must be above the voltage at maximum power ({self.vmp_v:g} V)"
        if self.isc_a <= self.imp_a:
            yield "isc_a", f"short-circuit current must be above the current at maximum power ({self.imp_a:g} A)"
        product = self.vmp_v * self.imp_a
        if abs(product - self.pmax_w) > 0.03 * self.pmax_w:
            yield "pmax_w", f"is not vmp_v x imp_a = {product:.1f} W (more than 3 % apart)"
        if self.tc_voc_pct_k is not None and self.tc_voc_pct_k >= 0:
            yield "tc_voc_pct_k", "must be negative, in %/K: was the sign lost, or is it in V/K?"
        if self.tc_pmax_pct_k >= 0:
            yield "tc_pmax_pct_k", "must be negative, in %/K"
        if self.tc_isc_pct_k < -0.05:
            yield "tc_isc_pct_k", "must be about +0.05 %/K: are two coefficients exchanged?"
        if _outside(self.voc_v / self.series_cells, 0.5, 0.8):
            yield "series_cells", (
                f"{self.voc_v / self.series_cells:.2f} V a cell is not silicon (0.5 to 0.8): half-cut modules "
                "count 54, 60, 66 or 72 cells in series, not 108 to 144"
            )

    def doubts(self) -> Iterator[Complaint]:
        """Figures outside what modules usually show."""
        if _outside(self.vmp_v / self.voc_v, 0.78, 0.88):
            yield "vmp_v", f"Vmp / Voc is {self.vmp_v / self.voc_v:.2f}, usually 0.78 to 0.88"
        if _outside(self.imp_a / self.isc_a, 0.90, 0.98):
            yield "imp_a", f"Imp / Isc is {self.imp_a / self.isc_a:.2f}, usually 0.90 to 0.98"
        if self.tc_voc_pct_k is not None and _outside(self.tc_voc_pct_k, -0.42, -0.2):
            yield "tc_voc_pct_k", "is usually -0.42 to -0.20 %/K: is it in V/K, or the coefficient of power?"
        if _outside(self.tc_pmax_pct_k, -0.55, -0.2):
            yield "tc_pmax_pct_k", "is usually -0.55 to -0.20 %/K"
        if self.tc_voc_pct_k is not None and self.tc_voc_pct_k <= self.tc_pmax_pct_k:
            yield "tc_voc_pct_k", f"is usually nearer to 0 than that of power ({self.tc_pmax_pct_k:g} %/K): are they exchanged?"
        density = self.pmax_w / self.area_m2
        if _outside(density, 90, 240):
            yield "length_mm", f"{density:.0f} W/m2, usually 90 to 240: check length and width"
        if self.price and _outside(self.price / self.pmax_w, 0.1, 4):
            yield "price", f"{self.price / self.pmax_w:.2f} a watt, usually 0.10 to 4: price of a pair or a pallet?"


class Battery(Part):
    """A battery unit (cell block, monobloc or pack) with what its sheet says."""

    CAUTIOUS: ClassVar = {
        "capacity_5h_ah": lambda row: str(float(row["capacity_20h_ah"]) * 0.7),
        "capacity_100h_ah": lambda row: row["capacity_20h_ah"],
        "bms_w": lambda row: "2" if row.get("bms", "").lower() in ("y", "yes") else "",
    }

    weight_kg: Positive

    chemistry: Annotated[str, Field(min_length=1)]
    unit_v: Positive
    cells: Count
    capacity_20h_ah: Positive
    capacity_5h_ah: Positive
    capacity_100h_ah: Positive
    dod_daily: Share
    dod_autonomy: Share
    cycles: Count
    cycles_dod: Share
    efficiency_wh: Annotated[float, Field(gt=0.4, le=1)]
    charge_min_share: Share
    charge_max_a: Positive
    discharge_cont_a: Positive
    discharge_peak_a: Positive
    discharge_peak_s: Positive
    charge_t_min_c: Kelvinable
    charge_t_max_c: Kelvinable
    discharge_t_min_c: Kelvinable
    discharge_t_max_c: Kelvinable
    absorb_v: Positive
    float_v: Positive
    equalise_v: Positive | None = None
    tcomp_mv_k: Annotated[float, Field(ge=-60, le=0)]
    max_series: Count
    max_parallel: Count
    fault_current_a: Positive
    internal_resistance_mohm: Positive
    self_discharge_pct_month: Annotated[float, Field(ge=0, le=30)]
    bms: YesNo
    bms_low_v: Positive | None = None
    bms_high_v: Positive | None = None
    bms_cold_cut_out: YesNo = False
    bms_w: NotNegative = 0.0
    heater_wh_day: NotNegative = 0.0
    length_mm: Positive
    width_mm: Positive
    height_mm: Positive
    dangerous_goods: str = ""

    @property
    def energy_kwh(self) -> float:
        """Rated energy of one unit [kWh]."""
        return self.unit_v * self.capacity_20h_ah / 1000

    def errors(self) -> Iterator[Complaint]:
        """Orders and pairs that cannot be."""
        if not self.capacity_5h_ah <= self.capacity_20h_ah <= self.capacity_100h_ah:
            yield "capacity_20h_ah", (
                f"capacity must not fall with a slower discharge: 5 h {self.capacity_5h_ah:g}, "
                f"20 h {self.capacity_20h_ah:g}, 100 h {self.capacity_100h_ah:g} Ah"
            )
        if not self.unit_v * 0.95 < self.float_v <= self.absorb_v:
            yield "float_v", f"must lie between unit_v ({self.unit_v:g} V) and absorb_v ({self.absorb_v:g} V), all per unit"
        if self.equalise_v is not None and self.equalise_v < self.absorb_v:
            yield "equalise_v", f"must be at least absorb_v ({self.absorb_v:g} V); leave blank where the battery is never equalised"
        if self.bms and (self.bms_low_v is None or self.bms_high_v is None):
            yield "bms_low_v", "a battery with its own cut-off needs bms_low_v and bms_high_v"
        if self.discharge_peak_a < self.discharge_cont_a:
            yield "discharge_peak_a", f"must be at least discharge_cont_a ({self.discharge_cont_a:g} A)"
        if _outside(self.absorb_v / self.unit_v, 1.0, 1.35):
            yield "absorb_v", f"is not a charging voltage of a {self.unit_v:g} V unit: volts are per unit"

    def doubts(self) -> Iterator[Complaint]:
        """Figures outside what batteries usually show."""
        if self.weight_kg:
            density = self.unit_v * self.capacity_20h_ah / self.weight_kg
            low, high = (70, 180) if self.bms else (18, 60)  # Wh/kg
            if _outside(density, low, high):
                yield "weight_kg", f"{density:.0f} Wh/kg, usually {low} to {high}"
        if self.price and _outside(self.price / self.energy_kwh, 40, 900):
            yield "price", f"{self.price / self.energy_kwh:.0f} a kWh, usually 40 to 900: price of a pair or a bank?"
        cell_v = self.unit_v / self.cells
        if not any(low <= cell_v <= high for low, high in ((1.15, 1.25), (1.95, 2.1), (3.15, 3.75))):
            yield "unit_v", f"{cell_v:.2f} V a cell, usually 2.0 lead-acid, 3.2 lithium iron phosphate, 1.2 nickel: 12.8 written as 12?"
        if self.bms and self.charge_max_a > self.discharge_cont_a:
            yield "charge_max_a", f"is above discharge_cont_a ({self.discharge_cont_a:g} A): are they exchanged?"
        if self.bms and self.charge_t_min_c < 0 and not self.heater_wh_day:
            yield "heater_wh_day", "a pack that may be charged below 0 C heats itself: what does the heater use in a cold day?"


class Controller(Part):
    """A charge controller: PWM, power tracking (MPPT), or a boosting power tracker."""

    CAUTIOUS: ClassVar = {
        "derating_pct_k": lambda _: "2.5",
        "tcomp_t_min_c": lambda _: "0",
        "tcomp_t_max_c": lambda _: "40",
        "pv_voc_operating_max_v": lambda row: row["pv_voc_max_v"],
        "load_shares_rating": lambda row: "y" if "load_terminal_a" in row else "",
        "weight_kg": lambda row: str(0.1 * float(row["output_a"])),
    }

    kind: Literal["pwm", "mppt", "boost"]
    bank_v: Volts
    output_a: Positive
    pv_voc_max_v: Positive
    pv_voc_operating_max_v: Positive
    pv_isc_max_a: Positive
    isc_basis: Literal["stc", "max"]
    pv_w_soft_x: Positive | None = None
    pv_w_hard_x: Positive | None = None
    start_over_bank_v: NotNegative
    run_over_bank_v: NotNegative
    mppt_min_v: NotNegative = 0.0
    efficiency: Annotated[float, Field(gt=0.5, le=1)]
    self_w: NotNegative
    load_terminal_a: NotNegative = 0.0
    load_shares_rating: YesNo = False
    lfp_profile: YesNo
    temperature_compensated: YesNo
    tcomp_t_min_c: Kelvinable
    tcomp_t_max_c: Kelvinable
    equalises: YesNo
    low_t_cut_out: YesNo
    battery_loss_ok: YesNo
    polarity: Literal["neg", "common-positive", "any"]
    parallel_ok: YesNo
    charge_limit_settable: YesNo = False
    full_output_t_max_c: Kelvinable
    derating_pct_k: NotNegative
    pv_nominal_rule: YesNo = False

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if self.kind != "pwm" and (self.pv_w_soft_x is None or self.pv_w_hard_x is None):
            yield "pv_w_soft_x", "a power tracker needs pv_w_soft_x and pv_w_hard_x (multiples of output_a x bank volts)"
        if self.kind != "boost" and max(self.bank_v) >= self.pv_voc_max_v:
            yield "pv_voc_max_v", f"must be above the highest bank voltage ({max(self.bank_v)} V)"
        if self.pv_voc_operating_max_v > self.pv_voc_max_v:
            yield "pv_voc_operating_max_v", f"must not be above pv_voc_max_v ({self.pv_voc_max_v:g} V)"
        for volts in self.bank_v:
            if volts not in (12, 24, 36, 48):
                yield "bank_v", f"{volts} is not a bank voltage (12, 24, 36, 48): write a list as '12 24'"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.price and _outside(self.price / self.output_a, 1, 30):
            yield "price", f"{self.price / self.output_a:.2f} an ampere, usually 1 to 30"


class Inverter(Part):
    """An inverter; with charger; or an all-in-one unit with a built-in tracker."""

    CAUTIOUS: ClassVar = {
        "idle_w": lambda row: str(max(5.0, 0.01 * float(row["cont_w"]))),
        "search_w": lambda row: row.get("idle_w") or str(max(5.0, 0.01 * float(row["cont_w"]))),
        "full_output_t_max_c": lambda _: "25",
        "derating_pct_k": lambda _: "2.0",
        "weight_kg": lambda row: str(0.012 * float(row["cont_w"])),
    }

    kind: Literal["inverter", "inverter-charger", "all-in-one"]
    bank_v: Annotated[Literal[12, 24, 36, 48], BeforeValidator(_whole_number)]
    ac: Literal["120", "120/240", "230"]
    hz: Annotated[Literal[50, 60], BeforeValidator(_whole_number)]
    wave: Literal["sine", "modified"]
    cont_w: Positive
    cont_va: Positive
    surge_va: Positive
    surge_s: Positive
    idle_w: NotNegative
    search_w: NotNegative
    efficiency: Annotated[float, Field(gt=0.5, le=1)]
    dc_low_cut_v: Positive
    dc_max_v: Positive
    max_parallel: Count
    series_240: YesNo
    three_phase: YesNo
    charge_a: NotNegative = 0.0
    charge_power_factor: Share | None = None
    transfer_a: NotNegative = 0.0
    neutral_bond: Literal["none", "fixed", "switched"]
    full_output_t_max_c: Kelvinable
    derating_pct_k: NotNegative
    tracker_output_a: NotNegative = 0.0
    tracker_voc_max_v: Positive | None = None
    tracker_min_v: Positive | None = None
    tracker_start_v: Positive | None = None
    tracker_isc_max_a: Positive | None = None
    tracker_w_max: Positive | None = None
    tracker_efficiency: Share | None = None

    def errors(self) -> Iterator[Complaint]:
        """What cannot be."""
        if not self.dc_low_cut_v < self.bank_v * 1.05 < self.dc_max_v:
            yield "dc_max_v", f"the DC window {self.dc_low_cut_v:g} to {self.dc_max_v:g} V does not hold a {self.bank_v} V bank"
        if self.surge_va < self.cont_va:
            yield "surge_va", f"must be at least cont_va ({self.cont_va:g}): is cont_w a peak figure?"
        if self.cont_w > self.cont_va * 1.001:
            yield "cont_w", f"must not be above cont_va ({self.cont_va:g})"
        if self.kind == "all-in-one" and None in (
            self.tracker_voc_max_v, self.tracker_min_v, self.tracker_start_v, self.tracker_isc_max_a,
            self.tracker_w_max, self.tracker_efficiency,
        ):
            yield "tracker_voc_max_v", "an all-in-one unit needs every tracker_ column"
        if (self.kind == "all-in-one") != (self.tracker_output_a > 0):
            yield "tracker_output_a", "all-in-one units, and only they, have a tracker's output"
        if (self.hz == 50) != (self.ac == "230"):
            yield "hz", f"{self.ac} V goes with {'60' if self.ac != '230' else '50'} Hz"

    def doubts(self) -> Iterator[Complaint]:
        """What is unlikely."""
        if self.idle_w > 0.06 * self.cont_w:
            yield "idle_w", f"is {100 * self.idle_w / self.cont_w:.0f} % of the rating, usually 0.3 to 3 %"
        if self.surge_va > 4 * self.cont_va:
            yield "surge_va", "is more than four times cont_va: over how many seconds?"
        if self.price and _outside(self.price / self.cont_w, 0.05, 1.5):
            yield "price", f"{self.price / self.cont_w:.2f} a watt, usually 0.05 to 1.50"


class Converter(Part):
    """A DC-DC converter that feeds DC loads of another voltage than the bank's, or steadies the same."""

    CAUTIOUS: ClassVar = {"idle_w": lambda _: "2", "weight_kg": lambda _: "2"}

    bank_v: Volts
    in_min_v: Positive
    in_max_v: Positive
    out_v: Positive
    output_a: Positive
    efficiency: Annotated[float, Field(gt=0.5, le=1)]
    idle_w: NotNegative


PER = Literal[
    "system", "module", "array string", "controller", "controller ampere", "battery unit", "battery string",
    "series lithium unit", "inverter", "inverter dc ampere", "converter",
]


class Allowance(Part):
    """Cable, protection, mounts and sundries as a price per piece of something; `for_mounts`: not where mounts are chosen."""

    per: PER
    for_mounts: YesNo = False
    source: str = ""


class Chemistry(BaseModel):
    """What all batteries of one chemistry share: a row of tables/chemistry.csv."""

    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)

    chemistry: str
    family: Literal["lead-acid", "lithium", "nickel"]
    cells_per_12v: Count
    charging_v_cell: Positive
    half_charged_v_cell: Positive
    empty_v_cell: Positive
    gasses: YesNo
    needs_water: YesNo
    age_spread_months_max: NotNegative = 12.0
    calendar_life_years: Positive = 10.0
    source: str
