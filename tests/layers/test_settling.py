"""Which doubtful points to look at first, against figures worked out by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from layers import field_list, match_survey
from layers.matching.settling import settled_by

DRAWS = 120


@pytest.fixture(scope="module")
def walks() -> np.ndarray:
    """Ten points that move together at even odds, five that move by themselves, and one sure."""
    generator = np.random.default_rng(3)
    shift = np.tile([0, 1], DRAWS // 2)
    together = [2 * t + shift for t in range(10)]
    alone = [40 + 2 * t + generator.permutation(shift) for t in range(5)]
    sure = [np.full(DRAWS, 60)]
    return np.column_stack([*together, *alone, *sure]).astype(np.int32)


def test_one_told_point_settles_those_that_move_with_it_and_the_others_only_themselves(
    walks: np.ndarray,
) -> None:
    doubtful = np.append(np.ones(15, bool), False)
    settles = settled_by(walks, doubtful)
    # At even odds a guess is right every other time, so each of ten gains half a point.
    assert settles[:10].max() == pytest.approx(5, abs=0.5)
    assert np.sort(settles[:10])[:9].max() < 0.1
    assert settles[10:15] == pytest.approx(0.5, abs=0.1)
    assert settles[15] == 0


def test_only_points_in_doubt_are_asked_about(walks: np.ndarray) -> None:
    doubtful = np.zeros(16, bool)
    doubtful[4] = True
    settles = settled_by(walks, doubtful)
    assert np.flatnonzero(settles).tolist() == [4]
    assert not settled_by(walks, np.zeros(16, bool)).any()


def test_far_along_the_walk_a_told_point_settles_nothing() -> None:
    shift = np.tile([0, 1], DRAWS // 2)
    walks = np.column_stack([2 * t + shift for t in range(1000)]).astype(np.int32)
    settles = settled_by(walks, np.ones(1000, bool))
    assert (settles > 1).sum() in range(3, 8)


def test_where_a_whole_walk_may_be_one_tree_on_one_confirmed_point_settles_it() -> None:
    """A row longer than the walk on both sides: a shift by one spacing fits as well."""
    generator = np.random.default_rng(5)
    along_m = 3.0 * np.arange(60)
    trees = gpd.GeoDataFrame(
        {
            "tree_id": [f"T{one:02d}" for one in range(60)],
            "row_id": "R1",
            "block_id": "B1",
            "tree_no": np.arange(1, 61),
        },
        geometry=gpd.points_from_xy(along_m, np.zeros(60)),
        crs="EPSG:32647",
    )
    walked = np.arange(20, 40)
    at = np.column_stack([along_m[walked] + 1.5, np.zeros(20)]) + generator.normal(0, 0.4, (20, 2))
    points = gpd.GeoDataFrame(
        {"point_id": [f"P{one:02d}" for one in range(20)]},
        geometry=gpd.points_from_xy(*at.T),
        crs=trees.crs,
    )
    matches = match_survey(trees, points).matches
    assert (matches["probability"] < 0.8).all()
    listed = field_list(matches, trees, points)
    first = listed.iloc[0]
    assert first["settles_points"] > 8
    assert f"settle {round(first['settles_points'])} points" in first["advice"]
    assert (listed["settles_points"].iloc[1:] < first["settles_points"]).all()

    place = int(first["point_id"][1:])
    confirmed = pd.DataFrame(
        {"point_id": [first["point_id"]], "tree_id": [f"T{walked[place]:02d}"]}
    )
    told = match_survey(trees, points, confirmed=confirmed).matches
    right = told["tree_id"] == [f"T{one:02d}" for one in walked]
    before = matches["probability"].sum()
    assert right.sum() >= before + first["settles_points"] - 3
    assert (told["settles_points"] < 3).all()
