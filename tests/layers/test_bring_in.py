"""Files to frames: every format the job takes, in any order, told apart by name."""

from __future__ import annotations

import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from layers import Intake, IntakeError, bring_in, write_layers
from layers.bring_in.waypoints import written_on
from layers.errors import LayerError, MissingLayerError

ZONE = 32748
X, Y = 500_000.0, 9_900_000.0


def holdings() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {"Holding ID": ["H1", "H2"], "Member": ["Member 01", "Member 02"]},
        geometry=[
            shapely.box(X, Y, X + 200, Y + 200),
            shapely.box(X + 200, Y, X + 400, Y + 200),
        ],
        crs=ZONE,
    )


def blocks() -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(
        {
            "block_id": ["B1", "B2", "B3"],
            "holding_id": ["H1", "H1", "H2"],
            "planted_on": ["2014-05-01", "2010-06-01", "2012-12-31"],
            "material": ["budded", "budded", "seedling"],
            "row gap m": [7.0, 6.0, 8.0],
            "tree_gap_m": [3.0, 3.0, 2.5],
            "row_bearing_deg": [0.0, None, None],
        },
        geometry=[
            shapely.box(X + 10, Y + 10, X + 80, Y + 190),
            shapely.box(X + 110, Y + 10, X + 180, Y + 190),
            shapely.box(X + 210, Y + 10, X + 300, Y + 190),
        ],
        crs=ZONE,
    )


def drawn_rows() -> gpd.GeoDataFrame:
    lines = [shapely.LineString([(X + 120, Y + up), (X + 171, Y + up)]) for up in (160.0, 60.0)]
    return gpd.GeoDataFrame({"block_id": ["B2", "B2"]}, geometry=lines, crs=ZONE)


def tree_points() -> gpd.GeoDataFrame:
    across, up = np.meshgrid(np.arange(X + 215, X + 300, 8), np.arange(Y + 15, Y + 190, 2.5))
    places = gpd.points_from_xy(across.ravel(), up.ravel())
    return gpd.GeoDataFrame(geometry=places, crs=ZONE)


def write_folder(folder: Path) -> Path:
    holdings().to_file(folder / "holdings.geojson")
    blocks().to_crs(4326).to_file(folder / "blocks.gpkg", layer="anything")
    drawn_rows().to_file(folder / "rows.kml", driver="KML")
    tree_points().to_file(folder / "trees_b3.gpkg", layer="x")
    pd.DataFrame(
        {"lon": [105.0, 105.001], "lat": [-0.904, -0.9041], "Girth (mm)": [455, 500]}
    ).to_csv(folder / "girth_a.csv", index=False)
    return folder


@pytest.fixture
def intake(tmp_path: Path) -> Intake:
    return bring_in(write_folder(tmp_path))


def test_each_block_gets_its_trees_by_its_own_way(intake: Intake) -> None:
    trees = intake.layers.trees
    assert intake.layers.crs.to_epsg() == ZONE
    counts = trees.groupby(["block_id", "place_source"]).size().to_dict()
    # 70 m by 180 m at 7 by 3 m: ten rows of sixty; two rows of 51 m at 3 m: eighteen each;
    # eleven rows eight metres apart of seventy trees.
    assert counts == {
        ("B1", "set out"): 600,
        ("B2", "along rows"): 36,
        ("B3", "surveyed"): 770,
    }
    assert trees["tree_id"].is_unique
    assert trees["tree_id"].iloc[0] == "B1-R01-T001"


def test_sources_say_what_became_what(intake: Intake) -> None:
    became = {(source.file, source.layer): (source.rows, source.crs) for source in intake.sources}
    assert became == {
        ("holdings.geojson", "holdings"): (2, "WGS 84 / UTM zone 48S"),
        ("blocks.gpkg (anything)", "blocks"): (3, "WGS 84"),
        ("rows.kml", "rows"): (2, "WGS 84"),
        ("trees_b3.gpkg (x)", "trees"): (770, "WGS 84 / UTM zone 48S"),
        ("girth_a.csv", "girth"): (2, "WGS 84"),
        ("along rows", "trees"): (36, ""),
        ("set out", "trees"): (600, ""),
    }


def test_headings_in_other_units_are_turned_and_said(intake: Intake) -> None:
    assert intake.layers.girth["girth_cm"].tolist() == [45.5, 50.0]
    assert any("Girth (mm)" in fault.found for fault in intake.faults)


