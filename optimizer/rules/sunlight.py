"""Sun hours that reach the modules, and the monthly-mean method that brings them from the horizontal to a tilted plane.

Angles: latitude north positive; tilt from the horizontal; azimuth 180 south, 90 east. Monthly means stand for the mean
day of their month.
"""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values
from optimizer.rules.validity import within

MEAN_DAYS = (17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344)
"""Mean day of each month, of the year; Klein 1977, in Duffie & Beckman, Solar Engineering of Thermal Processes (2013), Table 1.6.1."""

SOLAR_CONSTANT_W_M2 = 1367.0
"""World Radiation Center value that goes with the tables of Duffie & Beckman (2013), section 1.2."""

ERBS = "Erbs, Klein & Duffie 1982"

LOW_SUNSET_DEG = 81.4
"""Sunset hour angle up to which the winter formula of the diffuse share holds; Erbs, Klein & Duffie 1982."""

LOW_NOON_DEG = 6.0
"""Height of the sun at noon of the mean day from which the monthly-mean method holds; below it, next to the polar night, it gives up to
four times the sun of a clear sky on a steep plane (measured, docs/sunlight.md)."""

STEPS = 1440
"""Steps of the mean day from sunrise to sunset in which the beam on a tilted plane is added up."""


def effective_sun_h(sun_h: Values, shade_factor: Values) -> Values:
    """Sun hours on the array's plane after shade, horizon and snow.

    Formula: H = Hplane * k
    sun_h: sun hours on the array's plane, kWh/m2 a day at 1 kW/m2 [h/day]
    shade_factor: share that shade, horizon and snow leave [share]
    returns: sun hours that count [h/day]
    Valid: shade factor of 0 to 1
    Source: definition
    >>> round(float(effective_sun_h(4.0, 0.8)), 2)
    3.2
    """
    within(shade_factor, 0, 1, "shade factor", "", "definition of a share")
    return sun_h * shade_factor


def declination_deg(day: Values) -> Values:
    """Declination of the sun on a day of the year.

    Formula: delta = 23.45 * sin(360 * (284 + n) / 365)
    day: day of the year, 1 is 1 January [d]
    returns: declination, north positive [deg]
    Valid: day of 1 to 366; within half a degree of the sun
    Source: Cooper 1969, in Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 1.6.1a (number from memory)
    >>> round(float(declination_deg(344)), 2)
    -23.05
    """
    within(day, 1, 366, "day", "of the year", "definition")
    return 23.45 * np.sin(np.radians(360 * (284 + np.asarray(day, dtype=float)) / 365))


def sunset_hour_angle_deg(latitude_deg: Values, sun_declination_deg: Values) -> Values:
    """Hour angle at which the sun sets on the horizontal.

    Formula: cos(omega) = -tan(phi) * tan(delta); 0 where the sun does not rise, 180 where it does not set
    latitude_deg: latitude, north positive [deg]
    sun_declination_deg: declination of the sun [deg]
    returns: hour angle of sunset, 15 degrees an hour after noon [deg]
    Valid: latitude of -90 to 90
    Source: Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 1.6.10 (number from memory)
    >>> round(float(sunset_hour_angle_deg(43, -23.05)), 1), float(sunset_hour_angle_deg(80, -20)), float(sunset_hour_angle_deg(80, 20))
    (66.6, 0.0, 180.0)
    """
    within(latitude_deg, -90, 90, "latitude", "deg", "definition")
    cosine = -np.tan(np.radians(latitude_deg)) * np.tan(np.radians(sun_declination_deg))
    return np.degrees(np.arccos(np.clip(cosine, -1, 1)))  # beyond -1 and 1 lie polar day and polar night, as the formula says


def noon_height_deg(latitude_deg: Values, sun_declination_deg: Values) -> Values:
    """Height of the sun at noon.

    Formula: alpha = 90 - |phi - delta|
    latitude_deg: latitude, north positive [deg]
    sun_declination_deg: declination of the sun [deg]
    returns: height above the horizon, negative where the sun does not rise [deg]
    Valid: latitude of -90 to 90
    Source: geometry
    >>> round(float(noon_height_deg(43, -23.05)), 2)
    23.95
    """
    within(latitude_deg, -90, 90, "latitude", "deg", "definition")
    return 90 - np.abs(latitude_deg - np.asarray(sun_declination_deg))


