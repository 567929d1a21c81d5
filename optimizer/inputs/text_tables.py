"""CSV files as people make them: read whole, every error of every row named with file, line and column."""

from __future__ import annotations

import csv
import difflib
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from optimizer.errors import InputError

Record = TypeVar("Record", bound=BaseModel)

_MONTH = "(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]{0,6}"
DATE_MADE_BY_SPREADSHEET = re.compile(
    rf"^(\d{{1,4}}[/.-]\d{{1,2}}[/.-]\d{{1,4}}|\d{{1,2}}[-/ ]?{_MONTH}([-/ ]?\d{{2,4}})?|{_MONTH}[-/ ]\d{{1,4}}|\d{{1,2}}[/-]\d{{1,2}})$",
    re.IGNORECASE,
)
NUMBER_WITH_UNIT = re.compile(r"^[-+]?\d+(\.\d+)?\s*[A-Za-z%°$€£/][\w/%°²]*$|^[$€£]\s*\d")
THOUSANDS = re.compile(r"^[-+]?\d{1,3}([,' ]\d{3})+(\.\d+)?$")
DECIMAL_COMMA = re.compile(r"^[-+]?\d+,\d+$")


@dataclass(frozen=True)
class Row:
    """One row of a file: its line and its cells by column, blank cells left out."""

    line: int
    cells: dict[str, str]


def nearest(word: str, known: Sequence[str]) -> str:
    """A hint that names the nearest known word.

    >>> nearest("voc", ["voc_v", "isc_a"])
    " (did you mean 'voc_v'?)"
    """
    close = difflib.get_close_matches(word, list(known), n=1, cutoff=0.5)
    return f" (did you mean '{close[0]}'?)" if close else ""


def shown(path: Path) -> str:
    """How a file is named in messages: its folder and name."""
    return f"{path.parent.name}/{path.name}" if path.parent.name else path.name


COPY_HINT = "; `bankstring new --catalog DIR` copies a whole catalog to edit"


def file_text(path: Path, name: str, missing: str, encoding_hint: str = "") -> str:
    """The text of a file; raises InputError with a sentence. `missing` stands after the name where there is no such file."""
    try:
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError(f"{name}: {missing}") from None
    except UnicodeDecodeError as bad:
        raise InputError(f"{name}: byte {bad.start} is not UTF-8 text{encoding_hint}") from None
    except OSError as bad:
        raise InputError(f"{name}: cannot be read: {'it is a folder' if path.is_dir() else bad.strerror or bad}") from None


def read_rows(
    path: Path, known_columns: Sequence[str], problems: list[str], missing: str = COPY_HINT, required_columns: Sequence[str] = (),
) -> list[Row]:
    """Rows of a CSV file as text; what is wrong with its form is added to `problems`."""
    name = shown(path)
    try:
        text = file_text(path, name, f"file not found{missing}", "; save it again as 'CSV UTF-8'")
    except InputError as bad:
        problems.extend(bad.problems)
        return []
    if not text.strip():
        problems.append(f"{name}:1: the file is empty; its first line must name the columns")
        return []
    first = next(line for line in text.splitlines() if line.strip())
    separator = ";" if first.count(";") > first.count(",") else ("\t" if first.count("\t") > first.count(",") else ",")
    # Text in, text out: a part called NA stays NA and 007 keeps its zeros. See docs/decisions/0006.
    grid: list[list[str]] = []
    starts: list[int] = []
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True, strict=True)
    try:
        ended = 0
        for cells in reader:
            grid.append([cell.strip() for cell in cells])
            starts.append(ended + 1)
            ended = reader.line_num
    except csv.Error as bad:
        problems.append(f"{name}:{reader.line_num}: cannot be read as a table: {bad}")
        return []
    widest = max(len(cells) for cells in grid)
    grid = [cells + [""] * (widest - len(cells)) for cells in grid]
    header_at = next(at for at, cells in enumerate(grid) if any(cells))
    header = grid[header_at]
    while header and not header[-1]:
        header.pop()
    ok = True
    for at, column in enumerate(header):
        if column not in known_columns:
            problems.append(f"{name}:{starts[header_at]}: column '{column or at + 1}' is not known{nearest(column, known_columns)}")
            ok = False
        if column in header[:at]:
            problems.append(f"{name}:{starts[header_at]}: column '{column}' stands twice")
            ok = False
    # Said once, not for each row; after a wrong name, which is mostly that of the missing column, not at all.
    lacking = [column for column in required_columns if column not in header] if ok else []
    problems.extend(f"{name}:{starts[header_at]}: column '{column}' is missing" for column in lacking)
    if lacking or not ok:
        return []
    rows = []
    for at, cells in zip(starts[header_at + 1 :], grid[header_at + 1 :], strict=True):
        if not any(cells):
            continue
        if any(cells[len(header) :]):
            problems.append(
                f"{name}:{at}: has more cells than the header has columns: a decimal comma, or a comma inside a text without quotes?"
            )
            continue
        broken = [column for column, cell in zip(header, cells, strict=False) if "\n" in cell]
        if broken:
            problems.append(f"{name}:{at}: {broken[0]}: has a line break inside the cell")
            continue
        rows.append(Row(at, {column: cell for column, cell in zip(header, cells, strict=False) if cell}))
    return rows


