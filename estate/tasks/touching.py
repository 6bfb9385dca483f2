"""Which trees stand beside which, for saying whether a task is of one piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import Delaunay

from layers.compiled import door, inside
from layers.ground.ways import barred_steps

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

MENDINGS = 6

FAR = 4.0
"""Neighbours further apart than this many times the usual distance don't stand side by side."""


@dataclass(frozen=True, kw_only=True)
class Touching:
    """Trees that stand side by side.

    Parameters
    ----------
    first, beside
        Those beside tree i are `beside` from first[i] up to before first[i + 1].
    left, right
        Shape (n,): the tree before and behind along the row's unbroken piece; -1 at its ends.
    whole, run
        Shape (n,): the part that hangs together, and the unbroken piece of row, that it is in.
    """

    first: Whole
    beside: Whole
    left: Whole
    right: Whole
    whole: Whole
    run: Whole


def touching(xy: Floats, run: Whole, block: Whole, along: Whole, segments: Floats) -> Touching:
    """Give the trees beside each tree of a beat.

    Trees are side by side along an unbroken piece of row, and across where Delaunay's
    triangulation joins two of one block and no line bars the way.

    Parameters
    ----------
    xy
        Shape (n, 2), metres.
    run, block
        Shape (n,): codes.
    along
        Shape (n,): each tree's place in the stand, which counts up along every run.
    segments
        Shape (k, 4): impassable lines.
    """
    n = len(xy)
    by_run = np.lexsort([along, run])
    same = run[by_run[1:]] == run[by_run[:-1]]
    one, two = by_run[:-1][same], by_run[1:][same]
    left, right = np.full(n, -1, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    left[two], right[one] = one, two
    pairs = np.column_stack([one, two])
    across = delaunay_pairs(xy)
    across = across[block[across[:, 0]] == block[across[:, 1]]]
    apart = np.hypot(*(xy[across[:, 0]] - xy[across[:, 1]]).T)
    if len(across):
        close = apart <= FAR * np.median(apart)
        close &= ~barred_steps(xy[across[:, 0]], xy[across[:, 1]], segments)
        pairs = np.vstack([pairs, across[close]])
    pairs = _once(np.vstack([pairs, pairs[:, ::-1]]), n)
    first = np.searchsorted(pairs[:, 0], np.arange(n + 1)).astype(np.int64)
    side = np.ascontiguousarray(pairs[:, 1], dtype=np.int64)
    return Touching(
        first=first,
        beside=side,
        left=left,
        right=right,
        whole=_pieces(first, side, np.zeros(n, dtype=np.int64)),
        run=np.unique(run, return_inverse=True)[1].astype(np.int64),
    )


def delaunay_pairs(xy: Floats) -> Whole:
    """Give the pairs of points that Delaunay's triangulation joins, shape (m, 2), low first.

    Any number of points will do, in one line too.
    """
    low, high = xy.min(axis=0), xy.max(axis=0)
    span = float((high - low).max()) + 1.0
    frame = [
        low - span,
        [low[0] - span, high[1] + span],
        high + span * 1.3,
        [high[0] + span, low[1] - span],
    ]
    around = Delaunay(np.vstack([xy, frame]))
    pairs = np.vstack([around.simplices[:, [a, b]] for a, b in ((0, 1), (1, 2), (0, 2))])
    pairs = np.vstack([pairs, around.coplanar[:, [0, 2]]]).astype(np.int64)
    return _once(np.sort(pairs[(pairs < len(xy)).all(axis=1)], axis=1), len(xy))


def _once(pairs: Whole, count: int) -> Whole:
    """Give each pair of numbers below `count` once, in order."""
    return np.column_stack(np.divmod(np.unique(pairs[:, 0] * count + pairs[:, 1]), count))


def of_one_piece(label: Whole, trees: Touching) -> bool:
    """Say whether every task is of one piece.

    Along each unbroken piece of row a task's trees follow each other; and within each part that
    hangs together as a whole, so does each task's share of it.

    Parameters
    ----------
    label
        Shape (n,): each tree's task.
    trees
        Which trees stand side by side.
    """
    return bool(
        _of_one_piece(label, trees.first, trees.beside, trees.right, trees.whole, trees.run)
    )


def mended(label: Whole, trees: Touching) -> Whole:
    """Give tasks with their stray pieces handed to the tasks that these touch most.

    Parameters
    ----------
    label
        Shape (n,): each tree's task.
    trees
        Which trees stand side by side.
    """
    now = label.copy()
    _mend(now, trees.first, trees.beside, trees.whole, MENDINGS)
    return now


@inside
def _root(parent: Whole, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@door
def _pieces(first: Whole, beside: Whole, label: Whole) -> Whole:
    """Number the pieces in which trees of one label hang together, in the order of the trees."""
    n = label.size
    parent = np.arange(n)
    for i in range(n):
        for at in range(first[i], first[i + 1]):
            j = beside[at]
            if j < i and label[j] == label[i]:
                one, two = _root(parent, i), _root(parent, j)
                parent[max(one, two)] = min(one, two)
    piece = np.empty(n, dtype=np.int64)
    found = 0
    for i in range(n):
        root = _root(parent, i)
        if root == i:
            piece[i] = found
            found += 1
        else:
            piece[i] = piece[root]
    return piece


@inside
def _different(one: Whole, two: Whole) -> int:
    """Count the different pairs."""
    seen = np.zeros((one.max() + 1, two.max() + 1), dtype=np.bool_)
    count = 0
    for i in range(one.size):
        if not seen[one[i], two[i]]:
            seen[one[i], two[i]] = True
            count += 1
    return count


@door
def _of_one_piece(
    label: Whole, first: Whole, beside: Whole, right: Whole, whole: Whole, run: Whole
) -> bool:
    if _pieces(first, beside, label).max() + 1 != _different(whole, label):
        return False
    stretches = run.max() + 1
    for i in range(label.size):
        if right[i] >= 0 and label[right[i]] != label[i]:
            stretches += 1
    return stretches == _different(run, label)


@door
def _mend(now: Whole, first: Whole, beside: Whole, whole: Whole, times: int) -> None:
    n, tasks = now.size, now.max() + 1
    for _ in range(times):
        piece = _pieces(first, beside, now)
        size = np.zeros(piece.max() + 1, dtype=np.int64)
        for i in range(n):
            size[piece[i]] += 1
        main = np.full((whole.max() + 1, tasks), -1)
        for i in range(n):
            best = main[whole[i], now[i]]
            if best < 0 or size[piece[i]] > size[best]:
                main[whole[i], now[i]] = piece[i]
        votes = np.zeros((size.size, tasks), dtype=np.int64)
        voted = False
        for i in range(n):
            if piece[i] == main[whole[i], now[i]]:
                continue
            for at in range(first[i], first[i + 1]):
                j = beside[at]
                if now[j] != now[i] and piece[j] == main[whole[j], now[j]]:
                    votes[piece[i], now[j]] += 1
                    voted = True
        if not voted:
            return
        handed = np.full(size.size, -1)
        for p in range(size.size):
            most = 0
            for k in range(tasks):
                if votes[p, k] > most:
                    most, handed[p] = votes[p, k], k
        for i in range(n):
            if handed[piece[i]] >= 0:
                now[i] = handed[piece[i]]
