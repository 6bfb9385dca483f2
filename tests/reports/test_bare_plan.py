"""A plan of layers that hold their keys only: every sheet still prints."""

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from layers.errors import SettingError
from reports.sheets import block_sheets, field_form, opening_report, task_sheets, wall_calendar
from tests.reports.pages import texts
from tests.reports.small_plan import CRS_HERE, small_plan


@pytest.fixture(scope="module")
def plan():
    whole = small_plan(blocks=1, rows=4, trees_a_row=9)
    layers = whole.layers
    bare = replace(
        layers,
        holdings=layers.holdings[["holding_id", "geometry"]],
        blocks=layers.blocks[["block_id", "geometry"]],
        obstacles=empty("obstacle_id", "kind", "passable"),
        places=empty("place_id", "kind"),
        tappers=pd.DataFrame({"tapper_id": pd.Series(dtype=str)}),
        terrain=None,
    )
    return replace(
        whole,
        layers=bare,
        roster=whole.roster.iloc[:0],
        walks=whole.walks.iloc[:0],
        rose=whole.rose.iloc[:0],
        facing=whole.facing.iloc[:0],
    )


def empty(*columns):
    frame = pd.DataFrame({column: pd.Series(dtype=object) for column in columns})
    return gpd.GeoDataFrame(frame, geometry=gpd.GeoSeries([], crs=CRS_HERE), crs=CRS_HERE)


@pytest.mark.parametrize("paper", ["a4", "a5"])
def test_a_task_prints_without_places_obstacles_tappers_or_days(plan, tmp_path, paper):
    said = texts(block_sheets(plan, "B01", tmp_path / "bare.pdf", paper=paper))[0]
    assert "No days are planned yet." in said
    assert "Collection place" not in said


def test_a_task_of_one_tree_prints(plan, tmp_path):
    one = plan.tasks.iloc[:1].assign(task_id="T1", stop_no=1)
    sums = plan.task_sums.iloc[:1].assign(task_id="T1", trees=1, walk_m=0.0)
    small = replace(plan, tasks=one, task_sums=sums)
    pages = texts(task_sheets(small, ["T1"], tmp_path / "one.pdf"))
    assert len(pages) == 1
    assert "Task T1" in pages[0]


def test_the_opening_report_prints_without_sun_or_planting_dates(plan, tmp_path):
    assert "B01" in texts(opening_report(plan, tmp_path / "opening.pdf"))[0]


def test_a_block_with_nothing_known_is_told_with_a_dash(plan, tmp_path):
    unknown = plan.readiness.assign(
        ready_share=np.nan, low=np.nan, high=np.nan, measured=0, decision="measure more"
    )
    said = texts(opening_report(replace(plan, readiness=unknown), tmp_path / "opening.pdf"))[0]
    assert "–" in next(line for line in said.splitlines() if line.startswith("B01"))


def test_a_form_without_trees_and_a_calendar_without_days_are_refused(plan, tmp_path):
    none = pd.DataFrame({"tree_id": ["nowhere"], "stop_no": [1]})
    with pytest.raises(SettingError, match="B01"):
        field_form(plan, "B01", none, tmp_path / "form.pdf")
    with pytest.raises(SettingError, match="no day"):
        wall_calendar(plan, tmp_path / "wall.pdf")


def test_names_in_other_scripts_are_printed_with_the_machines_fonts_or_ours(plan, tmp_path):
    named = plan.layers.holdings.assign(member="Nguyễn วันดี രാജൻ")
    blocks = plan.layers.blocks.assign(holding_id=named["holding_id"].iloc[0])
    told = replace(plan, layers=replace(plan.layers, holdings=named, blocks=blocks))
    said = texts(block_sheets(told, "B01", tmp_path / "named.pdf"))[0]
    assert "Nguyễn" in said


@pytest.mark.parametrize("paper", ["a4", "a5"])
def test_a_task_without_panels_prints_its_map_and_rows(plan, tmp_path, paper):
    bare = replace(plan, panels=plan.panels.iloc[:0])
    said = texts(block_sheets(bare, "B01", tmp_path / "bare.pdf", paper=paper))[0]
    assert "Rows in walking order" in said
    assert "Cut faces" not in said


def test_long_lists_of_rows_go_on_to_a_further_page(tmp_path):
    whole = small_plan(blocks=1, rows=75, trees_a_row=8)
    tasks = whole.tasks.assign(task_id="T1")
    tasks = tasks.assign(stop_no=np.arange(1, len(tasks) + 1))
    sums = whole.task_sums.iloc[:1].assign(task_id="T1", trees=len(tasks))
    long = replace(whole, tasks=tasks, task_sums=sums, walks=whole.walks.iloc[:0])
    first, *others = texts(task_sheets(long, ["T1"], tmp_path / "long.pdf"))
    assert "More rows on a following page" in first
    assert "rows, continued" in others[-1]
    said = "".join([first, *others])
    rows = tasks.merge(whole.layers.trees, on="tree_id")["row_id"].nunique()
    assert said.count("→") - said.count("From → to") == rows
