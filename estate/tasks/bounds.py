"""How short any round could be: a proven lower bound on walking.

Rounds from one start, with the start's edges taken out, are paths; together they are no cheaper
than the cheapest forest of as many trees as there are rounds, and each round reaches the start by
two edges. Weights on the stops (Held and Karp's Lagrangian ascent) keep every round's length the
same and push the forest towards rounds, so each weighting proves a bound and the best is kept.

References
----------
.. [1] M. Held and R. M. Karp, 1971, The traveling-salesman problem and minimum spanning trees:
   part II, *Mathematical Programming* 1, 6–25. From memory.
.. [2] M. L. Fisher, 1994, Optimal solution of vehicle routing problems using minimum k-trees,
   *Operations Research* 42(4), 626–642. From memory.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door, inside

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@inside
def _forest(cost: Floats, weight: Floats, degree: Whole, used: Floats) -> float:
    """Give the weight of the least spanning tree, its edges in `used`, degrees added up."""
    n = cost.shape[0]
    reach = np.full(n, np.inf)
    origin = np.zeros(n, dtype=np.int64)
    joined = np.zeros(n, dtype=np.bool_)
    total, at = 0.0, 0
    joined[0] = True
    for step in range(n - 1):
        best, pick = np.inf, -1
        lift = weight[at]
        for j in range(n):
            if joined[j]:
                continue
            value = cost[at, j] + lift + weight[j]
            if value < reach[j]:
                reach[j] = value
                origin[j] = at
            if reach[j] < best:
                best, pick = reach[j], j
        joined[pick] = True
        degree[pick] += 1
        degree[origin[pick]] += 1
        used[step, 0], used[step, 1], used[step, 2] = best, origin[pick], pick
        total += best
        at = pick
    return total


@door
def rounds_bound(cost: Floats, start: Floats, rounds: int, steps: int, upper: float) -> float:
    """Give a length that no set of rounds through all stops can be shorter than.

    Parameters
    ----------
    cost
        Shape (n, n): between stops, symmetric.
    start
        Shape (n,): from the start to each stop; zeros for walks that begin and end anywhere.
    rounds
        How many rounds share the stops, each with two stops or more; fewer than n / 2.
    steps
        Steps of the ascent.
    upper
        The length of known rounds, in the unit of `cost`.
    """
    n = cost.shape[0]
    weight = np.zeros(n)
    used = np.empty((n - 1, 3))
    highest, reach = 0.0, 1.5
    stuck = 0
    earlier = np.zeros(n)
    for _ in range(steps):
        degree = np.zeros(n, dtype=np.int64)
        total = _forest(cost, weight, degree, used)
        heavy = np.argsort(-used[:, 0])
        for k in range(rounds - 1):
            edge = heavy[k]
            total -= used[edge, 0]
            degree[int(used[edge, 1])] -= 1
            degree[int(used[edge, 2])] -= 1
        doors = np.argsort(start + weight)
        for k in range(2 * rounds):
            total += start[doors[k]] + weight[doors[k]]
            degree[doors[k]] += 1
        total -= 2.0 * weight.sum()
        if total > highest + 1e-9 * upper:
            highest = total
            stuck = 0
        else:
            stuck += 1
            if stuck >= 5:
                reach *= 0.6
                stuck = 0
        away = (degree - 2).astype(np.float64)
        norm = (away * away).sum()
        if norm == 0.0 or reach < 1e-3:
            break
        step = reach * max(upper - total, 1e-4 * upper) / norm
        weight += step * (0.7 * away + 0.3 * earlier)
        earlier = away
    return highest
