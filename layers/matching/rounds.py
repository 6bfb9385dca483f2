"""Several survey rounds: the girths of one are evidence for the next."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.matching.survey import match_points

NEW_ROUND_DAYS = 60.0
SURE = 0.9


def survey_rounds(
    measured_at: pd.Series, *, new_round_days: float = NEW_ROUND_DAYS
) -> NDArray[np.int64]:
    """Number the rounds of a survey: a new one begins after a pause of `new_round_days`.

    Parameters
    ----------
    measured_at
        When each point was taken; those without a time count to the first round.
    new_round_days
        The pause that begins a new round, days.

    Returns
    -------
    ndarray of int64
        The round of each point, from 0.

    Examples
    --------
    >>> days = pd.Series(["2025-01-01", "2026-01-01", "2025-01-09"])
    >>> survey_rounds(days).tolist()
    [0, 1, 0]
    """
    moments = pd.to_datetime(measured_at, utc=True, errors="coerce", format="ISO8601")
    days = moments.dt.as_unit("s").astype("int64").to_numpy() / 86_400.0
    days = np.where(moments.isna(), np.nan, days)
    order = np.argsort(days, kind="stable")
    begins = np.diff(days[order], prepend=np.nan) > new_round_days
    rounds = np.empty(len(days), dtype=np.int64)
    rounds[order] = np.cumsum(begins)
    return np.where(moments.isna(), 0, rounds)


def match_rounds(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    *,
    confirmed: pd.DataFrame | None = None,
    new_round_days: float = NEW_ROUND_DAYS,
) -> pd.DataFrame:
    """Join the points of every round to trees, each round told the girths of those before it.

    Parameters
    ----------
    trees, points, confirmed
        As in :func:`layers.match_points`.
    new_round_days
        As in :func:`survey_rounds`.

    Returns
    -------
    DataFrame
        As :func:`layers.match_points` gives it, in the points' order.
    """
    if "measured_at" not in points or points.empty:
        return match_points(trees, points, confirmed=confirmed)
    rounds = survey_rounds(points["measured_at"], new_round_days=new_round_days)
    done: list[pd.DataFrame] = []
    known: pd.DataFrame | None = None
    for number in np.unique(rounds):
        own = points[rounds == number].reset_index(drop=True)
        matches = match_points(trees, own, earlier=known, confirmed=confirmed)
        done.append(matches)
        known = _known_girths(own, matches, known)
    together = pd.concat(done, ignore_index=True).set_index("point_id")
    return together.loc[points["point_id"]].reset_index()


def _known_girths(
    points: gpd.GeoDataFrame, matches: pd.DataFrame, before: pd.DataFrame | None
) -> pd.DataFrame | None:
    if "girth_cm" not in points:
        return before
    sure = matches["probability"].ge(SURE) & matches["tree_id"].notna()
    girths = points["girth_cm"].to_numpy(dtype=float)
    own = pd.DataFrame({"tree_id": matches["tree_id"], "girth_cm": girths})[sure.to_numpy()]
    own = own.dropna().drop_duplicates("tree_id", keep="last")
    if before is None:
        return own if len(own) else None
    return pd.concat([before, own]).drop_duplicates("tree_id", keep="last")
