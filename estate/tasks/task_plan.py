"""Tasks as drawn: the frames that other stages take, from each morning's round."""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from estate.tasks.minutes import CUTS
from estate.tasks.mornings import Morning, Site
from estate.tasks.naming import beat_names, names_kept, task_name
from estate.tasks.settings import TaskSettings
from layers.key_list import join_keys


@dataclass(frozen=True, kw_only=True)
class TaskPlan:
    """Tasks as drawn.

    Parameters
    ----------
    tasks
        [tree_id, task_id, stop_no]: every tree to tap once.
    task_sums
        One row a task: [task_id, beat_id, round_day, trees, tapping_min, walking_min,
        collecting_min, minutes, walk_m, block_ids, holding_ids, needs_high_knife,
        lower_bound_min, start_place_id, note, low_trees, high_trees, two_trees (trees by cut),
        path_min (one round's walk at the speed on a path)].
    walks
        [task_id, geometry]: the line of each round in stop order.
    settings
        What they were drawn with.
    held
        Whether they are the last plan's, with the trees that came and without those that went.
    """

    tasks: pd.DataFrame
    task_sums: pd.DataFrame
    walks: gpd.GeoDataFrame
    settings: TaskSettings
    held: bool = False

    @property
    def longest_to_mean(self) -> float:
        """The longest morning over the mean one, in all tasks."""
        minutes = self.task_sums["minutes"]
        return float(minutes.max() / minutes.mean())


def task_plan(
    trees: gpd.GeoDataFrame,
    bases: gpd.GeoDataFrame | None,
    site: Site,
    drawn: list[list[list[Morning]]],
    settings: TaskSettings,
) -> TaskPlan:
    """Give mornings as frames.

    Parameters
    ----------
    trees
        The trees to tap, as given.
    bases
        Where rounds may begin.
    site
        What the mornings were worked out from.
    drawn
        Mornings by neighbourhood and beat.
    settings
        What they were drawn with.
    """
    tree_id = trees["tree_id"].to_numpy()
    place_ids = [] if bases is None else bases["place_id"].astype("str").tolist()
    names = iter(beat_names(sum(map(len, drawn))))
    sums, stops, lines = [], [], []
    for beats in drawn:
        mean = float(np.mean([each.seconds for rounds in beats for each in rounds])) / 60.0
        for rounds in beats:
            beat_id = next(names)
            for day, each in enumerate(rounds, start=1):
                task_id = task_name(beat_id, day)
                stops.append((each.order, task_id))
                line = each.line if len(each.line) > 1 else np.repeat(each.line, 2, axis=0)
                lines.append((task_id, shapely.LineString(line)))
                sums.append(_sum(site, each, task_id, beat_id, day, mean, place_ids, settings))
    at = np.concatenate([site.trees.source[order] for order, _ in stops])
    tasks = (
        pd.DataFrame(
            {
                "tree_id": tree_id[at],
                "task_id": np.concatenate([[name] * len(order) for order, name in stops]),
                "stop_no": np.concatenate([np.arange(1, len(order) + 1) for order, _ in stops]),
            }
        )
        .iloc[np.argsort(at)]
        .reset_index(drop=True)
    )
    walks = gpd.GeoDataFrame(
        {"task_id": [name for name, _ in lines]},
        geometry=[line for _, line in lines],
        crs=trees.crs,
    )
    return TaskPlan(tasks=tasks, task_sums=pd.DataFrame(sums), walks=walks, settings=settings)


