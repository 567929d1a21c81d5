"""Columns of equal length: candidates as numpy arrays, one row a candidate."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np


class Table:
    """Named columns; a column may have more axes behind the first (months, seasons)."""

    def __init__(self, columns: Mapping[str, Any]) -> None:
        self.columns: dict[str, np.ndarray] = {name: np.asarray(values) for name, values in columns.items()}

    def __getattr__(self, name: str) -> np.ndarray:
        try:
            return self.__dict__["columns"][name]  # type: ignore[no-any-return]
        except KeyError:
            raise AttributeError(name) from None

    def __len__(self) -> int:
        return len(next(iter(self.columns.values())))

    def take(self, rows: np.ndarray) -> Table:
        """Rows by mask or by index."""
        return Table({name: values[rows] for name, values in self.columns.items()})

    def add(self, **columns: Any) -> None:
        """More columns; a single value is repeated."""
        count = len(self)
        for name, values in columns.items():
            array = np.asarray(values)
            self.columns[name] = np.full(count, values) if array.ndim == 0 else array

    @classmethod
    def of_records(cls, records: Sequence[Any], fields: Iterable[str]) -> Table:
        """One row a record; a value that is not known is NaN."""
        return cls({
            field: np.array([np.nan if (value := getattr(record, field)) is None else value for record in records])
            for field in fields
        })

    @classmethod
    def joined(cls, tables: Sequence[Table]) -> Table:
        """Tables of the same columns, one under the other."""
        return cls({name: np.concatenate([table.columns[name] for table in tables]) for name in tables[0].columns})


def product_rows(*lengths: int) -> list[np.ndarray]:
    """Row numbers of the Cartesian product of tables."""
    return [axis.ravel() for axis in np.meshgrid(*(np.arange(n) for n in lengths), indexing="ij")]
