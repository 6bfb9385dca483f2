"""Elevation in metres on a grid: reading it, and slope, aspect and shade from it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import rasterio
from affine import Affine
from numpy.typing import ArrayLike, NDArray
from pyproj import CRS, Transformer
from rasterio.errors import RasterioIOError
from rasterio.warp import Resampling, calculate_default_transform, reproject
from scipy import ndimage

from layers.crs import known_crs
from layers.errors import CrsError, Fault, GeometryError, MissingLayerError, UnreadableError

# No ground lies lower or higher: the shore of the Dead Sea is about 430 m below the sea (from
# memory), the top of Mount Everest 8,849 m above it (survey of Nepal and China, December 2020).
LEAST_ELEVATION_M, MOST_ELEVATION_M = -500.0, 9000.0
# What a raster may say its heights are in, beside metres: the international foot, the survey foot.
_FEET_M = {"ft": 0.3048, "foot": 0.3048, "feet": 0.3048, "us-ft": 1200.0 / 3937.0,
           "us survey foot": 1200.0 / 3937.0}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Terrain:
    """Elevation on a north-up grid.

    Parameters
    ----------
    elevation_m
        Shape (rows, columns), float64, metres; NaN where there is no reading.
    transform
        From (column, row) to (x, y) in `crs`, pixel corners.
    crs
        A metric CRS.
    """

    elevation_m: NDArray[np.float64]
    transform: Affine
    crs: CRS


def read_terrain(
    path: Path, *, crs: CRS, stands_in: CRS | None = None
) -> tuple[Terrain, tuple[Fault, ...]]:
    """Read elevation from a GeoTIFF and bring it into a metric CRS.

    A raster that already stands north-up in `crs` is taken as it is; any other is resampled
    (bilinear) to a north-up grid of about its own resolution. A scale and offset that the file
    names are applied, heights in feet turned into metres, and cells whose value is no height on
    earth, such as -9999, taken as without a reading.

    Parameters
    ----------
    path
        A raster whose first band is elevation in metres, or in a unit that it names.
    crs
        The metric CRS to bring it into.
    stands_in
        The raster's CRS, where the file itself doesn't say.

    Returns
    -------
    Terrain, tuple of Fault
        The elevation, and what was mended in it.

    Raises
    ------
    MissingLayerError, UnreadableError
        There is no such file, or it isn't a raster.
    CrsError
        The raster has no CRS and `stands_in` is None, or it lies outside its CRS.
    GeometryError
        The raster holds no reading at all.
    """
    path = Path(path)
    if not path.is_file():
        raise MissingLayerError.at(
            file=str(path), layer="terrain", found="no such file", expected="a GeoTIFF",
            remedy="Check the path.",
        )  # fmt: skip
    try:
        with rasterio.open(path) as source:
            band = source.read(1, masked=True).astype("float64").filled(np.nan)
            band = band * source.scales[0] + source.offsets[0]
            unit = source.units[0]
            placed, wkt = source.transform, source.crs.to_wkt() if source.crs else None
    except RasterioIOError as error:
        raise UnreadableError.at(
            file=path.name, layer="terrain",
            found=str(error).split(";")[0].replace(f"{path.parent}/", ""), expected="a GeoTIFF",
            remedy="Save the elevation as a GeoTIFF again.",
        ) from error  # fmt: skip
    if wkt is None and stands_in is None:
        raise CrsError.at(
            file=path.name,
            layer="terrain",
            found="no coordinate reference system",
            expected="one that PROJ knows",
            remedy=f'Write in columns.toml, under [crs]: "{path.name}" = "EPSG:…".',
        )
    band, faults = _in_metres(band, unit, wkt, file=path.name)
    if not np.isfinite(band).any():
        raise GeometryError.at(
            file=path.name,
            layer="terrain",
            found="no reading at all",
            expected="elevation in metres in the first band",
            remedy="Check the raster and its no-data value.",
        )
    own = stands_in if stands_in is not None else known_crs(wkt, file=path.name)
    north_up = placed.b == 0.0 and placed.d == 0.0 and placed.a > 0.0 and placed.e < 0.0
    if north_up and own.equals(crs, ignore_axis_order=True):
        return Terrain(elevation_m=band, transform=placed, crs=crs), faults
    _check_inside(band, placed, own=own, crs=crs, file=path.name)
    return _warped(band, placed, own=own, crs=crs), faults


def _in_metres(
    band: NDArray[np.float64], unit: str | None, wkt: str | None, *, file: str
) -> tuple[NDArray[np.float64], tuple[Fault, ...]]:
    """Give heights in metres, without those that no ground has, and tell both."""
    told = []
    factor = _FEET_M.get((unit or "").strip().lower()) or _upward_m(wkt)
    if factor != 1.0:
        band = factor * band
        told.append(("heights in feet, turned into metres", "Nothing to do if they are in feet."))
    outside = (band < LEAST_ELEVATION_M) | (band > MOST_ELEVATION_M)
    if outside.any():
        odd = band[outside]
        told.append(
            (
                f"{outside.sum():,} cells of {odd.min():g} to {odd.max():g} m, taken as without a "
                "reading",
                "Write the raster's no-data value into it, and check the unit of its heights.",
            )
        )
    faults = tuple(
        Fault(
            severity="mended",
            file=file,
            layer="terrain",
            row="",
            found=found,
            expected=f"metres from {LEAST_ELEVATION_M:g} to {MOST_ELEVATION_M:g}",
            remedy=remedy,
        )
        for found, remedy in told
    )
    return np.where(outside, np.nan, band), faults


def _upward_m(wkt: str | None) -> float:
    """Give how many metres one unit of a CRS's height axis is; 1 where it has none."""
    axes = [] if wkt is None else CRS.from_wkt(wkt).axis_info
    return next((axis.unit_conversion_factor for axis in axes if axis.direction == "up"), 1.0)


