"""The parts catalog: a folder of CSV files that the user edits, read and judged as a whole."""

from __future__ import annotations

import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any, TypeVar

import numpy as np

from optimizer.errors import InputError
from optimizer.inputs.circuit_parts import (
    AlternatorCharger,
    Autotransformer,
    Busbar,
    Cable,
    Charger,
    Generator,
    Protection,
    SoftStarter,
)
from optimizer.inputs.circuit_tables import CircuitTables, load_circuit_tables
from optimizer.inputs.kits import Kit, load_kits
from optimizer.inputs.mount_parts import Mount
from optimizer.inputs.parts import (
    Allowance,
    Battery,
    Chemistry,
    Controller,
    Converter,
    Inverter,
    Module,
    Part,
)
from optimizer.inputs.text_tables import file_text, nearest, raise_if_any, read_records, read_rows, shown

PartKind = TypeVar("PartKind", bound=Part)

FILES: Mapping[str, type[Part]] = {
    "modules": Module,
    "batteries": Battery,
    "controllers": Controller,
    "inverters": Inverter,
    "converters": Converter,
    "allowances": Allowance,
    "cables": Cable,
    "protection": Protection,
    "generators": Generator,
    "mounts": Mount,
    "soft_starters": SoftStarter,
    "chargers": Charger,
    "alternator_chargers": AlternatorCharger,
    "busbars": Busbar,
    "autotransformers": Autotransformer,
}
LIVING = ("module", "controller", "inverter", "converter")
"""Kinds of part that tables/lives.csv knows; the life of a battery follows from its use."""
NEEDED = ("modules", "batteries", "controllers", "inverters")


