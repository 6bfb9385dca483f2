"""Files to frames: every format the job takes, in any order, told apart by name."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layers import Intake, bring_in, write_layers
from layers.errors import LayerError, MissingLayerError

ZONE = 32748
X, Y = 500_000.0, 9_900_000.0


def holdings() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"Holding ID": ["H1", "H2"], "Member": ["Member 01", "Member 02"]},
        geometry=[
            shapely.box(X, Y, X + 200, Y + 200),
            shapely.box(X + 200, Y, X + 400, Y + 200),
        ],
        crs=ZONE,
    )


def blocks() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {
            "block_id": ["B1", "B2", "B3"],
            "holding_id": ["H1", "H1", "H2"],
            "planted_on": ["2014-05-01", "2010-06-01", "2012-12-31"],
            "material": ["budded", "budded", "seedling"],
            "row gap m": [7.0, 6.0, 8.0],
            "tree_gap_m": [3.0, 3.0, 2.5],
            "row_bearing_deg": [0.0, None, None],
        },
        geometry=[
            shapely.box(X + 10, Y + 10, X + 80, Y + 190),
            shapely.box(X + 110, Y + 10, X + 180, Y + 190),
            shapely.box(X + 210, Y + 10, X + 300, Y + 190),
        ],
        crs=ZONE,
    )


def drawn_rows() -> gpd.GeoDataFrame:
    lines = [shapely.LineString([(X + 120, Y + up), (X + 171, Y + up)]) for up in (160.0, 60.0)]
    return gpd.GeoDataFrame({"block_id": ["B2", "B2"]}, geometry=lines, crs=ZONE)


def tree_points() -> gpd.GeoDataFrame:
    across, up = np.meshgrid(np.arange(X + 215, X + 300, 8), np.arange(Y + 15, Y + 190, 2.5))
    places = gpd.points_from_xy(across.ravel(), up.ravel())
    return gpd.GeoDataFrame(geometry=places, crs=ZONE)


def write_folder(folder: Path) -> Path:
    holdings().to_file(folder / "holdings.geojson")
    blocks().to_crs(4326).to_file(folder / "blocks.gpkg", layer="anything")
    drawn_rows().to_file(folder / "rows.kml", driver="KML")
    tree_points().to_file(folder / "trees_b3.gpkg", layer="x")
    pd.DataFrame(
        {"lon": [105.0, 105.001], "lat": [-0.904, -0.9041], "Girth (mm)": [455, 500]}
    ).to_csv(folder / "girth_a.csv", index=False)
    return folder


@pytest.fixture
def intake(tmp_path: Path) -> Intake:
    return bring_in(write_folder(tmp_path))


def test_each_block_gets_its_trees_by_its_own_way(intake: Intake) -> None:
    trees = intake.layers.trees
    assert intake.layers.crs.to_epsg() == ZONE
    counts = trees.groupby(["block_id", "place_source"]).size().to_dict()
    # 70 m by 180 m at 7 by 3 m: ten rows of sixty; two rows of 51 m at 3 m: eighteen each;
    # eleven rows eight metres apart of seventy trees.
    assert counts == {
        ("B1", "set out"): 600,
        ("B2", "along rows"): 36,
        ("B3", "surveyed"): 770,
    }
    assert trees["tree_id"].is_unique
    assert trees["tree_id"].iloc[0] == "B1-R01-T001"


def test_headings_in_other_units_are_turned_and_said(intake: Intake) -> None:
    assert intake.layers.girth["girth_cm"].tolist() == [45.5, 50.0]
    assert any("Girth (mm)" in fault.found for fault in intake.faults)


def test_a_project_reads_back_as_it_was_written(intake: Intake, tmp_path: Path) -> None:
    names = ("holdings", "blocks", "rows", "trees", "girth", "obstacles", "places", "tappers")
    frames = {name: getattr(intake.layers, name) for name in names}
    project = tmp_path / "project.gpkg"
    write_layers(project, {**frames, "tasks": frames["trees"]})
    again = bring_in(project)
    assert not [fault for fault in again.faults if fault.severity == "mended"]
    for name, frame in frames.items():
        read = getattr(again.layers, name)
        assert set(read.columns) == set(frame.columns), name
        pd.testing.assert_frame_equal(
            pd.DataFrame(read)[list(frame.columns)].drop(columns="geometry", errors="ignore"),
            pd.DataFrame(frame).drop(columns="geometry", errors="ignore"),
            check_dtype=len(frame) > 0,
        )


def test_our_own_project_in_the_folder_is_not_read_twice(intake: Intake, tmp_path: Path) -> None:
    write_layers(tmp_path / "holdings_project.gpkg", {"holdings": intake.layers.holdings})
    assert len(bring_in(tmp_path).layers.holdings) == 2


def test_a_layer_without_a_crs_is_refused_with_the_remedy(tmp_path: Path) -> None:
    write_folder(tmp_path)
    frame = drawn_rows().set_crs(None, allow_override=True)
    frame.to_file(tmp_path / "rows_more.shp")
    with pytest.raises(LayerError, match=r"\[crs\]"):
        bring_in(tmp_path)
    (tmp_path / "columns.toml").write_text('[crs]\n"rows_more.shp" = "EPSG:32748"\n')
    assert len(bring_in(tmp_path).layers.rows) > 0


def test_an_empty_folder_says_what_to_name_files(tmp_path: Path) -> None:
    with pytest.raises(MissingLayerError, match="blocks"):
        bring_in(tmp_path)
