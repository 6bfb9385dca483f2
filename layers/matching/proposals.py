"""Proposals for one point: every step that could lead to it, each with how likely it is."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers.matching.evidence import PointArrays, StandArrays, evidence_of_tree
from layers.matching.offset import Floats, jit
from layers.matching.steps import (
    BACK,
    CHANGE,
    HEADINGS,
    JUMP,
    LONGEST_ENTRY,
    LONGEST_STEP,
    NEAR,
    REDRAWN,
    ROW_CHANGE_ROWS,
    ROW_CHANGE_SAME,
    ROW_CHANGES,
    START,
    STRAY,
    STRAY_BIT,
    TURNS,
    LawArrays,
    SearchArrays,
    into_row_share,
)

STRAY_SPREAD_M = 20.0
REACH_SD = 3.7
OFFSETS_TO_JUMP_FROM = 32
CANDIDATES = 1 << 15
# Survivors from which an offset drawn anew is tried, and how far (natural log) the likeliest step
# may lie above it before it isn't worth trying.
ANEW_FROM = 64
ANEW_WITHIN = 9.0
# Share of sessions that go on from where the session before them in a chain ended (a judgement:
# no survey has enough sessions to tell it well, and a wrong one costs less than one step does).
GOES_ON = 0.7


class Proposals(NamedTuple):
    """Steps proposed for one point: where to, of which kind, from whom, how likely."""

    tree: NDArray[np.int32]
    way: NDArray[np.int8]
    kind: NDArray[np.int16]
    source: NDArray[np.int64]
    log: Floats
    left: Floats
    following: NDArray[np.int32]


@jit
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
    )


@jit
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


@jit
def _of_no_tree(
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


@jit
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


@jit
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


@jit
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


@jit
def _anywhere(
    made: Proposals, count: int, best: float, reach: float, t: int, h: int, kind: int,
    weight: float, ox: float, oy: float, spread: float,
    stand: StandArrays, points: PointArrays,
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
                log = bar - 0.5 * (dx * dx + dy * dy) / spread
                if points.told[t]:
                    log += evidence_of_tree(t, k, stand, points)
                if log > best - reach:
                    best = max(best, log)
                    for way in range(ways):
                        count = _propose(made, count, k, way, kind, h, log, dx, dy)
    return count, best


@jit
def _onward(
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


@jit
def _drawn_anew(
    made: Proposals, count: int, best: float, t: int, order: NDArray[np.int64], parents: Floats,
    trees: NDArray[np.int32], ways: NDArray[np.int8], first: int, again: Floats,
    stand: StandArrays, points: PointArrays, law: LawArrays, search: SearchArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose steps on which the offset was drawn anew, where carrying it on fits badly."""
    spread, log_anew = again[8], points.anew[t]
    worth = log_anew - math.log(2 * math.pi * spread)
    if best > worth + ANEW_WITHIN:
        return count, best
    px, py = points.x[t], points.y[t]
    for p in order[:ANEW_FROM]:
        k0, way, weight = trees[p], ways[p], parents[p, 7] + log_anew
        if k0 < 0:
            continue
        if weight - math.log(2 * math.pi * spread) < best - search.reach:
            break
        count, best = _onward(
            made, count, best, search.reach, t, first + p, k0, way, weight, px, py, spread,
            REDRAWN, stand, points, law,
        )  # fmt: skip
    p = order[0]
    if trees[p] >= 0:
        weight = log_anew + law.log_jump
        count, best = _anywhere(
            made, count, best, search.reach, t, first + p, REDRAWN + JUMP, weight, px, py, spread,
            stand, points,
        )  # fmt: skip
    return count, best


