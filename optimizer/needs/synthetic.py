"""Made-up years of sun: days that vary as measured days do, around the monthly sun hours of the problem.

Day by day the clearness index follows a Gaussian series that remembers the day before (Graham, Hollands and Huget
1988), mapped to the distribution that measured days have around their monthly mean (Bendt, Collares-Pereira and Rabl 1981,
with the bounds of Hollands and Huget 1983). A day's clearness becomes energy on the array's plane through its share of
diffuse light (Erbs, Klein and Duffie 1982) and an evenly bright sky; every month is then scaled so that its expected
mean is the figure that the problem gives. Hours follow the mean course of a day (Collares-Pereira and Rabl 1979).

With several planes a day is as clear on each of them, and its course is that of the sun on the plane: light from the
east in the morning. Not in it: clouds within a day, mornings that are clearer than evenings, years that are sunny or dull
as a whole, snow. The same seed gives the same years, however many are made after them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from optimizer.inputs.problem import MONTHS, Problem
from optimizer.needs.daylight import (
    DAYS,
    HOURS,
    MEAN_DAY,
    MINUTES,
    MONTH_OF_DAY,
    ORDINARY_DAY_H,
    above_the_air_wh_m2,
    beam_ratio,
    cosine_on_plane,
    declination_rad,
    sunset_rad,
)
from optimizer.needs.sunlight import azimuth_of, by_plane, latitude_of, sun_hours_that_count, sun_on_plane
from optimizer.rules.book import Values

LAG_ONE = 0.29
"""Memory from one day to the next of the normalised clearness; Graham, Hollands and Huget (1988), second-hand."""

LEAST_CLEARNESS = 0.05
"""Clearness of the dullest day; Bendt et al. (1981), from memory."""

MEAN_LEAST, MEAN_MOST = 0.3, 0.75
"""Monthly mean clearness for which the correlations are used: Erbs et al. hold from 0.3 to 0.8, and hardly any month of
any place is clearer than 0.75 (common practice, no source)."""

ORDINARY_CLEARNESS = 0.5
"""Taken for every month where no latitude is given; common practice, no source."""

GROUND = 0.2
"""Light that the ground throws back; common practice, no source."""

SHORTEST_DAY_RAD = math.radians(15)
"""Shortest half of a day for which light is spread; a month that has sun hours has some light around noon."""

DAILY_SWING_K = 5.0
"""Air above its monthly mean in the middle of the afternoon, and below it before dawn; common practice, no source."""

WARMEST_H = 15.0
"""Hour at which the air is warmest; common practice, no source."""

NORMAL = np.linspace(-6, 6, 2401)
"""Values of the Gaussian series at which the map to energy is worked out; straight lines between."""


def greatest_clearness(mean_clearness: Values) -> Values:
    """Clearness of the clearest day of a month.

    Formula: Kmax = 0.6313 + 0.267 * K - 11.9 * (K - 0.75) ** 8
    mean_clearness: monthly mean clearness index [share]
    returns: clearness of the clearest day [share]
    Valid: 0.3 to 0.8
    Source: Hollands and Huget (1983), in Duffie & Beckman (2013), equation 2.9.6c, from memory
    >>> round(float(greatest_clearness(0.5)), 4)
    0.7646
    """
    return 0.6313 + 0.267 * np.asarray(mean_clearness) - 11.9 * (np.asarray(mean_clearness) - 0.75) ** 8


def exponential_mean(rate: float, width: float) -> float:
    """Mean of a distribution whose density is exp(rate * x) between 0 and a width.

    Formula: m = w / (1 - exp(-g * w)) - 1 / g; w / 2 where g is 0
    rate: g [share]
    width: w [share]
    returns: mean [share]
    Valid: width above 0
    Source: integral of the density
    >>> round(exponential_mean(0.0, 0.7), 3), round(exponential_mean(50.0, 0.7), 3)
    (0.35, 0.68)
    """
    if abs(rate * width) < 1e-6:
        return width / 2
    return width / -math.expm1(-rate * width) - 1 / rate


def steepness(mean_clearness: float) -> float:
    """Gamma of Bendt's distribution, such that it has the given mean.

    Formula: the gamma for which Kmin + mean of exp(gamma * x) between 0 and Kmax - Kmin is K; by halving
    mean_clearness: monthly mean clearness index [share]
    returns: gamma [share]
    Valid: 0.3 to 0.8
    Source: Bendt, Collares-Pereira and Rabl (1981), in Duffie & Beckman (2013), section 2.9
    >>> round(steepness(0.5), 2)
    2.27
    """
    width = float(greatest_clearness(mean_clearness)) - LEAST_CLEARNESS
    low, high = -200.0, 200.0
    for _ in range(80):
        middle = (low + high) / 2
        below = exponential_mean(middle, width) < mean_clearness - LEAST_CLEARNESS
        low, high = (middle, high) if below else (low, middle)
    return (low + high) / 2


def clearness_at(probability: Values, mean_clearness: float) -> Values:
    """Daily clearness that is undercut with a probability.

    Formula: k = Kmin + ln(1 + u * (exp(gamma * (Kmax - Kmin)) - 1)) / gamma, from
    P(k) = (exp(gamma * Kmin) - exp(gamma * k)) / (exp(gamma * Kmin) - exp(gamma * Kmax))
    probability: u, share of the days that are duller [share]
    mean_clearness: monthly mean clearness index [share]
    returns: daily clearness index [share]
    Valid: means of 0.3 to 0.8
    Source: Bendt, Collares-Pereira and Rabl (1981), in Duffie & Beckman (2013), equation 2.9.6
    >>> [round(float(clearness_at(u, 0.5)), 3) for u in (0.0, 0.5, 1.0)]
    [0.05, 0.539, 0.765]
    """
    gamma, width = steepness(mean_clearness), float(greatest_clearness(mean_clearness)) - LEAST_CLEARNESS
    if abs(gamma * width) < 1e-9:
        return LEAST_CLEARNESS + np.asarray(probability) * width
    return LEAST_CLEARNESS + np.log1p(np.asarray(probability) * math.expm1(gamma * width)) / gamma


def monthly_diffuse_share(mean_clearness: Values, sunset: float) -> Values:
    """Diffuse share of a month's light.

    Formula: 1.391 - 3.560 K + 4.189 K^2 - 2.137 K^3 up to a sunset hour angle of 81.4 deg, above it
    1.311 - 3.022 K + 3.427 K^2 - 1.821 K^3
    mean_clearness: monthly mean clearness index [share]
    sunset: hour angle of sunset [rad]
    returns: diffuse share [share]
    Valid: 0.3 to 0.8
    Source: Erbs, Klein and Duffie (1982), second-hand
    >>> round(float(monthly_diffuse_share(0.5, 1.3)), 3)
    0.391
    """
    k = np.asarray(mean_clearness)
    if math.degrees(sunset) <= 81.4:
        return 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    return 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3


def daily_diffuse_share(clearness: Values, sunset: float) -> Values:
    """Diffuse share of a day's light.

    Formula: up to a sunset hour angle of 81.4 deg 1 - 0.2727 k + 2.4495 k^2 - 11.9514 k^3 + 9.3879 k^4, 0.143 from
    k = 0.715; above it 1 + 0.2832 k - 2.5557 k^2 + 0.8448 k^3, 0.175 from k = 0.722
    clearness: daily clearness index [share]
    sunset: hour angle of sunset [rad]
    returns: diffuse share [share]
    Valid: 0 to 1
    Source: Erbs, Klein and Duffie (1982), in Duffie & Beckman (2013), equation 2.11.1, from memory
    >>> [round(float(daily_diffuse_share(k, 1.3)), 3) for k in (0.1, 0.5, 0.8)]
    [0.986, 0.569, 0.143]
    """
    k = np.asarray(clearness)
    if math.degrees(sunset) <= 81.4:
        return np.where(k < 0.715, 1 - 0.2727 * k + 2.4495 * k**2 - 11.9514 * k**3 + 9.3879 * k**4, 0.143)
    return np.where(k < 0.722, 1 + 0.2832 * k - 2.5557 * k**2 + 0.8448 * k**3, 0.175)


def plane_ratio(diffuse_share: Values, beam: float, tilt_deg: float) -> Values:
    """Light of a day on a tilted plane over that on the horizontal, under an evenly bright sky.

    Formula: R = (1 - fd) * Rb + fd * (1 + cos b) / 2 + 0.2 * (1 - cos b) / 2
    diffuse_share: fd [share]
    beam: Rb, beam on the plane over beam on the horizontal [share]
    tilt_deg: b [deg]
    returns: ratio [share]
    Valid: tilts of 0 to 90
    Source: Liu and Jordan (1962), Klein (1977), in Duffie & Beckman (2013), equation 2.19.1
    >>> round(float(plane_ratio(0.4, 2.0, 60)), 2)
    1.55
    """
    cosine = math.cos(math.radians(tilt_deg))
    return (1 - diffuse_share) * beam + diffuse_share * (1 + cosine) / 2 + GROUND * (1 - cosine) / 2


def hour_shares(sunset: float) -> np.ndarray:
    """Share of a day's light in each hour, the sun highest at noon.

    Formula: r = pi / 24 * (a + b cos w) * (cos w - cos ws) / (sin ws - ws cos ws), summed in steps of ten minutes,
    a = 0.409 + 0.5016 sin(ws - 60 deg), b = 0.6609 - 0.4767 sin(ws - 60 deg); made to add up to 1
    sunset: ws, hour angle of sunset [rad]
    returns: shares, shape (24,) [share]
    Valid: 15 to 180 deg
    Source: Collares-Pereira and Rabl (1979), in Duffie & Beckman (2013), equation 2.13.2
    >>> round(float(hour_shares(np.pi / 2)[11]), 3)
    0.141
    """
    ws = max(sunset, SHORTEST_DAY_RAD)
    w = np.radians(15 * MINUTES)
    a, b = 0.409 + 0.5016 * math.sin(ws - math.pi / 3), 0.6609 - 0.4767 * math.sin(ws - math.pi / 3)
    course = np.where(np.abs(w) < ws, np.maximum((a + b * np.cos(w)) * (np.cos(w) - math.cos(ws)), 0.0), 0.0)
    return np.asarray(course.reshape(24, 6).sum(axis=1) / course.sum())


def hour_shares_on_plane(latitude_deg: float, day: float, mean_clearness: float, tilt_deg: float, azimuth_deg: float) -> np.ndarray:
    """Share of a day's light on a plane in each hour: a plane to the east has its light in the morning.

    Formula: (a + b cos w - fd) * cos(theta) / (cos L cos d) + fd (cos w - cos ws) (1 + cos b) / 2 + 0.2 (a + b cos w) (cos w - cos ws)
    (1 - cos b) / 2, which is the beam by r - fd rd of the horizontal, the even sky and the ground, without their common factor;
    each term 0 where it is below 0; summed in steps of ten minutes and made to add up to 1
    latitude_deg: L, north positive [deg]
    day: day of the year [d]
    mean_clearness: monthly mean clearness index, of which the diffuse share fd follows [share]
    tilt_deg: b, tilt of the plane [deg]
    azimuth_deg: where the plane looks, 180 south, 90 east [deg]
    returns: shares, shape (24,) [share]
    Valid: clearness of 0.3 to 0.8, all latitudes but the poles
    Source: Collares-Pereira and Rabl (1979) for r, Liu and Jordan (1960) for rd, in Duffie & Beckman (2013), equations 2.13.2, 2.13.4 and 2.15.1
    >>> [round(float(hour_shares_on_plane(0, 80, 0.5, tilt, 90)[8]), 3) for tilt in (0, 60)]
    [0.074, 0.124]
    """
    ws = max(float(sunset_rad(latitude_deg, day)), SHORTEST_DAY_RAD)
    w = np.radians(15 * MINUTES)
    a, b = 0.409 + 0.5016 * math.sin(ws - math.pi / 3), 0.6609 - 0.4767 * math.sin(ws - math.pi / 3)
    height, course = np.maximum(np.cos(w) - math.cos(ws), 0.0) * (np.abs(w) < ws), np.maximum(a + b * np.cos(w), 0.0)
    diffuse = float(monthly_diffuse_share(mean_clearness, ws))
    facing = np.maximum(cosine_on_plane(latitude_deg, tilt_deg, azimuth_deg, day), 0.0) * (height > 0)
    level = math.cos(math.radians(latitude_deg)) * math.cos(float(declination_rad(day)))
    cosine = math.cos(math.radians(tilt_deg))
    light = np.maximum(course - diffuse, 0.0) * facing / level + diffuse * height * (1 + cosine) / 2 + GROUND * course * height * (1 - cosine) / 2
    return np.asarray(light.reshape(24, 6).sum(axis=1) / light.sum())


def air_hours_c(air_c: tuple[float, ...]) -> np.ndarray:
    """Air temperature of each hour of a year: monthly means with a daily swing that averages out; shape (8760,)."""
    swing = DAILY_SWING_K * np.cos(2 * np.pi * (np.arange(24) + 0.5 - WARMEST_H) / 24)
    return np.asarray((np.array(air_c)[MONTH_OF_DAY][:, None] + swing).reshape(HOURS))


@dataclass(frozen=True)
class Sky:
    """What synthetic years are made from.

    clearness: monthly mean clearness index, shape (12,)
    day_wh_m2: energy of a day on the plane at each value of the Gaussian series, shape (12, values)
    hour_share: share of a day's energy in each hour, by month, shape (12, 24)
    assumed: what was taken because the problem does not say it
    """

    clearness: np.ndarray
    day_wh_m2: np.ndarray
    hour_share: np.ndarray
    assumed: tuple[str, ...]

    def normal_days(self, years: int, rng: np.random.Generator) -> np.ndarray:
        """The Gaussian series: mean 0, variance 1, memory of the day before; shape (years, 365)."""
        found = rng.standard_normal((years, DAYS))
        fresh = math.sqrt(1 - LAG_ONE**2)
        for day in range(1, DAYS):
            found[:, day] = LAG_ONE * found[:, day - 1] + fresh * found[:, day]
        return found

    def plane_days_wh_m2(self, normal: np.ndarray) -> np.ndarray:
        """Energy of each day on the plane [Wh/m2], from the Gaussian series; shape (years, 365)."""
        found = np.empty_like(normal)
        for month in range(12):
            days = month == MONTH_OF_DAY
            found[:, days] = np.interp(normal[:, days], NORMAL, self.day_wh_m2[month])
        return found

    def plane_w_m2(self, years: int, rng: np.random.Generator) -> np.ndarray:
        """Irradiance on the plane, hour by hour [W/m2], shape (years, 8760)."""
        return self.in_hours(self.normal_days(years, rng))

    def in_hours(self, normal: np.ndarray) -> np.ndarray:
        """Irradiance on the plane, hour by hour [W/m2], from the Gaussian series; shape (years, 8760)."""
        days = self.plane_days_wh_m2(normal)
        return np.asarray((days[:, :, None] * self.hour_share[MONTH_OF_DAY]).reshape(len(days), HOURS))


@dataclass(frozen=True)
class Skies:
    """The sky as each of several planes sees it: the same days, clear or dull, on all of them."""

    each: tuple[Sky, ...]

    @property
    def assumed(self) -> tuple[str, ...]:
        """What was taken because the problem does not say it."""
        return tuple(dict.fromkeys(text for sky in self.each for text in sky.assumed))

    def plane_w_m2(self, years: int, rng: np.random.Generator) -> np.ndarray:
        """Irradiance on each plane, hour by hour [W/m2], shape (planes, years, 8760)."""
        normal = self.each[0].normal_days(years, rng)
        return np.array([sky.in_hours(normal) for sky in self.each])


def skies_of(problem: Problem) -> Sky | Skies:
    """The sky over a site: on its one plane, or on each of its [[planes]]."""
    return Skies(tuple(sky_of(one, own_course=True) for one in by_plane(problem))) if problem.planes else sky_of(problem)


def sky_of(problem: Problem, *, own_course: bool = False) -> Sky:
    """The sky over a site: shade is taken off, and the expected mean of every month is the problem's figure.

    own_course: hours follow the course of the sun on the plane; otherwise that on the horizontal, which is the same before and after noon.
    """
    sun = sun_on_plane(problem)
    wanted = sun_hours_that_count(problem, sun) * 1000
    weight = np.exp(-(NORMAL**2) / 2)
    weight /= weight.sum()
    probability = np.array([0.5 * math.erfc(-x / math.sqrt(2)) for x in NORMAL])
    latitude, assumed = latitude_of(problem), []
    tilts, azimuth = [sun.tilt_in(month) for month in range(12)], azimuth_of(problem)
    if latitude is None:
        assumed.append(f"latitude unknown: days of {ORDINARY_DAY_H:g} h and a clearness of {ORDINARY_CLEARNESS:g} in every month were taken")
    else:
        if None in tilts:
            tilts = [abs(latitude)] * 12
            assumed.append(f"tilt unknown: that of the latitude ({abs(latitude):g} deg) was taken")
        if azimuth is None:
            azimuth = 180.0 if latitude >= 0 else 0.0
            assumed.append(f"azimuth unknown: {azimuth:g} deg was taken")
    clearness, energy, shares = [], [], []
    for month, (day, tilt) in enumerate(zip(MEAN_DAY, tilts, strict=True)):
        if latitude is None or tilt is None or azimuth is None:
            mean, sunset = ORDINARY_CLEARNESS, math.pi / 2
            relative = np.asarray(clearness_at(probability, mean))
        else:
            sunset = float(sunset_rad(latitude, float(day)))
            beam = beam_ratio(latitude, tilt, azimuth, float(day))
            mean = clearness_from_plane(sun.sun_h[month] * 1000, float(above_the_air_wh_m2(latitude, float(day))), beam, tilt, sunset)
            days = np.asarray(clearness_at(probability, mean))
            relative = days * plane_ratio(daily_diffuse_share(days, sunset), beam, tilt)
        clearness.append(mean)
        energy.append(relative * wanted[month] / float(relative @ weight))
        if own_course and latitude is not None and tilt is not None and azimuth is not None:
            shares.append(hour_shares_on_plane(latitude, float(day), mean, tilt, azimuth))
        else:
            shares.append(hour_shares(sunset))
    if latitude is not None:
        for end, words in ((MEAN_LEAST, "duller"), (MEAN_MOST, "clearer")):
            held = [name for name, mean in zip(MONTHS, clearness, strict=True) if mean == end]
            if held:
                assumed.append(f"{', '.join(held)}: {words} than the correlations know; days vary as around a clearness of {end:g}")
    return Sky(np.array(clearness), np.array(energy), np.array(shares), tuple(assumed))


def clearness_from_plane(plane_wh_m2: float, above_wh_m2: float, beam: float, tilt_deg: float, sunset: float) -> float:
    """Monthly mean clearness for which a tilted plane gets the light that the problem states.

    Formula: the K for which K * H0 * R(K) is the light on the plane, R under an evenly bright sky; the nearer end
    of the range where none in it is
    plane_wh_m2: light of a mean day on the plane [Wh/m2]
    above_wh_m2: H0, light of the same day above the air, on the horizontal [Wh/m2]
    beam: Rb, beam on the plane over beam on the horizontal [share]
    tilt_deg: tilt of the plane [deg]
    sunset: hour angle of sunset [rad]
    returns: monthly mean clearness index [share]
    Valid: 0.3 to 0.75
    Source: Klein (1977) turned round, in Duffie & Beckman (2013), equation 2.19.1
    >>> round(clearness_from_plane(4000, 8000, 1.0, 0, 1.4), 2)
    0.5
    """
    tried = np.linspace(MEAN_LEAST, MEAN_MOST, 451)
    given = tried * above_wh_m2 * plane_ratio(monthly_diffuse_share(tried, sunset), beam, tilt_deg)
    return float(tried[int(np.argmin(np.abs(given - plane_wh_m2)))])
