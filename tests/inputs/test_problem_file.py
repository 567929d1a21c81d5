"""Problem files: totals of the shipped sites, and every kind of mistake named at once."""

import hashlib
from pathlib import Path

import pytest

from optimizer import load_problem
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.load import Load, Section
from optimizer.inputs.problem import MONTHS, Owned, Problem
from optimizer.inputs.problem_file import OTHER_UNITS, load_problem_with_digest, shipped_problem
from optimizer.needs.sunlight import sun_hours_that_count

SITES = sorted(path.stem for path in shipped_folder("problems").glob("*.toml"))

SMALL = """
name = "Shed"

[site]
ac = "none"

[array]
sun_h = 4.0

[temperatures]
lowest_c = -10
hottest_c = 35
air_c = 10
battery_c = 12
battery_lowest_c = 2

[autonomy]
days = 2

[[loads]]
item = "Lamp"
watts = 10
supply = "DC"
volts = 12
hours = 4
"""


@pytest.fixture
def write(tmp_path):
    """Write a problem file (and its loads) into a folder of our own."""
    home = tmp_path / "mine"
    home.mkdir()

    def writing(text=SMALL, loads=None):
        if loads is not None:
            (home / "loads.csv").write_text(loads, encoding="utf-8")
        (home / "shed.toml").write_text(text, encoding="utf-8")
        return home / "shed.toml"

    return writing


def errors_of(path):
    with pytest.raises(InputError) as caught:
        load_problem(path)
    return caught.value.problems


def shipped(name):
    return load_problem(shipped_folder("problems") / f"{name}.toml")


# --- the shipped sites


def test_nineteen_sites_are_shipped():
    assert SITES == [
        "bird_station", "camper", "canal_barge", "clinic", "clinic_vaccine_refrigerator", "coast_house", "gable_house", "hill_school", "island_hut", "light_kit", "market_stall",
        "ranger_station", "river_lodge",
        "starter_cabin", "weekend_cabin", "winter_hut", "winter_hut_carried", "workshop", "year_round_home",
    ]


@pytest.mark.parametrize("name", SITES)
def test_every_shipped_site_loads_without_doubts(name):
    problem = shipped(name)
    assert list(problem.doubts()) == []
    assert len(sun_hours_that_count(problem)) == 12
    assert problem.site.latitude_deg is not None


def wh_by_season(problem, supply, share):
    return {
        season: round(sum(
            load.qty * load.watts * load.hours.get(season, 0) * share(load) for load in problem.loads if load.supply == supply
        ))
        for season in problem.season_names
    }


@pytest.mark.parametrize(("name", "ac", "dc"), [
    ("weekend_cabin", {"use": 78, "shut": 0}, {"use": 164, "shut": 36}),
    ("year_round_home", {"winter": 8702, "summer": 7587, "shoulder": 7274}, {"winter": 0, "summer": 0, "shoulder": 0}),
    ("camper", {"cool": 745, "warm": 745}, {"cool": 1403, "warm": 1518}),
    ("clinic", {"normal": 4936, "hot": 5416}, {"normal": 218, "hot": 218}),
    ("clinic_vaccine_refrigerator", {"normal": 0, "hot": 0}, {"normal": 564, "hot": 804}),
    ("winter_hut", {"summer": 0, "winter": 0}, {"summer": 698, "winter": 246}),
    ("light_kit", {"all": 0}, {"all": 70}),
    ("coast_house", {"winter": 32700, "summer": 8760}, {"winter": 0, "summer": 0}),
    ("workshop", {"all": 9191}, {"all": 0}),
    ("island_hut", {"season": 870}, {"season": 258}),
])
def test_load_totals_averaged_over_the_week(name, ac, dc):
    # Wh/day at the load's terminals, added up by hand from the load lists.
    problem = shipped(name)
    assert wh_by_season(problem, "AC", lambda load: load.days_per_week / 7) == ac
    assert wh_by_season(problem, "DC", lambda load: load.days_per_week / 7) == dc


@pytest.mark.parametrize(("name", "ac", "dc"), [
    ("weekend_cabin", {"use": 218, "shut": 0}, {"use": 394, "shut": 36}),
    ("clinic", {"normal": 5063, "hot": 5543}, {"normal": 218, "hot": 218}),
])
def test_load_totals_of_a_day_of_use(name, ac, dc):
    problem = shipped(name)
    assert wh_by_season(problem, "AC", lambda _: 1) == ac
    assert wh_by_season(problem, "DC", lambda _: 1) == dc