def test_a_project_reads_back_as_it_was_written(intake: Intake, tmp_path: Path) -> None:
    names = ("holdings", "blocks", "rows", "trees", "girth", "obstacles", "places", "tappers")
    frames = {name: getattr(intake.layers, name) for name in names}
    project = tmp_path / "project.gpkg"
    write_layers(project, {**frames, "tasks": frames["trees"]})
    again = bring_in(project)
    assert not [fault for fault in again.faults if fault.severity == "mended"]
    for name, frame in frames.items():
        read = getattr(again.layers, name)
        assert set(read.columns) == set(frame.columns), name
        pd.testing.assert_frame_equal(
            pd.DataFrame(read)[list(frame.columns)].drop(columns="geometry", errors="ignore"),
            pd.DataFrame(frame).drop(columns="geometry", errors="ignore"),
            check_dtype=len(frame) > 0,
        )


def test_our_own_project_in_the_folder_is_not_read_twice(intake: Intake, tmp_path: Path) -> None:
    write_layers(tmp_path / "holdings_project.gpkg", {"holdings": intake.layers.holdings})
    assert len(bring_in(tmp_path).layers.holdings) == 2


def test_a_layer_without_a_crs_is_refused_with_the_remedy(tmp_path: Path) -> None:
    write_folder(tmp_path)
    frame = drawn_rows().set_crs(None, allow_override=True)
    frame.to_file(tmp_path / "rows_more.shp")
    with pytest.raises(LayerError, match=r"\[crs\]"):
        bring_in(tmp_path)
    (tmp_path / "columns.toml").write_text('[crs]\n"rows_more.shp" = "EPSG:32748"\n')
    assert len(bring_in(tmp_path).layers.rows) > 0


def test_an_empty_folder_says_what_to_name_files(tmp_path: Path) -> None:
    with pytest.raises(MissingLayerError, match="blocks"):
        bring_in(tmp_path)


def simple(folder: Path) -> Path:
    """Write the smallest folder that the job runs on: a block to set out, with its holding."""
    holdings().iloc[:1].to_file(folder / "holdings.geojson")
    blocks().iloc[:1].to_file(folder / "blocks.geojson")
    return folder


POINTS = gpd.GeoDataFrame(
    {"girth_cm": [46.5, 51.0]},
    geometry=gpd.points_from_xy([X + 20, X + 23], [Y + 50, Y + 50]),
    crs=ZONE,
)


def girth_of(folder: Path) -> gpd.GeoDataFrame:
    girth = bring_in(folder).layers.girth
    places = shapely.get_coordinates(girth.geometry.to_numpy())
    np.testing.assert_allclose(places, [[X + 20, Y + 50], [X + 23, Y + 50]], atol=0.02)
    return girth


def lonlat() -> pd.DataFrame:
    degrees = POINTS.to_crs(4326)
    return pd.DataFrame(
        {"girth_cm": POINTS["girth_cm"], "lon": degrees.geometry.x, "lat": degrees.geometry.y}
    )


def metres() -> pd.DataFrame:
    return pd.DataFrame(
        {"girth_cm": POINTS["girth_cm"], "X": POINTS.geometry.x, "Y": POINTS.geometry.y}
    )


