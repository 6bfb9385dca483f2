"""Drawing tasks: trees to tap into mornings of the same length, each with a short round.

A neighbourhood's sweep is cut into stretches of the same minutes, each stretch gets the shortest
round that the search finds, and the cuts are moved until the mornings are even with the walking
as it came out (route first, cut second).

References
----------
.. [1] J. E. Beasley, 1983, Route first - cluster second methods for vehicle routing, *Omega*
   11(4), 403–408. From memory.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from itertools import pairwise
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from estate.tasks.beats import Neighbourhood, base_places, neighbourhoods, task_counts
from estate.tasks.cutting import cut_ranks, cuts_at, eased
from estate.tasks.held import held_mornings
from estate.tasks.mornings import Morning, Site
from estate.tasks.settings import TaskSettings
from estate.tasks.sharing import split_beat
from estate.tasks.stand import heights_at, stand
from estate.tasks.sweep import Cells, cells, sweep
from estate.tasks.task_plan import TaskPlan, nothing_to_tap, task_plan
from layers.errors import SettingError
from layers.ground.barriers import barriers
from layers.ground.ways import beside
from layers.terrain import Terrain

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

KICKS_A_TREE = 12
LEAST_KICKS_A_TREE = 2
LARGE = 20_000
KICKS_A_SECOND = 60_000
DRAFTS = 8
EVEN_BEATS = 1.018
"""Beats are drawn again until the longest of all mornings is at most this many times the mean."""

Mapper = Callable[..., Iterable[Any]]


def draw_tasks(
    trees: gpd.GeoDataFrame,
    *,
    rows: gpd.GeoDataFrame | None = None,
    blocks: gpd.GeoDataFrame | None = None,
    obstacles: gpd.GeoDataFrame | None = None,
    places: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    panels: pd.DataFrame | None = None,
    cuts: Mapping[str, str] | pd.Series | None = None,
    tasks: int | None = None,
    settings: TaskSettings | None = None,
    seconds: float = 0.0,
) -> pd.DataFrame:
    """Give every tree to tap its task and its place in the walking order.

    Parameters
    ----------
    trees, rows, blocks, obstacles, places, terrain, panels, cuts, settings, seconds
        As for :func:`draw`.
    tasks
        How many tasks in all; goes before the number in `settings`.

    Returns
    -------
    DataFrame
        [tree_id, task_id, stop_no], one row a tree in the order of `trees`.

    Examples
    --------
    >>> x, y = np.meshgrid(np.arange(10) * 3.0, np.arange(6) * 7.0)
    >>> stood = gpd.GeoDataFrame(
    ...     {"tree_id": [f"{k:02}" for k in range(60)], "block_id": "A",
    ...      "row_id": [f"A{k // 10}" for k in range(60)],
    ...      "tree_no": [k % 10 + 1 for k in range(60)]},
    ...     geometry=gpd.points_from_xy(x.ravel(), y.ravel()))
    >>> draw_tasks(stood, tasks=3).groupby("task_id").size().tolist()
    [20, 20, 20]
    """
    chosen = TaskSettings() if settings is None else settings
    if tasks is not None:
        chosen = replace(chosen, tasks=tasks)
    return draw(
        trees,
        rows=rows,
        blocks=blocks,
        obstacles=obstacles,
        places=places,
        terrain=terrain,
        panels=panels,
        cuts=cuts,
        settings=replace(chosen, bound=False),
        seconds=seconds,
    ).tasks


def draw(
    trees: gpd.GeoDataFrame,
    *,
    rows: gpd.GeoDataFrame | None = None,
    blocks: gpd.GeoDataFrame | None = None,
    obstacles: gpd.GeoDataFrame | None = None,
    places: gpd.GeoDataFrame | None = None,
    terrain: Terrain | None = None,
    panels: pd.DataFrame | None = None,
    cuts: Mapping[str, str] | pd.Series | None = None,
    settings: TaskSettings | None = None,
    seconds: float = 0.0,
    before: pd.DataFrame | None = None,
) -> TaskPlan:
    """Draw tasks: split the trees to tap into even mornings and give each its round.

    Parameters
    ----------
    trees
        The contract's trees layer in a metric CRS, only the trees to tap.
    rows, blocks, obstacles, places
        The contract's layers in the same CRS; None where there is none. Without `blocks` each
        block is its own holding; without places a round begins and ends anywhere.
    terrain
        Elevation in the same CRS; None for flat ground.
    panels, cuts
        Which trees have a high cut, from panels' direction or named (low, high, two) by tree_id.
    settings
        How to draw; ours where None.
    seconds
        Further search, in seconds of a usual machine; the same number gives the same tasks on
        any machine.
    before
        `tree_id`, `task_id`, `stop_no` of tasks that are held where they can be
        (:func:`estate.tasks.held.held_mornings`); None to draw anew.

    Returns
    -------
    TaskPlan

    Raises
    ------
    LayerError
        One of its subclasses, where a layer isn't in the contract's form.
    """
    chosen = TaskSettings() if settings is None else settings
    if not 0.0 <= seconds <= 86_400.0:
        raise SettingError.at(
            layer="task settings",
            found=f"seconds = {seconds}",
            expected="0 to 86400",
            remedy="Give the further search in seconds.",
        )
    if trees.empty:
        return nothing_to_tap(trees, chosen)
    stood = stand(
        trees,
        minutes=chosen.minutes,
        rows=rows,
        blocks=blocks,
        terrain=terrain,
        panels=panels,
        cuts=cuts,
    )
    bars = barriers(obstacles, places)
    stood = replace(stood, xyz=beside(stood.xyz, stood.row, bars))
    bases = base_places(places)
    base_xy = (
        np.empty((0, 2)) if bases is None else np.column_stack([bases.geometry.x, bases.geometry.y])
    )
    parts = cells(stood, bars)
    site = Site(
        trees=stood,
        run=parts.run_of(len(trees)),
        bars=bars,
        bases=np.column_stack([base_xy, heights_at(terrain, base_xy)]),
        minutes=chosen.minutes,
        turn_heights=lambda xy: heights_at(terrain, xy),
    )
    areas = neighbourhoods(stood, parts, bars, base_xy, chosen)
    if before is not None:
        tree_id = trees["tree_id"].astype("str").to_numpy()[stood.source]
        held = held_mornings(tree_id, site, parts, areas, before, chosen)
        if held is not None:
            return replace(task_plan(trees, bases, site, held, chosen), held=True)
    sweeps = [_swept(site, parts, area) for area in areas]
    rough = [float(_rough_s(site, each).sum()) / 60.0 for each in sweeps]
    counts = [
        min(count, len(each))
        for count, each in zip(task_counts(rough, chosen), sweeps, strict=True)
    ]
    kicks_a_tree = (_usual_kicks(len(trees)) + seconds * KICKS_A_SECOND) / max(len(trees), 1)
    drawn = _drawn(site, parts, areas, sweeps, counts, chosen, kicks_a_tree)
    return task_plan(trees, bases, site, drawn, chosen)


def _swept(site: Site, parts: Cells, area: Neighbourhood) -> Whole:
    start = site.bases[area.bases[0], :2] if len(area.bases) else None
    return sweep(site.trees, parts, area.cells, start)


def _rough_s(site: Site, order: Whole) -> Floats:
    """Give each tree's seconds with the walk from the tree before it in the sweep."""
    xy = site.trees.xyz[order, :2]
    step = np.hypot(*np.diff(xy, axis=0, prepend=xy[:1]).T)
    usual = np.minimum(step, 30.0)
    return site.standing_s[order] + usual * site.seconds_a_metre


