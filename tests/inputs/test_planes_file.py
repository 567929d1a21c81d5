"""[[planes]] of a problem file: what is refused, in which words, and what a plane takes from [array]."""

from __future__ import annotations

import tomllib

import pytest

from optimizer import load_problem
from optimizer.errors import InputError
from optimizer.inputs.catalog import shipped_folder
from optimizer.inputs.problem import Problem
from optimizer.inputs.problem_file import problem_from
from optimizer.needs.requirements import requirements
from optimizer.needs.sunlight import by_plane, sun_hours_that_count, with_sun_percent

HOUSE = shipped_folder("problems") / "gable_house.toml"


def read(change=lambda data: None):
    data = tomllib.loads(HOUSE.read_text(encoding="utf-8"))
    change(data)
    return problem_from(data, "mine/house.toml", HOUSE.parent)


def errors_of(change):
    with pytest.raises(InputError) as bad:
        read(change)
    return [text.removeprefix("mine/house.toml: ") for text in bad.value.problems]


@pytest.mark.parametrize(("change", "errors"), [
    (lambda d: d["planes"][0].pop("tilt_deg"), ["plane 'east roof'.tilt_deg: is required"]),
    (lambda d: d["planes"][1].update(name="east roof"), ["planes: plane 'east roof' stands twice"]),
    (lambda d: d["planes"][1].update(tilt_degree=3), ["plane 'west roof'.tilt_degree: this key is not known (did you mean 'tilt_deg'?)"]),
    (lambda d: d["planes"][0].update(sun_h=4.0), ["planes: plane 'east roof': sun_h and array.horizontal_kwh_m2 say the same thing: give one of them"]),
    (lambda d: d["array"].update(area_m2=4.0, tilt_deg=3), [
        "array.tilt_deg: with [[planes]] each plane has its own: write it there", "array.area_m2: with [[planes]] each plane has its own: write it there",
    ]),
    (lambda d: d["array"].pop("horizontal_kwh_m2"), [
        "planes: plane 'east roof': sun_h is required, or horizontal_kwh_m2 or weather_file in [array]",
        "planes: plane 'west roof': sun_h is required, or horizontal_kwh_m2 or weather_file in [array]",
    ]),
    (lambda d: d.update(reliability={"loss_of_load_hours_max": 20}), [
        "reliability: a loss-of-load limit knows one plane: leave [[planes]] out; `bankstring replay` lives a design on several",
    ]),
])
def test_what_is_wrong_is_said(change, errors):
    assert errors_of(change) == errors


def test_a_plane_may_be_given_in_feet():
    def change(data):
        del data["planes"][0]["rectangles_m"]
        data["planes"][0].update(area_ft2=100, rectangles_ft=["10 x 5"])

    plane = read(change).planes[0]
    assert plane.area_m2 == pytest.approx(9.290304)
    assert plane.rectangles_m == ("3.048 x 1.524",)


def test_a_plane_has_its_own_room_and_shade_and_the_rest_of_the_array():
    def change(data):
        data["array"]["shade"] = 0.5

    east, west = by_plane(read(change))
    assert (east.array.azimuth_deg, west.array.azimuth_deg) == (90, 270)
    assert east.array.shade == (0.5,) * 12
    assert west.array.shade[0] == pytest.approx(0.4)  # hand: 0.5 of the site, 0.8 of the spruce
    assert east.array.mounting == west.array.mounting == "close to a roof"
    assert east.planes == ()
    # The year's sun of mirrored planes differs by the shade alone.
    assert sun_hours_that_count(west)[5] == pytest.approx(sun_hours_that_count(east)[5])
    assert sun_hours_that_count(west)[0] == pytest.approx(0.8 * sun_hours_that_count(east)[0])


def test_sun_hours_of_a_plane_are_doubted_like_those_of_an_array():
    def change(data):
        del data["array"]["horizontal_kwh_m2"]
        data["planes"][0]["sun_h"] = 4.0
        data["planes"][1]["sun_h"] = [2, 3, 4, 5, 6, 7, 9.5, 6, 5, 4, 3, 2]

    assert list(read(change).doubts()) == [
        "planes: plane 'east roof': sun_h: is the same in every month: a yearly mean hides the month that decides",
        "planes: plane 'west roof': sun_h: 9.5 h in a month, usually up to 8.5: hours of daylight instead of sun hours?",
    ]


def test_a_share_of_the_sun_is_taken_on_every_plane():
    problem = load_problem(HOUSE)
    half = with_sun_percent(problem, 50.0)
    for whole, less in zip(by_plane(problem), by_plane(half), strict=True):
        assert sun_hours_that_count(less) == pytest.approx(0.5 * sun_hours_that_count(whole))


def test_the_room_of_each_plane_is_a_requirement():
    problem = load_problem(HOUSE)
    found = {one.name: one for one in requirements(problem)}
    assert found["planes.east roof.rectangles_m"].with_value("any shape").planes[0].rectangles_m == ()
    assert found["planes.west roof.rectangles_m"].with_value("any shape").planes[0].rectangles_m != ()


def test_a_plane_may_leave_its_tilt_open_where_its_sun_is_calculated():
    data = load_problem(shipped_folder("problems") / "gable_house.toml").model_dump(exclude_unset=True)
    data["planes"] = [*data["planes"][:1], {"name": "yard", "tilt_deg": "best", "azimuth_deg": 180}]
    problem = Problem.model_validate(data)
    assert [len(one.array.tilts) for one in by_plane(problem)] == [1, 19]
    with pytest.raises(ValueError, match="'yard': tilt_deg: sun_h is for one tilt"):
        Problem.model_validate({**data, "planes": [{**data["planes"][1], "sun_h": 3.0}]})


@pytest.mark.parametrize(("planes", "mounting", "said"), [
    ({"place": "ground"}, None, "place: is for mounts that are chosen"), ({"roof_load_max_kn_m2": 1.5}, None, "roof_load_max_kn_m2: is for mounts"),
    ({"place": "ground"}, {"places": ["pitched roof"], "wind_m_s": 40, "snow_kn_m2": 1}, "place: 'ground' is not one of mounting.places"),
])
def test_what_a_plane_says_of_mounts_agrees_with_the_section(planes, mounting, said):
    data = load_problem(shipped_folder("problems") / "gable_house.toml").model_dump(exclude_unset=True)
    data["planes"] = [{**data["planes"][0], **planes}, data["planes"][1]]
    with pytest.raises(ValueError, match=said):
        Problem.model_validate({**data, **({"mounting": mounting} if mounting else {})})


def test_doubts_about_mounts_name_the_planes_that_they_are_about():
    data = load_problem(shipped_folder("problems") / "gable_house.toml").model_dump(exclude_unset=True)
    data["mounting"] = {"places": ["pitched roof"], "wind_m_s": 10, "snow_kn_m2": 1}
    data["planes"] = [{**data["planes"][0], "roof_load_max_kn_m2": 2.0}, data["planes"][1]]
    told = [text for text in Problem.model_validate(data).doubts() if "mounting" in text]
    assert [text.startswith("planes: plane 'west roof': mounting.roof_load_max_kn_m2") for text in told if "roof_load" in text] == [True]
    assert [text.startswith("mounting.wind_m_s") for text in told if "wind" in text] == [True]
