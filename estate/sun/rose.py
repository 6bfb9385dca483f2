"""The light on a block's bark from every side, from one table of the sun's year.

A year of positions is gathered once into cells of the sky that blocks of near-equal latitude
share; each cell keeps the energy-weighted mean direction of its moments, so that light in the
open is the same as in the step-by-step sum of :func:`estate.sun.panel_beam`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.sun.bark import BarkStrip, strip_heights
from estate.sun.canopy import Canopy
from estate.sun.hours import TappingDay, flowing_share
from estate.sun.position import EarthSun, daylight, local_clock, sun_over, unit_vectors
from estate.sun.rays import straight_light
from estate.sun.sky import Clouds, clear_sky, cloud_over

Floats = NDArray[np.float64]

AZIMUTHS_DEG = np.arange(0.0, 360.0, 10.0)
_CELL_DEG = 2.0
_NOON_H = 12.0
_MJ = 1e6

BEAM, CIRCUMSOLAR, FLOW, SCORCH_MORNING, SCORCH_AFTERNOON = range(5)
_KINDS = 5


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
        Shape (n, 5), on a surface that faces the cell: beam, circumsolar, both in flow hours,
        both in scorching hours before noon, and after.
    leaf_share
        Shape (n,), share of its leaves that the canopy bears, 0 to 1.
    seasons
        Shape (s,), the leaf shares that occur.
    even_mj_m2
        Shape (s, 5), even diffuse light on a level surface in each season: none, all, and the
        three as above.
    """

    direction: Floats
    azimuth_deg: Floats
    elevation_deg: Floats
    energy_mj_m2: Floats
    leaf_share: Floats
    seasons: Floats
    even_mj_m2: Floats


def sun_table(
    sun: EarthSun,
    latitude: float,
    longitude: float,
    *,
    day: TappingDay,
    step_min: float,
    altitude_m: float = 0.0,
    zone_h: float | None = None,
    months: tuple[int, ...] = tuple(range(1, 13)),
    leaf_shares: tuple[float, ...] = (1.0,) * 12,
    clouds: Clouds | None = None,
) -> SunTable:
    """Gather a year of light at one place.

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
    leaf_shares
        Twelve shares of its leaves that the canopy bears, January first.
    clouds
        The monthly cloud table; None for clear sky.
    """
    path = daylight(sun_over(sun, latitude, longitude, altitude_m=altitude_m))
    month, hour = local_clock(path.times, longitude, zone_h=zone_h)
    sky = clear_sky(path, latitude, longitude, altitude_m=altitude_m)
    if clouds is not None:
        sky = cloud_over(sky, path, clouds, month, hour)
    tapped = np.isin(month, months)
    flowing = flowing_share(day, hour)
    scorching = (hour >= day.scorch_start_h) & (hour < day.scorch_end_h)
    morning = scorching & (hour < _NOON_H)
    afternoon = scorching & ~morning
    scale = tapped.astype(np.float64) * (step_min * 60.0 / _MJ)
    straight = sky.beam_normal + sky.circumsolar_normal
    energy = scale[:, None] * np.column_stack(
        [
            sky.beam_normal,
            sky.circumsolar_normal,
            straight * flowing,
            straight * morning,
            straight * afternoon,
        ]
    )
    even = (scale * sky.isotropic_level)[:, None] * np.column_stack(
        [np.zeros(len(hour)), np.ones(len(hour)), flowing, morning, afternoon]
    )
    seasons, season = np.unique(np.asarray(leaf_shares)[month - 1], return_inverse=True)
    part = np.where(morning, 1, np.where(afternoon, 2, np.where(flowing > 0.0, 3, 0)))
    columns = int(360.0 / _CELL_DEG)
    cell = (path.elevation_deg / _CELL_DEG).astype(np.int64) * columns
    cell += (path.azimuth_deg / _CELL_DEG).astype(np.int64) % columns
    key = (cell * 4 + part) * len(seasons) + season
    gathered = _gather(
        key, unit_vectors(path.azimuth_deg, path.elevation_deg), energy, len(seasons)
    )
    direction, summed, season_of = gathered
    return SunTable(
        direction=direction,
        azimuth_deg=np.degrees(np.arctan2(direction[:, 0], direction[:, 1])) % 360.0,
        elevation_deg=np.degrees(
            np.arctan2(direction[:, 2], np.hypot(direction[:, 0], direction[:, 1]))
        ),
        energy_mj_m2=summed,
        leaf_share=seasons[season_of],
        seasons=seasons,
        even_mj_m2=np.stack([even[season == s].sum(axis=0) for s in range(len(seasons))]),
    )


