"""The walk: a filter over trees and offsets together along one session.

Each survivor at a point is a tree, a walking direction and a normal belief about the receiver's
offset. Survivors of one tree and direction are merged only where their offsets lie within a share
of the belief's standard deviation, so a shift by a whole tree spacing stays a survivor of its own.
Now and then, and oftener in a pause, a step draws the offset anew.
The survivors and the steps between them form a lattice, which :mod:`layers.matching.lattice`
smooths backwards.

References
----------
Kim, C.-J. (1994). Dynamic linear models with Markov-switching. Journal of Econometrics 60, 1-22
(from memory: the smoothing of a switching linear model over merged survivors).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside
from layers.matching.arrivals import propose_all
from layers.matching.evidence import PointArrays, StandArrays, Whole
from layers.matching.offset import BELIEF, Floats, size_factor
from layers.matching.proposals import EVERYONE, Proposals, empty_proposals
from layers.matching.steps import REDRAWN, STRAY, LawArrays, SearchArrays

TABLE = 1 << 14
# Offsets farther apart than about this, metres, are told apart when room for survivors is short.
OFFSETS_APART_M = 2.0
# Survivors kept beside those of the likeliest, at most, for being of other offsets.
MORE_AT_MOST = 128
# Survivors with a smaller part than this in a jump's origin are left out of it.
LEAST_PART = 0.003


class Lattice(NamedTuple):
    """Survivors and the steps into them, point after point.

    Parameters
    ----------
    tree, way, belief
        Each survivor's tree (-1 before any is known), direction, with a bit for a point of no
        tree, and belief about the offset.
    edge_start
        First step into each survivor, and the end of the last.
    edge_from, edge_weight, edge_kind
        Each step's survivor before, weight and kind.
    """

    tree: NDArray[np.int32]
    way: NDArray[np.int8]
    belief: Floats
    edge_start: Whole
    edge_from: Whole
    edge_weight: Floats
    edge_kind: NDArray[np.int16]


@inside
def _predict(belief: Floats, fade: float, drift: float, white: float, row: Floats) -> None:
    """Carry a belief to the next point; write means, matrix, spread and gains into `row`."""
    row[0], row[1] = belief[0], belief[1]
    row[2], row[3] = belief[2] * fade, belief[3] * fade
    pcc, pcd = belief[4], belief[5] * fade
    pdd = belief[6] * fade * fade + drift * (1 - fade * fade)
    spread = pcc + 2 * pcd + pdd + white
    row[4], row[5], row[6], row[7] = pcc, pcd, pdd, belief[7]
    row[8], row[9], row[10] = spread, (pcc + pcd) / spread, (pcd + pdd) / spread


@inside
def _weigh_sizes(parents: Floats, trees: NDArray[np.int32], law: LawArrays) -> None:
    """Weigh survivors at a session's end by how usual the size of their offset is."""
    if law.size_sd_m <= 0:
        return
    for p in range(trees.size):
        if trees[p] >= 0:
            one = parents[p]
            one[7] += size_factor(one[0], one[1], one[4], law.constant, law.size_m, law.size_sd_m)
    highest, total = -np.inf, 0.0
    for p in range(trees.size):
        highest = max(highest, parents[p, 7])
    for p in range(trees.size):
        total += math.exp(parents[p, 7] - highest)
    for p in range(trees.size):
        parents[p, 7] -= highest + math.log(total)


@inside
def _merge(
    made: Proposals, count: int, best: float, t: int, parents: Floats, again: Floats,
    first: int, search: SearchArrays, table: Whole, stamp: Whole, keys: Whole,
    heads: NDArray[np.int32], sums: Floats,
) -> tuple[int, int]:  # fmt: skip
    """Merge proposals at one tree, direction and offset.

    Gives how many survivors there are, and how many steps at most lead to them.
    """
    merged = steps = 0
    for i in range(count):
        if made.log[i] < best - search.reach:
            continue
        source = made.source[i]
        steps += 1 if source >= 0 else len(parents)
        if made.kind[i] >= REDRAWN:
            row = again
        else:
            row = parents[source - first if source >= 0 else made.stands_for[-1 - source]]
        mcx, mcy, mdx, mdy = row[0], row[1], row[2], row[3]
        pcc, pcd, pdd = row[4], row[5], row[6]
        if made.kind[i] != STRAY and made.kind[i] != STRAY + REDRAWN:
            spread, gain_c, gain_d = row[8], row[9], row[10]
            dx, dy = made.left[i, 0], made.left[i, 1]
            mcx += gain_c * dx
            mcy += gain_c * dy
            mdx += gain_d * dx
            mdy += gain_d * dy
            pcc -= gain_c * gain_c * spread
            pcd -= gain_c * gain_d * spread
            pdd -= gain_d * gain_d * spread
        size = search.share * math.sqrt(max(pcc + 2 * pcd + pdd, 1e-6))
        ix = math.floor((mcx + mdx) / size) & 4095
        iy = math.floor((mcy + mdy) / size) & 4095
        key = ((np.int64(made.tree[i]) + 1) * 16 + made.way[i]) * 16777216 + ix * 4096 + iy
        slot = ((key * 1000003) ^ (key >> 17)) & (TABLE - 1)
        while stamp[slot] == t and keys[table[slot]] != key:
            slot = (slot + 1) & (TABLE - 1)
        if stamp[slot] != t:
            if merged >= TABLE // 2:
                continue
            stamp[slot], table[slot] = t, merged
            keys[merged], heads[merged] = key, -1
            for q in range(BELIEF):
                sums[merged, q] = 0.0
            merged += 1
        n = table[slot]
        made.following[i] = heads[n]
        heads[n] = i
        weight = math.exp(made.log[i] - best)
        into = sums[n]
        into[0] += weight * mcx
        into[1] += weight * mcy
        into[2] += weight * mdx
        into[3] += weight * mdy
        into[4] += weight * pcc
        into[5] += weight * pcd
        into[6] += weight * pdd
        into[7] += weight
    return merged, steps


