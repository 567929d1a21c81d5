"""The section of the problem file on circuits: how long they are, and how much of their voltage may be lost."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from optimizer.inputs.load import Section

Length = Annotated[float, Field(ge=0.1, le=500)]
Drop = Annotated[float, Field(ge=0.2, le=10)]
"""Voltage drop [%]; never above 10 %."""


class Wiring(Section):
    """Where the circuits run, one way, and how much of their voltage may be lost on the way."""

    family: Literal["by the AC", "NEC", "IEC"] = "by the AC"
    array_run_m: Length = 15.0
    string_m: Length = 4.0
    charge_run_m: Length = 2.0
    battery_run_m: Length = 1.0
    inverter_run_m: Length = 1.5
    ac_run_m: Length = 5.0
    dc_run_m: Length = 5.0
    conductors_together: Annotated[int, Field(ge=2, le=40)] = 3
    array_drop_pct: Drop = 3.0
    charge_drop_pct: Drop = 1.5
    inverter_drop_pct: Drop = 2.0
    ac_drop_pct: Drop = 3.0
    dc_drop_pct: Drop = 3.0
    tinned: bool = False
    arc_fault_detectors: bool = False
    rapid_shutdown: bool = False
