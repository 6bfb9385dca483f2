"""Girth points and their matches joined: which tree each tape was round, and how surely."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.errors import ColumnError

_CARRIED = (
    "surveyor",
    "session_id",
    "measured_at",
    "girth_cm",
    "girth_unit",
    "height_cm",
    "bark_mm",
)
_COLUMNS = ("point_id", "tree_id", "probability")
_LEAST_SECOND = 0.05


def taped_trees(points: pd.DataFrame, matches: pd.DataFrame) -> pd.DataFrame:
    """Give the tapes of each tree from the girth points and their matches.

    A point whose match has a likely second tree gives two rows, each with its own probability.

    Parameters
    ----------
    points
        point_id, girth_cm, measured_at; surveyor, session_id, height_cm, bark_mm where known.
    matches
        point_id, tree_id, probability (0 to 1); second_tree_id and second_probability where known.

    Returns
    -------
    DataFrame
        point_id, tree_id, probability and the columns of `points`, one row a possible tree of a
        point; points without a likely tree keep one row with tree_id missing.

    Raises
    ------
    ColumnError
        A column that is needed is missing.
    """
    if points.empty:
        # A cooperative that hasn't taped yet has a layer without points, and so without columns.
        points = _no_points(points)
    need_columns("girth", points, ("point_id", "girth_cm", "measured_at"))
    need_columns("matches", matches, _COLUMNS)
    first = pd.DataFrame(matches[list(_COLUMNS)])
    joined = [first]
    if "second_tree_id" in matches and "second_probability" in matches:
        likely = matches["second_tree_id"].notna() & (
            matches["second_probability"].fillna(0.0) >= _LEAST_SECOND
        )
        second = pd.DataFrame(
            matches.loc[likely, ["point_id", "second_tree_id", "second_probability"]]
        )
        joined.append(second.set_axis(list(_COLUMNS), axis=1))
    carried = pd.DataFrame(points)[["point_id", *(c for c in _CARRIED if c in points)]]
    return carried.merge(pd.concat(joined, ignore_index=True), on="point_id", how="left")


def _no_points(points: pd.DataFrame) -> pd.DataFrame:
    none = {
        "girth_cm": pd.Series(dtype="float64"),
        "measured_at": pd.Series(dtype="datetime64[us]"),
    }
    return pd.DataFrame(points).assign(**{k: v for k, v in none.items() if k not in points})


def usable(measured: pd.DataFrame) -> pd.DataFrame:
    """Give the rows that carry a tree, a girth and a date, and weren't set aside.

    Parameters
    ----------
    measured
        tree_id, girth_cm, measured_at; point_id, probability and used where known.

    Returns
    -------
    DataFrame
        point_id, tree_id, girth_cm, measured_at (no time zone), probability (1 where not given).

    Raises
    ------
    ColumnError
        A column that is needed is missing.
    """
    need_columns("girth", measured, ("tree_id", "girth_cm", "measured_at"))
    rows = measured.dropna(subset=["tree_id", "girth_cm", "measured_at"])
    if "used" in rows:
        rows = rows[rows["used"].to_numpy(bool)]
    moment = pd.to_datetime(rows["measured_at"], utc=True, format="ISO8601").dt.tz_localize(None)
    probability = rows["probability"].astype(float).fillna(1.0) if "probability" in rows else 1.0
    point = rows["point_id"] if "point_id" in rows else np.arange(len(rows)).astype(str)
    kept = rows.assign(measured_at=moment, probability=probability, point_id=point)
    kept = kept[["point_id", "tree_id", "girth_cm", "measured_at", "probability"]]
    return pd.DataFrame(kept[kept["probability"] > 0.0]).reset_index(drop=True)


def best_of_point(rows: pd.DataFrame) -> NDArray[np.bool_]:
    """Mark the likeliest tree of each point, so that its girth counts once."""
    if rows.empty:
        return np.zeros(0, bool)
    best = rows.groupby("point_id")["probability"].idxmax()
    return np.asarray(rows.index.isin(best))


def need_columns(layer: str, frame: pd.DataFrame, columns: Sequence[str]) -> None:
    """Refuse a frame that lacks a column, naming its layer."""
    missing = [name for name in columns if name not in frame]
    if missing:
        raise ColumnError.at(
            layer=layer,
            found=", ".join(map(str, frame.columns)),
            expected=", ".join(missing) + " among the columns",
            remedy="Give the missing columns.",
        )
