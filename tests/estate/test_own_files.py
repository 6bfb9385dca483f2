from datetime import date

import pytest

from estate.app.own_files import copy_own_files, read_own_files
from layers.errors import ColumnError, UnreadableError


def test_an_empty_folder_gives_nothing(tmp_path):
    own = read_own_files(tmp_path)
    assert own.figures is own.standards is own.records is own.clouds is own.cuts is None
    assert not own.absences
    assert not own.holidays


def test_notes_are_read_by_their_names_and_put_beside_the_project(tmp_path):
    layers, out = tmp_path / "layers", tmp_path / "out"
    layers.mkdir()
    out.mkdir()
    (layers / "absences.csv").write_text("tapper_id,date\nT1,2026-11-02\nT1,2026-11-03\n")
    (layers / "holidays.csv").write_text("date\n2026-12-25\n")
    (layers / "cuts.csv").write_text("block_id,panel,foot_cm\nB1,BO-1,118.5\n")
    (layers / "figures.toml").write_text("[marking]\npanel_gap = 2.5\n")
    (layers / "sun.toml").write_text("rain_and_wind_from_deg = 240\n")
    copy_own_files(layers, out)
    for folder in (layers, out):
        own = read_own_files(folder)
        assert own.absences == {"T1": frozenset({date(2026, 11, 2), date(2026, 11, 3)})}
        assert own.holidays == {date(2026, 12, 25)}
        assert own.cuts["foot_cm"].tolist() == [118.5]
        assert own.figures == folder / "figures.toml"
        assert own.sun.weather_deg == 240.0


@pytest.mark.parametrize(
    ("name", "text", "word"),
    [
        ("absences.csv", "tapper_id,date\nT1,2026-11-02\nT1,tomorrow\n", "row 2.*tomorrow"),
        ("absences.csv", "tapper_id\nT1\n", "date"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,high\n", "row 1.*high"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,90\nB1,left,90\n", "row 2.*left"),
        ("cuts.csv", "block_id,panel,foot_cm\nB1,BO-1,90\nB1,BO-1,80\n", "row 2.*once"),
        (
            "cuts.csv",
            "block_id,panel,foot_cm,finished_on\nB1,BO-1,90,\nB1,BO-2,90,last May\n",
            "row 2.*last May",
        ),
        ("cuts.csv", "block_id,panel,foot_cm,tapped_years\nB1,BO-1,90,-2\n", "row 1.*above 0"),
    ],
)
def test_a_wrong_note_is_named_by_file_and_row(tmp_path, name, text, word):
    (tmp_path / name).write_text(text)
    with pytest.raises(ColumnError, match=word) as caught:
        read_own_files(tmp_path)
    assert name in str(caught.value)


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
