"""Files to start from: a commented problem with its loads, a catalog to edit, a choice to fill in."""

from __future__ import annotations

import shutil
import textwrap
from pathlib import Path

from optimizer.errors import InputError, WrongUse
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import Problem
from optimizer.inputs.problem_file import load_problem

STARTED_FROM = "weekend_cabin"
"""The shipped problem that a new one is a copy of."""

PROBLEM_HEAD = """\
# A problem file to start from: an example that can be solved as it stands. Change what differs at your site.
#
#   bankstring lint {file}      is everything well formed?
#   bankstring demand {file}    what do the loads ask for?
#   bankstring sun {file}       how much sun does the array get?
#   bankstring solve {file}     the cheapest design that breaks no rule
#
# Loads stand in {loads}, one row a kind of appliance; edit it as a spreadsheet and save it as CSV.
# Metric units; a key may end in another unit: lowest_f for lowest_c, _ft for _m, _ft2 for _m2, _lb for _kg.
# sun_h is on the plane of the array, not on the horizontal, and not hours of daylight; horizontal_kwh_m2 with tilt_deg, or a
# weather_file, may stand in its place.
# Keys that may be added stand at the end of this file.

"""

CHOICE = """\
# A choice to fill in: what somebody would build. `bankstring check PROBLEM THIS_FILE` holds it against every rule.
# As it stands it fits the shipped problem weekend_cabin. Part ids are those of the catalog.

[bank]
voltage_v = 12                # class of the bank: 12, 24, 36 or 48
battery = "BT-FLA6-225"
series = 2                    # units in series
strings = 2                   # strings in parallel

[[charging]]                  # once for each kind of controller with its array
controller = "CM-A30-V100"    # or an all-in-one inverter, for its own tracker
count = 1                     # controllers, each with the same array:
module = "PV-395-108B"
series = 1                    # modules in a string
strings = 1                   # strings on each controller
# charge_limit_a = 20         # where a limit is set on the controller
# plane = "east roof"         # where the problem has [[planes]]: the one that this array lies on

[inverter]                    # leave this section out where there are no AC loads
model = "IV-700W-B12-AC120"
count = 1

[[converters]]                # for DC loads of another voltage than the bank's, or to steady the same
model = "DC-12-12-06"
count = 3
load_v = 12
"""

HIDDEN = frozenset({"name", "planes", "loads", "owned", "seasons", "rules", "growth", "reliability", "mounting"})

GROWTH = """\
# How the site may grow, for a plan over the years: stages change it, futures say when, their probabilities add up to 1.
#   [growth]
#   horizon_years = 10
#   discount_pct = 6
#
#   [[growth.stages]]
#   name = "freezer"
#   loads = [{item = "Freezer", watts = 90, supply = "AC", volts = 120, surge_x = 6, surge_s = 1, hours = {use = 8}}]
#   set = {"array.area_m2" = 30}    # values of this file that become others
#
#   [[growth.futures]]
#   name = "family"
#   probability = 0.6
#   steps = [{year = 3, stage = "freezer"}]
#
#   [[growth.futures]]
#   name = "as today"
#   probability = 0.4
#
"""


def _free(path: Path) -> Path:
    if path.exists():
        raise WrongUse(f"{path} exists already and is left as it is; give another name, or remove it first")
    return path


def _written(path: Path, text: str) -> Path:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    except OSError as bad:
        raise InputError(f"{path}: cannot be written: {bad.strerror or bad}") from None
    return path


def further_keys(problem: Problem) -> str:
    """Comment that lists the keys that a problem leaves out, with what holds without them."""
    lines = ["", "# Keys that may be added to these sections, with what holds without them:", "#"]
    for name in Problem.model_fields:
        if name in HIDDEN:
            continue
        section = getattr(problem, name)
        filled = [text.removeprefix(f"{name}.") for text in problem.defaults() if text.startswith(f"{name}.")]
        known = {text.partition(" = ")[0] for text in filled} | section.model_fields_set
        silent = [key for key in type(section).model_fields if key not in known]
        text = ", ".join(filled + [f"{key} (nothing)" for key in silent])
        if text:
            lines += textwrap.wrap(text, 110, initial_indent=f"#   [{name}]  ", subsequent_indent="#       ")
    lines += [
        "#", "# Planes that modules may lie on, once for each, in place of the plane in [array]; a controller's array lies on one:",
        "#   [[planes]]", '#   name = "east roof"', "#   tilt_deg = 35", "#   azimuth_deg = 90",
        "#   sun_h = [1.5, 2.3, 3.3, 4.2, 5.0, 5.6, 5.7, 5.0, 3.9, 2.6, 1.7, 1.3]", "#   area_m2 = 12",
        "#", "# Parts that the customer has already, once for each:", "#   [[owned]]", '#   part = "PV-100-36"', "#   quantity = 2",
        "#   age_months = 24", "#   must_use = false", "#",
        *GROWTH.splitlines(),
        "# Mounts as parts, chosen with the array for the wind and snow of local code; array.tilt_deg must be given:",
        "#   [mounting]", '#   places = ["pitched roof"]', "#   wind_m_s = 40", "#   snow_kn_m2 = 1.5", "#   roof_load_max_kn_m2 = 2.2", "#   salt = false", "#",
        "# Hours a year in which loads may be off, in years that are lived hour by hour:",
        "#   [reliability]", "#   loss_of_load_hours_max = 20", "#   critical_only = false", "#",
        "# Rules of this site, by their name in an answer: requirement, soft (only reported) or off. Hard rules stay.",
        "#   [rules]", '#   uncertainty = "requirement"', "",
    ]
    return "\n".join(lines)


def new_problem(path: Path) -> list[Path]:
    """Write a commented problem and its loads; refuses to overwrite. Returns the files written."""
    file = _free(path if path.suffix else path.with_suffix(".toml"))
    loads = _free(file.with_name(f"{file.stem}_loads.csv"))
    home = shipped_folder("problems")
    text = (home / f"{STARTED_FROM}.toml").read_text(encoding="utf-8")
    text = text.replace(f'loads_file = "{STARTED_FROM}_loads.csv"', f'loads_file = "{loads.name}"')
    more = further_keys(load_problem(home / f"{STARTED_FROM}.toml"))
    return [
        _written(file, PROBLEM_HEAD.format(file=file, loads=loads.name) + text.rstrip() + "\n" + more),
        _written(loads, (home / f"{STARTED_FROM}_loads.csv").read_text(encoding="utf-8")),
    ]


def new_choice(path: Path) -> list[Path]:
    """Write a commented choice to fill in; refuses to overwrite."""
    return [_written(_free(path if path.suffix else path.with_suffix(".toml")), CHOICE)]


def new_catalog(folder: Path) -> list[Path]:
    """Copy the shipped catalog into a new folder; refuses to overwrite."""
    try:
        shutil.copytree(shipped_folder("catalogs"), _free(folder))
    except OSError as bad:
        raise InputError(f"{folder}: cannot be written: {bad.strerror or bad}") from None
    return [folder]
