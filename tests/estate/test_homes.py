import geopandas as gpd
import numpy as np
import pandas as pd
from shapely.geometry import LineString, Point

from estate.roster.homes import home_distances


def test_a_home_is_as_far_as_the_nearest_task_of_the_beat():
    places = gpd.GeoDataFrame({"place_id": ["H"]}, geometry=[Point(0, 0)], crs="EPSG:32647")
    walks = gpd.GeoDataFrame(
        {"task_id": ["A-1", "A-2", "B-1"]},
        geometry=[
            LineString([(3000, 4000), (9000, 9000)]),
            LineString([(2000, 0), (2000, 10)]),
            LineString([(0, 500), (10, 500)]),
        ],
        crs="EPSG:32647",
    )
    sums = pd.DataFrame({"task_id": ["A-1", "A-2", "B-1"], "beat_id": ["A", "A", "B"]})
    tappers = pd.DataFrame({"tapper_id": ["one", "two"], "home_place": ["H", None]})
    km = home_distances(tappers, places, walks, sums, pd.DataFrame({"beat_id": ["A", "B"]}))
    np.testing.assert_allclose(km[0], [2.0, 0.5])
    assert np.isnan(km[1]).all()
