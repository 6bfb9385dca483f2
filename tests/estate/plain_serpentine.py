"""The plain way to draw tasks, to measure against: up one row and down the next, in even counts.

Every figure is in seconds at the speed on a path, once round, so that ours and any solver's are
held against the same walking times.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.tasks import TaskPlan, TaskSettings
from estate.tasks.beats import base_places
from estate.tasks.stand import heights_at, stand
from layers.ground import barriers, ways
from tests.estate.invented_blocks import Case


@dataclass(frozen=True, kw_only=True)
class Walks:
    """Walking between the trees of a case, in the stand's order, and from its bases.

    Parameters
    ----------
    seconds
        Shape (n + b, n + b): on a path; a change of holding costs its bucket.
    trees, bases
        How many of each.
    tree_id
        Shape (n,): the trees in the stand's order.
    row
        Shape (n,): each tree's row.
    """

    seconds: NDArray[np.float64]
    trees: int
    bases: int
    tree_id: NDArray[np.str_]
    row: NDArray[np.int64]

    def round_s(self, order: NDArray[np.int64]) -> float:
        """Give the seconds of the round through trees in order, from the best base."""
        inner = self.seconds[order[:-1], order[1:]].sum()
        if not self.bases:
            return float(inner)
        doors = self.seconds[self.trees :]
        return float(inner + (doors[:, order[0]] + doors[:, order[-1]]).min())


def walks(case: Case) -> Walks:
    """Give the walking of a case."""
    settings = TaskSettings()
    model = settings.minutes
    stood = stand(case.trees, minutes=model, blocks=case.blocks, terrain=case.terrain)
    places = base_places(case.places)
    xy = (
        np.empty((0, 2))
        if places is None
        else np.column_stack([places.geometry.x, places.geometry.y])
    )
    xyz = np.vstack([stood.xyz, np.column_stack([xy, heights_at(case.terrain, xy)])])
    bars = barriers(case.obstacles, case.places).near(xyz[:, :2])
    seconds = ways(
        xyz,
        bars=bars,
        turn_heights_m=heights_at(case.terrain, bars.turns),
        terrace=np.concatenate([stood.terrace, np.full(len(xy), -1)]),
        terrace_step_s=model.terrace_step_s * model.walk_factor,
    ).seconds.copy()
    n, change = len(stood.xyz), model.bucket_change_s / model.both_walks
    seconds[:n, :n] += (stood.holding[:, None] != stood.holding[None]) * change
    return Walks(
        seconds=seconds,
        trees=n,
        bases=len(xy),
        tree_id=case.trees["tree_id"].to_numpy(dtype=str)[stood.source],
        row=stood.row,
    )


def serpentine_s(on: Walks, tasks: int) -> float:
    """Give the walking of plain serpentine chunks of even counts."""
    rows = np.split(np.arange(on.trees), np.flatnonzero(np.diff(on.row)) + 1)
    order = np.concatenate([row[:: -1 if k % 2 else 1] for k, row in enumerate(rows)])
    return sum(on.round_s(chunk) for chunk in np.array_split(order, tasks))


def plan_s(on: Walks, plan: TaskPlan) -> float:
    """Give the walking of a plan, worked out from its stops alone."""
    place = {tree: k for k, tree in enumerate(on.tree_id.tolist())}
    stops = plan.tasks.sort_values(["task_id", "stop_no"])
    return sum(
        on.round_s(np.array([place[tree] for tree in trees]))
        for _, trees in stops.groupby("task_id")["tree_id"]
    )