@pytest.mark.parametrize(("name", "ac_w", "ac_va", "dc_w", "worst"), [
    ("weekend_cabin", 100, 111, 152, (889, "Blender")),
    ("year_round_home", 4485, 5465, 0, (13465, "Well pump 1 hp")),
    ("camper", 1360, 1367, 316, (1387, "Satellite terminal")),
    ("clinic", 1226, 1495, 8, (2384, "Laser printer")),
    ("clinic_vaccine_refrigerator", 0, 0, 61, (0, "")),
    ("winter_hut", 0, 0, 234, (0, "")),
    ("light_kit", 0, 0, 21, (0, "")),
    ("coast_house", 8955, 9161, 0, (12161, "Water pump")),
    ("workshop", 5348, 6603, 0, (17853, "Thickness planer")),
])
def test_coincident_load_and_worst_start(name, ac_w, ac_va, dc_w, worst):
    problem = shipped(name)
    ac = [load for load in problem.loads if load.supply == "AC"]
    together = [load for load in ac if load.peak == "yes"]
    base = sum(load.qty * load.running_va for load in together)
    starts = {
        load.item: base - (load.running_va if load in together else 0) + load.surge_x * load.running_va for load in ac
    }
    assert round(sum(load.qty * load.watts for load in together)) == ac_w
    assert round(base) == ac_va
    assert round(sum(load.qty * load.watts for load in problem.loads if load.supply == "DC" and load.peak == "yes")) == dc_w
    assert (round(max(starts.values(), default=0)), max(starts, key=starts.__getitem__, default="")) == worst


def test_months_in_no_season_are_unused():
    assert [shipped("camper").season_of(month) for month in range(12)] == [*["unused"] * 3, "cool", *["warm"] * 5, *["unused"] * 3]
    assert shipped("light_kit").season_of(0) == "all"


def test_rectangles_are_pairs_of_metres():
    assert shipped("camper").array.rectangles == ((2.10, 1.10), (1.20, 1.07))


# --- defaults


def test_every_default_is_listed(write):
    problem = load_problem(write())
    listed = {line.split(" = ")[0]: line for line in problem.defaults()}
    for name, field in Problem.model_fields.items():
        if isinstance(field.annotation, type) and issubclass(field.annotation, Section):
            section = getattr(problem, name)
            for key in field.annotation.model_fields:
                given = key in section.model_fields_set
                empty = getattr(section, key) in (None, (), {})
                assert (f"{name}.{key}" in listed) == (not given and not empty), f"{name}.{key}"
    assert listed["autonomy.end_of_life_share"] == "autonomy.end_of_life_share = 0.8"
    assert listed["array.shade"] == "array.shade = 1"
    assert listed["site.attended"] == "site.attended = true"
    assert listed["bank.volts"] == "bank.volts = [12, 24, 48]"
    assert listed["loads.surge_x"] == "loads.surge_x = 1 where not given"
    assert "loads.power_factor" not in listed, "a DC load has none"


def test_what_is_given_is_no_default(write):
    problem = load_problem(write(SMALL.replace("days = 2", "days = 2\nend_of_life_share = 0.8").replace("hours = 4", "hours = 4\nsurge_x = 1")))
    listed = "\n".join(problem.defaults())
    assert "end_of_life_share" not in listed
    assert "surge_x" not in listed


# --- mistakes


def test_no_loads(write):
    assert errors_of(write(SMALL.split("[[loads]]", maxsplit=1)[0])) == [
        'mine/shed.toml: loads: there are no loads: add [[loads]] tables, or loads_file = "loads.csv"'
    ]


def test_load_without_hours(write):
    assert errors_of(write(SMALL.replace("hours = 4", ""))) == [
        "mine/shed.toml: loads: no load has hours in any season",
        "mine/shed.toml: loads: load 'Lamp' has no hours: give hours, or hours by season",
    ]


def test_a_month_without_sun_data(write):
    assert errors_of(write(SMALL.replace("sun_h = 4.0", "sun_h = [3, 3, 4, 4, 5, 5, 5, 5, 4, 3, 2]"))) == [
        "mine/shed.toml: array.sun_h: needs 12 values, January to December (got 11)"
    ]


def test_no_sun_data_at_all(write):
    assert errors_of(write(SMALL.replace("sun_h = 4.0", ""))) == [
        ("mine/shed.toml: array.sun_h: is required: twelve monthly sun hours on the array's plane; "
        "docs/problem-file.md says where to get them, and what horizontal_kwh_m2 or weather_file take in their place")
    ]


