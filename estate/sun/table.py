"""A year of light at one place, gathered into cells of the sky that near blocks share.

Each cell keeps the energy-weighted mean direction of its moments, so that light in the open is the
same as in the step-by-step sum of :func:`estate.sun.panel_beam`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.sun.hours import TappingDay, flowing_share
from estate.sun.position import EarthSun, daylight, local_clock, sun_over, unit_vectors
from estate.sun.sky import Clouds, clear_sky, cloud_over

Floats = NDArray[np.float64]

BEAM, CIRCUMSOLAR, FLOW, SCORCH_MORNING, SCORCH_AFTERNOON = range(5)
FINE_DEG = 2.0
_NOON_H = 12.0
_MJ = 1e6
_PARTS = 4


@dataclass(frozen=True, kw_only=True)
class Moments:
    """A year of light at one place, moment by moment while the sun is up.

    Parameters
    ----------
    azimuth_deg, elevation_deg
        Shape (n,), of the sun.
    energy_mj_m2
        Shape (n, 5), on a surface that faces the sun: beam, circumsolar, both in flow hours,
        both in scorching hours before noon, and after.
    even_mj_m2
        Shape (n, 5), even diffuse light on a level surface: none, all, and the three as above.
    part
        Shape (n,), 0 to 3, the part of the day that the moment falls in.
    leaf_share
        Shape (n,), share of its leaves that the canopy bears, 0 to 1.
    """

    azimuth_deg: Floats
    elevation_deg: Floats
    energy_mj_m2: Floats
    even_mj_m2: Floats
    part: NDArray[np.int64]
    leaf_share: Floats


@dataclass(frozen=True, kw_only=True)
class SunTable:
    """A year of light at one place, gathered into cells of the sky.

    Parameters
    ----------
    direction
        Shape (n, 3), energy-weighted mean direction of each cell, east, north, up.
    azimuth_deg, elevation_deg
        Shape (n,), of that direction.
    energy_mj_m2
        Shape (n, 5), kinds as in :class:`Moments`.
    leaf_share
        Shape (n,), share of its leaves that the canopy bears, 0 to 1.
    seasons
        Shape (s,), the leaf shares that occur.
    even_mj_m2
        Shape (s, 5), even diffuse light on a level surface in each season.
    """

    direction: Floats
    azimuth_deg: Floats
    elevation_deg: Floats
    energy_mj_m2: Floats
    leaf_share: Floats
    seasons: Floats
    even_mj_m2: Floats

    @property
    def open_beam_mj_m2(self) -> float:
        """Beam on upright bark in the open, mean of every side."""
        level = np.hypot(self.direction[:, 0], self.direction[:, 1])
        return float(self.energy_mj_m2[:, BEAM] @ level / np.pi)


def sun_moments(
    sun: EarthSun,
    latitude: float,
    longitude: float,
    *,
    day: TappingDay,
    step_min: float,
    altitude_m: float = 0.0,
    zone_h: float | None = None,
    months: tuple[int, ...] = tuple(range(1, 13)),
    wintering_months: tuple[int, ...] = (),
    wintering_leaf_share: float = 1.0,
    clouds: Clouds | None = None,
) -> Moments:
    """Give a year of light at one place.

    Parameters
    ----------
    sun
        From :func:`estate.sun.position.earth_sun`, at steps of `step_min` minutes.
    latitude, longitude, altitude_m
        Degrees and metres.
    day
        The tapper's day and the scorching hours.
    zone_h
        Hours of the civil clock ahead of UTC; None for local mean solar time.
    months
        The tapping months, 1 to 12.
    wintering_months, wintering_leaf_share
        Months without tapping in which the canopy bears this share of its leaves, 0 to 1; they
        count in all but the flow hours.
    clouds
        The monthly cloud table; None for clear sky.
    """
    path = daylight(sun_over(sun, latitude, longitude, altitude_m=altitude_m))
    month, hour = local_clock(path.times, longitude, zone_h=zone_h)
    sky = clear_sky(path, latitude, longitude, altitude_m=altitude_m)
    if clouds is not None:
        sky = cloud_over(sky, path, clouds, month, hour)
    wintering = np.isin(month, wintering_months)
    flowing = flowing_share(day, hour) * ~wintering
    scorching = (hour >= day.scorch_start_h) & (hour < day.scorch_end_h)
    morning = scorching & (hour < _NOON_H)
    afternoon = scorching & ~morning
    scale = (np.isin(month, months) | wintering) * (step_min * 60.0 / _MJ)
    beam, round_sun = scale * sky.beam_normal, scale * sky.circumsolar_normal
    straight, even = beam + round_sun, scale * sky.isotropic_level
    return Moments(
        azimuth_deg=path.azimuth_deg,
        elevation_deg=path.elevation_deg,
        energy_mj_m2=np.column_stack(
            [beam, round_sun, straight * flowing, straight * morning, straight * afternoon]
        ),
        even_mj_m2=np.column_stack(
            [np.zeros(len(even)), even, even * flowing, even * morning, even * afternoon]
        ),
        part=np.where(morning, 1, np.where(afternoon, 2, np.where(flowing > 0.0, 3, 0))),
        leaf_share=np.where(wintering, wintering_leaf_share, 1.0),
    )


def gather(moments: Moments, *, cell_deg: float = FINE_DEG) -> SunTable:
    """Gather a year of moments into cells of the sky.

    Parameters
    ----------
    moments
        From :func:`sun_moments`.
    cell_deg
        Width of a cell, degrees; divides 360. At 2 degrees a year of 10-minute steps on bark
        under the most broken canopy stays within 1 % of the sum step by step.
    """
    seasons, season = np.unique(moments.leaf_share, return_inverse=True)
    columns = round(360.0 / cell_deg)
    cell = (moments.elevation_deg / cell_deg).astype(np.int64) * columns
    cell += (moments.azimuth_deg / cell_deg).astype(np.int64) % columns
    key = (cell * _PARTS + moments.part) * len(seasons) + season
    weight = moments.energy_mj_m2[:, BEAM] + moments.energy_mj_m2[:, CIRCUMSOLAR]
    energy = np.column_stack([np.bincount(key, weights=kind) for kind in moments.energy_mj_m2.T])
    total = energy[:, BEAM] + energy[:, CIRCUMSOLAR]
    used = np.flatnonzero(total > 0.0)
    axes = unit_vectors(moments.azimuth_deg, moments.elevation_deg).T
    direction = np.column_stack([np.bincount(key, weights=weight * axis) for axis in axes])
    mean = np.ascontiguousarray(direction[used] / total[used, None], dtype=np.float64)
    east, north, up = mean.T
    return SunTable(
        direction=mean,
        azimuth_deg=np.degrees(np.arctan2(east, north)) % 360.0,
        elevation_deg=np.degrees(np.arctan2(up, np.hypot(east, north))),
        energy_mj_m2=np.ascontiguousarray(energy[used], dtype=np.float64),
        leaf_share=seasons[used % len(seasons)],
        seasons=seasons,
        even_mj_m2=np.stack(
            [moments.even_mj_m2[season == number].sum(axis=0) for number in range(len(seasons))]
        ),
    )
