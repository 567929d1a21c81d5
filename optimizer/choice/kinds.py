"""Kinds of design: what tells two designs apart in the large, so that the next-best that differ in kind can be found.

A kind is (what the core is, the kinds of its controllers, the formats of its modules). Dominance is computed inside a
kind, and kinds that are known already are forbidden: to the upper bounds and by cuts to the program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from optimizer.choice.blocks import Arrays
from optimizer.choice.cores import Cores
from optimizer.choice.table import Table
from optimizer.design import Design
from optimizer.inputs.parts import Controller, Inverter

COUNTED = ("voltage", "chemistry", "controller", "inverter-kind", "format")
"""What may tell kinds apart."""

Kind = tuple[tuple[str, ...], frozenset[str], frozenset[str]]


def _controller_kind(part: Controller | Inverter) -> str:
    return part.kind if isinstance(part, Controller) else "built-in tracker"


@dataclass(frozen=True)
class Kinds:
    """What is counted, and the kinds that are known already."""

    counted: tuple[str, ...] = ()
    forbidden: frozenset[Kind] = frozenset()

    def _core(self, volts: int, chemistry: str, inverter: Inverter | None) -> tuple[str, ...]:
        told = {"voltage": f"{volts} V", "chemistry": chemistry, "inverter-kind": inverter.kind if inverter else "no inverter"}
        return tuple(told[name] for name in COUNTED if name in told and name in self.counted)

    def of(self, design: Design) -> Kind:
        """Kind of a design."""
        controllers = {_controller_kind(block.part) for block in design.blocks} if "controller" in self.counted else set()
        formats = {f"{block.module.series_cells} cells" for block in design.blocks} if "format" in self.counted else set()
        core = self._core(design.bank.volts, design.bank.battery.chemistry, design.inverters.inverter)
        return core, frozenset(controllers), frozenset(formats)

    def of_cores(self, cores: Cores, table: Table) -> list[tuple[str, ...]]:
        """The core's part of the kind, one a row."""
        return [
            self._core(int(volts), cores.batteries[battery].chemistry, cores.inverters[inverter] if inverter >= 0 else None)
            for volts, battery, inverter in zip(table.volts, table.battery, table.inverter, strict=True)
        ]

    def of_blocks(self, arrays: Arrays, blocks: Table) -> tuple[np.ndarray, np.ndarray]:
        """Controller kind and module format of each block; empty words for what is not counted."""
        controllers = [_controller_kind(part) if "controller" in self.counted else "" for part in arrays.parts]
        formats = [f"{module.series_cells} cells" if "format" in self.counted else "" for module in arrays.modules]
        return np.array(controllers, dtype=object)[blocks.device], np.array(formats, dtype=object)[blocks.module]

    def forbidden_alone(self, core: tuple[str, ...], controllers: np.ndarray, formats: np.ndarray) -> np.ndarray:
        """Blocks that make a design of a forbidden kind by themselves, shape (blocks,)."""
        taken = np.zeros(len(controllers), dtype=bool)
        for kind, of_controllers, of_formats in self.forbidden:
            if kind == core:
                taken |= _within(controllers, of_controllers) & _within(formats, of_formats)
        return taken

    def forbidden_pairs(self, core: tuple[str, ...], controllers: np.ndarray, formats: np.ndarray, first: np.ndarray, second: np.ndarray) -> np.ndarray:
        """Pairs of blocks, by their rows, whose design is of a forbidden kind, shape (pairs,)."""
        taken = np.zeros(len(first), dtype=bool)
        for kind, of_controllers, of_formats in self.forbidden:
            if kind == core:
                taken |= _makes(controllers, of_controllers, first, second) & _makes(formats, of_formats, first, second)
        return taken


def _within(words: np.ndarray, wanted: frozenset[str]) -> np.ndarray:
    """Rows whose word alone is all that is wanted; nothing is wanted of what is not counted."""
    if len(wanted) != 1:
        return np.full(len(words), not wanted)
    return np.asarray(words == next(iter(wanted)), dtype=bool)


def _makes(words: np.ndarray, wanted: frozenset[str], first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Pairs whose words together are exactly `wanted`; words that are not counted are empty."""
    if not wanted:
        return np.ones(len(first), dtype=bool)
    if len(wanted) > 2:
        return np.zeros(len(first), dtype=bool)
    inside = np.any([np.asarray(words == one, dtype=bool) for one in wanted], axis=0)
    makes = inside[first] & inside[second]
    if len(wanted) == 2:
        number = numbered(list(words))
        makes &= number[first] != number[second]
    return np.asarray(makes)


def numbered(words: Sequence[object]) -> np.ndarray:
    """A number for each different word, for comparing rows."""
    known: dict[object, int] = {}
    return np.array([known.setdefault(word, len(known)) for word in words], dtype=float)