@pytest.mark.parametrize(("old", "new", "message"), [
    ("days = 2", "day = 2", "autonomy.day: this key is not known (did you mean 'days'?)"),
    ("[autonomy]", "[balanse]\narray_to_load = 1.3\n[autonomy]", "balanse: this key is not known (did you mean 'balance'?)"),
    ("hours = 4", "horus = 4", "load 'Lamp'.horus: this key is not known (did you mean 'hours'?)"),
    ("[autonomy]", '[[owned]]\npart = "PV-A"\nquantity = 1\nage_month = 3\n[autonomy]',
     "owned part 'PV-A'.age_month: this key is not known (did you mean 'age_months'?)"),
])
def test_unknown_key_names_the_nearest(write, old, new, message):
    assert f"mine/shed.toml: {message}" in errors_of(write(SMALL.replace(old, new)))


def test_futures_and_stages_are_called_by_their_names(write):
    growth = """
[growth]
[[growth.futures]]
name = "soon"
probability = 1.7
[[growth.stages]]
name = "shop"
yeer = 3
[autonomy]"""
    assert set(errors_of(write(SMALL.replace("[autonomy]", growth)))) == {
        "mine/shed.toml: future 'soon'.probability: must be less than or equal to 1 (got '1.7')",
        "mine/shed.toml: stage 'shop'.yeer: this key is not known",
    }


def test_toml_syntax(write):
    found = errors_of(write(SMALL.replace("lowest_c = -10", "lowest_c = -10 C")))
    assert len(found) == 1
    assert found[0].startswith("mine/shed.toml: ")
    assert "line 11" in found[0]


def test_text_that_is_not_utf_8(write):
    path = write()
    path.write_bytes(b'name = "\xe9"')
    assert errors_of(path) == ["mine/shed.toml: byte 8 is not UTF-8 text"]


def test_byte_order_mark_is_read(write):
    path = write()
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes())
    assert load_problem(path).name == "Shed"


def test_missing_file_points_to_a_shipped_one(tmp_path):
    assert errors_of(tmp_path / "nothing.toml") == [
        f"{tmp_path / 'nothing.toml'}: no such problem file; `bankstring new FILE` writes one to start from"
    ]
    assert errors_of(tmp_path / "camper.toml") == [
        f"{tmp_path / 'camper.toml'}: no such problem file; the shipped one is {shipped_problem('camper.toml')}"
    ]


def test_unknown_seasons_and_months(write):
    text = SMALL.replace("hours = 4", "hours = { sumer = 4 }").replace("days = 2", "days = { summer = 2, fall = 1 }")
    text = text.replace("[site]", '[seasons]\nsummer = ["May", "Jun"]\nautumn = ["Jun", "Sep"]\n[site]')
    assert errors_of(write(text)) == [
        "mine/shed.toml: seasons: month Jun stands in season 'summer' and in 'autumn'",
        "mine/shed.toml: loads: no load has hours in any season",
        "mine/shed.toml: loads: load 'Lamp': season 'sumer' is not known (did you mean 'summer'?)",
        "mine/shed.toml: autonomy.days: season 'fall' is not known",
        "mine/shed.toml: autonomy.days: season 'autumn' has no value",
    ]


def test_month_that_is_none(write):
    found = errors_of(write(SMALL.replace("[site]", '[seasons]\nsummer = ["June"]\n[site]')))
    assert found == [f"mine/shed.toml: seasons.summer.0: must be {', '.join(map(repr, MONTHS[:-1]))} or 'Dec' (got 'June')"]


def test_hard_rules_are_never_loosened(write):
    text = SMALL.replace("[autonomy]", '[rules]\nsurge = "off"\nbuget = "off"\nbounds = "soft"\nautonomy = "soft"\n[autonomy]')
    assert errors_of(write(text)) == [
        "mine/shed.toml: rules: rule 'surge' is hard (fire, shock, destroyed part): it is never loosened",
        "mine/shed.toml: rules: rule 'buget' is not known (did you mean 'budget'?)",
        "mine/shed.toml: rules: the bounds are set in [bounds]",
    ]


def test_ac_loads_need_their_ac(write):
    text = SMALL.replace('supply = "DC"\nvolts = 12', 'supply = "AC"\nvolts = 240')
    assert errors_of(write(text)) == ["mine/shed.toml: loads: load 'Lamp' is AC, but site.ac is \"none\""]
    assert errors_of(write(text.replace('ac = "none"', 'ac = "120 V 60 Hz"'))) == [
        ("mine/shed.toml: loads: load 'Lamp': 240 V does not fit site.ac = \"120 V 60 Hz\" "
        '(a 240 V load needs site.ac = "120/240 V 60 Hz")')
    ]


