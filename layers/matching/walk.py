# mypy: disable-error-code="no-untyped-def"
"""The walk: a filter over trees and offsets along one session, and its smoothing backwards.

Each survivor at a point is a tree, a walking direction and a normal belief about the receiver's
offset (a constant part and a drifting part, the same variance east and north). Survivors of one
tree and direction are merged only where their offsets lie within a share of the belief's standard
deviation, so a shift by a whole tree spacing stays a survivor of its own. The survivors and the
steps between them form a lattice, on which the smoothing backwards is exact.

References
----------
Kim, C.-J. (1994). Dynamic linear models with Markov-switching. Journal of Econometrics 60, 1-22
(from memory: the smoothing of a switching linear model over merged survivors).
"""

from __future__ import annotations

import math

import numba
import numpy as np

LONGEST_STEP = 16
LONGEST_ENTRY = 16
ROW_CHANGES = 9
BACK = LONGEST_STEP + 1
CHANGE = 2 * (LONGEST_STEP + 1)
JUMP = CHANGE + ROW_CHANGES * (LONGEST_ENTRY + 1)
START = JUMP + 1
STRAY = 1000
KINDS = START + 1
STRAY_SPREAD_M = 20.0
LIKELIEST = 4

# Rows onward and whether the next row is entered at the side where the last one was left.
ROW_CHANGE_ROWS = np.array([1, 1, -1, -1, 2, 2, -2, -2, 0])
ROW_CHANGE_SAME = np.array([1, 0, 1, 0, 1, 0, 1, 0, 1])

_jit = numba.njit(cache=True, nogil=True, error_model="numpy")


@_jit
def step_room(place, row, row_start, row_first, row_last, step):
    """Log share of the law of steps that each tree and direction can use, shape (n, 2)."""
    room = np.zeros((place.size, 2))
    tail = np.zeros(step.size + 1)
    for s in range(step.size - 1, -1, -1):
        tail[s] = tail[s + 1] + step[s]
    for k in range(place.size):
        for way in range(2):
            turn = 1 if way == 0 else -1
            left = (row_last[row[k]] - place[k]) if way == 0 else (place[k] - row_first[row[k]])
            total = step[0] + (tail[left + 1] if left + 1 < step.size else 0.0)
            j = k + turn
            while row_start[row[k]] <= j < row_start[row[k] + 1]:
                s = abs(place[j] - place[k])
                if s >= step.size:
                    break
                total += step[s]
                j += turn
            room[k, way] = math.log(max(total, 1e-9))
    return room, tail


@_jit
def _evidence(t, k, row_no, tree_no, earlier, wrote_row, wrote_tree, girth, fixed, odds):
    """Log factor of what was written, confirmed or measured at point t if it is of tree k."""
    if fixed[t] >= 0:
        return 0.0 if fixed[t] == k else -np.inf
    if fixed[t] == -2:
        return -np.inf
    total = 0.0
    if wrote_row[t] >= 0 and row_no[k] >= 0:
        total += odds[0] if wrote_row[t] == row_no[k] else odds[1]
    if wrote_tree[t] >= 0 and tree_no[k] >= 0:
        total += odds[2] if wrote_tree[t] == tree_no[k] else odds[3]
    if not np.isnan(girth[t]) and not np.isnan(earlier[k, 0]):
        more = (girth[t] - earlier[k, 0] - odds[4]) ** 2 / (odds[5] ** 2 + earlier[k, 1])
        apart = (girth[t] - odds[6]) ** 2 / odds[7] ** 2
        same = -0.5 * more - 0.5 * math.log(odds[5] ** 2 + earlier[k, 1])
        other = -0.5 * apart - math.log(odds[7])
        sure = earlier[k, 2] * odds[8]
        total += math.log(sure * math.exp(min(same - other, 50.0)) + 1 - sure)
    return total


@_jit
def _grown(one, size):
    more = np.empty((size, *one.shape[1:]), one.dtype)
    more[: one.shape[0]] = one
    return more


