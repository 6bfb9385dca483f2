"""Ground that two blocks cover both: whose it is, and which trees would be counted twice.

The block that comes first keeps the ground: one whose rows or trees somebody drew before one that
is set out from its boundary, and among equals the one whose key comes first.
"""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from layers.checks import FILE, LEAST_OVERLAP_M2, ONE_SPOT_M, shapes_of
from layers.errors import Fault

SLIVER_WIDTH_M = 0.5
_HECTARE_M2 = 10_000.0
# Rows that were drawn twice over one ground lie closer together than half of what parts rows.
_SAME_ROW_SHARE = 0.5


@dataclass(frozen=True, kw_only=True)
class SharedGround:
    """Pairs of blocks that cover the same ground.

    Parameters
    ----------
    first, second
        Shape (pairs,), places in the blocks' frame: whose the ground is, and who covers it too.
    shapes
        Shape (pairs,), the ground.
    """

    first: NDArray[np.int64]
    second: NDArray[np.int64]
    shapes: NDArray[np.object_]


def shared_ground(blocks: gpd.GeoDataFrame, *, drawn: Set[str] = frozenset()) -> SharedGround:
    """Find the ground that two blocks cover, beyond slivers along a common boundary.

    Parameters
    ----------
    blocks
        Valid polygons in metres; block_id.
    drawn
        The blocks whose rows or trees somebody drew.
    """
    shapes = shapes_of(blocks)
    left, right = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = left < right
    left, right = left[once], right[once]
    both = shapely.intersection(shapes[left], shapes[right])
    area, edge = shapely.area(both), shapely.length(both)
    width = np.divide(2.0 * area, edge, out=np.zeros_like(area), where=edge > 0.0)
    kept = (area > LEAST_OVERLAP_M2) & (width > SLIVER_WIDTH_M)
    left, right = left[kept], right[kept]
    own = blocks["block_id"].isin(set(drawn)).to_numpy()
    key = blocks["block_id"].astype("str").to_numpy()
    turned = (own[right] & ~own[left]) | ((own[right] == own[left]) & (key[right] < key[left]))
    return SharedGround(
        first=np.where(turned, right, left).astype(np.int64),
        second=np.where(turned, left, right).astype(np.int64),
        shapes=both[kept],
    )


def ground_of_its_own(blocks: gpd.GeoDataFrame, shared: SharedGround) -> NDArray[np.object_]:
    """Give each block's boundary without the ground that is another's."""
    shapes = shapes_of(blocks).copy()
    for place in np.unique(shared.second):
        others = shapely.union_all(shared.shapes[shared.second == place])
        shapes[place] = shapely.difference(shapes[place], others)
    return shapes


def counted_twice(
    trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, shared: SharedGround
) -> NDArray[np.bool_]:
    """Tell which trees stand, on ground that another block holds, where that has a tree already.

    Trees that were surveyed count as the same when they stand on one spot; places that the rows
    were given trees at, within half a row gap of the other block's trees.

    Parameters
    ----------
    trees
        block_id, place_source and Point geometry.
    blocks
        block_id; row_gap_m where known.
    """
    twice = np.zeros(len(trees), dtype=bool)
    if len(shared.first) == 0 or len(trees) == 0:
        return twice
    points = shapes_of(trees)
    keys = blocks["block_id"].to_numpy()
    owner = trees["block_id"].to_numpy()
    surveyed = (trees["place_source"] == "surveyed").to_numpy()
    gaps = blocks["row_gap_m"] if "row_gap_m" in blocks else pd.Series(np.nan, blocks.index)
    gap = gaps.astype("float64").fillna(2.0 * ONE_SPOT_M).to_numpy()
    index = shapely.STRtree(points)
    for first, second, shape in zip(shared.first, shared.second, shared.shapes, strict=True):
        inside = index.query(shape, predicate="intersects")
        own = inside[(owner[inside] == keys[second]) & ~twice[inside]]
        other = inside[(owner[inside] == keys[first]) & ~twice[inside]]
        if len(own) == 0 or len(other) == 0:
            continue
        away, _ = KDTree(shapely.get_coordinates(points[other])).query(
            shapely.get_coordinates(points[own])
        )
        reach = np.where(surveyed[own], ONE_SPOT_M, _SAME_ROW_SHARE * gap[second])
        twice[own[away < reach]] = True
    return twice


def shared_faults(
    blocks: gpd.GeoDataFrame,
    shared: SharedGround,
    *,
    set_out: Set[str],
    trees: gpd.GeoDataFrame,
    twice: NDArray[np.bool_],
) -> list[Fault]:
    """Tell which blocks share how much ground, and what became of the trees on it.

    Parameters
    ----------
    blocks, shared
        As for :func:`shared_ground`.
    set_out
        The blocks that were set out on what is their own.
    trees, twice
        Every tree, and which of them were left out as counted twice.
    """
    faults = []
    keys, areas = blocks["block_id"].astype("str").tolist(), shapely.area(shapes_of(blocks))
    owner, points = trees["block_id"].to_numpy(), shapes_of(trees)
    index = shapely.STRtree(points)
    shares = shapely.area(shared.shapes)
    for number in np.argsort(-shares, kind="stable"):
        first, second = int(shared.first[number]), int(shared.second[number])
        inside = index.query(shared.shapes[number], predicate="intersects")
        own = inside[owner[inside] == keys[second]]
        other = int((owner[inside] == keys[first]).sum())
        left_out = int(twice[own].sum())
        found = (
            f"{shares[number] / _HECTARE_M2:.2f} ha ({shares[number] / areas[second]:.0%}) of "
            f"{keys[second]} lie in {keys[first]} too"
        )
        if keys[second] in set_out:
            found += f"; the rows of {keys[second]} are set out on the rest of it only"
        if left_out:
            found += (
                f"; {left_out:,} trees of {keys[second]} where {keys[first]} has one already are "
                "left out"
            )
        if len(own) - left_out:
            found += (
                f"; {len(own) - left_out:,} trees of {keys[second]} and {other:,} of {keys[first]} "
                "stand there and are counted"
            )
        mended = keys[second] in set_out or left_out > 0
        faults.append(
            Fault(
                severity="mended" if mended else "noted",
                file=str(blocks[FILE].iloc[second]) if FILE in blocks.columns else "",
                layer="blocks",
                row=f"{keys[first]} and {keys[second]}",
                found=found,
                expected="each piece of ground in one block",
                remedy="Settle the boundary with both members and draw it again; take out trees "
                "or rows that were mapped for both.",
            )
        )
    return faults