def test_all_errors_at_once(write):
    text = SMALL.replace('ac = "none"', 'ac = "120 V"').replace("days = 2", 'days = "two"').replace("watts = 10", "watts = -10")
    text = text.replace("sun_h = 4.0", 'sun_h = 4.0\nrectangles_m = ["2.10 x 1.10", "2.10"]').replace("lowest_c = -10", "lowest_c = nan")
    assert errors_of(write(text)) == [
        "mine/shed.toml: site.ac: must be 'none', '120 V 60 Hz', '120/240 V 60 Hz', '230 V 50 Hz' or '230/400 V 50 Hz' (got '120 V')",
        "mine/shed.toml: array.rectangles_m.1: a rectangle is written as '2.10 x 1.10' in metres (got '2.10')",
        "mine/shed.toml: temperatures.lowest_c: must be a finite number (got 'nan')",
        "mine/shed.toml: autonomy.days: must be a number (got 'two')",
        "mine/shed.toml: load 'Lamp'.watts: must be greater than 0 (got '-10')",
    ]


# --- other units


def test_feet_pounds_and_fahrenheit(write):
    text = SMALL.replace('ac = "none"', 'ac = "none"\nelevation_ft = 1000')
    text = text.replace("sun_h = 4.0", 'sun_h = 4.0\narea_ft2 = 100\nrectangles_ft = ["10 x 5"]')
    text = text.replace("lowest_c = -10", "lowest_f = 14").replace("battery_lowest_c = 2", "battery_lowest_f = { all = 50 }")
    text += "\n[limits]\ntotal_lb_max = 100\n[price]\nfreight_per_lb = 1.0\n[objective]\nprice_per_lb = 0.5\n"
    problem = load_problem(write(text.replace("air_c = 10", "air_f = [50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 50, 32]")))
    assert problem.site.elevation_m == pytest.approx(304.8)
    assert problem.array.area_m2 == pytest.approx(9.290304)
    assert problem.array.rectangles == (pytest.approx((3.048, 1.524)),)
    assert problem.temperatures.lowest_c == pytest.approx(-10)
    assert problem.temperatures.battery_lowest_c == {"all": pytest.approx(10)}
    assert problem.temperatures.air_c == pytest.approx((10.0,) * 11 + (0.0,))
    assert problem.limits.total_kg_max == pytest.approx(45.359237)
    assert problem.price.freight_per_kg == pytest.approx(2.204623, abs=1e-6)
    assert problem.objective.price_per_kg == pytest.approx(1.102311, abs=1e-6)


def test_one_value_in_two_units(write):
    assert errors_of(write(SMALL.replace("lowest_c = -10", "lowest_f = 14\nlowest_c = -10"))) == [
        "mine/shed.toml: temperatures.lowest_f: the same value is given twice, in two units"
    ]


def test_a_value_of_another_shape_is_told_in_words_of_the_file(write):
    text = SMALL.replace("days = 2", 'days = "2 days"')
    assert errors_of(write(text)) == ["mine/shed.toml: autonomy.days: must be a number: '2 days' carries a unit; the unit stands in the key's name"]
    assert errors_of(write(SMALL.replace("[site]", "[[site]]"))) == ["mine/shed.toml: site: must be one table, as [site]"]
    assert errors_of(write(SMALL + "\n[bank]\nvolts = 48\n")) == ["mine/shed.toml: bank.volts: must be a list, as [12, 24]"]


# --- loads in CSV

CSV_PROBLEM = 'loads_file = "loads.csv"\n' + SMALL.split("[[loads]]", maxsplit=1)[0]
LOADS = "item,watts,supply,volts,starts_by_itself,hours\nLamp,10,DC,12,n,4\nFan,15,DC,12,yes,6\n"


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_loads_from_csv(write, separator):
    problem = load_problem(write(CSV_PROBLEM, LOADS.replace(",", separator)))
    assert [(load.item, load.hours, load.starts_by_itself) for load in problem.loads] == [
        ("Lamp", {"all": 4.0}, False), ("Fan", {"all": 6.0}, True),
    ]


def test_loads_from_csv_with_seasons(write):
    text = CSV_PROBLEM.replace("[site]", '[seasons]\nsummer = ["Jun"]\nwinter = ["Dec"]\n[site]')
    problem = load_problem(write(text, LOADS.replace(",hours", ",hours,hours_winter").replace(",4\n", ",4,9\n")))
    assert [load.hours for load in problem.loads] == [{"summer": 4.0, "winter": 9.0}, {"summer": 6.0, "winter": 6.0}]


def test_a_file_without_a_row_is_named(write):
    assert errors_of(write(CSV_PROBLEM, LOADS.splitlines()[0] + "\n")) == [
        "mine/loads.csv: has no loads: below the names of the columns comes one row a load"
    ]


