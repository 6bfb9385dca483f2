"""Girth over the ground: a raster of the girth to expect of a tree at each place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from rasterio.windows import Window
from scipy.spatial import cKDTree

from estate.figures import Figure
from estate.girth.estimate import krige_places
from estate.girth.growth import GrowthModel
from estate.girth.on_date import StandOnDate, stand_on_date

_TILE = 256


@dataclass(frozen=True, kw_only=True)
class GirthRaster:
    """Girth and its standard error on a north-up grid, of the cells near trees only.

    Holdings lie far apart, and the ground between them has no girth: a cell is named by its row
    and column, and cells that aren't named hold nothing.

    Parameters
    ----------
    row, column
        Shape (n,), int64, each cell's place in the grid, from its upper left corner; no cell
        twice.
    block_id
        Shape (n,), the block of the nearest standing tree.
    girth_cm, se_cm
        Shape (n,), float64, cm.
    shape
        Rows and columns of the whole grid.
    transform
        From (column, row) to (x, y) in `crs`, pixel corners.
    crs
        The trees' CRS.
    """

    row: NDArray[np.int64]
    column: NDArray[np.int64]
    block_id: NDArray[np.object_]
    girth_cm: NDArray[np.float64]
    se_cm: NDArray[np.float64]
    shape: tuple[int, int]
    transform: Affine
    crs: CRS

    def of_block(self, block_id: str) -> tuple[NDArray[np.float64], Affine]:
        """Give one block's girth as a grid of its own, NaN round it, and that grid's transform.

        Returns
        -------
        girth_cm : ndarray of float64
            Shape (rows, columns); (0, 0) where the block has no cell.
        transform : Affine
            From (column, row) to (x, y), pixel corners.
        """
        own = self.block_id == block_id
        if not own.any():
            return np.empty((0, 0)), self.transform
        row, column = self.row[own], self.column[own]
        grid = np.full((np.ptp(row) + 1, np.ptp(column) + 1), np.nan)
        grid[row - row.min(), column - column.min()] = self.girth_cm[own]
        corner = Affine.translation(int(column.min()), int(row.min()))
        return grid, self.transform @ corner


def girth_surface(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: object,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    stand: StandOnDate | None = None,
    cell_m: float = 3.0,
    reach_m: float = 6.0,
    figures: Mapping[str, Figure] | None = None,
) -> GirthRaster:
    """Give the girth to expect of a tree at each cell of a grid over the blocks.

    Blocks in which nothing was taped have no cell: an increment for their age is no surface. Where
    `blocks` has areas, cells whose middle lies outside the block of their nearest tree are left
    out too.

    Parameters
    ----------
    trees, measured, on, blocks, growth, stand
        As in :func:`estate.girth.estimate.estimate_girth`.
    cell_m
        Side of a cell, metres, above 0.
    reach_m
        Cells farther than this from any standing tree stay empty, metres, above 0.
    """
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if stand is None:
        stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth, figures=figures)
    cells = _cells_near(stand.standing, cell_m=cell_m, reach_m=reach_m)
    beside = stand.standing.iloc[cells["nearest"]]
    girth, variance = krige_places(
        stand,
        (cells["column"].to_numpy(float) + 0.5) * cell_m,
        -(cells["row"].to_numpy(float) + 0.5) * cell_m,
        beside[["along_x", "along_y"]].to_numpy(float),
        beside["block_id"],
    )
    shift = np.nan_to_num(stand.blocks["shift_cm"].reindex(beside["block_id"]).to_numpy(float))
    known = np.isfinite(girth)
    if isinstance(blocks, gpd.GeoDataFrame):
        known &= _inside(cells, beside["block_id"], blocks, cell_m)
    row, column = (cells[name].to_numpy(np.int64)[known] for name in ("row", "column"))
    first_row, first_column = (int(n.min()) if len(n) else 0 for n in (row, column))
    return GirthRaster(
        row=row - first_row,
        column=column - first_column,
        block_id=beside["block_id"].to_numpy(object)[known],
        girth_cm=girth[known],
        se_cm=np.sqrt(variance + shift**2)[known],
        shape=(int(np.ptp(row)) + 1, int(np.ptp(column)) + 1) if len(row) else (0, 0),
        transform=Affine.scale(cell_m, -cell_m) @ Affine.translation(first_column, first_row),
        crs=CRS(trees.crs),
    )


def _inside(
    cells: pd.DataFrame, block_id: pd.Series, blocks: gpd.GeoDataFrame, cell_m: float
) -> NDArray[np.bool_]:
    areas = blocks.set_index("block_id").geometry.reindex(block_id).to_numpy()
    shapely.prepare(areas)
    x = (cells["column"].to_numpy(float) + 0.5) * cell_m
    y = -(cells["row"].to_numpy(float) + 0.5) * cell_m
    return np.asarray(shapely.contains_xy(areas, x, y), bool)


def _cells_near(standing: pd.DataFrame, *, cell_m: float, reach_m: float) -> pd.DataFrame:
    """Give the cells within reach of a tree, each once, and its nearest tree.

    Rows are counted down from y = 0, columns from x = 0; `nearest` is a place in `standing`.
    """
    found = [
        pd.DataFrame(
            {
                "row": pd.Series(dtype="int64"),
                "column": pd.Series(dtype="int64"),
                "nearest": pd.Series(dtype="int64"),
                "away_m": pd.Series(dtype="float64"),
            }
        )
    ]
    # Block by block: a grid over a whole cooperative would be empty ground for the most part.
    for places in standing.groupby("block_id", sort=False).indices.values():
        xy = standing[["x_m", "y_m"]].to_numpy(float)[places]
        (left, low), (right, high) = xy.min(axis=0) - reach_m, xy.max(axis=0) + reach_m
        column, row = np.meshgrid(
            np.arange(int(np.floor(left / cell_m)), int(np.ceil(right / cell_m))),
            np.arange(int(np.floor(-high / cell_m)), int(np.ceil(-low / cell_m))),
        )
        middles = np.column_stack([(column.ravel() + 0.5) * cell_m, -(row.ravel() + 0.5) * cell_m])
        away, nearest = cKDTree(xy).query(middles, distance_upper_bound=reach_m)
        inside = np.isfinite(away)
        found.append(
            pd.DataFrame(
                {
                    "row": row.ravel()[inside],
                    "column": column.ravel()[inside],
                    "nearest": places[nearest[inside]],
                    "away_m": away[inside],
                }
            )
        )
    cells = pd.concat(found, ignore_index=True).sort_values("away_m", kind="stable")
    return cells.drop_duplicates(["row", "column"]).reset_index(drop=True)


def write_girth_raster(raster: GirthRaster, path: Path) -> None:
    """Write girth and its standard error as the two bands of a GeoTIFF, cm, NaN for no value.

    Tiles that hold nothing take no room in the file, which is written beside its place and moved
    there whole.
    """
    part = path.with_name(f".{path.name}")
    try:
        _write_bands(raster, part)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _write_bands(raster: GirthRaster, path: Path) -> None:
    rows, columns = raster.shape
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=columns,
        height=rows,
        count=2,
        dtype="float32",
        crs=raster.crs,
        transform=raster.transform,
        nodata=np.nan,
        compress="deflate",
        tiled=True,
        blockxsize=_TILE,
        blockysize=_TILE,
        interleave="band",
        sparse_ok=True,
    ) as file:
        tile = pd.Series(range(len(raster.row))).groupby(
            [raster.row // _TILE, raster.column // _TILE]
        )
        bands = ((raster.girth_cm, "girth_cm"), (raster.se_cm, "se_cm"))
        for (down, across), cells in tile.indices.items():
            window = Window(
                across * _TILE,
                down * _TILE,
                min(_TILE, columns - across * _TILE),
                min(_TILE, rows - down * _TILE),
            )
            for band, (values, _) in enumerate(bands, start=1):
                part = np.full((int(window.height), int(window.width)), np.nan, np.float32)
                part[raster.row[cells] % _TILE, raster.column[cells] % _TILE] = values[cells]
                file.write(part, band, window=window)
        for band, (_, name) in enumerate(bands, start=1):
            file.set_band_description(band, name)
            file.update_tags(band, unit="cm")
