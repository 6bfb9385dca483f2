import errno
import json

import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner
from shapely.geometry import Polygon

from estate import store
from estate.app.cli import commands, main
from layers.contract import LAYERS
from layers.errors import SettingError
from layers.geopackage import read_layer, write_layers
from tests.reports.small_plan import small_plan

pytestmark = pytest.mark.xdist_group("commands")


def run(*words: str):
    return CliRunner().invoke(commands, [str(w) for w in words])


@pytest.fixture(scope="module")
def planned(tmp_path_factory):
    folder = tmp_path_factory.mktemp("project")
    layers = small_plan(blocks=2, rows=8, trees_a_row=12).layers
    project = folder / "group.gpkg"
    write_layers(project, {name: getattr(layers, name) for name in LAYERS})
    result = run("plan", project, "--on", "2026-03-02", "--json")
    assert result.exit_code == 0, result.output
    return project, json.loads(result.stdout)


def plan_again(project):
    result = run("plan", project, "--on", "2026-03-02", "--json")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout)


def test_a_closed_block_gets_no_task_and_an_undecided_one_follows_its_readiness(planned):
    project, before = planned
    block = before["blocks"][-1]["block_id"]
    assert before["blocks"][-1]["decision"] == "in tapping"
    assert run("close", project, block).exit_code == 0
    closed = plan_again(project)
    assert closed["blocks"][-1]["decision"] == "wait"
    assert "kept closed by the manager" in closed["blocks"][-1]["reason"]
    assert closed["blocks"][-1]["advice"] == "in tapping"
    assert all(block not in t["block_ids"].split(",") for t in closed["tasks"])
    assert run("undecide", project, block).exit_code == 0
    assert plan_again(project)["tasks"] == before["tasks"]


def test_a_confirmed_point_is_on_its_tree_after_the_next_run(planned):
    project, _ = planned
    points = read_layer(project, "match_points")
    point = points["point_id"].iloc[3]
    trees = read_layer(project, "trees")
    wanted = trees.loc[trees["status"] == "standing", "tree_id"].iloc[40]
    assert run("confirm", project, point, wanted).exit_code == 0
    assert store.confirmed(project)["tree_id"].tolist() == [wanted]
    plan_again(project)
    after = read_layer(project, "match_points").set_index("point_id").loc[point]
    assert after["tree_id"] == wanted
    assert after["probability"] == pytest.approx(1.0)
    assert run("confirm", project, point, "--no-tree").exit_code == 0
    plan_again(project)
    after = read_layer(project, "match_points").set_index("point_id").loc[point]
    assert pd.isna(after["tree_id"])


def test_a_rained_out_morning_is_made_up(planned):
    project, _ = planned
    day = read_layer(project, "roster").query("kind == 'tap'")["date"].iloc[0]
    day = pd.Timestamp(day).date().isoformat()
    assert run("rain", project, day).exit_code == 0
    plan_again(project)
    roster = read_layer(project, "roster")
    kinds = roster[pd.to_datetime(roster["date"]) == day]["kind"]
    assert (kinds == "rain-lost").all()


def test_a_plan_made_anew_keeps_the_round_and_makes_the_lost_morning_up(planned):
    project, _ = planned
    first = run("plan", project, "--on", "2026-04-01", "--interval", "4", "--json")
    assert first.exit_code == 0, first.output
    before = read_layer(project, "roster")
    assert run("rain", project, "2026-04-03").exit_code == 0
    again = run("plan", project, "--on", "2026-04-03", "--json")
    assert again.exit_code == 0, again.output
    saved = store.saved_settings(project)
    assert (saved["interval_days"], saved["start"]) == ("4", "2026-04-02")
    after = read_layer(project, "roster")
    lost = after[pd.to_datetime(after["date"]) == "2026-04-03"]
    assert (lost["kind"] == "rain-lost").all()
    tapped = before["kind"].isin(["tap"]).sum()
    assert after["kind"].isin(["tap", "make-up"]).sum() >= tapped - 1


def test_the_summary_says_what_a_holiday_does_to_the_dates_and_the_choice_is_kept(planned):
    project, _ = planned
    notes = project.parent / "holidays.csv"
    notes.write_text("date\n2026-05-06\n")
    try:
        for rule, said in (
            (("--holiday-make-up", "next morning"), "moves the later dates on by a day"),
            (("--holiday-make-up", "wait"), "waits for its next turn"),
            ((), "waits for its next turn"),
        ):
            told = run("plan", project, "--on", "2026-05-01", "--start", "2026-05-04", *rule)
            assert told.exit_code == 0, told.output
            roster = read_layer(project, "roster")
            closed = roster[roster["kind"] == "holiday"]
            assert (pd.to_datetime(closed["date"]) == "2026-05-06").all()
            assert f"away without a substitute: {len(closed)}; each {said}" in told.stdout
    finally:
        notes.unlink()


