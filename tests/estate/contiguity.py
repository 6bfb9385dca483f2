"""Whether tasks are of one piece, worked out apart from the code that draws them.

A line that can't be walked over parts the ground along its whole length, crossings too. Along
each row, between such lines, a task's trees follow each other. And within each part of a
block that barred lines leave whole, the trees of a task hang together: by steps to the next tree
in the row, and by steps that no barred line meets to trees near enough.
"""

from __future__ import annotations

import numpy as np
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import Delaunay

from estate.tasks import TaskPlan
from tests.estate.invented_blocks import Case


def of_one_piece(case: Case, plan: TaskPlan) -> bool:
    """Say whether every task of a plan is of one piece in each part of each block."""
    trees = case.trees.merge(plan.tasks, on="tree_id")
    barred = case.obstacles[~case.obstacles["passable"].astype(bool)]
    shut = shapely.union_all(barred.geometry.to_numpy()) if len(barred) else None
    return all(
        _block(block.sort_values(["row_id", "tree_no"]), shut)
        for _, block in trees.groupby("block_id")
    )


def _block(trees: object, shut: shapely.Geometry | None) -> bool:
    xy = np.column_stack([trees.geometry.x, trees.geometry.y])
    row, task = trees["row_id"].to_numpy(), trees["task_id"].to_numpy()
    along = np.column_stack([np.arange(len(xy) - 1), np.arange(1, len(xy))])
    along = along[row[1:] == row[:-1]]
    along = along[_open(xy, along, shut)]
    if not _follow(len(xy), along, task):
        return False
    sides = Delaunay(xy, qhull_options="QJ").simplices if len(xy) > 3 else np.empty((0, 3), int)
    near = np.vstack([along, *(sides[:, pair] for pair in ([0, 1], [1, 2], [0, 2]))])
    apart = np.hypot(*(xy[near[:, 0]] - xy[near[:, 1]]).T)
    near = near[(apart <= 4.0 * np.median(apart)) | (np.arange(len(near)) < len(along))]
    near = near[_open(xy, near, shut)]
    part = _labels(len(xy), near)
    same = task[near[:, 0]] == task[near[:, 1]]
    piece = _labels(len(xy), near[same])
    shares = {(a, b) for a, b in zip(part.tolist(), task.tolist(), strict=True)}
    return len(shares) == piece.max() + 1


def _follow(count: int, along: np.ndarray, task: np.ndarray) -> bool:
    run = _labels(count, along)
    for each in np.unique(run):
        tasks = task[run == each]
        stretches = 1 + np.sum(tasks[1:] != tasks[:-1])
        if stretches != len(set(tasks.tolist())):
            return False
    return True


def _open(xy: np.ndarray, pairs: np.ndarray, shut: shapely.Geometry | None) -> np.ndarray:
    if shut is None:
        return np.ones(len(pairs), dtype=bool)
    return ~shapely.intersects(shapely.linestrings(xy[pairs]), shut)


def _labels(count: int, pairs: np.ndarray) -> np.ndarray:
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(count, count))
    return connected_components(links, directed=False)[1]