def extraterrestrial_kwh_m2(latitude_deg: Values, day: Values) -> Values:
    """Sun on the horizontal above the atmosphere, over one day.

    Formula: H0 = 24 / pi * Gsc * (1 + 0.033 * cos(360 * n / 365)) * (cos(phi) * cos(delta) * sin(omega) + pi * omega / 180 * sin(phi) * sin(delta))
    latitude_deg: latitude, north positive [deg]
    day: day of the year, 1 is 1 January [d]
    returns: energy over the day; 0 in the polar night [kWh/m2/day]
    Valid: latitude of -90 to 90; with Gsc of 1,367 W/m2 and Cooper's declination
    Source: Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 1.10.3 (number from memory)
    >>> round(float(extraterrestrial_kwh_m2(43, 105)), 2)
    9.38
    """
    phi, delta = np.radians(latitude_deg), np.radians(declination_deg(day))
    omega = np.radians(sunset_hour_angle_deg(latitude_deg, declination_deg(day)))
    distance = 1 + 0.033 * np.cos(np.radians(360 * np.asarray(day, dtype=float) / 365))
    energy = 24 / np.pi * SOLAR_CONSTANT_W_M2 * distance * (np.cos(phi) * np.cos(delta) * np.sin(omega) + omega * np.sin(phi) * np.sin(delta))
    return np.maximum(energy, 0.0) / 1000  # at the edge of the polar night rounding gives -1e-17


def diffuse_share(clearness: Values, sunset_deg: Values) -> Values:
    """Share of a month's sun on the horizontal that comes from the sky and not straight from the sun.

    Formula: Hd / H = 1.391 - 3.560 * KT + 4.189 * KT^2 - 2.137 * KT^3 for omega <= 81.4, else 1.311 - 3.022 * KT + 3.427 * KT^2 - 1.821 * KT^3
    clearness: monthly mean clearness KT, sun on the horizontal over that above the atmosphere [share]
    sunset_deg: hour angle of sunset [deg]
    returns: diffuse share [share]
    Valid: clearness of 0.3 to 0.8
    Source: Erbs, Klein & Duffie 1982, in Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 2.12.1 (number from memory)
    >>> round(float(diffuse_share(0.5, 75.0)), 3), round(float(diffuse_share(0.5, 95.0)), 3)
    (0.391, 0.429)
    """
    within(clearness, 0.3, 0.8, "monthly mean clearness", "", ERBS)
    k = np.asarray(clearness, dtype=float)
    low = 1.391 - 3.560 * k + 4.189 * k**2 - 2.137 * k**3
    high = 1.311 - 3.022 * k + 3.427 * k**2 - 1.821 * k**3
    return np.where(np.asarray(sunset_deg) <= LOW_SUNSET_DEG, low, high)


def beam_ratio(latitude_deg: float, sun_declination_deg: Values, tilt_deg: float, azimuth_deg: float) -> Values:
    """Beam on a tilted plane over that on the horizontal, on one day above the atmosphere.

    Formula: Rb = sum of max(0, cos(theta)) / sum of cos(theta_z), over 1,440 equal steps of the hour angle from sunrise to sunset
    latitude_deg: latitude, north positive [deg]
    sun_declination_deg: declination of the sun [deg]
    tilt_deg: tilt of the plane from the horizontal [deg]
    azimuth_deg: azimuth of the plane, 180 south [deg]
    returns: beam ratio; 0 in the polar night [share]
    Valid: latitude of -90 to 90, tilt of 0 to 90, any azimuth; a plane that faces away counts only while the sun is before it
    Source: angle of incidence by Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 1.6.2 (number from memory); summed here in place of their closed form
    >>> round(float(beam_ratio(43, -20.9, 60, 180)), 2), round(float(beam_ratio(-43, 20.9, 60, 0)), 2)
    (2.79, 2.79)
    """
    within(tilt_deg, 0, 90, "tilt", "deg", "definition")
    phi, delta = np.radians(latitude_deg), np.radians(np.asarray(sun_declination_deg, dtype=float))[..., None]
    beta, gamma = np.radians(tilt_deg), np.radians(azimuth_deg - 180)
    middles = (np.arange(STEPS) + 0.5) / STEPS * 2 - 1
    omega = np.radians(sunset_hour_angle_deg(latitude_deg, sun_declination_deg))[..., None] * middles
    flat = np.sin(delta) * np.sin(phi) + np.cos(delta) * np.cos(phi) * np.cos(omega)
    south = np.cos(delta) * np.sin(phi) * np.cos(omega) - np.sin(delta) * np.cos(phi)
    west = np.cos(delta) * np.sin(omega)
    tilted = flat * np.cos(beta) + (south * np.cos(gamma) + west * np.sin(gamma)) * np.sin(beta)
    below = flat.sum(axis=-1)
    night = (omega[..., -1] <= 0) | (below <= 0)
    return np.where(night, 0.0, np.maximum(tilted, 0).sum(axis=-1) / np.where(night, 1.0, below))


