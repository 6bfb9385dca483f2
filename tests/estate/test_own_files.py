from datetime import date

import pandas as pd
import pytest

from estate.app.own_files import read_own_files, unknown_keys
from estate.app.runs import in_own_words
from estate.panels import life_plans
from layers.errors import ColumnError, SettingError, UnreadableError
from tests.reports.small_plan import small_plan


def test_an_empty_folder_gives_nothing(tmp_path):
    own = read_own_files(tmp_path)
    assert own.figures is own.standards is own.records is own.clouds is own.cuts is None
    assert not own.absences
    assert not own.holidays


def test_notes_are_read_by_their_names(tmp_path):
    layers = tmp_path
    (layers / "absences.csv").write_text("tapper_id,date\nT1,2026-11-02\nT1,2026-11-03\n")
    (layers / "holidays.csv").write_text("date\n2026-12-25\n")
    (layers / "cuts.csv").write_text("block_id,panel,foot_cm\nB1,BO-1,118.5\n")
    (layers / "figures.toml").write_text("[marking]\npanel_gap = 2.5\nmark_each_side = 1.25\n")
    (layers / "sun.toml").write_text("rain_and_wind_from_deg = 240\n")
    own = read_own_files(layers)
    assert own.absences == {"T1": frozenset({date(2026, 11, 2), date(2026, 11, 3)})}
    assert own.holidays == {date(2026, 12, 25)}
    assert own.cuts["foot_cm"].tolist() == [118.5]
    assert own.figures == layers / "figures.toml"
    assert own.sun.weather_deg == 240.0


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_notes_are_read_as_spreadsheets_write_them(tmp_path, encoding):
    def write(name, text):
        (tmp_path / name).write_bytes(text.encode(encoding))

    write("absences.csv", "Tapper ID;Date\n007;2026-11-02\n")
    write("cuts.csv", "block_id;panel;foot_cm\n007;BO-1;118,5\n")
    write("clouds.csv", "month;cover\n" + "".join(f"{m};0,5\n" for m in range(1, 13)))
    write("collected.csv", "date;task_id;latex_kg;drc_percent\n25/11/2026;01;60,5;33,1\n")
    own = read_own_files(tmp_path)
    assert own.absences == {"007": frozenset({date(2026, 11, 2)})}
    assert own.cuts[["block_id", "foot_cm"]].to_numpy().tolist() == [["007", 118.5]]
    assert own.clouds.morning == (0.5,) * 12
    assert own.records["task_id"].tolist() == ["01"]
    assert own.records["dry_kg"].tolist() == pytest.approx([60.5 * 0.331])


def test_keys_that_nobody_knows_are_told_with_the_likely_one(tmp_path):
    layers = small_plan(blocks=2, rows=4, trees_a_row=6).layers
    (tmp_path / "absences.csv").write_text("tapper_id,date\na1,2026-11-02\nA2,2026-11-02\n")
    (tmp_path / "cuts.csv").write_text("block_id,panel,foot_cm\nB1,BO-1,110\nB01,BO-1,110\n")
    (tmp_path / "collected.csv").write_text(
        "date,task_id,latex_kg,drc_percent\n2026-11-02,Q1,60,33\n2026-11-03,Q1,60,33\n"
    )
    own = read_own_files(tmp_path)
    told = {(fault.file, fault.row): fault for fault in unknown_keys(own, layers, task_ids=["T1"])}
    assert set(told) == {("absences.csv", "a1"), ("cuts.csv", "B1"), ("collected.csv", "Q1")}
    assert told["absences.csv", "a1"].remedy == "Write it A1."
    assert "(2 rows)" in told["collected.csv", "Q1"].found
    assert "such as T1" in told["collected.csv", "Q1"].expected
    assert {f.file for f in unknown_keys(own, layers)} == {"absences.csv", "cuts.csv"}


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("absences.csv", "tapper_id,date\nT1,2026-11-02\nT1,tomorrow\n", "row 2.*tomorrow"),
        ("absences.csv", "tapper_id\nT1\n", "date"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,high\n", "row 1.*high"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,110\n,BO-1,9\n", "row 2.*no block_id"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,north,110\n", "row 1.*panel = north.*BO-1"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,1\nB1,BO-1,2\n", "row 2.*once"),
        ("cuts.csv", "block_id,panel,foot_cm,finished_on\nB1,BO-1,1,soon\n", "row 1.*soon"),
        ("clouds.csv", "month,cover\n1,many\n", "row 1.*cover = many.*0 to 1"),
        ("clouds.csv", "month,cover\n1,5\n", "row 1.*cover = 5.*0 to 1"),
        ("clouds.csv", "month,cover\n1,0.5\n", "month 1 to 12"),
        ("holidays.csv", "date\n2026\n", "row 1.*2026"),
        ("holidays.csv", "date\n03/04/2026\n", "row 1.*03/04/2026"),
        ("holidays.csv", "date\n2026-12-25\n2569-12-31\n", "row 2.*2569-12-31.*such as 2026-12-31"),
        ("absences.csv", "tapper_id,date\nT1,25/12/2569\n", "row 1.*25/12/2569.*2026-12-25.*543"),
        ("collected.csv", "date,task_id,latex_kg,drc_percent\n2026-11-02,,6,33\n", "no task_id"),
    ],
)
def test_a_wrong_note_is_named_by_file_and_row(tmp_path, name, text, word):
    (tmp_path / name).write_text(text)
    with pytest.raises(ColumnError, match=word) as caught:
        read_own_files(tmp_path)
    assert name in str(caught.value)


