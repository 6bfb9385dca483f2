"""The ground of each task of a plan: stops, other trees near, the way, and what lies about."""

from __future__ import annotations

from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from reports.drawings.task_map import TaskGround
from reports.plan_view import PlanView

_ABOUT_M = 60.0


def task_grounds(plan: PlanView, task_ids: list[str]) -> Iterator[tuple[str, TaskGround]]:
    """Give the ground of each task in turn.

    Parameters
    ----------
    plan
        A finished plan.
    task_ids
        Tasks of `plan.tasks`.
    """
    layers = plan.layers
    trees = layers.trees[["tree_id", "row_id", "block_id", "tree_no", "status", "geometry"]]
    placed = (
        trees.merge(layers.rows[["row_id", "row_no"]], on="row_id", how="left")
        .merge(plan.classes[["tree_id", "class"]], on="tree_id", how="left")
        .merge(plan.tasks, on="tree_id", how="left")
    )
    placed = gpd.GeoDataFrame(placed, geometry="geometry", crs=layers.crs)
    by_task = dict(iter(placed[placed["task_id"].isin(task_ids)].groupby("task_id", sort=False)))
    walks = plan.walks.set_index("task_id").geometry
    for task_id in task_ids:
        stops = by_task[task_id].sort_values("stop_no")
        walk = walks.get(task_id)
        if walk is None or shapely.is_empty(walk):
            walk = _through(stops)
        west, south, east, north = stops.total_bounds
        about = shapely.box(west - _ABOUT_M, south - _ABOUT_M, east + _ABOUT_M, north + _ABOUT_M)
        near = _near(placed, about)
        others = near[
            (near["task_id"] != task_id) & near["block_id"].isin(stops["block_id"].unique())
        ]
        window = about.buffer(3 * _ABOUT_M)
        yield (
            task_id,
            TaskGround(
                stops=stops,
                others=others.assign(passed=_passed(others, stops)),
                walk=walk,
                rows=_near(layers.rows, window),
                blocks=_near(layers.blocks, window),
                obstacles=_near(layers.obstacles, window),
                places=layers.places,
            ),
        )


def _passed(others: gpd.GeoDataFrame, stops: gpd.GeoDataFrame) -> pd.Series:
    """Say which trees stand between those to tap in their row, and no task taps them."""
    reach = stops.groupby("row_id")["tree_no"].agg(["min", "max"])
    low, high = (others["row_id"].map(reach[end]) for end in ("min", "max"))
    return others["task_id"].isna() & (others["tree_no"] >= low) & (others["tree_no"] <= high)


def _near(layer: gpd.GeoDataFrame, window: shapely.Polygon) -> gpd.GeoDataFrame:
    return layer.iloc[np.sort(layer.sindex.query(window, predicate="intersects"))]


def _through(stops: gpd.GeoDataFrame) -> shapely.LineString:
    """Give the line from stop to stop of a task that has no walking line."""
    xy = shapely.get_coordinates(stops.geometry)
    return shapely.LineString(xy if len(xy) > 1 else [xy[0], xy[0]])


def tasks_of_block(plan: PlanView, block_id: str) -> list[str]:
    """Give the tasks that touch a block, in the order of the plan's task sums."""
    there = plan.layers.trees.loc[plan.layers.trees["block_id"] == block_id, "tree_id"]
    touching = set(plan.tasks.loc[plan.tasks["tree_id"].isin(there), "task_id"])
    return [str(task) for task in plan.task_sums["task_id"] if task in touching]


def members_of(plan: PlanView) -> pd.Series:
    """Give each block's member, by ``block_id``; empty where the layers don't say."""
    blocks, holdings = plan.layers.blocks, plan.layers.holdings
    by_block = pd.Series("", index=pd.Index(blocks["block_id"]), dtype=object)
    if "holding_id" not in blocks or "member" not in holdings:
        return by_block
    named = holdings.dropna(subset=["member"]).set_index("holding_id")["member"]
    owners = blocks["holding_id"].map(named.astype(str)).astype("string").fillna("")
    return pd.Series(owners.to_numpy(object), index=by_block.index)
