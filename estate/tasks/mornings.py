"""One morning: the walk through a task's trees, and what it takes."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.tasks.bounds import rounds_bound
from estate.tasks.minutes import Minutes
from estate.tasks.routes import NEIGHBOURS, nearest, shorten
from estate.tasks.stand import Stand
from layers.compiled import door
from layers.ground.barriers import Barriers
from layers.ground.pace import FLAT_SECONDS_A_METRE
from layers.ground.ways import Ways, ways

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
    run
        Shape (n,): each tree's unbroken piece of row.
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
    run: Whole
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
    line
        Shape (m, 2): the line walked.
    bound_s
        What one round takes at least at the speed on a path, proven; NaN where not asked for.
    """

    order: Whole
    base: int
    path_s: float
    changes: int
    seconds: float
    line: Floats
    bound_s: float

    @property
    def walk_m(self) -> float:
        """The length of one round, metres."""
        return float(np.hypot(*np.diff(self.line, axis=0).T).sum())


@dataclass(frozen=True, kw_only=True)
class Ground:
    """A beat's trees and the walking times between them, in the order of the sweep.

    Parameters
    ----------
    span
        Shape (n,): the beat's trees, as places in the stand.
    bases
        Shape (b,): the bases that its rounds may begin at, as places in the site's.
    walked
        Walking between the trees and the bases, which come last.
    charged
        Shape (n + max(b, 1),) twice: what the search is charged, with a start that is no distance
        from anywhere where there is no base.
    near
        The nearest trees of each place in `charged`.
    holding, run, standing_s
        Shape (n,): each tree's holding, its unbroken piece of row, and the seconds at it.
    both_walks, change_s, row_change_s
        From the time model.
    """

    span: Whole
    bases: Whole
    walked: Ways
    charged: Floats
    near: Whole
    holding: Whole
    run: Whole
    standing_s: Floats
    both_walks: float
    change_s: float
    row_change_s: float

    @property
    def away(self) -> Floats:
        """Seconds on a path from each base to each tree, shape (b, n)."""
        return self.walked.seconds[len(self.span) :, : len(self.span)]


def ground(site: Site, span: Whole, bases: Whole) -> Ground:
    """Give the walking times of a stretch of the sweep.

    Parameters
    ----------
    site
        What it is worked out from.
    span
        Shape (n,): trees in the order of the sweep.
    bases
        The bases that its rounds may begin at.
    """
    stood, model = site.trees, site.minutes
    xyz = np.vstack([stood.xyz[span], site.bases[bases]])
    bars = site.bars.near(xyz[:, :2])
    walked = ways(
        xyz,
        bars=bars,
        turn_heights_m=site.turn_heights(bars.turns),
        terrace=np.concatenate([stood.terrace[span], np.full(len(bases), -1)]),
        terrace_step_s=model.terrace_step_s * model.walk_factor,
    )
    holding = stood.holding[span]
    run = site.run[span]
    row_change_s = model.row_change_s / model.both_walks if model.row_change_s else 0.0
    charged = _charged(walked.seconds, holding, run, max(len(bases), 1), row_change_s)
    return Ground(
        span=span,
        bases=bases,
        walked=walked,
        charged=charged,
        near=nearest(charged, NEIGHBOURS),
        holding=holding,
        run=run,
        standing_s=site.standing_s[span],
        both_walks=model.both_walks,
        change_s=model.bucket_change_s,
        row_change_s=model.row_change_s,
    )


@door
def _charged(
    seconds: Floats, holding: Whole, run: Whole, doors: int, row_change_s: float
) -> Floats:
    """Give what the search is charged: the way, and what it costs to change holding or row."""
    n, m = holding.size, seconds.shape[0]
    charged = np.zeros((n + doors, n + doors))
    for i in range(m):
        for j in range(m):
            value = min(seconds[i, j], NO_WAY_S)
            if i < n and j < n:
                if holding[i] != holding[j]:
                    value += TOGETHER_S
                if run[i] != run[j]:
                    value += row_change_s
            charged[i, j] = value
    return charged


@dataclass(frozen=True, kw_only=True)
class Round:
    """One walk through some of a beat's trees: places in the beat, in stop order."""

    path: Whole
    base: int
    path_s: float
    changes: int
    row_changes: int
    seconds: float


def walk_round(on: Ground, members: Whole, kicks: int) -> Round:
    """Give the shortest round found through members, each change of row counted as a way.

    With that, it is no longer than in the order given.

    Parameters
    ----------
    on
        The beat.
    members
        Shape (k,): places in the beat, k at least 1.
    kicks
        How long to search.
    """
    door = len(on.span) + max(_base(on, members), 0)
    start = np.concatenate([[door], members])
    tour = shorten(start, on.charged, on.near, kicks, 1)
    at = int(np.flatnonzero(tour == door)[0])
    path = np.concatenate([tour[at + 1 :], tour[:at]])
    return round_along(on, path[::-1] if path[0] > path[-1] else path)


def _base(on: Ground, members: Whole) -> int:
    """Give the base that is nearest to two of the members; -1 where there is none."""
    if not len(on.bases):
        return -1
    away = on.away[:, members]
    return int(np.argmin(np.sort(away, axis=1)[:, : min(2, len(members))].sum(axis=1)))


def round_along(on: Ground, path: Whole) -> Round:
    """Give the round that walks a path, places in the beat in stop order."""
    base = _base(on, path)
    walked = on.walked.seconds
    path_s = float(walked[path[:-1], path[1:]].sum())
    if base >= 0:
        door = len(on.span) + base
        path_s += float(walked[door, path[0]] + walked[door, path[-1]])
    holding = on.holding[path]
    changes = int(np.sum(holding[1:] != holding[:-1]))
    run = on.run[path]
    seconds = on.standing_s[path].sum() + path_s * on.both_walks + changes * on.change_s
    return Round(
        path=path,
        base=base,
        path_s=path_s,
        changes=changes,
        row_changes=int(np.sum(run[1:] != run[:-1])),
        seconds=float(seconds),
    )


def finish(site: Site, on: Ground, each: Round, *, bound: bool) -> Morning:
    """Give a round as a morning, with its line and, where asked for, the bound on its walk."""
    stops = each.path
    if each.base >= 0:
        door = len(on.span) + each.base
        stops = np.concatenate([[door], stops, [door]])
    least = np.nan
    if bound and len(each.path) > 3:
        cost = on.walked.seconds[np.ix_(each.path, each.path)]
        start = on.away[each.base, each.path] if each.base >= 0 else np.zeros(len(each.path))
        least = rounds_bound(cost, start, 1, 60, each.path_s)
    return Morning(
        order=on.span[each.path],
        base=int(on.bases[each.base]) if each.base >= 0 else -1,
        path_s=each.path_s,
        changes=each.changes,
        seconds=each.seconds,
        line=on.walked.line(stops),
        bound_s=least,
    )