def test_a_morning_outside_the_roster_isnt_taken_as_lost(planned):
    project, _ = planned
    with pytest.raises(SettingError, match="2020-01-01"):
        CliRunner().invoke(commands, ["rain", str(project), "2020-01-01"], catch_exceptions=False)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("open", "B99"), "no block_id B99"),
        (("confirm", "P9999", "--no-tree"), "no point_id P9999"),
        (("rain", "2026-03-03", "--beat", "Q1"), "no beat_id Q1"),
    ],
)
def test_a_key_that_isnt_there_is_named_with_some_that_are(planned, words, said):
    project, _ = planned
    with pytest.raises(SettingError, match=said):
        CliRunner().invoke(commands, [words[0], str(project), *words[1:]], catch_exceptions=False)


def test_standards_are_listed_with_their_sources():
    result = run("standards")
    assert result.exit_code == 0
    assert "Rubber Board (India)" in result.stdout
    assert "common practice, no source" in result.stdout
    assert "thailand" in run("standards", "thailand").stdout


def test_every_command_shows_an_example():
    for name, command in commands.commands.items():
        shown = run(name, "--help")
        assert shown.exit_code == 0
        assert f"Example: estate {name}" in shown.output
        assert command.help


def test_unknown_words_exit_with_two():
    assert run("harvest").exit_code == 2
    assert run("plan", "no-such-folder").exit_code == 2


def test_a_day_of_the_buddhist_era_is_refused_with_the_day_to_write(planned):
    project, _ = planned
    for words in (
        ("rain", project, "2569-03-04"),
        ("plan", project, "--on", "2569-03-04"),
        ("plan", project, "--wintering", "2026-01-20", "2569-03-04"),
    ):
        told = run(*words)
        assert told.exit_code == 2
        assert "2569-03-04, a year of the Buddhist era" in told.output
        assert "such as 2026-03-04" in told.output
    assert "2024-02-29" in run("rain", project, "2567-02-29").output


def test_a_layer_without_crs_is_refused_in_words_and_nothing_is_written(tmp_path, capsys):
    plot = Polygon([(640000, 146000), (640100, 146000), (640100, 146100), (640000, 146100)])
    gpd.GeoDataFrame({"block_id": ["B1"]}, geometry=[plot]).to_file(
        tmp_path / "blocks.shp", engine="pyogrio"
    )
    before = sorted(tmp_path.rglob("*"))
    with pytest.raises(SystemExit) as stopped:
        main(["plan", str(tmp_path)])
    assert stopped.value.code == 1
    said = capsys.readouterr().err
    assert "Traceback" not in said
    assert "blocks.shp" in said
    assert "CRS" in said or "coordinate" in said
    assert sorted(tmp_path.rglob("*")) == before


def test_a_full_disk_is_told_in_words(tmp_path, monkeypatch, capsys):
    def full(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("estate.app.cli.bring_in", full)
    with pytest.raises(SystemExit) as ended:
        main(["check", str(tmp_path)])
    assert ended.value.code == 1
    assert "A file can't be read or written: No space left on device." in capsys.readouterr().err


def test_own_timed_mornings_are_joined_to_the_last_plans_tasks_and_kept_with_them(planned):
    project, _ = planned
    tasks = plan_again(project)["tasks"]
    assert {"A-1", "A-2", "A-3"} <= {task["task_id"] for task in tasks}
    rows = [f"2026-03-03,{task['task_id']},{task['trees']},60" for task in tasks]
    notes = project.parent / "mornings.csv"
    notes.write_text("\n".join(["date,task_id,trees,tapping_took_min", *rows]) + "\n")
    try:
        plan_again(project)
        once = read_layer(project, "timed_mornings")
        plan_again(project)
        again = read_layer(project, "timed_mornings")
    finally:
        notes.unlink()
    assert once["task_id"].tolist() == [task["task_id"] for task in tasks]
    assert once["path_min"].tolist() == pytest.approx([task["path_min"] for task in tasks])
    assert (once[["low", "high", "two"]].sum(axis=1) == once["trees"]).all()
    pd.testing.assert_frame_equal(pd.DataFrame(again), pd.DataFrame(once))
    assert {"minutes_ratio", "latex_ratio"} <= set(read_layer(project, "fairness").columns)


def test_a_cooperative_with_nothing_to_tap_yet_gets_its_maps_and_reports(tmp_path):
    x, y = 500_000.0, 9_900_000.0
    shape = Polygon([(x, y), (x + 50, y), (x + 50, y + 40), (x, y + 40)])
    young = {"block_id": ["B1"], "planted_on": ["2023-05-01"], "row_gap_m": [7.0],
             "tree_gap_m": [3.0], "row_bearing_deg": [0.0]}  # fmt: skip
    gpd.GeoDataFrame(young, geometry=[shape], crs=32748).to_file(tmp_path / "blocks.geojson")
    pd.DataFrame({"tapper_id": ["T1"], "name": ["One"]}).to_csv(
        tmp_path / "tappers.csv", index=False
    )
    result = run("plan", tmp_path, "--on", "2026-03-02", "--json")
    assert result.exit_code == 0, result.output
    told = json.loads(result.stdout)
    assert told["tasks"] == []
    assert [block["decision"] for block in told["blocks"]] == ["wait"]
    assert (tmp_path / "handed-out" / "overview.html").is_file()
    again = run("plan", tmp_path, "--on", "2026-03-09", "--json")
    assert again.exit_code == 0, again.output