def test_csv_in_degrees_with_decimal_commas_and_semicolons(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().to_csv(tmp_path / "girth.csv", sep=";", decimal=",", index=False)
    assert girth_of(tmp_path)["girth_cm"].tolist() == [46.5, 51.0]


def test_csv_in_metres_with_an_epsg_column_a_prj_or_a_line_in_columns_toml(tmp_path: Path) -> None:
    simple(tmp_path)
    path = tmp_path / "girth.csv"
    metres().to_csv(path, index=False)
    with pytest.raises(LayerError, match="epsg"):
        bring_in(tmp_path)
    metres().assign(EPSG=ZONE).to_csv(path, index=False)
    assert len(girth_of(tmp_path)) == 2
    metres().to_csv(path, index=False)
    (tmp_path / "girth.prj").write_text(POINTS.crs.to_wkt())
    assert len(girth_of(tmp_path)) == 2
    (tmp_path / "girth.prj").unlink()
    (tmp_path / "columns.toml").write_text(f'[crs]\n"girth.csv" = {ZONE}\n')
    assert len(girth_of(tmp_path)) == 2


def test_xlsx_named_by_its_sheet_or_by_its_file(tmp_path: Path) -> None:
    simple(tmp_path)
    table = lonlat().assign(
        **{
            "Measured at": pd.to_datetime(["2025-03-01 06:30", "2025-03-01 06:31"]),
            "Row No": [3, None],
        }
    )
    table.to_excel(tmp_path / "girth.xlsx", sheet_name="Sheet1", index=False)
    girth = girth_of(tmp_path)
    assert girth["measured_at"].tolist() == [
        pd.Timestamp("2025-03-01 06:30"),
        pd.Timestamp("2025-03-01 06:31"),
    ]
    assert girth["row_no"].iloc[0] == 3
    assert pd.isna(girth["row_no"].iloc[1])
    (tmp_path / "girth.xlsx").rename(tmp_path / "march.xlsx")
    with pd.ExcelWriter(tmp_path / "march.xlsx") as book:
        table.to_excel(book, sheet_name="Girth points", index=False)
        pd.DataFrame({"tapper_id": ["T1"], "skills": ["low"]}).to_excel(
            book, sheet_name="tappers", index=False
        )
    assert len(girth_of(tmp_path)) == 2
    assert bring_in(tmp_path).layers.tappers["tapper_id"].tolist() == ["T1"]


GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="test" xmlns="http://www.topografix.com/GPX/1/1" xmlns:s="urn:s">
{points}
</gpx>"""


def gpx(*texts: str) -> str:
    degrees = POINTS.to_crs(4326).geometry
    points = [
        f'<wpt lat="{place.y}" lon="{place.x}"><ele>60</ele>'
        f"<time>2025-03-01T06:3{number}:00+07:00</time>{text}</wpt>"
        for number, (place, text) in enumerate(zip(degrees, texts, strict=True))
    ]
    return GPX.format(points="\n".join(points))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("<name>46.5</name>", "<name>51</name>"),
        ("<name>46,5 cm</name>", "<name>510 mm</name>"),
        ("<name>012</name><desc>46.5 cm</desc>", "<name>013</name><desc>51.0 cm</desc>"),
        ("<name>r3 t12 46.5</name>", "<cmt>row 3 tree 13 g 51</cmt>"),
        ("<name>46.5 b7</name>", "<name>51 bark 8 mm</name>"),
        (
            "<extensions><s:girth_cm>46.5</s:girth_cm></extensions>",
            "<name>9</name><extensions><s:tree><s:girth_cm>51</s:girth_cm></s:tree></extensions>",
        ),
    ],
)
def test_gpx_waypoints_as_surveyors_write_them(tmp_path: Path, first: str, second: str) -> None:
    simple(tmp_path)
    (tmp_path / "girth.gpx").write_text(gpx(first, second))
    girth = girth_of(tmp_path)
    assert girth["girth_cm"].tolist() == pytest.approx([46.5, 51.0])
    assert girth["measured_at"].iloc[0] == pd.Timestamp("2025-03-01 06:30")
    assert set(girth["session_id"]) == {"girth"}


def test_gpx_numbers_and_bark_are_kept_apart_from_girth() -> None:
    assert written_on("r3 t12 46.5") == {"row_no": 3.0, "tree_no": 12.0, "girth_cm": 46.5}
    assert written_on("R 12, T-4") == {"row_no": 12.0, "tree_no": 4.0}
    assert written_on("bark 7.5 g45") == {"bark_mm": 7.5, "girth_cm": 45.0}
    assert written_on("18.5 in") == {"girth_cm": pytest.approx(46.99), "girth_unit": "cm"}
    assert written_on("big tree by the stream") == {}


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("B02 r3t12 46.5", {"row_no": 3.0, "tree_no": 12.0, "girth_cm": 46.5}),
        ("Row 12A Tree 3 46.5", {"row_no": "12A", "tree_no": 3.0, "girth_cm": 46.5}),
        ("12A-3 46.5", {"girth_cm": 46.5}),
        ("46.5 H150", {"girth_cm": 46.5, "height_cm": 150.0}),
        ("h 1.5 m, 46.5", {"girth_cm": 46.5, "height_cm": 150.0}),
        # By hand: 18 1/2 inches of 2.54 cm.
        ("18 1/2 in", {"girth_cm": pytest.approx(46.99), "girth_unit": "cm"}),
        ("46.5 inside the gate", {"girth_cm": 46.5}),
    ],
)
def test_a_label_or_unit_says_which_number_is_which(
    text: str, read: dict[str, float | str]
) -> None:
    assert written_on(text) == read


@pytest.mark.parametrize(
    "text", ["001", "WPT 46", "Waypoint 46", "#46", "2025-09-15 07:00", "15-SEP-25 7:00:27AM",
             "3/12/46.5", "46 47"],
)  # fmt: skip
def test_a_number_that_may_be_something_else_is_no_girth(text: str) -> None:
    assert "girth_cm" not in written_on(text)


def test_names_that_count_up_are_the_receivers_numbers_and_told(tmp_path: Path) -> None:
    simple(tmp_path)
    spot = '<wpt lat="-0.904{n}" lon="105"><name>{n}</name>{more}</wpt>'
    taped = "<desc>45 cm</desc>"
    points = [spot.format(n=n, more=taped if n == 50 else "") for n in range(44, 54)]
    (tmp_path / "girth.gpx").write_text(GPX.format(points="".join(points)))
    found = bring_in(tmp_path)
    assert found.layers.girth["girth_cm"].dropna().tolist() == [45.0]
    told = "\n".join(map(str, found.faults))
    assert "9 waypoints on which no girth can be read, such as “44”" in told


def test_gpx_of_tracks_only_says_what_is_missing(tmp_path: Path) -> None:
    simple(tmp_path)
    track = '<trk><trkseg><trkpt lat="-0.9" lon="105"/></trkseg></trk>'
    (tmp_path / "girth.gpx").write_text(GPX.format(points=track))
    with pytest.raises(LayerError, match="1 tracks, 0 routes and no waypoint"):
        bring_in(tmp_path)


def test_shapefiles_plain_and_zipped_with_their_shortened_names(tmp_path: Path) -> None:
    long = (
        blocks()
        .iloc[:1]
        .rename(columns={"row_bearing_deg": "row_bearin", "row gap m": "row_gap_m"})
    )
    (tmp_path / "plain").mkdir()
    (tmp_path / "zipped").mkdir()
    for folder in ("plain", "zipped"):
        holdings().to_file(tmp_path / folder / "holdings.geojson")
        long.to_file(tmp_path / folder / "blocks.shp")
    with zipfile.ZipFile(tmp_path / "zipped" / "blocks_all.zip", "w") as archive:
        for part in sorted((tmp_path / "zipped").glob("blocks.*")):
            archive.write(part, f"inner folder/{part.name}")
            part.unlink()
    plain, zipped = (bring_in(tmp_path / name).layers for name in ("plain", "zipped"))
    assert len(plain.trees) == 600
    assert plain.trees["tree_id"].tolist() == zipped.trees["tree_id"].tolist()
    assert zipped.blocks["planted_on"].iloc[0] == pd.Timestamp("2014-05-01")


def test_several_files_of_one_layer_in_several_crs_are_put_together(tmp_path: Path) -> None:
    holdings().iloc[:1].to_file(tmp_path / "holdings-a.geojson")
    holdings().iloc[1:].to_crs(3857).to_file(tmp_path / "Holdings B.gpkg", layer="x")
    blocks().to_file(tmp_path / "blocks.geojson")
    layers = bring_in(tmp_path).layers
    assert layers.holdings["holding_id"].tolist() == ["H1", "H2"]
    # Two hectares of UTM metres are 2 / 0.9996² on the ground at the central meridian.
    np.testing.assert_allclose(layers.holdings["area_ha"], 4.0 / 0.9996**2, rtol=1e-6)


def test_the_users_own_column_names(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().rename(columns={"girth_cm": "Umfang"}).to_csv(tmp_path / "girth.csv", index=False)
    (tmp_path / "columns.toml").write_text('[girth]\nUMFANG = "girth_cm"\n')
    assert girth_of(tmp_path)["girth_cm"].tolist() == [46.5, 51.0]
    (tmp_path / "columns.toml").write_text("[girths]\nUmfang = 'girth_cm'\n")
    with pytest.raises(LayerError, match=r"\[girths\]"):
        bring_in(tmp_path)


@pytest.mark.parametrize(
    ("heading", "value", "column", "read"),
    [
        ("girth_mm", "465", "girth_cm", 46.5),
        ("Girth (inch)", "18.5", "girth_cm", 46.99),
        ("diameter_cm", "15", "girth_cm", 47.1239),
        ("Girth", "46.5 cm", "girth_cm", 46.5),
        ("girth_cm", "465 mm", "girth_cm", 46.5),
        ("girth_cm", '18.5"', "girth_cm", 46.99),
        ("bark_cm", "0.7", "bark_mm", 7.0),
        ("height_m", "1.5", "height_cm", 150.0),
    ],
)
def test_headings_in_another_unit(
    tmp_path: Path, heading: str, value: str, column: str, read: float
) -> None:
    simple(tmp_path)
    table = lonlat().drop(columns="girth_cm").assign(**{heading: value})
    table.to_csv(tmp_path / "girth.csv", index=False)
    intake = bring_in(tmp_path)
    assert intake.layers.girth[column].tolist() == pytest.approx([read, read], abs=1e-3)
    told = any(heading in fault.found and fault.severity == "noted" for fault in intake.faults)
    assert told == (heading not in ("girth_cm",))


def test_a_figure_that_cannot_be_turned_is_told(tmp_path: Path) -> None:
    simple(tmp_path)
    table = lonlat().drop(columns="girth_cm").assign(girth_mm=["465", "many"])
    table.to_csv(tmp_path / "girth.csv", index=False)
    intake = bring_in(tmp_path)
    assert intake.layers.girth["girth_cm"].tolist()[0] == pytest.approx(46.5)
    assert pd.isna(intake.layers.girth["girth_cm"].iloc[1])
    assert any(fault.found == "girth_cm = “many”, left out" for fault in intake.faults)


def test_a_unit_in_the_heading_is_passed_on_so_that_nobody_guesses(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().rename(columns={"girth_cm": "diameter_cm"}).to_csv(tmp_path / "girth.csv", index=False)
    assert set(bring_in(tmp_path).layers.girth["girth_unit"]) == {"cm"}
    lonlat().to_csv(tmp_path / "girth.csv", index=False)
    assert "girth_unit" not in bring_in(tmp_path).layers.girth.columns


def test_dates_and_words_as_people_write_them(tmp_path: Path) -> None:
    holdings().to_file(tmp_path / "holdings.geojson")
    frame = blocks().assign(
        planted_on=["25/12/2014", "3/6/2010", "13-13-2013"],
        opened_on=["2021", None, None],
        material=["Clonal", "SEEDLING", "unknown"],
    )
    frame.to_file(tmp_path / "blocks.geojson")
    intake = bring_in(tmp_path)
    read = intake.layers.blocks
    # The first date shows that the day stands first in this column.
    assert read["planted_on"].iloc[:2].tolist() == [
        pd.Timestamp("2014-12-25"),
        pd.Timestamp("2010-06-03"),
    ]
    assert pd.isna(read["planted_on"].iloc[2])
    assert read["opened_on"].iloc[0] == pd.Timestamp("2021-07-01")
    assert read["material"].iloc[:2].tolist() == ["budded", "seedling"]
    assert pd.isna(read["material"].iloc[2])
    told = " ".join(fault.found for fault in intake.faults)
    assert "13-13-2013" in told
    assert "“unknown”" in told


# Thai: the year of the Buddhist era is the Gregorian one plus 543 (Unicode CLDR).
def test_years_of_the_buddhist_era_are_turned_and_told_by_row(tmp_path: Path) -> None:
    simple(tmp_path)
    (tmp_path / "blocks.geojson").unlink(missing_ok=True)
    thai = blocks().assign(planted_on=["05/2557", "25/12/2553", "2012-12-31"])
    thai.to_file(tmp_path / "blocks.geojson")
    lonlat().assign(measured_at=["2568-03-01 06:30", "2568-02-29 06:30"]).to_csv(
        tmp_path / "girth.csv", index=False
    )
    intake = bring_in(tmp_path)
    planted = intake.layers.blocks.set_index("block_id")["planted_on"]
    assert [f"{day:%Y-%m-%d}" for day in planted] == ["2014-05-01", "2010-12-25", "2012-12-31"]
    told = {
        (fault.file, fault.layer, fault.row): (fault.severity, fault.found)
        for fault in intake.faults
        if "2553" in fault.found or "2568" in fault.found
    }
    assert told["blocks.geojson", "blocks", "B2"] == (
        "mended",
        "planted_on = “25/12/2553”, a year of the Buddhist era, read as 2010-12-25",
    )
    read = intake.layers.girth["measured_at"]
    assert read.iloc[0] == pd.Timestamp("2025-03-01 06:30")
    # 2025 had no 29 February.
    assert pd.isna(read.iloc[1])
    found = [said for _, said in told.values()]
    assert "measured_at = “2568-02-29 06:30”, left out" in found
    assert len(told) == 3


def test_a_date_of_the_buddhist_era_in_a_files_own_kind_is_turned_too(tmp_path: Path) -> None:
    simple(tmp_path)
    table = lonlat().assign(measured_at=pd.to_datetime(["2568-03-01 06:30", "2568-03-02 06:30"]))
    table.to_excel(tmp_path / "girth.xlsx", index=False)
    assert girth_of(tmp_path)["measured_at"].tolist() == [
        pd.Timestamp("2025-03-01 06:30"),
        pd.Timestamp("2025-03-02 06:30"),
    ]


def test_a_column_that_a_layer_lacks_stays_absent(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().to_csv(tmp_path / "girth.csv", index=False)
    intake = bring_in(tmp_path)
    assert not {"bark_mm", "surveyor", "measured_at"} & set(intake.layers.girth.columns)
    assert "clone" not in intake.layers.blocks.columns


def test_every_stop_is_told_together_with_the_rest(tmp_path: Path) -> None:
    simple(tmp_path)
    metres().to_csv(tmp_path / "girth.csv", index=False)
    POINTS.set_crs(None, allow_override=True).to_file(tmp_path / "trees.shp")
    lonlat().rename(columns={"girth_cm": "girth_mm"}).to_csv(tmp_path / "girth_b.csv", index=False)
    with pytest.raises(IntakeError) as caught:
        bring_in(tmp_path)
    assert isinstance(caught.value, ValueError)
    stops = [fault for fault in caught.value.faults if fault.severity == "stops"]
    assert {fault.file for fault in stops} == {"girth.csv", "trees.shp"}
    assert str(caught.value).count("coordinate reference system") >= 2
    assert any(fault.severity == "noted" for fault in caught.value.faults)


def test_two_blocks_with_one_key_stop_unless_they_are_parts_of_one(tmp_path: Path) -> None:
    holdings().to_file(tmp_path / "holdings.geojson")
    alike = blocks().iloc[[0, 1]].assign(block_id="B1", planted_on="2014-05-01")
    alike = alike.assign(**{"row gap m": 7.0, "row_bearing_deg": 0.0})
    alike.to_file(tmp_path / "blocks.geojson")
    intake = bring_in(tmp_path)
    assert len(intake.layers.blocks) == 1
    assert shapely.get_num_geometries(intake.layers.blocks.geometry.iloc[0]) == 2
    alike.assign(tree_gap_m=[3.0, 2.5]).to_file(tmp_path / "blocks.geojson")
    with pytest.raises(IntakeError, match="block_id that another row"):
        bring_in(tmp_path)


def test_blocks_alone_get_a_holding_drawn_round_them(tmp_path: Path) -> None:
    blocks().to_file(tmp_path / "blocks.geojson")
    intake = bring_in(tmp_path)
    assert intake.layers.holdings["holding_id"].tolist() == ["H1", "H2"]
    assert any(fault.layer == "holdings" for fault in intake.faults)


def test_turned_axes_stop_the_layer(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().rename(columns={"lon": "lat", "lat": "lon"}).to_csv(
        tmp_path / "girth.csv", index=False
    )
    with pytest.raises(IntakeError, match="turned about"):
        bring_in(tmp_path)


def test_made_keys_are_the_same_whatever_the_order_the_file_and_the_format(tmp_path: Path) -> None:
    for name, order, ending in (("a", 1, "geojson"), ("b", -1, "gpkg")):
        folder = tmp_path / name
        folder.mkdir()
        holdings().drop(columns="Holding ID").iloc[::order].to_file(folder / f"holdings.{ending}")
        blocks().drop(columns=["block_id", "holding_id"]).iloc[::order].to_file(
            folder / f"blocks.{ending}"
        )
        drawn_rows().drop(columns="block_id").iloc[::order].to_file(folder / f"rows.{ending}")
        lonlat().iloc[::order].to_csv(folder / f"girth_{name}.csv", index=False)
    first, second = (bring_in(tmp_path / name).layers for name in ("a", "b"))
    for layer, key in (("holdings", "holding_id"), ("blocks", "block_id"), ("rows", "row_id"),
                       ("trees", "tree_id")):  # fmt: skip
        assert getattr(first, layer)[key].tolist() == getattr(second, layer)[key].tolist(), layer
    assert len(set(first.girth["point_id"])) == 2


def test_vacancies_come_from_a_table_by_number(tmp_path: Path) -> None:
    simple(tmp_path)
    pd.DataFrame(
        {"Block": ["B1", "B1", "B1"], "Row": [1, 1, 99], "Tree": [2, 3, 1],
         "Status": ["missing", "Dead", "dry"]}
    ).to_csv(tmp_path / "trees_not_standing.csv", index=False)  # fmt: skip
    intake = bring_in(tmp_path)
    status = intake.layers.trees.set_index("tree_id")["status"]
    assert status["B1-R01-T002"] == "vacant"
    assert status["B1-R01-T003"] == "dead"
    assert (status == "standing").sum() == 598
    assert any("a tree that isn't there" in fault.found for fault in intake.faults)


def test_obstacles_places_and_ground_come_along(tmp_path: Path) -> None:
    simple(tmp_path)
    stream = shapely.LineString([(X, Y, 3.0), (X + 200, Y + 100, 4.0)])
    gpd.GeoDataFrame({"kind": ["River", "moat"]}, geometry=[stream] * 2, crs=ZONE).to_file(
        tmp_path / "obstacles.geojson"
    )
    lonlat().drop(columns="girth_cm").assign(
        kind=["Crossing", "gate"], name=["ford", "gate"]
    ).to_csv(tmp_path / "places.csv", index=False)
    intake = bring_in(tmp_path)
    assert intake.layers.obstacles["kind"].tolist() == ["stream"]
    assert intake.layers.obstacles["passable"].tolist() == [False]
    assert intake.layers.obstacles["passable_source"].tolist() == ["assumed from kind"]
    assert sorted(intake.layers.places["kind"]) == ["crossing", "gate"]
    assert intake.layers.terrain is None


def test_girths_from_a_list_stand_at_the_trees_it_names(tmp_path: Path) -> None:
    simple(tmp_path)
    pd.DataFrame(
        {"Block": ["B1", "B1", "B9"], "Row No": [2, 3, 1], "Tree-no": [5, 60, 1],
         "girth_cm": [46.5, 51.0, 48.0]}
    ).to_excel(tmp_path / "girth_list.xlsx", index=False)  # fmt: skip
    intake = bring_in(tmp_path)
    girth = intake.layers.girth
    trees = intake.layers.trees.set_index("tree_id")
    assert girth["girth_cm"].tolist() == [46.5, 51.0]
    assert girth["place_source"].tolist() == ["named tree"] * 2
    assert (girth.geometry.to_wkt() == trees.loc[["B1-R02-T005", "B1-R03-T060"]].geometry.to_wkt()
            .to_numpy()).all()  # fmt: skip
    assert any("a tree that isn't there" in fault.found for fault in intake.faults)


def test_girths_without_a_place_or_a_number_stop(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat()[["girth_cm"]].to_csv(tmp_path / "girth.csv", index=False)
    with pytest.raises(IntakeError, match="without coordinates"):
        bring_in(tmp_path)


def test_places_from_waypoints_take_their_kind_from_the_type(tmp_path: Path) -> None:
    simple(tmp_path)
    (tmp_path / "places.gpx").write_text(
        gpx("<name>ford</name><type>Crossing</type>", "<name>shed</name><sym>collection</sym>")
    )
    places = bring_in(tmp_path).layers.places.sort_values("name")
    assert places[["name", "kind"]].to_numpy().tolist() == [
        ["ford", "crossing"],
        ["shed", "collection"],
    ]


def test_trees_between_drawn_rows_and_on_one_spot_are_told(tmp_path: Path) -> None:
    simple(tmp_path)
    line = shapely.LineString([(X + 20, Y + 20), (X + 20, Y + 120)])
    gpd.GeoDataFrame({"block_id": ["B1"], "row_no": [4]}, geometry=[line], crs=ZONE).to_file(
        tmp_path / "rows.geojson"
    )
    spots = [(20.4, 30.0), (19.7, 36.0), (19.8, 36.1), (26.0, 50.0)]
    gpd.GeoDataFrame(
        geometry=[shapely.Point(X + east, Y + north) for east, north in spots], crs=ZONE
    ).to_file(tmp_path / "trees.geojson")
    intake = bring_in(tmp_path)
    told = {fault.found for fault in intake.faults}
    assert "a tree 6 m from the nearest drawn row" in told
    assert "a tree on the spot of B1-R04-T002" in told
    # Steps that keep to no planting distance are counted one by one.
    assert intake.layers.trees["tree_no"].tolist() == [1, 2, 3, 4]


def test_a_block_planted_after_its_girths_is_told(tmp_path: Path) -> None:
    simple(tmp_path)
    lonlat().assign(measured_at="2014-01-01T08:00:00Z").to_csv(tmp_path / "girth.csv", index=False)
    told = {fault.found for fault in bring_in(tmp_path).faults}
    assert "planted_on 2014-05-01" in told


def test_planting_dates_that_cannot_be_are_left_out_and_told(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    odd = blocks().assign(planted_on=["1899-12-30", "2914-05-01", "2012-12-31"])
    for old in folder.glob("blocks*"):
        old.unlink()
    odd.to_file(folder / "blocks.geojson")
    intake = bring_in(folder)
    assert intake.layers.blocks["planted_on"].isna().tolist() == [True, True, False]
    told = [f.found for f in intake.faults if "left out" in f.found and "planted_on" in f.found]
    assert len(told) == 2


def test_a_tree_with_an_unknown_block_id_goes_to_the_block_it_stands_in(tmp_path: Path) -> None:
    folder = write_folder(tmp_path)
    for old in folder.glob("trees*"):
        old.unlink()
    trees = tree_points().to_crs(ZONE)
    points = gpd.GeoDataFrame(
        {"block_id": ["B9"] * len(trees)}, geometry=trees.geometry.to_numpy(), crs=ZONE
    )
    points.to_file(folder / "trees.gpkg")
    intake = bring_in(folder)
    assert any("B9" in fault.found for fault in intake.faults)
    assert "B9" not in set(intake.layers.trees["block_id"])


def test_members_written_on_the_blocks_are_the_holdings_members(tmp_path: Path) -> None:
    blocks().assign(member=["Asa", "Asa", "Bo"]).to_file(tmp_path / "blocks.geojson")
    layers = bring_in(tmp_path).layers
    assert layers.holdings.set_index("holding_id")["member"].to_dict() == {"H1": "Asa", "H2": "Bo"}
    assert "member" not in layers.blocks


def test_members_without_holdings_have_a_holding_each(tmp_path: Path) -> None:
    bare = blocks().drop(columns="holding_id").assign(member=["Asa", "Bo", "Bo"])
    bare.to_file(tmp_path / "blocks.geojson")
    layers = bring_in(tmp_path).layers
    assert layers.holdings["member"].tolist() == ["Asa", "Bo"]
    assert layers.blocks["holding_id"].tolist() == ["Asa", "Bo", "Bo"]


def test_a_holding_of_several_members_names_them_all_and_one_given_before_holds(
    tmp_path: Path,
) -> None:
    blocks().assign(member=["Asa", "Bo", "Cy"]).to_file(tmp_path / "blocks.geojson")
    found = bring_in(tmp_path)
    assert found.layers.holdings["member"].tolist() == ["Asa; Bo", "Cy"]
    assert any("several members: Asa; Bo" in fault.found for fault in found.faults)
    holdings().to_file(tmp_path / "holdings.geojson")
    found = bring_in(tmp_path)
    assert found.layers.holdings["member"].tolist() == ["Member 01", "Member 02"]
    assert any("the member Cy; its holding H2 is Member 02's" in f.found for f in found.faults)


def moments(folder: Path, *words: str, toml: str = "") -> tuple[list[pd.Timestamp], str]:
    simple(folder)
    (folder / "girth.csv").write_text(
        "lon,lat,girth_cm,measured_at\n" + "".join(f"105,-0.904,45,{w}\n" for w in words)
    )
    if toml:
        (folder / "columns.toml").write_text(toml)
    found = bring_in(folder)
    said = "; ".join(f.found for f in found.faults if f.found.startswith("measured_at"))
    return found.layers.girth["measured_at"].tolist(), said


JAKARTA = '[time]\nzone = "Asia/Jakarta"\n'


def test_moments_are_by_the_clock_of_the_zone_that_is_named(tmp_path: Path) -> None:
    # Jakarta is seven hours ahead of UTC (IANA time zone database, Asia/Jakarta: WIB).
    read, said = moments(
        tmp_path,
        "2025-02-28T23:30:00Z",
        "2025-03-01T06:31:00",
        "2025-03-01T07:32:00+08:00",
        toml=JAKARTA,
    )
    assert [f"{moment:%d %H:%M}" for moment in read] == ["01 06:30", "01 06:31", "01 06:32"]
    assert said == "measured_at without a time zone in 1 row, taken as Asia/Jakarta"


def test_without_a_zone_no_day_of_taping_slips_and_what_was_taken_is_said(tmp_path: Path) -> None:
    # 105° east: seven full hours.
    read, said = moments(
        tmp_path, "2025-02-28T23:30:00Z", "2025-03-01 06:31", "2025-03-01T06:32:00+08:00"
    )
    assert [f"{moment:%d %H:%M}" for moment in read] == ["01 06:30", "01 06:31", "01 06:32"]
    assert "without a time zone in 1 row, taken as the time on the plot" in said
    assert "in UTC in 1 row, taken as UTC+7 on the plot" in said


def test_a_project_keeps_the_clock_it_was_written_by(tmp_path: Path) -> None:
    read, _ = moments(tmp_path, "2025-02-28T23:30:00Z", toml=JAKARTA)
    found = bring_in(tmp_path)
    names = ("holdings", "blocks", "rows", "trees", "girth")
    (tmp_path / "out").mkdir()
    project = tmp_path / "out" / "p.gpkg"
    write_layers(project, {name: getattr(found.layers, name) for name in names})
    again = bring_in(project)
    assert again.layers.girth["measured_at"].tolist() == read
    assert not [fault for fault in again.faults if "measured_at" in fault.found]


@pytest.mark.parametrize(
    "line", ['zone = "Asia/Jakata"', "zone = 7", 'place = "here"', "zone = ''"]
)
def test_a_zone_that_is_none_is_refused(tmp_path: Path, line: str) -> None:
    with pytest.raises(LayerError, match=r"columns\.toml, layer time.*Asia/Jakarta"):
        moments(tmp_path, "2025-03-01 06:31", toml=f"[time]\n{line}\n")
