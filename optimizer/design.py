"""What a choice is: named parts and whole numbers, the design that they make, and its bill."""

from __future__ import annotations

import json
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from optimizer.errors import InputError
from optimizer.inputs.catalog import Catalog
from optimizer.inputs.circuit_parts import AlternatorCharger, Cable, Charger, Generator
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import Battery, Chemistry, Controller, Converter, Inverter, Module, Part
from optimizer.inputs.problem import Problem
from optimizer.inputs.starters import NOTHING_FITTED, Fittings
from optimizer.inputs.text_tables import file_text, validation_messages
from optimizer.rules.charging import compensated_v

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
    cable: str | None = None
    """Cable of the run from the array; the cheapest that may serve where it is left out."""
    mounts: dict[str, Count] | None = None
    """Mounts of each controller's array, by their ids; the cheapest set that may carry it where they are left out."""
    plane: str | None = None
    """Plane that the array lies on, where the problem has several."""


class InverterChoice(_Record):
    """Inverters of one model."""

    model: str
    count: Count


class ConverterChoice(_Record):
    """DC-DC converters that feed the DC loads of one voltage."""

    model: str
    count: Count
    load_v: Annotated[float, Field(gt=0)]


class SourceChoice(_Record):
    """Chargers, those of the inverters where none is named, and the generator that feeds them; no generator on alternator or shore power."""

    generator: str | None = None
    charger: str | None = None
    count: Annotated[int, Field(ge=0, le=100)] = 0
    charge_a: Annotated[float, Field(gt=0, le=10_000)]
    """What all chargers together are set to [A]."""


class Choice(_Record):
    """A whole choice, as `solve` hands it over and `check` reads it back."""

    bank: BankChoice
    charging: tuple[ChargingChoice, ...] = Field(min_length=1)
    inverter: InverterChoice | None = None
    converters: tuple[ConverterChoice, ...] = ()
    source: SourceChoice | None = None
    """The source beside the array with its chargers, where the problem lets the design choose."""
    tilt_deg: Annotated[float, Field(ge=0, le=90)] | None = None
    """Tilt of the array, where the problem lets the design choose."""
    tilt_deg_by_month: Annotated[tuple[Annotated[float, Field(ge=0, le=90)], ...], Field(min_length=12, max_length=12)] | None = None
    """Tilts of an array that is set anew through the year, January to December, where the design chooses them."""
    tilt_deg_by_plane: dict[str, Annotated[float, Field(ge=0, le=90)]] = {}
    """Tilts of planes that leave theirs open, by their names."""
    soft_starters: dict[str, str] = {}
    """Soft starters before loads that may have one: ids by item, one a piece."""
    autotransformer: str | None = None
    """Autotransformer behind the inverters, where the problem lets the design have one."""


def choice_from(data: Mapping[str, Any], name: str = "choice") -> Choice:
    """A choice from its object, or from a whole answer that holds one, of `grow` the first purchase; raises InputError with every error."""
    inner = _first_purchase(data["plans"]) if "plans" in data else data.get("choice", data)
    if not isinstance(inner, Mapping):
        raise InputError(f"{name}: holds no choice (the answer found no design)")
    if "site" in inner:
        raise InputError(f"{name}: is a problem, not a choice; `bankstring new --choice FILE` writes a choice to fill in")
    try:
        return Choice.model_validate(dict(inner))
    except ValidationError as bad:
        raise InputError([f"{name}: {where}: {message}" for where, message in validation_messages(bad, Choice)]) from None


def _first_purchase(plans: Any) -> Any:
    """The first choice of the first plan of an answer of `grow`; None where there is none."""
    try:
        return plans[0]["stages"][0]["choice"]
    except (LookupError, TypeError):
        return None


def load_choice(path: str | Path) -> Choice:
    """Read a choice, or a whole answer, from a JSON or TOML file."""
    file = Path(path)
    text = file_text(file, str(path), "no such file; `bankstring new --choice FILE` writes one to fill in")
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
    cable: Cable | None = None
    """Cable of the run from the array; None for the cheapest that may serve."""
    mounts: tuple[tuple[Mount, int], ...] | None = None
    """Mounts of each controller's array; None for the cheapest set that may carry it."""
    plane: str | None = None
    """Plane that the array lies on; None where the problem names none."""

    @property
    def device(self) -> Controller:
        """The controller, or the built-in tracker seen as one."""
        return charging_device(self.part)

    @property
    def built_in(self) -> bool:
        """Whether the tracker is part of an inverter."""
        return isinstance(self.part, Inverter)

    @property
    def on_plane(self) -> str:
        """Where the array lies, for the end of a line; nothing where the problem has one plane."""
        return "" if self.plane is None else f", on plane '{self.plane}'"

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
class Source:
    """Chargers, so many of a model or those of the inverters (None and 0), and the generator that feeds them.

    Without a generator it is the alternator or the shore power of the site.
    """

    generator: Generator | None
    charger: Charger | AlternatorCharger | None
    count: int
    charge_a: float
    """What all chargers together are set to [A]."""

    @property
    def kind(self) -> str:
        """What feeds the chargers, as site.other_source names it."""
        return "generator" if self.generator is not None else "alternator" if isinstance(self.charger, AlternatorCharger) else "shore"

    @property
    def pieces(self) -> tuple[tuple[Part, int], ...]:
        """Parts with their numbers."""
        found: list[tuple[Part | None, int]] = [(self.generator, 1), (self.charger, self.count)]
        return tuple((part, n) for part, n in found if part is not None)

    @property
    def devices(self) -> int:
        """Devices that somebody connects."""
        return sum(n for _, n in self.pieces)