@_jit
def filter_walk(
    at,
    white,
    gap_keep,
    x,
    y,
    place,
    row,
    row_start,
    row_first,
    row_last,
    row_block,
    row_no,
    tree_no,
    earlier,
    cell_start,
    cell_tree,
    cells,
    low,
    cell_m,
    wrote_row,
    wrote_tree,
    girth,
    fixed,
    odds,
    log_step,
    room,
    tail,
    changes,
    entry,
    chances,
    noise,
    area,
    most,
    reach,
    share,
    begin_tree,
    begin_belief,
):
    """Filter one stretch of a session forwards; give the lattice of survivors and steps."""
    points = at.shape[0]
    tau2, drift2, keep = noise[0], noise[1], noise[2]
    log_turn, log_jump, log_stray = chances[0], chances[1], chances[2]
    log_stay = math.log(
        max(1 - math.exp(log_turn) - math.exp(log_jump) - math.exp(log_stray), 1e-6)
    )
    steps = log_step.size - 1
    node_cap, edge_cap = 64 * points + 1024, 160 * points + 4096
    tree = np.empty(node_cap, np.int32)
    way = np.empty(node_cap, np.int8)
    belief = np.empty((node_cap, 8))
    edge_start = np.empty(node_cap + 1, np.int64)
    edge_from = np.empty(edge_cap, np.int64)
    edge_log = np.empty(edge_cap)
    edge_kind = np.empty(edge_cap, np.int16)
    node_start = np.zeros(points + 1, np.int64)
    evidence = np.zeros(points)
    nodes = 0
    edges = 0
    edge_start[0] = 0
    room_for = 4096
    c_tree = np.empty(room_for, np.int32)
    c_way = np.empty(room_for, np.int8)
    c_kind = np.empty(room_for, np.int16)
    c_from = np.empty(room_for, np.int64)
    c_log = np.empty(room_for)
    c_dx = np.empty(room_for)
    c_dy = np.empty(room_for)
    table_size = 1 << 14
    table = np.zeros(table_size, np.int64)
    table_stamp = np.full(table_size, -1, np.int64)
    n_cap = 4096
    n_key = np.empty(n_cap, np.int64)
    n_first = np.empty(n_cap, np.int64)
    n_sum = np.empty((n_cap, 9))
    c_next = np.empty(room_for, np.int64)
    reps = np.empty((8, 4))
    rep_from = np.empty(8, np.int64)
    for t in range(points):
        count = 0
        best = -np.inf
        first = t == 0 and begin_tree.size == 0
        if first:
            lo, hi = -1, 0
        elif t == 0:
            # The survivors handed over from the stretch before become the parents.
            lo, hi = -2, begin_tree.size - 2
        else:
            lo, hi = node_start[t - 1], node_start[t]
        zx, zy = at[t, 0], at[t, 1]
        near = 0
        parents = hi - lo
        if first:
            turn_of = np.zeros(1, np.int64)
        elif t == 0:
            turn_of = np.argsort(-begin_belief[:, 7])
        else:
            turn_of = np.argsort(-belief[lo:hi, 7])
        for h_ in range(parents):
            h = lo + turn_of[h_]
            # --- belief about the offset before this point
            if first:
                mcx = mcy = mdx = mdy = 0.0
                pcc, pcd, pdd, weight = tau2, 0.0, drift2, 0.0
                k0, w0 = -1, 0
            else:
                if t == 0:
                    b = begin_belief[h + 2]
                    k0, w0 = begin_tree[h + 2] // 4, begin_tree[h + 2] % 4
                else:
                    b = belief[h]
                    k0, w0 = tree[h], way[h]
                f = keep ** gap_keep[t]
                mcx, mcy, mdx, mdy = b[0], b[1], b[2] * f, b[3] * f
                pcc, pcd = b[4], b[5] * f
                pdd = b[6] * f * f + drift2 * (1 - f * f)
                weight = b[7]
            ox, oy = zx - mcx - mdx, zy - mcy - mdy
            spread = pcc + 2 * pcd + pdd + white[t]
            base = -math.log(2 * math.pi * spread)
            if count + 256 > c_tree.size:
                size = 2 * c_tree.size
                c_tree, c_way, c_kind = (
                    _grown(c_tree, size),
                    _grown(c_way, size),
                    _grown(c_kind, size),
                )
                c_from, c_log = _grown(c_from, size), _grown(c_log, size)
                c_dx, c_dy, c_next = _grown(c_dx, size), _grown(c_dy, size), _grown(c_next, size)
            # --- the point is of no tree
            if fixed[t] < 0:
                ux, uy = (ox, oy) if k0 < 0 else (ox - x[k0], oy - y[k0])
                wide = STRAY_SPREAD_M**2 + spread
                lone = -0.5 * (ux * ux + uy * uy) / wide - math.log(2 * math.pi * wide)
                lone = math.log(0.5 * math.exp(lone) + 0.5 / area) + log_stray + weight
                if k0 < 0:
                    lone = weight + log_stray - math.log(area)
                if lone > best - reach:
                    c_tree[count], c_way[count], c_kind[count] = k0, (w0 & 1) + 2, STRAY
                    c_from[count], c_log[count] = h, lone
                    c_dx[count], c_dy[count] = 0.0, 0.0
                    count += 1
                    best = max(best, lone)
            if k0 < 0:
                # --- nothing known of where the walker stands: every tree within reach
                radius = 3.7 * math.sqrt(spread)
                log_each = math.log(0.5) + base
                a0 = max(math.floor((ox - radius - low[0]) / cell_m), 0)
                a1 = min(math.floor((ox + radius - low[0]) / cell_m), cells[0] - 1)
                b0 = max(math.floor((oy - radius - low[1]) / cell_m), 0)
                b1 = min(math.floor((oy + radius - low[1]) / cell_m), cells[1] - 1)
                if fixed[t] >= 0:
                    a0 = a1 = min(max(math.floor((x[fixed[t]] - low[0]) / cell_m), 0), cells[0] - 1)
                    b0 = b1 = min(max(math.floor((y[fixed[t]] - low[1]) / cell_m), 0), cells[1] - 1)
                for b_ in range(b0, b1 + 1):
                    for a_ in range(a0, a1 + 1):
                        c = b_ * cells[0] + a_
                        for i in range(cell_start[c], cell_start[c + 1]):
                            k = cell_tree[i]
                            dx, dy = ox - x[k], oy - y[k]
                            log = (
                                weight
                                + log_each
                                - math.log(chances[3])
                                - 0.5 * (dx * dx + dy * dy) / spread
                            )
                            log += _evidence(
                                t,
                                k,
                                row_no,
                                tree_no,
                                earlier,
                                wrote_row,
                                wrote_tree,
                                girth,
                                fixed,
                                odds,
                            )
                            if log < best - reach:
                                continue
                            best = max(best, log)
                            if count + 2 > c_tree.size:
                                size = 2 * c_tree.size
                                c_tree, c_way, c_kind = (
                                    _grown(c_tree, size),
                                    _grown(c_way, size),
                                    _grown(c_kind, size),
                                )
                                c_from, c_log = _grown(c_from, size), _grown(c_log, size)
                                c_dx, c_dy, c_next = (
                                    _grown(c_dx, size),
                                    _grown(c_dy, size),
                                    _grown(c_next, size),
                                )
                            for w in range(2):
                                c_tree[count], c_way[count], c_kind[count] = k, w, START
                                c_from[count], c_log[count] = h, log
                                c_dx[count], c_dy[count] = dx, dy
                                count += 1
                continue
            r0 = row[k0]
            w = w0 & 1
            # --- on along the row, the same tree again, or back
            for side in range(2):
                if side == 0:
                    law, go, begin_s = log_stay - room[k0, w], w, 0
                else:
                    law, go, begin_s = log_turn, 1 - w, 1
                turn = 1 if go == 0 else -1
                j = k0 if begin_s == 0 else k0 + turn
                while row_start[r0] <= j < row_start[r0 + 1]:
                    s = abs(place[j] - place[k0])
                    if s > steps:
                        break
                    dx, dy = ox - x[j], oy - y[j]
                    log = weight + law + log_step[s] + base - 0.5 * (dx * dx + dy * dy) / spread
                    if log > best - reach:
                        log += _evidence(
                            t,
                            j,
                            row_no,
                            tree_no,
                            earlier,
                            wrote_row,
                            wrote_tree,
                            girth,
                            fixed,
                            odds,
                        )
                        if log > best - reach:
                            best = max(best, log)
                            c_tree[count], c_way[count] = j, go
                            c_kind[count] = s + (BACK if side == 1 else 0)
                            c_from[count], c_log[count] = h, log
                            c_dx[count], c_dy[count] = dx, dy
                            count += 1
                    j += turn
            # --- past the end of the row into another
            left = (row_last[r0] - place[k0]) if w == 0 else (place[k0] - row_first[r0])
            if left + 1 <= steps and tail[left + 1] > 0:
                log_leave = log_stay - room[k0, w] + math.log(tail[left + 1]) + weight
                open_share = 0.0
                for change in range(ROW_CHANGES):
                    r1 = r0 + ROW_CHANGE_ROWS[change]
                    if 0 <= r1 < row_block.size and row_block[r1] == row_block[r0]:
                        open_share += changes[change]
                if log_leave > best - reach - 5 and open_share > 0:
                    for change in range(ROW_CHANGES):
                        r1 = r0 + ROW_CHANGE_ROWS[change]
                        if not (0 <= r1 < row_block.size and row_block[r1] == row_block[r0]):
                            continue
                        log_change = log_leave + math.log(changes[change] / open_share)
                        # Left going up (w 0) at the far end: the same side is the far end again.
                        far = (w == 0) == (ROW_CHANGE_SAME[change] == 1)
                        go = 1 if far else 0
                        turn = -1 if far else 1
                        j = row_start[r1 + 1] - 1 if far else row_start[r1]
                        while row_start[r1] <= j < row_start[r1 + 1]:
                            e = (row_last[r1] - place[j]) if far else (place[j] - row_first[r1])
                            if e >= entry.size:
                                break
                            dx, dy = ox - x[j], oy - y[j]
                            log = log_change + entry[e] + base - 0.5 * (dx * dx + dy * dy) / spread
                            if log > best - reach:
                                log += _evidence(
                                    t,
                                    j,
                                    row_no,
                                    tree_no,
                                    earlier,
                                    wrote_row,
                                    wrote_tree,
                                    girth,
                                    fixed,
                                    odds,
                                )
                                if log > best - reach:
                                    best = max(best, log)
                                    c_tree[count], c_way[count] = j, go
                                    c_kind[count] = CHANGE + change * (LONGEST_ENTRY + 1) + e
                                    c_from[count], c_log[count] = h, log
                                    c_dx[count], c_dy[count] = dx, dy
                                    count += 1
                                    if count + 64 > c_tree.size:
                                        size = 2 * c_tree.size
                                        c_tree, c_way, c_kind = (
                                            _grown(c_tree, size),
                                            _grown(c_way, size),
                                            _grown(c_kind, size),
                                        )
                                        c_from, c_log = _grown(c_from, size), _grown(c_log, size)
                                        c_dx, c_dy, c_next = (
                                            _grown(c_dx, size),
                                            _grown(c_dy, size),
                                            _grown(c_next, size),
                                        )
                            j += turn
            # --- offsets from which a jump anywhere is tried
            if fixed[t] != -2:
                found = -1
                for i in range(near):
                    if (reps[i, 0] - ox) ** 2 + (reps[i, 1] - oy) ** 2 < 0.25 * spread:
                        found = i
                        break
                if found >= 0:
                    top = max(reps[found, 2], weight)
                    reps[found, 2] = top + math.log(
                        math.exp(reps[found, 2] - top) + math.exp(weight - top)
                    )
                elif near < 8:
                    reps[near, 0], reps[near, 1], reps[near, 2], reps[near, 3] = (
                        ox,
                        oy,
                        weight,
                        spread,
                    )
                    rep_from[near] = h
                    near += 1
        # --- a jump to any tree, tried where nothing else explains the point well
        if near > 0:
            spread = reps[0, 3]
            worth = log_jump - math.log(2.0 * chances[3]) - math.log(2 * math.pi * spread)
            if best < worth + 7.0 or fixed[t] >= 0 or wrote_row[t] >= 0 or wrote_tree[t] >= 0:
                for i in range(near):
                    ox, oy, spread = reps[i, 0], reps[i, 1], reps[i, 3]
                    radius = 3.7 * math.sqrt(spread)
                    if fixed[t] >= 0:
                        a0 = a1 = math.floor((x[fixed[t]] - low[0]) / cell_m)
                        b0 = b1 = math.floor((y[fixed[t]] - low[1]) / cell_m)
                    else:
                        a0 = max(math.floor((ox - radius - low[0]) / cell_m), 0)
                        a1 = min(math.floor((ox + radius - low[0]) / cell_m), cells[0] - 1)
                        b0 = max(math.floor((oy - radius - low[1]) / cell_m), 0)
                        b1 = min(math.floor((oy + radius - low[1]) / cell_m), cells[1] - 1)
                    for b_ in range(b0, b1 + 1):
                        for a_ in range(a0, a1 + 1):
                            c = b_ * cells[0] + a_
                            for q in range(cell_start[c], cell_start[c + 1]):
                                k = cell_tree[q]
                                dx, dy = ox - x[k], oy - y[k]
                                log = (
                                    reps[i, 2]
                                    + log_jump
                                    - math.log(2.0 * chances[3])
                                    - math.log(2 * math.pi * spread)
                                )
                                log -= 0.5 * (dx * dx + dy * dy) / spread
                                log += _evidence(
                                    t,
                                    k,
                                    row_no,
                                    tree_no,
                                    earlier,
                                    wrote_row,
                                    wrote_tree,
                                    girth,
                                    fixed,
                                    odds,
                                )
                                if not log > best - reach:
                                    continue
                                best = max(best, log)
                                if count + 2 > c_tree.size:
                                    size = 2 * c_tree.size
                                    c_tree, c_way, c_kind = (
                                        _grown(c_tree, size),
                                        _grown(c_way, size),
                                        _grown(c_kind, size),
                                    )
                                    c_from, c_log = _grown(c_from, size), _grown(c_log, size)
                                    c_dx, c_dy, c_next = (
                                        _grown(c_dx, size),
                                        _grown(c_dy, size),
                                        _grown(c_next, size),
                                    )
                                for w in range(2):
                                    c_tree[count], c_way[count], c_kind[count] = k, w, JUMP
                                    c_from[count], c_log[count] = rep_from[i], log
                                    c_dx[count], c_dy[count] = dx, dy
                                    count += 1
        # --- merge what stands at the same tree, direction and offset
        made = 0
        total = 0.0
        for i in range(count):
            if c_log[i] < best - reach:
                continue
            h = c_from[i]
            if first:
                mcx = mcy = mdx = mdy = 0.0
                pcc, pcd, pdd = tau2, 0.0, drift2
            else:
                b = begin_belief[h + 2] if t == 0 else belief[h]
                f = keep ** gap_keep[t]
                mcx, mcy, mdx, mdy = b[0], b[1], b[2] * f, b[3] * f
                pcc, pcd = b[4], b[5] * f
                pdd = b[6] * f * f + drift2 * (1 - f * f)
            if c_kind[i] != STRAY:
                spread = pcc + 2 * pcd + pdd + white[t]
                gain_c, gain_d = (pcc + pcd) / spread, (pcd + pdd) / spread
                mcx += gain_c * c_dx[i]
                mcy += gain_c * c_dy[i]
                mdx += gain_d * c_dx[i]
                mdy += gain_d * c_dy[i]
                pcc -= gain_c * gain_c * spread
                pcd -= gain_c * gain_d * spread
                pdd -= gain_d * gain_d * spread
            size = share * math.sqrt(pcc + 2 * pcd + pdd)
            ix = math.floor((mcx + mdx) / size) & 4095
            iy = math.floor((mcy + mdy) / size) & 4095
            key = ((np.int64(c_tree[i]) + 1) * 4 + c_way[i]) * 16777216 + ix * 4096 + iy
            slot = (key * 1000003 ^ (key >> 17)) & (table_size - 1)
            while table_stamp[slot] == t and n_key[table[slot]] != key:
                slot = (slot + 1) & (table_size - 1)
            if table_stamp[slot] != t:
                if made + 1 > table_size // 2:
                    continue
                if made == n_key.size:
                    n_key, n_first = _grown(n_key, 2 * made), _grown(n_first, 2 * made)
                    n_sum = _grown(n_sum, 2 * made)
                table_stamp[slot] = t
                table[slot] = made
                n_key[made] = key
                n_first[made] = -1
                n_sum[made] = 0.0
                made += 1
            n = table[slot]
            c_next[i] = n_first[n]
            n_first[n] = i
            weight = math.exp(c_log[i] - best)
            total += weight
            s_ = n_sum[n]
            s_[0] += weight * mcx
            s_[1] += weight * mcy
            s_[2] += weight * mdx
            s_[3] += weight * mdy
            s_[4] += weight * pcc
            s_[5] += weight * pcd
            s_[6] += weight * pdd
            s_[7] += weight
        # --- keep the likeliest
        cut = math.exp(-reach)
        if made > most:
            sums = np.empty(made)
            for n in range(made):
                sums[n] = n_sum[n, 7]
            cut = max(cut, np.partition(sums, made - most)[made - most])
        kept = 0.0
        node_start[t] = nodes
        if nodes + made + 1 > node_cap:
            node_cap = 2 * node_cap + made
            tree, way, belief = (
                _grown(tree, node_cap),
                _grown(way, node_cap),
                _grown(belief, node_cap),
            )
            edge_start = _grown(edge_start, node_cap + 1)
        if edges + count > edge_cap:
            edge_cap = 2 * edge_cap + count
            edge_from, edge_log = _grown(edge_from, edge_cap), _grown(edge_log, edge_cap)
            edge_kind = _grown(edge_kind, edge_cap)
        for n in range(made):
            mass = n_sum[n, 7]
            if mass < cut:
                continue
            kept += mass
            i = n_first[n]
            tree[nodes], way[nodes] = c_tree[i], c_way[i]
            for q in range(7):
                belief[nodes, q] = n_sum[n, q] / mass
            belief[nodes, 7] = math.log(mass)
            small = mass * 1e-5
            while i >= 0:
                weight = math.exp(c_log[i] - best)
                if weight > small:
                    edge_from[edges], edge_log[edges], edge_kind[edges] = (
                        c_from[i],
                        weight,
                        c_kind[i],
                    )
                    edges += 1
                i = c_next[i]
            nodes += 1
            edge_start[nodes] = edges
        log_kept = math.log(kept)
        for n in range(node_start[t], nodes):
            belief[n, 7] -= log_kept
        evidence[t] = best + log_kept
        node_start[t + 1] = nodes
    return (
        node_start,
        tree[:nodes],
        way[:nodes],
        belief[:nodes],
        edge_start[: nodes + 1],
        edge_from[:edges],
        edge_log[:edges],
        edge_kind[:edges],
        evidence,
    )