@inside
def _with_room(lattice: Lattice, nodes: int, edges: int) -> Lattice:
    """Give the lattice with room for so many survivors and steps."""
    tree, way, belief, edge_start, edge_from, edge_weight, edge_kind = lattice
    if nodes >= tree.size:
        size = 2 * nodes
        more_tree, more_way = np.empty(size, np.int32), np.empty(size, np.int8)
        more_belief, more_start = np.empty((size, BELIEF)), np.empty(size + 1, np.int64)
        for n in range(tree.size):
            more_tree[n], more_way[n], more_start[n] = tree[n], way[n], edge_start[n]
            for q in range(BELIEF):
                more_belief[n, q] = belief[n, q]
        more_start[tree.size] = edge_start[tree.size]
        tree, way, belief, edge_start = more_tree, more_way, more_belief, more_start
    if edges >= edge_from.size:
        size = 2 * edges
        more_from, more_weight = np.empty(size, np.int64), np.empty(size)
        more_kind = np.empty(size, np.int16)
        for i in range(edge_from.size):
            more_from[i], more_weight[i] = edge_from[i], edge_weight[i]
            more_kind[i] = edge_kind[i]
        edge_from, edge_weight, edge_kind = more_from, more_weight, more_kind
    return Lattice(tree, way, belief, edge_start, edge_from, edge_weight, edge_kind)


@inside
def _choose(sums: Floats, merged: int, cut: float, search: SearchArrays) -> NDArray[np.bool_]:
    """Choose the likeliest survivors, and the likeliest of every offset far from the others.

    Where the likeliest offset has more survivors than there is room for, a shift by a whole row
    still keeps some: that it is wrong, or right, may show only at the end of the walk.
    """
    chosen = np.zeros(merged, np.bool_)
    if merged <= search.most:
        for n in range(merged):
            chosen[n] = sums[n, 7] >= cut
        return chosen
    cells, held = np.empty(256, np.int64), np.zeros(256, np.int64)
    found = more = 0
    for rank, n in enumerate(np.argsort(-sums[:merged, 7])):
        mass = sums[n, 7]
        if mass < cut:
            break
        east = math.floor((sums[n, 0] + sums[n, 2]) / mass / OFFSETS_APART_M)
        north = math.floor((sums[n, 1] + sums[n, 3]) / mass / OFFSETS_APART_M)
        cell = np.int64(east) * 65536 + np.int64(north)
        at = 0
        while at < found and cells[at] != cell:
            at += 1
        if at == found and found < cells.size:
            cells[found] = cell
            found += 1
        if at < cells.size:
            held[at] += 1
        if rank < search.most:
            chosen[n] = True
        elif at < cells.size and held[at] <= search.each:
            chosen[n] = True
            more += 1
            if more == MORE_AT_MOST:
                break
    return chosen


@inside
def _write_step(lattice: Lattice, edges: int, source: int, weight: float, kind: int) -> int:
    """Write one step into the lattice; give the end of its steps."""
    lattice.edge_from[edges], lattice.edge_weight[edges] = source, weight
    lattice.edge_kind[edges] = kind
    return edges + 1


@inside
def _write_group(
    lattice: Lattice, edges: int, made: Proposals, group: int, parents: Floats, before: int,
    weight: float, kind: int, least: float,
) -> int:  # fmt: skip
    """Write a step from each survivor of a group, by its part in it."""
    for p in range(len(parents)):
        if group == EVERYONE:
            part = math.exp(parents[p, 7])
        elif made.group[p] == group:
            part = made.part[p]
        else:
            continue
        if part > LEAST_PART and part * weight > least:
            edges = _write_step(lattice, edges, before + p, part * weight, kind)
    return edges