@dataclass(frozen=True)
class Design:
    """A choice with its part records."""

    bank: Bank
    blocks: tuple[Block, ...]
    inverters: InverterBank
    converters: tuple[ConverterUse, ...] = ()
    source: Source | None = None
    fittings: Fittings = NOTHING_FITTED
    """Soft starters and autotransformer of a plan's design; a single answer has them in its problem and its choice."""

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
        if self.source is not None:
            used.update({part.id: n for part, n in self.source.pieces})
        used.update(self.fittings.pieces)
        return used

    @property
    def parts(self) -> Iterator[Part]:
        """Every part used, once."""
        seen = set()
        rest: list[Part | None] = [self.bank.battery, *(block.module for block in self.blocks)]
        rest += [block.part for block in self.blocks]
        rest += [self.inverters.inverter, *(use.converter for use in self.converters)]
        rest += [part for part, _ in self.source.pieces] if self.source is not None else []
        for part in rest:
            if part is not None and part.id not in seen:
                seen.add(part.id)
                yield part

    @property
    def connections(self) -> int:
        """Joints that somebody must make: modules, units, strings, and two a device."""
        devices = sum(block.count for block in self.blocks if not block.built_in) + self.inverters.count
        devices += sum(use.count for use in self.converters)
        devices += self.source.devices if self.source is not None else 0
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
        cable = find(charging.cable, Cable) if charging.cable is not None else None
        mounts = None if charging.mounts is None else tuple((find(one, Mount), n) for one, n in sorted(charging.mounts.items()))
        blocks.append((part, find(charging.module, Module), charging, cable, mounts))
    inverter = find(choice.inverter.model, Inverter) if choice.inverter else None
    converters = [(find(use.model, Converter), use) for use in choice.converters]
    source = None
    if choice.source is not None:
        asked = choice.source
        kind = AlternatorCharger if isinstance(catalog.by_id.get(asked.charger or ""), AlternatorCharger) else Charger
        charger = find(asked.charger, kind) if asked.charger is not None else None
        source = Source(find(asked.generator, Generator) if asked.generator is not None else None, charger, asked.count, asked.charge_a)
        if (asked.charger is None) != (asked.count == 0):
            problems.append("source: count says how many of `charger` there are, and is 0 for the chargers of the inverters")
    if problems:
        raise InputError(sorted(set(problems)))
    bank = choice.bank
    return Design(
        Bank(battery, catalog.chemistry(battery), bank.voltage_v, bank.series, bank.strings),
        tuple(Block(part, module, c.series, c.strings, c.count, c.charge_limit_a, cable, mounts, c.plane) for part, module, c, cable, mounts in blocks),
        InverterBank(inverter, choice.inverter.count if choice.inverter else 0),
        tuple(ConverterUse(converter, use.count, use.load_v) for converter, use in converters), source,
    )


def choice_of(design: Design) -> Choice:
    """The choice object of a design."""
    bank = design.bank
    inverter, source = design.inverters.inverter, design.source
    return Choice(
        bank=BankChoice(voltage_v=bank.volts, battery=bank.battery.id, series=bank.series, strings=bank.strings),
        charging=tuple(
            ChargingChoice(
                controller=block.part.id, count=block.count, module=block.module.id, series=block.series,
                strings=block.strings, charge_limit_a=block.limit_a, cable=block.cable.id if block.cable else None,
                mounts=None if block.mounts is None else {mount.id: n for mount, n in block.mounts}, plane=block.plane,
            )
            for block in design.blocks
        ),
        inverter=InverterChoice(model=inverter.id, count=design.inverters.count) if inverter else None,
        converters=tuple(ConverterChoice(model=use.converter.id, count=use.count, load_v=use.load_v) for use in design.converters),
        source=SourceChoice(
            generator=source.generator.id if source.generator else None, charger=source.charger.id if source.charger else None, count=source.count, charge_a=source.charge_a,
        ) if source else None,
        soft_starters={item: part for item, part, _ in design.fittings.starters}, autotransformer=design.fittings.autotransformer,
    )


def age_spread_months(problem: Problem, part_id: str, used: int) -> float:
    """Difference in age between the oldest and the newest of the pieces that a design uses, owned ones first [months]."""
    ages: list[float] = []
    for own in problem.owned:
        if own.part == part_id:
            ages += [own.age_months] * own.quantity
    in_use = sorted(ages)[:used] + [0.0] * max(0, used - len(ages))
    return max(in_use) - min(in_use)
