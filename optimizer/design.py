"""What a choice is: named parts and whole numbers, the design that they make, and its bill."""

from __future__ import annotations

import json
import math
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.parts import Battery, Chemistry, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import validation_messages
from optimizer.rules.charging import compensated_v
from optimizer.rules.money import bought_pieces, cents, share_of_cents

Count = Annotated[int, Field(ge=1, le=100_000)]


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


class BankChoice(_Record):
    """Battery units in series and parallel."""

    voltage_v: Count
    battery: str
    series: Count
    strings: Count


class ChargingChoice(_Record):
    """Controllers of one kind, each with the same array; `strings` is per controller."""

    controller: str
    count: Count
    module: str
    series: Count
    strings: Count
    charge_limit_a: Annotated[float, Field(gt=0, le=10_000)] | None = None


class InverterChoice(_Record):
    """Inverters of one model."""

    model: str
    count: Count


class ConverterChoice(_Record):
    """DC-DC converters that feed the DC loads of one voltage."""

    model: str
    count: Count
    load_v: Annotated[float, Field(gt=0)]


class Choice(_Record):
    """A whole choice, as `solve` hands it over and `check` reads it back."""

    bank: BankChoice
    charging: tuple[ChargingChoice, ...] = Field(min_length=1)
    inverter: InverterChoice | None = None
    converters: tuple[ConverterChoice, ...] = ()


def choice_from(data: Mapping[str, Any], name: str = "choice") -> Choice:
    """A choice from its object, or from a whole answer that holds one; raises InputError with every error."""
    inner = data.get("choice", data)
    if not isinstance(inner, Mapping):
        raise InputError(f"{name}: holds no choice (the answer found no design)")
    try:
        return Choice.model_validate(dict(inner))
    except ValidationError as bad:
        raise InputError([f"{name}: {where}: {message}" for where, message in validation_messages(bad)]) from None


def load_choice(path: str | Path) -> Choice:
    """Read a choice, or a whole answer, from a JSON or TOML file."""
    file = Path(path)
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; `bankstring new --choice FILE` writes one to fill in") from None
    except (OSError, UnicodeDecodeError) as bad:
        raise InputError(f"{path}: {bad}") from None
    try:
        data = json.loads(text) if text.lstrip().startswith("{") else tomllib.loads(text)
    except (json.JSONDecodeError, tomllib.TOMLDecodeError) as bad:
        raise InputError(f"{path}: {bad}") from None
    return choice_from(data, str(path))


# --- the design that a choice makes


@lru_cache(maxsize=4096)
def charging_device(part: Controller | Inverter) -> Controller:
    """A controller as it is; the built-in tracker of an all-in-one unit as the controller that it is."""
    if isinstance(part, Controller):
        return part
    volts = part.bank_v
    watts_x = (part.tracker_w_max or 0.0) / (part.tracker_output_a * volts)
    return Controller(
        id=part.id, description=part.description, price=0.0, kind="mppt", bank_v=(volts,), output_a=part.tracker_output_a,
        pv_voc_max_v=part.tracker_voc_max_v, pv_voc_operating_max_v=part.tracker_voc_max_v,
        pv_isc_max_a=part.tracker_isc_max_a, isc_basis="max", pv_w_soft_x=watts_x, pv_w_hard_x=watts_x,
        start_over_bank_v=max(0.0, (part.tracker_start_v or 0.0) - volts), run_over_bank_v=0.0,
        mppt_min_v=part.tracker_min_v, efficiency=part.tracker_efficiency, self_w=0.0, lfp_profile=True,
        temperature_compensated=True, tcomp_t_min_c=0.0, tcomp_t_max_c=40.0, equalises=True, low_t_cut_out=False,
        battery_loss_ok=True, polarity="neg", parallel_ok=True, charge_limit_settable=True,
        full_output_t_max_c=part.full_output_t_max_c, derating_pct_k=part.derating_pct_k,
    )


