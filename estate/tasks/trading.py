"""Trading trees between the mornings of a beat, so that together they walk less.

A tree, or a few that follow each other, goes from one round to another beside a tree near it, if
both tasks stay of one piece: along each unbroken row a task's trees follow each other, and no task
falls apart. Trades that walk further are taken now and then at first and ever more seldom
(simulated annealing), without a clock, so that the same input gives the same tasks.

References
----------
.. [1] S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi, 1983, Optimization by simulated annealing,
   *Science* 220, 671–680. From memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.tasks.mornings import NO_WAY_S, Ground, Round, walk_round
from estate.tasks.routes import NEIGHBOURS, nearest
from estate.tasks.touching import Touching
from layers.compiled import door, inside

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

LONGEST_TRADED = 4
MOST_CYCLES = 3
TRADES_A_KICK = 30
HOT_S = 1.0
COLD_S = 0.02
OVERLONG = 6.0
"""What a second of an overlong morning weighs against a second walked."""


@inside
def _stays_together(
    tree: int, own: int, label: Whole, first: Whole, beside: Whole, seen: Whole, mark: int,
    stack: Whole,
) -> bool:  # fmt: skip
    """Say whether a task's trees round `tree` still hang together without it."""
    start, count = -1, 0
    for t in range(first[tree], first[tree + 1]):
        if label[beside[t]] == own:
            count += 1
            start = beside[t]
    if count < 2:
        return True
    for t in range(first[tree], first[tree + 1]):
        if label[beside[t]] == own:
            seen[beside[t]] = -mark
    top, found = 1, 1
    stack[0] = start
    seen[start] = mark
    while top > 0:
        top -= 1
        at = stack[top]
        for t in range(first[at], first[at + 1]):
            other = beside[t]
            if other == tree or label[other] != own or seen[other] == mark:
                continue
            if seen[other] == -mark:
                found += 1
                if found == count:
                    return True
            seen[other] = mark
            stack[top] = other
            top += 1
    return False


@inside
def _may_go(
    tree: int, to: int, label: Whole, left: Whole, right: Whole, run: Whole, pieces: Whole,
    first: Whole, beside: Whole, seen: Whole, mark: int, stack: Whole,
) -> bool:  # fmt: skip
    own = label[tree]
    before = label[left[tree]] if left[tree] >= 0 else -1
    after = label[right[tree]] if right[tree] >= 0 else -1
    if before == own and after == own:
        return False
    if before != to and after != to and pieces[run[tree], to] > 0:
        return False
    touches = False
    for t in range(first[tree], first[tree + 1]):
        if label[beside[t]] == to:
            touches = True
            break
    return touches and _stays_together(tree, own, label, first, beside, seen, mark, stack)