def _usual_kicks(trees: int) -> float:
    """Give how long to search where no seconds are given: less a tree in a large cooperative."""
    return max(LEAST_KICKS_A_TREE * trees, KICKS_A_TREE * min(trees, LARGE))


def _drawn(
    site: Site,
    parts: Cells,
    areas: list[Neighbourhood],
    sweeps: list[Whole],
    counts: list[int],
    settings: TaskSettings,
    kicks_a_tree: float,
) -> list[list[list[Morning]]]:
    """Draw every neighbourhood, many at once or the beats of one at once."""
    workers = os.cpu_count() or 1
    with ThreadPoolExecutor(workers) as pool:
        outer: Mapper = pool.map if len(areas) > workers else map
        inner: Mapper = map if len(areas) > workers else pool.map
        return list(
            outer(
                lambda area, order, count: _beats(
                    site, parts, area, order, count, settings, kicks_a_tree, inner
                ),
                areas,
                sweeps,
                counts,
            )
        )


def _beats(
    site: Site,
    parts: Cells,
    area: Neighbourhood,
    order: Whole,
    count: int,
    settings: TaskSettings,
    kicks_a_tree: float,
    mapper: Mapper,
) -> list[list[Morning]]:
    """Cut a sweep into beats of even minutes, and each beat into its mornings.

    The cuts between beats are moved by what walking each beat came out to take, and the beats
    drawn again, until the mornings of all beats are even.
    """
    ranks = cut_ranks(site.trees, parts, order)
    sizes = [settings.round_days] * (count // settings.round_days)
    if count % settings.round_days:
        sizes.append(count % settings.round_days)
    share = np.cumsum([0, *sizes])
    whole = settings.rows == "whole"
    weight = _with_legs(site, area, order, count)
    barred = len(sizes) > 1 and len(site.bars.segments) > 0
    edges = cuts_at(weight, ranks, share, slack=settings.slack / 4, whole=whole)
    known: dict[tuple[int, int], list[Morning]] = {}
    best: list[list[Morning]] = []
    evenness, best_weight, best_edges = np.inf, weight, edges
    for draft in range(DRAFTS if len(sizes) > 1 else 1):
        rough = draft == 0 and barred
        spans = [(int(i), int(j)) for i, j in pairwise(edges)]
        new = [k for k, span in enumerate(spans) if span not in known]
        drawn = mapper(
            lambda k, spans=spans, rough=rough: split_beat(
                site, parts, order[spans[k][0] : spans[k][1]], area.bases, sizes[k], settings,
                kicks_a_tree, full=not rough,
            ),
            new,
        )  # fmt: skip
        known |= dict(zip([spans[k] for k in new], drawn, strict=True))
        found = [known[span] for span in spans]
        took = np.array([each.seconds for rounds in found for each in rounds])
        weight = site.standing_s[order].copy()
        for (i, j), rounds in zip(spans, found, strict=True):
            beat_s = sum(each.seconds for each in rounds)
            weight[i:j] += (beat_s - weight[i:j].sum()) / (j - i)
        better = not rough and took.max() / took.mean() < evenness
        if better:
            best, evenness, best_weight = found, took.max() / took.mean(), weight
            best_edges = edges
        if evenness <= EVEN_BEATS:
            break
        if rough or whole:
            known = {} if rough else known
            edges = cuts_at(weight, ranks, share, slack=settings.slack / 4, whole=whole)
        else:
            known_weight = weight if better else (weight + best_weight) / 2.0
            edges = eased(known_weight, best_edges, np.array(sizes), settings.even)
        if all(span in known for span in pairwise(edges.tolist())):
            break
    return best


def _with_legs(site: Site, area: Neighbourhood, order: Whole, count: int) -> Floats:
    """Give each tree's seconds with its share of the way from and to the nearest base."""
    weight = _rough_s(site, order)
    if not len(area.bases):
        return weight
    away, _ = cKDTree(site.bases[area.bases, :2]).query(site.trees.xyz[order, :2])
    task = np.minimum(
        (np.cumsum(weight) / weight.sum() * count * (1.0 - 1e-9)).astype(np.int64), count - 1
    )
    nearest = np.full(count, np.inf)
    np.minimum.at(nearest, task, away)
    trees = np.bincount(task, minlength=count)
    return weight + (2.0 * nearest / np.maximum(trees, 1) * site.seconds_a_metre)[task]
