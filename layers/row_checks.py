"""What rows say of each other and of their block: turned lines, and distances in another unit."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from layers.checks import FILE, MOST_TOLD, row_faults, row_names, shapes_of
from layers.errors import Fault

# From three rows on it shows which of them are drawn the other way, and how far apart they lie.
_LEAST_ROWS = 3
# A foot taken for a metre makes it 3.3 times as much.
_MOST_OFF = 1.6


def rows_turned(rows: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which rows of a block are drawn from the other end than most of them.

    Parameters
    ----------
    rows
        block_id; lines in metres, in the order of their numbers.
    """
    faults: list[Fault] = []
    for block, own in rows.groupby("block_id", sort=True):
        against = _against(shapes_of(own))
        if len(own) < _LEAST_ROWS or not against.any():
            continue
        turned = own[against]
        names = row_names(turned, "rows")
        more = len(names) - MOST_TOLD
        faults.append(
            Fault(
                severity="noted",
                file=str(turned[FILE].iloc[0]) if FILE in turned.columns else "",
                layer="rows",
                row=", ".join(names[:MOST_TOLD]) + (f" and {more} more" if more > 0 else ""),
                found=f"{len(turned)} of {len(own)} rows of block {block} run against the others; "
                "their trees are numbered from the other end",
                expected="rows drawn in planting order",
                remedy="Turn these lines about, unless their trees are counted from there.",
            )
        )
    return faults


def _against(lines: NDArray[np.object_]) -> NDArray[np.bool_]:
    """Tell which lines run against most of the others; of two halves, those against the first."""
    ends = shapely.get_coordinates(
        np.stack([shapely.get_point(lines, 0), shapely.get_point(lines, -1)], axis=1)
    ).reshape(-1, 2, 2)
    ways = ends[:, 1] - ends[:, 0]
    # The axis that fits all ways best, whichever end each begins at.
    _, axes = np.linalg.eigh(ways.T @ ways)
    along = ways @ axes[:, -1]
    against = along * along[0] < 0.0
    return np.asarray(~against if against.mean() > 0.5 else against)


def gaps_unlike_rows(blocks: gpd.GeoDataFrame, rows: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which blocks name a row gap that is far from how far apart their rows lie.

    Parameters
    ----------
    blocks
        block_id; row_gap_m where known.
    rows
        block_id; lines in metres as they were drawn or taken through mapped trees.
    """
    if "row_gap_m" not in blocks.columns or len(rows) == 0:
        return []
    apart = rows.groupby("block_id")["geometry"].agg(lambda own: _apart_m(own.to_numpy()))
    seen = blocks["block_id"].map(apart).astype("float64")
    off = np.abs(np.log(blocks["row_gap_m"].astype("float64") / seen)) > np.log(_MOST_OFF)
    told = blocks[off]
    return row_faults(
        told,
        "blocks",
        "noted",
        found=[
            f"row_gap_m = {gap:g}, and its rows lie {metres:.1f} m apart"
            for gap, metres in zip(told["row_gap_m"], seen[off], strict=True)
        ],
        expected="the distance between rows in metres",
        remedy="Mend row_gap_m, and look at tree_gap_m too: feet may be taken for metres.",
    )


def _apart_m(lines: NDArray[np.object_]) -> float:
    """Give the usual distance from a row's middle to the next row, metres; NaN for few rows."""
    if len(lines) < _LEAST_ROWS:
        return float("nan")
    middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    between = shapely.distance(middles[:, None], lines[None, :])
    np.fill_diagonal(between, np.inf)
    return float(np.median(between.min(axis=1)))