@dataclass(frozen=True)
class Bank:
    """Battery units in series and parallel. `volts` is the class (12, 24, 48), `nominal_v` what the cells make."""

    battery: Battery
    chemistry: Chemistry
    volts: int
    series: int
    strings: int

    @property
    def cells(self) -> int:
        """Cells in series."""
        return self.battery.cells * self.series

    @property
    def units(self) -> int:
        """Battery units in all."""
        return self.series * self.strings

    @property
    def nominal_v(self) -> float:
        """Nominal voltage of the cells in series [V]."""
        return self.battery.unit_v * self.series

    @property
    def charging_v(self) -> float:
        """Voltage at which most of the charge flows [V]."""
        return self.chemistry.charging_v_cell * self.cells

    @property
    def absorb_v(self) -> float:
        """Absorption voltage at 25 C [V]."""
        return self.battery.absorb_v * self.series

    @property
    def is_lithium(self) -> bool:
        """Whether lithium rules apply."""
        return self.chemistry.family == "lithium"

    @property
    def is_lead_acid(self) -> bool:
        """Whether lead-acid rules apply."""
        return self.chemistry.family == "lead-acid"

    def absorb_at_v(self, device: Controller, battery_c: float) -> float:
        """Absorption voltage that a controller holds at a battery temperature [V]."""
        return self._compensated(self.absorb_v, device, battery_c)

    def highest_v(self, device: Controller, battery_lowest_c: float, *, equalise_connected: bool) -> float:
        """Highest voltage that a controller puts on the bank while loads and inverter are connected [V]."""
        setpoint = self.absorb_v
        if equalise_connected and device.equalises and self.battery.equalise_v is not None:
            setpoint = self.battery.equalise_v * self.series
        return self._compensated(setpoint, device, battery_lowest_c)

    def _compensated(self, setpoint_v: float, device: Controller, battery_c: float) -> float:
        slope = self.battery.tcomp_mv_k * self.series if device.temperature_compensated else 0.0
        return float(compensated_v(setpoint_v, slope, battery_c, device.tcomp_t_min_c, device.tcomp_t_max_c))


@dataclass(frozen=True)
class Block:
    """Controllers of one kind, each with its array."""

    part: Controller | Inverter
    module: Module
    series: int
    strings: int
    count: int = 1
    limit_a: float | None = None

    @property
    def device(self) -> Controller:
        """The controller, or the built-in tracker seen as one."""
        return charging_device(self.part)

    @property
    def built_in(self) -> bool:
        """Whether the tracker is part of an inverter."""
        return isinstance(self.part, Inverter)

    @property
    def modules_each(self) -> int:
        """Modules on one controller."""
        return self.series * self.strings

    @property
    def modules(self) -> int:
        """Modules in all."""
        return self.modules_each * self.count

    @property
    def array_w(self) -> float:
        """Array power on one controller at standard conditions [W]."""
        return self.module.pmax_w * self.modules_each


@dataclass(frozen=True)
class InverterBank:
    """Inverters of one model; None for a system without AC."""

    inverter: Inverter | None
    count: int = 0


@dataclass(frozen=True)
class ConverterUse:
    """Converters that feed the DC loads of one voltage."""

    converter: Converter
    count: int
    load_v: float


@dataclass(frozen=True)
class Design:
    """A choice with its part records."""

    bank: Bank
    blocks: tuple[Block, ...]
    inverters: InverterBank
    converters: tuple[ConverterUse, ...] = ()

    @cached_property
    def pieces(self) -> Counter[str]:
        """Pieces of every part that the design uses."""
        used: Counter[str] = Counter({self.bank.battery.id: self.bank.units})
        for block in self.blocks:
            used[block.module.id] += block.modules
            if not block.built_in:
                used[block.part.id] += block.count
        if self.inverters.inverter is not None:
            used[self.inverters.inverter.id] += self.inverters.count
        for use in self.converters:
            used[use.converter.id] += use.count
        return used

    @property
    def parts(self) -> Iterator[Part]:
        """Every part used, once."""
        seen = set()
        rest: list[Part | None] = [self.bank.battery, *(block.module for block in self.blocks)]
        rest += [block.part for block in self.blocks]
        rest += [self.inverters.inverter, *(use.converter for use in self.converters)]
        for part in rest:
            if part is not None and part.id not in seen:
                seen.add(part.id)
                yield part

    @property
    def connections(self) -> int:
        """Joints that somebody must make: modules, units, strings, and two a device."""
        devices = sum(block.count for block in self.blocks if not block.built_in) + self.inverters.count
        devices += sum(use.count for use in self.converters)
        strings = self.bank.strings + sum(block.strings * block.count for block in self.blocks)
        return self.bank.units + sum(block.modules for block in self.blocks) + strings + 2 * devices