def shipped_folder(name: str) -> Path:
    """Folder of the shipped catalogs or problems: in the wheel, or beside the package in a checkout."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "shipped" / name
    return inside if inside.is_dir() else package.parent / name


@dataclass(frozen=True)
class Tables(CircuitTables):
    """Editable tables of the trade, each row with its source."""

    chemistries: Mapping[str, Chemistry]
    cold_capacity: Mapping[str, tuple[np.ndarray, np.ndarray]]
    freezing: tuple[np.ndarray, np.ndarray]
    charge_context: Mapping[str, float]
    voc_factors: tuple[np.ndarray, np.ndarray]
    lives: Mapping[str, float] = field(default_factory=dict)
    """Years that a piece of each kind of part lives [years]."""


@dataclass(frozen=True)
class Catalog:
    """Parts by kind in the order of their ids, tables, and where they came from."""

    name: str
    currency: str
    modules: tuple[Module, ...]
    batteries: tuple[Battery, ...]
    controllers: tuple[Controller, ...]
    inverters: tuple[Inverter, ...]
    converters: tuple[Converter, ...]
    allowances: tuple[Allowance, ...]
    tables: Tables
    sha256: str = ""
    doubts: tuple[str, ...] = field(default=())
    kits: tuple[Kit, ...] = ()
    cables: tuple[Cable, ...] = ()
    protection: tuple[Protection, ...] = ()
    generators: tuple[Generator, ...] = ()
    mounts: tuple[Mount, ...] = ()
    soft_starters: tuple[SoftStarter, ...] = ()
    chargers: tuple[Charger, ...] = ()
    alternator_chargers: tuple[AlternatorCharger, ...] = ()
    busbars: tuple[Busbar, ...] = ()
    autotransformers: tuple[Autotransformer, ...] = ()

    @cached_property
    def by_id(self) -> Mapping[str, Part]:
        """Every part by its id."""
        return {part.id: part for part in self.parts()}

    @cached_property
    def fitters(self) -> dict[object, Any]:
        """What was found of cables with devices: the memory of `circuits.wiring`, kept as long as the catalog."""
        return {}

    @cached_property
    def piece_cents(self) -> dict[str, dict[str, tuple[Part, int]]]:
        """What a piece of each part costs with its freight: the memory of `bill`, by what is asked for freight."""
        return {}

    @cached_property
    def frames(self) -> dict[object, Any]:
        """The memory of `choice.core_frames`."""
        return {}

    @cached_property
    def blocks(self) -> dict[object, Any]:
        """The memory of `choice.block_memory`."""
        return {}

    @cached_property
    def sold(self) -> Mapping[str, Part | Kit]:
        """Every part and every kit by its id."""
        return {**self.by_id, **{kit.id: kit for kit in self.kits}}

    def parts(self) -> Iterator[Part]:
        """Every part of every kind."""
        yield from self.modules
        yield from self.batteries
        yield from self.controllers
        yield from self.inverters
        yield from self.converters
        yield from self.allowances
        yield from self.cables
        yield from self.protection
        yield from self.generators
        yield from self.mounts
        yield from self.soft_starters
        yield from self.chargers
        yield from self.alternator_chargers
        yield from self.busbars
        yield from self.autotransformers

    def find(self, part_id: str, kind: type[PartKind]) -> PartKind:
        """A part of a kind by its id; a sentence where there is none."""
        part = self.by_id.get(part_id)
        if isinstance(part, kind):
            return part
        known = [other.id for other in self.parts() if isinstance(other, kind)]
        if part is not None:
            raise InputError(f"part '{part_id}' is a {type(part).__name__.lower()}, not a {kind.__name__.lower()}")
        raise InputError(f"part '{part_id}' is not in the catalog{nearest(part_id, known)}")

    def chemistry(self, battery: Battery) -> Chemistry:
        """Chemistry of a battery."""
        return self.tables.chemistries[battery.chemistry]


def _numbers(path: Path, columns: tuple[str, ...], problems: list[str]) -> list[tuple[int, dict[str, str]]]:
    rows = read_rows(path, (*columns, "source"), problems)
    good = []
    for row in rows:
        missing = [column for column in (*columns, "source") if column not in row.cells]
        problems.extend(f"{shown(path)}:{row.line}: {column}: is required and blank" for column in missing)
        if not missing:
            good.append((row.line, row.cells))
    return good


def _float(cell: str, where: str, problems: list[str]) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = float("nan")
    if not np.isfinite(value):
        problems.append(f"{where}: must be a number (got '{cell}')")
        return 0.0
    return value


def _series(path: Path, x: str, y: str, problems: list[str]) -> tuple[np.ndarray, np.ndarray]:
    before_reading = len(problems)
    rows = _numbers(path, (x, y), problems)
    if len(rows) < 2:
        if len(problems) == before_reading:
            problems.append(f"{shown(path)}: needs at least two rows")
        return np.array([0.0]), np.array([0.0])  # nothing is built on it: the errors end the reading
    values = [_float(cells[x], f"{shown(path)}:{line}: {x}", problems) for line, cells in rows]
    problems.extend(
        f"{shown(path)}:{line}: {x}: must fall from row to row (got '{cells[x]}')"
        for (line, cells), before, value in zip(rows[1:], values, values[1:], strict=False) if value >= before
    )
    return np.array(values), np.array([_float(cells[y], f"{shown(path)}:{line}: {y}", problems) for line, cells in rows])


def _lives(path: Path, problems: list[str]) -> dict[str, float]:
    """Lives by kind of part."""
    lives: dict[str, float] = {}
    for line, cells in _numbers(path, ("kind", "life_years"), problems):
        kind, where = cells["kind"], f"{shown(path)}:{line}"
        if kind not in LIVING:
            problems.append(f"{where}: kind: '{kind}' is not known{nearest(kind, list(LIVING))}")
        elif kind in lives:
            problems.append(f"{where}: kind: '{kind}' stands twice")
        lives[kind] = _float(cells["life_years"], f"{where}: life_years", problems)
        if not 1 <= lives[kind] <= 100:
            problems.append(f"{where}: life_years: must be from 1 to 100 (got '{cells['life_years']}')")
    return lives


def load_tables(folder: Path, problems: list[str]) -> Tables:
    """Tables of a catalog folder; the shipped ones where the folder has none."""
    home = folder / "tables" if (folder / "tables").is_dir() else shipped_folder("catalogs") / "tables"
    chemistries = {row.chemistry: row for _, row in read_records(home / "chemistry.csv", Chemistry, problems)}
    cold: dict[str, list[tuple[float, float]]] = {}
    path = home / "cold_capacity.csv"
    for line, cells in _numbers(path, ("chemistry", "temperature_c", "share"), problems):
        where = f"{shown(path)}:{line}"
        point = (_float(cells["temperature_c"], f"{where}: temperature_c", problems), _float(cells["share"], f"{where}: share", problems))
        cold.setdefault(cells["chemistry"], []).append(point)
    problems.extend(
        f"{shown(path)}: chemistry '{chemistry}' needs at least two temperatures"
        for chemistry in chemistries if len(cold.get(chemistry, ())) < 2
    )
    path = home / "charge_context.csv"
    context = {
        cells["context"]: _float(cells["factor"], f"{shown(path)}:{line}: factor", problems)
        for line, cells in _numbers(path, ("context", "factor"), problems)
    }
    return Tables(
        chemistries=chemistries,
        cold_capacity={
            name: (np.array([t for t, _ in sorted(points)]), np.array([s for _, s in sorted(points)]))
            for name, points in cold.items()
        },
        freezing=_series(home / "freezing.csv", "depth", "freezing_c", problems),
        charge_context=context,
        voc_factors=_series(home / "voc_factors.csv", "lowest_c", "factor", problems),
        lives=_lives(lives if (lives := home / "lives.csv").is_file() else shipped_folder("catalogs") / "tables" / "lives.csv", problems),
        **load_circuit_tables(home, shipped_folder("catalogs") / "tables", problems),
    )


def _judge(found: Iterable[tuple[int, Part]], path: Path, seen: dict[str, str], problems: list[str], doubts: list[str]) -> None:
    for line, part in found:
        where = f"{shown(path)}:{line}"
        if part.id in seen:
            problems.append(f"{where}: id: '{part.id}' stands already at {seen[part.id]}")
        seen.setdefault(part.id, where)
        problems.extend(f"{where}: {column}: {message} (got '{getattr(part, column)}')" for column, message in part.errors())
        doubts.extend(f"{where}: {column}: {message} (got '{getattr(part, column)}')" for column, message in part.doubts())


def load_catalog(folder: str | Path | None = None) -> Catalog:
    """Read a catalog folder (default: the shipped one).

    folder: holds catalog.toml, modules.csv, batteries.csv, controllers.csv, inverters.csv and, where wanted,
    converters.csv, allowances.csv, cables.csv, protection.csv, generators.csv, mounts.csv, soft_starters.csv,
    chargers.csv, alternator_chargers.csv, busbars.csv, autotransformers.csv, kits.csv and tables/.
    Raises InputError with every error of every row of every file.
    """
    home = Path(folder) if folder is not None else shipped_folder("catalogs")
    if not home.is_dir():
        raise InputError(f"{home}: {'is a file, not a catalog folder' if home.is_file() else 'no such catalog folder'}; `bankstring new --catalog DIR` copies the shipped one to edit")
    problems: list[str] = []
    doubts: list[str] = []
    head: dict[str, object] = {}
    try:
        head = tomllib.loads(file_text(home / "catalog.toml", shown(home / "catalog.toml"), 'file not found; it states the currency, as: currency = "USD"'))
    except InputError as bad:
        problems.extend(bad.problems)
    except tomllib.TOMLDecodeError as bad:
        problems.append(f"{shown(home / 'catalog.toml')}: {bad}")
    else:
        problems.extend(
            f"{shown(home / 'catalog.toml')}: key '{key}' is not known{nearest(key, ['name', 'currency'])}"
            for key in head if key not in ("name", "currency")
        )
        if not isinstance(head.get("currency"), str):
            problems.append(f"{shown(home / 'catalog.toml')}: currency: is required, as: currency = \"USD\"")
    tables = load_tables(home, problems)
    seen: dict[str, str] = {}
    parts: dict[str, tuple[Part, ...]] = {}
    for kind, record in FILES.items():
        path = home / f"{kind}.csv"
        if kind not in NEEDED and not path.exists():
            parts[kind] = ()
            continue
        before = len(problems)
        found = read_records(path, record, problems)
        _judge(found, path, seen, problems, doubts)
        if not found and len(problems) == before and kind in NEEDED:
            problems.append(f"{shown(path)}: has no parts")
        for line, part in found:
            if isinstance(part, Battery) and part.chemistry not in tables.chemistries:
                problems.append(
                    f"{shown(path)}:{line}: chemistry: '{part.chemistry}' is not in tables/chemistry.csv"
                    f"{nearest(part.chemistry, list(tables.chemistries))}"
                )
            if isinstance(part, Cable):
                problems.extend(
                    f"{shown(path)}:{line}: {column}: {message} (got '{getattr(part, column)}')"
                    for column, message in part.misfits(tables.conductors)
                )
        parts[kind] = tuple(sorted((part for _, part in found), key=lambda part: part.id))
    by_id = {part.id: part for found in parts.values() for part in found}
    kits = load_kits(home / "kits.csv", by_id, seen, problems, doubts)
    raise_if_any(problems)
    digest = hashlib.sha256()
    for path in sorted([*home.glob("*.csv"), *home.glob("*.toml"), *home.glob("tables/*.csv")]):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return Catalog(
        name=str(head.get("name", home.name)),
        currency=str(head["currency"]),
        tables=tables,
        sha256=digest.hexdigest(),
        doubts=tuple(doubts),
        kits=kits,
        **parts,  # type: ignore[arg-type]  # each file's record kind is that of FILES
    )
