"""When loads run: the key `runs`, and the hour-by-hour loads that follow from it; their sums are those of the demand."""

from __future__ import annotations

import numpy as np
import pytest
from pydantic import ValidationError

from optimizer import load_problem
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.load import Load, clock_hours
from optimizer.needs.daylight import light_share
from optimizer.needs.hours import day_shape, hour_loads, use_days
from optimizer.needs.site import Needs

SITES = sorted(path.stem for path in shipped_folder("problems").glob("*.toml"))
LIGHT = light_share(45.0)


def load(**more):
    return Load(item="lamp", watts=10, supply="DC", volts=12, hours={"all": 5}, **more)


@pytest.mark.parametrize(("text", "hours"), [("18-23", (18, 19, 20, 21, 22)), ("6-8 18-20", (6, 7, 18, 19)), ("22-2", (0, 1, 22, 23)), ("0-24", tuple(range(24)))])
def test_hours_are_read_from_and_to(text, hours):
    assert clock_hours(text) == hours


@pytest.mark.parametrize("text", ["noon", "18", "18-25", "5-5", "18:00-23:00", ""])
def test_other_words_are_refused_with_what_is_allowed(text):
    with pytest.raises(ValidationError, match=r"must (be one of day, night, evening, always|not be empty)"):
        load(runs=text)


def test_more_hours_than_the_clock_gives_are_refused():
    with pytest.raises(ValidationError, match="5 h a day do not fit into runs '18-20', which are 2 h"):
        load(runs="18-20")


def test_it_is_read_from_a_column_and_blank_is_unsaid(tmp_path):
    text = (shipped_folder("problems") / "light_kit.toml").read_text(encoding="utf-8")
    rows = (shipped_folder("problems") / "light_kit_loads.csv").read_text(encoding="utf-8").splitlines()
    (tmp_path / "light_kit.toml").write_text(text, encoding="utf-8")
    cells = ["runs", "18-23", *[""] * (len(rows) - 2)]
    (tmp_path / "light_kit_loads.csv").write_text("\n".join(f"{row},{cell}" for row, cell in zip(rows, cells, strict=True)), encoding="utf-8")
    assert [one.runs for one in load_problem(tmp_path / "light_kit.toml").loads] == ["18-23", *[None] * (len(rows) - 2)]
    (tmp_path / "light_kit_loads.csv").write_text("\n".join(f"{row},{cell}" for row, cell in zip(rows, ["runs", "18-19", *cells[2:]], strict=True)), encoding="utf-8")
    with pytest.raises(InputError, match="h a day do not fit into runs '18-19', which are 1 h"):
        load_problem(tmp_path / "light_kit.toml")


@pytest.mark.parametrize("name", SITES)
def test_a_week_of_hours_is_the_demand(name):
    needs = Needs(load_problem(shipped_folder("problems") / f"{name}.toml"))
    loads = hour_loads(needs)
    for season in needs.seasons:
        for month in season.months:
            assert loads.total_wh[month].sum(axis=(0, 1)) / 7 == pytest.approx(season.demand.average_wh)
            assert loads.inverter_day[month].sum() == pytest.approx(season.demand.inverter_days)
    unused = sorted(set(range(12)) - set(needs.months))
    assert not loads.total_wh[unused].any()


@pytest.mark.parametrize("runs", [None, "day", "night", "evening", "always", "18-23"])
def test_a_day_adds_up(runs):
    assert day_shape(load(runs=runs), LIGHT).sum(axis=1) == pytest.approx(np.ones(12))


def test_the_night_share_is_used_in_the_dark():
    # hand: three quarters as a load of the night, one quarter as a load of the day.
    mixed, night, day = (day_shape(load(night_share=share), LIGHT) for share in (0.75, 1.0, 0.0))
    assert mixed == pytest.approx(0.75 * night + 0.25 * day)
    assert not night[LIGHT == 1].any()
    assert not day[LIGHT == 0].any()


def test_words_and_hours_are_where_they_say():
    # hand: five equal hours; day and night are what the sun makes them.
    assert day_shape(load(runs="18-23"), LIGHT)[0].tolist() == [0.0] * 18 + [0.2] * 5 + [0.0]
    assert np.array_equal(day_shape(load(runs="evening"), LIGHT), day_shape(load(runs="18-23"), LIGHT))
    assert day_shape(load(runs="always"), LIGHT)[5] == pytest.approx(np.full(24, 1 / 24))
    assert not day_shape(load(runs="day"), LIGHT)[LIGHT == 0].any()
    assert not day_shape(load(runs="night"), LIGHT)[LIGHT == 1].any()
    assert np.array_equal(day_shape(load(critical="defer"), LIGHT), day_shape(load(runs="day"), LIGHT))


def test_where_the_sun_does_not_rise_the_day_is_spread_evenly():
    polar = light_share(75.0)
    assert not polar[11].any()
    assert polar[5].all()
    assert day_shape(load(runs="day"), polar)[11] == pytest.approx(np.full(24, 1 / 24))


def test_days_of_use_come_first_in_the_week():
    assert use_days(7).tolist() == [1.0] * 7
    assert use_days(2.5).tolist() == [1.0, 1.0, 0.5, 0.0, 0.0, 0.0, 0.0]
