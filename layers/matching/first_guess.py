"""Where learning starts: how each session seems to be walked, from its points alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers.matching.law import Odds
from layers.matching.session import Session
from layers.matching.stand import Stand
from layers.matching.steps import LONGEST_STEP

# A move over so many points that seldom turns into another row, and the quantile of such moves
# that none of those turns makes short.
AHEAD = 3
UNTURNED = 0.65
# Sessions whose strides differ by less than this, in natural logs, may follow one law of steps;
# the second is how much a session's stride is in doubt, divided by the root of its points.
SAME_STRIDE = 0.3
STRIDE_DOUBT = 1.2
LEARN_POINTS = 3000
LEARN_POINTS_OF_MANY = 1200

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Stride:
    """How far a surveyor goes on from point to point.

    Parameters
    ----------
    step_trees
        Trees passed from one point to the next, at least 1.
    far
        Whether steps are mostly longer than the law of steps along a row can hold.
    """

    step_trees: float
    far: bool


def tree_gap_m(stand: Stand) -> float:
    """Give the usual distance from tree to tree along the rows, metres."""
    gap = np.hypot(np.diff(stand.x_m), np.diff(stand.y_m))
    inside = np.diff(stand.row) == 0
    return float(max(np.median(gap[inside]), 0.1)) if inside.any() else 3.0


def _moves_m(sessions: Sequence[Session], ahead: int) -> Floats:
    moves = [one.at_m[ahead:] - one.at_m[:-ahead] for one in sessions if len(one.at_m) > ahead]
    return np.hypot(*np.concatenate(moves).T) if moves else np.zeros(0)


def stride_of(sessions: Sequence[Session], gap_m: float) -> Stride:
    """Tell how sessions are walked from how fast their points move on."""
    short, long = _moves_m(sessions, 1), _moves_m(sessions, AHEAD)
    if not short.size:
        return Stride(step_trees=1.5, far=False)
    single = float(np.median(short)) / gap_m
    onward = float(np.quantile(long, UNTURNED)) / AHEAD / gap_m if long.size else single
    # Where points are many rows apart, several of them lie little further off than one.
    far = single > LONGEST_STEP / 2
    return Stride(step_trees=float(np.clip(single if far else onward, 1, 12)), far=far)


def group_sessions(sessions: Sequence[Session], gap_m: float) -> list[Whole]:
    """Group sessions that seem to be walked alike: every tree, one in three, a few of a block.

    Parameters
    ----------
    sessions
        The survey's sessions.
    gap_m
        Usual distance from tree to tree along the rows, metres.

    Returns
    -------
    list of ndarray
        Positions of each group's sessions.
    """
    strides = [stride_of([one], gap_m) for one in sessions]
    points = np.array([len(one.at_m) for one in sessions])
    far = np.array([one.far for one in strides])
    size = np.log([one.step_trees for one in strides])
    groups = [np.flatnonzero(far)] if far.any() else []
    near = np.flatnonzero(~far)
    while near.size:
        # The longest session leads; those that go as it does follow.
        lead = near[np.argmax(points[near])]
        apart = SAME_STRIDE + STRIDE_DOUBT / np.sqrt(points[near])
        alike = np.abs(size[near] - size[lead]) < apart
        groups.append(near[alike])
        near = near[~alike]
    return groups


def to_learn_from(sessions: Sequence[Session], groups: int) -> list[Session]:
    """Choose sessions from all over a group, up to a number of points."""
    chosen: list[Session] = []
    left = LEARN_POINTS if groups == 1 else LEARN_POINTS_OF_MANY
    for which in np.random.default_rng(0).permutation(len(sessions)):
        if left <= 0:
            break
        chosen.append(sessions[which].first(left))
        left -= len(chosen[-1].at_m)
    return chosen


def first_odds(sessions: Sequence[Session], earlier: Floats) -> Odds:
    """Give the odds to start learning from: growth as the difference of the mean girths."""
    girth = np.concatenate([one.girth_cm for one in sessions] or [np.zeros(0)])
    girth, known = girth[~np.isnan(girth)], earlier[~np.isnan(earlier[:, 0]), 0]
    if girth.size < 5 or known.size < 5:
        return Odds()
    spread = float(max(girth.std(), 1.0))
    return Odds(
        growth_cm=float(girth.mean() - known.mean()),
        growth_sd_cm=0.5 * spread,
        girth_cm=float(girth.mean()),
        girth_sd_cm=spread,
    )