def with_names_kept(plan: TaskPlan, before: pd.DataFrame) -> TaskPlan:
    """Give tasks the names of the last plan's that they mostly are.

    Parameters
    ----------
    plan
        As drawn now.
    before
        `tree_id`, `task_id`, as drawn last.

    See Also
    --------
    estate.tasks.naming.names_kept : what *mostly* is.
    """
    if plan.tasks.empty or before.empty:
        return plan
    kept = names_kept(plan.tasks, before).set_index("drawn_id")
    sums = plan.task_sums.assign(
        beat_id=plan.task_sums["task_id"].map(kept["beat_id"]),
        round_day=plan.task_sums["task_id"].map(kept["number"]),
        task_id=plan.task_sums["task_id"].map(kept["task_id"]),
    )
    walks = plan.walks.assign(task_id=plan.walks["task_id"].map(kept["task_id"]))
    in_order = ["beat_id", "round_day"]
    sums = sums.sort_values(in_order, ignore_index=True)
    return replace(
        plan,
        tasks=plan.tasks.assign(task_id=plan.tasks["task_id"].map(kept["task_id"])),
        task_sums=sums,
        walks=walks.set_index("task_id").loc[sums["task_id"]].reset_index(),
    )


def _sum(
    site: Site, each: Morning, task_id: str, beat_id: str, day: int, mean_min: float,
    place_ids: list[str], settings: TaskSettings,
) -> dict[str, object]:  # fmt: skip
    stood, model = site.trees, site.minutes
    blocks = np.unique(stood.block[each.order])
    holdings = np.unique(stood.holding[each.order])
    by_cut = np.bincount(stood.cut[each.order], minlength=len(CUTS))
    trees = len(each.order)
    tapping = stood.tap_s[each.order].sum() / 60.0
    walking = each.path_s / model.walk_factor / 60.0
    collecting = (
        trees * model.collect_s
        + each.path_s / model.walk_factor / model.load_factor
        + each.changes * model.bucket_change_s
    ) / 60.0
    bound = (
        site.standing_s[each.order].sum()
        + each.bound_s * model.both_walks
        + (len(holdings) - 1) * model.bucket_change_s
    ) / 60.0
    note = ""
    if mean_min < 0.85 * model.morning_min:
        note = (
            f"short mornings: {mean_min:.0f} of {model.morning_min:.0f} minutes, "
            "no block near enough to join"
        )
    return {
        "task_id": task_id,
        "beat_id": beat_id,
        "round_day": day,
        "trees": trees,
        "tapping_min": tapping,
        "walking_min": walking,
        "collecting_min": collecting,
        "minutes": tapping + walking + collecting,
        "walk_m": each.walk_m,
        "block_ids": join_keys(stood.block_ids[k] for k in blocks),
        "holding_ids": join_keys(stood.holding_ids[k] for k in holdings),
        "needs_high_knife": bool(stood.high[each.order].any()),
        "lower_bound_min": bound,
        "start_place_id": place_ids[each.base] if each.base >= 0 else "",
        "note": note,
        **{f"{cut}_trees": int(n) for cut, n in zip(CUTS, by_cut, strict=True)},
        "path_min": each.path_s / 60.0,
    }


def nothing_to_tap(trees: gpd.GeoDataFrame, settings: TaskSettings) -> TaskPlan:
    """Give the plan of a stand without a tree to tap: its frames, without a row."""
    text, number = pd.Series([], dtype="string"), pd.Series([], dtype=float)
    kinds = {
        **dict.fromkeys(("task_id", "beat_id"), text),
        **dict.fromkeys(("round_day", "trees"), pd.Series([], dtype=int)),
        **dict.fromkeys(("tapping_min", "walking_min", "collecting_min", "minutes"), number),
        "walk_m": number,
        **dict.fromkeys(("block_ids", "holding_ids"), text),
        "needs_high_knife": pd.Series([], dtype=bool),
        "lower_bound_min": number,
        **dict.fromkeys(("start_place_id", "note"), text),
        **{f"{cut}_trees": pd.Series([], dtype=int) for cut in CUTS},
        "path_min": number,
    }
    return TaskPlan(
        tasks=pd.DataFrame({"tree_id": text, "task_id": text, "stop_no": pd.Series([], dtype=int)}),
        task_sums=pd.DataFrame(kinds),
        walks=gpd.GeoDataFrame({"task_id": text}, geometry=[], crs=trees.crs),
        settings=settings,
    )
