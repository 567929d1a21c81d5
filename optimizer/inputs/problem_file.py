"""The problem file: TOML with its loads in CSV, in metric or other units, every error at once."""

from __future__ import annotations

import hashlib
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from optimizer.errors import InputError
from optimizer.inputs.array import Array
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.load import Load, Section
from optimizer.inputs.planes import Plane
from optimizer.inputs.problem import Problem
from optimizer.inputs.text_tables import (
    cell_message,
    file_text,
    nearest,
    raise_if_any,
    read_rows,
    shown,
    unknown_key,
    validation_messages,
)

# Keys may be given in other units: the suffix says which, the value is converted to the metric key.
OTHER_UNITS: Mapping[str, tuple[str, Callable[[float], float]]] = {
    "_f": ("_c", lambda value: (value - 32) / 1.8),
    "_ft": ("_m", lambda value: value * 0.3048),
    "_ft2": ("_m2", lambda value: value * 0.09290304),
    "_lb": ("_kg", lambda value: value * 0.45359237),
    "_lb_max": ("_kg_max", lambda value: value * 0.45359237),
    "_mph": ("_m_s", lambda value: value * 0.44704),
    "_psf": ("_kn_m2", lambda value: value * 0.04788026),
    "per_lb": ("per_kg", lambda value: value / 0.45359237),  # money per pound; longest suffix first
}


SHAPES = {
    "model_type": "one table, as [site]", "dict_type": "one table, as { winter = 3 }", "tuple_type": "a list, as [12, 24]", "list_type": "a list, as [12, 24]",
}
"""What a value should have been that is of another shape, by the kind of error."""


NAMED_ROWS = {
    "loads": ("load", "item"), "planes": ("plane", "name"), "owned": ("owned part", "part"), "growth.stages": ("stage", "name"), "growth.futures": ("future", "name"),
}
"""Lists of tables, what an error calls a row of them, and the key that names it."""


def _converted(value: Any, change: Callable[[float], float]) -> Any:
    if isinstance(value, list):
        return [_converted(item, change) for item in value]
    if isinstance(value, dict):
        return {key: _converted(item, change) for key, item in value.items()}
    if isinstance(value, str) and "x" in value.lower():  # sides of a rectangle
        try:
            return " x ".join(f"{change(float(side)):.6g}" for side in value.lower().split("x"))
        except ValueError:
            return value
    return round(change(value), 6) if isinstance(value, (int, float)) and not isinstance(value, bool) else value


def to_metric(section: dict[str, Any], known: Mapping[str, Any], where: str, problems: list[str]) -> dict[str, Any]:
    """A section with keys in feet, pounds and degrees Fahrenheit turned into their metric keys."""
    metric = {key: value for key, value in section.items() if key in known}
    for key, value in section.items():
        if key in known:
            continue
        target, new = key, value
        for suffix in sorted(OTHER_UNITS, key=len, reverse=True):
            metric_suffix, change = OTHER_UNITS[suffix]
            if key.endswith(suffix) and key.removesuffix(suffix) + metric_suffix in known:
                target, new = key.removesuffix(suffix) + metric_suffix, _converted(value, change)
                break
        if target in metric:
            problems.append(f"{where}.{key}: the same value is given twice, in two units")
        metric[target] = new
    return metric


def _load_rows(path: Path, problems: list[str]) -> list[dict[str, Any]]:
    """Loads from a CSV file; hours stand in columns hours_SEASON, or hours for every season."""
    try:
        header = next(line for line in path.read_text(encoding="utf-8-sig").splitlines() if line.strip())
    except (OSError, StopIteration, UnicodeDecodeError):
        header = ""
    columns = [column.strip().strip('"') for column in re.split("[,;\t]", header)]
    seasons = [column for column in columns if column == "hours" or column.startswith("hours_")]
    known = [field for field in Load.model_fields if field != "hours"] + (seasons or ["hours"])
    rows = []
    required = [field for field, one in Load.model_fields.items() if one.is_required() and field != "hours"]
    before = len(problems)
    read = read_rows(path, known, problems, "; loads_file names a CSV file beside the problem file", required)
    if not read and len(problems) == before:
        problems.append(f"{shown(path)}: has no loads: below the names of the columns comes one row a load")
    for row in read:
        cells: dict[str, Any] = {column: cell for column, cell in row.cells.items() if column not in seasons}
        hours = {column.removeprefix("hours_"): cell for column, cell in row.cells.items() if column in seasons}
        cells["hours"] = hours
        try:
            Load.model_validate(cells)
        except ValidationError as bad:
            problems.extend(f"{shown(path)}:{row.line}: {field}: {message}" for field, message in validation_messages(bad, Load))
        else:
            rows.append(cells)
    return rows


