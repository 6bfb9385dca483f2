"""Which trees stand beside which, for saying whether a task is of one piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay

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
    """

    first: Whole
    beside: Whole
    left: Whole
    right: Whole


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
    pairs = np.unique(np.vstack([pairs, pairs[:, ::-1]]), axis=0)
    return Touching(
        first=np.searchsorted(pairs[:, 0], np.arange(n + 1)).astype(np.int64),
        beside=np.ascontiguousarray(pairs[:, 1], dtype=np.int64),
        left=left,
        right=right,
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
    return np.unique(np.sort(pairs[(pairs < len(xy)).all(axis=1)], axis=1), axis=0)


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
    n = len(label)
    one = np.repeat(np.arange(n), np.diff(trees.first))
    two = trees.beside
    whole = _labels(one, two, n)
    same = label[one] == label[two]
    piece = _labels(one[same], two[same], n)
    shares = np.unique(np.column_stack([whole, label]), axis=0)
    if len(shares) != len(np.unique(piece)):
        return False
    onward = np.flatnonzero(trees.right >= 0)
    changes = onward[label[onward] != label[trees.right[onward]]]
    row = _labels(onward, trees.right[onward], n)
    stretches = len(changes) + len(np.unique(row))
    return stretches == len(np.unique(np.column_stack([row, label]), axis=0))


def mended(label: Whole, trees: Touching) -> Whole:
    """Give tasks with their stray pieces handed to the tasks that these touch most.

    Parameters
    ----------
    label
        Shape (n,): each tree's task.
    trees
        Which trees stand side by side.
    """
    n, tasks = len(label), int(label.max()) + 1
    one = np.repeat(np.arange(n), np.diff(trees.first))
    two = trees.beside
    whole = _labels(one, two, n)
    now = label.copy()
    for _ in range(MENDINGS):
        same = now[one] == now[two]
        piece = _labels(one[same], two[same], n)
        size = np.bincount(piece)
        share = whole * tasks + now
        order = np.lexsort([piece, -size[piece], share])
        main = np.full(int(share.max()) + 1, -1)
        main[share[order[::-1]]] = piece[order[::-1]]
        stray = piece != main[share]
        if not stray.any():
            break
        border = stray[one] & ~same & ~stray[two]
        votes = np.zeros((len(size), tasks), dtype=np.int64)
        np.add.at(votes, (piece[one[border]], now[two[border]]), 1)
        moved = stray & (votes.sum(axis=1) > 0)[piece]
        if not moved.any():
            break
        now[moved] = np.argmax(votes, axis=1)[piece[moved]]
    return now


def _labels(one: Whole, two: Whole, count: int) -> Whole:
    links = coo_array((np.ones(len(one), dtype=bool), (one, two)), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1])
