"""Pictures of the ground from the cooperative's own elevation: shade, slope, contours, girth."""

from __future__ import annotations

import base64
import io
from dataclasses import dataclass
from typing import Any

import contourpy
import geopandas as gpd
import numpy as np
import rasterio.warp
import shapely
from affine import Affine
from numpy.typing import NDArray
from PIL import Image
from pyproj import CRS, Transformer

from layers.terrain import Terrain, hillshade, slope_deg
from reports.palette import GIRTH_STEPS, SLOPE_STEPS

WEB_MERCATOR = CRS.from_epsg(3857)

# Above 15 degrees terraces are advised in Thailand; planting stops at 30 degrees in Viet Nam
# (both secondary). The two lower breaks only part gentle ground for the eye.
SLOPE_BREAKS_DEG = (5.0, 10.0, 15.0, 30.0)

_SHADE_LEVELS = 32
_SHADE_DARKEST = 0.70
_SHADE_HEIGHT_FACTOR = 1.5
_PAPER_TINT = np.array([1.0, 0.985, 0.95])
_LONGEST_SIDE_PX = 600
# Cells of three metres drawn as they are would show as steps on a block of a hundred metres.
_FINER = 3


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture that lies on the map.

    Parameters
    ----------
    url
        The picture itself as a ``data:`` address (PNG).
    bounds
        [[south, west], [north, east]] in degrees.
    """

    url: str
    bounds: list[list[float]]


def cut_terrain(terrain: Terrain, area: shapely.Geometry, *, margin_m: float) -> Terrain | None:
    """Give the part of the terrain under an area with a margin, None where there is none.

    Parameters
    ----------
    area
        In the terrain's CRS.
    margin_m
        Metres round the area, 0 or more.
    """
    west, south, east, north = area.bounds
    rows, columns = terrain.elevation_m.shape
    left, top = ~terrain.transform @ (west - margin_m, north + margin_m)
    right, bottom = ~terrain.transform @ (east + margin_m, south - margin_m)
    first_column, last_column = max(0, int(left)), min(columns, int(np.ceil(right)))
    first_row, last_row = max(0, int(top)), min(rows, int(np.ceil(bottom)))
    if last_column - first_column < 2 or last_row - first_row < 2:
        return None
    return Terrain(
        elevation_m=terrain.elevation_m[first_row:last_row, first_column:last_column],
        transform=terrain.transform @ Affine.translation(first_column, first_row),
        crs=terrain.crs,
    )


def shade_picture(terrain: Terrain) -> Picture:
    """Give hill shade, lit from the north-west, in greys pale enough to keep marks clear."""
    shade = hillshade(terrain, height_factor=_SHADE_HEIGHT_FACTOR)
    levels = np.arange(_SHADE_LEVELS) / (_SHADE_LEVELS - 1)
    greys = (_SHADE_DARKEST + (1 - _SHADE_DARKEST) * levels)[:, None] * _PAPER_TINT * 255
    return _picture(
        np.floor(np.clip(shade, 0, 0.999) * _SHADE_LEVELS), greys.astype(np.uint8), terrain
    )


def slope_picture(terrain: Terrain) -> Picture:
    """Give slope in five steps, parted at `SLOPE_BREAKS_DEG`."""
    slope = slope_deg(terrain)
    level = np.digitize(slope, SLOPE_BREAKS_DEG).astype(np.float64)
    return _picture(np.where(np.isnan(slope), np.nan, level), _rgb(SLOPE_STEPS), terrain)


def girth_picture(
    girth_cm: NDArray[np.float64],
    transform: Affine,
    crs: CRS,
    *,
    breaks_cm: NDArray[np.float64],
) -> Picture:
    """Give the girth to expect of a tree at each place, in steps.

    Parameters
    ----------
    girth_cm, transform
        As :meth:`estate.girth.GirthRaster.of_block` gives them: a grid, NaN for no value, and
        from (column, row) to (x, y) in `crs`.
    crs
        A metric CRS.
    breaks_cm
        Girths at which the colour changes, one fewer than the palette's steps; centimetres.
    """
    fine = transform @ Affine.scale(1.0 / _FINER)
    smooth = np.full(tuple(_FINER * side for side in girth_cm.shape), np.nan)
    rasterio.warp.reproject(
        girth_cm,
        smooth,
        src_transform=transform,
        src_crs=crs,
        src_nodata=np.nan,
        dst_transform=fine,
        dst_crs=crs,
        dst_nodata=np.nan,
        resampling=rasterio.warp.Resampling.bilinear,
    )
    level = np.where(np.isnan(smooth), np.nan, np.digitize(smooth, breaks_cm))
    ground = Terrain(elevation_m=smooth, transform=fine, crs=crs)
    return _picture(level, _rgb(GIRTH_STEPS), ground)


def contour_lines(terrain: Terrain, *, interval_m: float) -> gpd.GeoDataFrame:
    """Give contours [elevation_m, geometry] every `interval_m` metres of height."""
    rows, columns = terrain.elevation_m.shape
    x = terrain.transform.c + terrain.transform.a * (np.arange(columns) + 0.5)
    y = terrain.transform.f + terrain.transform.e * (np.arange(rows) + 0.5)
    maker = contourpy.contour_generator(x, y, np.ma.masked_invalid(terrain.elevation_m))
    low, high = np.nanmin(terrain.elevation_m), np.nanmax(terrain.elevation_m)
    heights = np.arange(np.ceil(low / interval_m), np.floor(high / interval_m) + 1) * interval_m
    lines = [
        (float(height), shapely.LineString(line))
        for height in heights
        for line in maker.lines(height)
        if len(line) > 1
    ]
    return gpd.GeoDataFrame(
        {"elevation_m": [height for height, _ in lines]},
        geometry=[line for _, line in lines],
        crs=terrain.crs,
    )


def contour_interval_m(terrain: Terrain) -> float:
    """Give the spacing of contours, metres of height, that draws between about 6 and 15 of them.

    Examples
    --------
    >>> hill = Terrain(elevation_m=np.array([[50.0, 90.0]]), transform=Affine.identity(),
    ...                crs=WEB_MERCATOR)
    >>> contour_interval_m(hill)
    5.0
    """
    rise_m = float(np.nanmax(terrain.elevation_m) - np.nanmin(terrain.elevation_m))
    intervals = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0)
    return next((step for step in intervals if rise_m / step <= 15), intervals[-1])


def _rgb(colours: tuple[str, ...]) -> NDArray[np.uint8]:
    return np.array(
        [[int(colour[start : start + 2], 16) for start in (1, 3, 5)] for colour in colours],
        dtype=np.uint8,
    )


def _picture(level: NDArray[np.float64], colours: NDArray[np.uint8], ground: Terrain) -> Picture:
    """Lay levels (NaN for none) on the web map's projection and paint them."""
    rows, columns = level.shape
    bounds = (
        *(ground.transform @ (0, rows)),
        *(ground.transform @ (columns, 0)),
    )
    transform, width, height = rasterio.warp.calculate_default_transform(
        ground.crs, WEB_MERCATOR, columns, rows, *bounds
    )
    longest = max(width, height)
    if longest > _LONGEST_SIDE_PX:
        scale = longest / _LONGEST_SIDE_PX
        transform = transform @ Affine.scale(scale)
        width, height = max(1, int(width / scale)), max(1, int(height / scale))
    laid = np.full((height, width), np.nan)
    rasterio.warp.reproject(
        level,
        laid,
        src_transform=ground.transform,
        src_crs=ground.crs,
        src_nodata=np.nan,
        dst_transform=transform,
        dst_crs=WEB_MERCATOR,
        dst_nodata=np.nan,
        resampling=rasterio.warp.Resampling.nearest,
    )
    blank = len(colours)
    picture = Image.fromarray(np.where(np.isnan(laid), blank, laid).astype(np.uint8), mode="P")
    picture.putpalette(np.vstack([colours, [[255, 255, 255]]]).astype(np.uint8).tobytes())
    stream = io.BytesIO()
    picture.save(stream, "PNG", transparency=blank, optimize=True)
    west, north = transform @ (0, 0)
    east, south = transform @ (width, height)
    to_degrees = Transformer.from_crs(WEB_MERCATOR, 4326, always_xy=True)
    (west, east), (south, north) = to_degrees.transform([west, east], [south, north])
    return Picture(
        url="data:image/png;base64," + base64.b64encode(stream.getvalue()).decode("ascii"),
        bounds=[[round(south, 8), round(west, 8)], [round(north, 8), round(east, 8)]],
    )


def as_content(picture: Picture) -> dict[str, Any]:
    """Give a picture as a page's content holds it."""
    return {"url": picture.url, "bounds": picture.bounds}
