"""Where a sweep is cut into tasks: at even minutes, and where it costs little at a row's end."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import block_array, csr_array, diags_array, eye_array

from estate.tasks.stand import Stand
from estate.tasks.sweep import Cells

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

WINDOW = 2.0
"""Where rows stay whole, a cut is looked for within so many stretches of its even place."""


def cut_ranks(trees: Stand, parts: Cells, order: Whole) -> Whole:
    """Give how good a place before each tree of a sweep is to cut: 0 in a row, up to 4.

    Returns
    -------
    ndarray of int
        Shape (n,): 1 between rows, 2 between cells, 3 between blocks, 4 between holdings.
    """
    run = parts.run_of(len(trees.block))[order]
    rank = np.zeros(len(order), dtype=np.int64)
    for level, code in enumerate(
        (run, parts.cell[run], trees.block[order], trees.holding[order]), start=1
    ):
        rank[1:][code[1:] != code[:-1]] = level
    return rank


def cuts_at(
    weight: Floats, ranks: Whole, share: int | Whole, *, slack: float, whole: bool
) -> Whole:
    """Cut a sweep into stretches of even weight, or of weights in proportion.

    Parameters
    ----------
    weight
        Shape (n,): what each tree takes, in the sweep's order.
    ranks
        From :func:`cut_ranks`.
    share
        Shape (count + 1,): what the edges' places are in proportion to, from 0 up; so many
        stretches of the same weight where it is a number.
    slack
        How far a cut may move from its even place, as a share of a mean stretch, to stand where
        the rank is higher.
    whole
        Whether rows are never cut.

    Returns
    -------
    ndarray of int
        Shape (count + 1,): stretch k is from edge k up to before edge k + 1.

    Examples
    --------
    >>> rank = np.array([0, 0, 0, 1, 0, 0, 1, 0, 0, 0])
    >>> cuts_at(np.ones(10), rank, 2, slack=0.0, whole=False).tolist()
    [0, 5, 10]
    >>> cuts_at(np.ones(10), rank, 2, slack=0.0, whole=True).tolist()
    [0, 6, 10]
    """
    at = np.arange(share + 1) if isinstance(share, int) else share
    count = len(at) - 1
    if whole:
        return _whole_rows(weight, ranks, np.diff(at))
    n = len(weight)
    before = np.concatenate([[0.0], np.cumsum(weight)])
    mean = before[-1] / at[-1]
    edges = [0]
    for k in range(1, count):
        even = at[k] * mean
        low = int(np.searchsorted(before, even - slack * mean))
        high = int(np.searchsorted(before, even + slack * mean, side="right"))
        exact = int(np.argmin(np.abs(before - even)))
        window = np.arange(max(low, 1), min(high, n))
        best = exact
        if len(window):
            top = ranks[window].max()
            if top > 0:
                fit = window[ranks[window] == top]
                best = int(fit[np.argmin(np.abs(before[fit] - even))])
        edges.append(min(max(best, edges[-1] + 1), n - (count - k)))
    return np.array([*edges, n])


def _whole_rows(weight: Floats, ranks: Whole, sizes: Whole) -> Whole:
    """Cut between rows only, so that no stretch is much longer than its share."""
    gates = np.concatenate([[0], np.flatnonzero(ranks > 0), [len(weight)]])
    before = np.concatenate([[0.0], np.cumsum(weight)])[gates]
    runs = len(gates) - 1
    sizes = sizes[: min(len(sizes), runs)]
    count = len(sizes)
    mean = before[-1] / sizes.sum()
    at, widest = np.cumsum([0, *sizes]), int(sizes.max())
    best = np.full((count + 1, runs + 1), np.inf)
    came = np.zeros((count + 1, runs + 1), dtype=np.int64)
    best[0, 0] = 0.0
    for k in range(1, count + 1):
        near = at[k] * mean
        first = int(np.searchsorted(before, near - WINDOW * mean * widest))
        last = int(np.searchsorted(before, near + WINDOW * mean * widest))
        for j in range(max(k, first), min(runs - (count - k), last) + 1):
            reach = before[j] - 2.5 * mean * sizes[k - 1]
            low = min(max(k - 1, int(np.searchsorted(before, reach))), j - 1)
            span = (before[j] - before[low:j]) / (mean * sizes[k - 1])
            cost = best[k - 1, low:j] + np.abs(span - 1.0) ** 6
            pick = int(np.argmin(cost))
            best[k, j], came[k, j] = cost[pick], low + pick
    edges = [runs]
    for k in range(count, 0, -1):
        edges.append(int(came[k, edges[-1]]))
    return np.asarray(gates[edges[::-1]])


def eased(weight: Floats, edges: Whole, sizes: Whole, even: float) -> Whole:
    """Move edges by as little as it takes for no stretch to be much longer than its share.

    Parameters
    ----------
    weight
        Shape (n,): what each tree takes.
    edges
        Shape (count + 1,): from :func:`cuts_at`.
    sizes
        Shape (count,): what the stretches' weights should be in proportion to.
    even
        How much longer than its share a stretch may be.

    Examples
    --------
    >>> eased(np.ones(12), np.array([0, 4, 9, 12]), np.array([1, 1, 1]), 1.1).tolist()
    [0, 4, 8, 12]
    """
    before = np.concatenate([[0.0], np.cumsum(weight)])
    count, inner = len(sizes), len(sizes) - 1
    if not inner:
        return edges.copy()
    most = (1.0 + (even - 1.0) / 2.0) * before[-1] / sizes.sum() * sizes
    was = before[edges]
    # Each inner edge's place, then how far it moves; the sum of moves is least.
    step = diags_array([np.ones(inner), -np.ones(inner)], offsets=[0, -1], shape=(count, inner))
    end = np.zeros(count)
    end[-1] = before[-1]
    same = eye_array(inner)
    nothing = csr_array((count, inner))
    found = linprog(
        np.repeat([0.0, 1.0], inner),
        A_ub=block_array([[step, nothing], [-step, nothing], [same, -same], [-same, -same]]),
        b_ub=np.concatenate([most - end, end, was[1:-1], -was[1:-1]]),
        bounds=(0.0, None),
    )
    if not found.success:
        return edges.copy()
    place = np.searchsorted(before, found.x[:inner])
    place -= found.x[:inner] - before[place - 1] < before[place] - found.x[:inner]
    moved = np.concatenate([edges[:1], place, edges[-1:]])
    return moved if (np.diff(moved) > 0).all() else edges.copy()
