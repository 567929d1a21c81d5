"""Rules of the mounts of one array, from the records of mounts and module."""

from __future__ import annotations

from optimizer.design import Block
from optimizer.errors import OutOfRange
from optimizer.inputs.mount_parts import ROOFS, Mount
from optimizer.mounts import bars_mount
from optimizer.needs.site import Needs
from optimizer.proof.lines import Line, Lines
from optimizer.rules import mounting
from optimizer.rules.book import meets

Set = tuple[tuple[Mount, int], ...]
"""Mounts of one array, with how many there are of each."""


def mounts_name(number: int) -> str:
    """What the mounts of an array are called in the proof and in the schedules."""
    return f"array {number}: mounts"


def mount_lines(needs: Needs, known: tuple[Mount, ...], block: Block, taken: Set | None, where: str) -> list[Line]:
    """Rules 98 and 106 for the mounts of one array; `taken` is None where no set of the catalog may carry it."""
    asked, tilts = needs.mounting_on(block.plane), needs.array_on(block.plane).positions_deg
    if asked is None:
        return []
    lines = Lines(needs.severities, where)
    nothing = f"no mounts of the catalog carry {block.modules_each} modules of {block.module.id}"
    lines.add("mount-parts", taken is not None, True, "" if taken is not None else lines.at(nothing))
    for mount, _ in taken or ():
        at = lines.at(mount.id)
        if bars_mount(needs.problem, mount, known):
            lines.add("part-limit", 1, 0, mount.id)
        lines.add("mount-place", mount.place, asked.places or (mount.place,), at)
        lines.add("mount-wind", mount.wind_max_m_s, asked.wind_m_s, at)
        lines.add("mount-snow", mount.snow_max_kn_m2, asked.snow_kn_m2, at)
        outside = max((float(mounting.tilt_out_of_reach_deg(tilt, mount.tilt_min_deg, mount.tilt_max_deg)) for tilt in tilts), default=None)
        lines.add("mount-tilt", outside, 0.0, lines.at(f"{mount.id}, {mount.tilt_min_deg:g} to {mount.tilt_max_deg:g} deg"))
        if len(tilts) > 1:
            lines.add("mount-adjustable", mount.adjustable, True, at)
        lines.add("mount-size", block.module.length_mm, mount.module_length_max_mm, lines.at(f"{mount.id}, long side"))
        lines.add("mount-size", block.module.width_mm, mount.module_width_max_mm, lines.at(f"{mount.id}, short side"))
        if asked.salt:
            lines.add("mount-salt", mount.salt, True, at)
    if taken is not None:
        room = sum(mount.modules * n for mount, n in taken)
        lines.add("mount-modules", room >= block.modules_each, True, lines.at(f"{room} places for {block.modules_each} modules"))
        if asked.roof_load_max_kn_m2 is not None and any(mount.place in ROOFS for mount, _ in taken):
            lines.add("roof-load", roof_load(needs, block, taken), asked.roof_load_max_kn_m2)
    return lines.lines


def roof_load(needs: Needs, block: Block, taken: Set) -> float | None:
    """Greatest load under a mount on a roof at the steepest tilt, the modules placed so that it is least [kN/m2]; None where it is not known.

    The load under a mount falls with the modules on it. A load is not passed where every mount may be filled so far, and
    the modules are enough for that.
    """
    asked, tilts = needs.mounting_on(block.plane), needs.array_on(block.plane).positions_deg
    if asked is None or not tilts:
        return None

    def under(mount: Mount, modules: int) -> float:
        kg = mount.weight_kg + mount.ballast_kg
        return float(mounting.roof_load_kn_m2(block.module.weight_kg, modules, kg, block.module.area_m2, max(tilts), asked.snow_kn_m2))

    try:
        loads = {mount.id: [under(mount, n) for n in range(1, mount.modules + 1)] for mount, _ in taken if mount.place in ROOFS}
    except OutOfRange:
        return None
    for most in sorted({load for of_mount in loads.values() for load in of_mount}):
        least = 0
        for mount, n in taken:
            if mount.place not in ROOFS:
                continue
            enough = next((k for k, load in enumerate(loads[mount.id], start=1) if meets(load, most, "at most")), None)
            if enough is None:
                break
            least += enough * n
        else:
            if least <= block.modules_each:
                return most
    return None
