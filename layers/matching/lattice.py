"""Smoothing a walk's lattice backwards, and drawing whole walks from it."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside
from layers.matching.evidence import StandArrays, Whole
from layers.matching.offset import Floats, size_factor
from layers.matching.steps import (
    BACK,
    CHANGE,
    JUMP,
    KINDS,
    LONGEST_ENTRY,
    LONGEST_STEP,
    REDRAWN,
    START,
    STRAY,
    STRAY_BIT,
    LawArrays,
    into_row_share,
)
from layers.matching.walk import Lattice

LIKELIEST = 4
# After the kinds of steps: steps that carried on into the next row, rows begun afresh; steps on
# which the offset was drawn anew; walks begun and jumps landed at rows' ends, and elsewhere;
# points of no tree in a tree's place, and beside all trees; ends of rows after which any row came.
CARRIED, AFRESH, ANEW, AT_END, ELSEWHERE, IN_PLACE, BESIDE, ANY_ROW = range(KINDS, KINDS + 8)
COUNTS = KINDS + 8


@inside
def _count(
    kind: int, flow: float, k0: int, way: int, k1: int, way1: int, stand: StandArrays,
    law: LawArrays, counts: Floats,
) -> None:  # fmt: skip
    """Add one expected step; a step past a row's end also speaks for the law of steps."""
    if kind >= REDRAWN:
        counts[ANEW] += flow
        kind -= REDRAWN
    if k0 >= 0 and way & STRAY_BIT:
        if kind < BACK:
            beside = (1 - law.in_place) * law.step[kind] / math.exp(law.log_step_after[kind])
            counts[BESIDE] += flow * beside
            counts[IN_PLACE] += flow * (1 - beside)
        return
    if kind == STRAY:
        return
    counts[kind] += flow
    if kind in (JUMP, START) and stand.has_rows:
        at_end = 1 - law.elsewhere / math.exp(law.log_landing[k1, way1 & 7])
        counts[AT_END] += flow * at_end
        counts[ELSEWHERE] += flow * (1 - at_end)
    if kind == JUMP and k0 >= 0 and stand.has_rows:
        ended = 1 - math.exp(law.log_jump - law.log_leap[k0, way & 7])
        counts[JUMP] -= flow * ended
        counts[ANY_ROW] += flow * ended
    if not CHANGE <= kind < JUMP:
        return
    row = stand.row[k0]
    place = stand.place[k0]
    left = (stand.row_last[row] - place) if way == 0 else (place - stand.row_first[row])
    e = (kind - CHANGE) % (LONGEST_ENTRY + 1)
    on = left + 1 + e
    carried = 0.0
    if on <= LONGEST_STEP:
        carried = flow * law.carry * law.step[on] / into_row_share(left, e, False, law)
        counts[on] += carried
    counts[CARRIED] += carried
    counts[AFRESH] += flow - carried
    tail = law.tail[min(left + 1, LONGEST_STEP + 1)]
    if tail > 0:
        for s in range(left + 1, LONGEST_STEP + 1):
            counts[s] += (flow - carried) * law.step[s] / tail


@inside
def _last_shares(lattice: Lattice, first: int, last: int, law: LawArrays) -> Floats:
    """Shares of the last survivors, weighed by how usual the size of their offset is."""
    log = lattice.belief[first:last, 7].copy()
    for n in range(first, last):
        if lattice.tree[n] >= 0:
            one = lattice.belief[n]
            log[n - first] += size_factor(
                one[0], one[1], one[4], law.constant, law.size_m, law.size_sd_m
            )
    highest, total = -np.inf, 0.0
    for one in log:
        highest = max(highest, one)
    for n in range(log.size):
        log[n] = math.exp(log[n] - highest)
        total += log[n]
    for n in range(log.size):
        log[n] /= total
    return log


@inside
def _rank_trees(
    a: int, b: int, post: Floats, tree: NDArray[np.int32], way: NDArray[np.int8],
    names: NDArray[np.int32], mass: Floats,
) -> tuple[int, float]:  # fmt: skip
    """Sum survivors a to b by tree; give how many trees there are, and the mass of no tree."""
    found, lone = 0, 0.0
    for n in range(a, b):
        if post[n] < 1e-9:
            continue
        if way[n] & STRAY_BIT:
            lone += post[n]
            continue
        j = 0
        while j < found and names[j] != tree[n]:
            j += 1
        if j == found:
            if found == names.size:
                continue
            names[found], mass[found] = tree[n], 0.0
            found += 1
        mass[j] += post[n]
    return found, lone


