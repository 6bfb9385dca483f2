"""Layers made from open data come in like any cooperative's: see `tests.open_data`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import shapely

from layers import Intake, bring_in
from layers.terrain import elevation_at
from tests.open_data import OpenData, write_open_data


@pytest.fixture(scope="module")
def open_data(tmp_path_factory: pytest.TempPathFactory) -> OpenData:
    return write_open_data(tmp_path_factory.mktemp("open"))


@pytest.fixture(scope="module")
def intake(open_data: OpenData) -> Intake:
    return bring_in(open_data.folder)


def test_every_pine_comes_in_once(open_data: OpenData, intake: Intake) -> None:
    layers = intake.layers
    truth = open_data.trees
    wide = truth["spacing_ft"] == 15
    assert layers.crs.to_epsg() == 32616
    assert (layers.trees["block_id"] == "wide").sum() == wide.sum()
    assert (layers.trees["block_id"] == "narrow").sum() == (~wide & truth["alive"]).sum()
    vacant = layers.trees[layers.trees["status"] == "vacant"]
    assert len(vacant) == (wide & ~truth["alive"]).sum()


def test_rows_inferred_from_bare_points_are_the_rows_that_were_planted(
    open_data: OpenData, intake: Intake
) -> None:
    trees = intake.layers.trees[intake.layers.trees["block_id"] == "narrow"]
    truth = open_data.trees[(open_data.trees["spacing_ft"] == 10) & open_data.trees["alive"]]
    points = shapely.points(truth[["x_m", "y_m"]].to_numpy())
    nearest = shapely.STRtree(points).query_nearest(trees.geometry.to_numpy(), all_matches=False)[1]
    planted = truth.iloc[nearest]
    # The grid is square, so its rows may be read along either side; the planting is the same.
    for lines, places in (("row", "column"), ("column", "row")):
        pairs = set(zip(trees["row_no"], planted[lines], strict=True))
        if len(pairs) == planted[lines].nunique() == trees["row_no"].nunique():
            steps = np.diff(trees["tree_no"].to_numpy())
            same = np.diff(trees["row_no"].to_numpy()) == 0
            true_steps = np.abs(np.diff(planted[places].to_numpy()))
            assert (steps[same] == true_steps[same]).all()
            return
    pytest.fail("the inferred rows are neither the planted rows nor the planted columns")


def test_diameters_come_in_as_girths(open_data: OpenData, intake: Intake) -> None:
    girth = intake.layers.girth
    assert len(girth) == len(open_data.points)
    late = girth[girth["session_id"].str.startswith("Diam97")]
    diameter = open_data.trees["Diam97"]
    for share in (0.1, 0.5, 0.9):
        assert late["girth_cm"].quantile(share) == pytest.approx(
            np.pi * diameter.quantile(share), abs=1e-6
        )


def test_the_ground_lies_under_the_trees(intake: Intake) -> None:
    assert intake.layers.terrain is not None
    places = shapely.get_coordinates(intake.layers.trees.geometry.to_numpy())
    height = elevation_at(intake.layers.terrain, x=places[:, 0], y=places[:, 1])
    # The raster's own range, metres above the sea.
    assert np.isfinite(height).all()
    assert height.min() > 236.0
    assert height.max() < 1076.0


def test_folder_is_read_without_a_stop(intake: Intake, open_data: OpenData) -> None:
    assert Path(open_data.folder / "standards.toml").exists()
    assert not [fault for fault in intake.faults if fault.severity == "stops"]
