"""Chains of sessions: a surveyor who goes on where the session before ended."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layers.matching.first_guess import SAME_STRIDE, STRIDE_DOUBT, stride_of, tree_gap_m
from layers.matching.points import moments
from layers.matching.session import Session
from layers.matching.stand import Stand

# How far apart one session's end and the next one's start may lie, metres: a long row and the
# offsets of both.
NEXT_WITHIN_M = 200.0

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def walkers(points: gpd.GeoDataFrame, codes: Whole) -> pd.DataFrame:
    """Give each session's surveyor, when it began and when it ended.

    Returns
    -------
    DataFrame
        surveyor, begun and ended (missing where not every moment is known), a row a session.
    """
    surveyor = (
        points["surveyor"].astype("string").fillna("")
        if "surveyor" in points
        else pd.Series("", index=points.index, dtype="string")
    )
    when = (
        moments(points)
        if "measured_at" in points
        else pd.Series(pd.NaT, index=range(len(points)), dtype="datetime64[ns, UTC]")
    )
    by_session = pd.DataFrame(
        {"code": codes, "surveyor": surveyor.to_numpy(), "when": when.to_numpy()}
    ).groupby("code")
    known = by_session["when"].count() == by_session["when"].size()
    return pd.DataFrame(
        {
            "surveyor": by_session["surveyor"].first(),
            "begun": by_session["when"].min().where(known),
            "ended": by_session["when"].max().where(known),
        }
    )


def chain_sessions(
    parts: Sequence[tuple[Session, Whole]], walked_by: pd.DataFrame, stand: Stand
) -> list[tuple[Session, Whole]]:
    """Join sessions that may go on from one another into chains.

    Each keeps an offset of its own; that it probably starts beside where the session before it
    ended tells rows apart that no short session can tell by itself.

    Parameters
    ----------
    parts
        Each session and its points' positions, as
        :func:`layers.matching.points.lay_out_sessions` gives them.
    walked_by
        As :func:`walkers` gives it.
    stand
        The stand they were taken in.
    """
    if len(parts) == 1:
        return list(parts)
    order = walked_by.assign(given=np.arange(len(parts))).sort_values(
        ["surveyor", "begun", "given"], kind="stable"
    )["given"]
    order = order.to_numpy()
    goes_on = _may_go_on([parts[one][0] for one in order], walked_by.iloc[order], stand)
    chains = np.split(order, np.flatnonzero(~goes_on) + 1)
    return [_joined([parts[one] for one in chain]) for chain in chains]


def _may_go_on(
    sessions: Sequence[Session], walked_by: pd.DataFrame, stand: Stand
) -> NDArray[np.bool_]:
    """Tell whether each session but the first may go on from the one before it."""
    surveyor = walked_by["surveyor"].to_numpy()
    begun, ended = walked_by["begun"].to_numpy(), walked_by["ended"].to_numpy()
    first = np.array([one.at_m[0] for one in sessions])
    last = np.array([one.at_m[-1] for one in sessions])
    near = np.hypot(*(first[1:] - last[:-1]).T) < NEXT_WITHIN_M
    may = near & (surveyor[1:] == surveyor[:-1]) & ~(begun[1:] < ended[:-1])
    if not may.any():
        return np.asarray(may)
    trees = cKDTree(np.column_stack([stand.x_m, stand.y_m]))
    block = stand.row_block[stand.row]
    may &= block[trees.query(first[1:])[1]] == block[trees.query(last[:-1])[1]]
    gap_m = tree_gap_m(stand)
    strides = [stride_of([one], gap_m) for one in sessions]
    size = np.log([one.step_trees for one in strides])
    doubt = STRIDE_DOUBT / np.sqrt([len(one.at_m) for one in sessions])
    far = np.array([one.far for one in strides])
    may &= np.abs(np.diff(size)) < SAME_STRIDE + doubt[1:] + doubt[:-1]
    return np.asarray(may & (far[1:] == far[:-1]))


def _joined(parts: Sequence[tuple[Session, Whole]]) -> tuple[Session, Whole]:
    """Join sessions into one, marking where each later one begins."""
    if len(parts) == 1:
        return parts[0]
    sessions = [one for one, _ in parts]
    columns = {
        name: np.concatenate([getattr(one, name) for one in sessions])
        for name in (
            "at_m", "accuracy_m", "pause", "begins", "row_no", "tree_no", "girth_cm", "fixed",
        )
    }  # fmt: skip
    begins = columns.pop("begins")
    begins[np.cumsum([len(one.at_m) for one in sessions])[:-1]] = True
    joined = dataclasses.replace(
        sessions[0],
        **columns,
        begins=begins,
        area_m2=max(one.area_m2 for one in sessions),
        trees_near=max(one.trees_near for one in sessions),
    )
    return joined, np.concatenate([inside for _, inside in parts])
