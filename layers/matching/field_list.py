"""The doubtful points of a survey, each with its two likeliest trees and what to do about it."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd

from layers.matching.settling import SURE

# A point that settles more than so many, itself included (three, rounded), comes first.
SETTLES_MANY = 2.5


def field_list(
    matches: pd.DataFrame,
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    *,
    sure: float = SURE,
) -> pd.DataFrame:
    """Name the points whose tree is in doubt, and what settles each.

    Parameters
    ----------
    matches
        As :func:`layers.match_points` gives them.
    trees, points
        The layers that were matched.
    sure
        Points whose probability is at least this are left out, 0 to 1.

    Returns
    -------
    DataFrame
        One row a doubtful point, those that settle most others first, else in the points' order:
        point_id, session_id (where the points have one), tree_id, probability, second_tree_id,
        second_probability, settles_points (where matches have it), doubt (``no tree``,
        ``which row``, ``which tree``, ``which block`` or ``which of several``) and advice, a
        sentence for the surveyor.

    Examples
    --------
    >>> trees = gpd.GeoDataFrame(
    ...     {"tree_id": ["A", "B"], "row_id": ["R1", "R2"]},
    ...     geometry=gpd.points_from_xy([0.0, 0.0], [0.0, 7.0]),
    ... )
    >>> points = gpd.GeoDataFrame({"point_id": ["P"]}, geometry=gpd.points_from_xy([0.0], [3.5]))
    >>> matches = pd.DataFrame({"point_id": ["P"], "tree_id": ["A"], "probability": [0.5],
    ...     "second_tree_id": ["B"], "second_probability": [0.5]})
    >>> field_list(matches, trees, points)["doubt"].item()
    'which row'
    """
    known = trees.set_index("tree_id")
    both = matches.copy()
    for rank, column in (("first", "tree_id"), ("second", "second_tree_id")):
        for name in ("row_id", "block_id"):
            named = known[name] if name in known else pd.Series("", index=known.index)
            both[f"{rank}_{name}"] = both[column].map(named)
    both["doubt"] = _doubts(both)
    both["advice"] = [
        _advice(*one)
        for one in zip(
            both["doubt"],
            both["tree_id"],
            both["second_tree_id"],
            both["first_row_id"],
            both["second_row_id"],
            strict=True,
        )
    ]
    columns = ["point_id", "tree_id", "probability", "second_tree_id", "second_probability"]
    if "session_id" in points:
        both["session_id"] = (
            points.set_index("point_id")["session_id"].reindex(both["point_id"]).to_numpy()
        )
        columns.insert(1, "session_id")
    doubtful = (both["probability"] < sure) | both["tree_id"].isna()
    if "settles_points" in both:
        columns.append("settles_points")
        first = both["settles_points"].round()
        both = both.loc[first.sort_values(ascending=False, kind="stable").index]
        many = both["settles_points"] > SETTLES_MANY
        both.loc[many, "advice"] += [
            f" Look here first: its tree is likely to settle {round(number)} points."
            for number in both.loc[many, "settles_points"]
        ]
    listed = doubtful.reindex(both.index)
    return both.loc[listed, [*columns, "doubt", "advice"]].reset_index(drop=True)


def _doubts(both: pd.DataFrame) -> np.ndarray:
    no_tree = both["tree_id"].isna() | both["second_tree_id"].isna()
    return np.select(
        [
            both["tree_id"].isna(),
            both["probability"] + both["second_probability"] < 0.5,
            no_tree,
            (both["first_block_id"] != both["second_block_id"]),
            (both["first_row_id"] != both["second_row_id"]),
        ],
        ["no tree", "which of several", "which tree", "which block", "which row"],
        default="which tree",
    )


def _advice(
    doubt: str, first: object, second: object, first_row: object, second_row: object
) -> str:
    if doubt == "no tree":
        likeliest = "" if pd.isna(second) else f" The likeliest tree is {second}."
        return f"No tree fits this point.{likeliest} Measure again at the tree, or leave it out."
    if pd.isna(second):
        return f"Tree {first}, or none. Look whether {first} was measured."
    if doubt == "which of several":
        return (
            f"Trees {first}, {second} and others fit. Measure again, and write the row and tree "
            "number at every fifth tree of this walk."
        )
    if doubt in ("which row", "which block"):
        return (
            f"Tree {first} in row {first_row}, or {second} in row {second_row}. "
            "Write the row number at the next visit."
        )
    return (
        f"Tree {first} or {second} in the same row. Write the tree number at the next visit, "
        "here or within a few trees."
    )
