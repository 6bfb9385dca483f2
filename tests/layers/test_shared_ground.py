"""Two blocks over the same ground: told by key and hectares, and no tree is counted twice."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layers import Intake, bring_in
from layers.errors import Fault
from layers.shared_ground import shared_ground

ZONE = 32748
X, Y = 500_000.0, 9_900_000.0


def write_blocks(folder: Path, **shapes: shapely.Geometry) -> Path:
    gpd.GeoDataFrame(
        {
            "block_id": list(shapes),
            "row_gap_m": 7.0,
            "tree_gap_m": 3.0,
            "row_bearing_deg": 0.0,
        },
        geometry=list(shapes.values()),
        crs=ZONE,
    ).to_file(folder / "blocks.gpkg", layer="blocks")
    return folder


def square(east: float, width: float = 140.0) -> shapely.Polygon:
    return shapely.box(X + east, Y, X + east + width, Y + 90.0)


def told(intake: Intake) -> list[Fault]:
    return [fault for fault in intake.faults if " ha (" in fault.found]


def counts(intake: Intake) -> dict[str, int]:
    return intake.layers.trees.groupby("block_id").size().to_dict()


def test_rows_that_are_set_out_stop_where_the_first_block_begins(tmp_path: Path) -> None:
    intake = bring_in(write_blocks(tmp_path, B1=square(0), B2=square(70)))
    # 140 m by 90 m at 7 by 3 m: twenty rows of thirty. B2 keeps its half: ten rows.
    assert counts(intake) == {"B1": 600, "B2": 300}
    (fault,) = told(intake)
    assert (fault.severity, fault.row) == ("mended", "B1 and B2")
    # Seventy by ninety metres.
    assert fault.found.startswith("0.63 ha (50%) of B2 lie in B1 too; the rows of B2 are set out")
    spots = shapely.get_coordinates(intake.layers.trees.geometry.to_numpy())
    nearest = shapely.STRtree(shapely.points(spots)).query_nearest(
        shapely.points(spots), exclusive=True, return_distance=True
    )[1]
    assert nearest.min() > 2.9


def test_a_block_with_drawn_rows_keeps_its_ground_whatever_its_key(tmp_path: Path) -> None:
    write_blocks(tmp_path, B1=square(0), B2=square(70))
    lines = [shapely.LineString([(X + e, Y + 1), (X + e, Y + 88)]) for e in range(80, 210, 7)]
    gpd.GeoDataFrame({"block_id": "B2"}, geometry=lines, crs=ZONE, index=range(len(lines))).to_file(
        tmp_path / "rows.geojson"
    )
    intake = bring_in(tmp_path)
    assert counts(intake)["B1"] == 300
    assert counts(intake)["B2"] == len(lines) * 30
    assert told(intake)[0].row == "B2 and B1"


def test_a_row_drawn_for_both_blocks_gives_its_trees_once(tmp_path: Path) -> None:
    write_blocks(tmp_path, B1=square(0), B2=square(70))
    east = {"B1": (10, 80, 100), "B2": (81, 101, 180)}
    frame = pd.DataFrame([(b, e) for b, own in east.items() for e in own], columns=["b", "e"])
    lines = [shapely.LineString([(X + e, Y + 1), (X + e, Y + 88)]) for e in frame["e"]]
    gpd.GeoDataFrame({"block_id": frame["b"]}, geometry=lines, crs=ZONE).to_file(
        tmp_path / "rows.geojson"
    )
    intake = bring_in(tmp_path)
    assert counts(intake) == {"B1": 90, "B2": 30}
    assert "60 trees of B2 where B1 has one already are left out" in told(intake)[0].found


def test_surveyed_trees_are_left_out_on_one_spot_only(tmp_path: Path) -> None:
    write_blocks(tmp_path, B1=square(0), B2=square(70))
    gpd.GeoDataFrame(
        {"block_id": ["B1", "B1", "B2", "B2", "B2"], "row_no": 1, "tree_no": [1, 2, 1, 2, 3]},
        geometry=gpd.points_from_xy(X + np.array([80, 83, 80.1, 86, 200]), [Y + 9] * 5),
        crs=ZONE,
    ).to_file(tmp_path / "trees.geojson")
    intake = bring_in(tmp_path)
    assert counts(intake) == {"B1": 2, "B2": 2}
    assert "1 trees of B2 and 2 of B1 stand there and are counted" in told(intake)[0].found


def test_a_sliver_along_a_common_boundary_is_nobodys_fault(tmp_path: Path) -> None:
    intake = bring_in(write_blocks(tmp_path, B1=square(0), B2=square(139.8)))
    assert told(intake) == []
    assert counts(intake) == {"B1": 600, "B2": 600}


def test_a_block_wholly_in_others_has_no_trees_and_says_so(tmp_path: Path) -> None:
    intake = bring_in(write_blocks(tmp_path, A=square(0), B=square(20, 50)))
    assert counts(intake) == {"A": 600}
    assert [f.row for f in intake.faults if "wholly in others" in f.found] == ["B"]


def test_of_three_blocks_over_one_ground_the_first_has_the_trees(tmp_path: Path) -> None:
    whole = bring_in(write_blocks(tmp_path, B1=square(0), B2=square(0), B3=square(0)))
    assert counts(whole) == {"B1": 600}
    assert len(told(whole)) == 3


@pytest.mark.parametrize("order", [("B1", "B2"), ("B2", "B1")])
def test_the_order_in_the_file_doesnt_matter(tmp_path: Path, order: tuple[str, ...]) -> None:
    places = {"B1": square(0), "B2": square(70)}
    blocks = gpd.GeoDataFrame(
        {"block_id": list(order)}, geometry=[places[name] for name in order], crs=ZONE
    )
    shared = shared_ground(blocks)
    assert blocks["block_id"].iloc[int(shared.first[0])] == "B1"
    assert shapely.area(shared.shapes).tolist() == pytest.approx([6300.0])
