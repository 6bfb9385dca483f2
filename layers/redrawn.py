"""Rows that came twice, in two files or two drawings, under one key."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.checks import FILE, ONE_SPOT_M, ROW, repeated, shapes_of
from layers.contract import LAYERS
from layers.errors import Fault

# How far a second drawing of one row may stray, and how much of one area two drawings share.
ONE_LINE_M = 1.0
ONE_AREA_SHARE = 0.9
# Made from the file's name where nobody wrote it, so that it says nothing about the point.
_MADE = ("session_id",)


def told_apart_by(frame: pd.DataFrame) -> list[str]:
    """Give the columns in which two rows must agree to be the same."""
    apart = (FILE, ROW, "geometry", *_MADE)
    return [name for name in frame.columns if name not in apart]


def drop_redrawn(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Leave out rows that repeat an earlier one's key and values in about the same place.

    The same layer saved twice in two coordinate reference systems, or drawn again, differs by
    centimetres: a point within thirty of them, a line within a metre, an area that shares nine
    tenths counts as the same. Of several the first stays; each omission is told.

    Parameters
    ----------
    frame
        In a metric CRS, its geometry mended.
    layer
        The contract's name.
    """
    key = LAYERS[layer].key
    if key not in frame.columns or not frame[key].dropna().duplicated().any():
        return frame, []
    words = frame[told_apart_by(frame)].astype("str").fillna("")
    alike = words.agg("\x1f".join, axis=1)
    alike = alike.where(frame[key].notna(), None)
    again = alike.notna() & alike.duplicated()
    first = alike.map(pd.Series(np.arange(len(frame)), index=alike).groupby(level=0).first())
    places = np.flatnonzero(again.to_numpy(bool))
    shapes = shapes_of(frame)
    same = np.zeros(len(frame), dtype=bool)
    same[places] = _about_alike(shapes[places], shapes[first.iloc[places].astype("int64")])
    faults = repeated(
        frame[same],
        layer,
        "mended",
        found=f"a {key} that was read already, with the same values in about the same place; left "
        "out",
        expected="each row once",
        remedy="Take the copy out, or give it its own key.",
    )
    return frame[~same].reset_index(drop=True), faults


def _about_alike(left: NDArray[np.object_], right: NDArray[np.object_]) -> NDArray[np.bool_]:
    kinds = shapely.get_dimensions(left)
    apart = shapely.hausdorff_distance(left, right)
    near = (kinds == shapely.get_dimensions(right)) & np.where(
        kinds == 0, apart <= ONE_SPOT_M, apart <= ONE_LINE_M
    )
    areas = (kinds == 2) & (shapely.get_dimensions(right) == 2)
    shared = shapely.area(shapely.intersection(left[areas], right[areas]))
    most = np.maximum(shapely.area(left[areas]), shapely.area(right[areas]))
    near[areas] = shared >= ONE_AREA_SHARE * most
    return np.asarray(near, dtype=bool)


def drop_listed_twins(frame: pd.DataFrame, layer: str) -> tuple[pd.DataFrame, list[Fault]]:
    """Leave out rows of a table without geometry that repeat an earlier one in every column."""
    return without_twins(frame, frame[told_apart_by(frame)].astype("str"), layer)


def without_twins(
    frame: pd.DataFrame, alike: pd.DataFrame, layer: str
) -> tuple[pd.DataFrame, list[Fault]]:
    """Leave out rows that repeat an earlier one in every column of `alike`, and tell them."""
    twin = alike.duplicated().to_numpy()
    faults = repeated(
        frame[twin],
        layer,
        "mended",
        found="the same row as an earlier one; left out",
        expected="each row once",
        remedy="Take the copy out.",
    )
    return frame[~twin].reset_index(drop=True), faults
