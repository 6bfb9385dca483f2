"""One GeoPackage of several layers, whole or not at all."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely

from layers.errors import InUseError, LayerError, MissingLayerError, UnreadableError
from layers.geopackage import layer_names, read_layer, write_layers, written_here
from tests.odd_geometry import ZONE, area_frame


def frames() -> dict[str, pd.DataFrame]:
    blocks = gpd.GeoDataFrame(
        {
            "block_id": pd.Series(["B1", "B2"], dtype="str"),
            "planted_on": pd.to_datetime(["2014-05-01", None]).astype("datetime64[ms]"),
            "row_gap_m": [7.0, None],
            "in_tapping": [True, False],
        },
        geometry=[shapely.MultiPolygon([shapely.box(0, 0, 1, 1)])] * 2,
        crs=ZONE,
    )
    empty = gpd.GeoDataFrame(
        {"point_id": pd.Series([], dtype="str")}, geometry=gpd.GeoSeries([], crs=ZONE), crs=ZONE
    )
    people = pd.DataFrame(
        {
            "tapper_id": pd.Series(["T1", None], dtype="str"),
            "since": pd.to_datetime(["2020-01-31T06:30:00", None]).astype("datetime64[ms]"),
        }
    )
    return {"blocks": blocks, "girth": empty, "tappers": people}


def test_what_was_written_reads_back_alike(tmp_path: Path) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    assert layer_names(path) == ("blocks", "girth", "tappers")
    for name, frame in frames().items():
        read = read_layer(path, name)
        assert type(read) is type(frame) or len(frame.columns) == len(read.columns)
        pd.testing.assert_frame_equal(pd.DataFrame(read), pd.DataFrame(frame))
    assert read_layer(path, "blocks").crs == ZONE
    assert "holding_id" not in read_layer(path, "blocks").columns
    assert written_here(path)


def test_layers_that_are_not_named_stay_unless_a_fresh_file_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    write_layers(path, {"tappers": frames()["tappers"].iloc[:1], "tasks": frames()["tappers"]})
    assert set(layer_names(path)) == {"blocks", "girth", "tappers", "tasks"}
    assert len(read_layer(path, "tappers")) == 1
    write_layers(path, {"blocks": frames()["blocks"]}, keep=False)
    assert layer_names(path) == ("blocks",)


def test_a_write_that_fails_leaves_the_old_file_and_nothing_else(tmp_path: Path) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    before = path.read_bytes()
    twice = pd.DataFrame([[1, 2]], columns=["a", "A"])
    with pytest.raises(LayerError):
        write_layers(path, {"trees": frames()["tappers"], "broken": twice})
    assert path.read_bytes() == before
    assert [entry.name for entry in tmp_path.iterdir()] == ["estate.gpkg"]


def test_a_killed_write_leaves_the_old_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    before = path.read_bytes()
    whole = pyogrio.write_dataframe

    def stopped(*arguments: object, **options: object) -> None:
        whole(*arguments, **options)
        raise KeyboardInterrupt

    monkeypatch.setattr(pyogrio, "write_dataframe", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_layers(path, {"tasks": frames()["tappers"]})
    assert path.read_bytes() == before


def test_odd_geometries_go_through_as_they_are(tmp_path: Path) -> None:
    path = tmp_path / "odd.gpkg"
    odd = area_frame()
    write_layers(path, {"odd": odd})
    read = read_layer(path, "odd")
    assert read.geometry.isna().sum() == 1
    both = ~shapely.is_missing(read.geometry.to_numpy())
    assert (read.geometry[both].to_wkb() == odd.geometry[both].to_wkb()).all()


def test_what_is_not_there_or_no_geopackage_is_refused(tmp_path: Path) -> None:
    with pytest.raises(MissingLayerError):
        layer_names(tmp_path / "none.gpkg")
    with pytest.raises(MissingLayerError):
        write_layers(tmp_path / "none" / "estate.gpkg", frames())
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    with pytest.raises(MissingLayerError, match="blocks"):
        read_layer(path, "rows")
    path.write_text("no database")
    with pytest.raises(UnreadableError):
        layer_names(path)
    with pytest.raises(UnreadableError):
        write_layers(path, frames())
    assert path.read_text() == "no database"


def test_what_a_killed_write_left_is_taken_away_a_day_later(tmp_path: Path) -> None:
    path = tmp_path / "estate.gpkg"
    old, fresh, other = (tmp_path / n for n in (".estate-abcd1234", ".estate-x_y_z_12", ".git"))
    for folder in (old, fresh, other):
        folder.mkdir()
        (folder / "estate.gpkg").write_text("half")
    os.utime(old, (0.0, 0.0))
    os.utime(other, (0.0, 0.0))
    write_layers(path, frames())
    assert not old.exists()
    assert fresh.exists()
    assert other.exists()


def test_a_file_that_is_protected_is_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    path.chmod(0o444)
    before = path.read_bytes()
    # Who runs as root may write everywhere.
    monkeypatch.setattr(os, "access", lambda *_: bool(path.stat().st_mode & 0o200))
    with pytest.raises(InUseError, match="may not be written"):
        write_layers(path, {"tasks": frames()["tappers"]})
    assert path.read_bytes() == before


GIS = """
import sqlite3, sys
database = sqlite3.connect(sys.argv[1])
database.execute("PRAGMA journal_mode = WAL")
database.execute("UPDATE tappers SET tapper_id = 'edited'")
database.commit()
print("open", flush=True)
sys.stdin.readline()
if sys.argv[2] == "crash":
    import os
    os._exit(1)
database.close()
"""


def opened_elsewhere(path: Path, end: str) -> subprocess.Popen[str]:
    """Open a GeoPackage in another process as a desktop GIS does: edits in a write-ahead log."""
    words = [sys.executable, "-c", GIS, str(path), end]
    other = subprocess.Popen(words, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert other.stdout is not None
    assert other.stdout.readline() == "open\n"
    return other


@pytest.mark.parametrize("keep", [True, False])
def test_a_file_that_a_gis_has_open_is_left_alone(tmp_path: Path, keep: bool) -> None:
    # SQLite, Write-Ahead Logging, section 1 and "How To Corrupt An SQLite Database File", 1.4: a
    # journal goes with its file.
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    other = opened_elsewhere(path, "close")
    before = path.read_bytes()
    with pytest.raises(InUseError, match="Close it in the other program"):
        write_layers(path, {"tasks": frames()["tappers"]}, keep=keep)
    assert path.read_bytes() == before
    other.communicate("\n")
    write_layers(path, {"tasks": frames()["tappers"]})
    assert set(read_layer(path, "tappers")["tapper_id"]) == {"edited"}
    assert [entry.name for entry in tmp_path.iterdir()] == ["estate.gpkg"]


def test_edits_that_a_gis_left_in_its_journal_when_it_crashed_are_kept(tmp_path: Path) -> None:
    path = tmp_path / "estate.gpkg"
    write_layers(path, frames())
    opened_elsewhere(path, "crash").communicate("\n")
    assert path.with_name("estate.gpkg-wal").exists()
    write_layers(path, {"tasks": frames()["tappers"]})
    assert set(read_layer(path, "tappers")["tapper_id"]) == {"edited"}
    with closing(sqlite3.connect(path)) as database:
        assert database.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    assert [entry.name for entry in tmp_path.iterdir()] == ["estate.gpkg"]
