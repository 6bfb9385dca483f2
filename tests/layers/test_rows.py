"""Rows set out, drawn and inferred, and their numbering."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from layers.errors import SettingError
from layers.rows import (
    folded_bearing_deg,
    infer_row_numbers,
    number_rows,
    rows_through_trees,
    set_out_rows,
)

Floats = NDArray[np.float64]


def grid(
    rows: int, trees: int, *, row_gap: float, tree_gap: float, bearing_deg: float
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Give x, y and the true row number of trees planted along a bearing, rows left to right."""
    row, tree = (
        part.ravel() for part in np.meshgrid(np.arange(rows), np.arange(trees), indexing="ij")
    )
    angle = np.radians(bearing_deg)
    right, along = row * row_gap, tree * tree_gap
    x = along * np.sin(angle) + right * np.cos(angle)
    y = along * np.cos(angle) - right * np.sin(angle)
    return x + 500_000.0, y + 100_000.0, row + 1


def contour(
    rows: int, trees: int, *, row_gap: float, tree_gap: float
) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Give trees on rows that bend round a hill: a third of a circle."""
    x, y, number = [], [], []
    for row in range(rows):
        radius = 60.0 + row_gap * row
        angle = np.arange(trees) * tree_gap / radius
        angle = angle[angle < 2.1]
        x.append(500_000.0 + radius * np.cos(angle))
        y.append(100_000.0 + radius * np.sin(angle))
        number.append(np.full(len(angle), row + 1))
    return np.concatenate(x), np.concatenate(y), np.concatenate(number)


def same_parting(first: NDArray[np.int64], second: NDArray[np.int64]) -> bool:
    pairs = set(zip(first.tolist(), second.tolist(), strict=True))
    return len(pairs) == len(set(first.tolist())) == len(set(second.tolist()))


def test_set_out_rows_by_hand() -> None:
    # 70 m by 30 m, rows 7 m apart running north: ten rows of ten trees, 3.5 and 1.5 m inside.
    rows = set_out_rows(shapely.box(0, 0, 70, 30), bearing_deg=0.0, row_gap_m=7.0, tree_gap_m=3.0)
    ends = shapely.get_coordinates(rows).reshape(-1, 2, 2)
    np.testing.assert_allclose(ends[:, 0, 0], 3.5 + 7.0 * np.arange(10))
    np.testing.assert_allclose(ends[:, 0, 1], 1.5)
    np.testing.assert_allclose(ends[:, 1, 1], 28.5)


def test_rows_set_out_southward_are_numbered_from_the_left_of_who_looks_south() -> None:
    rows = set_out_rows(shapely.box(0, 0, 70, 30), bearing_deg=180.0, row_gap_m=7.0, tree_gap_m=3.0)
    ends = shapely.get_coordinates(rows).reshape(-1, 2, 2)
    np.testing.assert_allclose(ends[0], [[66.5, 28.5], [66.5, 1.5]], atol=1e-9)


def test_a_concave_boundary_cuts_a_row_in_pieces() -> None:
    notched = shapely.difference(shapely.box(0, 0, 70, 60), shapely.box(30, 20, 70, 40))
    rows = set_out_rows(notched, bearing_deg=0.0, row_gap_m=7.0, tree_gap_m=3.0)
    assert len(rows) == 4 + 2 * 6
    assert shapely.covers(notched, rows).all()


@settings(max_examples=60, deadline=None)
@given(
    bearing_deg=st.floats(0.0, 360.0),
    row_gap_m=st.floats(3.0, 12.0),
    tree_gap_m=st.floats(1.5, 6.0),
    turn=st.floats(0.0, 90.0),
)
def test_rows_set_out_lie_inside_the_boundary_along_the_bearing(
    bearing_deg: float, row_gap_m: float, tree_gap_m: float, turn: float
) -> None:
    block = shapely.affinity.rotate(shapely.box(0, 0, 90, 60), turn)
    rows = set_out_rows(block, bearing_deg=bearing_deg, row_gap_m=row_gap_m, tree_gap_m=tree_gap_m)
    assert shapely.covers(shapely.buffer(block, 1e-6), rows).all()
    steps = shapely.length(rows) / tree_gap_m
    np.testing.assert_allclose(steps, np.rint(steps), atol=1e-6)
    ends = shapely.get_coordinates(rows).reshape(-1, 2, 2)
    way = ends[:, 1] - ends[:, 0]
    bearing = np.degrees(np.arctan2(way[:, 0], way[:, 1])) - bearing_deg
    np.testing.assert_allclose((bearing + 180.0) % 360.0 - 180.0, 0.0, atol=1e-6)
    # A long way from any edge a place has its share of the ground.
    assert 0.6 < (steps + 1).sum() * row_gap_m * tree_gap_m / block.area < 1.1


@pytest.mark.parametrize(
    "wrong", [{"row_gap_m": 0.0}, {"tree_gap_m": -3.0}, {"bearing_deg": 400.0}]
)
def test_distances_and_bearings_out_of_range_are_refused(wrong: dict[str, float]) -> None:
    right = {"bearing_deg": 0.0, "row_gap_m": 7.0, "tree_gap_m": 3.0}
    with pytest.raises(SettingError, match=r"row_gap_m|tree_gap_m|row_bearing_deg"):
        set_out_rows(shapely.box(0, 0, 70, 30), **{**right, **wrong})


def test_bearings_without_a_direction() -> None:
    eastward, northward = (
        np.array([0.0, 0.0, 1.0, -1.0, -1.0]),
        np.array([1.0, -1.0, 0.0, 0.0, 1.0]),
    )
    np.testing.assert_allclose(
        folded_bearing_deg(eastward=eastward, northward=northward), [0, 0, 90, 90, 135], atol=1e-9
    )


def test_drawn_rows_are_numbered_from_the_left() -> None:
    east = shapely.linestrings([[[0, up], [90, up]] for up in (0.0, 14.0, 7.0)])
    # Looking east the north is on the left.
    assert number_rows(east).tolist() == [3, 1, 2]
    north = shapely.linestrings([[[over, 0], [over, 90]] for over in (14.0, 0.0, 7.0)])
    assert number_rows(north).tolist() == [3, 1, 2]
    turned = shapely.reverse(north)
    assert number_rows(turned).tolist() == [3, 1, 2]


@pytest.mark.parametrize("bearing_deg", [0.0, 17.0, 45.0, 90.0, 133.0, 179.0])
@pytest.mark.parametrize(("row_gap", "tree_gap"), [(7.0, 3.0), (5.0, 4.0), (3.0, 3.0), (8.0, 2.5)])
def test_rows_are_inferred_from_a_plantation_with_gaps(
    bearing_deg: float, row_gap: float, tree_gap: float
) -> None:
    x, y, row = grid(12, 40, row_gap=row_gap, tree_gap=tree_gap, bearing_deg=bearing_deg)
    generator = np.random.default_rng(3)
    # An eighth of the places is vacant, and stakes are 15 cm off.
    kept = generator.uniform(size=len(x)) > 0.125
    x = x + 0.15 * generator.normal(size=len(x))
    y = y + 0.15 * generator.normal(size=len(y))
    number, aligned = infer_row_numbers(x=x[kept], y=y[kept], row_gap_m=row_gap)
    assert aligned
    assert same_parting(number, row[kept])
    if bearing_deg not in (0.0, 179.0):
        # The rows' own order, too; near north the side that is left hangs on the last degree.
        assert (number == row[kept]).all()


def test_contour_rows_are_followed_round_the_hill() -> None:
    x, y, row = contour(9, 60, row_gap=8.0, tree_gap=2.5)
    generator = np.random.default_rng(4)
    kept = generator.uniform(size=len(x)) > 0.1
    number, aligned = infer_row_numbers(x=x[kept], y=y[kept], row_gap_m=8.0)
    assert aligned
    assert same_parting(number, row[kept])


def test_a_stand_without_rows_is_cut_into_strips() -> None:
    generator = np.random.default_rng(6)
    x, y = generator.uniform(0.0, 200.0, 400), generator.uniform(0.0, 100.0, 400)
    number, aligned = infer_row_numbers(x=x, y=y, row_gap_m=8.0)
    assert not aligned
    # Strips run along the longer side, so there are about 100 / 8 of them.
    assert 12 <= number.max() <= 15
    assert set(number) == set(range(1, number.max() + 1))


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 10_000), regular=st.booleans())
@example(seed=1260, regular=True)  # rows due north, neighbours equally near
def test_inferred_rows_do_not_hang_on_the_order_of_the_trees(seed: int, regular: bool) -> None:
    generator = np.random.default_rng(seed)
    if regular:
        x, y, _ = grid(8, 20, row_gap=7.0, tree_gap=3.0, bearing_deg=float(seed % 180))
        kept = generator.uniform(size=len(x)) > 0.2
        x, y = x[kept], y[kept]
    else:
        x, y = generator.uniform(0.0, 90.0, 120), generator.uniform(0.0, 60.0, 120)
    order = generator.permutation(len(x))
    number, _ = infer_row_numbers(x=x, y=y)
    again, _ = infer_row_numbers(x=x[order], y=y[order])
    np.testing.assert_array_equal(number[order], again)


def test_rows_through_trees_pass_each_tree_in_order() -> None:
    trees = gpd.GeoDataFrame(
        {"block_id": ["B1"] * 4, "row_no": [1, 1, 2, 1], "tree_no": [1, 2, 1, 4]},
        geometry=gpd.points_from_xy([0, 3, 0, 9], [0, 0, 7, 1]),
        crs=32645,
    )
    rows = rows_through_trees(trees)
    assert rows.geometry.to_wkt().tolist() == [
        "LINESTRING (0 0, 3 0, 9 1)",
        "LINESTRING (0 6.5, 0 7.5)",
    ]