@door
def trade(
    cost: Floats, walk: Floats, label: Whole, after: Whole, before: Whole, near: Whole,
    first: Whole, beside: Whole, left: Whole, right: Whole, run: Whole, pieces: Whole, load: Floats,
    standing: Floats, both: float, longest: float, row_worth: float, moves: int, hot: float,
    cold: float, seed: int,
) -> float:  # fmt: skip
    """Trade trees between rounds, in place, and give the seconds saved.

    Parameters
    ----------
    cost
        Shape (n + m, n + m): what the search is charged between n trees and the starts of m
        rounds, seconds on a path.
    walk
        Shape (n + m, n + m): seconds on a path between them.
    label
        Shape (n + m,): each place's round.
    after, before
        Shape (n + m,): the place that follows and precedes each in its round.
    near
        Shape (n, k): each tree's nearest others.
    first, beside
        Which trees stand beside each: those of tree i from first[i] up to before first[i + 1].
    left, right
        Shape (n,): the tree before and behind along the run; -1 at its ends.
    run, pieces
        Shape (n,): each tree's run; shape (runs, m): how many trees each round has in it.
    load
        Shape (m,): seconds of each morning.
    standing
        Shape (n,): seconds at each tree.
    both
        Seconds of both rounds for each second on a path.
    longest
        Seconds that no morning should exceed.
    row_worth
        Seconds that it is worth to keep one row whole.
    moves
        How many trades to try.
    hot, cold
        What a trade may lose at first and at last, seconds on a path.
    seed
        Of the draws.
    """
    n = near.shape[0]
    seen = np.zeros(n, dtype=np.int64)
    stack = np.empty(n, dtype=np.int64)
    moved = np.empty(LONGEST_TRADED, dtype=np.int64)
    state = np.uint64(seed) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(1)
    saved, mark = 0.0, 0
    heat, cool = hot * both, (cold / hot) ** (1.0 / max(moves, 1))
    for _ in range(moves):
        heat *= cool
        state ^= state << np.uint64(13)
        state ^= state >> np.uint64(7)
        state ^= state << np.uint64(17)
        draw = np.int64(state >> np.uint64(20))
        i = draw % n
        draw //= n
        j = near[i, draw % near.shape[1]]
        draw //= near.shape[1]
        length = 1 + draw % LONGEST_TRADED
        draw //= LONGEST_TRADED
        own, to = label[i], label[j]
        last, held, stood = i, 1, standing[i]
        meets = j == i
        while held < length and after[last] < n:
            last = after[last]
            stood += standing[last]
            meets = meets or last == j
            held += 1
        if meets:
            continue
        p, q = before[i], after[last]
        freed = cost[p, i] + cost[last, q] - cost[p, q]
        if freed <= 0.0 and own == to:
            continue
        best, where, turned = np.inf, 0, False
        for side in range(2):
            u = j if side == 0 else before[j]
            v = after[j] if side == 0 else j
            if u == last or v == i:
                continue
            base = cost[u, v]
            straight = cost[u, i] + cost[last, v] - base
            back = cost[u, last] + cost[i, v] - base
            if straight < best:
                best, where, turned = straight, u, False
            if back < best:
                best, where, turned = back, u, True
        if best == np.inf:
            continue
        change = both * (best - freed)
        ahead, behind = (last, i) if turned else (i, last)
        onward = after[where]
        less = both * (walk[p, i] + walk[last, q] - walk[p, q])
        more = both * (walk[where, ahead] + walk[behind, onward] - walk[where, onward])
        if own != to:
            was = max(load[own] - longest, 0.0) + max(load[to] - longest, 0.0)
            new_own = load[own] - less - stood
            new_to = load[to] + more + stood
            change += OVERLONG * (max(new_own - longest, 0.0) + max(new_to - longest, 0.0) - was)
            if row_worth > 0.0:
                at = i
                for _t in range(held):
                    if pieces[run[at], own] == 1:
                        change -= row_worth
                    if pieces[run[at], to] == 0:
                        change += row_worth
                    at = after[at]
        if change > 0.0:
            state ^= state << np.uint64(13)
            state ^= state >> np.uint64(7)
            state ^= state << np.uint64(17)
            chance = float(state >> np.uint64(11)) / 9007199254740992.0
            if chance >= math.exp(-change / heat):
                continue
        if own != to:
            at = i
            for t in range(held):
                moved[t] = at
                at = after[at]
            gone = 0
            for way in range(2):
                gone = 0
                for t in range(held):
                    tree = moved[t] if way == 0 else moved[held - 1 - t]
                    mark += 1
                    if not _may_go(
                        tree, to, label, left, right, run, pieces, first, beside, seen, mark,
                        stack,
                    ):  # fmt: skip
                        break
                    label[tree] = to
                    pieces[run[tree], own] -= 1
                    pieces[run[tree], to] += 1
                    gone += 1
                if gone == held:
                    break
                for t in range(gone):
                    tree = moved[t] if way == 0 else moved[held - 1 - t]
                    label[tree] = own
                    pieces[run[tree], own] += 1
                    pieces[run[tree], to] -= 1
            if gone < held:
                continue
            load[own] -= less + stood
            load[to] += more + stood
        else:
            load[own] += more - less
        saved -= change
        after[p], before[q] = q, p
        follows = after[where]
        if turned:
            at = i
            for _t in range(held):
                onward = after[at]
                after[at], before[at] = before[at], onward
                at = onward
            after[where], before[last] = last, where
            after[i], before[follows] = follows, i
        else:
            after[where], before[i] = i, where
            after[last], before[follows] = follows, last
    return saved


