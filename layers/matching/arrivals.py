"""Arriving at a point: which steps are worth proposing, from which survivors."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layers.compiled import inside
from layers.matching.evidence import PointArrays, StandArrays
from layers.matching.offset import Floats
from layers.matching.proposals import (
    EVERYONE,
    OFFSETS_TO_JUMP_FROM,
    Proposals,
    anywhere,
    of_no_tree,
    onward,
)
from layers.matching.steps import JUMP, REDRAWN, START, LawArrays, SearchArrays

# How much likelier (natural log) the end of a row is to be landed at than other trees, about.
ROW_END_MORE = 3.0
# Survivors from which an offset drawn anew is tried, and how far (natural log) the likeliest step
# may lie above it before it isn't worth trying.
ANEW_FROM = 64
ANEW_WITHIN = 9.0
# Share of sessions that go on from where the session before them in a chain ended (a judgement:
# no survey has enough sessions to tell it well, and a wrong one costs less than one step does).
GOES_ON = 0.7


@inside
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
        count, best = onward(
            made, count, best, search.reach, t, first + p, k0, way, weight, px, py, spread,
            REDRAWN, stand, points, law,
        )  # fmt: skip
    if trees[order[0]] >= 0:
        weight = log_anew + law.log_jump
        count, best = anywhere(
            made, count, best, search.reach, t, -1 - EVERYONE, REDRAWN + JUMP, weight, px, py,
            spread, stand, points, law,
        )  # fmt: skip
    return count, best


@inside
def _begun(
    made: Proposals, t: int, order: NDArray[np.int64], parents: Floats,
    trees: NDArray[np.int32], ways: NDArray[np.int8], first: int, again: Floats,
    stand: StandArrays, points: PointArrays, law: LawArrays, search: SearchArrays,
) -> tuple[int, float]:  # fmt: skip
    """Propose where a later session of a chain begins: where the walk goes on, or anywhere."""
    spread, px, py = again[8], points.x[t], points.y[t]
    count, best = anywhere(
        made, 0, -np.inf, search.reach, t, -1 - EVERYONE, REDRAWN + START, math.log(1 - GOES_ON),
        px, py, spread, stand, points, law,
    )  # fmt: skip
    for p in order:
        k0, way, h, weight = trees[p], ways[p], first + p, parents[p, 7]
        if weight < best - search.reach - 20.0:
            break
        if points.fixed[t] < 0:
            ux, uy = (px, py) if k0 < 0 else (px - stand.x[k0], py - stand.y[k0])
            count, best = of_no_tree(
                made, count, best, h, k0, way, weight, ux, uy, spread, REDRAWN, points, law
            )
        if k0 >= 0:
            count, best = onward(
                made, count, best, search.reach, t, h, k0, way, weight + math.log(GOES_ON), px, py,
                spread, REDRAWN, stand, points, law,
            )  # fmt: skip
    return count, best


@inside
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
    kept = 0
    px, py = points.x[t], points.y[t]
    order = np.argsort(-parents[:, 7])
    for p in range(trees.size):
        made.group[p] = -1
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
            count, best = of_no_tree(
                made, count, best, h, k0, way, weight, ux, uy, spread, 0, points, law
            )
        if k0 < 0:
            # Nothing is known yet of where the walker stands.
            count, best = anywhere(
                made, count, best, search.reach, t, h, START, weight, ox, oy, spread,
                stand, points, law,
            )  # fmt: skip
            continue
        count, best = onward(
            made, count, best, search.reach, t, h, k0, way, weight, ox, oy, spread, 0,
            stand, points, law,
        )  # fmt: skip
        found = -1
        for i in range(kept):
            if (offsets[i, 0] - ox) ** 2 + (offsets[i, 1] - oy) ** 2 < 0.25 * spread:
                found = i
                break
        weight += law.log_leap[k0, way & 7] if stand.has_rows else law.log_jump
        if found < 0 and kept < OFFSETS_TO_JUMP_FROM:
            offsets[kept, 0], offsets[kept, 1], offsets[kept, 2], offsets[kept, 3] = (
                ox,
                oy,
                0.0,
                weight,
            )
            made.stands_for[kept] = p
            found = kept
            kept += 1
        if found >= 0:
            # Parents come from about the likeliest down, so the sum needs no care for overflow.
            made.group[p], made.part[p] = found, math.exp(weight - offsets[found, 3])
            offsets[found, 2] += made.part[p]
    if kept > 0:
        spread = parents[made.stands_for[0], 8]
        likeliest = -np.inf
        for i in range(kept):
            offsets[i, 3] += math.log(offsets[i, 2])
            likeliest = max(likeliest, offsets[i, 3])
        worth = likeliest - math.log(2 * points.trees_near) - math.log(2 * math.pi * spread)
        if stand.has_rows:
            worth += ROW_END_MORE
        if best < worth + 7.0 or points.told[t]:
            for p in range(trees.size):
                if made.group[p] >= 0:
                    made.part[p] /= offsets[made.group[p], 2]
            for i in range(kept):
                count, best = anywhere(
                    made, count, best, search.reach, t, -1 - i, JUMP, offsets[i, 3],
                    offsets[i, 0], offsets[i, 1], parents[made.stands_for[i], 8],
                    stand, points, law,
                )  # fmt: skip
    return _drawn_anew(
        made, count, best, t, order, parents, trees, ways, first, again, stand, points, law, search
    )