def cell_message(given: Any, kind: str, plain: str) -> str:
    """A sentence for one wrong cell, naming the usual damage where it is recognised.

    >>> cell_message("12,5", "float_parsing", "")
    "must be a number: '12,5' has a decimal comma, write 12.5"
    """
    text = str(given)
    if kind == "missing":
        return "is required and blank"
    if kind in ("float_parsing", "int_parsing", "int_from_float", "literal_error", "value_error", "string_pattern_mismatch"):
        if kind in ("float_parsing", "int_parsing"):
            if THOUSANDS.match(text):
                joined = re.sub("[,' ]", "", text)
                return f"must be a number: '{text}' has a thousands separator or a decimal comma; write {joined} if it is the former"
            if DECIMAL_COMMA.match(text):
                return f"must be a number: '{text}' has a decimal comma, write {text.replace(',', '.')}"
            if DATE_MADE_BY_SPREADSHEET.match(text):
                return f"must be a number: '{text}' looks like a date that a spreadsheet made; write lists with spaces, as '12 24'"
            if NUMBER_WITH_UNIT.match(text):
                return f"must be a number: '{text}' carries a unit; the unit stands in the column's name"
            whole = "a whole number" if kind == "int_parsing" else "a number"
            return f"must be {whole} (got '{text}')"
        if DATE_MADE_BY_SPREADSHEET.match(text):
            return f"'{text}' looks like a date that a spreadsheet made; write it as text"
    message = plain.removeprefix("Value error, ").replace("Input should be", "must be")
    return f"{message} (got '{text}')" if given is not None else message


def unknown_key(model: type[BaseModel], steps: Sequence[str | int]) -> str:
    """What to say of a key that a model does not have, however deep it stands."""
    section: Any = model
    for step in steps[:-1]:
        if isinstance(step, str) and step in section.model_fields:
            annotation = section.model_fields[step].annotation
            section = next((one for one in (annotation, *get_args(annotation)) if hasattr(one, "model_fields")), section)
    return f"this key is not known{nearest(str(steps[-1]), list(section.model_fields))}"


def validation_messages(bad: ValidationError, model: type[BaseModel]) -> Iterator[tuple[str, str]]:
    """Field and sentence for every error of a record."""
    for error in bad.errors(include_url=False):
        field = ".".join(step for step in error["loc"] if isinstance(step, str))
        if error["type"] == "extra_forbidden":
            yield field, unknown_key(model, error["loc"])
            continue
        given = None if error["type"] == "missing" else error["input"]
        yield field or "row", cell_message(given, error["type"], error["msg"])


def read_records(path: Path, record: type[Record], problems: list[str], extra: Sequence[str] = ()) -> list[tuple[int, Record]]:
    """Records of a CSV file with their lines; every error of every row is added to `problems`."""
    known = [field for field in record.model_fields if field != "assumed"] + list(extra)
    cautious: dict[str, Any] = getattr(record, "CAUTIOUS", {})
    found: list[tuple[int, Record]] = []
    required = [name for name, field in record.model_fields.items() if field.is_required() and name not in cautious]
    for row in read_rows(path, known, problems, required_columns=required):
        where = f"{shown(path)}:{row.line}"
        cells: dict[str, Any] = dict(row.cells)
        assumed = []
        for field, default in cautious.items():
            if field not in cells:
                try:
                    value = default(row.cells)
                except (KeyError, ValueError):
                    continue  # the column that the default rests on is wrong itself, and said so below
                if not value:
                    continue
                cells[field] = value
                assumed.append(f"{field} = {cells[field]}")
        if assumed:
            cells["assumed"] = tuple(assumed)
        try:
            found.append((row.line, record.model_validate(cells)))
        except ValidationError as bad:
            problems.extend(f"{where}: {field}: {message}" for field, message in validation_messages(bad, record))
    return found


def raise_if_any(problems: Sequence[str]) -> None:
    """End with every error at once."""
    if problems:
        raise InputError(problems)
