"""Girth over the ground: a raster for maps, and the growth of each block for charts."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import rasterio
from affine import Affine
from numpy.typing import NDArray
from pyproj import CRS
from scipy.spatial import cKDTree

from estate.figures import Figure, load_figures
from estate.girth.ages import age_years, in_tapping, opening_age_years, trade_girth_cm
from estate.girth.estimate import krige_places
from estate.girth.growth import GrowthModel, fit_growth
from estate.girth.on_date import stand_on_date


@dataclass(frozen=True, kw_only=True)
class GirthRaster:
    """Girth and its standard error on a north-up grid.

    Parameters
    ----------
    girth_cm, se_cm
        Shape (rows, columns), float64, cm; NaN away from standing trees or where no tree of the
        block was taped.
    transform
        From (column, row) to (x, y) in `crs`, pixel corners.
    crs
        The trees' CRS.
    """

    girth_cm: NDArray[np.float64]
    se_cm: NDArray[np.float64]
    transform: Affine
    crs: CRS


def girth_surface(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    on: object,
    *,
    blocks: pd.DataFrame | None = None,
    growth: GrowthModel | None = None,
    cell_m: float = 3.0,
    reach_m: float = 6.0,
) -> GirthRaster:
    """Give the girth to expect of a tree at each cell of a grid over the blocks.

    Parameters
    ----------
    trees, measured, on, blocks, growth
        As in :func:`estate.girth.estimate.estimate_girth`.
    cell_m
        Side of a cell, metres.
    reach_m
        Cells farther than this from any standing tree stay empty, metres.
    """
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth)
    standing = stand.standing
    x, y = standing["x_m"].to_numpy(float), standing["y_m"].to_numpy(float)
    left, top = x.min() - cell_m, y.max() + cell_m
    columns = int(np.ceil((x.max() + cell_m - left) / cell_m))
    rows = int(np.ceil((top - y.min() + cell_m) / cell_m))
    transform = Affine.translation(left, top) @ Affine.scale(cell_m, -cell_m)
    at_x, at_y = (
        axis.ravel()
        for axis in np.meshgrid(
            left + (np.arange(columns) + 0.5) * cell_m, top - (np.arange(rows) + 0.5) * cell_m
        )
    )
    away, nearest = cKDTree(np.column_stack([x, y])).query(
        np.column_stack([at_x, at_y]), distance_upper_bound=reach_m
    )
    inside = np.isfinite(away)
    girth = np.full(rows * columns, np.nan)
    variance = np.full(rows * columns, np.nan)
    beside = standing.iloc[nearest[inside]]
    girth[inside], variance[inside] = krige_places(
        stand,
        at_x[inside],
        at_y[inside],
        beside[["along_x", "along_y"]].to_numpy(float),
        beside["block_id"],
    )
    return GirthRaster(
        girth_cm=girth.reshape(rows, columns),
        se_cm=np.sqrt(variance).reshape(rows, columns),
        transform=transform,
        crs=CRS(trees.crs),
    )


def write_girth_raster(raster: GirthRaster, path: Path) -> None:
    """Write girth and its standard error as the two bands of a GeoTIFF, cm, NaN for no value."""
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        width=raster.girth_cm.shape[1],
        height=raster.girth_cm.shape[0],
        count=2,
        dtype="float32",
        crs=raster.crs,
        transform=raster.transform,
        nodata=np.nan,
        compress="deflate",
    ) as file:
        for band, (values, name) in enumerate(
            [(raster.girth_cm, "girth_cm"), (raster.se_cm, "se_cm")], start=1
        ):
            file.write(values.astype("float32"), band)
            file.set_band_description(band, name)
            file.update_tags(band, unit="cm")


def growth_curve(
    trees: pd.DataFrame,
    measured: pd.DataFrame,
    blocks: pd.DataFrame,
    on: object,
    *,
    growth: GrowthModel | None = None,
    years_ahead: float = 3.0,
    figures: Mapping[str, Figure] | None = None,
) -> pd.DataFrame:
    """Give each block's mean girth against age, with its band, for a chart.

    Before `on` it follows the fitted curve, or the trade's increments where there is none,
    scaled to pass through the block's mean on the date; after it, the block's own increment.

    Parameters
    ----------
    trees, measured, blocks, on, growth
        As in :func:`estate.girth.estimate.estimate_girth`.
    years_ahead
        How far beyond `on`, years.

    Returns
    -------
    DataFrame
        block_id, age_years, girth_cm, low_cm, high_cm (the middle nine in ten of its trees),
        part (``before``, ``ahead``); four steps a year. Blocks without a planting date are absent.
    """
    figures = load_figures("growth") if figures is None else figures
    date = pd.Timestamp(on)  # type: ignore[arg-type]
    if growth is None:
        growth = fit_growth(trees, measured, blocks, date, figures=figures)
    stand = stand_on_date(trees, measured, date, blocks=blocks, growth=growth, figures=figures)
    variogram = stand.model.variogram
    spread = float(np.sqrt(variogram.nugget + variogram.sill + stand.model.trend))
    ages = age_years(blocks["planted_on"], date)
    opened = np.where(
        in_tapping(blocks, date, figures=figures), opening_age_years(blocks, figures), np.nan
    )
    curves = []
    for block_id, age, opening in zip(blocks["block_id"], ages, opened, strict=True):
        if not np.isfinite(age):
            continue
        mean = float(stand.blocks.loc[block_id, "mean_cm"])
        own = growth.blocks.loc[block_id]
        steps = np.arange(0.25, age + years_ahead + 0.125, 0.25)
        past = _past(np.append(steps, age), opening, growth, str(block_id), figures)
        ahead = np.maximum(steps - age, 0.0)
        before = past[:-1] * (mean / past[-1] if past[-1] > 0.0 else 1.0)
        girth = np.where(ahead > 0.0, mean + own["increment_cm"] * ahead, before)
        band = _NINE_IN_TEN * np.hypot(
            spread * girth,
            np.hypot(own["increment_sd_cm"], own["tree_sd_cm"]) * ahead,
        )
        curves.append(
            pd.DataFrame(
                {
                    "block_id": block_id,
                    "age_years": steps,
                    "girth_cm": girth,
                    "low_cm": np.maximum(girth - band, 0.0),
                    "high_cm": girth + band,
                    "part": np.where(ahead > 0.0, "ahead", "before"),
                }
            )
        )
    columns = ["block_id", "age_years", "girth_cm", "low_cm", "high_cm", "part"]
    return pd.concat(curves, ignore_index=True) if curves else pd.DataFrame(columns=columns)


_NINE_IN_TEN = 1.6449


def _past(
    age: NDArray[np.float64],
    opening: float,
    growth: GrowthModel,
    block_id: str,
    figures: Mapping[str, Figure],
) -> NDArray[np.float64]:
    """Give the shape of a block's girth up to now."""
    if growth.curve is not None and block_id in growth.curve.final and np.isnan(opening):
        return growth.curve.girth(age, block_id)
    return trade_girth_cm(age, opened_at=np.full(len(age), opening), figures=figures)
