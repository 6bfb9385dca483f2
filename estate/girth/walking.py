"""The walk up one row and down the next, from where the trees stand."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def walking_order(trees: pd.DataFrame) -> pd.Series:
    """Give each tree its place in a walk up one row and down the next, within its block.

    Rows go by their position across the block's usual row direction, trees by theirs along it,
    so that neither names nor the direction of counting matter.

    Parameters
    ----------
    trees
        block_id, row_id, tree_no, and Point geometry in a metric CRS.

    Returns
    -------
    Series of int
        0, 1, … within each block, on the index of `trees`.
    """
    frame = pd.DataFrame(
        {
            "block_id": trees["block_id"].to_numpy(),
            "row_id": trees["row_id"].to_numpy(),
            "tree_no": trees["tree_no"].to_numpy(float),
            "x_m": trees.geometry.x.to_numpy(),
            "y_m": trees.geometry.y.to_numpy(),
        }
    )
    ways = _ways(frame)
    way = ways.reindex(frame["block_id"]).to_numpy(float)
    frame["along"] = frame["x_m"] * way[:, 0] + frame["y_m"] * way[:, 1]
    frame["across"] = frame["x_m"] * -way[:, 1] + frame["y_m"] * way[:, 0]
    frame["row_at"] = frame.groupby(["block_id", "row_id"])["across"].transform("mean")
    turn = frame.groupby("block_id")["row_at"].rank(method="dense").to_numpy() % 2 == 0
    frame["along"] = np.where(turn, -frame["along"], frame["along"])
    order = frame.sort_values(["block_id", "row_at", "row_id", "along"], kind="stable")
    place = order.groupby("block_id").cumcount().reindex(frame.index)
    return pd.Series(place.to_numpy(), index=trees.index)


def _ways(frame: pd.DataFrame) -> pd.DataFrame:
    """Give each block's usual row direction as a unit vector, one axis for all its rows."""
    ends = frame.sort_values("tree_no", kind="stable").groupby(["block_id", "row_id"])
    step = ends[["x_m", "y_m"]].last() - ends[["x_m", "y_m"]].first()
    # Doubled angles: a row and the same row counted from its other end have one axis.
    square = pd.DataFrame(
        {
            "cos": step["x_m"] ** 2 - step["y_m"] ** 2,
            "sin": 2.0 * step["x_m"] * step["y_m"],
        }
    )
    total = square.groupby("block_id").sum()
    angle = 0.5 * np.arctan2(total["sin"], total["cos"])
    return pd.DataFrame({"x": np.cos(angle), "y": np.sin(angle)})
