"""The main job as a story: an invented cooperative's raw layers, and what comes out of them."""

import json
import sqlite3
from datetime import date
from pathlib import Path

import geopandas as gpd
import icalendar
import numpy as np
import pandas as pd
import pytest
import rasterio
from click.testing import CliRunner

from estate.app.cli import commands
from estate.roster import shortest_interval

pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("main job")]


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("job") / "demo-estate"
    result = CliRunner().invoke(commands, ["demo", str(folder), "--json"])
    assert result.exit_code == 0, result.output
    return folder, json.loads(result.stdout), result.stderr


@pytest.fixture(scope="module")
def project(demo):
    _, record, _ = demo
    return Path(record["project"])


def layer(project: Path, name: str) -> gpd.GeoDataFrame:
    return gpd.read_file(project, layer=name)


def test_the_cooperative_is_of_the_size_that_was_asked_for(demo, project):
    _, record, _ = demo
    blocks = layer(project, "blocks")
    ages = (pd.Timestamp(record["on"]) - pd.to_datetime(blocks["planted_on"])).dt.days / 365.25
    assert record["holdings"] >= 14
    assert len(blocks) >= 20
    assert record["trees"] >= 15_000
    assert ages.min() < 5
    assert ages.max() > 25


def test_raw_layers_come_in_several_formats_and_crs(demo):
    folder, _, _ = demo
    endings = {p.suffix for p in folder.iterdir() if p.is_file()}
    assert {".gpkg", ".geojson", ".zip", ".kml", ".csv", ".xlsx", ".gpx", ".tif"} <= endings


def test_every_tree_place_has_one_class_with_its_reason(project):
    classes = layer(project, "tree_classes")
    assert classes["tree_id"].is_unique
    assert set(classes["class"]) == {
        *("ready", "near-ready", "mature", "immature", "unmeasured", "vacant", "dead", "dry")
    }
    assert (classes["reason"].str.len() > 3).all()
    assert len(classes) == len(layer(project, "trees"))


def test_near_ready_trees_have_a_date_ahead(demo, project):
    classes = layer(project, "tree_classes")
    near = classes[classes["class"] == "near-ready"]
    dates = pd.to_datetime(near["ready_on"])
    assert dates.notna().mean() > 0.95
    assert (dates.dropna() >= pd.Timestamp(demo[1]["on"])).all()


def test_every_ready_tree_of_an_open_block_is_tapped_exactly_once(project):
    classes = layer(project, "tree_classes")
    readiness = layer(project, "block_readiness").set_index("block_id")["decision"]
    opened = classes["block_id"].map(readiness).isin(["open", "in tapping"])
    to_tap = classes.loc[opened & classes["class"].isin(["ready", "mature"]), "tree_id"]
    stops = layer(project, "task_stops")
    assert stops["tree_id"].is_unique
    assert set(stops["tree_id"]) == set(to_tap)
    assert set(layer(project, "panels")["tree_id"]) == set(to_tap)


def test_mornings_of_a_beat_are_even_and_three(project):
    sums = layer(project, "task_sums")
    per_beat = sums.groupby("beat_id")
    assert (per_beat.size() % 3 == 0).all()
    assert (per_beat["minutes"].max() / per_beat["minutes"].mean()).max() <= 1.05


def test_no_tree_is_tapped_sooner_than_every_third_day(project):
    roster = layer(project, "roster")
    assert shortest_interval(roster) >= 3
    assert not roster.dropna(subset="tapper_id").duplicated(["date", "tapper_id"]).any()


def test_every_block_has_a_map_and_every_tapped_block_its_sheets(demo, project):
    _, record, _ = demo
    blocks = set(layer(project, "blocks")["block_id"])
    assert {Path(p).stem for p in record["files"]["maps"]} == blocks
    tapped = set(layer(project, "task_stops")["block_id"])
    assert {Path(p).stem for p in record["files"]["sheets"]} == tapped
    for paths in record["files"].values():
        assert all(Path(p).stat().st_size > 0 for p in paths)
    for path in [*record["files"]["sheets"], *record["files"]["reports"]]:
        assert Path(path).read_bytes()[:5] == b"%PDF-"


def test_maps_ask_nothing_of_the_network(demo):
    _, record, _ = demo
    for path in [*record["files"]["overview"], *record["files"]["maps"]]:
        page = Path(path).read_text("utf-8")
        assert 'src="http' not in page
        assert 'href="http' not in page.replace('href="https://leafletjs.com"', "")
        assert "url(http" not in page