@_jit
def smooth_walk(
    node_start, tree, way, belief, edge_start, edge_from, edge_log, edge_kind, x, y, counts
):
    """Smooth a lattice backwards: each point's likeliest trees, and expected counts of steps."""
    points = node_start.size - 1
    post = np.zeros(tree.size)
    for n in range(node_start[points - 1], node_start[points]):
        post[n] = math.exp(belief[n, 7])
    top_tree = np.full((points, LIKELIEST), -1, np.int32)
    top_share = np.zeros((points, LIKELIEST))
    lone = np.zeros(points)
    middle = np.zeros((points, 3))
    n_tree = np.empty(4096, np.int32)
    n_mass = np.empty(4096)
    for t in range(points - 1, -1, -1):
        a, b = node_start[t], node_start[t + 1]
        if t > 0 or edge_from.size > 0:
            for n in range(a, b):
                if post[n] < 1e-12:
                    continue
                total = 0.0
                for i in range(edge_start[n], edge_start[n + 1]):
                    total += edge_log[i]
                for i in range(edge_start[n], edge_start[n + 1]):
                    flow = post[n] * edge_log[i] / total
                    if edge_kind[i] != STRAY:
                        counts[edge_kind[i]] += flow
                    if t > 0:
                        post[edge_from[i]] += flow
        # --- by tree
        found = 0
        for n in range(a, b):
            if post[n] < 1e-9:
                continue
            if way[n] >= 2:
                lone[t] += post[n]
                continue
            j = 0
            while j < found and n_tree[j] != tree[n]:
                j += 1
            if j == found:
                if found == n_tree.size:
                    n_tree, n_mass = _grown(n_tree, 2 * found), _grown(n_mass, 2 * found)
                n_tree[found], n_mass[found] = tree[n], 0.0
                found += 1
            n_mass[j] += post[n]
        whole = mx = my = mxx = 0.0
        for j in range(found):
            whole += n_mass[j]
            mx += n_mass[j] * x[n_tree[j]]
            my += n_mass[j] * y[n_tree[j]]
        if whole > 0:
            mx, my = mx / whole, my / whole
            for j in range(found):
                mxx += n_mass[j] * ((x[n_tree[j]] - mx) ** 2 + (y[n_tree[j]] - my) ** 2) / whole
        middle[t, 0], middle[t, 1], middle[t, 2] = mx, my, 0.5 * mxx
        for rank in range(LIKELIEST):
            pick = -1
            for j in range(found):
                if n_mass[j] > 0 and (pick < 0 or n_mass[j] > n_mass[pick]):
                    pick = j
            if pick < 0:
                break
            top_tree[t, rank], top_share[t, rank] = n_tree[pick], n_mass[pick]
            n_mass[pick] = -1.0
    return top_tree, top_share, lone, middle


