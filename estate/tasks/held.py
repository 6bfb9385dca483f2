"""Holding on to the last plan's tasks: people know their rounds, and few trees have changed."""

from __future__ import annotations

from itertools import chain

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from estate.tasks.beats import Neighbourhood
from estate.tasks.mornings import NO_WAY_S, Ground, Morning, Site, finish, ground, round_along
from estate.tasks.naming import LETTERED
from estate.tasks.settings import TaskSettings
from estate.tasks.sweep import Cells

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

MOST_CHANGED = 0.05
"""Share of the trees that may have come or gone before tasks are drawn anew (a judgement)."""

MOST_UNEVEN = 1.05
"""How much longer than its neighbourhood's mean a held morning may be (a judgement)."""


def held_mornings(
    tree_id: NDArray[np.object_],
    site: Site,
    parts: Cells,
    areas: list[Neighbourhood],
    before: pd.DataFrame,
    settings: TaskSettings,
) -> list[list[list[Morning]]] | None:
    """Give the last plan's mornings with the trees of today; None where they can't be held.

    Trees that are no longer tapped are left out of their round. New ones join the task of the
    nearest tree in their row, or else in their block, where they lengthen its round least. Tasks
    aren't held where more than a twentieth of the trees have come or gone, where a block is new,
    where a task has no tree left, where a neighbourhood's longest morning would be more than a
    twentieth over its mean, or where a way is barred now.

    Parameters
    ----------
    tree_id
        Shape (n,): the trees to tap, in the order of the stand.
    site, parts, areas
        What tasks are drawn from.
    before
        `tree_id`, `task_id`, `stop_no` of the last plan.
    settings
        How tasks are drawn.
    """
    then = before.sort_values(["task_id", "stop_no"])
    task = then["task_id"].astype("str")
    if not len(then) or not task.str.fullmatch(LETTERED.pattern).all():
        return None
    place = pd.Series(np.arange(len(tree_id)), index=tree_id).reindex(then["tree_id"]).to_numpy()
    stays = ~np.isnan(place)
    at, codes = place[stays].astype(np.int64), pd.factorize(task, sort=True)
    label = np.full(len(tree_id), -1, dtype=np.int64)
    label[at] = codes[0][stays]
    new = np.flatnonzero(label < 0)
    if len(new) + (~stays).sum() > MOST_CHANGED * len(then):
        return None
    if len(np.setdiff1d(site.trees.block[new], site.trees.block[at])):
        return None
    label[new] = label[_nearest(site, new, at)]
    rounds = [at[codes[0][stays] == k] for k in range(len(codes[1]))]
    beats = pd.Series(codes[1]).str.rsplit("-", n=1).str[0]
    drawn: dict[int, list[list[Morning]]] = {}
    for _, inside in beats.groupby(beats, sort=True):
        tasks = [rounds[k] for k in inside.index]
        if len(tasks) > settings.round_days or not all(map(len, tasks)):
            return None
        joined = [new[label[new] == k] for k in inside.index]
        area = _area_of(site, parts, areas, np.concatenate([*tasks, *joined]))
        mornings = None if area is None else _beat(site, areas[area], tasks, joined, settings)
        if area is None or mornings is None:
            return None
        drawn.setdefault(area, []).append(mornings)
    return list(drawn.values()) if all(map(_even, drawn.values())) else None


def _even(beats: list[list[Morning]]) -> bool:
    seconds = np.array([each.seconds for each in chain.from_iterable(beats)])
    return bool(seconds.max() <= MOST_UNEVEN * seconds.mean())


def _nearest(site: Site, new: Whole, known: Whole) -> Whole:
    """Give the known tree that each new one stands nearest to, in its row where it has any."""
    nearest = np.empty(len(new), dtype=np.int64)
    xy = site.trees.xyz[:, :2]
    for number, tree in enumerate(new.tolist()):
        beside = known[site.run[known] == site.run[tree]]
        if not len(beside):
            beside = known[site.trees.block[known] == site.trees.block[tree]]
        nearest[number] = beside[cKDTree(xy[beside]).query(xy[tree])[1]]
    return nearest


def _area_of(site: Site, parts: Cells, areas: list[Neighbourhood], trees: Whole) -> int | None:
    """Give the neighbourhood that trees lie in; None where they lie in more than one."""
    cells = np.unique(parts.cell[site.run[trees]])
    inside = (n for n, one in enumerate(areas) if np.isin(cells, one.cells).all())
    return next(inside, None)


def _beat(
    site: Site,
    area: Neighbourhood,
    tasks: list[Whole],
    joined: list[Whole],
    settings: TaskSettings,
) -> list[Morning] | None:
    span = np.sort(np.concatenate([*tasks, *joined]))
    on = ground(site, span, area.bases)
    mornings = []
    for stops, more in zip(tasks, joined, strict=True):
        path = np.searchsorted(span, stops)
        for tree in np.searchsorted(span, more).tolist():
            path = _put_in(on, path, tree)
        walked = round_along(on, path)
        if walked.path_s >= NO_WAY_S:
            return None
        mornings.append(finish(site, on, walked, bound=settings.bound))
    return mornings


def _put_in(on: Ground, path: Whole, tree: int) -> Whole:
    """Put a tree into a walk where it lengthens it least."""
    to = on.charged[path, tree]
    longer = to[:-1] + to[1:] - on.charged[path[:-1], path[1:]]
    longer = np.concatenate([to[:1], longer, to[-1:]])
    return np.insert(path, int(np.argmin(longer)), tree)