def _gather(
    key: NDArray[np.int64], directions: Floats, energy: Floats, seasons: int
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Sum energy by cell, with each cell's energy-weighted mean direction and season."""
    weight = energy[:, BEAM] + energy[:, CIRCUMSOLAR]
    summed = np.column_stack([np.bincount(key, weights=kind) for kind in energy.T])
    total = summed[:, BEAM] + summed[:, CIRCUMSOLAR]
    used = np.flatnonzero(total > 0.0)
    mean = np.column_stack([np.bincount(key, weights=weight * axis) for axis in directions.T])
    return (
        mean[used] / total[used, None],
        summed[used].astype(np.float64),
        (used % seasons).astype(np.int64),
    )


@dataclass(frozen=True, kw_only=True)
class Surroundings:
    """What stands round a block's trees.

    Parameters
    ----------
    strip
        The bark between the panel's lowest and highest cut.
    canopy
        The rows of crowns; None for the open.
    horizon_deg
        Shape (h,), the skyline's elevation evenly round from true north, degrees.
    """

    strip: BarkStrip
    canopy: Canopy | None
    horizon_deg: Floats


@dataclass(frozen=True, kw_only=True)
class Rose:
    """Light on narrow strips of bark that face 36 ways, MJ/m², for each trial of the canopy.

    Parameters
    ----------
    straight
        Shape (t, 5, 36): beam, circumsolar, and both in flow hours, in scorching hours before
        noon and after.
    even
        Shape (t, 5, 36): diffuse light of the even sky: none, all, and the three as above.
    """

    straight: Floats
    even: Floats


def block_rose(table: SunTable, around: Surroundings, depth_shares: Floats) -> Rose:
    """Give the light on a block's bark from every side.

    Parameters
    ----------
    table
        The year of light at its latitude.
    around
        Its bark, canopy and skyline.
    depth_shares
        Shape (t,), the canopy's optical depth in each trial, as a share of its own; 1 first.
    """
    heights, weights = strip_heights(around.strip)
    faces = np.radians(AZIMUTHS_DEG)
    row, tube = _tube(around.canopy)
    straight = straight_light(
        table.direction,
        table.azimuth_deg,
        table.elevation_deg,
        table.energy_mj_m2,
        table.leaf_share,
        around.horizon_deg,
        row,
        tube,
        around.strip.radius_m,
        heights,
        weights,
        np.sin(faces),
        np.cos(faces),
        depth_shares,
    )
    directions, azimuth_deg, elevation_deg, share = _DOME
    view = np.stack(
        [
            straight_light(
                directions,
                azimuth_deg,
                elevation_deg,
                share,
                np.full(len(share), season),
                around.horizon_deg,
                row,
                tube,
                around.strip.radius_m,
                heights,
                weights,
                np.sin(faces),
                np.cos(faces),
                depth_shares,
            )[:, 0]
            for season in table.seasons
        ]
    )
    return Rose(
        straight=straight, even=np.einsum("sk,stf->tkf", table.even_mj_m2, view, optimize=True)
    )


def _tube(canopy: Canopy | None) -> tuple[Floats, Floats]:
    """The canopy as plain numbers: the row's direction, and gap, width, base, top and depth."""
    if canopy is None:
        return np.array([0.0, 1.0]), np.array([10.0, 1.0, 1.0, 2.0, 0.0])
    azimuth = np.radians(canopy.row_azimuth_deg)
    return np.array([np.sin(azimuth), np.cos(azimuth)]), np.array(
        [
            canopy.row_gap_m,
            canopy.crown_width_m,
            canopy.crown_base_m,
            canopy.crown_top_m,
            canopy.depth_per_m,
        ]
    )


def _dome(step_deg: float = 5.0) -> tuple[Floats, Floats, Floats, Floats]:
    """The sky in patches: direction, azimuth, elevation, and light from an even sky of 1 level."""
    edges = np.radians(np.arange(0.0, 90.0 + step_deg / 2, step_deg))
    elevation = np.degrees(0.5 * (edges[1:] + edges[:-1]))
    level = 0.5 * (np.sin(2 * edges) / 2 + edges)
    ring = np.diff(level) / np.cos(np.radians(elevation))
    azimuth = np.arange(step_deg / 2, 360.0, step_deg)
    azimuth_deg, elevation_deg = (grid.ravel() for grid in np.meshgrid(azimuth, elevation))
    share = np.repeat(ring, len(azimuth)) * np.radians(step_deg) / np.pi
    return unit_vectors(azimuth_deg, elevation_deg), azimuth_deg, elevation_deg, share[:, None]


_DOME = _dome()