def _check_inside(
    band: NDArray[np.float64], placed: Affine, *, own: CRS, crs: CRS, file: str
) -> None:
    height, width = band.shape
    columns, rows = np.meshgrid(np.linspace(0.0, width, 5), np.linspace(0.0, height, 5))
    x = placed.a * columns + placed.b * rows + placed.c
    y = placed.d * columns + placed.e * rows + placed.f
    if not np.isfinite(Transformer.from_crs(own, crs, always_xy=True).transform(x, y)).all():
        raise CrsError.at(
            file=file,
            layer="terrain",
            found=f"a raster from {x.min():,.6g}, {y.min():,.6g} to {x.max():,.6g}, "
            f"{y.max():,.6g}, which lies nowhere in {own.name}",
            expected="a raster inside its coordinate reference system",
            remedy="Check the raster's place; give its true CRS in columns.toml.",
        )


def _warped(band: NDArray[np.float64], placed: Affine, *, own: CRS, crs: CRS) -> Terrain:
    height, width = band.shape
    left, bottom, right, top = rasterio.transform.array_bounds(height, width, placed)
    transform, columns, rows = calculate_default_transform(
        own.to_wkt(), crs.to_wkt(), width, height, left, bottom, right, top
    )
    elevation: NDArray[np.float64] = np.full((rows, columns), np.nan)
    reproject(
        band,
        elevation,
        src_transform=placed,
        src_crs=own.to_wkt(),
        src_nodata=np.nan,
        dst_transform=transform,
        dst_crs=crs.to_wkt(),
        dst_nodata=np.nan,
        resampling=Resampling.bilinear,
    )
    return Terrain(elevation_m=elevation, transform=transform, crs=crs)


def write_terrain(path: Path, terrain: Terrain) -> None:
    """Write elevation as a GeoTIFF, float64 metres, NaN for no reading: it reads back the same."""
    height, width = terrain.elevation_m.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=height,
        width=width,
        count=1,
        dtype="float64",
        crs=terrain.crs.to_wkt(),
        transform=terrain.transform,
        nodata=np.nan,
        compress="deflate",
    ) as target:
        target.write(terrain.elevation_m, 1)


def sample(
    grid: NDArray[np.float64], terrain: Terrain, *, x: ArrayLike, y: ArrayLike
) -> NDArray[np.float64]:
    """Give a grid's value at points, bilinear between cell centres.

    Parameters
    ----------
    grid
        Same shape as the elevation: the elevation itself, a slope in degrees, and so on.
    terrain
        Where the grid lies.
    x, y
        Metres in the terrain's CRS, any shape alike.

    Returns
    -------
    array of float
        The shape of `x`; NaN outside the grid and where a neighbouring cell has no reading.
        Within half a cell of the grid's edge the edge cell's value holds.

    Examples
    --------
    >>> flat = Terrain(elevation_m=np.array([[0.0, 10.0], [0.0, 10.0]]),
    ...                transform=Affine(1, 0, 0, 0, -1, 2), crs=CRS.from_epsg(32748))
    >>> float(sample(flat.elevation_m, flat, x=1.0, y=1.0))
    5.0
    """
    eastward, northward = np.broadcast_arrays(
        np.asarray(x, dtype="float64"), np.asarray(y, dtype="float64")
    )
    inverse = ~terrain.transform
    columns = inverse.a * eastward + inverse.b * northward + inverse.c
    rows = inverse.d * eastward + inverse.e * northward + inverse.f
    height, width = grid.shape
    inside = (columns >= 0.0) & (columns <= width) & (rows >= 0.0) & (rows <= height)
    places = np.stack(
        [
            np.clip(np.ravel(rows) - 0.5, 0.0, height - 1.0),
            np.clip(np.ravel(columns) - 0.5, 0.0, width - 1.0),
        ]
    )
    values = ndimage.map_coordinates(grid, places, order=1, mode="nearest").reshape(rows.shape)
    return np.where(inside, values, np.nan)


