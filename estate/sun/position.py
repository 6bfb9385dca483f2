"""Where the sun stands: a year of positions from one solar library, turned to any place."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import pandas as pd
import pvlib
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_PA_A_MILLIBAR = 100.0
# What pvlib itself takes for refraction where the caller says nothing.
_TEMPERATURE_C = 12.0
_REFRACTION_AT_SUNRISE_DEG = 0.5667
_MINUTES_A_DAY = 24 * 60


@dataclass(frozen=True, kw_only=True)
class SunPath:
    """The sun's positions over one place.

    Parameters
    ----------
    times
        Shape (n,), moments in UTC, each the middle of its step.
    azimuth_deg
        Shape (n,), clockwise from true north, 0 to 360.
    elevation_deg
        Shape (n,), above the level horizon, with refraction, -90 to 90.
    """

    times: pd.DatetimeIndex
    azimuth_deg: Floats
    elevation_deg: Floats


def year_times(year: int, *, step_min: float = 10.0) -> pd.DatetimeIndex:
    """Give the middle of every step of a year, in UTC.

    Parameters
    ----------
    year
        The calendar year.
    step_min
        Length of a step, minutes; divides a day.

    Examples
    --------
    >>> year_times(2025, step_min=60.0)[:2].strftime("%H:%M").to_list()
    ['00:30', '01:30']
    """
    start = pd.Timestamp(year=year, month=1, day=1, tz="UTC")
    end = pd.Timestamp(year=year + 1, month=1, day=1, tz="UTC")
    step = pd.Timedelta(minutes=step_min)
    return pd.date_range(start + step / 2, end, freq=step, inclusive="left")


def sun_path(
    latitude: float, longitude: float, times: pd.DatetimeIndex, *, altitude_m: float = 0.0
) -> SunPath:
    """Give the sun's positions over a place, by the NREL algorithm in pvlib.

    Parameters
    ----------
    latitude, longitude
        Degrees north and east, WGS 84.
    times
        Shape (n,), with a time zone.
    altitude_m
        Metres above the sea; sets the air pressure for refraction.

    References
    ----------
    I. Reda and A. Andreas, "Solar position algorithm for solar radiation applications",
    NREL/TP-560-34302, 2003, revised 2008.
    """
    position = pvlib.solarposition.get_solarposition(
        times, latitude, longitude, altitude=altitude_m, method="nrel_numpy"
    )
    return SunPath(
        times=times,
        azimuth_deg=position["azimuth"].to_numpy(),
        elevation_deg=position["apparent_elevation"].to_numpy(),
    )


@dataclass(frozen=True, kw_only=True)
class EarthSun:
    """A year of the direction to the sun in axes fixed to the earth, shared by every place.

    Parameters
    ----------
    times
        Shape (n,), UTC.
    direction
        Shape (n, 3), unit vectors: through (0° N, 0° E), (0° N, 90° E) and the north pole.
    """

    times: pd.DatetimeIndex
    direction: Floats


@lru_cache(maxsize=4)
def earth_sun(year: int, *, step_min: float = 10.0) -> EarthSun:
    """Give a year of the sun's direction, computed once by the NREL algorithm in pvlib.

    The sun is far enough that one direction serves the whole earth: the largest error, its
    parallax, is 8.8 arc seconds.
    """
    times = year_times(year, step_min=step_min)
    position = pvlib.solarposition.get_solarposition(times, 0.0, 0.0, method="nrel_numpy")
    elevation_deg = position["elevation"].to_numpy()
    azimuth = np.radians(position["azimuth"].to_numpy())
    level = np.cos(np.radians(elevation_deg))
    direction = np.column_stack(
        [np.sin(np.radians(elevation_deg)), level * np.sin(azimuth), level * np.cos(azimuth)]
    )
    direction.setflags(write=False)
    return EarthSun(times=times, direction=direction)


def sun_over(
    sun: EarthSun, latitude: float, longitude: float, *, altitude_m: float = 0.0
) -> SunPath:
    """Turn a year of the sun's direction to one place.

    Parameters
    ----------
    sun
        From :func:`earth_sun`.
    latitude, longitude
        Degrees north and east, WGS 84.
    altitude_m
        Metres above the sea; sets the air pressure for refraction.
    """
    north, east = np.radians(latitude), np.radians(longitude)
    axes = np.array(
        [
            [-np.sin(east), np.cos(east), 0.0],
            [-np.sin(north) * np.cos(east), -np.sin(north) * np.sin(east), np.cos(north)],
            [np.cos(north) * np.cos(east), np.cos(north) * np.sin(east), np.sin(north)],
        ]
    )
    eastward, northward, upward = axes @ sun.direction.T
    true_deg = np.degrees(np.arcsin(np.clip(upward, -1.0, 1.0)))
    lift = pvlib.spa.atmospheric_refraction_correction(
        float(pvlib.atmosphere.alt2pres(altitude_m)) / _PA_A_MILLIBAR,
        _TEMPERATURE_C,
        true_deg,
        _REFRACTION_AT_SUNRISE_DEG,
    )
    return SunPath(
        times=sun.times,
        azimuth_deg=np.degrees(np.arctan2(eastward, northward)) % 360.0,
        elevation_deg=true_deg + lift,
    )


def daylight(path: SunPath) -> SunPath:
    """Keep the moments at which the sun stands above the level horizon."""
    up = path.elevation_deg > 0.0
    return SunPath(
        times=path.times[up],
        azimuth_deg=path.azimuth_deg[up],
        elevation_deg=path.elevation_deg[up],
    )


def local_clock(
    times: pd.DatetimeIndex, longitude: float, *, zone_h: float | None = None
) -> tuple[NDArray[np.int64], Floats]:
    """Give the month and the hour that a block's clock shows.

    Parameters
    ----------
    times
        Shape (n,), with a time zone.
    longitude
        Degrees east; four minutes of local mean solar time a degree.
    zone_h
        Hours of the civil clock ahead of UTC; None for local mean solar time.

    Returns
    -------
    month, hour
        Shape (n,): 1 to 12, and 0 up to 24.

    Examples
    --------
    >>> month, hour = local_clock(pd.DatetimeIndex(["2025-06-01 00:00"], tz="UTC"), 105.0)
    >>> int(month[0]), float(hour[0])
    (6, 7.0)
    """
    ahead = longitude / 15.0 if zone_h is None else zone_h
    local = times.tz_convert("UTC").tz_localize(None) + pd.Timedelta(hours=ahead)
    minutes = (local - local.normalize()) / pd.Timedelta(minutes=1)
    hour = minutes.to_numpy(dtype=np.float64) / _MINUTES_A_DAY * 24.0
    return local.month.to_numpy(dtype=np.int64), hour


def unit_vectors(azimuth_deg: Floats, elevation_deg: Floats) -> Floats:
    """Give directions as unit vectors east, north, up, shape (n, 3)."""
    azimuth, elevation = np.radians(azimuth_deg), np.radians(elevation_deg)
    level = np.cos(elevation)
    return np.column_stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)])
