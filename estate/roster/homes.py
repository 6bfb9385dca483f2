"""How far each tapper lives from each beat."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray


def home_distances(
    tappers: pd.DataFrame,
    places: gpd.GeoDataFrame,
    walks: gpd.GeoDataFrame,
    task_sums: pd.DataFrame,
    beats: pd.DataFrame,
) -> NDArray[np.float64]:
    """Give the straight way from each tapper's home place to the nearest task of each beat.

    Parameters
    ----------
    tappers
        Columns `tapper_id` and, where known, `home_place` (a `place_id`).
    places
        Columns `place_id` and Point geometry, in a metric CRS.
    walks
        Columns `task_id` and LineString geometry, in the same CRS.
    task_sums
        Columns `task_id`, `beat_id`.
    beats
        Column `beat_id`.

    Returns
    -------
    ndarray of float64, shape (tappers, beats)
        Kilometres; NaN where the home isn't known.
    """
    km = np.full((len(tappers), len(beats)), np.nan)
    if "home_place" not in tappers or places.empty or walks.empty:
        return km
    spots = places.set_index("place_id").geometry
    beat_of = dict(zip(task_sums["task_id"], task_sums["beat_id"], strict=True))
    beat_walks = walks.assign(beat_id=walks["task_id"].map(beat_of)).dissolve("beat_id").geometry
    beat_walks = beat_walks.reindex(beats["beat_id"])
    for row, home in enumerate(tappers["home_place"]):
        if pd.notna(home) and home in spots.index:
            km[row] = beat_walks.distance(spots[home]).to_numpy() / 1000.0
    return km