def test_errors_in_load_and_problem_file_are_all_listed(write):
    loads = LOADS.replace("Lamp,10", 'Lamp,"1,5"').replace("Fan,15,DC", "Fan,15W,XC")
    assert errors_of(write(CSV_PROBLEM.replace("days = 2", "days = -2"), loads)) == [
        "mine/loads.csv:2: watts: must be a number: '1,5' has a decimal comma, write 1.5",
        "mine/loads.csv:3: watts: must be a number: '15W' carries a unit; the unit stands in the column's name",
        "mine/loads.csv:3: supply: must be 'AC' or 'DC' (got 'XC')",
        "mine/shed.toml: autonomy.days: must be greater than 0 (got '-2')",
    ]


def test_unknown_load_column(write):
    assert errors_of(write(CSV_PROBLEM, LOADS.replace("watts", "watt"))) == [
        "mine/loads.csv:1: column 'watt' is not known (did you mean 'watts'?)"
    ]
    assert errors_of(write(CSV_PROBLEM, LOADS.replace("hours", "hour"))) == [
        "mine/loads.csv:1: column 'hour' is not known (did you mean 'hours'?)"
    ]


def test_missing_load_file(write):
    assert errors_of(write(CSV_PROBLEM)) == [
        "mine/loads.csv: file not found; loads_file names a CSV file beside the problem file"
    ]


def test_digest_covers_the_load_file(write):
    path = write(CSV_PROBLEM, LOADS)
    assert load_problem_with_digest(path)[1] == hashlib.sha256(CSV_PROBLEM.encode() + LOADS.encode()).hexdigest()


# --- doubts


@pytest.mark.parametrize(("old", "new", "doubt"), [
    ("battery_c = 12", "battery_c = 10", "temperatures.battery_c: is that of the air in every month: was it copied?"),
    ("sun_h = 4.0", "sun_h = [8, 10, 12, 13, 14, 14, 14, 14, 12, 11, 9, 8]",
     "array.sun_h: 14 h in a month, usually up to 8.5: hours of daylight instead of sun hours?"),
    ("lowest_c = -10", "lowest_c = 12", "temperatures.lowest_c: is above a monthly mean of the air"),
    ("hottest_c = 35", "hottest_c = 5", "temperatures.hottest_c: is below a monthly mean of the air"),
    ("hours = 4", "hours = 24\nsurge_x = 6\nstarts_by_itself = true",
     "loads: load 'Lamp' starts by itself and runs 24 hours a day: a refrigerator runs 8 to 12"),
])
def test_slips_of_the_pen_are_doubted(write, old, new, doubt):
    yearly_mean = "array.sun_h: is the same in every month: a yearly mean hides the month that decides"
    assert list(load_problem(write()).doubts()) == [yearly_mean]
    assert [found for found in load_problem(write(SMALL.replace(old, new))).doubts() if found != yearly_mean] == [doubt]


def test_lowest_above_hottest_is_an_error(write):
    assert errors_of(write(SMALL.replace("lowest_c = -10", "lowest_c = 40"))) == [
        "mine/shed.toml: temperatures.lowest_c: must be below hottest_c (got 40 and 35)"
    ]


# --- the documentation


def test_every_section_and_key_is_documented():
    text = (Path(__file__).parents[2] / "docs" / "problem-file.md").read_text(encoding="utf-8")
    parts = {part.split("\n")[0].strip(): part for part in text.split("\n## ")}
    for name, field in Problem.model_fields.items():
        record = {"loads": Load, "owned": Owned}.get(name, field.annotation)
        if isinstance(record, type) and issubclass(record, Section):
            title = f"[[{name}]]" if name in ("loads", "owned") else f"[{name}]"
            missing = [key for key in record.model_fields if f"`{key}`" not in parts[title]]
            assert missing == [], title
    assert "`name`" in parts["Top of the file"]
    assert "`loads_file`" in parts["Top of the file"]
    assert "[seasons]" in parts
    assert "[rules]" in parts
    assert [suffix for suffix in OTHER_UNITS if f"`{suffix.removesuffix('_max')}" not in parts["Units"] and "per_" not in suffix] == []
    assert "`freight_per_lb`" in parts["Units"]


def test_a_bank_needs_a_voltage_that_it_may_have():
    """An empty list was a traceback."""
    data = shipped("market_stall").model_dump(exclude_unset=True)
    data["bank"]["volts"] = ()
    with pytest.raises(ValueError, match="at least 1 item"):
        Problem.model_validate(data)
