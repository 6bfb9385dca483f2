"""What comes twice is used once and told; what is in the wrong place or form is named as such."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layers import Intake, bring_in
from layers.errors import LayerError

ZONE = 32748
X, Y = 500_000.0, 9_900_000.0
GIRTH = pd.DataFrame(
    {
        "point_id": [f"P{number}" for number in range(60)],
        "lon": 105.0 + 1e-5 * np.arange(60),
        "lat": -0.9044,
        "girth_cm": 46.0,
        "measured_at": "2026-01-01T06:30:00+07:00",
    }
)


def blocks() -> gpd.GeoDataFrame:
    shapes = [shapely.box(X, Y, X + 70, Y + 90), shapely.box(X + 80, Y, X + 150, Y + 90)]
    plain = {"block_id": ["B1", "B2"], "row_gap_m": 7.0, "tree_gap_m": 3.0, "row_bearing_deg": 0.0}
    return gpd.GeoDataFrame(plain, geometry=shapes, crs=ZONE)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    blocks().to_file(tmp_path / "blocks.gpkg", layer="blocks")
    return tmp_path


def said(intake: Intake) -> str:
    return "\n".join(map(str, intake.faults))


def test_a_survey_saved_twice_under_two_names_counts_once(folder: Path) -> None:
    GIRTH.to_csv(folder / "girth_a.csv", index=False)
    GIRTH.to_csv(folder / "girth_b.csv", index=False)
    found = bring_in(folder)
    assert len(found.layers.girth) == 60
    assert "girth_b.csv, layer girth, row P0, P1, P2" in said(found)
    assert "P19 and 40 more: found 60 rows: the same row as an earlier one; left out" in said(found)


def test_keys_that_stand_several_times_are_named_with_how_often(folder: Path) -> None:
    thrice = GIRTH.iloc[[0, 0, 0, 1]].assign(girth_cm=[45.0, 46.0, 47.0, 48.0])
    thrice.to_csv(folder / "girth.csv", index=False)
    found = bring_in(folder)
    assert found.layers.girth["point_id"].is_unique
    assert "row P0 (3 times): found 3 rows: a point_id that another row has too" in said(found)


def trees(*, across: float = 0.0) -> gpd.GeoDataFrame:
    number = np.arange(40)
    places = shapely.points(X + 5 + across + 7 * (number // 20), Y + 2 + 3 * (number % 20))
    plain = {"tree_id": [f"t{n}" for n in number], "block_id": "B1"}
    return gpd.GeoDataFrame(plain, geometry=places, crs=ZONE)


def rows(*, across: float = 0.0) -> gpd.GeoDataFrame:
    lines = [
        shapely.LineString([(X + 5 + across + e, Y + 2), (X + 5 + across + e, Y + 88)])
        for e in (0.0, 7.0)
    ]
    plain = {"row_id": ["r1", "r2"], "block_id": "B1", "row_no": [1, 2]}
    return gpd.GeoDataFrame(plain, geometry=lines, crs=ZONE)


@pytest.mark.parametrize("crs", [ZONE, 4326])
def test_trees_in_two_files_and_systems_count_once(folder: Path, crs: int) -> None:
    trees().to_file(folder / "trees_a.gpkg", layer="trees")
    trees().to_crs(crs).to_file(folder / "trees_b.geojson")
    found = bring_in(folder)
    assert (found.layers.trees["block_id"] == "B1").sum() == 40
    assert "trees_b.geojson, layer trees, row t0, t1" in said(found)


def test_rows_drawn_again_close_by_count_once_and_farther_off_twice(folder: Path) -> None:
    rows().to_file(folder / "rows_a.geojson")
    rows(across=0.4).to_file(folder / "rows_b.geojson")
    found = bring_in(folder)
    assert (found.layers.rows["block_id"] == "B1").sum() == 2
    assert "with the same values in about the same place; left out" in said(found)
    rows(across=3.0).to_file(folder / "rows_b.geojson")
    assert (bring_in(folder).layers.rows["block_id"] == "B1").sum() == 4


def test_blocks_drawn_again_count_once_and_parts_of_one_are_joined(folder: Path) -> None:
    again = blocks()
    again["geometry"] = [again.geometry[0].buffer(0.5), shapely.box(X + 160, Y, X + 200, Y + 90)]
    again.to_file(folder / "blocks_more.geojson")
    found = bring_in(folder)
    areas = found.layers.blocks.set_index("block_id").geometry.area
    assert areas.to_dict() == pytest.approx({"B1": 6300.0, "B2": 6300.0 + 3600.0})
    assert "blocks_more.geojson, layer blocks, row B1: found a block_id that was read" in said(
        found
    )


def test_tappers_in_two_files_are_one_crew(folder: Path) -> None:
    for name in "ab":
        pd.DataFrame({"tapper_id": ["A1", "A2"], "name": ["x", "y"]}).to_csv(
            folder / f"tappers_{name}.csv", index=False
        )
    found = bring_in(folder)
    assert found.layers.tappers["tapper_id"].tolist() == ["A1", "A2"]
    assert "tappers_b.csv" in said(found)


def test_every_sheet_that_holds_the_layer_is_read_and_the_others_are_told(folder: Path) -> None:
    with pd.ExcelWriter(folder / "girth.xlsx") as book:
        pd.DataFrame({"Title": ["March"], "By": ["someone"]}).to_excel(book, sheet_name="Cover")
        GIRTH.to_excel(book, sheet_name="North", index=False)
        moved = GIRTH.assign(point_id="Q" + GIRTH["point_id"], lat=-0.9041)
        moved.to_excel(book, sheet_name="South", index=False)
        pd.DataFrame({"tapper_id": ["A1"]}).to_excel(book, sheet_name="tappers", index=False)
    found = bring_in(folder)
    assert len(found.layers.girth) == 120
    assert set(found.layers.girth["session_id"]) == {"girth North", "girth South"}
    assert found.layers.tappers["tapper_id"].tolist() == ["A1"]
    assert "girth.xlsx (Cover), layer girth: found a sheet without a heading" in said(found)


def zipped(folder: Path, *names: str, inside: str = "") -> None:
    for name in names:
        blocks().to_file(folder / f"{name}.shp")
    (folder / "blocks.gpkg").unlink()
    with zipfile.ZipFile(folder / "blocks.zip", "w") as archive:
        for path in [p for name in names for p in folder.glob(f"{name}.*")]:
            archive.write(path, inside + path.name)
            archive.writestr(f"__MACOSX/{inside}._{path.name}", "shadow")
            path.unlink()


def test_an_archive_with_a_systems_shadow_files_is_read(folder: Path) -> None:
    zipped(folder, "plots", inside="deep/folder/")
    assert len(bring_in(folder).layers.blocks) == 2


def test_an_archive_with_two_shapefiles_names_them(folder: Path) -> None:
    zipped(folder, "east", "west")
    with pytest.raises(LayerError, match=r"blocks\.zip, layer blocks.*east\.shp, west\.shp"):
        bring_in(folder)


@pytest.mark.parametrize(
    "name", ["girth.csv", "girth.gpx", "rows.geojson", "rows.kml", "girth.xlsx"]
)
def test_an_empty_file_is_called_empty(folder: Path, name: str) -> None:
    (folder / name).write_bytes(b"")
    with pytest.raises(LayerError, match=f"{name}.*an empty file"):
        bring_in(folder)


@pytest.mark.parametrize(
    ("name", "word"), [("blocks.kmz", r"\.kmz"), ("blocks.gpkg", "GeoPackage")]
)
def test_a_lone_file_that_cant_be_used_is_named(tmp_path: Path, name: str, word: str) -> None:
    (tmp_path / name).write_bytes(b"")
    with pytest.raises(LayerError, match=rf"^{name}.*{word}"):
        bring_in(tmp_path)


def test_a_geopackage_without_a_layer_of_ours_is_told(folder: Path) -> None:
    blocks().to_file(folder / "group.gpkg", layer="survey")
    assert "group.gpkg: found a GeoPackage without a layer that bears one of" in said(
        bring_in(folder)
    )


def test_metres_taken_for_degrees_and_turned_axes_are_told_apart(folder: Path) -> None:
    GIRTH.rename(columns={"lon": "lat", "lat": "lon"}).to_csv(folder / "girth.csv", index=False)
    with pytest.raises(LayerError, match="turned about the layer lies among the holdings"):
        bring_in(folder)
    GIRTH.assign(lon=X, lat=Y).to_csv(folder / "girth.csv", index=False)
    told = said(bring_in(folder))
    assert "metres may be taken for degrees" in told
    assert "nan" not in told
    blocks().set_crs(4326, allow_override=True).to_file(folder / "blocks.gpkg", layer="blocks")
    with pytest.raises(LayerError, match="metres look taken for degrees"):
        bring_in(folder)


@pytest.mark.parametrize(
    ("line", "word"),
    [('"planted_on" = "planting_day"', "we have no planting_day"), ('"x" = 3', "we have no 3")],
)
def test_a_name_of_ours_that_isnt_one_is_refused(folder: Path, line: str, word: str) -> None:
    (folder / "columns.toml").write_text(f"[blocks]\n{line}\n")
    with pytest.raises(LayerError, match=rf"columns\.toml, layer blocks.*{word}"):
        bring_in(folder)


def test_a_heading_that_no_file_has_is_told(folder: Path) -> None:
    (folder / "columns.toml").write_text('[blocks]\n"Plot nr" = "clone"\n')
    assert "columns.toml, layer blocks: found a column “Plot nr”, which no blocks file" in said(
        bring_in(folder)
    )


def test_keys_that_stand_several_times_beside_empty_cells_are_told_too(folder: Path) -> None:
    # An empty cell of a column of text is no text: putting the row's words together failed on it.
    half = GIRTH.assign(point_id="P1", surveyor=["A", None] * 30, girth_cm=46.0 + np.arange(60))
    half.to_csv(folder / "girth.csv", index=False)
    found = bring_in(folder)
    assert len(found.layers.girth) == 60
    assert found.layers.girth["point_id"].is_unique
    assert "row P1 (60 times): found 60 rows: a point_id that another row has too" in said(found)


def test_surveyors_and_days_without_a_session_are_walks_of_their_own(folder: Path) -> None:
    # Ana writes local time, Bo UTC; both walk at the same time, and Ana once more the next day.
    ana = GIRTH.iloc[:20].assign(surveyor="Ana", measured_at="2026-01-01T06:30:00+07:00")
    bo = GIRTH.iloc[20:40].assign(surveyor="Bo", measured_at="2025-12-31T23:31:00Z")
    later = GIRTH.iloc[40:].assign(surveyor="Ana", measured_at="2026-01-02T06:30:00+07:00")
    pd.concat([ana, bo, later]).sample(frac=1.0, random_state=1).to_csv(
        folder / "girth.csv", index=False
    )
    found = bring_in(folder)
    girth = found.layers.girth.set_index("point_id")["session_id"]
    assert set(girth[ana["point_id"]]) == {"girth Ana 2026-01-01"}
    assert set(girth[bo["point_id"]]) == {"girth Bo 2026-01-01"}
    assert set(girth[later["point_id"]]) == {"girth Ana 2026-01-02"}
    assert "60 points without a session_id, taken as 3 sessions, one for each" in said(found)


def test_a_point_without_a_moment_stays_in_the_walk_around_it(folder: Path) -> None:
    days = ["2026-01-01 06:30"] * 30 + ["2026-01-02 06:30"] * 30
    days[0] = days[9] = days[40] = None
    GIRTH.assign(measured_at=days).to_csv(folder / "girth.csv", index=False)
    girth = bring_in(folder).layers.girth.set_index("point_id")["session_id"]
    assert set(girth[GIRTH["point_id"][:30]]) == {"girth 2026-01-01"}
    assert set(girth[GIRTH["point_id"][30:]]) == {"girth 2026-01-02"}


def test_sessions_that_are_written_stay_beside_those_that_are_not(folder: Path) -> None:
    some = GIRTH.assign(session_id=["walk 7"] * 30 + [None] * 30)
    some.to_csv(folder / "girth.csv", index=False)
    found = bring_in(folder)
    assert found.layers.girth["session_id"].value_counts().to_dict() == {"walk 7": 30, "girth": 30}
    assert "30 points without a session_id, taken as the session girth" in said(found)