def design_of(choice: Choice, catalog: Catalog) -> Design:
    """The design that a choice makes; raises InputError naming every part that is not in the catalog."""
    problems: list[str] = []

    def find(part_id: str, kind: type[Any]) -> Any:
        try:
            return catalog.find(part_id, kind)
        except InputError as bad:
            problems.extend(bad.problems)
            return None

    battery = find(choice.bank.battery, Battery)
    blocks = []
    for charging in choice.charging:
        known = catalog.by_id.get(charging.controller)
        if isinstance(known, Inverter) and known.kind != "all-in-one":
            problems.append(f"part '{charging.controller}' is an inverter without a built-in tracker")
        part = known if isinstance(known, Inverter) else find(charging.controller, Controller)
        blocks.append((part, find(charging.module, Module), charging))
    inverter = find(choice.inverter.model, Inverter) if choice.inverter else None
    converters = [(find(use.model, Converter), use) for use in choice.converters]
    if problems:
        raise InputError(sorted(set(problems)))
    bank = choice.bank
    return Design(
        Bank(battery, catalog.chemistry(battery), bank.voltage_v, bank.series, bank.strings),
        tuple(Block(part, module, c.series, c.strings, c.count, c.charge_limit_a) for part, module, c in blocks),
        InverterBank(inverter, choice.inverter.count if choice.inverter else 0),
        tuple(ConverterUse(converter, use.count, use.load_v) for converter, use in converters),
    )


def choice_of(design: Design) -> Choice:
    """The choice object of a design."""
    bank = design.bank
    inverter = design.inverters.inverter
    return Choice(
        bank=BankChoice(voltage_v=bank.volts, battery=bank.battery.id, series=bank.series, strings=bank.strings),
        charging=tuple(
            ChargingChoice(
                controller=block.part.id, count=block.count, module=block.module.id, series=block.series,
                strings=block.strings, charge_limit_a=block.limit_a,
            )
            for block in design.blocks
        ),
        inverter=InverterChoice(model=inverter.id, count=design.inverters.count) if inverter else None,
        converters=tuple(ConverterChoice(model=use.converter.id, count=use.count, load_v=use.load_v) for use in design.converters),
    )


def age_spread_months(problem: Problem, part_id: str, used: int) -> float:
    """Difference in age between the oldest and the newest of the pieces that a design uses, owned ones first [months]."""
    ages: list[float] = []
    for own in problem.owned:
        if own.part == part_id:
            ages += [own.age_months] * own.quantity
    in_use = sorted(ages)[:used] + [0.0] * max(0, used - len(ages))
    return max(in_use) - min(in_use)


# --- the bill


@dataclass(frozen=True)
class BillLine:
    """One line of the bill; money in cents."""

    part: str
    description: str
    quantity: int
    unit_cents: int
    price_cents: int


@dataclass(frozen=True)
class Bill:
    """Lines in cents, their sum, and what the objective adds without putting it on the bill."""

    lines: tuple[BillLine, ...]
    parts_and_freight_cents: int
    total_cents: int
    beside_cents: int = 0
    weight_kg: float = field(default=0.0)

    @property
    def objective_cents(self) -> int:
        """What the program minimises: parts and freight (the lines on top rise with them) and the stated extra prices."""
        return self.parts_and_freight_cents + self.beside_cents


def allowance_counts(design: Design) -> Counter[str]:
    """How many times each kind of allowance (`per`) applies to a design."""
    counts: Counter[str] = Counter({"system": 1})
    counts += bank_allowances(design.bank)
    for block in design.blocks:
        for per, each in block_allowances(block).items():
            counts[per] += each * block.count
    if design.inverters.inverter is not None:
        counts["inverter"] += design.inverters.count
        counts["inverter dc ampere"] += inverter_dc_amperes(design.inverters.inverter) * design.inverters.count
    counts["converter"] += sum(use.count for use in design.converters)
    return counts


def bank_allowances(bank: Bank) -> Counter[str]:
    """Allowances that a battery bank asks for."""
    counts = Counter({"battery unit": bank.units, "battery string": bank.strings})
    if bank.is_lithium and bank.series > 1:
        counts["series lithium unit"] = bank.units
    return counts


def block_allowances(block: Block) -> Counter[str]:
    """Allowances that one controller with its array asks for."""
    counts = Counter({"module": block.modules_each, "array string": block.strings})
    if not block.built_in:
        counts["controller"] = 1
        counts["controller ampere"] = math.ceil(block.device.output_a)
    return counts


def inverter_dc_amperes(inverter: Inverter) -> int:
    """Whole amperes that one inverter draws at its low cut-out."""
    return math.ceil(inverter.cont_w / (inverter.efficiency * inverter.dc_low_cut_v))


