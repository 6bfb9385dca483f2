"""Proposals for one point: each kind of step that could lead to it, with how likely it is."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers.compiled import inside
from layers.matching.evidence import PointArrays, StandArrays, evidence_of_tree
from layers.matching.offset import Floats
from layers.matching.steps import (
    BACK,
    CHANGE,
    HEADINGS,
    LONGEST_ENTRY,
    LONGEST_STEP,
    NEAR,
    ROW_CHANGE_ROWS,
    ROW_CHANGE_SAME,
    ROW_CHANGES,
    STRAY,
    STRAY_BIT,
    TURNS,
    LawArrays,
    into_row_share,
)

STRAY_SPREAD_M = 20.0
REACH_SD = 3.7
CANDIDATES = 1 << 15
OFFSETS_TO_JUMP_FROM = 32
# The group of all survivors together, from which an offset drawn anew lands anywhere.
EVERYONE = OFFSETS_TO_JUMP_FROM


class Proposals(NamedTuple):
    """Steps proposed for one point: where to, of which kind, from whom, how likely.

    A jump comes from every survivor of one offset together: its `source` is -1 less the number of
    their group. `stands_for` names a survivor whose offset is the group's, `group` and `part` each
    survivor's group and its part in it.
    """

    tree: NDArray[np.int32]
    way: NDArray[np.int8]
    kind: NDArray[np.int16]
    source: NDArray[np.int64]
    log: Floats
    left: Floats
    following: NDArray[np.int32]
    stands_for: NDArray[np.int64]
    group: NDArray[np.int64]
    part: Floats


@inside
def empty_proposals() -> Proposals:
    """Make room for one point's proposals."""
    return Proposals(
        np.empty(CANDIDATES, np.int32),
        np.empty(CANDIDATES, np.int8),
        np.empty(CANDIDATES, np.int16),
        np.empty(CANDIDATES, np.int64),
        np.empty(CANDIDATES),
        np.empty((CANDIDATES, 2)),
        np.empty(CANDIDATES, np.int32),
        np.empty(OFFSETS_TO_JUMP_FROM, np.int64),
        np.empty(CANDIDATES, np.int64),
        np.empty(CANDIDATES),
    )


@inside
def _propose(
    made: Proposals,
    count: int,
    tree: int,
    way: int,
    kind: int,
    source: int,
    log: float,
    dx: float,
    dy: float,
) -> int:
    if count >= CANDIDATES:
        return count
    made.tree[count] = tree
    made.way[count] = way
    made.kind[count] = kind
    made.source[count] = source
    made.log[count] = log
    made.left[count, 0] = dx
    made.left[count, 1] = dy
    return count + 1


