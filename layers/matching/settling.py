"""Which doubtful points to look at first: those whose tree, once known, settles most others."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside

# Points less sure than this are in doubt.
SURE = 0.8
# How far along the walk a told point is counted to help: the usual drift turns over in as many.
REACH_POINTS = 150
# Gains in a neighbour's chance of being right below this are what so few drawn walks show anyway.
LEAST_GAIN = 0.08
# Of n draws at even odds the commoner value has so many times the root of n more than a half: half
# the mean size of a standard normal figure.
LUCK = 0.4

Floats = NDArray[np.float64]
Gains = NDArray[np.float32]
Whole = NDArray[np.int64]


def settled_by(walks: NDArray[np.int32], doubtful: NDArray[np.bool_]) -> Floats:
    """Expect how many points come right once a point's tree is known, one after the other.

    The point that settles most is taken first, then the one that settles most of what that left,
    and so on; each is counted for what it adds to those before it.

    Parameters
    ----------
    walks
        Walks drawn from what the session leaves possible: trees, shape (draws, n), -1 where of
        no tree.
    doubtful
        Which points may be asked about, shape (n,).

    Returns
    -------
    ndarray of float
        Expected number of points that come right, the point itself included, shape (n,); 0 where
        not doubtful.

    References
    ----------
    Nemhauser, G. L., Wolsey, L. A., Fisher, M. L. (1978). An analysis of approximations for
    maximizing submodular set functions. Mathematical Programming 14, 265-294 (from memory: taking
    the most gainful first is within 1 - 1/e of the best choice of so many).
    """
    number = np.zeros(doubtful.size)
    asked = np.flatnonzero(doubtful)
    if asked.size and len(walks) > 1:
        gains = _gains(np.ascontiguousarray(walks.T), asked, REACH_POINTS, LEAST_GAIN)
        number[asked] = _in_turn(gains, asked, doubtful.size, REACH_POINTS)
    return number


@inside
def _numbered(trees: NDArray[np.int32]) -> NDArray[np.int32]:
    """Number each point's different trees 0, 1, … in the order in which draws have them."""
    size, draws = trees.shape
    numbers, names = np.empty((size, draws), np.int32), np.empty(draws, np.int32)
    for t in range(size):
        found = 0
        for m in range(draws):
            j = 0
            while j < found and names[j] != trees[t, m]:
                j += 1
            if j == found:
                names[found] = trees[t, m]
                found += 1
            numbers[t, m] = j
    return numbers


@inside
def _share_right(told: NDArray[np.int32], guessed: NDArray[np.int32], times: Whole) -> float:
    """Share of draws that the commonest tree among those of one told tree gets right.

    What luck adds is taken off. `times` is room for counts, shape (draws, draws).
    """
    groups, trees = told.max() + 1, guessed.max() + 1
    for g in range(groups):
        for j in range(trees):
            times[g, j] = 0
    for m in range(told.size):
        times[told[m], guessed[m]] += 1
    right = 0.0
    for g in range(groups):
        most = size = 0
        for j in range(trees):
            size += times[g, j]
            most = max(most, times[g, j])
        right += most if most == size else max(most - LUCK * math.sqrt(size), 0.0)
    return right / told.size


@door
def _gains(trees: NDArray[np.int32], asked: Whole, reach: int, least: float) -> Gains:
    """Each asked point's gain for every point within reach, shape (asked, 2 * reach + 1)."""
    size, draws = trees.shape
    gains = np.zeros((asked.size, 2 * reach + 1), np.float32)
    numbers, times = _numbered(trees), np.empty((draws, draws), np.int64)
    nothing_told, before = np.zeros(draws, np.int32), np.empty(size)
    for u in range(size):
        before[u] = _share_right(nothing_told, numbers[u], times)
    for a in range(asked.size):
        t = asked[a]
        for u in range(max(t - reach, 0), min(t + reach + 1, size)):
            if u == t:
                gains[a, reach] = 1 - before[t]
            elif before[u] < 1 - least:
                gain = _share_right(numbers[t], numbers[u], times) - before[u]
                gains[a, u - t + reach] = gain if gain > least else 0.0
    return gains


@inside
def _added(gains: Gains, a: int, t: int, had: Floats, reach: int) -> float:
    """What one more told point adds to what each point within reach already gained."""
    added = 0.0
    for u in range(max(t - reach, 0), min(t + reach + 1, had.size)):
        added += max(gains[a, u - t + reach] - had[u], 0.0)
    return added


@door
def _in_turn(gains: Gains, asked: Whole, size: int, reach: int) -> Floats:
    """Take the most gainful first; give what each adds when its turn comes."""
    had, taken = np.zeros(size), np.zeros(asked.size, np.bool_)
    adds = np.empty(asked.size)
    for a in range(asked.size):
        adds[a] = _added(gains, a, asked[a], had, reach)
    for _ in range(asked.size):
        best = -1
        for a in range(asked.size):
            if not taken[a] and (best < 0 or adds[a] > adds[best]):
                best = a
        if adds[best] < 1:
            break
        taken[best] = True
        t = asked[best]
        for u in range(max(t - reach, 0), min(t + reach + 1, size)):
            had[u] = max(had[u], gains[best, u - t + reach])
        for a in range(asked.size):
            if not taken[a] and abs(asked[a] - t) <= 2 * reach:
                adds[a] = _added(gains, a, asked[a], had, reach)
    return adds
