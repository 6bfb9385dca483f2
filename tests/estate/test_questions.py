import gpxpy
import numpy as np
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


def project_with(folder, *, bark_mm=7.5, wintering="", interval_days=3):
    """A planned project of two blocks, the second mature, one bark measured on each third point."""
    plan = small_plan(blocks=2, rows=8, trees_a_row=12)
    classes = plan.layers.trees[["tree_id", "block_id", "geometry"]].merge(
        plan.classes[["tree_id", "class"]], on="tree_id"
    )
    girth = plan.layers.girth.assign(bark_mm=np.nan)
    girth.loc[girth.index[::3], "bark_mm"] = bark_mm
    points = girth[["point_id", "geometry"]].merge(plan.matches, on="point_id")
    settings = {"interval_days": str(interval_days), "wintering": wintering}
    frames = {name: getattr(plan.layers, name) for name in LAYERS} | {
        "girth": girth,
        "tree_classes": classes,
        "match_points": points,
        "settings": pd.DataFrame({"name": settings.keys(), "value": settings.values()}),
    }
    folder.mkdir()
    write_layers(folder / "group.gpkg", frames)
    return folder / "group.gpkg"


def days_of(said):
    return pd.to_datetime(
        [line.split(":")[0].strip() for line in said.splitlines() if ", round " in line]
    )


def test_bark_that_was_measured_too_thin_stops_stimulation(tmp_path):
    thick = run("stimulate", project_with(tmp_path / "thick"), "--from", "2026-03-02").stdout
    thin = run(
        "stimulate", project_with(tmp_path / "thin", bark_mm=6.0), "--from", "2026-03-02"
    ).stdout
    assert "thin bark" not in thick.split("B01")[1]
    assert "with thin bark" in thin.split("B02: ")[1].splitlines()[0]

    def permitted(said):
        return int(said.split("B02: ")[1].split(" ")[0])

    assert permitted(thin) < permitted(thick)
    assert "Bark wasn't measured on" in thick


def test_wintering_of_the_project_or_the_command_bars_its_days_each_year(tmp_path):
    # The roster's wintering was in another year; trees shed every year.
    path = project_with(tmp_path / "shed", wintering="2024-05-01 2024-07-31")
    days = days_of(run("stimulate", path, "--from", "2026-03-02").stdout)
    assert len(days)
    assert not days.month.isin([5, 6, 7]).any()
    named = run(
        "stimulate", path, "--from", "2026-03-02", "--wintering", "2026-10-01", "2026-12-31"
    )
    days = days_of(named.stdout)
    assert len(days)
    assert not days.month.isin([10, 11, 12]).any()
    assert "Wintering wasn't given" not in named.stdout
    wrong = run("stimulate", path, "--wintering", "2026-12-31", "2026-10-01")
    assert isinstance(wrong.exception, LayerError)


def test_wintering_months_of_the_sun_count_where_none_else_is_given(tmp_path):
    path = project_with(tmp_path / "sun")
    assert "Wintering wasn't given" in run("stimulate", path, "--from", "2026-03-02").stdout
    (path.parent / "sun.toml").write_text("wintering_months = [5, 6, 7]")
    said = run("stimulate", path, "--from", "2026-03-02").stdout
    assert "Wintering wasn't given" not in said
    assert not days_of(said).month.isin([5, 6, 7]).any()


def test_trees_tapped_every_other_day_are_never_stimulated(tmp_path):
    path = project_with(tmp_path / "often", interval_days=2)
    said = run("stimulate", path, "--from", "2026-03-02").stdout
    assert "only d3 or rarer" in said
    assert "To buy for the year: 0.00" in said
    named = run("stimulate", path, "S/4U d3 ET 2.5% Pa1(1) 6/y", "--from", "2026-03-02").stdout
    assert "The project's round taps every 2 days" in named