def test_each_tapper_takes_a_calendar_along(demo, project):
    _, record, _ = demo
    roster = layer(project, "roster")
    for path in record["files"]["calendars"]:
        events = icalendar.Calendar.from_ical(Path(path).read_bytes()).walk("VEVENT")
        own = roster[(roster["tapper_id"] == Path(path).stem) & (roster["kind"] == "tap")]
        assert len(events) == len(own) > 0


def test_blocks_that_cant_be_decided_get_a_form_and_a_walk(demo, project):
    _, record, _ = demo
    readiness = layer(project, "block_readiness")
    unsure = set(readiness.loc[readiness["advice"] == "measure more", "block_id"])
    assert unsure
    assert {Path(p).stem for p in record["files"]["to-tape"]} == unsure


def test_as_many_trees_are_to_be_taped_as_the_decision_says(project):
    asked = layer(project, "to_tape").groupby("block_id").size()
    readiness = layer(project, "block_readiness").set_index("block_id")
    undecided = readiness.loc[readiness["advice"] == "measure more", "more_to_measure"]
    assert asked.to_dict() == undecided.to_dict()


def test_no_tree_of_an_opened_block_is_left_unmeasured(project):
    classes = layer(project, "tree_classes")
    readiness = layer(project, "block_readiness").set_index("block_id")["decision"]
    opened = classes[classes["block_id"].map(readiness) == "open"]
    assert (opened["class"] != "unmeasured").all()
    untaped = opened[(opened["girth_source"] == "estimated") & (opened["class"] == "ready")]
    assert len(untaped)
    assert untaped["reason"].str.contains("tape it when marking").all()


def test_the_girth_surface_covers_the_taped_blocks_with_its_error(demo, project):
    (path,) = demo[1]["files"]["girth surface"]
    blocks = layer(project, "blocks").set_index("block_id").geometry
    readiness = layer(project, "block_readiness").set_index("block_id")
    with rasterio.open(path) as raster:
        assert raster.descriptions == ("girth_cm", "se_cm")
        for block_id, measured in readiness["measured"].items():
            middle = blocks[block_id].representative_point()
            girth, error = next(raster.sample([(middle.x, middle.y)]))
            assert np.isfinite(girth) == np.isfinite(error)
            if measured == 0:
                assert np.isnan(girth)
            elif measured > 50:
                assert 20.0 < girth < 110.0
                assert 0.0 < error < 20.0


def test_the_table_of_decisions_reads_without_a_legend(demo, project):
    (path,) = [p for p in demo[1]["files"]["tables"] if Path(p).name == "decisions.csv"]
    table = pd.read_csv(path, encoding="utf-8-sig")
    assert set(table["Block"]) == set(layer(project, "blocks")["block_id"])
    assert table["What to do"].str.len().min() > 5
    waits = table[(table["Decision"] == "wait") & table["Likely from"].notna()]
    assert len(waits)
    assert (waits["Likely from"] <= waits["Sure from"]).all()


def test_the_project_is_a_geopackage_by_the_standard(project):
    # OGC 12-128r19, requirement 2: the application id is "GPKG".
    with sqlite3.connect(project) as base:
        assert base.execute("PRAGMA application_id").fetchone()[0] == 0x47504B47
        assert base.execute("PRAGMA integrity_check").fetchone()[0] == "ok"


def test_faults_are_found_and_nothing_is_written_by_check(demo):
    folder, record, _ = demo
    before = {p: p.stat().st_mtime_ns for p in folder.rglob("*")}
    result = CliRunner().invoke(commands, ["check", str(folder), "--json"])
    assert result.exit_code == 0
    faults = json.loads(result.stdout)
    assert len(faults) >= 5
    assert all(f["file"] and f["layer"] and f["remedy"] for f in faults)
    assert {p: p.stat().st_mtime_ns for p in folder.rglob("*")} == before
    assert [f["found"] for f in faults] == [f["found"] for f in record["faults"]]


def test_progress_goes_to_standard_error(demo):
    _, _, progress = demo
    assert "girth points" in progress


def test_the_same_layers_give_the_same_plan(demo, project, tmp_path):
    again = CliRunner().invoke(
        commands, ["plan", str(project), "--out", str(tmp_path), "--on", demo[1]["on"], "--json"]
    )
    assert again.exit_code == 0, again.output
    record = json.loads(again.stdout)
    assert record["classes"] == demo[1]["classes"]
    assert record["tasks"] == demo[1]["tasks"]
    assert date.fromisoformat(record["on"]) == date.fromisoformat(demo[1]["on"])
