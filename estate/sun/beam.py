"""The sun's beam on upright bark, summed step by step over a year at one place."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike, NDArray

from estate.sun.bark import BarkStrip, arc_faces, strip_heights
from estate.sun.canopy import Canopy, optical_depth
from estate.sun.position import daylight, local_clock, sun_path, unit_vectors, year_times
from estate.sun.rays import light_on_faces
from estate.sun.sky import Clouds, clear_sky, cloud_over
from layers.errors import SettingError

Floats = NDArray[np.float64]

_EYE_LEVEL = BarkStrip(low_cm=100.0, high_cm=100.0)


def panel_beam(
    latitude: float,
    longitude: float,
    azimuths: ArrayLike,
    *,
    year: int = 2025,
    times: pd.DatetimeIndex | None = None,
    step_min: float = 10.0,
    months: tuple[int, ...] | None = None,
    hours: tuple[float, float] | None = None,
    zone_h: float | None = None,
    altitude_m: float = 0.0,
    horizon_deg: Floats | None = None,
    canopy: Canopy | None = None,
    clouds: Clouds | None = None,
    strip: BarkStrip = _EYE_LEVEL,
) -> Floats:
    """Give beam irradiation on a vertical bark surface facing each azimuth.

    Without `horizon_deg`, `canopy` and `clouds` it is the clear-sky beam in the open.

    Parameters
    ----------
    latitude, longitude
        Degrees north and east, WGS 84.
    azimuths
        Shape (m,), the way each surface faces, degrees clockwise from true north.
    year
        The calendar year, where no `times` are given.
    times
        Shape (n,), with a time zone, each the middle of a step of `step_min`; None for the year.
    step_min
        Length of a step, minutes, 1 to 60.
    months
        Months counted, 1 to 12; None for all.
    hours
        From and until, hours of the clock, 0 to 24; None for the whole day.
    zone_h
        Hours of the civil clock ahead of UTC; None for local mean solar time.
    altitude_m
        Metres above the sea.
    horizon_deg
        Shape (h,), the skyline's elevation evenly round from north, degrees; None for level.
    canopy
        The rows of crowns; None for the open.
    clouds
        The monthly cloud table; None for clear sky.
    strip
        Heights and arc of the bark, over which the light is averaged; by default a narrow strip
        at 100 cm.

    Returns
    -------
    ndarray
        Shape (m,), MJ/m².

    Raises
    ------
    SettingError
        An option is out of its range.

    Examples
    --------
    >>> north, east = panel_beam(0.0, 105.0, [0.0, 90.0], step_min=60.0)
    >>> bool(east > north)
    True
    """
    _check_place(latitude, longitude, step_min)
    moments = year_times(year, step_min=step_min) if times is None else times
    path = daylight(sun_path(latitude, longitude, moments, altitude_m=altitude_m))
    month, hour = local_clock(path.times, longitude, zone_h=zone_h)
    counted = np.ones(len(path.times), dtype=np.bool_)
    if months is not None:
        counted &= np.isin(month, months)
    if hours is not None:
        counted &= (hour >= hours[0]) & (hour < hours[1])
    sky = clear_sky(path, latitude, longitude, altitude_m=altitude_m)
    if clouds is not None:
        sky = cloud_over(sky, path, clouds, month, hour)
    if horizon_deg is not None:
        counted &= path.elevation_deg > skyline_at(horizon_deg, path.azimuth_deg)
    directions = unit_vectors(path.azimuth_deg[counted], path.elevation_deg[counted])
    passing, lean = _passing(canopy, directions, strip)
    faces_deg = arc_faces(np.atleast_1d(np.asarray(azimuths, dtype=np.float64)), strip.arc_deg)
    faces = np.radians(faces_deg.ravel())
    row = np.radians(0.0 if canopy is None else canopy.row_azimuth_deg)
    received = light_on_faces(
        directions,
        sky.beam_normal[counted] * passing,
        sky.beam_normal[counted] * lean,
        np.sin(row),
        np.cos(row),
        np.sin(faces),
        np.cos(faces),
    )
    return received.reshape(faces_deg.shape).mean(axis=1) * step_min * 60.0 / 1e6


def _passing(canopy: Canopy | None, directions: Floats, strip: BarkStrip) -> tuple[Floats, Floats]:
    """Share of light that passes the canopy, at the trunk's middle, and how it leans across it."""
    if canopy is None:
        return np.ones(len(directions)), np.zeros(len(directions))
    heights, weights = strip_heights(strip)
    left, right = (
        np.exp(-optical_depth(canopy, directions, heights, aside_m=aside_m)) @ weights
        for aside_m in (-strip.radius_m, strip.radius_m)
    )
    return 0.5 * (right + left), 0.5 * (right - left)


def skyline_at(horizon_deg: Floats, azimuth_deg: Floats) -> Floats:
    """Give the skyline's elevation in any direction, degrees, between those of a profile."""
    step = 360.0 / len(horizon_deg)
    closed = np.append(horizon_deg, horizon_deg[0])
    return np.interp(azimuth_deg % 360.0, np.arange(len(closed)) * step, closed)


def _check_place(latitude: float, longitude: float, step_min: float) -> None:
    checks = (
        ("latitude", latitude, -90.0, 90.0, "degrees"),
        ("longitude", longitude, -180.0, 180.0, "degrees"),
        ("step_min", step_min, 1.0, 60.0, "minutes"),
    )
    for name, value, low, high, unit in checks:
        if not low <= value <= high:
            raise SettingError.at(
                layer="sun",
                row=name,
                found=f"{value:g} {unit}",
                expected=f"{low:g} to {high:g} {unit}",
                remedy="Give latitude and longitude in that order, in degrees.",
            )
