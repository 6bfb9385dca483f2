"""One morning: the round through a task's trees, and what it takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.tasks.minutes import Minutes
from estate.tasks.routes import NEIGHBOURS, nearest, shorten
from estate.tasks.stand import Stand
from layers.ground.barriers import Barriers
from layers.ground.pace import FLAT_SECONDS_A_METRE
from layers.ground.ways import ways

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

TOGETHER_S = 1e4
"""What the search is charged for each change of holding, so that it never makes one too many."""

NO_WAY_S = 1e6


@dataclass(frozen=True, kw_only=True)
class Site:
    """All that a morning is worked out from.

    Parameters
    ----------
    trees
        The trees to tap.
    bars
        Impassable lines.
    bases
        Shape (b, 3): where rounds may begin, metres.
    minutes
        The time model.
    turn_heights
        Gives heights in metres at points, shape (n, 2).
    """

    trees: Stand
    bars: Barriers
    bases: Floats
    minutes: Minutes
    turn_heights: Callable[[Floats], Floats]

    @property
    def standing_s(self) -> Floats:
        """Seconds at each tree, on both rounds, without the walk."""
        return np.asarray(self.trees.tap_s + self.minutes.collect_s)

    @property
    def seconds_a_metre(self) -> float:
        """Seconds of both rounds for a metre of flat ground."""
        return FLAT_SECONDS_A_METRE * self.minutes.both_walks


@dataclass(frozen=True, kw_only=True)
class Morning:
    """A task's round.

    Parameters
    ----------
    order
        Shape (n,): the trees in stop order, as places in the stand.
    base
        The base it begins and ends at; -1 for none.
    path_s
        What one round would take at the speed on a path, seconds.
    changes
        Changes of bucket.
    seconds
        The whole morning: tapping, collecting and both walks.
    walk_m
        The length of one round, metres.
    line
        Shape (m, 2): the line walked.
    cost, start
        Seconds on a path between its trees, and from the base to each, in stop order.
    """

    order: Whole
    base: int
    path_s: float
    changes: int
    seconds: float
    walk_m: float
    line: Floats
    cost: Floats
    start: Floats


def morning(site: Site, span: Whole, bases: Whole, kicks_a_tree: float) -> Morning:
    """Give the shortest round found through a stretch of the sweep, no longer than the sweep.

    Parameters
    ----------
    site
        What it is worked out from.
    span
        Shape (n,): trees in the order of the sweep.
    bases
        The bases it may begin at; it takes the nearest.
    kicks_a_tree
        How long to search.
    """
    stood, model = site.trees, site.minutes
    n = len(span)
    xyz = np.vstack([stood.xyz[span], site.bases[bases]])
    bars = site.bars.near(xyz[:, :2])
    terrace = np.concatenate([stood.terrace[span], np.full(len(bases), -1)])
    walked = ways(
        xyz,
        bars=bars,
        turn_heights_m=site.turn_heights(bars.turns),
        terrace=terrace,
        terrace_step_s=model.terrace_step_s * model.walk_factor,
    )
    cost = walked.seconds[:n, :n]
    base, start = -1, np.zeros(n)
    if len(bases):
        away = walked.seconds[n:, :n]
        nearest_two = np.sort(away, axis=1)[:, : min(2, n)].sum(axis=1)
        base = int(np.argmin(nearest_two))
        start = away[base]
    charged = np.zeros((n + 1, n + 1))
    holding = stood.holding[span]
    charged[1:, 1:] = np.minimum(cost, NO_WAY_S)
    charged[1:, 1:] += (holding[:, None] != holding[None]) * TOGETHER_S
    charged[0, 1:] = charged[1:, 0] = np.minimum(start, NO_WAY_S)
    tour = shorten(
        np.arange(n + 1), charged, nearest(charged, NEIGHBOURS), int(kicks_a_tree * n), 1
    )
    at = int(np.flatnonzero(tour == 0)[0])
    path = np.concatenate([tour[at + 1 :], tour[:at]]) - 1
    if path[0] > path[-1]:
        path = path[::-1]
    path_s = float(cost[path[:-1], path[1:]].sum() + start[path[0]] + start[path[-1]])
    changes = int(np.sum(holding[path[1:]] != holding[path[:-1]]))
    stops = path if base < 0 else np.concatenate([[n + base], path, [n + base]])
    line = walked.line(stops)
    return Morning(
        order=span[path],
        base=int(bases[base]) if base >= 0 else -1,
        path_s=path_s,
        changes=changes,
        seconds=float(
            site.standing_s[span].sum()
            + path_s * model.both_walks
            + changes * model.bucket_change_s
        ),
        walk_m=float(np.hypot(*np.diff(line, axis=0).T).sum()),
        line=line,
        cost=cost[np.ix_(path, path)],
        start=start[path],
    )