@jit
def _begun(
    made: Proposals, t: int, order: NDArray[np.int64], parents: Floats,
    trees: NDArray[np.int32], ways: NDArray[np.int8], first: int, again: Floats,
    stand: StandArrays, points: PointArrays, law: LawArrays, search: SearchArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose where a later session of a chain begins: where the walk goes on, or anywhere."""
    count, best, tried, spread = 0, -np.inf, 0, again[8]
    px, py = points.x[t], points.y[t]
    for p in order:
        k0, way, h, weight = trees[p], ways[p], first + p, parents[p, 7]
        if weight < best - search.reach - 20.0:
            break
        if points.fixed[t] < 0:
            ux, uy = (px, py) if k0 < 0 else (px - stand.x[k0], py - stand.y[k0])
            count, best = _of_no_tree(
                made, count, best, h, k0, way, weight, ux, uy, spread, REDRAWN, points, law
            )
        if k0 >= 0:
            count, best = _onward(
                made, count, best, search.reach, t, h, k0, way, weight + math.log(GOES_ON), px, py,
                spread, REDRAWN, stand, points, law,
            )  # fmt: skip
        if tried < OFFSETS_TO_JUMP_FROM:
            tried += 1
            count, best = _anywhere(
                made, count, best, search.reach, t, h, REDRAWN + START,
                weight + math.log(1 - GOES_ON), px, py, spread, stand, points,
            )  # fmt: skip
    return count, best


@jit
def propose_all(
    made: Proposals, t: int, parents: Floats, trees: NDArray[np.int32], ways: NDArray[np.int8],
    first: int, again: Floats, stand: StandArrays, points: PointArrays, law: LawArrays,
    search: SearchArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose where the walk is at point t.

    `parents` holds beliefs as :func:`layers.matching.walk.filter_walk` predicts them, weighed
    among themselves; `again` is the belief about an offset drawn anew.
    """
    count, best = 0, -np.inf
    offsets = np.empty((OFFSETS_TO_JUMP_FROM, 4))
    froms = np.empty(OFFSETS_TO_JUMP_FROM, np.int64)
    kept = 0
    px, py = points.x[t], points.y[t]
    order = np.argsort(-parents[:, 7])
    if points.begins[t]:
        return _begun(
            made, t, order, parents, trees, ways, first, again, stand, points, law, search
        )
    log_carried = math.log(1 - math.exp(points.anew[t]))
    for p in order:
        row = parents[p]
        weight, spread = row[7] + log_carried, row[8]
        ox, oy = px - row[0] - row[2], py - row[1] - row[3]
        k0, way, h = trees[p], ways[p], first + p
        if weight < best - search.reach - 20.0:
            break
        if points.fixed[t] < 0:
            ux, uy = (ox, oy) if k0 < 0 else (ox - stand.x[k0], oy - stand.y[k0])
            count, best = _of_no_tree(
                made, count, best, h, k0, way, weight, ux, uy, spread, 0, points, law
            )
        if k0 < 0:
            # Nothing is known yet of where the walker stands.
            count, best = _anywhere(
                made, count, best, search.reach, t, h, START, weight, ox, oy, spread, stand, points
            )
            continue
        count, best = _onward(
            made, count, best, search.reach, t, h, k0, way, weight, ox, oy, spread, 0,
            stand, points, law,
        )  # fmt: skip
        found = -1
        for i in range(kept):
            if (offsets[i, 0] - ox) ** 2 + (offsets[i, 1] - oy) ** 2 < 0.25 * spread:
                found = i
                break
        if found >= 0:
            # Parents come from the likeliest down, so the sum needs no care for overflow.
            offsets[found, 2] += math.exp(weight - offsets[found, 3])
        elif kept < OFFSETS_TO_JUMP_FROM:
            offsets[kept, 0], offsets[kept, 1], offsets[kept, 2], offsets[kept, 3] = (
                ox,
                oy,
                1.0,
                weight,
            )
            froms[kept] = p
            kept += 1
    if kept > 0:
        spread = parents[froms[0], 8]
        worth = law.log_jump - math.log(2 * points.trees_near) - math.log(2 * math.pi * spread)
        if best < worth + 7.0 or points.told[t]:
            for i in range(kept):
                weight = offsets[i, 3] + math.log(offsets[i, 2]) + law.log_jump
                count, best = _anywhere(
                    made, count, best, search.reach, t, first + froms[i], JUMP, weight,
                    offsets[i, 0], offsets[i, 1], parents[froms[i], 8], stand, points,
                )  # fmt: skip
    return _drawn_anew(
        made, count, best, t, order, parents, trees, ways, first, again, stand, points, law, search
    )
