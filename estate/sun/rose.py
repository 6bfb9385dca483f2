"""The light on a block's bark from every side: sun and sky, through its canopy, over its hills."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.sun.bark import BarkStrip, strip_heights
from estate.sun.canopy import Canopy
from estate.sun.position import unit_vectors
from estate.sun.rays import straight_light
from estate.sun.table import SunTable

Floats = NDArray[np.float64]

AZIMUTHS_DEG = np.arange(0.0, 360.0, 10.0)
_FACES = np.sin(np.radians(AZIMUTHS_DEG)), np.cos(np.radians(AZIMUTHS_DEG))
_OPEN = np.array([0.0, 1.0, 10.0, 1.0, 1.0, 2.0, 0.0])


@dataclass(frozen=True, kw_only=True)
class Rose:
    """Light on narrow strips of bark that face 36 ways, MJ/m², under each canopy.

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

    @property
    def both(self) -> Floats:
        """Straight and even light together, shape (t, 5, 36)."""
        return self.straight + self.even


def block_rose(
    table: SunTable,
    *,
    strip: BarkStrip,
    canopies: Sequence[Canopy | None],
    horizon_deg: Floats,
    dome_deg: float = 5.0,
    points: int = 3,
) -> Rose:
    """Give the light on a block's bark from every side.

    Parameters
    ----------
    table
        The year of light at its latitude.
    strip
        The bark between the panel's lowest and highest cut, taken narrow: see
        :func:`estate.sun.bark.over_arc`.
    canopies
        One or more forms of its canopy; None for the open.
    horizon_deg
        Shape (h,), the skyline's elevation evenly round from true north, degrees.
    dome_deg
        Width of the patches into which the even sky is cut, 5 or 10 degrees.
    points
        Heights at which the strip is sampled, 1 or more.
    """
    heights, weights = strip_heights(strip, points=points)
    tubes = np.stack([_tube(canopy) for canopy in canopies])
    bark = (horizon_deg, tubes, strip.radius_m, heights, weights, *_FACES)
    straight = straight_light(
        table.direction,
        table.azimuth_deg,
        table.elevation_deg,
        table.energy_mj_m2,
        table.leaf_share,
        *bark,
    )
    directions, azimuth_deg, elevation_deg, light = _DOMES[dome_deg]
    view = np.stack(
        [
            straight_light(
                directions, azimuth_deg, elevation_deg, light, np.full(len(light), season), *bark
            )[:, 0]
            for season in table.seasons
        ]
    )
    return Rose(straight=straight, even=np.einsum("sk,stf->tkf", table.even_mj_m2, view))


def _tube(canopy: Canopy | None) -> Floats:
    """A canopy as plain numbers, in the order of :func:`estate.sun.rays.passing_share`."""
    if canopy is None:
        return _OPEN
    azimuth = np.radians(canopy.row_azimuth_deg)
    return np.array(
        [
            np.sin(azimuth),
            np.cos(azimuth),
            canopy.row_gap_m,
            canopy.crown_width_m,
            canopy.crown_base_m,
            canopy.crown_top_m,
            canopy.depth_per_m,
        ]
    )


def _dome(step_deg: float) -> tuple[Floats, Floats, Floats, Floats]:
    """The sky in patches: direction, azimuth, elevation, and light from an even sky of 1 level.

    A patch's light is such that on open upright bark each ring gives exactly its own share.
    """
    edges = np.radians(np.arange(0.0, 90.0 + step_deg / 2, step_deg))
    elevation = np.degrees(0.5 * (edges[1:] + edges[:-1]))
    level = 0.5 * (np.sin(2 * edges) / 2 + edges)
    ring = np.diff(level) / np.cos(np.radians(elevation))
    azimuth = np.arange(step_deg / 2, 360.0, step_deg)
    azimuth_deg, elevation_deg = (grid.ravel() for grid in np.meshgrid(azimuth, elevation))
    light = np.repeat(ring, len(azimuth)) * np.radians(step_deg) / np.pi
    return unit_vectors(azimuth_deg, elevation_deg), azimuth_deg, elevation_deg, light[:, None]


_DOMES = {step_deg: _dome(step_deg) for step_deg in (5.0, 10.0)}
