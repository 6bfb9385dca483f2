"""Faults are found, mended where that is safe, and always said."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layers import checks
from layers.errors import Fault
from layers.mending import drop_twins, mend_geometry
from tests.odd_geometry import AREAS, ZONE, X, Y, area_frame


def told(faults: list[Fault], severity: str) -> dict[str, str]:
    return {fault.row: fault.found for fault in faults if fault.severity == severity}


def test_every_odd_area_is_used_mended_or_left_out_as_it_should_be() -> None:
    mended, faults = mend_geometry(area_frame(), "holdings")
    areas = dict(zip(mended["holding_id"], mended.geometry.area, strict=True))
    wanted = {name: area for name, (_, area) in AREAS.items() if area is not None}
    assert areas == pytest.approx(wanted)
    assert set(mended.geom_type) == {"MultiPolygon"}
    assert mended.geometry.is_valid.all()
    assert not mended.geometry.has_z.any()
    mends = told(faults, "mended")
    assert set(mends) == {"bow-tie", "closed line", "hole outside", ""}
    assert "Self-intersection" in mends["bow-tie"]
    assert "heights" in mends[""]
    assert set(told(faults, "noted")) == {"sliver", "empty", "missing", "point"}


def test_a_sound_area_is_left_as_it_is_and_nothing_is_said() -> None:
    before = area_frame("square", "hole", "multipart", "clockwise")
    after, faults = mend_geometry(before, "holdings")
    assert faults == []
    assert after.geometry.geom_equals(before.geometry).all()


def test_the_frame_that_came_in_is_untouched() -> None:
    before = area_frame()
    copy = before.copy(deep=True)
    mend_geometry(before, "holdings")
    pd.testing.assert_frame_equal(pd.DataFrame(before), pd.DataFrame(copy))


def test_a_sliver_beside_a_true_part_is_dropped_and_said() -> None:
    both = shapely.MultiPolygon([AREAS["square"][0], shapely.box(X + 200, Y, X + 300, Y + 0.1)])
    frame = gpd.GeoDataFrame({"holding_id": ["H1"]}, geometry=[both], crs=ZONE)
    mended, faults = mend_geometry(frame, "holdings")
    assert mended.geometry.area.tolist() == pytest.approx([10_000.0])
    assert [fault.severity for fault in faults] == ["mended"]


def test_a_row_in_parts_keeps_each_part_and_its_direction() -> None:
    parts = shapely.MultiLineString(
        [[(X, Y), (X + 40, Y)], [(X + 50, Y), (X + 90, Y)], [(X + 200, Y), (X + 200, Y)]]
    )
    whole = shapely.LineString([(X + 90, Y + 7), (X, Y + 7)])
    frame = gpd.GeoDataFrame(
        {"block_id": ["B1", "B1"], "row_no": [1, 2]}, geometry=[parts, whole], crs=ZONE
    )
    mended, _ = mend_geometry(frame, "rows")
    starts = [shapely.get_point(line, 0).x - X for line in mended.geometry]
    assert starts == [0.0, 50.0, 90.0]
    assert mended["row_no"].tolist() == [1, 1, 2]


def test_several_points_in_one_row_become_rows() -> None:
    frame = gpd.GeoDataFrame(
        {"point_id": ["P1"]}, geometry=[shapely.MultiPoint([(X, Y), (X + 1, Y)])], crs=ZONE
    )
    mended, faults = mend_geometry(frame, "girth")
    assert len(mended) == 2
    assert faults[0].severity == "mended"


def test_overlapping_holdings_are_told_with_their_area() -> None:
    frame = gpd.GeoDataFrame(
        {"holding_id": ["H1", "H2", "H3"]},
        geometry=[
            shapely.box(X, Y, X + 100, Y + 100),
            shapely.box(X + 97, Y, X + 200, Y + 100),
            shapely.box(X + 200, Y, X + 300, Y + 100),
        ],
        crs=ZONE,
    )
    faults = checks.overlaps(frame, "holdings")
    # Three metres by a hundred; H2 and H3 only touch.
    assert [fault.found for fault in faults] == ["an overlap of 300 m² with H2"]


def holdings() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"holding_id": ["H1"]}, geometry=[shapely.box(X, Y, X + 100, Y + 100)], crs=ZONE
    )


def blocks() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"block_id": ["B1", "B2", "B3"], "holding_id": ["H1", "H1", "H9"]},
        geometry=[
            shapely.box(X + 5, Y + 5, X + 95, Y + 50),
            shapely.box(X + 50, Y + 55, X + 150, Y + 95),
            shapely.box(X + 5, Y + 55, X + 45, Y + 95),
        ],
        crs=ZONE,
    )


def test_blocks_outside_their_holding_or_of_no_holding_are_told() -> None:
    faults = checks.blocks_outside(blocks(), holdings())
    assert told(faults, "noted") == {
        "B3": "holding_id H9, which is no holding",
        "B2": "50% of its area outside its holding",
    }


def test_rows_and_trees_outside_their_block_are_told() -> None:
    rows = gpd.GeoDataFrame(
        {"row_id": ["B1-R01", "B1-R02"], "block_id": ["B1", "B1"], "row_no": [1, 2]},
        geometry=[
            shapely.LineString([(X + 6, Y + 10), (X + 94, Y + 10)]),
            shapely.LineString([(X + 6, Y + 20), (X + 125, Y + 20)]),
        ],
        crs=ZONE,
    )
    # Thirty metres beyond the boundary, less the metre in hand.
    assert told(checks.rows_outside(rows, blocks()), "noted") == {
        "B1-R02": "29 m of it outside block B1"
    }
    trees = gpd.GeoDataFrame(
        {"tree_id": ["in", "near", "far"], "block_id": ["B1"] * 3},
        geometry=gpd.points_from_xy([X + 50, X + 97, X + 107], [Y + 20] * 3),
        crs=ZONE,
    )
    assert told(checks.trees_outside(trees, blocks()), "noted") == {
        "far": "a tree 12 m outside its block"
    }


def test_twins_are_left_out_once() -> None:
    frame = pd.concat([holdings(), holdings()], ignore_index=True)
    kept, faults = drop_twins(gpd.GeoDataFrame(frame, crs=ZONE), "holdings")
    assert len(kept) == 1
    assert [fault.severity for fault in faults] == ["mended"]


def test_turned_axes_are_told_from_a_layer_that_is_far_away() -> None:
    centre = shapely.Point(9.5, 4.2)
    turned = gpd.GeoDataFrame(geometry=[shapely.Point(4.2, 9.5)], crs=4326)
    faults = checks.swapped_or_far(turned, "girth", centre=centre)
    assert [fault.severity for fault in faults] == ["stops"]
    assert "turned about" in faults[0].found
    away = gpd.GeoDataFrame(geometry=[shapely.Point(11.0, 4.2)], crs=4326)
    assert [f.severity for f in checks.swapped_or_far(away, "girth", centre=centre)] == ["noted"]
    near = gpd.GeoDataFrame(geometry=[shapely.Point(9.51, 4.21)], crs=4326)
    assert checks.swapped_or_far(near, "girth", centre=centre) == []


def test_a_thousand_faults_of_a_kind_are_told_in_twenty_one_lines() -> None:
    frame = gpd.GeoDataFrame(
        {"point_id": [f"P{number}" for number in range(1000)]},
        geometry=np.full(1000, None),
        crs=ZONE,
    )
    _, faults = mend_geometry(frame, "girth")
    assert len(faults) == 21
    assert faults[-1].row == "P20 and 979 more"


def test_girths_without_a_date_are_told() -> None:
    none = pd.DataFrame({"girth_cm": [45.0, 46.0]})
    (fault,) = checks.girths_undated(none)
    assert (fault.severity, fault.found) == ("noted", "no date on any girth")
    assert "measured_at" in fault.remedy
    some = none.assign(measured_at=pd.to_datetime(["2026-01-10", None]))
    (fault,) = checks.girths_undated(some)
    assert (fault.severity, fault.found) == ("noted", "no date on 1 of 2")
    assert checks.girths_undated(some.iloc[:1]) == []
