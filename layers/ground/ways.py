"""Walking time between places on real ground: straight where nothing bars it, else round."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.sparse.csgraph import shortest_path

from layers.compiled import door, inside
from layers.ground.barriers import NO_BARRIERS, Barriers
from layers.ground.pace import (
    FLAT_SECONDS_A_METRE,
    TOBLER_BEST_SLOPE,
    TOBLER_STEEPNESS,
    TOBLER_TOP_KMH,
)

Floats = NDArray[np.float64]


@inside
def _straight(dx: float, dy: float, dz: float) -> float:
    run = math.sqrt(dx * dx + dy * dy)
    if dz == 0.0:
        return run * FLAT_SECONDS_A_METRE
    if run == 0.0:
        return 3.6 / TOBLER_TOP_KMH * math.e * TOBLER_STEEPNESS * abs(dz)
    steep = abs(dz) / run
    to_and_fro = max(steep * TOBLER_STEEPNESS, 1.0)
    walked = min(steep, 1.0 / TOBLER_STEEPNESS)
    mean = math.exp(TOBLER_STEEPNESS * max(walked, TOBLER_BEST_SLOPE)) * math.cosh(
        TOBLER_STEEPNESS * min(walked, TOBLER_BEST_SLOPE)
    )
    return run * 3.6 / TOBLER_TOP_KMH * mean * to_and_fro


@door
def barred(x1: float, y1: float, x2: float, y2: float, segments: Floats) -> bool:
    """Say whether a straight step meets one of the segments, shape (k, 4)."""
    low_x, high_x = min(x1, x2), max(x1, x2)
    low_y, high_y = min(y1, y2), max(y1, y2)
    for k in range(segments.shape[0]):
        ax, ay, bx, by = segments[k, 0], segments[k, 1], segments[k, 2], segments[k, 3]
        if min(ax, bx) > high_x or max(ax, bx) < low_x:
            continue
        if min(ay, by) > high_y or max(ay, by) < low_y:
            continue
        side_a = (x2 - x1) * (ay - y1) - (y2 - y1) * (ax - x1)
        side_b = (x2 - x1) * (by - y1) - (y2 - y1) * (bx - x1)
        side_1 = (bx - ax) * (y1 - ay) - (by - ay) * (x1 - ax)
        side_2 = (bx - ax) * (y2 - ay) - (by - ay) * (x2 - ax)
        if side_a * side_b <= 0.0 and side_1 * side_2 <= 0.0:
            if side_a == 0.0 and side_b == 0.0 and side_1 == 0.0 and side_2 == 0.0:
                continue
            return True
    return False


@door
def _between(left: Floats, right: Floats, segments: Floats) -> Floats:
    seconds = np.empty((left.shape[0], right.shape[0]))
    for i in range(left.shape[0]):
        for j in range(right.shape[0]):
            if barred(left[i, 0], left[i, 1], right[j, 0], right[j, 1], segments):
                seconds[i, j] = np.inf
            else:
                seconds[i, j] = _straight(
                    left[i, 0] - right[j, 0], left[i, 1] - right[j, 1], left[i, 2] - right[j, 2]
                )
    return seconds


@door
def _whole(xyz: Floats, terrace: NDArray[np.int64], step: float, segments: Floats) -> Floats:
    n = xyz.shape[0]
    seconds = np.zeros((n, n))
    bars = segments.shape[0] > 0
    for i in range(n):
        for j in range(i):
            if bars and barred(xyz[i, 0], xyz[i, 1], xyz[j, 0], xyz[j, 1], segments):
                value = np.inf
            else:
                value = _straight(
                    xyz[i, 0] - xyz[j, 0], xyz[i, 1] - xyz[j, 1], xyz[i, 2] - xyz[j, 2]
                )
                if terrace[i] >= 0 and terrace[j] >= 0:
                    value += step * abs(terrace[i] - terrace[j])
            seconds[i, j] = value
            seconds[j, i] = value
    return seconds


@door
def _round_by_turns(seconds: Floats, to_turn: Floats, from_turn: Floats) -> None:
    n, w = to_turn.shape
    for i in range(n):
        for j in range(i):
            if seconds[i, j] == np.inf:
                best = np.inf
                for k in range(w):
                    value = to_turn[i, k] + from_turn[j, k]
                    best = min(best, value)
                seconds[i, j] = best
                seconds[j, i] = best


@dataclass(frozen=True, kw_only=True)
class Ways:
    """Walking between points: times, and the line walked.

    Parameters
    ----------
    seconds
        Shape (n, n), float64: walking time on a path at Tobler's speed, the mean of both ways;
        infinite where no way leads.
    xyz
        Shape (n, 3): the points, metres.
    bars
        The impassable lines that stand between them.
    turn_xyz
        Shape (w, 3): where a path may turn.
    """

    seconds: Floats
    xyz: Floats
    bars: Barriers
    turn_xyz: Floats

    def line(self, order: NDArray[np.int64]) -> Floats:
        """Give the walked line through points in order, shape (m, 2), going round barriers."""
        stops = self.xyz[order]
        if not len(self.bars.segments) or len(order) < 2:
            return np.asarray(stops[:, :2])
        to_turn = _between(stops, self.turn_xyz, self.bars.segments)
        among = _between(self.turn_xyz, self.turn_xyz, self.bars.segments)
        far, before = shortest_path(_links(among), directed=False, return_predecessors=True)
        walked = [stops[0, :2]]
        for k in range(len(order) - 1):
            (x1, y1), (x2, y2) = stops[k, :2], stops[k + 1, :2]
            if barred(x1, y1, x2, y2, self.bars.segments):
                through = to_turn[k][:, None] + far + to_turn[k + 1][None, :]
                first, last = divmod(int(np.argmin(through)), through.shape[1])
                chain = [last]
                while chain[-1] != first:
                    chain.append(int(before[first, chain[-1]]))
                walked.extend(self.turn_xyz[np.array(chain[::-1], dtype=np.int64), :2])
            walked.append(stops[k + 1, :2])
        return np.array(walked)


def _links(seconds: Floats) -> Floats:
    """Give a dense graph for scipy, in which an infinite entry is no link."""
    return np.where(np.isfinite(seconds), seconds, 0.0)


def ways(
    xyz: Floats,
    *,
    bars: Barriers = NO_BARRIERS,
    turn_heights_m: Floats | None = None,
    terrace: NDArray[np.int64] | None = None,
    terrace_step_s: float = 0.0,
) -> Ways:
    """Give walking times between all pairs of points.

    Parameters
    ----------
    xyz
        Shape (n, 3), float64, metres in a metric CRS.
    bars
        Impassable lines near the points, from :meth:`Barriers.near`.
    turn_heights_m
        Shape (w,): the height of each turn in `bars`; None for flat ground.
    terrace
        Shape (n,): the number of the terrace each point stands on, -1 where the ground isn't
        terraced; None for none.
    terrace_step_s
        Seconds for each terrace stepped up or down.

    Examples
    --------
    >>> flat = np.array([[0.0, 0.0, 0.0], [100.0, 0.0, 0.0]])
    >>> ways(flat).seconds.round(1).tolist()
    [[0.0, 71.5], [71.5, 0.0]]
    """
    xyz = np.ascontiguousarray(xyz, dtype=np.float64)
    if terrace is None:
        terrace = np.full(len(xyz), -1, dtype=np.int64)
    seconds = _whole(xyz, terrace, terrace_step_s, bars.segments)
    heights = np.zeros(len(bars.turns)) if turn_heights_m is None else turn_heights_m
    turn_xyz = np.column_stack([bars.turns, heights])
    if len(bars.segments) and len(bars.turns):
        to_turn = _between(xyz, turn_xyz, bars.segments)
        among = _between(turn_xyz, turn_xyz, bars.segments)
        far = shortest_path(_links(among), directed=False)
        by_turn = np.full_like(to_turn, np.inf)
        for k in range(len(turn_xyz)):
            by_turn = np.minimum(by_turn, to_turn[:, k, None] + far[None, k])
        _round_by_turns(seconds, by_turn, to_turn)
    return Ways(seconds=seconds, xyz=xyz, bars=bars, turn_xyz=turn_xyz)


@door
def barred_steps(left: Floats, right: Floats, segments: Floats) -> NDArray[np.bool_]:
    """Say for each straight step from left to right, shapes (n, 2), whether a segment bars it."""
    met = np.zeros(left.shape[0], dtype=np.bool_)
    if segments.shape[0] > 0:
        for i in range(left.shape[0]):
            met[i] = barred(left[i, 0], left[i, 1], right[i, 0], right[i, 1], segments)
    return met


ON_THE_LINE_M = 0.1


def beside(xyz: Floats, row: NDArray[np.int64], bars: Barriers) -> Floats:
    """Give points with those that stand on an impassable line moved beside it.

    A point on a line couldn't be reached from either side. It is moved away from the line on the
    side where it is, to twice the distance that counts as on the line; one that is on neither side
    goes that far towards the next point of its row.

    Parameters
    ----------
    xyz
        Shape (n, 3), metres, sorted by row.
    row
        Shape (n,): each point's row.
    bars
        Impassable lines.
    """
    if not len(bars.segments):
        return xyz
    lines = shapely.multilinestrings(shapely.linestrings(bars.segments.reshape(-1, 2, 2)))
    shapely.prepare(lines)
    on = np.flatnonzero(shapely.dwithin(lines, shapely.points(xyz[:, :2]), ON_THE_LINE_M))
    moved = xyz.copy()
    ways_off = shapely.shortest_line(lines, shapely.points(xyz[on, :2]))
    for k, way_off in zip(on.tolist(), ways_off, strict=True):
        (from_x, from_y), (to_x, to_y) = shapely.get_coordinates(way_off)
        off = np.array([to_x - from_x, to_y - from_y])
        length = float(np.hypot(*off))
        if length > 1e-6:
            moved[k, :2] = np.array([from_x, from_y]) + 2.0 * ON_THE_LINE_M * off / length
            continue
        onward = k + 1 if k + 1 < len(xyz) and row[k + 1] == row[k] else max(k - 1, 0)
        step = xyz[onward, :2] - xyz[k, :2]
        length = float(np.hypot(*step))
        unit = step / length if length > 0.0 else np.array([1.0, 0.0])
        across = np.array([-unit[1], unit[0]])
        moved[k, :2] += 2.0 * ON_THE_LINE_M * (unit + 0.5 * across)
    return moved