@door
def smooth_walk(
    lattice: Lattice, node_start: Whole, stand: StandArrays, law: LawArrays, keep: int
) -> tuple[NDArray[np.int32], Floats, Floats, Floats, Floats, Floats]:
    """Smooth a lattice backwards.

    Parameters
    ----------
    lattice, node_start
        What :func:`layers.matching.walk.filter_walk` gives.
    stand, law
        What was walked, and by which law.
    keep
        Steps are counted up to this point; those beyond were only looked ahead to.

    Returns
    -------
    tuple
        Each point's likeliest trees and their shares, shape (n, 4), -1 where there are fewer;
        its share of no tree, shape (n,); the expected place of its tree, east and north, and the
        place's variance per axis, shape (n, 3); the probability that its offset was drawn anew,
        shape (n,); expected counts of steps by kind.
    """
    tree, way, _, edge_start, edge_from, edge_weight, edge_kind = lattice
    points = node_start.size - 1
    post = np.zeros(tree.size)
    counts = np.zeros(COUNTS)
    last = node_start[points - 1]
    for n, share in enumerate(_last_shares(lattice, last, node_start[points], law)):
        post[last + n] = share
    top_tree = np.full((points, LIKELIEST), -1, np.int32)
    top_share, middle = np.zeros((points, LIKELIEST)), np.zeros((points, 3))
    lone, anew = np.zeros(points), np.zeros(points)
    names, mass = np.empty(4096, np.int32), np.empty(4096)
    for t in range(points - 1, -1, -1):
        a, b = node_start[t], node_start[t + 1]
        for n in range(a, b):
            if post[n] < 1e-12 or t == 0:
                continue
            total = 0.0
            for i in range(edge_start[n], edge_start[n + 1]):
                total += edge_weight[i]
            for i in range(edge_start[n], edge_start[n + 1]):
                flow = post[n] * edge_weight[i] / total
                p = edge_from[i]
                post[p] += flow
                if edge_kind[i] >= REDRAWN:
                    anew[t] += flow
                if t < keep:
                    _count(edge_kind[i], flow, tree[p], way[p], tree[n], way[n], stand, law, counts)
        found, lone[t] = _rank_trees(a, b, post, tree, way, names, mass)
        whole = mx = my = mm = 0.0
        for j in range(found):
            whole += mass[j]
            mx += mass[j] * stand.x[names[j]]
            my += mass[j] * stand.y[names[j]]
        if whole > 0:
            mx, my = mx / whole, my / whole
            for j in range(found):
                ux, uy = stand.x[names[j]] - mx, stand.y[names[j]] - my
                mm += 0.5 * mass[j] * (ux * ux + uy * uy) / whole
        middle[t, 0], middle[t, 1], middle[t, 2] = mx, my, mm
        for rank in range(min(LIKELIEST, found)):
            pick = 0
            for j in range(found):
                if mass[j] > mass[pick]:
                    pick = j
            top_tree[t, rank], top_share[t, rank] = names[pick], mass[pick]
            mass[pick] = -1.0
    return top_tree, top_share, lone, middle, anew, counts


@door
def draw_walks(
    lattice: Lattice,
    node_start: Whole,
    stand: StandArrays,
    law: LawArrays,
    chance: Floats,
    keep: int,
) -> tuple[NDArray[np.int32], NDArray[np.bool_], Floats]:
    """Draw whole walks from a lattice.

    Parameters
    ----------
    lattice, node_start, stand, law, keep
        As in :func:`smooth_walk`.
    chance
        Uniform draws from 0 to 1, shape (walks, n).

    Returns
    -------
    walks
        Trees, shape (walks, n), -1 where of no tree.
    anew
        Whether the offset was drawn anew at each point, shape (walks, n).
    counts
        Number of steps of each kind in each walk, shape (walks, kinds).
    """
    tree, way, _, edge_start, edge_from, edge_weight, edge_kind = lattice
    points = node_start.size - 1
    walks = np.full(chance.shape, -1, np.int32)
    anew = np.zeros(chance.shape, np.bool_)
    counts = np.zeros((chance.shape[0], COUNTS))
    ends = _last_shares(lattice, node_start[points - 1], node_start[points], law)
    for m in range(chance.shape[0]):
        pick = chance[m, points - 1]
        n = node_start[points] - 1
        for i in range(node_start[points - 1], node_start[points]):
            pick -= ends[i - node_start[points - 1]]
            if pick <= 0:
                n = i
                break
        for t in range(points - 1, -1, -1):
            walks[m, t] = -1 if way[n] & STRAY_BIT else tree[n]
            if t == 0:
                break
            total = 0.0
            for i in range(edge_start[n], edge_start[n + 1]):
                total += edge_weight[i]
            pick = chance[m, t - 1] * total
            step = edge_start[n + 1] - 1
            for i in range(edge_start[n], edge_start[n + 1]):
                pick -= edge_weight[i]
                if pick <= 0:
                    step = i
                    break
            p = edge_from[step]
            anew[m, t] = edge_kind[step] >= REDRAWN
            if t < keep:
                _count(
                    edge_kind[step], 1.0, tree[p], way[p], tree[n], way[n], stand, law, counts[m]
                )
            n = p
    return walks, anew, counts