@_jit
def sample_walks(node_start, tree, way, belief, edge_start, edge_from, edge_log, chance):
    """Draw whole walks from a lattice: trees, shape (number, points), -1 where of no tree."""
    number = chance.shape[0]
    points = node_start.size - 1
    walks = np.full((number, points), -1, np.int32)
    for m in range(number):
        a, b = node_start[points - 1], node_start[points]
        pick = chance[m, 0]
        n = b - 1
        for i in range(a, b):
            pick -= math.exp(belief[i, 7])
            if pick <= 0:
                n = i
                break
        for t in range(points - 1, -1, -1):
            walks[m, t] = tree[n] if way[n] < 2 else -1
            if t == 0:
                break
            total = 0.0
            for i in range(edge_start[n], edge_start[n + 1]):
                total += edge_log[i]
            pick = chance[m, t] * total
            source = edge_from[edge_start[n + 1] - 1]
            for i in range(edge_start[n], edge_start[n + 1]):
                pick -= edge_log[i]
                if pick <= 0:
                    source = edge_from[i]
                    break
            n = source
    return walks


@_jit
def offset_evidence(left, white, gap_keep, tau2, drift2, keep):
    """Log evidence of residuals (points, 2), NaN where of no tree, as constant, drift and white."""
    total = 0.0
    mcx = mcy = mdx = mdy = 0.0
    pcc, pcd, pdd = tau2, 0.0, drift2
    for t in range(left.shape[0]):
        if t > 0:
            f = keep ** gap_keep[t]
            mdx, mdy, pcd = mdx * f, mdy * f, pcd * f
            pdd = pdd * f * f + drift2 * (1 - f * f)
        if np.isnan(left[t, 0]):
            continue
        spread = pcc + 2 * pcd + pdd + white[t]
        dx, dy = left[t, 0] - mcx - mdx, left[t, 1] - mcy - mdy
        total -= 0.5 * (dx * dx + dy * dy) / spread + math.log(2 * math.pi * spread)
        gain_c, gain_d = (pcc + pcd) / spread, (pcd + pdd) / spread
        mcx += gain_c * dx
        mcy += gain_c * dy
        mdx += gain_d * dx
        mdy += gain_d * dy
        pcc -= gain_c * gain_c * spread
        pcd -= gain_c * gain_d * spread
        pdd -= gain_d * gain_d * spread
    return total