STANDARD = """[hill]
title = "Hill"
girth_cm = { budded = 48.0, seedling = 50.0 }
height_cm = { budded = 100.0, seedling = 50.0 }
measured_from = "ground"
share = 0.6
mature_year = 15.0
source = "ours"
"""


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("standards.toml", STANDARD.replace('"ground"', '"knee"'), "row hill.*knee.*ground or un"),
        ("standards.toml", STANDARD.replace("0.6", '"most"'), 'row hill.*share = "most".*a number'),
        ("standards.toml", STANDARD.replace("0.6", "60"), "row hill.*share = 60.*0.01 to 1"),
        ("standards.toml", STANDARD.replace("0.6", "true"), "row hill.*share = true"),
        ("standards.toml", STANDARD.replace('"Hill"', "7"), "row hill.*title = 7.*text in quotes"),
        ("standards.toml", STANDARD.replace("48.0", "[1]"), "row hill.*girth_cm.*two numbers"),
        ("standards.toml", STANDARD.replace("budded = 48.0, ", ""), "row hill.*without budded"),
        ("standards.toml", STANDARD.replace("seedling = 50.0 }\nh", "bud = 5.0 }\nh"), "budded"),
        ("standards.toml", STANDARD.replace("share", "shares"), "row hill.*a field shares"),
        ("standards.toml", STANDARD.replace('source = "ours"', ""), "row hill.*no source"),
        ("standards.toml", "hill = 3\n", "row hill.*hill = 3"),
        ("figures.toml", "[marking]\npanel_gap = 'wide'\n", "row panel_gap.*wide.*number in cm"),
        ("figures.toml", "[marking]\npanel_gap = 900\n", "panel_gap"),
        ("figures.toml", "[minutes]\nmorning = -3\n", "morning"),
    ],
)
def test_a_wrong_figure_is_named_by_file_and_row(tmp_path, name, text, word):
    (tmp_path / name).write_text(text)
    with pytest.raises(SettingError, match=word) as caught:
        read_own_files(tmp_path)
    assert str(caught.value).startswith(name)
    assert caught.value.fault.remedy


def test_a_cut_that_a_tree_cant_have_is_named_by_block_and_panel(tmp_path):
    (tmp_path / "cuts.csv").write_text("block_id,panel,foot_cm\nB1,BO-1,999\n")
    own = read_own_files(tmp_path)
    blocks = pd.DataFrame({"block_id": ["B1"], "planted_on": [pd.Timestamp("2015-01-01")]})
    with pytest.raises(SettingError) as caught:
        life_plans(blocks, date(2026, 3, 2), cut_heights=own.cuts)
    named = str(in_own_words(caught.value, own))
    assert named.startswith("cuts.csv")
    assert "row block B1, BO-1" in named
    assert "999 cm" in named


def test_a_file_that_isnt_text_is_refused(tmp_path):
    (tmp_path / "holidays.csv").write_bytes(b"\xff\xfe\x00\x01date\n")
    with pytest.raises(UnreadableError, match=r"holidays\.csv"):
        read_own_files(tmp_path)


def test_cuts_say_when_a_panel_was_tapped_last_and_for_how_long(tmp_path):
    (tmp_path / "cuts.csv").write_text(
        "block_id,panel,foot_cm,finished_on,tapped_years\nB1,BO-1,90,2026-03-31,2.5\nB1,B0-2,97,,\n"
    )
    cuts = read_own_files(tmp_path).cuts
    assert cuts["finished_on"].iloc[0].date() == date(2026, 3, 31)
    assert cuts["tapped_years"].tolist()[0] == 2.5
    assert cuts.loc[1, ["finished_on", "tapped_years"]].isna().all()
