"""Girth points and their matches joined: which tree each tape was round, and how surely."""

from __future__ import annotations

import pandas as pd

from layers.errors import ColumnError

_CARRIED = ("surveyor", "session_id", "measured_at", "girth_cm", "height_cm", "bark_mm")
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
    for layer, frame, needed in (
        ("girth", points, ("point_id", "girth_cm", "measured_at")),
        ("matches", matches, _COLUMNS),
    ):
        missing = [name for name in needed if name not in frame]
        if missing:
            raise ColumnError.at(
                layer=layer,
                found=", ".join(map(str, frame.columns)),
                expected=", ".join(needed),
                remedy="Give the missing columns: " + ", ".join(missing),
            )
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