class PriceList:
    """What a piece of each part and each allowance costs in one problem, in cents."""

    def __init__(self, problem: Problem, catalog: Catalog) -> None:
        self.problem = problem
        self.owned = Counter[str]()
        for own in problem.owned:
            self.owned[own.part] += own.quantity
        self._freight_per_kg = problem.price.freight_per_kg
        self._per_kg = problem.objective.price_per_kg
        self.distinct_cents = cents(problem.objective.price_per_distinct_part)
        self.connection_cents = cents(problem.objective.price_per_connection)
        self.fixed_freight_cents = cents(problem.price.freight)
        self.allowances = catalog.allowances
        self.allowance_cents = Counter[str]()
        self.allowance_bill_cents = Counter[str]()
        self.allowance_kg: dict[str, float] = {}
        for allowance in catalog.allowances:
            self.allowance_cents[allowance.per] += self.bought_cents(allowance) + self.beside_cents(allowance)
            self.allowance_bill_cents[allowance.per] += self.bought_cents(allowance)
            self.allowance_kg[allowance.per] = self.allowance_kg.get(allowance.per, 0.0) + allowance.weight_kg

    @property
    def has_prices_beside_the_bill(self) -> bool:
        """Whether the objective holds prices that are not on the bill."""
        return bool(self.distinct_cents or self.connection_cents or self._per_kg)

    def freight_cents(self, part: Part) -> int:
        """Freight of one bought piece [cents]."""
        return cents(self._freight_per_kg * part.weight_kg)

    def beside_cents(self, part: Part) -> int:
        """The objective's price on the weight of one piece [cents]."""
        return cents(self._per_kg * part.weight_kg)

    def bought_cents(self, part: Part) -> int:
        """Price of one bought piece with its freight [cents]."""
        return part.price_cents + self.freight_cents(part)

    def total_of(self, parts_and_freight_cents: int) -> tuple[int, int, int]:
        """Margin, tax and total on top of parts and freight [cents]; rises with them."""
        margin = share_of_cents(parts_and_freight_cents, self.problem.price.margin_pct)
        tax = share_of_cents(parts_and_freight_cents + margin, self.problem.price.tax_pct)
        return margin, tax, parts_and_freight_cents + margin + tax

    @cached_property
    def budget_cents(self) -> int | None:
        """Most that parts and freight may cost for the total to stay within the budget [cents]."""
        if self.problem.limits.budget is None:
            return None
        budget = cents(self.problem.limits.budget)
        low, high = -1, budget
        while low < high:
            middle = (low + high + 1) // 2
            low, high = (middle, high) if self.total_of(middle)[2] <= budget else (low, middle - 1)
        return low

    def bill(self, design: Design) -> Bill:
        """The bill of a design, line by line."""
        lines: list[BillLine] = []
        freight = self.fixed_freight_cents
        beside = self.distinct_cents * len(design.pieces) + self.connection_cents * design.connections
        weight = 0.0
        for part in design.parts:
            used = design.pieces.get(part.id, 0)
            if not used:
                continue
            bought = int(bought_pieces(used, self.owned[part.id], part.pack_qty))
            note = f" ({min(used, self.owned[part.id])} owned)" if self.owned[part.id] else ""
            note += f" ({bought - max(0, used - self.owned[part.id])} spare: packs of {part.pack_qty})" if bought > max(0, used - self.owned[part.id]) else ""
            lines.append(BillLine(part.id, part.description + note, bought, part.price_cents, bought * part.price_cents))
            freight += bought * self.freight_cents(part)
            beside += used * self.beside_cents(part)
            weight += used * part.weight_kg
        counts = allowance_counts(design)
        for allowance in self.allowances:
            times = counts[allowance.per]
            if times:
                lines.append(BillLine(allowance.id, allowance.description, times, allowance.price_cents, times * allowance.price_cents))
                freight += times * self.freight_cents(allowance)
                beside += times * self.beside_cents(allowance)
                weight += times * allowance.weight_kg
        if freight:
            lines.append(BillLine("freight", "Freight", 1, freight, freight))
        base = sum(line.price_cents for line in lines)
        margin, tax, total = self.total_of(base)
        lines += [BillLine(name, text, 1, sum_, sum_) for name, text, sum_ in (("margin", "Margin", margin), ("tax", "Tax", tax)) if sum_]
        return Bill(tuple(lines), base, total, beside, weight)