def _spread_hours(loads: list[Any], seasons: tuple[str, ...]) -> None:
    """`hours = 5` and a CSV column `hours` mean that many hours in every season."""
    for load in loads:
        if not isinstance(load, dict):
            continue
        hours = load.get("hours")
        if isinstance(hours, (int, float)):
            load["hours"] = dict.fromkeys(seasons, hours)
        elif isinstance(hours, dict) and "hours" in hours:
            every = hours.pop("hours")
            load["hours"] = {**dict.fromkeys(seasons, every), **hours}


def _read_stages(data: dict[str, Any], name: str, folder: Path, seasons: tuple[str, ...], problems: list[str]) -> None:
    """Loads of the stages of growth: in the file itself or in CSV files of their own, hours as everywhere."""
    growth = data.get("growth")
    if not isinstance(growth, dict) or not isinstance(growth.get("stages"), list):
        return
    stages = [dict(stage) if isinstance(stage, dict) else stage for stage in growth["stages"]]
    for stage in stages:
        if not isinstance(stage, dict):
            continue
        loads = [dict(load) if isinstance(load, dict) else load for load in stage.get("loads", [])] if isinstance(stage.get("loads", []), list) else []
        loads_file = stage.pop("loads_file", None)
        if isinstance(loads_file, str):
            loads.extend(_load_rows(folder / loads_file, problems))
        elif loads_file is not None:
            problems.append(f"{name}: growth.stages: loads_file: must be the name of a CSV file beside the problem")
        _spread_hours(loads, seasons)
        if loads:
            stage["loads"] = loads
        changed = stage.get("set")
        if isinstance(changed, dict) and isinstance(changed.get("array.weather_file"), str):
            stage["set"] = {**changed, "array.weather_file": str(folder / changed["array.weather_file"])}
    data["growth"] = {**growth, "stages": stages}


def problem_from(data: dict[str, Any], name: str, folder: Path) -> Problem:
    """A problem from the tables of its file; raises InputError with every error."""
    problems: list[str] = []
    data = dict(data)
    loads = [dict(load) if isinstance(load, dict) else load for load in data.get("loads", [])] if isinstance(data.get("loads", []), list) else []
    loads_file = data.pop("loads_file", None)
    if loads_file is not None:
        if isinstance(loads_file, str):
            loads.extend(_load_rows(folder / loads_file, problems))
        else:
            problems.append(f"{name}: loads_file: must be the name of a CSV file beside the problem")
    seasons = tuple(data["seasons"]) if isinstance(data.get("seasons"), dict) and data["seasons"] else ("all",)
    _spread_hours(loads, seasons)
    data["loads"] = loads
    _read_stages(data, name, folder, seasons, problems)
    origins = _read_weather(data, folder, problems)
    for section, field in Problem.model_fields.items():
        table = data.get(section)
        records = (field.annotation, *get_args(field.annotation))  # a section that may be left out stands beside None
        record = next((one for one in records if isinstance(one, type) and issubclass(one, Section)), None)
        if isinstance(table, dict) and record is not None:
            data[section] = to_metric(table, record.model_fields, f"{name}: {section}", problems)
    if isinstance(data.get("planes"), list):
        data["planes"] = [to_metric(one, Plane.model_fields, f"{name}: planes", problems) if isinstance(one, dict) else one for one in data["planes"]]
    try:
        problem = Problem.model_validate(data)
    except ValidationError as bad:
        unread = bool(problems) and not loads  # the load file is wrong, and said so: its loads are not missing
        errors = bad.errors(include_url=False)
        numbers = {_where(error, data) for error in errors if error["type"] != "dict_type"}
        errors = [error for error in errors if error["type"] != "dict_type" or _where(error, data) not in numbers]  # either would do
        inside = {error["loc"][:at] for error in errors for at in range(1, len(error["loc"]))}
        errors = [error for error in errors if error["type"] != "too_short" or error["loc"] not in inside]  # its rows are wrong, and none of them counts
        messages = (message for error in errors for message in _problem_messages(error, data))
        told = dict.fromkeys(f"{name}: {message}" for message in messages if not (unread and message.startswith("loads: ")))
        raise InputError([*problems, *told]) from None
    raise_if_any(problems)
    problem.temperatures.taken_from(origins)
    return problem


