"""Shortest rounds: a local search over the order of stops, compiled.

A round is a closed tour; an open walk is one through a place that is no distance from anywhere.
The search takes two-edge exchanges and moves of up to three stops until none helps, then again
and again disturbs a short stretch and keeps what came out shorter (iterated local search). It
has no clock, so the same input gives the same round.

References
----------
.. [1] J. L. Bentley, 1992, Fast algorithms for geometric traveling salesman problems, *ORSA
   Journal on Computing* 4(4), 387–411 (neighbour lists, don't-look bits). From memory.
.. [2] O. Martin, S. W. Otto and E. W. Felten, 1991, Large-step Markov chains for the traveling
   salesman problem, *Complex Systems* 5, 299–326 (the disturbance). From memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

NEIGHBOURS = 10
STRETCH = 50
LONGEST_MOVED = 3
SMALL = 1e-7


@door
def nearest(cost: Floats, count: int) -> Whole:
    """Give each place's nearest others, shape (n, min(count, n - 1)), nearest first.

    Parameters
    ----------
    cost
        Shape (n, n), symmetric.
    count
        How many.
    """
    n = cost.shape[0]
    k = min(count, n - 1)
    near = np.empty((n, k), dtype=np.int64)
    best = np.empty(k)
    for i in range(n):
        held = 0
        for j in range(n):
            if j == i:
                continue
            value = cost[i, j]
            if held == k and value >= best[k - 1]:
                continue
            place = min(held, k - 1)
            while place > 0 and best[place - 1] > value:
                best[place] = best[place - 1]
                near[i, place] = near[i, place - 1]
                place -= 1
            best[place] = value
            near[i, place] = j
            held = min(held + 1, k)
    return near


@inside
def _on(i: int, n: int) -> int:
    return i + 1 if i + 1 < n else 0


@inside
def _back(i: int, n: int) -> int:
    return i - 1 if i > 0 else n - 1


@inside
def _round(i: int, n: int) -> int:
    """Give the position in a ring of n that is i from its start, for i from -n to 2 n - 1."""
    if i < 0:
        return i + n
    return i if i < n else i - n


@inside
def _reverse(tour: Whole, place: Whole, i: int, j: int) -> None:
    n = tour.shape[0]
    inner = _round(j - i, n) + 1
    if 2 * inner > n:
        i, j = _on(j, n), _back(i, n)
        inner = n - inner
    for _ in range(inner // 2):
        a, b = tour[i], tour[j]
        tour[i], tour[j] = b, a
        place[b], place[a] = i, j
        i, j = _on(i, n), _back(j, n)


@inside
def _exchange(a: int, tour: Whole, place: Whole, cost: Floats, near: Whole, ends: Whole) -> float:
    """Try two-edge exchanges at `a`; give the gain, and in `ends` the four stops it touched."""
    n = tour.shape[0]
    i = place[a]
    for forward in (True, False):
        b = tour[_on(i, n)] if forward else tour[_back(i, n)]
        held = cost[a, b]
        for c in near[a]:
            first = held - cost[a, c]
            if first <= SMALL:
                break
            j = place[c]
            if j < 0:
                continue
            d = tour[_on(j, n)] if forward else tour[_back(j, n)]
            gain = first + cost[c, d] - cost[b, d]
            if gain > SMALL and c != b and d != a:
                if forward:
                    _reverse(tour, place, place[b], j)
                else:
                    _reverse(tour, place, i, place[d])
                ends[0], ends[1], ends[2], ends[3] = a, b, c, d
                return gain
    return 0.0


@inside
def _shift(a: int, tour: Whole, place: Whole, cost: Floats, near: Whole, ends: Whole) -> float:
    """Try to move a stretch of up to three stops that begins or ends at `a`, next to a near one."""
    n = tour.shape[0]
    i = place[a]
    for length in range(1, min(LONGEST_MOVED, n - 3) + 1):
        for forward in (True, False):
            low = i if forward else _round(i - length + 1, n)
            high = _round(low + length - 1, n)
            other = tour[high] if forward else tour[low]
            before, after = tour[_back(low, n)], tour[_on(high, n)]
            left, right = (before, after) if forward else (after, before)
            freed = cost[left, a] + cost[other, right] - cost[left, right]
            for c in near[a]:
                if freed - cost[a, c] <= SMALL:
                    break
                j = place[c]
                if j < 0 or _round(j - low, n) < length:
                    continue
                for ahead in (True, False):
                    k = _on(j, n) if ahead else _back(j, n)
                    if _round(k - low, n) < length:
                        continue
                    d = tour[k]
                    gain = freed - cost[a, c] - cost[other, d] + cost[c, d]
                    if gain > SMALL:
                        _carry(low, length, j if ahead else k, ahead == forward, tour, place)
                        ends[0], ends[1], ends[2], ends[3] = left, right, c, d
                        return gain
    return 0.0


@inside
def _carry(low: int, length: int, gate: int, kept: bool, tour: Whole, place: Whole) -> None:
    """Put the stretch at low.. between positions gate and gate + 1, in its order or turned."""
    n = tour.shape[0]
    held = np.empty(length, dtype=np.int64)
    for t in range(length):
        held[t] = tour[_round(low + t, n)] if kept else tour[_round(low + length - 1 - t, n)]
    ahead = _round(gate - low - length + 1, n)
    behind = _round(low - gate - 1, n)
    if ahead <= behind:
        for t in range(ahead):
            at = _round(low + t, n)
            tour[at] = tour[_round(low + length + t, n)]
            place[tour[at]] = at
        start = _round(low + ahead, n)
    else:
        for t in range(behind):
            at = _round(low + length - 1 - t, n)
            tour[at] = tour[_round(low - 1 - t, n)]
            place[tour[at]] = at
        start = _on(gate, n)
    for t in range(length):
        at = _round(start + t, n)
        tour[at] = held[t]
        place[held[t]] = at


@inside
def _descend(
    tour: Whole, place: Whole, cost: Floats, near: Whole, queue: Whole, waiting: Whole,
    first: int, count: int,
) -> float:  # fmt: skip
    """Improve round the stops that wait in the ring `queue` until none is left; give the gain."""
    n = tour.shape[0]
    ends = np.empty(4, dtype=np.int64)
    total = 0.0
    while count > 0:
        a = queue[first]
        first = _on(first, n)
        count -= 1
        waiting[a] = 0
        while True:
            gain = _exchange(a, tour, place, cost, near, ends)
            if gain == 0.0:
                gain = _shift(a, tour, place, cost, near, ends)
            if gain == 0.0:
                break
            total += gain
            for each in ends:
                if waiting[each] == 0 and each != a:
                    waiting[each] = 1
                    queue[_round(first + count, n)] = each
                    count += 1
    return total


@inside
def _swap_stretches(tour: Whole, place: Whole, at: int, one: int, two: int) -> None:
    """Change the order of two stretches that follow each other from position `at`."""
    n = tour.shape[0]
    held = np.empty(one + two, dtype=np.int64)
    for t in range(one + two):
        held[t] = tour[_round(at + _round(t + one, one + two), n)]
    for t in range(one + two):
        where = _round(at + t, n)
        tour[where] = held[t]
        place[held[t]] = where


@door
def shorten(start: Whole, cost: Floats, near: Whole, kicks: int, seed: int) -> Whole:
    """Give a round at most as long as `start`, which it sets out from.

    Parameters
    ----------
    start
        Shape (n,): places among all those in `cost`, each once.
    cost
        Shape (m, m), symmetric, zero on the diagonal.
    near
        From :func:`nearest`, for all places in `cost`.
    kicks
        How many disturbances to try; 0 for plain descent.
    seed
        Of the disturbances; any whole number from 1.

    Returns
    -------
    ndarray of int
        Shape (n,).
    """
    n = start.shape[0]
    tour = start.copy()
    place = np.full(cost.shape[0], -1, dtype=np.int64)
    for i in range(n):
        place[tour[i]] = i
    if n < 5:
        return tour
    queue = tour.copy()
    waiting = np.zeros(cost.shape[0], dtype=np.int64)
    for each in tour:
        waiting[each] = 1
    _descend(tour, place, cost, near, queue, waiting, 0, n)
    if n < 8:
        return tour
    kept = tour.copy()
    state = np.uint64(seed) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(1)
    draws = np.empty(3, dtype=np.int64)
    limit = max(min(STRETCH, (n - 2) // 2), 1)
    for _ in range(kicks):
        for t in range(3):
            state ^= state << np.uint64(13)
            state ^= state >> np.uint64(7)
            state ^= state << np.uint64(17)
            draws[t] = np.int64(state >> np.uint64(33))
        at = draws[0] % n
        one, two = 1 + draws[1] % limit, 1 + draws[2] % limit
        a, b = tour[_back(at, n)], tour[at]
        c, d = tour[_round(at + one - 1, n)], tour[_round(at + one, n)]
        e, f = tour[_round(at + one + two - 1, n)], tour[_round(at + one + two, n)]
        loss = cost[a, d] + cost[e, b] + cost[c, f] - cost[a, b] - cost[c, d] - cost[e, f]
        _swap_stretches(tour, place, at, one, two)
        count = 0
        for each in (a, b, c, d, e, f):
            if waiting[each] == 0:
                waiting[each] = 1
                queue[count] = each
                count += 1
        if _descend(tour, place, cost, near, queue, waiting, 0, count) - loss > -SMALL:
            for i in range(n):
                kept[i] = tour[i]
        else:
            for i in range(n):
                if tour[i] != kept[i]:
                    tour[i] = kept[i]
                    place[kept[i]] = i
    return kept


@door
def round_length(tour: Whole, cost: Floats) -> float:
    """Give the length of a closed round in the unit of `cost`."""
    total = cost[tour[-1], tour[0]]
    for i in range(tour.shape[0] - 1):
        total += cost[tour[i], tour[i + 1]]
    return total
