"""Which trees to tape: a spatially balanced sample in walking order, and how many are needed."""

from __future__ import annotations

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import norm

from layers.errors import SettingError

Wholes = NDArray[np.int64]


def sample_size(
    standing: int,
    *,
    margin: float,
    share: float = 0.5,
    confidence: float = 0.95,
    effect: float = 1.0,
) -> int:
    """Give how many of a block's trees to tape for a wanted margin of its share.

    Parameters
    ----------
    standing
        Standing trees, 1 or more.
    margin
        Half the width of the interval wanted, 0.005 to 0.5.
    share
        The share expected, 0 to 1; 0.5 where nothing is known.
    confidence
        Coverage of the interval.
    effect
        Variance against that of a simple sample: below 1 for a balanced one with kriging.

    Examples
    --------
    >>> sample_size(700, margin=0.10)
    85

    References
    ----------
    W. G. Cochran (1977), *Sampling Techniques*, 3rd edition, section 4.4, equations 4.1 and 4.2.
    """
    if not 0.005 <= margin <= 0.5:
        raise SettingError.at(
            layer="sample",
            found=f"a margin of {margin:g}",
            expected="0.005 to 0.5",
            remedy="Write for example 0.10 for ten in a hundred either way.",
        )
    z = float(norm.ppf(0.5 + confidence / 2.0))
    first = effect * z**2 * share * (1.0 - share) / margin**2
    return int(np.ceil(first / (1.0 + (first - 1.0) / standing)))


def walking_order(trees: pd.DataFrame) -> pd.Series:
    """Give each tree its place in a walk up one row and down the next, within its block.

    Parameters
    ----------
    trees
        block_id, row_id, tree_no; row_no where given, else rows go by the order of row_id.

    Returns
    -------
    Series of int
        0, 1, … within each block, on the index of `trees`.
    """
    if "row_no" in trees:
        row = trees["row_no"].to_numpy(float)
    else:
        row = pd.Series(trees["row_id"].to_numpy()).rank(method="dense").to_numpy(float)
    frame = pd.DataFrame(
        {
            "block_id": trees["block_id"].to_numpy(),
            "row": row,
            "tree_no": trees["tree_no"].to_numpy(float),
        },
        index=trees.index,
    )
    turn = frame.groupby("block_id")["row"].rank(method="dense").to_numpy() % 2 == 0
    frame["along"] = np.where(turn, -frame["tree_no"], frame["tree_no"])
    order = frame.sort_values(["block_id", "row", "along"], kind="stable")
    return order.groupby("block_id").cumcount().reindex(trees.index)


def sample_design(
    trees: pd.DataFrame,
    *,
    margin: float = 0.10,
    minutes: float | None = None,
    minutes_a_tree: float = 1.5,
    taped: object = (),
    start: float = 0.5,
) -> pd.DataFrame:
    """Give the trees to tape next in each block, in the order of walking.

    Trees are taken at even steps along the walk up and down the rows, which spreads them over
    the block; trees taped already are passed over.

    Parameters
    ----------
    trees
        tree_id, block_id, row_id, tree_no, status; row_no where given.
    margin
        Half the width of the interval wanted of each block's share, 0.005 to 0.5.
    minutes
        Time to spend in each block; None for as long as the margin takes.
    minutes_a_tree
        Time for one tree, the walk to the next included.
    taped
        tree_id of trees that need not be taped again.
    start
        Where in the first step the walk begins, 0 to 1.

    Returns
    -------
    DataFrame
        block_id, tree_id, stop_no (1, 2, … in each block), row_id, tree_no.
    """
    standing = trees[(trees["status"] == "standing").to_numpy()]
    order = standing.assign(_walk=walking_order(standing)).sort_values(["block_id", "_walk"])
    done = order["tree_id"].isin(list(taped)).to_numpy()  # type: ignore[call-overload]
    picked = []
    for _, block in order.assign(_done=done).groupby("block_id", sort=True):
        wanted = sample_size(len(block), margin=margin)
        if minutes is not None:
            wanted = min(wanted, int(minutes / minutes_a_tree))
        free = block[~block["_done"]]
        wanted = int(np.clip(wanted - block["_done"].sum(), 0, len(free)))
        step = np.floor((np.arange(wanted) + start) * len(free) / max(wanted, 1)).astype(int)
        picked.append(free.iloc[step].assign(stop_no=np.arange(1, wanted + 1)))
    columns = ["block_id", "tree_id", "stop_no", "row_id", "tree_no"]
    if not picked:
        return pd.DataFrame(columns=columns)
    return pd.DataFrame(pd.concat(picked)[columns]).reset_index(drop=True)
