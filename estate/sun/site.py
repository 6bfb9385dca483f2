"""Where each block lies and how it is planted, as far as the sun cares."""

from __future__ import annotations

import datetime as dt

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from pyproj import Geod

from layers.errors import ColumnError, CrsError
from layers.horizon import ground_plane
from layers.terrain import Terrain

Floats = NDArray[np.float64]

_DAYS_A_YEAR = 365.25
_PROBE_M = 100.0


def block_sites(
    blocks: gpd.GeoDataFrame,
    rows: gpd.GeoDataFrame,
    *,
    on: dt.date,
    terrain: Terrain | None = None,
) -> pd.DataFrame:
    """Give each block's place, planting and lie of the land.

    Parameters
    ----------
    blocks
        With `block_id`; `planted_on` and `row_gap_m` where known. A metric CRS.
    rows
        With `block_id`, lines in the same CRS; a block may have none.
    on
        The date on which ages are taken.
    terrain
        Elevation in the same CRS; None for level ground by the sea.

    Returns
    -------
    DataFrame
        One row a block, in order: block_id, x, y, latitude, longitude, north_deg (grid north,
        degrees clockwise from true north), row_deg (0 to 180, from true north; NaN without
        rows), straightness (0 to 1, of the rows together), age_years (NaN where unknown or
        still to be planted), row_gap_m (NaN where unknown), altitude_m, slope_percent and
        uphill_deg (NaN without terrain).

    Raises
    ------
    ColumnError
        A column that is needed is missing, or a block comes twice.
    CrsError
        The layers aren't in one metric CRS.
    """
    _check(blocks, rows, terrain)
    middles = shapely.point_on_surface(blocks.geometry.to_numpy())
    x, y = shapely.get_x(middles), shapely.get_y(middles)
    here = gpd.GeoSeries(middles, crs=blocks.crs).to_crs(4326)
    above = gpd.GeoSeries(shapely.points(x, y + _PROBE_M), crs=blocks.crs).to_crs(4326)
    north_deg, _, _ = Geod(ellps="WGS84").inv(
        here.x.to_numpy(), here.y.to_numpy(), above.x.to_numpy(), above.y.to_numpy()
    )
    row_way = _row_directions(rows).reindex(blocks["block_id"])
    sites = pd.DataFrame(
        {
            "block_id": blocks["block_id"].to_numpy(),
            "x": x,
            "y": y,
            "latitude": here.y.to_numpy(),
            "longitude": here.x.to_numpy(),
            "north_deg": north_deg,
            "row_deg": (row_way["grid_deg"].to_numpy() + north_deg) % 180.0,
            "straightness": row_way["straightness"].to_numpy(),
            "age_years": _ages(blocks, on),
            "row_gap_m": _numbers(blocks, "row_gap_m"),
        }
    )
    return pd.concat([sites, _lie(blocks, terrain, north_deg)], axis=1)


def _check(blocks: gpd.GeoDataFrame, rows: gpd.GeoDataFrame, terrain: Terrain | None) -> None:
    for name, frame in (("blocks", blocks), ("rows", rows)):
        if "block_id" not in frame:
            raise ColumnError.at(
                layer=name,
                found="no column block_id",
                expected="a block_id on every row",
                remedy="Bring the layer in through `layers` first.",
            )
    twice = blocks.loc[blocks["block_id"].duplicated(), "block_id"]
    if len(twice):
        raise ColumnError.at(
            layer="blocks",
            row=twice.iloc[0],
            found="a block_id that comes twice",
            expected="each block_id once",
            remedy="Give each block its own name.",
        )
    if blocks.crs is None or blocks.crs.is_geographic:
        raise CrsError.at(
            layer="blocks",
            found=f"the CRS {blocks.crs}",
            expected="a metric CRS",
            remedy="Bring the layer in through `layers`, which chooses one.",
        )
    others = [("rows", rows.crs if len(rows) else blocks.crs)]
    others += [("terrain", terrain.crs)] if terrain is not None else []
    for name, crs in others:
        if crs != blocks.crs:
            raise CrsError.at(
                layer=name,
                found=f"the CRS {crs}",
                expected=f"that of the blocks, {blocks.crs}",
                remedy="Bring every layer in together.",
            )


def _row_directions(rows: gpd.GeoDataFrame) -> pd.DataFrame:
    """Mean way of each block's rows, weighted by length; both ends of a row count alike."""
    points, line = shapely.get_coordinates(rows.geometry.to_numpy(), return_index=True)
    step = np.diff(points, axis=0)[np.diff(line) == 0]
    block = rows["block_id"].to_numpy()[line[1:][np.diff(line) == 0]]
    length = np.hypot(step[:, 0], step[:, 1])
    twice = 2.0 * np.arctan2(step[:, 0], step[:, 1])
    sums = (
        pd.DataFrame(
            {"length": length, "sine": length * np.sin(twice), "cosine": length * np.cos(twice)}
        )
        .groupby(block)
        .sum()
    )
    sums = sums[sums["length"] > 0.0]
    return pd.DataFrame(
        {
            "grid_deg": np.degrees(np.arctan2(sums["sine"], sums["cosine"])) / 2.0 % 180.0,
            "straightness": np.hypot(sums["sine"], sums["cosine"]) / sums["length"],
        }
    )


def _ages(blocks: gpd.GeoDataFrame, on: dt.date) -> Floats:
    if "planted_on" not in blocks:
        return np.full(len(blocks), np.nan)
    planted = pd.to_datetime(blocks["planted_on"])
    days = ((pd.Timestamp(on) - planted) / pd.Timedelta(days=1)).to_numpy(dtype=np.float64)
    return np.where(days < 0.0, np.nan, days) / _DAYS_A_YEAR


def _numbers(blocks: gpd.GeoDataFrame, name: str) -> Floats:
    if name not in blocks:
        return np.full(len(blocks), np.nan)
    return blocks[name].to_numpy(dtype=np.float64, na_value=np.nan)


def _lie(blocks: gpd.GeoDataFrame, terrain: Terrain | None, north_deg: Floats) -> pd.DataFrame:
    if terrain is None:
        nothing = np.full(len(blocks), np.nan)
        return pd.DataFrame(
            {"altitude_m": nothing, "slope_percent": nothing, "uphill_deg": nothing}
        )
    planes = [
        ground_plane(terrain, tuple(bounds)) for bounds in shapely.bounds(blocks.geometry.array)
    ]
    return pd.DataFrame(
        {
            "altitude_m": [plane.altitude_m for plane in planes],
            "slope_percent": [plane.slope_percent for plane in planes],
            "uphill_deg": (np.array([plane.uphill_deg for plane in planes]) + north_deg) % 360.0,
        }
    )
