"""A site that grows and may have a generator: the timeline, fuel and service under each future, and the same as JSON."""

from __future__ import annotations

import json

import pytest

from optimizer.questions import grow as module

POST = """
# A post in a forest that may get a workshop: it has a generator of its own where that costs less than modules for December.
name = "Forest post"

[site]
ac = "230 V 50 Hz"
latitude_deg = 57
other_source = "generator"
on_building = false

[array]
sun_h = [1.6, 2.2, 3.1, 4.2, 5.0, 5.2, 5.0, 4.4, 3.3, 2.3, 1.7, 1.4]
tilt_deg = 65
azimuth_deg = 180

[temperatures]
lowest_c = -30
hottest_c = 28
air_c = [-9, -8, -3, 3, 9, 14, 16, 14, 9, 4, -2, -7]
battery_c = [10, 10, 11, 12, 14, 16, 18, 17, 15, 13, 11, 10]
battery_lowest_c = 6
electronics_highest_c = 28

[autonomy]
days = 1

[balance]
minimum_solar_share = 0.6

[generator]
in_design = true
hours_per_day_max = 6
fuel_price_per_l = 1.2

[bank]
volts = [24]

[locks]
only = ["PV-460-120H", "BT-LFP12-100", "CM-A40-V110", "IV-1200W-B24-AC230", "GE-P3500E", "CH-B24-30E"]

[bounds]
controllers = 1
chargers = 1
array_kinds = 1
charge_limit_steps = [1.0]
modules_in_series = 2
strings_per_controller = 2

[[loads]]
item = "lights"
qty = 6
watts = 9
supply = "AC"
volts = 230
hours = 6

[growth]
horizon_years = 2
price_trend_pct = { running = 3 }
resale_share = { generator = 0.3, charger = 0.3 }
end_value_share = { generator = 0.2 }

[[growth.stages]]
name = "workshop"

[[growth.stages.loads]]
item = "bench tools"
watts = 600
supply = "AC"
volts = 230
power_factor = 0.9
night_share = 0
hours = 4

[[growth.futures]]
name = "stays"
probability = 0.4

[[growth.futures]]
name = "grows"
probability = 0.6
steps = [{ year = 1, stage = "workshop" }]
"""
"""Today two modules and a small bank do; with a workshop a generator costs less than modules for December."""


@pytest.fixture(scope="module")
def once():
    """The question is answered once, however it is shown."""
    answers = {}

    def grow(problem, catalog, progress, *, minutes):
        if not answers:
            answers["the"] = asked(problem, catalog, progress, minutes=minutes)
        return answers["the"]

    asked = module.grow
    patch = pytest.MonkeyPatch()
    patch.setattr(module, "grow", grow)
    yield
    patch.undo()


def test_the_timeline_shows_the_generator_and_what_it_burns(run, once, tmp_path):
    problem = tmp_path / "post.toml"
    problem.write_text(POST, encoding="utf-8")
    ran = run("grow", problem)
    assert ran.code == 0
    now, later = ran.out.split("Buy now")[1].split("Present cost")[0].split("Year 1, if 'grows': workshop")
    assert "GE-P3500E" not in now
    assert "run " not in now
    text = " ".join(later.split())
    assert "GE-P3500E charging through 1 x CH-B24-30E" in text
    assert "buy 2 x BT-LFP12-100, 1 x CH-B24-30E, 1 x GE-P3500E" in text
    assert "USD a year for fuel and service, at today's prices" in text
    whole = " ".join(ran.out.split())
    assert "of that fuel and service: stays 0.00; grows" in whole
    assert "Fuel and service of every year until the next date are counted, each at its year's end, rising 3 % a year" in whole
    assert "A generator belongs to the design: outdoors" in whole

    data = json.loads(run("grow", problem, "--json").out)
    best = data["plans"][0]
    first, stage = best["stages"]
    assert first["choice"].get("source") is None
    assert first["running_a_year"] == 0
    assert stage["choice"]["source"]["generator"] == "GE-P3500E"
    # hand: paid at the end of the one year that is left, dearer by 3 % a year for two years, at 6 % a year.
    burnt = stage["running_a_year"] * 1.03**2 / 1.06**2
    assert best["running_by_future"] == {"stays": 0.0, "grows": pytest.approx(burnt, abs=0.01)}
    left = 0.2 * 510 / 1.06**2  # of the generator at the horizon
    assert best["cost_by_future"]["stays"] == pytest.approx(first["spent"], abs=0.01)
    assert best["cost_by_future"]["grows"] == pytest.approx(first["spent"] + stage["spent"] / 1.06 + burnt - left, abs=0.02)
