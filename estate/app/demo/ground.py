"""The demo's invented ground: hills, a valley with a stream, and a fine roughness."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import rasterio
from numpy.typing import NDArray
from pyproj import Transformer
from scipy import ndimage

from layers.crs import EXCHANGE_CRS

_MARGIN_M = 160.0


def stream_east_m(north_m: NDArray[np.float64], place: dict[str, Any]) -> NDArray[np.float64]:
    """Give the stream's distance from the western edge at a distance from the southern, metres.

    It runs along the border of the second and third column of holdings, with gentle bends.
    """
    middle = place["columns"] / 2.0 * place["cell_m"]
    return middle + 2.8 * np.sin(north_m / 95.0) + 1.4 * np.sin(north_m / 41.0 + 1.0)


def elevation_m(
    east_m: NDArray[np.float64], north_m: NDArray[np.float64], figures: dict[str, Any]
) -> NDArray[np.float64]:
    """Give the invented elevation at places counted from the south-west corner, metres."""
    ground = figures["ground"]
    extent = figures["place"]["rows"] * figures["place"]["cell_m"]
    height = ground["lowest_m"] + ground["fall_m"] * north_m / extent
    for east, north, tall, broad in ground["hills"]:
        height = height + tall * np.exp(
            -((east_m - east) ** 2 + (north_m - north) ** 2) / (2.0 * broad**2)
        )
    away = east_m - stream_east_m(north_m, figures["place"])
    valley = 1.0 - np.exp(-((away / ground["stream_width_m"]) ** 2))
    return height + ground["stream_depth_m"] * valley


def write_ground(path: Path, figures: dict[str, Any], generator: np.random.Generator) -> Path:
    """Write the elevation as a GeoTIFF in longitude and latitude, float32 metres."""
    place, step = figures["place"], figures["ground"]["step_deg"]
    to_degrees = Transformer.from_crs(place["epsg"], EXCHANGE_CRS, always_xy=True)
    east = place["west_m"] + np.array([-_MARGIN_M, place["width_m"] + _MARGIN_M])
    north = place["south_m"] + np.array([-_MARGIN_M, place["height_m"] + _MARGIN_M])
    longitudes, latitudes = to_degrees.transform(east, north)
    lon = np.arange(longitudes[0], longitudes[1], step)
    lat = np.arange(latitudes[1], latitudes[0], -step)
    grid_lon, grid_lat = np.meshgrid(lon, lat)
    x, y = to_degrees.transform(grid_lon, grid_lat, direction="INVERSE")
    height = elevation_m(x - place["west_m"], y - place["south_m"], figures)
    rough = ndimage.gaussian_filter(generator.normal(size=height.shape), 3.0)
    height = height + figures["ground"]["roughness_m"] * rough / rough.std()
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=len(lat),
        width=len(lon),
        count=1,
        dtype="float32",
        crs="EPSG:4326",
        transform=rasterio.transform.from_origin(
            lon[0] - step / 2.0, lat[0] + step / 2.0, step, step
        ),
        nodata=-9999.0,
        compress="deflate",
    ) as target:
        target.write(height.astype("float32"), 1)
    return path
