"""Where things lie on the earth, as whole numbers that a page can carry in few bytes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from pyproj import CRS, Geod, Transformer

UNITS_PER_DEGREE = 10_000_000
"""One unit is 0.0000001 degree, about 1 cm on the ground."""


@dataclass(frozen=True, kw_only=True)
class EarthFrame:
    """A place to count from, and how long a degree is there.

    Parameters
    ----------
    longitude, latitude
        Of the place, degrees.
    east_m, north_m
        Metres in a degree of longitude and of latitude there, on the WGS 84 ellipsoid.
    """

    longitude: float
    latitude: float
    east_m: float
    north_m: float


def earth_frame(area: shapely.Geometry, crs: CRS) -> EarthFrame:
    """Give the frame whose place is the middle of an area's bounds."""
    west, south, east, north = area.bounds
    transformer = Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = transformer.transform((west + east) / 2, (south + north) / 2)
    longitude, latitude = round(longitude, 7), round(latitude, 7)
    geod, step = Geod(ellps="WGS84"), 0.01
    east_m = geod.inv(longitude - step, latitude, longitude + step, latitude)[2] / (2 * step)
    north_m = geod.inv(longitude, latitude - step, longitude, latitude + step)[2] / (2 * step)
    return EarthFrame(longitude=longitude, latitude=latitude, east_m=east_m, north_m=north_m)


def in_units(
    x: NDArray[np.float64], y: NDArray[np.float64], *, crs: CRS, frame: EarthFrame
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give positions as whole units east and north of the frame's place.

    Parameters
    ----------
    x, y
        Positions in `crs`, metres.

    Returns
    -------
    east, north
        Whole numbers of 0.0000001 degree.
    """
    transformer = Transformer.from_crs(crs, 4326, always_xy=True)
    longitude, latitude = transformer.transform(x, y)
    # The short way round, also across the 180th meridian.
    away = (np.asarray(longitude) - frame.longitude + 180.0) % 360.0 - 180.0
    east = np.rint(away * UNITS_PER_DEGREE)
    north = np.rint((np.asarray(latitude) - frame.latitude) * UNITS_PER_DEGREE)
    return east.astype(np.int64), north.astype(np.int64)


def steps(values: NDArray[np.int64]) -> list[int]:
    """Give the first value and then each one's difference from the one before.

    Examples
    --------
    >>> steps(np.array([100, 103, 106]))
    [100, 3, 3]
    """
    return [int(value) for value in np.diff(values, prepend=0)]


def rings_in_units(
    shapes: gpd.GeoSeries, *, frame: EarthFrame, tolerance_m: float = 0.1
) -> list[list[list[int]]]:
    """Give each shape's lines or rings, each as steps east and north in turn.

    Parameters
    ----------
    shapes
        Lines or areas in a metric CRS.
    tolerance_m
        A vertex nearer than this to the line without it is left out; metres, 0 or more.

    Returns
    -------
    list
        One entry a shape, in order; each a list of lines; each a flat list
        [east, north, east, north, …] in units, every pair but the first relative to the last.
    """
    thinned = shapely.simplify(shapes.to_numpy(), tolerance_m, preserve_topology=True)
    lines = [_lines_of(shape) for shape in thinned]
    flat = [line for some in lines for line in some]
    if not flat:
        return [[] for _ in lines]
    every = np.concatenate(flat)
    east, north = in_units(every[:, 0], every[:, 1], crs=shapes.crs, frame=frame)
    cuts = np.cumsum([len(line) for line in flat])[:-1]
    carried = iter(
        _flat_steps(*part) for part in zip(np.split(east, cuts), np.split(north, cuts), strict=True)
    )
    return [[next(carried) for _ in some] for some in lines]


def _lines_of(shape: Any) -> list[NDArray[np.float64]]:
    lines = []
    for part in shapely.get_parts(shape):
        rings = shapely.get_rings(part) if shapely.get_dimensions(part) == 2 else [part]
        lines += [shapely.get_coordinates(ring) for ring in rings]
    return [line for line in lines if len(line)]


def _flat_steps(east: NDArray[np.int64], north: NDArray[np.int64]) -> list[int]:
    return np.column_stack([steps(east), steps(north)]).ravel().tolist()
