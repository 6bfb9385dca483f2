"""The whole way on layers that this project did not make; sources: tests/open_data.py."""

import json
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
from click.testing import CliRunner

from estate.app.cli import commands
from tests.open_data import PLAN_DAY, STANDARD_NAME, pines, write_open_data

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("open data job")]


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    folder = tmp_path_factory.mktemp("open") / "pines"
    data = write_open_data(folder)
    words = ["plan", str(folder), "--on", str(PLAN_DAY), "--standard", STANDARD_NAME, "--json"]
    result = CliRunner().invoke(commands, words)
    assert result.exit_code == 0, result.output
    return data, json.loads(result.stdout)


def layer(record: dict, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(record["project"], layer=name)


@pytest.fixture(scope="module")
def placed(job):
    """Every tree place of the plan beside the planting place where it truly stands."""
    data, record = job
    truth = gpd.GeoDataFrame(
        data.trees, geometry=gpd.points_from_xy(data.trees["x_m"], data.trees["y_m"])
    )
    classes = layer(record, "tree_classes")
    return classes.sjoin_nearest(truth.set_crs(classes.crs), max_distance=0.5)


def test_points_land_on_the_trees_that_they_were_taken_on(job, placed):
    data, record = job
    place = placed.set_index("tree_id")[["row", "column"]]
    matches = layer(record, "match_points").merge(data.points, on="point_id")
    found = place.reindex(matches["tree_id"]).to_numpy()
    right = (found == matches[["row", "column"]].to_numpy()).all(axis=1)
    assert right.mean() > 0.97
    sure = (matches["probability"] >= 0.95).to_numpy()
    assert right[sure].mean() > 0.98


def test_trees_are_classed_by_their_measured_diameters(placed):
    table = pines()
    girth = np.pi * table.set_index(["row", "column"])["Diam97"]
    own = girth.reindex(list(zip(placed["row"], placed["column"], strict=True))).to_numpy()
    known = np.isfinite(own) & (np.abs(own - 20.0) > 1.0) & (placed["status"] == "standing")
    ready = (placed["class"] == "ready").to_numpy()
    assert known.sum() > 500
    assert (ready[known] == (own[known] >= 20.0)).mean() > 0.95


def test_every_stage_reached_its_end(job):
    _, record = job
    blocks = set(layer(record, "blocks")["block_id"])
    assert {Path(p).stem for p in record["files"]["maps"]} == blocks
    assert {Path(p).stem for p in record["files"]["sheets"]} == blocks
    assert len(layer(record, "task_stops")) == len(set(layer(record, "panels")["tree_id"]))
    facing = layer(record, "block_readiness")
    assert facing["first_face_deg"].notna().all()


def test_the_ground_under_the_trees_is_the_measured_one(job):
    _, record = job
    page = Path(record["files"]["maps"][0]).read_text("utf-8")
    assert "data:image" in page
