"""The skyline round a place, from a grid of elevation."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside
from layers.errors import GeometryError, SettingError
from layers.terrain import Terrain

Floats = NDArray[np.float64]

_EARTH_RADIUS_M = 6_371_000.0


def horizon_profile(
    terrain: Terrain,
    x: float,
    y: float,
    *,
    directions: int = 72,
    first_deg: float = 0.0,
    height_m: float = 1.0,
    reach_m: float | None = None,
) -> Floats:
    """Give the elevation angle of the skyline in each direction from one place.

    Parameters
    ----------
    terrain
        Elevation on a north-up grid.
    x, y
        The place, in the terrain's CRS.
    directions
        How many, evenly round, clockwise; 4 or more.
    first_deg
        The first of them, degrees clockwise from grid north, so that a profile can begin at true
        north.
    height_m
        Of the eye above the ground, metres, 0 or more.
    reach_m
        How far to look, metres; None for the whole grid.

    Returns
    -------
    ndarray
        Shape (directions,), degrees above the level plane, never below 0. Beyond the grid and
        where it has no reading the land is taken as lower than the line of sight.

    Raises
    ------
    GeometryError
        The place is off the grid or has no elevation.
    SettingError
        An option is out of its range.
    """
    if directions < 4 or height_m < 0.0 or (reach_m is not None and reach_m <= 0.0):
        raise SettingError.at(
            layer="terrain",
            found=f"directions {directions}, height_m {height_m}, reach_m {reach_m}",
            expected="4 directions or more, height 0 m or more, reach over 0 m",
            remedy="Mend the options.",
        )
    surface = np.ascontiguousarray(terrain.elevation_m, dtype=np.float64)
    cell_x, cell_y = abs(terrain.transform.a), abs(terrain.transform.e)
    column, row = ~terrain.transform @ (x, y)
    column, row = column - 0.5, row - 0.5
    ground = _height_at(surface, row, column)
    if np.isnan(ground):
        raise GeometryError.at(
            layer="terrain",
            found=f"no elevation at {x:.0f}, {y:.0f}",
            expected="a place inside the elevation grid",
            remedy="Bring in an elevation layer that covers every block.",
        )
    farthest = float(np.hypot(surface.shape[1] * cell_x, surface.shape[0] * cell_y))
    azimuth = np.arange(directions) * (2.0 * np.pi / directions) + np.radians(first_deg)
    tangents = _skyline(
        surface,
        row,
        column,
        ground + height_m,
        np.sin(azimuth),
        np.cos(azimuth),
        cell_x,
        cell_y,
        min(farthest, reach_m or farthest),
    )
    return np.degrees(np.arctan(tangents))


@dataclass(frozen=True, kw_only=True)
class GroundPlane:
    """The plane that lies nearest to a patch of ground.

    Parameters
    ----------
    altitude_m
        Mean elevation.
    slope_percent
        Rise over run times 100.
    uphill_deg
        The way that it rises, degrees clockwise from grid north; NaN where it is level.
    """

    altitude_m: float
    slope_percent: float
    uphill_deg: float


def ground_plane(terrain: Terrain, bounds: tuple[float, float, float, float]) -> GroundPlane:
    """Fit a plane by least squares to the elevation inside a box.

    Parameters
    ----------
    terrain
        Elevation on a north-up grid.
    bounds
        Least x, least y, most x, most y in the terrain's CRS; widened by one cell each way.

    Returns
    -------
    GroundPlane
        All NaN where fewer than four cells in the box have an elevation.
    """
    left, top = ~terrain.transform @ (bounds[0], bounds[3])
    right, bottom = ~terrain.transform @ (bounds[2], bounds[1])
    rows, columns = terrain.elevation_m.shape
    row_from, row_to = max(int(top) - 1, 0), max(min(int(bottom) + 2, rows), 0)
    column_from, column_to = max(int(left) - 1, 0), max(min(int(right) + 2, columns), 0)
    patch = terrain.elevation_m[row_from:row_to, column_from:column_to]
    row, column = np.nonzero(~np.isnan(patch))
    if len(row) < 4:
        return GroundPlane(altitude_m=np.nan, slope_percent=np.nan, uphill_deg=np.nan)
    east = column * abs(terrain.transform.a)
    north = -row * abs(terrain.transform.e)
    heights = patch[row, column]
    terms = np.column_stack([east - east.mean(), north - north.mean(), np.ones(len(row))])
    eastward, northward, middle = np.linalg.lstsq(terms, heights, rcond=None)[0]
    rise = float(np.hypot(eastward, northward))
    return GroundPlane(
        altitude_m=float(middle),
        slope_percent=100.0 * rise,
        uphill_deg=float(np.degrees(np.arctan2(eastward, northward)) % 360.0) if rise else np.nan,
    )


@inside
def _height_at(surface, row, column):  # type: ignore[no-untyped-def]
    """Elevation between the four cell centres round a place, NaN off the grid."""
    rows, columns = surface.shape
    if row < -0.5 or column < -0.5 or row > rows - 0.5 or column > columns - 0.5:
        return np.nan
    row = min(max(row, 0.0), rows - 1.0)
    column = min(max(column, 0.0), columns - 1.0)
    top = min(int(row), rows - 2) if rows > 1 else 0
    left = min(int(column), columns - 2) if columns > 1 else 0
    down = min(top + 1, rows - 1)
    right = min(left + 1, columns - 1)
    share_y, share_x = row - top, column - left
    upper = surface[top, left] * (1.0 - share_x) + surface[top, right] * share_x
    lower = surface[down, left] * (1.0 - share_x) + surface[down, right] * share_x
    return upper * (1.0 - share_y) + lower * share_y


@door
def _skyline(surface, row, column, eye_m, sines, cosines, cell_x, cell_y, reach_m):  # type: ignore[no-untyped-def]
    """Tangent of the skyline's elevation angle along each direction.

    Steps are half a cell near by and a two-hundredth of the way far off.
    """
    least_m = 0.5 * min(cell_x, cell_y)
    tangents = np.zeros(sines.shape[0])
    for way in range(sines.shape[0]):
        highest = 0.0
        away_m = least_m
        while away_m <= reach_m:
            here_row = row - cosines[way] * away_m / cell_y
            here_column = column + sines[way] * away_m / cell_x
            if (
                here_row < -0.5
                or here_column < -0.5
                or here_row > surface.shape[0] - 0.5
                or here_column > surface.shape[1] - 0.5
            ):
                break
            land = _height_at(surface, here_row, here_column)
            if not np.isnan(land):
                fall = away_m * away_m / (2.0 * _EARTH_RADIUS_M)
                tangent = (land - fall - eye_m) / away_m
                if tangent > highest:
                    highest = tangent
            away_m += max(least_m, away_m / 200.0)
        tangents[way] = highest
    return tangents
