"""Planting places: set along rows, or taken from the user's tree points, with stable keys.

`tree_id` is the block, the row's number and the place in the row, such as ``B07-R03-T012``; it
doesn't depend on the order in which layers are read. A vacancy keeps its number.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray


def tree_ids(block_id: pd.Series, row_no: pd.Series, tree_no: pd.Series) -> pd.Series:
    """Give each planting place's key from its block, row and number in the row.

    Examples
    --------
    >>> tree_ids(pd.Series(["B07"]), pd.Series([3]), pd.Series([12])).tolist()
    ['B07-R03-T012']
    """
    rows = row_no.astype("int64").astype("str").str.zfill(2)
    places = tree_no.astype("int64").astype("str").str.zfill(3)
    return block_id.astype("str") + "-R" + rows + "-T" + places


def trees_along_rows(
    rows: gpd.GeoDataFrame, *, tree_gap_m: pd.Series, first_tree_m: pd.Series | None = None
) -> gpd.GeoDataFrame:
    """Set planting places along rows.

    Parameters
    ----------
    rows
        Columns row_id, block_id, row_no and LineString geometry in metres, in planting order.
        Lines that share a block and a number are parts of one row and its numbers run on.
    tree_gap_m
        Planting distance along each row, metres, above 0; same index as `rows`. Rows whose gap is
        missing get no trees.
    first_tree_m
        Distance of the first tree from the line's start, metres; same index. None for 0.

    Returns
    -------
    GeoDataFrame
        tree_id, row_id, block_id, row_no, tree_no, status (``standing``) and Point geometry, in
        order of block, row and number.
    """
    gap = tree_gap_m.to_numpy(dtype="float64")
    first = (
        np.zeros(len(rows))
        if first_tree_m is None
        else first_tree_m.fillna(0.0).to_numpy(dtype="float64")
    )
    length = shapely.length(rows.geometry.to_numpy())
    with np.errstate(invalid="ignore", divide="ignore"):
        # A centimetre in hand, so that a row of just n gaps keeps its last tree.
        room = np.floor((length - first + 0.01) / gap) + 1.0
    count = np.where(np.isfinite(room) & (gap > 0.0), np.maximum(room, 0.0), 0.0).astype("int64")
    order = np.lexsort(
        (rows["row_id"].to_numpy(), rows["row_no"].to_numpy(), rows["block_id"].to_numpy())
    )
    owner = np.repeat(order, count[order])
    place = _count_within(owner)
    distance = np.minimum(first[owner] + place * gap[owner], length[owner])
    points = shapely.line_interpolate_point(rows.geometry.to_numpy()[owner], distance)
    frame = pd.DataFrame(
        {
            "row_id": rows["row_id"].to_numpy()[owner],
            "block_id": rows["block_id"].to_numpy()[owner],
            "row_no": rows["row_no"].to_numpy(dtype="int64")[owner],
        }
    ).astype({"row_id": "str", "block_id": "str"})
    frame["tree_no"] = frame.groupby(["block_id", "row_no"], sort=False).cumcount() + 1
    frame.insert(0, "tree_id", tree_ids(frame["block_id"], frame["row_no"], frame["tree_no"]))
    frame["status"] = pd.Series("standing", index=frame.index, dtype="str")
    return gpd.GeoDataFrame(frame, geometry=points, crs=rows.crs)


def _count_within(owner: NDArray[np.int64]) -> NDArray[np.int64]:
    """Count 0, 1, … within each run of the same owner."""
    if len(owner) == 0:
        return owner
    starts = np.flatnonzero(np.r_[True, owner[1:] != owner[:-1]])
    return np.arange(len(owner)) - np.repeat(starts, np.diff(np.r_[starts, len(owner)]))


def number_along_row(
    distance_m: NDArray[np.float64], *, tree_gap_m: float | None
) -> NDArray[np.int64]:
    """Number trees of one row from their distances along it, a gap in the planting left open.

    Parameters
    ----------
    distance_m
        Metres along the row, sorted.
    tree_gap_m
        Planting distance; None where it isn't known or the stand is irregular, and the trees are
        then counted 1, 2, ….

    Examples
    --------
    >>> number_along_row(np.array([0.0, 3.1, 9.0]), tree_gap_m=3.0).tolist()
    [1, 2, 4]
    """
    if tree_gap_m is None or len(distance_m) == 0:
        return np.arange(1, len(distance_m) + 1)
    steps = np.maximum(np.rint(np.diff(distance_m) / tree_gap_m), 1.0).astype("int64")
    return np.concatenate([[1], 1 + np.cumsum(steps)])
