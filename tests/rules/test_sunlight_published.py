"""Sun on the horizontal and on tilted planes against published tables, hand-worked values and mirrored places.

Published tables were seen second-hand: in a, not in the publication.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from test_published import column, published

from optimizer.errors import OutOfRange
from optimizer.rules import sunlight

DAYS = np.array(sunlight.MEAN_DAYS)
MJ = 3.6


def test_mean_days() -> None:
    # published: Klein, in Duffie & Beckman, Solar Engineering of Thermal Processes (2013), Table 1.6.1, read.
    assert sunlight.MEAN_DAYS == (17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344)


def test_sun_above_the_air_by_latitude() -> None:
    # published: Duffie & Beckman (2013), Table 1.10.1; to 0.3 MJ/m2, of which Cooper's declination takes up to 0.27.
    table = published("sun_above_air.csv")
    assert len(table) == 36
    for latitude in ("30", "0", "-10"):
        expected = column([row for row in table if row["latitude_deg"] == latitude], "above_air_mj_m2")
        assert sunlight.extraterrestrial_kwh_m2(float(latitude), DAYS) * MJ == pytest.approx(expected, abs=0.3)


def test_a_tilted_plane_in_every_month() -> None:
    # published: Duffie & Beckman (2013), Example 2.19.1: Madison 43 N, 60 degrees, facing south; to 0.1 MJ/m2.
    table = published("tilted_plane_madison.csv")
    assert sunlight.extraterrestrial_kwh_m2(43, DAYS) * MJ == pytest.approx(column(table, "above_air_mj_m2"), abs=0.02)
    horizontal, ground = column(table, "horizontal_mj_m2") / MJ, column(table, "albedo")
    found = sunlight.monthly_mean_sun_h(horizontal, 43, 60, 180, ground)
    assert found * MJ == pytest.approx(column(table, "plane_mj_m2"), abs=0.1)


def test_a_tilted_plane_from_its_parts() -> None:
    # published: Duffie & Beckman (2013), Example 2.19.1, January; the parts of the method put together one by one.
    delta = sunlight.declination_deg(17)
    sunset = sunlight.sunset_hour_angle_deg(43, delta)
    share = sunlight.diffuse_share(6.44 / 13.37, sunset)
    plane = sunlight.isotropic_plane_kwh_m2(6.44 / MJ, share, sunlight.beam_ratio(43, delta, 60, 180), 60, 0.7)
    assert float(plane) * MJ == pytest.approx(13.7, abs=0.1)


def test_declination_and_sunset() -> None:
    # hand: 23.45 x sin(360 x 456 / 365) on 20 June (day 172); 0 on day 81, where 284 + 81 = 365.
    assert float(sunlight.declination_deg(172)) == pytest.approx(23.45 * math.sin(math.radians(360 * 456 / 365)), abs=1e-12)
    assert float(sunlight.declination_deg(81)) == pytest.approx(0.0, abs=1e-9)
    # hand: at the equinox, and at the equator, the sun sets a quarter turn after noon.
    assert float(sunlight.sunset_hour_angle_deg(60, 0.0)) == pytest.approx(90.0)
    assert float(sunlight.sunset_hour_angle_deg(0, 20.0)) == pytest.approx(90.0)
    # hand: arccos(-tan 45 x tan(-20)) = arccos(0.36397) = 68.66 degrees.
    assert float(sunlight.sunset_hour_angle_deg(45, -20.0)) == pytest.approx(68.66, abs=0.01)


def test_height_at_noon() -> None:
    # hand: overhead at the equator at the equinox; 90 - 43 - 23 = 24 in winter and 90 - 43 + 23 = 70 in summer; below the horizon.
    assert sunlight.noon_height_deg(np.array([0.0, 43.0, 43.0, -43.0, 80.0]), np.array([0.0, -23.0, 23.0, -23.0, -20.0])).tolist() == [90, 24, 70, 70, -10]


def test_diffuse_share_on_both_sides_of_the_bend() -> None:
    # published: Erbs, Klein & Duffie 1982, the two polynomials worked by hand at a clearness of 0.5.
    # 1.391 - 1.78 + 1.04725 - 0.267125 = 0.391125; 1.311 - 1.511 + 0.85675 - 0.227625 = 0.429125
    assert float(sunlight.diffuse_share(0.5, 81.4)) == pytest.approx(0.391125, abs=1e-9)
    assert float(sunlight.diffuse_share(0.5, 81.5)) == pytest.approx(0.429125, abs=1e-9)
    # hand: 1.311 - 0.9066 + 0.30843 - 0.049167 = 0.663663; 1.311 - 2.4176 + 2.19328 - 0.932352 = 0.154328
    assert sunlight.diffuse_share(np.array([0.3, 0.8]), 90.0).tolist() == pytest.approx([0.663663, 0.154328], abs=1e-9)


@pytest.mark.parametrize(("latitude", "tilt", "month"), [(43, 60, 0), (43, 60, 5), (10, 30, 11), (60, 75, 3), (35, 20, 8)])
def test_beam_ratio_of_a_plane_that_faces_the_equator(latitude: float, tilt: float, month: int) -> None:
    # published: Liu & Jordan's closed form, in Duffie & Beckman (2013), section 2.19 (from memory), for a plane that faces south.
    delta = float(sunlight.declination_deg(DAYS[month]))
    phi, d, beta = (math.radians(one) for one in (latitude, delta, tilt))
    ws = math.acos(-math.tan(phi) * math.tan(d))
    wt = min(ws, math.acos(-math.tan(phi - beta) * math.tan(d)))
    closed = (math.cos(phi - beta) * math.cos(d) * math.sin(wt) + wt * math.sin(phi - beta) * math.sin(d)) / (
        math.cos(phi) * math.cos(d) * math.sin(ws) + ws * math.sin(phi) * math.sin(d)
    )
    assert float(sunlight.beam_ratio(latitude, delta, tilt, 180)) == pytest.approx(closed, rel=1e-5)


def test_beam_ratio_of_planes_that_face_elsewhere() -> None:
    delta = float(sunlight.declination_deg(17))
    # hand: a level plane is the horizontal, whatever its azimuth; east and west get the same over a day.
    assert float(sunlight.beam_ratio(43, delta, 0, 77)) == pytest.approx(1.0)
    east, west = (float(sunlight.beam_ratio(43, delta, 40, azimuth)) for azimuth in (90, 270))
    assert east == pytest.approx(west)
    # hand: in January at 43 N a wall to the north sees no sun (it rises and sets south of east and west); in June it does.
    assert float(sunlight.beam_ratio(43, delta, 90, 0)) == 0.0
    assert float(sunlight.beam_ratio(43, float(sunlight.declination_deg(162)), 90, 0)) > 0.05
    # hand: at noon the sun is 23 degrees high; a plane of 30 degrees to the north loses it, one of 20 keeps some.
    assert float(sunlight.beam_ratio(43, delta, 30, 0)) < 0.01 < float(sunlight.beam_ratio(43, delta, 20, 0))


def test_isotropic_plane_at_both_ends() -> None:
    # hand: level, all of it; upright, half the sky and half the ground: 4 x 0.6 x 0.5 + 4 x 0.4 / 2 + 4 x 0.2 / 2 = 2.4
    assert float(sunlight.isotropic_plane_kwh_m2(4, 0.4, 1.0, 0, 0.2)) == pytest.approx(4.0)
    assert float(sunlight.isotropic_plane_kwh_m2(4, 0.4, 0.5, 90, 0.2)) == pytest.approx(2.4)


def test_the_south_is_the_north_half_a_year_later() -> None:
    # hand: with the same clearness and ground, a plane to the north at 35 S has the sun of one to the south at 35 N six months on.
    # Mean days are not half a year apart and the Earth is nearer to the sun in January: clearness is kept, and 8 % allowed.
    share = np.array([0.45, 0.48, 0.5, 0.52, 0.55, 0.58, 0.6, 0.57, 0.55, 0.5, 0.46, 0.44])
    north_above, south_above = (sunlight.extraterrestrial_kwh_m2(latitude, DAYS) for latitude in (35, -35))
    north = sunlight.monthly_mean_sun_h(share * north_above, 35, 50, 180, 0.2)
    south = sunlight.monthly_mean_sun_h(np.roll(share, 6) * south_above, -35, 50, 0, 0.2)
    assert np.roll(south, 6) == pytest.approx(north, rel=0.08)
    assert int(np.argmin(south)) in (5, 6)
    # hand: the ratio alone is the very mirror: latitude, declination and azimuth turned round.
    delta = sunlight.declination_deg(DAYS)
    assert sunlight.beam_ratio(-35, -delta, 50, 0) == pytest.approx(sunlight.beam_ratio(35, delta, 50, 180), rel=1e-12)


def test_the_equator() -> None:
    # hand: in March and September the sun passes overhead: south and north get the same within 3 %; in December the south has more.
    horizontal = 0.5 * sunlight.extraterrestrial_kwh_m2(0, DAYS)
    south, north = (sunlight.monthly_mean_sun_h(horizontal, 0, 20, azimuth, 0.2) for azimuth in (180, 0))
    assert south[[2, 8]] == pytest.approx(north[[2, 8]], rel=0.03)
    assert south[11] > 1.15 * north[11]
    assert north[5] > 1.15 * south[5]


def test_polar_night_and_polar_day() -> None:
    # hand: at 80 N the sun does not rise from November to January, and does not set from May to July.
    above = sunlight.extraterrestrial_kwh_m2(80, DAYS)
    assert above[[0, 10, 11]].tolist() == [0.0, 0.0, 0.0]
    found = sunlight.monthly_mean_sun_h(np.where(above > 1, 0.5 * above, 0.0), 80, 70, 180, 0.6)
    assert found[[0, 10, 11]].tolist() == [0.0, 0.0, 0.0]
    assert (found[[4, 5, 6]] > 3).all()
    # hand: a polar day lights all walls alike, but for the sun's height at noon: the wall to the north has its share.
    assert float(sunlight.beam_ratio(80, 23.0, 90, 0)) > 0.5
    assert float(sunlight.beam_ratio(80, -20.0, 60, 180)) == 0.0


@pytest.mark.parametrize(("change", "word"), [
    ({0: 0.29}, "0.29"), ({6: 0.81}, "0.81"),
])
def test_months_outside_the_methods_range_are_refused(change: dict[int, float], word: str) -> None:
    # hand: the method's range is a clearness of 0.3 to 0.8.
    share = np.full(12, 0.5)
    for month, clearness in change.items():
        share[month] = clearness
    with pytest.raises(OutOfRange) as caught:
        sunlight.monthly_mean_sun_h(share * sunlight.extraterrestrial_kwh_m2(40, DAYS), 40, 40, 180, 0.2)
    assert f"clearness {word} is outside" in str(caught.value)


def test_sun_in_the_polar_night_is_refused() -> None:
    # hand: 90 - 80 - 20.9 = -10.9 degrees at noon in the middle of January.
    with pytest.raises(OutOfRange) as caught:
        sunlight.monthly_mean_sun_h(np.full(12, 3.0), 80, 60, 180, 0.2)
    assert "height of the sun at noon -10.9" in str(caught.value)