def elevation_at(terrain: Terrain, *, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Give the elevation (metres) at points (metres in the terrain's CRS); see :func:`sample`."""
    return sample(terrain.elevation_m, terrain, x=x, y=y)


def gradient(terrain: Terrain) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Give the rise eastward and northward in each cell, metres a metre (Horn's method).

    Beyond the grid's rim the ground is taken to run on straight; a neighbour without a reading
    counts as high as the cell itself, which lessens the slope beside it. A cell without a reading
    stays NaN.

    References
    ----------
    Horn, B. K. P. (1981). Hill shading and the reflectance map. Proceedings of the IEEE 69(1),
    14-47. Burrough, P. A. and McDonnell, R. A. (1998). Principles of Geographical Information
    Systems, p. 190.
    """
    near = _neighbours(terrain.elevation_m)
    east = near[0, 2] + 2.0 * near[1, 2] + near[2, 2]
    west = near[0, 0] + 2.0 * near[1, 0] + near[2, 0]
    north = near[0, 0] + 2.0 * near[0, 1] + near[0, 2]
    south = near[2, 0] + 2.0 * near[2, 1] + near[2, 2]
    return (
        (east - west) / (8.0 * terrain.transform.a),
        (north - south) / (8.0 * -terrain.transform.e),
    )


def _neighbours(elevation: NDArray[np.float64]) -> NDArray[np.float64]:
    """Give the three by three cells about each cell, shape (3, 3, rows, columns)."""
    height, width = elevation.shape
    around = np.pad(elevation, 1, mode="reflect", reflect_type="odd")
    near = np.lib.stride_tricks.sliding_window_view(around, (height, width))
    near = np.where(np.isnan(near), elevation, near)
    near[:, :, np.isnan(elevation)] = np.nan
    return near


def slope_percent(terrain: Terrain) -> NDArray[np.float64]:
    """Give the slope of each cell, percent (rise over run times 100); see :func:`gradient`."""
    eastward, northward = gradient(terrain)
    return 100.0 * np.hypot(eastward, northward)


def slope_deg(terrain: Terrain) -> NDArray[np.float64]:
    """Give the slope of each cell, degrees from level; see :func:`gradient`.

    Examples
    --------
    >>> east = Terrain(elevation_m=np.tile(np.arange(4.0), (3, 1)),
    ...                transform=Affine(1, 0, 0, 0, -1, 3), crs=CRS.from_epsg(32748))
    >>> slope_deg(east).round(6)[1].tolist()
    [45.0, 45.0, 45.0, 45.0]
    """
    return np.degrees(np.arctan(slope_percent(terrain) / 100.0))


def aspect_deg(terrain: Terrain) -> NDArray[np.float64]:
    """Give the direction that each cell faces downhill, degrees clockwise from north.

    NaN where the ground is level or has no reading.
    """
    eastward, northward = gradient(terrain)
    aspect = np.degrees(np.arctan2(-eastward, -northward)) % 360.0
    return np.where((eastward == 0.0) & (northward == 0.0), np.nan, aspect)


def hillshade(
    terrain: Terrain,
    *,
    azimuth_deg: float = 315.0,
    altitude_deg: float = 45.0,
    height_factor: float = 1.0,
) -> NDArray[np.float64]:
    """Give each cell's shade from 0 (dark) to 1 (lit square on) for a light in the sky.

    Parameters
    ----------
    terrain
        The elevation.
    azimuth_deg, altitude_deg
        Where the light stands: clockwise from north, and above the horizon (0 to 90).
    height_factor
        What heights are multiplied by before shading, to bring out low relief.

    References
    ----------
    Horn, B. K. P. (1981). Hill shading and the reflectance map. Proceedings of the IEEE 69(1),
    14-47.
    """
    eastward, northward = (height_factor * part for part in gradient(terrain))
    azimuth, altitude = np.radians(azimuth_deg), np.radians(altitude_deg)
    toward = eastward * np.sin(azimuth) + northward * np.cos(azimuth)
    length = np.sqrt(1.0 + eastward**2 + northward**2)
    lit = (np.sin(altitude) - np.cos(altitude) * toward) / length
    return np.clip(lit, 0.0, 1.0)
