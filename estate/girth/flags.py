"""A flag on a taped girth: what was found, what was done about it, and why."""

from __future__ import annotations

from typing import Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from estate.girth.words import number_words

Done = Literal["mended", "set aside", "noted"]
FLAG_COLUMNS = (
    "point_id",
    "tree_id",
    "block_id",
    "measured_at",
    "flag",
    "found",
    "done",
    "reason",
)


def flag_rows(
    rows: pd.DataFrame, which: NDArray[np.bool_], flag: str, done: Done, reason: pd.Series
) -> pd.DataFrame:
    """Give one flag a tape for the marked rows, of its likeliest tree only.

    Parameters
    ----------
    rows
        tree_id, block_id, measured_at, girth_raw_cm, _best; point_id where known.
    which
        Shape (n,).
    flag, done
        Its name, and what was done.
    reason
        In words, on the index of `rows`.
    """
    marked = which & rows["_best"].to_numpy(bool)
    chosen = rows[marked]
    return pd.DataFrame(
        {
            "point_id": chosen.get("point_id", ""),
            "tree_id": chosen["tree_id"],
            "block_id": chosen["block_id"],
            "measured_at": chosen["measured_at"],
            "flag": flag,
            "found": number_words(chosen["girth_raw_cm"]).mask(chosen["girth_raw_cm"].isna(), ""),
            "done": done,
            "reason": reason[marked],
        }
    )