@inside
def of_no_tree(
    made: Proposals, count: int, best: float, h: int, k0: int, way: int, weight: float,
    ox: float, oy: float, spread: float, anew: int, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose that the point is of no tree: near the walk, or anywhere in the surveyed area."""
    log = -math.log(points.area_m2)
    if k0 >= 0:
        ux, uy = ox, oy
        wide = STRAY_SPREAD_M**2 + spread
        near = math.exp(-0.5 * (ux * ux + uy * uy) / wide) / (2 * math.pi * wide)
        log = math.log(0.5 * near + 0.5 / points.area_m2)
    log += law.log_stray + weight
    count = _propose(made, count, k0, (way & 7) | STRAY_BIT, STRAY + anew, h, log, 0.0, 0.0)
    return count, max(best, log)


@inside
def _along_row(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, k0: int, way: int,
    weight: float, ox: float, oy: float, spread: float, anew: int,
    stand: StandArrays, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose steps along the row, the same tree again, or back."""
    r0 = stand.row[k0]
    go_on = way & 7
    half = 0.5 / spread
    base = weight - math.log(2 * math.pi * spread)
    log_step = law.log_step_after if way & STRAY_BIT else law.log_step
    low, high = stand.row_start[r0], stand.row_start[r0 + 1]
    for side in range(2):
        go = go_on if side == 0 else 1 - go_on
        turn = 1 if go == 0 else -1
        bar = base + (law.log_stay - law.room[k0, go_on] if side == 0 else law.log_back)
        j = k0 if side == 0 else k0 + turn
        while low <= j < high:
            s = abs(stand.place[j] - stand.place[k0])
            if s > LONGEST_STEP:
                break
            dx, dy = ox - stand.x[j], oy - stand.y[j]
            log = bar + log_step[s] - (dx * dx + dy * dy) * half
            if log > best - reach:
                if points.told[t]:
                    log += evidence_of_tree(t, j, stand, points)
                if log > best - reach:
                    best = max(best, log)
                    kind = anew + s + (BACK if side == 1 else 0)
                    count = _propose(made, count, j, go, kind, h, log, dx, dy)
            j += turn
    return count, best


@inside
def _into_other_rows(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, k0: int, way: int,
    weight: float, ox: float, oy: float, spread: float, anew: int,
    stand: StandArrays, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose steps past the end of the row into another."""
    r0 = stand.row[k0]
    go_on = way & 7
    after = (way & STRAY_BIT) != 0
    place = stand.place[k0]
    left = (stand.row_last[r0] - place) if go_on == 0 else (place - stand.row_first[r0])
    if left >= LONGEST_STEP:
        return count, best
    tail = law.tail_after if after else law.tail
    leave = tail[left + 1]
    base = weight + law.log_stay - law.room[k0, go_on] - math.log(2 * math.pi * spread)
    base += math.log(1 - law.any_row)
    if leave <= 0 or base + math.log(leave) < best - reach:
        return count, best
    rows = stand.row_block.size
    room = 0.0
    for change in range(ROW_CHANGES):
        r1 = r0 + ROW_CHANGE_ROWS[change]
        if 0 <= r1 < rows and stand.row_block[r1] == stand.row_block[r0]:
            room += law.changes[change]
    for change in range(ROW_CHANGES):
        r1 = r0 + ROW_CHANGE_ROWS[change]
        if not (0 <= r1 < rows and stand.row_block[r1] == stand.row_block[r0]):
            continue
        bar = base + math.log(law.changes[change] / room)
        if bar + math.log(leave) < best - reach:
            continue
        # Left going up at the far end (way 0): the same side is the far end again.
        far = (go_on == 0) == (ROW_CHANGE_SAME[change] == 1)
        turn = -1 if far else 1
        low, high = stand.row_start[r1], stand.row_start[r1 + 1]
        j = high - 1 if far else low
        while low <= j < high:
            e = (
                (stand.row_last[r1] - stand.place[j])
                if far
                else (stand.place[j] - stand.row_first[r1])
            )
            if e > LONGEST_ENTRY:
                break
            dx, dy = ox - stand.x[j], oy - stand.y[j]
            log = bar - 0.5 * (dx * dx + dy * dy) / spread
            if log > best - reach:
                log += math.log(into_row_share(left, e, after, law))
                if points.told[t]:
                    log += evidence_of_tree(t, j, stand, points)
                if log > best - reach:
                    best = max(best, log)
                    kind = anew + CHANGE + change * (LONGEST_ENTRY + 1) + e
                    count = _propose(made, count, j, 1 if far else 0, kind, h, log, dx, dy)
            j += turn
    return count, best


@inside
def _to_neighbours(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, k0: int, way: int,
    weight: float, ox: float, oy: float, spread: float, anew: int,
    stand: StandArrays, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose steps to neighbours in a stand without rows, by distance and turn of heading."""
    heading = way & 7
    bar = weight + law.log_stay - law.near_room[k0, heading] - math.log(2 * math.pi * spread)
    for i in range(-1, stand.near.shape[1]):
        j, turn, bin_, go = k0, 0, 0, heading
        log = bar
        if i >= 0:
            j = stand.near[k0, i]
            if j < 0:
                break
            go, bin_ = stand.near_way[k0, i], stand.near_bin[k0, i]
            turn = abs(go - heading)
            turn = min(turn, HEADINGS - turn)
            log += law.log_turning[turn]
        dx, dy = ox - stand.x[j], oy - stand.y[j]
        log += law.log_step[bin_] - 0.5 * (dx * dx + dy * dy) / spread
        if log > best - reach:
            if points.told[t]:
                log += evidence_of_tree(t, j, stand, points)
            if log > best - reach:
                best = max(best, log)
                kind = anew + NEAR + bin_ * TURNS + turn
                count = _propose(made, count, j, go, kind, h, log, dx, dy)
    return count, best


@inside
def anywhere(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, kind: int,
    weight: float, ox: float, oy: float, spread: float,
    stand: StandArrays, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose every tree within reach of where the offset puts the point, in every direction."""
    ways = 2 if stand.has_rows else HEADINGS
    bar = weight - math.log(ways * points.trees_near) - math.log(2 * math.pi * spread)
    radius = REACH_SD * math.sqrt(spread)
    east, north, cell = stand.cells_east, stand.cells_north, stand.cell_m
    only = points.fixed[t]
    cx, cy = (stand.x[only], stand.y[only]) if only >= 0 else (ox, oy)
    radius = 0.0 if only >= 0 else radius
    a0 = max(math.floor((cx - radius - stand.low_x) / cell), 0)
    a1 = min(math.floor((cx + radius - stand.low_x) / cell), east - 1)
    b0 = max(math.floor((cy - radius - stand.low_y) / cell), 0)
    b1 = min(math.floor((cy + radius - stand.low_y) / cell), north - 1)
    for b in range(b0, b1 + 1):
        for c in range(b * east + a0, b * east + a1 + 1):
            for i in range(stand.cell_start[c], stand.cell_start[c + 1]):
                k = stand.cell_tree[i]
                dx, dy = ox - stand.x[k], oy - stand.y[k]
                fit = bar - 0.5 * (dx * dx + dy * dy) / spread
                if points.told[t]:
                    fit += evidence_of_tree(t, k, stand, points)
                for way in range(ways):
                    log = fit + (law.log_landing[k, way] if stand.has_rows else 0.0)
                    if log > best - reach:
                        best = max(best, log)
                        count = _propose(made, count, k, way, kind, h, log, dx, dy)
    return count, best


@inside
def onward(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, k0: int, way: int,
    weight: float, ox: float, oy: float, spread: float, anew: int,
    stand: StandArrays, points: PointArrays, law: LawArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose steps from a tree along its row and past its end, or to its neighbours."""
    if not stand.has_rows:
        return _to_neighbours(
            made, count, best, reach, t, h, k0, way, weight, ox, oy, spread, anew,
            stand, points, law,
        )  # fmt: skip
    count, best = _along_row(
        made, count, best, reach, t, h, k0, way, weight, ox, oy, spread, anew, stand, points, law
    )
    return _into_other_rows(
        made, count, best, reach, t, h, k0, way, weight, ox, oy, spread, anew, stand, points, law
    )
