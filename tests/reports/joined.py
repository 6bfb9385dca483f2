"""A plan whose tasks are put together, so that one reaches over several blocks."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely


def joined(plan, task_ids):
    """The plan with some of its tasks as one, in their order, under the name of the first."""
    name = task_ids[0]
    stops = plan.tasks[plan.tasks["task_id"].isin(task_ids)]
    stops = stops.assign(place=stops["task_id"].map(task_ids.index))
    stops = stops.sort_values(["place", "stop_no"]).drop(columns="place")
    stops = stops.assign(task_id=name, stop_no=np.arange(1, len(stops) + 1))
    own = plan.task_sums.set_index("task_id").loc[task_ids]
    total = own.iloc[0].copy()
    for column in ("trees", "minutes", "walk_m"):
        total[column] = own[column].sum()
    total["block_ids"] = ",".join(dict.fromkeys(own["block_ids"]))
    total["needs_high_knife"] = own["needs_high_knife"].any()
    walks = plan.walks.set_index("task_id").geometry.loc[task_ids]
    walk = shapely.LineString(np.vstack([shapely.get_coordinates(line) for line in walks]))
    others = ~plan.task_sums["task_id"].isin(task_ids)
    return replace(
        plan,
        tasks=pd.concat([plan.tasks[~plan.tasks["task_id"].isin(task_ids)], stops]),
        task_sums=pd.concat(
            [total.to_frame().T.rename_axis("task_id").reset_index(), plan.task_sums[others]]
        ),
        walks=pd.concat(
            [
                plan.walks[~plan.walks["task_id"].isin(task_ids)],
                gpd.GeoDataFrame({"task_id": [name]}, geometry=[walk], crs=plan.walks.crs),
            ]
        ),
    )
