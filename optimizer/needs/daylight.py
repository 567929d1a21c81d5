"""Where the sun stands: length of the day, light above the air, hours of light of each month. Knows no part."""

from __future__ import annotations

import numpy as np

from optimizer.rules.book import Values

DAYS_OF_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
"""Days of a year without a leap day."""

DAYS, HOURS = 365, 8760

MONTH_OF_DAY = np.repeat(np.arange(12), DAYS_OF_MONTH)
"""Month (0 is January) of each day of the year."""

MEAN_DAY = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])
"""Day of the year that stands for each month; Klein, in Duffie & Beckman (2013), Table 1.6.1."""

SOLAR_CONSTANT_W_M2 = 1367.0
"""Duffie & Beckman, Solar Engineering of Thermal Processes (2013)."""

ORDINARY_DAY_H = 12.0
"""Length of every day where no latitude is given."""

MINUTES = np.arange(-12 + 1 / 12, 12, 1 / 6)
"""A day in steps of ten minutes, from noon [h]."""


def declination_rad(day: Values) -> Values:
    """Declination of the sun.

    Formula: d = 23.45 deg * sin(360 deg * (284 + n) / 365)
    day: day of the year, 1 is the first of January [d]
    returns: declination [rad]
    Valid: 1 to 365
    Source: Cooper (1969), in Duffie & Beckman (2013), equation 1.6.1a
    >>> round(float(np.degrees(declination_rad(162))), 1)
    23.1
    """
    return np.radians(23.45) * np.sin(2 * np.pi * (284 + np.asarray(day)) / DAYS)


def sunset_rad(latitude_deg: Values, day: Values) -> Values:
    """Hour angle of sunset; 0 where the sun does not rise, pi where it does not set.

    Formula: cos ws = -tan(latitude) * tan(declination)
    latitude_deg: latitude, north positive [deg]
    day: day of the year [d]
    returns: hour angle of sunset [rad]
    Valid: all latitudes but the poles
    Source: Duffie & Beckman (2013), equation 1.6.10
    >>> round(float(np.degrees(sunset_rad(43, 47))), 1)
    77.6
    """
    latitude = np.radians(np.clip(latitude_deg, -89.9, 89.9))
    return np.arccos(np.clip(-np.tan(latitude) * np.tan(declination_rad(day)), -1, 1))


def above_the_air_wh_m2(latitude_deg: Values, day: Values) -> Values:
    """Energy of a day on a horizontal plane above the air.

    Formula: H0 = 24 / pi * Gsc * (1 + 0.033 cos(360 deg * n / 365)) * (cos L cos d sin ws + ws sin L sin d)
    latitude_deg: latitude, north positive [deg]
    day: day of the year [d]
    returns: energy [Wh/m2]
    Valid: 1 to 365
    Source: Duffie & Beckman (2013), equation 1.10.3
    >>> round(float(above_the_air_wh_m2(30, 17)) * 0.0036, 1)  # MJ; Table 1.10.1 says 21.3
    21.3
    """
    latitude, declination, sunset = np.radians(latitude_deg), declination_rad(day), sunset_rad(latitude_deg, day)
    distance = 1 + 0.033 * np.cos(2 * np.pi * np.asarray(day) / DAYS)
    height = np.cos(latitude) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(latitude) * np.sin(declination)
    return 24 / np.pi * SOLAR_CONSTANT_W_M2 * distance * np.maximum(height, 0.0)


def beam_ratio(latitude_deg: float, tilt_deg: float, azimuth_deg: float, day: float) -> float:
    """Beam of a day on a plane over that on the horizontal, without air.

    Formula: Rb = sum of max(cos theta, 0) over sum of cos theta_z, while the sun is up
    latitude_deg: latitude, north positive [deg]
    tilt_deg: tilt of the plane [deg]
    azimuth_deg: where the plane looks, 180 south, 90 east [deg]
    day: day of the year [d]
    returns: ratio; 1 where the sun does not rise [share]
    Valid: 1 to 365
    Source: Duffie & Beckman (2013), equation 1.6.2, summed in steps of ten minutes
    >>> round(beam_ratio(43, 60, 180, 47), 2)
    2.04
    """
    up, facing = cosine_on_plane(latitude_deg, 0.0, 180.0, day), cosine_on_plane(latitude_deg, tilt_deg, azimuth_deg, day)
    seen = up > 0
    return float(np.maximum(facing[seen], 0).sum() / up[seen].sum()) if seen.any() else 1.0


def cosine_on_plane(latitude_deg: float, tilt_deg: float, azimuth_deg: float, day: float) -> np.ndarray:
    """Cosine of the angle between the sun and a plane's normal, in steps of ten minutes through a day; below 0 behind the plane.

    Formula: cos theta = sin d sin L cos b - sin d cos L sin b cos g + cos d cos w (cos L cos b + sin L sin b cos g) + cos d sin b sin g sin w
    latitude_deg: L, north positive [deg]
    tilt_deg: b, tilt of the plane [deg]
    azimuth_deg: where the plane looks, 180 south, 90 east; g is counted from the south [deg]
    day: day of the year [d]
    returns: cosines, shape (144,) [share]
    Valid: 1 to 365
    Source: Duffie & Beckman (2013), equation 1.6.2
    >>> round(float(cosine_on_plane(43, 45, 195, 44)[62:64].mean()), 2)  # 10:30; Example 1.6.1 says 0.817, from memory
    0.82
    """
    latitude, declination = np.radians(latitude_deg), float(declination_rad(day))
    tilt, azimuth = np.radians(tilt_deg), np.radians(azimuth_deg - 180)
    angle = np.radians(15 * MINUTES)
    return np.asarray(
        np.sin(declination) * (np.sin(latitude) * np.cos(tilt) - np.cos(latitude) * np.sin(tilt) * np.cos(azimuth))
        + np.cos(declination) * np.cos(angle) * (np.cos(latitude) * np.cos(tilt) + np.sin(latitude) * np.sin(tilt) * np.cos(azimuth))
        + np.cos(declination) * np.sin(tilt) * np.sin(azimuth) * np.sin(angle)
    )


def light_share(latitude_deg: float | None) -> np.ndarray:
    """Share of each hour of the day that is light, by month, the sun highest at noon; shape (12, 24)."""
    if latitude_deg is None:
        half = np.full(12, ORDINARY_DAY_H / 2)
    else:
        half = np.degrees(sunset_rad(latitude_deg, MEAN_DAY)) / 15
    hours = np.arange(24)
    rise, fall = 12 - half[:, None], 12 + half[:, None]
    return np.asarray(np.clip(np.minimum(hours + 1, fall) - np.maximum(hours, rise), 0, 1))