@dataclass(frozen=True, kw_only=True)
class Trading:
    """What rounds are weighed by, and which trees they may trade.

    Parameters
    ----------
    beside
        Which trees stand side by side.
    run
        Shape (n,): each tree's unbroken piece of row, counting from 0.
    row_worth_s
        Seconds of walking that it is worth to keep one row whole.
    even
        How much longer than the mean a morning may be.
    """

    beside: Touching
    run: Whole
    row_worth_s: float
    even: float

    def worth(self, on: Ground, rounds: list[Round]) -> float:
        """Give what rounds cost: walks, buckets, rows cut and changed, minutes past an even one."""
        took = np.array([each.seconds for each in rounds])
        over = max(float(took.max() - self.even * took.mean()), 0.0)
        pieces = sum(len(np.unique(self.run[each.path])) for each in rounds)
        spent = float(took.sum() - on.standing_s.sum())
        row_changes = on.row_change_s * sum(each.row_changes for each in rounds)
        return spent + self.row_worth_s * pieces + row_changes + 10.0 * over


def traded(on: Ground, rounds: list[Round], terms: Trading, kicks_a_tree: float) -> list[Round]:
    """Let rounds trade trees along their borders, and walk each anew, as long as it helps.

    Parameters
    ----------
    on
        The beat.
    rounds
        Its rounds, each of one piece.
    terms
        What they are weighed by.
    kicks_a_tree
        How long to search.
    """
    best, best_s = rounds, terms.worth(on, rounds)
    for cycle in range(1 + min(int(kicks_a_tree / 6), MOST_CYCLES)):
        paths = _after_trades(on, rounds, terms, kicks_a_tree, cycle)
        rounds = [walk_round(on, path, int(kicks_a_tree * len(path))) for path in paths]
        worth = terms.worth(on, rounds)
        if worth < best_s:
            best, best_s = rounds, worth
    return best


def _after_trades(
    on: Ground, rounds: list[Round], terms: Trading, kicks_a_tree: float, cycle: int
) -> list[Whole]:
    n, m = len(on.span), len(rounds)
    cost = np.zeros((n + m, n + m))
    cost[:n, :n] = on.charged[:n, :n]
    walk = np.zeros((n + m, n + m))
    walk[:n, :n] = np.minimum(on.walked.seconds[:n, :n], NO_WAY_S)
    label = np.empty(n + m, dtype=np.int64)
    after, before = np.empty(n + m, dtype=np.int64), np.empty(n + m, dtype=np.int64)
    pieces = np.zeros((int(terms.run.max()) + 1, m), dtype=np.int64)
    for k, each in enumerate(rounds):
        cost[n + k, :n] = cost[:n, n + k] = on.charged[n + max(each.base, 0), :n]
        walk[n + k, :n] = walk[:n, n + k] = cost[n + k, :n]
        loop = np.concatenate([[n + k], each.path])
        label[loop] = k
        after[loop], before[loop] = np.roll(loop, -1), np.roll(loop, 1)
        pieces[:, k] = np.bincount(terms.run[each.path], minlength=len(pieces))
    load = np.array([each.seconds for each in rounds])
    longest = float(load.mean()) * (1.0 + (terms.even - 1.0) / 3.0)
    near = nearest(np.ascontiguousarray(on.charged[:n, :n]), NEIGHBOURS)
    trade(
        cost, walk, label, after, before, near, terms.beside.first, terms.beside.beside,
        terms.beside.left, terms.beside.right, terms.run, pieces, load, on.standing_s,
        on.both_walks, longest, terms.row_worth_s, int(TRADES_A_KICK * kicks_a_tree * n),
        HOT_S * 0.5**cycle, COLD_S, cycle + 1,
    )  # fmt: skip
    paths = []
    for k in range(m):
        path = np.empty(int(np.sum(label[:n] == k)), dtype=np.int64)
        at = n + k
        for t in range(len(path)):
            at = path[t] = after[at]
        paths.append(path)
    return paths
