"""The order in which a stand is swept: rows up and down, through each part of a block in turn.

Rows are broken where a line bars the way or a wide gap stands in them; the pieces that follow
each other one to one across the rows form a cell, which is swept to and fro (a boustrophedon
decomposition). Any stretch of the sweep is whole rows and parts of the rows at its two ends, so a
task cut from it is one piece of ground.

References
----------
.. [1] H. Choset and P. Pignon, 1998, Coverage path planning: the boustrophedon cellular
   decomposition, *Field and Service Robotics*, 203–209. From memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from estate.tasks.routes import nearest, shorten
from estate.tasks.stand import Stand
from layers.compiled import door
from layers.ground.barriers import Barriers
from layers.ground.ways import barred

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

WIDE_GAP = 8.0
"""A gap in a row that is this many times the row's usual distance breaks the row."""

WIDE_GAP_M = 25.0
MANY = 2500


@dataclass(frozen=True, kw_only=True)
class Cells:
    """Runs of trees along rows, gathered into cells.

    Parameters
    ----------
    start, end
        Shape (runs,): each run's trees in the stand, from `start` up to before `end`.
    cell
        Shape (runs,): the run's cell; runs of one cell follow each other across the rows.
    block
        Shape (cells,): each cell's block.
    """

    start: Whole
    end: Whole
    cell: Whole
    block: Whole

    def run_of(self, trees: int) -> Whole:
        """Give the run of each tree of a stand of so many trees."""
        return np.repeat(np.arange(len(self.start)), np.diff(self.start, append=trees))


