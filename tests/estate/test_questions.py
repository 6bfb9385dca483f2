import gpxpy
import pandas as pd
import pytest
from click.testing import CliRunner

from estate.app.cli import commands
from layers.contract import LAYERS
from layers.errors import LayerError
from layers.geopackage import write_layers
from tests.reports.small_plan import small_plan


@pytest.fixture(scope="module")
def project(tmp_path_factory):
    plan = small_plan(blocks=2, rows=8, trees_a_row=12)
    path = tmp_path_factory.mktemp("asked") / "group.gpkg"
    frames = {name: getattr(plan.layers, name) for name in LAYERS}
    classes = plan.layers.trees[["tree_id", "block_id", "geometry"]].merge(
        plan.classes[["tree_id", "class"]], on="tree_id"
    )
    records = pd.DataFrame(
        {
            "task_id": ["A-1", "A-2"],
            "records": [12, 0],
            "g_per_tree": [31.0, float("nan")],
            "change_percent": [-30.0, float("nan")],
            "standard_errors": [-3.1, float("nan")],
            "behind": [True, False],
            "why": ["30 % less than before, weather aside", "too few records to say"],
        }
    )
    points = plan.layers.girth[["point_id", "geometry"]].merge(plan.matches, on="point_id")
    extra = {"tree_classes": classes, "match_points": points, "behind": records}
    write_layers(path, {**frames, **extra})
    return path


def run(*words):
    return CliRunner().invoke(commands, [str(w) for w in words])


def test_a_system_is_said_in_words_with_its_intensity():
    # Relative intensity of S/2 d3: 67 % (from memory).
    result = run("system", "1/2S d/3 6d/7")
    assert result.exit_code == 0
    assert result.stdout.startswith("S/2 d3 6d/7: half spiral")
    assert "67 %" in result.stdout
    assert "cm" in result.stdout


def test_a_misspelt_system_points_at_the_character():
    with pytest.raises(LayerError, match=r"\^"):
        CliRunner().invoke(commands, ["system", "S/2 q3"], catch_exceptions=False)


def test_a_sample_is_a_walk_over_trees_not_yet_taped(project, tmp_path):
    result = run("sample", project, "B01", "--margin", "0.02", "--out", tmp_path)
    assert result.exit_code == 0, result.output
    listed = pd.read_csv(tmp_path / "to-tape-B01.csv", encoding="utf-8-sig")
    route = gpxpy.parse((tmp_path / "to-tape-B01.gpx").read_text()).routes[0]
    assert [p.name for p in route.points] == listed.sort_values("stop_no")["tree_id"].tolist()
    assert listed["tree_id"].str.startswith("B01").all()


def test_a_block_that_isnt_there_is_named_with_those_that_are(project):
    with pytest.raises(LayerError, match="B01, B02"):
        CliRunner().invoke(commands, ["sample", str(project), "Z"], catch_exceptions=False)


def test_the_task_that_falls_behind_stands_first(project):
    result = run("behind", project)
    assert result.stdout.splitlines() == [
        "behind A-1: 31 g a tree, 30 % less than before, weather aside"
    ]


def test_stimulation_gives_cautions_amounts_and_refusals(project):
    result = run("stimulate", project, "--from", "2026-03-02")
    assert result.exit_code == 0, result.output
    assert "label" in result.stdout
    assert "loves" in result.stdout
    assert "B01: none" in result.stdout
    assert "litres" in result.stdout
