"""The demo: an invented cooperative that the job reads like anyone's data."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely

from estate.app.demo import demo_day, demo_truth, true_stand, write_demo
from layers import Intake, bring_in


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    write_demo(folder)
    return folder


@pytest.fixture(scope="module")
def intake(folder: Path) -> Intake:
    return bring_in(folder)


def test_it_is_as_large_and_as_mixed_as_promised(intake: Intake, folder: Path) -> None:
    layers = intake.layers
    assert len(layers.holdings) >= 14
    assert len(layers.blocks) >= 20
    assert len(layers.trees) >= 15_000
    ages = (pd.Timestamp(demo_day()) - layers.blocks["planted_on"]).dt.days / 365.25
    assert 4.0 <= ages.min() < 5.0
    assert 25.0 < ages.max() <= 26.0
    assert {path.suffix for path in folder.iterdir()} == {
        ".csv", ".geojson", ".gpkg", ".gpx", ".kml", ".tif", ".toml", ".xlsx", ".zip",
    }  # fmt: skip
    assert len({source.crs for source in intake.sources if source.crs}) >= 4
    assert set(layers.trees["place_source"]) == {"along rows", "set out", "surveyed"}
    assert {"standing", "vacant", "dead", "dry"} == set(layers.trees["status"])


def test_the_check_finds_the_faults_that_were_put_in(intake: Intake) -> None:
    told = [f"{fault.severity} {fault.layer} {fault.row} {fault.found}" for fault in intake.faults]
    for wanted in (
        "noted holdings H09 an overlap of",
        "mended blocks B09 a boundary that isn't a plain ring",
        "mended blocks B13 no holding_id",
        "mended blocks  heights",
        "noted rows B02-R01 32 m of it outside block B02",
        "mended rows 237 the same row",
        "noted girth P00031 measured_at = “12th, morning”",
        "noted girth P00058 girth_cm = “forty-six”",
        "noted obstacles O2 a drain",
    ):
        assert any(line.startswith(wanted) for line in told), wanted
    assert not [line for line in told if line.startswith("stops")]


def test_every_true_tree_of_a_point_is_a_tree_of_the_job(intake: Intake) -> None:
    truth = demo_truth()
    trees = intake.layers.trees
    assert set(truth["point_id"]) == set(intake.layers.girth["point_id"])
    told = truth.dropna(subset="tree_id")
    places = shapely.points(told[["x_m", "y_m"]].to_numpy())
    nearest, distance = shapely.STRtree(trees.geometry.to_numpy()).query_nearest(
        places, all_matches=False, return_distance=True
    )
    assert distance.max() < 0.05
    named = trees["tree_id"].to_numpy()[nearest[1]]
    numbered = ~told["tree_id"].str.startswith("B20").to_numpy()
    assert (named[numbered] == told["tree_id"].to_numpy()[numbered]).all()


def test_points_are_several_metres_off_and_some_belong_to_no_tree(intake: Intake) -> None:
    truth = demo_truth().merge(intake.layers.girth, on="point_id")
    off = np.hypot(
        truth["x_m"] - shapely.get_x(truth["geometry"].to_numpy()),
        truth["y_m"] - shapely.get_y(truth["geometry"].to_numpy()),
    )
    assert 3.0 < off.median() < 7.0
    assert 0.005 < truth["tree_id"].isna().mean() < 0.03


def test_girth_grows_with_age_and_stands_in_patches() -> None:
    trees = true_stand().trees
    mean = trees.groupby("block_id").agg(age=("age_years", "first"), girth=("girth_cm", "mean"))
    assert mean.corr(method="spearman").loc["age", "girth"] > 0.9


def test_a_second_writing_gives_the_same_layers(folder: Path, tmp_path: Path) -> None:
    # GeoPackages and archives carry the moment of writing; the plain files are alike to the byte.
    write_demo(tmp_path)
    for path in sorted(folder.iterdir()):
        if path.suffix in (".csv", ".geojson", ".gpx", ".kml", ".tif", ".toml"):
            fresh = (tmp_path / path.name).read_bytes()
            assert hashlib.sha256(fresh).digest() == hashlib.sha256(path.read_bytes()).digest()