def isotropic_plane_kwh_m2(horizontal_kwh_m2: Values, diffuse: Values, ratio: Values, tilt_deg: float, albedo: Values) -> Values:
    """Sun on a tilted plane from that on the horizontal, the sky equally bright everywhere.

    Formula: HT = H * (1 - d) * Rb + H * d * (1 + cos(beta)) / 2 + H * rho * (1 - cos(beta)) / 2
    horizontal_kwh_m2: sun on the horizontal, a day [kWh/m2/day]
    diffuse: share of it that comes from the sky [share]
    ratio: beam on the plane over beam on the horizontal [share]
    tilt_deg: tilt of the plane from the horizontal [deg]
    albedo: share that the ground throws back [share]
    returns: sun on the plane, a day; the same figure is its sun hours [kWh/m2/day]
    Valid: diffuse share and albedo of 0 to 1
    Source: Liu & Jordan 1962, Klein 1977, in Duffie & Beckman, Solar Engineering of Thermal Processes (2013), eq. 2.19.1 (number from memory)
    >>> round(float(isotropic_plane_kwh_m2(1.789, 0.413, 2.79, 60, 0.7)), 2)
    3.8
    """
    within(diffuse, 0, 1, "diffuse share", "", "definition of a share")
    within(albedo, 0, 1, "albedo", "", "definition of a share")
    cosine = np.cos(np.radians(tilt_deg))
    beam, sky = horizontal_kwh_m2 * (1 - diffuse) * ratio, horizontal_kwh_m2 * diffuse * (1 + cosine) / 2
    return beam + sky + horizontal_kwh_m2 * albedo * (1 - cosine) / 2


def monthly_mean_sun_h(horizontal_kwh_m2: Values, latitude_deg: float, tilt_deg: float, azimuth_deg: float, albedo: Values) -> Values:
    """Twelve sun hours on a plane from twelve monthly means on the horizontal.

    Formula: HT of the mean day of each month: KT = H / H0, diffuse share of KT, beam ratio of the day, isotropic sky
    horizontal_kwh_m2: sun on the horizontal, monthly means from January to December [kWh/m2/day]
    latitude_deg: latitude, north positive [deg]
    tilt_deg: tilt of the plane from the horizontal [deg]
    azimuth_deg: azimuth of the plane, 180 south [deg]
    albedo: share that the ground throws back, one or twelve [share]
    returns: sun hours on the plane, January to December; 0 where the horizontal has none [h/day]
    Valid: clearness of 0.3 to 0.8, and 6 degrees of height or more at noon of the mean day, in every month with any sun
    Source: Duffie & Beckman, Solar Engineering of Thermal Processes (2013), section 2.19
    >>> round(float(monthly_mean_sun_h([1.79, 2.75, 3.57, 4.46, 5.93, 6.4, 6.27, 5.65, 4.05, 2.91, 1.77, 1.59], 43, 60, 180, 0.2)[5]), 2)
    4.59
    """
    horizontal = np.asarray(horizontal_kwh_m2, dtype=float)
    days = np.array(MEAN_DAYS)
    above, delta = extraterrestrial_kwh_m2(latitude_deg, days), declination_deg(days)
    sunset = sunset_hour_angle_deg(latitude_deg, delta)
    sunny = horizontal > 0
    noon = np.where(sunny, noon_height_deg(latitude_deg, delta), 90.0)
    within(noon, LOW_NOON_DEG, 90, "height of the sun at noon", "deg", "measured against a clear sky, docs/sunlight.md")
    clearness = np.divide(horizontal, above, out=np.full(12, 0.5), where=sunny)
    share = diffuse_share(clearness, sunset)
    ratio = beam_ratio(latitude_deg, delta, tilt_deg, azimuth_deg)
    return np.where(sunny, isotropic_plane_kwh_m2(horizontal, share, ratio, tilt_deg, albedo), 0.0)
