"""Tables without coordinates that name trees by number: statuses, and girths taped from a list."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.bring_in.values import check_values
from layers.checks import row_faults
from layers.errors import Fault

_NUMBERS = ["block_id", "row_no", "tree_no"]


def with_statuses(
    trees: gpd.GeoDataFrame, listed: pd.DataFrame | None
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give trees the status that a table names for them.

    The table has tree_id, or block_id, row_no and tree_no, and status; where it names a tree
    twice, the last line holds.
    """
    if listed is None or len(listed) == 0:
        return trees, []
    told, faults = check_values(listed, "trees")
    if "status" not in told.columns:
        return trees, [*faults, *_not_used(told, "trees", "status")]
    told = told[told["status"].notna()]
    place, more = _places_of(told, trees, "trees")
    hit = place >= 0
    status = trees["status"].to_numpy(dtype=object).copy()
    status[place[hit]] = told["status"].to_numpy(dtype=object)[hit]
    changed = trees.assign(status=pd.Series(status, index=trees.index).astype("str"))
    return changed, faults + more


def girths_of_listed(
    listed: pd.DataFrame, trees: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give girths that name their tree the tree's own place.

    The table has tree_id, or block_id, row_no and tree_no. Each becomes a point with the tree's
    row and tree numbers; `place_source` says ``named tree``.
    """
    place, faults = _places_of(listed, trees, "girth")
    hit = np.flatnonzero(place >= 0)
    own = trees.iloc[place[hit]]
    points = (
        listed.drop(columns=["block_id", "tree_id"], errors="ignore")
        .iloc[hit]
        .assign(
            row_no=own["row_no"].astype("Int64").to_numpy(),
            tree_no=own["tree_no"].astype("Int64").to_numpy(),
            place_source="named tree",
        )
    )
    return gpd.GeoDataFrame(points, geometry=own.geometry.to_numpy(), crs=trees.crs), faults


def _places_of(
    listed: pd.DataFrame, trees: gpd.GeoDataFrame, layer: str
) -> tuple[NDArray[np.int64], list[Fault]]:
    """Give where in `trees` each line's tree stands, -1 where there is none."""
    by = ["tree_id"] if "tree_id" in listed.columns else _NUMBERS
    lacking = [name for name in by if name not in listed.columns]
    if lacking:
        return np.full(len(listed), -1), _not_used(listed, layer, *lacking)
    texts = dict.fromkeys(by, "str")
    first = trees.reset_index(drop=True)[by].astype(texts).drop_duplicates()
    found = pd.MultiIndex.from_frame(first).get_indexer(
        pd.MultiIndex.from_frame(listed[by].astype(texts))
    )
    there = found >= 0
    place = np.where(there, first.index.to_numpy()[found], -1)
    faults = row_faults(
        listed[~there],
        layer,
        "noted",
        found="numbers of a tree that isn't there; not used",
        expected="the numbers of a planting place",
        remedy="Check the block, row and tree number.",
    )
    return place, faults


def _not_used(listed: pd.DataFrame, layer: str, *lacking: str) -> list[Fault]:
    expected = "tree_id, or block_id, row_no and tree_no" + ("; and status" * (layer == "trees"))
    return row_faults(
        listed.iloc[:1],
        layer,
        "stops" if layer == "girth" else "noted",
        found="a table without coordinates and without " + ", ".join(lacking) + "; not used",
        expected=expected + ("; or columns lon and lat, or x and y with epsg" * (layer == "girth")),
        remedy="Add these columns, or name them in columns.toml.",
    )