def _read_weather(data: dict[str, Any], folder: Path, problems: list[str]) -> dict[str, str]:
    """The weather file beside the problem: temperatures of the air that the problem leaves out, and where they come from."""
    array, given = data.get("array"), data.get("temperatures", {})
    if not isinstance(array, dict) or not isinstance(array.get("weather_file"), str) or not isinstance(given, dict):
        return {}
    path = folder / array["weather_file"]
    data["array"] = {**array, "weather_file": str(path)}
    from optimizer.inputs.weather import load_weather  # reads by pandas, which other problems do without

    try:
        weather = load_weather(path)
    except InputError as bad:
        problems += bad.problems
        lost = {"lowest_c": -40, "hottest_c": 60, "air_c": 10}  # the file is wrong, and said so: its temperatures are not missing
        data["temperatures"] = {**{key: value for key, value in lost.items() if not _is_given(key, given)}, **given}
        return {}
    found = {
        "lowest_c": (weather.lowest_c, f"lowest hour in {weather.name}; a typical year holds no record, and winters may be colder"),
        "hottest_c": (weather.hottest_c, f"hottest hour in {weather.name}"),
        "air_c": (weather.monthly_air_c, f"monthly means in {weather.name}"),
    }
    missing = [key for key in found if not _is_given(key, given)]
    data["temperatures"] = {**{key: found[key][0] for key in missing}, **given}
    return {key: found[key][1] for key in missing}


def _is_given(key: str, section: dict[str, Any]) -> bool:
    return key in section or key.removesuffix("_c") + "_f" in section


def _problem_messages(error: Any, data: Mapping[str, Any]) -> Iterator[str]:
    if error["type"] == "value_error":  # of a whole section or file: one line an error
        where = _where(error, data)
        for line in error["msg"].removeprefix("Value error, ").splitlines():
            key = where == "array" and line.partition(":")[0] in Array.model_fields  # an error of the section that names its key
            yield f"{where}.{line}" if key else f"{where}: {line}" if where else line
    else:
        yield _problem_message(error, data)


def _where(error: Any, data: Mapping[str, Any]) -> str:
    """Section and key of an error; a row of a list by its name, or its number from one on."""
    steps = [str(step) for step in error["loc"] if "[" not in str(step) and step not in ("float", "constrained-float")]
    for at, step in enumerate(steps):
        called, key = NAMED_ROWS.get(".".join(steps[:at]), ("", ""))
        if called and step.isdecimal():
            rows: Any = data
            for section in steps[:at]:
                rows = rows[section]
            record = rows[int(step)]
            name = record.get(key, int(step) + 1) if isinstance(record, dict) else int(step) + 1
            return ".".join([f"{called} '{name}'", *steps[at + 1:]])
    return ".".join(steps)


def _problem_message(error: Any, data: Mapping[str, Any]) -> str:
    where = _where(error, data)
    if error["type"] == "extra_forbidden":
        return f"{where}: {unknown_key(Problem, error['loc'])}"
    if error["type"] == "missing":
        hints = {
            "loads": ': add [[loads]] tables, or loads_file = "loads.csv"',
        }
        return f"{where}: is required{hints.get(where, '')}"
    shown_input = error["input"] if not isinstance(error["input"], dict | BaseModel) else None
    message = cell_message(shown_input, error["type"], error["msg"]) if not isinstance(shown_input, list | tuple) else error["msg"].removeprefix("Value error, ")
    message = message.replace("column's name", "key's name")
    if error["type"] in SHAPES:
        message = f"must be {SHAPES[error['type']]}"
    return f"{where}: {message}" if where else message


def load_problem(path: str | Path) -> Problem:
    """Read a problem file (TOML); raises InputError with every error at once."""
    return load_problem_with_digest(path)[0]


def load_problem_with_digest(path: str | Path) -> tuple[Problem, str]:
    """A problem and the SHA-256 of its file, its load file and its weather file."""
    file = Path(path)
    name = shown(file)
    if not file.exists():
        beside = shipped_problem(file.name)
        near = nearest(file.name, _shipped_names()) if str(file) == file.stem else ""
        hint = f"; the shipped one is {beside}" if beside else f"{near}; `bankstring new FILE` writes one to start from"
        raise InputError(f"{path}: no such problem file{hint}")
    text = file_text(file, str(path) if file.is_dir() else name, "no such problem file")
    digest = hashlib.sha256(file.read_bytes())
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as bad:
        raise InputError(f"{name}: {bad}") from None
    array = data.get("array")
    for beside in (data.get("loads_file"), array.get("weather_file") if isinstance(array, dict) else None):
        if isinstance(beside, str) and (file.parent / beside).is_file():
            digest.update((file.parent / beside).read_bytes())
    return problem_from(data, name, file.parent), digest.hexdigest()


def _shipped_names() -> list[str]:
    return sorted(path.stem for path in shipped_folder("problems").glob("*.toml"))


def shipped_problem(name: str) -> Path | None:
    """A shipped problem of that file name, if there is one."""
    path = shipped_folder("problems") / name
    return path if path.is_file() else None
