"""Planting places: where they stand, and keys that stay the same."""

from __future__ import annotations

import time

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from layers.bring_in.stand import make_stand
from layers.trees import number_along_row, trees_along_rows
from tests.odd_geometry import ZONE, X, Y


def rows(lengths: list[float]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {
            "row_id": [f"B1-R{number:02d}" for number in range(1, len(lengths) + 1)],
            "block_id": ["B1"] * len(lengths),
            "row_no": np.arange(1, len(lengths) + 1),
        },
        geometry=[
            shapely.LineString([(X, Y + 7 * place), (X + length, Y + 7 * place)])
            for place, length in enumerate(lengths)
        ],
        crs=ZONE,
    )


def test_trees_stand_at_the_planting_distance_from_each_rows_own_start() -> None:
    frame = rows([30.0, 29.0, 30.0])
    trees = trees_along_rows(
        frame,
        tree_gap_m=pd.Series([3.0, 3.0, 2.5]),
        first_tree_m=pd.Series([0.0, 1.0, None]),
    )
    # By hand: 30/3 + 1, (29 - 1)/3 + 1, 30/2.5 + 1.
    assert trees.groupby("row_no").size().tolist() == [11, 10, 13]
    second = trees[trees["row_no"] == 2]
    np.testing.assert_allclose(second.geometry.x - X, 1.0 + 3.0 * np.arange(10))
    assert second["tree_id"].iloc[[0, -1]].tolist() == ["B1-R02-T001", "B1-R02-T010"]
    assert set(trees["status"]) == {"standing"}


def test_rows_without_a_planting_distance_have_no_trees() -> None:
    trees = trees_along_rows(rows([30.0, 30.0]), tree_gap_m=pd.Series([None, 3.0]))
    assert set(trees["row_no"]) == {2}


def test_numbers_run_on_over_the_parts_of_a_row() -> None:
    frame = rows([9.0, 9.0]).assign(row_no=[1, 1], row_id=["B1-R01", "B1-R01-2"])
    trees = trees_along_rows(frame, tree_gap_m=pd.Series([3.0, 3.0]))
    assert trees["tree_no"].tolist() == [1, 2, 3, 4, 5, 6, 7, 8]
    assert trees["tree_id"].is_unique


def test_a_missing_tree_leaves_its_number_open() -> None:
    distance = np.array([0.0, 2.9, 9.1, 12.0])
    assert number_along_row(distance, tree_gap_m=3.0).tolist() == [1, 2, 4, 5]
    assert number_along_row(distance, tree_gap_m=None).tolist() == [1, 2, 3, 4]


def blocks() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {
            "block_id": ["B1", "B2", "B3"],
            "row_gap_m": [7.0, 6.0, 7.0],
            "tree_gap_m": [3.0, 3.0, 3.0],
            "row_bearing_deg": [None, None, 20.0],
        },
        geometry=[
            shapely.box(X - 5, Y - 5, X + 80, Y + 60),
            shapely.box(X + 100, Y - 5, X + 180, Y + 60),
            shapely.box(X + 200, Y - 5, X + 280, Y + 60),
        ],
        crs=ZONE,
    )


def drawn() -> gpd.GeoDataFrame:
    lines = [
        shapely.LineString([(X, Y + up), (X + 60, Y + up + 4)]) for up in (0.0, 7.0, 14.0, 21.0)
    ]
    return gpd.GeoDataFrame(geometry=lines, crs=ZONE)


def points() -> gpd.GeoDataFrame:
    east, north = np.meshgrid(np.arange(6) * 6.0, np.arange(15) * 3.0)
    kept = np.arange(east.size) % 7 != 3
    places = gpd.points_from_xy(X + 110 + east.ravel()[kept], Y + north.ravel()[kept])
    return gpd.GeoDataFrame(geometry=places, crs=ZONE)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 100_000))
def test_a_reimport_in_another_order_gives_the_same_trees(seed: int) -> None:
    generator = np.random.default_rng(seed)

    def shuffled(frame: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
        return frame.iloc[generator.permutation(len(frame))].reset_index(drop=True)

    first = make_stand(blocks(), drawn(), points())
    again = make_stand(shuffled(blocks()), shuffled(drawn()), shuffled(points()))
    for name in ("rows", "trees"):
        before, after = getattr(first, name), getattr(again, name)
        key = "row_id" if name == "rows" else "tree_id"
        assert before[key].tolist() == after[key].tolist()
        assert shapely.equals_exact(
            before.geometry.to_numpy(), after.geometry.to_numpy(), tolerance=1e-9
        ).all()


def test_one_more_block_changes_no_other_blocks_keys() -> None:
    before = make_stand(blocks().iloc[:2], drawn(), points()).trees
    after = make_stand(blocks(), drawn(), points()).trees
    assert set(before["tree_id"]) < set(after["tree_id"])
    assert after["tree_id"].is_unique


def test_trees_with_their_own_numbers_keep_them_and_their_gaps() -> None:
    numbered = (
        points()
        .iloc[:3]
        .assign(
            row_no=pd.Series([4, 4, 4], dtype="Int64"),
            tree_no=pd.Series([2, 5, 9], dtype="Int64"),
            status=["standing", "vacant", None],
        )
    )
    stand = make_stand(blocks().iloc[[1]], None, numbered)
    assert stand.trees["tree_id"].tolist() == ["B2-R04-T002", "B2-R04-T005", "B2-R04-T009"]
    assert stand.trees["status"].tolist() == ["standing", "vacant", "standing"]
    assert stand.rows["row_id"].tolist() == ["B2-R04"]


def test_two_trees_with_one_number_are_told_apart_and_said() -> None:
    twice = (
        points()
        .iloc[:2]
        .assign(row_no=pd.Series([1, 1], dtype="Int64"), tree_no=pd.Series([1, 1], dtype="Int64"))
    )
    stand = make_stand(blocks().iloc[[1]], None, twice)
    assert stand.trees["tree_id"].tolist() == ["B2-R01-T001", "B2-R01-T001-2"]
    assert any("another row has too" in fault.found for fault in stand.faults)


@pytest.mark.slow
def test_a_million_trees_are_set_along_their_rows_in_seconds() -> None:
    count = 20_000
    east, north = np.arange(count) % 100 * 160.0, np.arange(count) // 100 * 7.0
    starts = np.stack([X + east, Y + north], axis=1)
    lines = shapely.linestrings(np.stack([starts, starts + np.array([147.0, 0.0])], axis=1))
    block = np.char.add("B", (np.arange(count) // 40).astype("str"))
    frame = gpd.GeoDataFrame(
        {
            "row_id": np.char.add(
                np.char.add(block, "-R"), (np.arange(count) % 40 + 1).astype("str")
            ),
            "block_id": block,
            "row_no": np.arange(count) % 40 + 1,
        },
        geometry=lines,
        crs=ZONE,
    )
    started = time.process_time()
    trees = trees_along_rows(frame, tree_gap_m=pd.Series(np.full(count, 3.0)))
    assert len(trees) == 1_000_000
    assert trees["tree_id"].is_unique
    assert time.process_time() - started < 60.0
