"""Several planes that modules may lie on: tables [[planes]] of the problem file."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Annotated

from pydantic import Field

from optimizer.inputs.array import Array, Rectangles, Tilts, TwelveShares, TwelveSunHours
from optimizer.inputs.load import Section
from optimizer.inputs.mount_parts import Place
from optimizer.inputs.mounting import Mounting, RoofLoad
from optimizer.inputs.parts import Positive

OF_A_PLANE = ("sun_h", "tilt_deg", "azimuth_deg", "area_m2", "rectangles_m")
"""Keys of [array] that stand with each plane where there are several."""


class Plane(Section):
    """One of the planes that modules may lie on; what is not said here stands in [array] and holds for each."""

    name: Annotated[str, Field(min_length=1)]
    tilt_deg: Tilts
    azimuth_deg: Annotated[float, Field(ge=0, lt=360)]
    sun_h: TwelveSunHours | None = None
    shade: TwelveShares = (1.0,) * 12
    area_m2: Positive | None = None
    rectangles_m: Rectangles = ()
    place: Place | None = None
    roof_load_max_kn_m2: RoofLoad | None = None


def array_on(array: Array, plane: Plane) -> Array:
    """The section [array] with a plane's own tilt, azimuth, sun, shade and room."""
    return array.model_copy(update={
        **{key: getattr(plane, key) for key in OF_A_PLANE}, "shade": tuple(a * b for a, b in zip(array.shade, plane.shade, strict=True)),
    })


def mounting_on(mounting: Mounting | None, plane: Plane) -> Mounting | None:
    """The section [mounting] with a plane's own place, and what its roof bears."""
    if mounting is None:
        return None
    own = {"places": (plane.place,) if plane.place is not None else None, "roof_load_max_kn_m2": plane.roof_load_max_kn_m2}
    return mounting.model_copy(update={key: value for key, value in own.items() if value is not None})


def mounting_doubts(array: Array, planes: Sequence[Plane], mounting: Mounting | None) -> Iterator[str]:
    """What is unlikely about where the array is mounted; what is said of some planes only, with their names."""
    if mounting is None:
        return
    if not planes:
        yield from mounting.doubts(array)
        return
    said: dict[str, list[str]] = {}
    for plane in planes:
        there = mounting_on(mounting, plane)
        for text in there.doubts(array_on(array, plane)) if there is not None else ():
            said.setdefault(text, []).append(plane.name)
    for text, names in said.items():
        yield text if len(names) == len(planes) else f"{key_of(', '.join(names))}: {text}"


def stated_sun(array: Array, planes: Sequence[Plane]) -> Iterator[tuple[str, tuple[float, ...]]]:
    """Every twelve months of sun that a problem states, by the key where they stand."""
    for key in ("sun_h", "horizontal_kwh_m2"):
        if getattr(array, key) is not None:
            yield f"array.{key}", getattr(array, key)
    yield from ((f"{key_of(plane.name)}: sun_h", plane.sun_h) for plane in planes if plane.sun_h is not None)


def key_of(name: str) -> str:
    """How a plane is named where something is said of it."""
    return f"planes: plane '{name}'"


def plane_complaints(array: Array, planes: Sequence[Plane], mounting: Mounting | None) -> Iterator[str]:
    """What planes say against each other, against [array] and against [mounting]."""
    names = [plane.name for plane in planes]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"{key_of(name)} stands twice"
    for key in OF_A_PLANE:
        if getattr(array, key) not in (None, ()):
            yield f"array.{key}: with [[planes]] each plane has its own: write it there"
    way = next((key for key in ("horizontal_kwh_m2", "weather_file") if getattr(array, key) is not None), None)
    for plane in planes:
        if way is None and plane.sun_h is None:
            yield f"{key_of(plane.name)}: sun_h is required, or horizontal_kwh_m2 or weather_file in [array]"
        if mounting is None:
            yield from (
                f"{key_of(plane.name)}: {key}: is for mounts that are chosen: add a section [mounting]"
                for key in ("place", "roof_load_max_kn_m2") if getattr(plane, key) is not None
            )
        elif plane.place is not None and not mounting.allows(plane.place):
            yield f"{key_of(plane.name)}: place: '{plane.place}' is not one of mounting.places"
        if plane.sun_h is not None and array_on(array, plane).tilt_is_open:
            yield f"{key_of(plane.name)}: tilt_deg: sun_h is for one tilt: several need horizontal_kwh_m2 or weather_file in [array]"
        if way is not None and plane.sun_h is not None:
            yield f"{key_of(plane.name)}: sun_h and array.{way} say the same thing: give one of them"
