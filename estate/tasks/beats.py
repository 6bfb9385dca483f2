"""Which blocks lie together, from which place they are walked, and into how many tasks they go."""

from __future__ import annotations

import math
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from estate.tasks.settings import TaskSettings
from estate.tasks.stand import Stand
from estate.tasks.sweep import Cells
from estate.tasks.touching import delaunay_pairs
from layers.errors import SettingError
from layers.ground.barriers import Barriers
from layers.ground.pace import FLAT_SECONDS_A_METRE
from layers.ground.ways import barred_steps

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Neighbourhood:
    """Cells that lie within a walk of each other, and the places they may be walked from.

    Parameters
    ----------
    cells
        Shape (k,): cells, ascending.
    bases
        Shape (b,): places in the bases given, that can be walked to and are near enough.
    """

    cells: Whole
    bases: Whole


def base_places(places: gpd.GeoDataFrame | None) -> gpd.GeoDataFrame | None:
    """Give the places where a round begins and ends: collection places, or else gates."""
    if places is None or not len(places):
        return None
    for kind in ("collection", "gate"):
        chosen = places[places["kind"] == kind]
        if len(chosen):
            return chosen.sort_values("place_id")
    return None


def neighbourhoods(
    trees: Stand, parts: Cells, bars: Barriers, bases: Floats, settings: TaskSettings
) -> list[Neighbourhood]:
    """Gather cells that can be walked between, each within a short walk of another.

    Parameters
    ----------
    trees, parts
        The stand and its cells.
    bars
        Impassable lines.
    bases
        Shape (b, 2): where rounds may begin, metres.
    settings
        The walk within which blocks are joined; without limit where the number of tasks is given.
    """
    ends = np.concatenate([parts.start, parts.end - 1])
    count = len(parts.block)
    xy = np.vstack([trees.xyz[ends, :2], bases, bars.turns])
    node = np.concatenate([parts.cell, parts.cell, count + np.arange(len(bases) + len(bars.turns))])
    one, two = delaunay_pairs(xy).T
    free = ~barred_steps(xy[one], xy[two], bars.segments)
    one, two = one[free], two[free]
    apart = np.hypot(*(xy[one] - xy[two]).T)
    pace = FLAT_SECONDS_A_METRE / settings.minutes.walk_factor
    join_m = settings.minutes.join_walk_min * 60.0 / pace
    if settings.tasks is not None:
        join_m = np.inf
    total = count + len(bases) + len(bars.turns)
    reach = _labels(node[one], node[two], total)
    is_base = (node >= count) & (node < count + len(bases))
    near = (apart <= join_m) & ~is_base[one] & ~is_base[two]
    group = _labels(node[one[near]], node[two[near]], total)[:count]
    found = []
    for label in dict.fromkeys(group.tolist()):
        members = np.flatnonzero(group == label)
        reached = np.flatnonzero(reach[count : count + len(bases)] == reach[members[0]])
        found.append(
            Neighbourhood(cells=members, bases=_near(trees, parts, members, bases, reached,
                                                     settings.reach_m))
        )  # fmt: skip
    return found


def _near(
    trees: Stand, parts: Cells, members: Whole, bases: Floats, reached: Whole, reach_m: float
) -> Whole:
    if not len(reached):
        return reached
    mine = np.isin(parts.cell, members)
    xy = trees.xyz[np.concatenate([parts.start[mine], parts.end[mine] - 1]), :2]
    apart = [np.hypot(*(xy - bases[k]).T).min() for k in reached]
    return reached[np.array(apart) <= reach_m]


def _labels(one: Whole, two: Whole, count: int) -> Whole:
    links = coo_array((np.ones(len(one)), (one, two)), shape=(count, count))
    return np.asarray(connected_components(links, directed=False)[1])


def task_counts(minutes: list[float], settings: TaskSettings) -> list[int]:
    """Give the number of tasks for each neighbourhood.

    Parameters
    ----------
    minutes
        What each neighbourhood takes in all.
    settings
        The number of tasks, if given, is shared out by minutes, at least one each.

    Raises
    ------
    SettingError
        Fewer tasks were asked for than there are parts that no way connects.
    """
    model = settings.minutes
    if settings.tasks is None:
        one_round = settings.round_days
        counts = []
        for total in minutes:
            usual = max(1, round(total / (one_round * model.morning_min)))
            least = math.ceil(total / (one_round * model.longest_morning_min))
            counts.append(one_round * max(usual, least))
        return counts
    if settings.tasks < len(minutes):
        raise SettingError.at(
            layer="task settings",
            found=f"tasks = {settings.tasks}",
            expected=f"at least {len(minutes)}: no way leads between the parts of this ground",
            remedy="Ask for more tasks, or add the crossings that are missing.",
        )
    counts = [1] * len(minutes)
    for _ in range(settings.tasks - len(minutes)):
        longest = max(range(len(minutes)), key=lambda k: minutes[k] / counts[k])
        counts[longest] += 1
    return counts
