"""What a point itself says about its tree: written numbers, girth, the manager's word."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers.compiled import inside
from layers.matching.offset import Floats

Whole = NDArray[np.int64]


class StandArrays(NamedTuple):
    """The stand as the walk takes it; see :class:`layers.matching.stand.Stand`."""

    x: Floats
    y: Floats
    place: Whole
    row: Whole
    row_start: Whole
    row_first: Whole
    row_last: Whole
    row_block: Whole
    row_no: Whole
    tree_no: Whole
    earlier: Floats
    cell_start: Whole
    cell_tree: Whole
    cells_east: int
    cells_north: int
    low_x: float
    low_y: float
    cell_m: float
    near: Whole
    near_bin: Whole
    near_way: Whole
    has_rows: bool


class PointArrays(NamedTuple):
    """A stretch of a session as the walk takes it.

    `fade` is what is left of the drift since the point before, `anew` the log probability that
    the offset was drawn anew, `begins` whether a later session of a chain begins. `told` says
    whether a point says anything about its tree beyond where it is; `odds` holds the logs and
    figures of :class:`layers.matching.law.Odds`.
    """

    x: Floats
    y: Floats
    white: Floats
    fade: Floats
    anew: Floats
    begins: NDArray[np.bool_]
    row_no: Whole
    tree_no: Whole
    girth: Floats
    fixed: Whole
    told: NDArray[np.bool_]
    area_m2: float
    trees_near: float
    odds: Floats


@inside
def evidence_of_tree(t: int, k: int, stand: StandArrays, points: PointArrays) -> float:
    """Log factor of what was written, confirmed or measured at point t if it is of tree k.

    Relative to a point of no tree, whose numbers and girth could be any.
    """
    if points.fixed[t] >= 0:
        return 0.0 if points.fixed[t] == k else -np.inf
    if points.fixed[t] == -2:
        return -np.inf
    odds = points.odds
    total = 0.0
    if points.row_no[t] >= 0 and stand.row_no[k] >= 0:
        total += odds[0] if points.row_no[t] == stand.row_no[k] else odds[1]
    if points.tree_no[t] >= 0 and stand.tree_no[k] >= 0:
        total += odds[2] if points.tree_no[t] == stand.tree_no[k] else odds[3]
    if not np.isnan(points.girth[t]) and not np.isnan(stand.earlier[k, 0]):
        total += girth_factor(points.girth[t], stand.earlier[k], odds)
    return total


@inside
def girth_factor(girth: float, earlier: Floats, odds: Floats) -> float:
    """Log of how much likelier a girth is of a tree with known earlier girths than of any.

    Parameters
    ----------
    girth
        Girth, cm.
    earlier
        The tree's possible earlier girths, cm, each followed by the probability that it was
        this tree's; NaN where there are no more.
    odds
        As in :class:`PointArrays`: [4] growth and [5] its spread, [6] mean girth and [7] its
        spread, all in cm, [8] share of repeats that hold to the law of growth.
    """
    other = -0.5 * ((girth - odds[6]) / odds[7]) ** 2 - math.log(odds[7])
    total, open_share = 0.0, 1.0
    for i in range(0, earlier.size, 2):
        if np.isnan(earlier[i]):
            break
        more = girth - earlier[i]
        same = -0.5 * ((more - odds[4]) / odds[5]) ** 2 - math.log(odds[5])
        held = earlier[i + 1] * odds[8]
        total += held * math.exp(min(same - other, 50.0))
        open_share -= held
    return math.log(total + max(open_share, 1e-3))