@_jit
def smooth_offset(left, white, gap_keep, tau2, drift2, keep):
    """Smoothed offset at each point, shape (points, 3): east, north and standard deviation."""
    points = left.shape[0]
    mean = np.zeros((points, 4))
    cov = np.zeros((points, 3))
    ahead = np.zeros((points, 4))
    ahead_cov = np.zeros((points, 3))
    mcx = mcy = mdx = mdy = 0.0
    pcc, pcd, pdd = tau2, 0.0, drift2
    for t in range(points):
        if t > 0:
            f = keep ** gap_keep[t]
            mdx, mdy, pcd = mdx * f, mdy * f, pcd * f
            pdd = pdd * f * f + drift2 * (1 - f * f)
        ahead[t, 0], ahead[t, 1], ahead[t, 2], ahead[t, 3] = mcx, mcy, mdx, mdy
        ahead_cov[t, 0], ahead_cov[t, 1], ahead_cov[t, 2] = pcc, pcd, pdd
        if not np.isnan(left[t, 0]):
            spread = pcc + 2 * pcd + pdd + white[t]
            dx, dy = left[t, 0] - mcx - mdx, left[t, 1] - mcy - mdy
            gain_c, gain_d = (pcc + pcd) / spread, (pcd + pdd) / spread
            mcx += gain_c * dx
            mcy += gain_c * dy
            mdx += gain_d * dx
            mdy += gain_d * dy
            pcc -= gain_c * gain_c * spread
            pcd -= gain_c * gain_d * spread
            pdd -= gain_d * gain_d * spread
        mean[t, 0], mean[t, 1], mean[t, 2], mean[t, 3] = mcx, mcy, mdx, mdy
        cov[t, 0], cov[t, 1], cov[t, 2] = pcc, pcd, pdd
    offset = np.zeros((points, 3))
    for t in range(points - 1, -1, -1):
        if t < points - 1:
            f = keep ** gap_keep[t + 1]
            a00, a01, a11 = ahead_cov[t + 1, 0], ahead_cov[t + 1, 1], ahead_cov[t + 1, 2]
            det = a00 * a11 - a01 * a01
            if det > 1e-12:
                # Gain = P F' A^-1 with F = diag(1, f).
                p00, p01 = cov[t, 0], cov[t, 1] * f
                p10, p11 = cov[t, 1], cov[t, 2] * f
                g00, g01 = (p00 * a11 - p01 * a01) / det, (p01 * a00 - p00 * a01) / det
                g10, g11 = (p10 * a11 - p11 * a01) / det, (p11 * a00 - p10 * a01) / det
                for axis in range(2):
                    dc = mean[t + 1, axis] - ahead[t + 1, axis]
                    dd = mean[t + 1, 2 + axis] - ahead[t + 1, 2 + axis]
                    mean[t, axis] += g00 * dc + g01 * dd
                    mean[t, 2 + axis] += g10 * dc + g11 * dd
                s00, s01 = cov[t + 1, 0] - a00, cov[t + 1, 1] - a01
                s11 = cov[t + 1, 2] - a11
                h00, h01 = g00 * s00 + g01 * s01, g00 * s01 + g01 * s11
                h10, h11 = g10 * s00 + g11 * s01, g10 * s01 + g11 * s11
                cov[t, 0] += h00 * g00 + h01 * g01
                cov[t, 1] += h00 * g10 + h01 * g11
                cov[t, 2] += h10 * g10 + h11 * g11
        offset[t, 0] = mean[t, 0] + mean[t, 2]
        offset[t, 1] = mean[t, 1] + mean[t, 3]
        offset[t, 2] = math.sqrt(max(cov[t, 0] + 2 * cov[t, 1] + cov[t, 2], 0.0))
    return offset