@door
def _breaks(xyz: Floats, row: Whole, segments: Floats) -> NDArray[np.bool_]:
    n = xyz.shape[0]
    cut = np.zeros(n, dtype=np.bool_)
    i = 0
    while i < n:
        j = i + 1
        while j < n and row[j] == row[i]:
            j += 1
        cut[i] = True
        if j - i > 2:
            gaps = np.empty(j - i - 1)
            for t in range(i, j - 1):
                gaps[t - i] = np.hypot(xyz[t + 1, 0] - xyz[t, 0], xyz[t + 1, 1] - xyz[t, 1])
            order = np.argsort(gaps)
            usual = 0.5 * (gaps[order[(j - i - 2) // 2]] + gaps[order[(j - i - 1) // 2]])
            wide = max(WIDE_GAP * usual, WIDE_GAP_M)
            for t in range(i, j - 1):
                if gaps[t - i] > wide:
                    cut[t + 1] = True
        if segments.shape[0] > 0:
            for t in range(i, j - 1):
                if barred(xyz[t, 0], xyz[t, 1], xyz[t + 1, 0], xyz[t + 1, 1], segments):
                    cut[t + 1] = True
        i = j
    return cut


@door
def _next_to(
    xyz: Floats, low: Whole, high: Whole, run_of: Whole, segments: Floats, links: Whole
) -> int:
    """Write pairs of runs that lie next to each other in neighbouring rows; give how many."""
    held = 0
    for r in range(low.shape[0] - 1):
        for back in (False, True):
            here, there = (r + 1, r) if back else (r, r + 1)
            for i in range(low[here], high[here]):
                best, at = np.inf, -1
                for j in range(low[there], high[there]):
                    dx, dy = xyz[i, 0] - xyz[j, 0], xyz[i, 1] - xyz[j, 1]
                    if dx * dx + dy * dy < best:
                        best, at = dx * dx + dy * dy, j
                if segments.shape[0] > 0 and barred(
                    xyz[i, 0], xyz[i, 1], xyz[at, 0], xyz[at, 1], segments
                ):
                    continue
                one, two = (run_of[at], run_of[i]) if back else (run_of[i], run_of[at])
                if held and links[held - 1, 0] == one and links[held - 1, 1] == two:
                    continue
                links[held, 0], links[held, 1] = one, two
                held += 1
    return held


def cells(trees: Stand, bars: Barriers) -> Cells:
    """Break rows into runs and gather the runs of each block into cells.

    Parameters
    ----------
    trees
        The stand.
    bars
        Impassable lines.
    """
    starts, cell_of, blocks, held = [], [], [], 0
    edges = np.flatnonzero(np.diff(trees.block, prepend=-1, append=-1))
    for low, high in pairwise(edges):
        xyz, row = trees.xyz[low:high], trees.row[low:high]
        segments = bars.near(xyz[:, :2], margin_m=1.0).segments
        start = np.flatnonzero(_breaks(xyz, row, segments))
        cell = _chains(xyz, row, start, segments)
        starts.append(start + low)
        cell_of.append(cell + held)
        count = int(cell.max()) + 1
        blocks.append(np.full(count, trees.block[low]))
        held += count
    start = np.concatenate(starts)
    return Cells(
        start=start,
        end=np.append(start[1:], len(trees.block)),
        cell=np.concatenate(cell_of),
        block=np.concatenate(blocks),
    )


def _chains(xyz: Floats, row: Whole, start: Whole, segments: Floats) -> Whole:
    """Give each run's cell: chains of runs that follow each other one to one."""
    run_of = np.zeros(len(row), dtype=np.int64)
    run_of[start[1:]] = 1
    run_of = np.cumsum(run_of)
    low = np.flatnonzero(np.diff(row, prepend=-1))
    high = np.append(low[1:], len(row))
    links = np.empty((2 * len(row), 2), dtype=np.int64)
    pairs = np.unique(links[: _next_to(xyz, low, high, run_of, segments, links)], axis=0)
    runs = len(start)
    onward = np.bincount(pairs[:, 0], minlength=runs)
    before = np.bincount(pairs[:, 1], minlength=runs)
    single = (onward[pairs[:, 0]] == 1) & (before[pairs[:, 1]] == 1)
    follows = np.full(runs, -1, dtype=np.int64)
    follows[pairs[single, 1]] = pairs[single, 0]
    cell = np.empty(runs, dtype=np.int64)
    count = 0
    for run in range(runs):
        if follows[run] < 0:
            cell[run] = count
            count += 1
        else:
            cell[run] = cell[follows[run]]
    return cell


def sweep(trees: Stand, parts: Cells, chosen: Whole, start_xy: Floats | None) -> Whole:
    """Give the trees of chosen cells in the order of one sweep through them all.

    Parameters
    ----------
    trees, parts
        The stand and its cells.
    chosen
        Shape (k,): the cells to sweep.
    start_xy
        Shape (2,): where the sweep had best begin, metres; None for anywhere.

    Returns
    -------
    ndarray of int
        Places in the stand.
    """
    runs_of = _runs_of(parts, chosen)
    middle = np.array(
        [trees.xyz[parts.start[runs[0]] : parts.end[runs[-1]], :2].mean(axis=0)
         for runs in runs_of]
    )  # fmt: skip
    order = _order_of(trees, parts, chosen, middle, start_xy)
    ways = [_four(parts, runs_of[each]) for each in order]
    return np.concatenate([
        ways[k][way] for k, way in enumerate(_best_ways(trees, ways, start_xy))
    ])  # fmt: skip


def _runs_of(parts: Cells, chosen: Whole) -> list[Whole]:
    by_cell = np.argsort(parts.cell, kind="stable")
    low = np.searchsorted(parts.cell[by_cell], chosen)
    high = np.searchsorted(parts.cell[by_cell], chosen, side="right")
    return [by_cell[i:j] for i, j in zip(low, high, strict=True)]


def _order_of(
    trees: Stand, parts: Cells, chosen: Whole, middle: Floats, start_xy: Floats | None
) -> Whole:
    """Order cells holding by holding and block by block, each near the one before."""
    block = parts.block[chosen]
    names, code = np.unique(block, return_inverse=True)
    sizes = np.bincount(code)
    centre = np.column_stack([np.bincount(code, weights=middle[:, k]) / sizes for k in (0, 1)])
    first = np.searchsorted(trees.block, names)
    blocks = _chain(centre, trees.holding[first], start_xy)
    order: list[int] = []
    for each in blocks:
        members = np.flatnonzero(code == each)
        from_xy = middle[order[-1]] if order else start_xy
        order.extend(members[_chain(middle[members], np.zeros(len(members)), from_xy)])
    return np.array(order)


def _chain(xy: Floats, group: NDArray[np.number], start_xy: Floats | None) -> Whole:
    """Order points into a short open chain that keeps the members of a group together."""
    n = len(xy)
    if n == 1:
        return np.zeros(1, dtype=np.int64)
    if n > MANY:
        return _along_a_curve(xy)
    cost = np.zeros((n + 1, n + 1))
    apart = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
    cost[1:, 1:] = apart + (group[:, None] != group[None]) * (np.max(apart) + 1.0)
    if start_xy is not None:
        cost[0, 1:] = cost[1:, 0] = np.hypot(*(xy - start_xy).T) / 2.0
    tour = np.concatenate([[0], 1 + _along_a_curve(xy)]).astype(np.int64)
    tour = shorten(tour, cost, nearest(cost, 10), 20 * n, 1)
    at = int(np.flatnonzero(tour == 0)[0])
    chain = np.concatenate([tour[at + 1 :], tour[:at]]) - 1
    if start_xy is not None:
        ends = np.hypot(*(xy[chain[[0, -1]]] - start_xy).T)
        if ends[1] < ends[0]:
            chain = chain[::-1]
    return np.asarray(chain)


def _along_a_curve(xy: Floats) -> Whole:
    """Order points along Hilbert's curve."""
    low, high = xy.min(axis=0), xy.max(axis=0)
    span = max(float((high - low).max()), 1e-9)
    x, y = ((xy - low) / span * 65535).astype(np.int64).T
    key = np.zeros(len(xy), dtype=np.int64)
    side = 32768
    while side:
        right, top = (x & side) > 0, (y & side) > 0
        key += side * side * ((3 * right) ^ top)
        flip = ~top & right
        x, y = np.where(flip, 65535 - x, x), np.where(flip, 65535 - y, y)
        x, y = np.where(~top, y, x), np.where(~top, x, y)
        side //= 2
    return np.argsort(key, kind="stable")


def _four(parts: Cells, runs: Whole) -> list[Whole]:
    """Give the four ways to sweep a cell: from either end, first row up or down."""
    ways = []
    for backward in (False, True):
        ordered = runs[::-1] if backward else runs
        for turned in (0, 1):
            ways.append(
                np.concatenate([
                    np.arange(parts.start[run], parts.end[run])[:: -1 if (k + turned) % 2 else 1]
                    for k, run in enumerate(ordered)
                ])
            )  # fmt: skip
    return ways


def _best_ways(trees: Stand, ways: list[list[Whole]], start_xy: Floats | None) -> list[int]:
    """Choose each cell's way so that the steps from cell to cell are shortest together."""
    firsts = np.array([[trees.xyz[way[0], :2] for way in four] for four in ways])
    lasts = np.array([[trees.xyz[way[-1], :2] for way in four] for four in ways])
    best = np.zeros(4)
    if start_xy is not None:
        best = np.hypot(*(firsts[0] - start_xy).T)
    came: list[Whole] = []
    for k in range(1, len(ways)):
        step = np.hypot(*(firsts[k][None] - lasts[k - 1][:, None]).transpose(2, 0, 1))
        total = best[:, None] + step
        came.append(np.argmin(total, axis=0))
        best = np.min(total, axis=0)
    way = [int(np.argmin(best))]
    for back in came[::-1]:
        way.append(int(back[way[-1]]))
    return way[::-1]
