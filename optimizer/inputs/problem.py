"""What one site asks for, with every default that was filled in on record."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field, PrivateAttr, ValidationError, model_validator

from optimizer.inputs.array import Array, twelve
from optimizer.inputs.generator import AlternatorUse, GeneratorUse, ShoreUse, source_complaints
from optimizer.inputs.growth import Growth, Stage
from optimizer.inputs.inverting import InverterUse, inverting_complaints
from optimizer.inputs.load import Load, Section
from optimizer.inputs.mounting import Mounting, adjusting_complaints
from optimizer.inputs.parts import Kelvinable, NotNegative, Positive, Share
from optimizer.inputs.planes import Plane, mounting_doubts, plane_complaints, stated_sun
from optimizer.inputs.text_tables import nearest
from optimizer.inputs.wiring import Wiring
from optimizer.rules.book import RULES

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
UNUSED = "unused"

AcStandard = Literal["none", "120 V 60 Hz", "120/240 V 60 Hz", "230 V 50 Hz", "230/400 V 50 Hz"]
AC_VOLTS: Mapping[str, tuple[int, ...]] = {
    "120 V 60 Hz": (120,), "120/240 V 60 Hz": (120, 240), "230 V 50 Hz": (230,), "230/400 V 50 Hz": (230, 400),
}
COMPRESSOR_SURGE = 3.0
"""Starting multiple from which a load is taken for a compressor or a pump; common practice, no source."""

TROPICS_DEG = 15.0
"""Latitude up to which months hardly differ, so that one figure for all may be true; common practice, no source."""

OF_ALL_DATES = ("price.", "objective.", "life_cycle.", "solver.", "limits.budget", "bank.age_spread_months_max")
"""Values that a plan counts with on every date: a stage does not change them."""

TwelveTemperatures = Annotated[tuple[Kelvinable, ...], BeforeValidator(twelve)]
BySeason = Positive | dict[str, Positive]
TemperatureBySeason = Kelvinable | dict[str, Kelvinable]


class Site(Section):
    """Where it stands and what AC it has."""

    ac: AcStandard
    latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    elevation_m: Annotated[float, Field(ge=-400, le=5000)] = 0.0
    earthing: Literal["negative", "positive", "floating"] = "negative"
    other_source: Literal["none", "generator", "shore", "alternator"] = "none"
    attended: bool = True
    on_building: bool = True


class Temperatures(Section):
    """Four different temperatures: string voltage, hot module, battery, electronics."""

    lowest_c: Kelvinable
    hottest_c: Kelvinable
    air_c: TwelveTemperatures
    battery_c: TwelveTemperatures
    battery_lowest_c: TemperatureBySeason
    battery_highest_c: Kelvinable | None = None
    electronics_highest_c: Kelvinable | None = None
    _origins: dict[str, str] = PrivateAttr(default_factory=dict)

    @property
    def origins(self) -> Mapping[str, str]:
        """Where values come from that the file left to the weather file, by key."""
        return self._origins

    def taken_from(self, origins: Mapping[str, str]) -> None:
        """Put on record which values the reader of the file took from the weather file."""
        self._origins.update(origins)


class Autonomy(Section):
    """How long the loads must live without any sun."""

    days: BySeason
    carried: Literal["all", "critical"] = "all"
    recovery_days: Annotated[float, Field(ge=1, le=60)] = 14.0
    end_of_life_share: Annotated[float, Field(ge=0.5, le=1)] = 0.8


class Balance(Section):
    """How much more than the load the array must give."""

    array_to_load: Annotated[float, Field(ge=0.3, le=5)] = 1.2
    minimum_solar_share: Annotated[float, Field(ge=0.1, le=1)] | None = None
    full_recharge_days: Annotated[float, Field(ge=1, le=60)] = 14.0
    carry_over: bool = False


class Bank(Section):
    """What the battery bank may be and where it stands."""

    volts: Annotated[tuple[Literal[12, 24, 36, 48], ...], Field(min_length=1)] = (12, 24, 48)
    chemistries: tuple[str, ...] = ()
    place: Literal["ventilated room", "living space", "outside box"] = "ventilated room"
    unit_kwh_max: Positive = 20.0
    total_kwh_max: Positive | None = None
    equalise: Literal["disconnected", "connected", "never"] = "disconnected"
    charge_context: Literal["auto", "cycled daily", "weekends", "long autonomy"] = "auto"
    idle_months: Annotated[float, Field(ge=0, le=24)] = 0.0
    idle_loss_share_max: Share = 0.3
    age_spread_months_max: NotNegative | None = None


class Redundancy(Section):
    """What may fail with the critical loads still carried."""

    controllers: bool = False
    inverters: bool = False


class DcUse(Section):
    """Where DC loads are connected."""

    loads_on: Literal["bank", "controller load terminals"] = "bank"


class Limits(Section):
    """Money, weight and hands."""

    budget: Positive | None = None
    piece_kg_max: Positive | None = None
    total_kg_max: Positive | None = None


class Bounds(Section):
    """How far the search goes; an answer that lies on one of these is flagged."""

    modules_in_series: Annotated[int, Field(ge=1, le=30)] = 16
    strings_per_controller: Annotated[int, Field(ge=1, le=40)] = 12
    controllers: Annotated[int, Field(ge=1, le=40)] = 6
    array_kinds: Annotated[int, Field(ge=1, le=3)] = 2
    battery_strings: Annotated[int, Field(ge=1, le=40)] = 8
    inverters: Annotated[int, Field(ge=1, le=12)] = 6
    chargers: Annotated[int, Field(ge=1, le=12)] = 3
    charge_limit_steps: tuple[Annotated[float, Field(gt=0, le=1)], ...] = (1.0, 0.75, 0.5, 0.25)


class Locks(Section):
    """Choices that the customer or the designer has already made."""

    only: tuple[str, ...] = ()
    exclude: tuple[str, ...] = ()
    at_most: dict[str, Annotated[int, Field(ge=0)]] = {}
    at_least: dict[str, Annotated[int, Field(ge=1)]] = {}


class Owned(Section):
    """Parts that the customer has already."""

    part: str
    quantity: Annotated[int, Field(ge=1)]
    age_months: NotNegative = 0.0
    condition: Annotated[float, Field(gt=0, le=1)] = 1.0
    must_use: bool = False


class Price(Section):
    """Lines of the bill beside the parts."""

    freight: NotNegative = 0.0
    freight_per_kg: NotNegative = 0.0
    dangerous_goods_per_kg: dict[str, NotNegative] = {}
    margin_pct: Annotated[float, Field(ge=0, le=200)] = 0.0
    tax_pct: Annotated[float, Field(ge=0, le=100)] = 0.0


class Objective(Section):
    """Prices on things that are not on the bill; 0 unless the problem says so."""

    price_per_kg: NotNegative = 0.0
    price_per_distinct_part: NotNegative = 0.0
    price_per_connection: NotNegative = 0.0


class LifeCycle(Section):
    """Years over which the cost of a design is counted, and whether that cost is minimised."""

    years: Annotated[float, Field(ge=1, le=50)] = 15.0
    discount_pct: Annotated[float, Field(ge=0, le=30)] = 6.0
    objective: Literal["purchase", "life-cycle"] = "purchase"


class Solver(Section):
    """When to stop."""

    time_limit_s: Positive = 60.0
    gap: Annotated[float, Field(ge=0, lt=1)] = 0.0


class Reliability(Section):
    """How often loads may be off, in years that are lived hour by hour."""

    loss_of_load_hours_max: Annotated[float, Field(ge=0, le=8760)]
    critical_only: bool = False
    years: Annotated[int, Field(ge=1, le=1000)] = 100
    seed: Annotated[int, Field(ge=0)] = 1
    rounds_max: Annotated[int, Field(ge=1, le=10_000)] = 40


def _known_rules(changed: dict[str, str]) -> dict[str, str]:
    complaints = []
    for rule in changed:
        if rule not in RULES:
            complaints.append(f"rule '{rule}' is not known{nearest(rule, list(RULES))}")
        elif RULES[rule].severity == "hard":
            complaints.append(f"rule '{rule}' is hard (fire, shock, destroyed part): it is never loosened")
        elif rule == "bounds":
            complaints.append("the bounds are set in [bounds]")
    if complaints:
        raise ValueError("\n".join(complaints))
    return changed


class Problem(Section):
    """Everything that one site asks for."""

    name: Annotated[str, Field(min_length=1)]
    site: Site
    array: Array
    planes: tuple[Plane, ...] = ()
    temperatures: Temperatures
    autonomy: Autonomy
    loads: tuple[Load, ...]
    seasons: dict[str, tuple[Literal["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"], ...]] = {}
    balance: Balance = Balance()
    bank: Bank = Bank()
    mounting: Mounting | None = None
    wiring: Wiring = Wiring()
    inverter: InverterUse = InverterUse()
    generator: GeneratorUse = GeneratorUse()
    alternator: AlternatorUse = AlternatorUse()
    shore: ShoreUse = ShoreUse()
    redundancy: Redundancy = Redundancy()
    dc: DcUse = DcUse()
    limits: Limits = Limits()
    bounds: Bounds = Bounds()
    locks: Locks = Locks()
    owned: tuple[Owned, ...] = ()
    price: Price = Price()
    objective: Objective = Objective()
    life_cycle: LifeCycle = LifeCycle()
    solver: Solver = Solver()
    growth: Growth | None = None
    reliability: Reliability | None = None
    rules: Annotated[dict[str, Literal["requirement", "soft", "off"]], AfterValidator(_known_rules)] = {}

    @model_validator(mode="after")
    def _sections_agree(self) -> Problem:
        complaints = list(self._complaints())
        if complaints:
            raise ValueError("\n".join(complaints))  # the reader of the file makes one error of each line
        return self

    def _complaints(self) -> Iterator[str]:
        """Everything that sections say against each other."""
        taken: dict[str, str] = {}
        for season, months in self.seasons.items():
            for month in months:
                if month in taken:
                    yield f"seasons: month {month} stands in season '{taken[month]}' and in '{season}'"
                taken[month] = season
        known = set(self.season_names)
        if not self.loads:
            yield 'loads: there are no loads: add [[loads]] tables, or loads_file = "loads.csv"'
        elif not any(load.hours.get(season, 0) > 0 for load in self.loads for season in known):
            yield "loads: no load has hours in any season"
        for load in self.loads:
            if not load.hours:
                yield f"loads: load '{load.item}' has no hours: give hours, or hours by season"
            for season in load.hours:
                if season not in known:
                    yield f"loads: load '{load.item}': season '{season}' is not known{nearest(season, sorted(known))}"
            if load.supply == "AC" and self.site.ac == "none":
                yield f"loads: load '{load.item}' is AC, but site.ac is \"none\""
            elif load.supply == "AC" and load.volts not in AC_VOLTS[self.site.ac]:
                hint = ' (a 240 V load needs site.ac = "120/240 V 60 Hz")' if load.volts == 240 else ""
                yield f"loads: load '{load.item}': {load.volts:g} V does not fit site.ac = \"{self.site.ac}\"{hint}"
        used = {month for season in self.seasons.values() for month in season}
        if self.balance.carry_over and self.seasons and len(used) < len(MONTHS):
            yield "balance.carry_over: needs all twelve months in [seasons]: what is carried over in months of no use is not known"
        for key, given in (("autonomy.days", self.autonomy.days), ("temperatures.battery_lowest_c", self.temperatures.battery_lowest_c)):
            if not isinstance(given, dict):
                continue
            for season in given:
                if season not in known:
                    yield f"{key}: season '{season}' is not known{nearest(season, sorted(known))}"
            for season in sorted(known - set(given)):
                yield f"{key}: season '{season}' has no value"
        if self.mounting is not None and not self.planes:
            yield from self.mounting.complaints(self.array)
        yield from source_complaints(self)
        yield from inverting_complaints(self)
        if self.growth is not None:
            yield from self._growth_complaints(self.growth)
        if self.reliability is not None and self.planes:
            yield "reliability: a loss-of-load limit knows one plane: leave [[planes]] out; `bankstring replay` lives a design on several"
        if self.reliability is not None and self.reliability.critical_only and not any(load.critical == "yes" for load in self.loads):
            yield "reliability.critical_only: no load is critical"
        yield from adjusting_complaints(self.array, bare=self.mounting is None, several=bool(self.planes), limited=self.reliability is not None)
        yield from plane_complaints(self.array, self.planes, self.mounting) if self.planes else (f"array.{text}" for text in self.array.lacking())
        if self.array.horizontal_kwh_m2 is not None and self.site.latitude_deg is None:
            yield "site.latitude_deg: is required with array.horizontal_kwh_m2"
        if self.temperatures.lowest_c >= self.temperatures.hottest_c:
            yield f"temperatures.lowest_c: must be below hottest_c (got {self.temperatures.lowest_c:g} and {self.temperatures.hottest_c:g})"

    def _growth_complaints(self, growth: Growth) -> Iterator[str]:
        """Stages that cannot be taken in the order of a future."""
        if any(self.objective.model_dump().values()):
            yield "growth: prices that are not on the bill ([objective]) are not counted in a plan: leave them out"
        if self.life_cycle.objective != "purchase":
            yield "growth: a plan counts its own later purchases: leave life_cycle.objective out"
        if self.reliability is not None:
            yield "growth: a plan is not held to a loss-of-load limit ([reliability]): leave it out"
        for future in growth.futures:
            problem = self.model_copy(update={"growth": None})
            for step in future.steps:
                try:
                    problem = problem.at_stage(growth.stage(step.stage)) if step.stage else problem
                except ValueError as bad:
                    for line in _sentences(bad):
                        yield f"growth: future '{future.name}', year {step.year:g}, stage '{step.stage}': {line}"
                    break

    def at_stage(self, stage: Stage) -> Problem:
        """The problem after a stage of growth; raises ValueError where the stage does not fit it."""
        gone = set(stage.remove)
        missing = sorted(gone - {load.item for load in self.loads})
        if missing:
            raise ValueError("\n".join(f"load '{item}' is not there to be removed{nearest(item, [one.item for one in self.loads])}" for item in missing))
        data: dict[str, Any] = {name: getattr(self, name) for name in type(self).model_fields if name != "growth"}
        data["loads"] = tuple(load for load in self.loads if load.item not in gone) + stage.loads
        for path, value in stage.set.items():
            if path.startswith(OF_ALL_DATES):
                raise ValueError(f"'{path}' holds for all dates of a plan: set it in the problem itself, not in a stage")
            section, _, key = path.partition(".")
            record = data.get(section)
            if not isinstance(record, Section) or key not in type(record).model_fields:
                known = [f"{name}.{field}" for name, one in data.items() if isinstance(one, Section) for field in type(one).model_fields]
                raise ValueError(f"'{path}' is not a value of the problem{nearest(path, known)}")
            data[section] = type(record).model_validate({**record.model_dump(exclude_unset=True), key: value})
        return Problem.model_validate(data)

    def doubts(self) -> Iterator[str]:
        """What is possible but unlikely: usually a slip of the pen."""
        temperatures = self.temperatures
        if self.bank.place != "outside box" and temperatures.battery_c == temperatures.air_c:
            yield "temperatures.battery_c: is that of the air in every month: was it copied?"
        latitude = self.site.latitude_deg
        for key, sun in stated_sun(self.array, self.planes):
            if len(set(sun)) == 1 and (latitude is None or abs(latitude) > TROPICS_DEG):
                yield f"{key}: is the same in every month: a yearly mean hides the month that decides"
            elif max(sun) > 8.5:
                yield f"{key}: {max(sun):g} h in a month, usually up to 8.5: hours of daylight instead of sun hours?"
        yield from mounting_doubts(self.array, self.planes, self.mounting)
        if temperatures.lowest_c > min(temperatures.air_c):
            yield "temperatures.lowest_c: is above a monthly mean of the air"
        if temperatures.hottest_c < max(temperatures.air_c):
            yield "temperatures.hottest_c: is below a monthly mean of the air"
        if self.reliability is not None and self.site.other_source != "none":
            yield f"reliability: the {self.site.other_source} carries whatever is missing, so that no load is ever off: the limit asks for nothing"
        for load in self.loads:
            if load.starts_by_itself and load.surge_x >= COMPRESSOR_SURGE and max(load.hours.values(), default=0) >= 24:
                yield f"loads: load '{load.item}' starts by itself and runs 24 hours a day: a refrigerator runs 8 to 12"

    @property
    def counts_beside_the_bill(self) -> bool:
        """Whether more than the bill is minimised: a dearer bill may win."""
        return self.life_cycle.objective != "purchase" or any(self.objective.model_dump().values()) or self.source_in_design

    @property
    def source_in_design(self) -> bool:
        """Whether the source beside the array, or none, is chosen with the design and what it costs to run is minimised too."""
        return self.site.other_source != "none" and self.source_use.in_design

    @property
    def source_use(self) -> GeneratorUse | AlternatorUse | ShoreUse:
        """The section on the source beside the array; that on the generator where there is none."""
        if self.site.other_source == "alternator":
            return self.alternator
        return self.shore if self.site.other_source == "shore" else self.generator

    @property
    def season_names(self) -> tuple[str, ...]:
        """Names of the seasons, in the order of the file; one season 'all' where none is named."""
        return tuple(self.seasons) if self.seasons else ("all",)

    def season_of(self, month: int) -> str:
        """Season of a month (0 is January)."""
        if not self.seasons:
            return "all"
        return next((season for season, months in self.seasons.items() if MONTHS[month] in months), UNUSED)

    def defaults(self) -> Iterator[str]:
        """Every value that the file left out and that was filled in."""
        for field in type(self).model_fields:
            section = getattr(self, field)
            if not isinstance(section, Section) or isinstance(section, Growth):
                continue
            for key in type(section).model_fields:
                value = getattr(section, key)
                if key == "soiling" and self.array.soiling_by_month is not None:
                    continue
                if isinstance(section, Temperatures) and key in section.origins:
                    yield f"{field}.{key} = {_toml_like(value)}: {section.origins[key]}"
                elif key not in section.model_fields_set and value not in (None, (), {}):
                    yield f"{field}.{key} = {_toml_like(value)}"
            if isinstance(section, Array):
                yield from (f"array.{text}" for text in section.sun_defaults())
        for key, info in Load.model_fields.items():
            if key == "hours" or info.is_required() or info.default is None:
                continue
            asked = [load for load in self.loads if load.supply == "AC" or key not in ("power_factor", "modified_sine_ok")]
            if any(key not in load.model_fields_set for load in asked):
                yield f"loads.{key} = {_toml_like(info.default)} where not given"


def _sentences(bad: ValueError) -> list[str]:
    """What a validation says, one sentence an error."""
    if not isinstance(bad, ValidationError):
        return str(bad).splitlines()
    errors = bad.errors(include_url=False)
    told = [".".join(str(step) for step in error["loc"]) + ": " + error["msg"].removeprefix("Value error, ") for error in errors]
    return [line.removeprefix(": ") for text in told for line in text.splitlines()]


def _toml_like(value: object) -> str:
    if isinstance(value, tuple) and len(set(value)) == 1 and len(value) == 12:
        return f"{value[0]:g}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, tuple):
        return "[" + ", ".join(_toml_like(item) for item in value) + "]"
    return f"{value:g}" if isinstance(value, float) else (f'"{value}"' if isinstance(value, str) else str(value))