@inside
def _lay_down(
    lattice: Lattice, nodes: int, edges: int, made: Proposals, best: float, merged: int,
    heads: NDArray[np.int32], sums: Floats, parents: Floats, before: int, search: SearchArrays,
) -> tuple[int, int, float]:  # fmt: skip
    """Write the likeliest survivors into the lattice; give its new ends and the mass kept.

    `parents` are the survivors at the point before, the first of them in the lattice at `before`.
    """
    cut = math.exp(-search.reach)
    chosen = _choose(sums, merged, cut, search)
    kept = 0.0
    first = nodes
    for n in range(merged):
        mass = sums[n, 7]
        if not chosen[n]:
            continue
        kept += mass
        i = heads[n]
        lattice.tree[nodes], lattice.way[nodes] = made.tree[i], made.way[i]
        for q in range(BELIEF - 1):
            lattice.belief[nodes, q] = sums[n, q] / mass
        lattice.belief[nodes, 7] = math.log(mass)
        while i >= 0:
            weight, source = math.exp(made.log[i] - best), made.source[i]
            if weight > 1e-5 * mass:
                if source >= 0:
                    edges = _write_step(lattice, edges, source, weight, made.kind[i])
                else:
                    edges = _write_group(
                        lattice, edges, made, -1 - source, parents, before, weight, made.kind[i],
                        1e-5 * mass,
                    )  # fmt: skip
            i = made.following[i]
        nodes += 1
        lattice.edge_start[nodes] = edges
    for n in range(first, nodes):
        lattice.belief[n, 7] -= math.log(kept)
    return nodes, edges, kept


@door
def filter_walk(
    stand: StandArrays,
    points: PointArrays,
    law: LawArrays,
    search: SearchArrays,
    begin_tree: NDArray[np.int32],
    begin_way: NDArray[np.int8],
    begin: Floats,
) -> tuple[Lattice, Whole, Floats]:
    """Filter one stretch of a session forwards.

    Parameters
    ----------
    stand, points, law, search
        What is walked, what was measured, how it is walked, how widely to search.
    begin_tree, begin_way, begin
        Survivors handed over from the stretch before; one survivor with tree -1 and the prior
        belief begins a session.

    Returns
    -------
    lattice
        The survivors and steps.
    node_start
        First survivor of each point and the end of the last, shape (n + 1,).
    evidence
        Natural log of how likely each point was, given those before, shape (n,).
    """
    size = points.x.size
    lattice = Lattice(
        np.empty(16 * size + 4096, np.int32),
        np.empty(16 * size + 4096, np.int8),
        np.empty((16 * size + 4096, BELIEF)),
        np.zeros(16 * size + 4097, np.int64),
        np.empty(32 * size + 8192, np.int64),
        np.empty(32 * size + 8192),
        np.empty(32 * size + 8192, np.int16),
    )
    node_start, evidence = np.zeros(size + 1, np.int64), np.zeros(size)
    nodes = edges = first = 0
    made = empty_proposals()
    table, stamp = np.zeros(TABLE, np.int64), np.full(TABLE, -1, np.int64)
    keys, heads = np.empty(TABLE, np.int64), np.empty(TABLE, np.int32)
    sums = np.empty((TABLE, BELIEF))
    prior = np.zeros(BELIEF)
    prior[4], prior[6] = law.constant, law.drift
    for t in range(size):
        if t == 0:
            trees, ways, beliefs = begin_tree, begin_way, begin
        else:
            trees, ways = lattice.tree[first:nodes], lattice.way[first:nodes]
            beliefs = lattice.belief[first:nodes]
        parents, again = np.empty((trees.size, 11)), np.empty(11)
        _predict(prior, 1.0, law.drift, points.white[t], again)
        for p in range(trees.size):
            _predict(beliefs[p], points.fade[t], law.drift, points.white[t], parents[p])
        if points.begins[t]:
            _weigh_sizes(parents, trees, law)
        count, best = propose_all(
            made, t, parents, trees, ways, first, again, stand, points, law, search
        )
        merged, steps = _merge(
            made, count, best, t, parents, again, first, search, table, stamp, keys, heads, sums
        )
        lattice = _with_room(lattice, nodes + merged + 1, edges + steps + 1)
        before, first = first, nodes
        nodes, edges, kept = _lay_down(
            lattice, nodes, edges, made, best, merged, heads, sums, parents, before, search
        )
        evidence[t] = best + math.log(kept)
        node_start[t + 1] = nodes
    return lattice, node_start, evidence
