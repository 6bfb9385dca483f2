"""Decisions on what has left the layers are told and kept aside; they don't stop the run."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from estate import store
from estate.kept_aside import with_what_holds
from estate.plan_settings import PlanSettings
from estate.roster import beat_blocks
from estate.tasks import draw
from layers.contract import LAYERS
from layers.errors import SettingError
from layers.geopackage import write_layers
from tests.reports.small_plan import small_plan


@pytest.fixture(scope="module")
def layers():
    return small_plan(blocks=2, rows=4, trees_a_row=6).layers


def test_a_decision_on_a_block_that_is_gone_is_kept_aside(layers) -> None:
    settings = PlanSettings(on=date(2026, 3, 2), decided={"B01": "open", "B77": "closed"})
    kept, faults = with_what_holds(layers, settings)
    assert kept.decided == {"B01": "open"}
    assert settings.decided == {"B01": "open", "B77": "closed"}
    (fault,) = faults
    assert (fault.severity, fault.layer, fault.row) == ("noted", "decisions", "B77")
    assert "keep it closed" in fault.found
    assert "estate undecide" in fault.remedy


def test_a_point_confirmed_on_a_tree_that_is_gone_is_kept_aside(layers) -> None:
    point = layers.girth["point_id"].iloc[0]
    standing = layers.trees.loc[layers.trees["status"] == "standing", "tree_id"].iloc[0]
    confirmed = pd.DataFrame(
        {"point_id": [point, point, "gone", point], "tree_id": [standing, "B77-1", standing, None]},
        dtype="string",
    )
    settings = PlanSettings(on=date(2026, 3, 2), confirmed=confirmed)
    kept, faults = with_what_holds(layers, settings)
    assert kept.confirmed is not None
    assert kept.confirmed["tree_id"].fillna("none").tolist() == [standing, "none"]
    assert [fault.row for fault in faults] == [point, "gone"]


def test_the_word_on_a_block_that_is_gone_can_be_taken_back(layers, tmp_path: Path) -> None:
    project = tmp_path / "group.gpkg"
    write_layers(project, {name: getattr(layers, name) for name in LAYERS})
    store.decide(project, "B01", "open", on=date(2026, 3, 2))
    left = layers.blocks[layers.blocks["block_id"] != "B01"]
    write_layers(project, {"blocks": left})
    with pytest.raises(SettingError, match="no block_id B01"):
        store.decide(project, "B01", "closed", on=date(2026, 3, 3))
    store.decide(project, "B01", None, on=date(2026, 3, 3))
    assert store.decisions(project) == {}


def test_a_block_id_with_a_comma_stays_one_block() -> None:
    name = "B1, upper"
    row, tree = (grid.ravel() for grid in np.indices((6, 6)))
    trees = gpd.GeoDataFrame(
        {
            "tree_id": [f"{name}-R{r}-T{t}" for r, t in zip(row, tree, strict=True)],
            "row_id": [f"{name}-R{r}" for r in row],
            "block_id": name,
            "tree_no": tree + 1,
            "status": "standing",
        },
        geometry=shapely.points(500_000 + 3.0 * tree, 100_000 + 6.0 * row),
        crs=32648,
    )
    drawn = draw(trees)
    assert set(drawn.task_sums["block_ids"]) == {'"B1, upper"'}
    assert all(blocks == {name} for blocks in beat_blocks(drawn.task_sums).values())
