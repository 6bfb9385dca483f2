"""Odd and broken files: each is read with its faults told, or stops with the remedy."""

from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
import pytest
import shapely
from openpyxl import Workbook

from layers import bring_in, write_layers
from layers.bring_in.notes import read_notes
from layers.errors import LayerError, UnreadableError
from tests.layers.test_bring_in import (
    GPX,
    ZONE,
    X,
    Y,
    blocks,
    drawn_rows,
    holdings,
    tree_points,
)

Write = Callable[[Path], object]


def text(name: str, words: str) -> Write:
    return lambda folder: (folder / name).write_text(words)


def layer(name: str, frame: gpd.GeoDataFrame) -> Write:
    return lambda folder: frame.to_file(folder / name)


def shapes(*geometries: shapely.Geometry, **columns: object) -> gpd.GeoDataFrame:
    named = columns or {"note": ["x"] * len(geometries)}
    return gpd.GeoDataFrame(named, geometry=list(geometries), crs=ZONE)


def no_part(name: str) -> Write:
    """Write drawn rows as a shapefile and lose one of its files."""

    def write(folder: Path) -> None:
        drawn_rows().assign(block_id="B2").to_file(folder / "rows.shp")
        (folder / name).unlink()

    return write


def empty_archive(folder: Path) -> None:
    with zipfile.ZipFile(folder / "rows.zip", "w") as archive:
        archive.writestr("notes.txt", "x")


EMPTY = '{"type": "FeatureCollection", "features": []}'
NULL = (
    '{"type": "FeatureCollection", "features": [{"type": "Feature", "properties": '
    '{"block_id": "B2"}, "geometry": null}]}'
)
KML = (
    '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    "<Folder><name>a</name><Placemark><name>r1</name><MultiGeometry>"
    "<LineString><coordinates>105.0012,-0.9044,3 105.0015,-0.9044,3</coordinates></LineString>"
    "<LineString><coordinates>105.0012,-0.9043,3 105.0015,-0.9043,3</coordinates></LineString>"
    "</MultiGeometry></Placemark></Folder><Folder><name>b</name><Placemark><name>r2</name>"
    "<LineString><coordinates>105.0012,-0.9040,3 105.0015,-0.9040,3</coordinates></LineString>"
    "</Placemark></Folder></Document></kml>"
)

# B1 is set out with 600 trees; B2's two drawn rows hold 18 each; B3 has 770 tree points.
READ: dict[str, tuple[Write, int, str]] = {
    "no feature": (text("girth.geojson", EMPTY), 600, ""),
    "no geometry": (text("rows.geojson", NULL), 600, "no geometry"),
    "heading only": (text("girth.csv", "lon,lat,girth_cm\n"), 600, ""),
    "no place": (text("girth.csv", "lon,lat,girth_cm\n105,-0.904,45\n,,46\n"), 600, "no geometry"),
    "one column three times": (
        text("girth.csv", "lon,lat,girth_cm,Girth (CM),GIRTH_MM\n105,-0.904,45,46,450\n"), 600,
        "not used: Girth (CM), GIRTH_MM",
    ),
    "a column named geometry": (
        text("girth.csv", "lon,lat,girth_cm,geometry,tree_id\n105,-0.904,45,here,7\n"), 600, "",
    ),
    "row counters": (
        text("girth.csv", "fid,lon,lat,girth_cm,ogc_fid\n7,105,-0.904,45,2\n7,105,-0.9041,45,2\n"),
        600, "",
    ),
    "a latitude of 100": (
        text("girth.csv", "lon,lat,girth_cm\n105,-0.904,45\n105,100,45\n"), 600, "can't be placed",
    ),
    "figures that are none": (
        text("girth.csv", "lon,lat,girth_cm,row_no,tree_no\n105,-0.904,inf,1.5,x\n"),
        600, "row_no = “1.5”, left out",
    ),
    "moments of every kind": (
        text(
            "girth.csv",
            "lon,lat,girth_cm,measured_at\n105,-0.904,45,2025-01-01T10:00:00+07:00\n"
            "105,-0.9041,45,2025-01-01\n105,-0.9042,46,1735700000\n",
        ),
        600, "without a time zone in 1 row",
    ),
    "a workbook that is none": (text("notes.xlsx", "x"), 600, "passed over"),
    "a shapefile without its table": (no_part("rows.dbf"), 636, "without a row_no"),
    "KML in folders": (text("rows.kml", KML), 636, "a line in 2 parts"),
    "row numbers in words": (
        layer("rows.geojson", drawn_rows().assign(row_no=["1a", "2"])), 636, "row_no = “1a”",
    ),
    "row numbers below one": (
        layer("rows.geojson", drawn_rows().assign(row_no=[0, -1])), 636, "row_no = -1",
    ),
    "one row number twice": (
        layer("rows.geojson", drawn_rows().assign(row_no=[1, 1])), 636, "another row has too",
    ),
    "one tree_id for all": (
        layer("trees.geojson", tree_points().assign(tree_id="x")), 1370, "another tree has too",
    ),
    "some numbers only": (
        layer("trees.geojson", tree_points().assign(row_no=[1] * 70 + [None] * 700)), 1370,
        "700 trees without a row_no",
    ),
    "a tree in no block": (
        layer("trees.geojson", shapes(shapely.Point(X + 1000, Y))), 600, "a place in no block",
    ),
    "trees on one spot": (
        layer("trees.geojson", shapes(*[shapely.Point(X + 220, Y + 50)] * 5)), 601,
        "the same row as an earlier one",
    ),
    "a row in another country": (
        layer("rows.geojson", shapes(
            shapely.LineString([(X + 900_000, Y), (X + 900_300, Y)]), block_id=["B2"],
        )),
        600, "from block B2, to which it belongs; left out",
    ),
    "a row of another kind": (
        layer("rows.geojson", shapes(
            shapely.Point(X + 120, Y + 20),
            shapely.LineString([(X + 120, Y + 20), (X + 159, Y + 20)]),
            block_id=["B2", "B2"],
        )),
        614, "a Point; left out",
    ),
    "tappers with places": (
        text("tappers.csv", "Tapper,Name,lon,lat\nT1,a,105,-0.9\nT1,b,105,-0.9\n"), 600,
        "another row has too",
    ),
    "tappers without keys": (text("tappers.csv", "name,skills\na,low\nb,high\n"), 600, "made from"),
    "places without a kind": (
        text("places.csv", "name,lon,lat\na,105,-0.904\n"), 600, "no known kind",
    ),
    "a folder named like a layer": (lambda folder: (folder / "rows.geojson").mkdir(), 600, ""),
    "a layer in another format": (text("rows.dwg", "x"), 600, "passed over"),
}  # fmt: skip

STOPS: dict[str, tuple[Write, str]] = {
    "broken GeoJSON": (text("rows.geojson", "{"), "rows.geojson"),
    "an empty table": (text("girth.csv", ""), "an empty file"),
    "another encoding": (
        lambda folder: (folder / "girth.csv").write_bytes(
            "lon,lat,surveyor,girth_cm\n105,-0.904,José,45\n".encode("latin-1")
        ),
        "UTF-8",
    ),
    "more cells than headings": (
        text("girth.csv", "lon,lat,girth_cm\n105,-0.904,45,3,4\n"),
        "5 cells in line 2, and 3 headings",
    ),
    "more cells further down, below a title": (
        text("girth.csv", "Survey\nlon,lat,girth_cm\n105,-0.904,45\n105,-0.904,45,3\n"),
        "4 cells in line 4, and 3 headings",
    ),
    "words for a longitude": (
        text("girth.csv", "lon,lat,girth_cm\n105 E,-0.904,45\n"), "decimal degrees",
    ),
    "a workbook that is none": (text("girth.xlsx", "x"), "workbook"),
    "an empty workbook": (
        lambda folder: pd.DataFrame().to_excel(folder / "girth.xlsx"), "an empty sheet",
    ),
    "an archive that is none": (text("rows.zip", "x"), "zipped shapefile"),
    "an archive without a shapefile": (empty_archive, "0 shapefiles"),
    "a GeoPackage that is none": (text("rows.gpkg", "x"), "GeoPackage"),
    "a table in place of rows": (
        lambda folder: pyogrio.write_dataframe(
            pd.DataFrame({"a": [1]}), folder / "rows.gpkg", layer="rows"
        ),
        "without coordinates",
    ),
    "a shapefile without its index": (no_part("rows.shx"), "rows.shp"),
    "KML without a placemark": (
        text("rows.kml", '<kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>'),
        "placemark",
    ),
    "GPX cut short": (text("girth.gpx", "<gpx>"), "GPX"),
    "GPX with words for a latitude": (
        text("girth.gpx", GPX.format(points='<wpt lat="x" lon="105"/>')), "GPX",
    ),
    "places without coordinates": (
        text("places.csv", "name,kind\na,gate\n"), "without coordinates",
    ),
    "ground that is none": (text("terrain.tif", "x"), "GeoTIFF"),
    "an unknown CRS": (
        text("columns.toml", '[crs]\n"blocks.geojson" = "EPSG:999999"\n'), "PROJ knows",
    ),
    "broken settings": (text("columns.toml", "[crs\n"), "TOML"),
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    holdings().to_file(tmp_path / "holdings.geojson")
    blocks().to_file(tmp_path / "blocks.geojson")
    return tmp_path


@pytest.mark.parametrize("name", READ)
def test_it_is_read_and_kept_in_a_project(name: str, folder: Path) -> None:
    write, trees, words = READ[name]
    write(folder)
    intake = bring_in(folder)
    assert len(intake.layers.trees) == trees
    assert words in " | ".join(fault.found for fault in intake.faults)
    frames = {
        layer: getattr(intake.layers, layer)
        for layer in (
            "holdings",
            "blocks",
            "rows",
            "trees",
            "girth",
            "obstacles",
            "places",
            "tappers",
        )
    }
    write_layers(folder / "project.gpkg", frames)
    again = bring_in(folder / "project.gpkg").layers
    for layer_name, frame in frames.items():
        assert len(getattr(again, layer_name)) == len(frame)
    assert again.trees["tree_id"].tolist() == intake.layers.trees["tree_id"].tolist()


@pytest.mark.parametrize("name", STOPS)
def test_it_stops_with_the_remedy(name: str, folder: Path) -> None:
    write, words = STOPS[name]
    write(folder)
    with pytest.raises(LayerError, match=words) as caught:
        bring_in(folder)
    assert caught.value.fault.remedy
    assert str(folder) not in str(caught.value)


def moments_of(folder: Path, heading: str, rows: list[str]) -> tuple[list[str], str]:
    """Read girths under a heading for the moment, and give these and what was said."""
    lines = "".join(f"105.000{n},-0.904,45,{row}\n" for n, row in enumerate(rows))
    (folder / "girth.csv").write_text(f"lon,lat,girth_cm,{heading}\n{lines}")
    blocks().to_file(folder / "blocks.gpkg", layer="blocks")
    found = bring_in(folder)
    moments = found.layers.girth["measured_at"].dt.strftime("%Y-%m-%d %H:%M:%S").tolist()
    return moments, "\n".join(map(str, found.faults))


@pytest.mark.parametrize(
    ("rows", "read"),
    [
        (["25/09/2025 07:05", "3/9/2025 17:05:30"], ["2025-09-25 07:05:00", "2025-09-03 17:05:30"]),
        (["9/25/2025 12:05 AM", "9/3/2025 1:05 p.m."],
         ["2025-09-25 00:05:00", "2025-09-03 13:05:00"]),
        (["25.09.2025", "03.09.2025, 12:00 PM"], ["2025-09-25 00:00:00", "2025-09-03 12:00:00"]),
        # Day 39448 is 1 January 2008 (Microsoft, help on DATEVALUE, from memory); 6,467 days on.
        (["45915.5", "45915"], ["2025-09-15 12:00:00", "2025-09-15 00:00:00"]),
    ],
)  # fmt: skip
def test_moments_are_read_as_surveyors_and_spreadsheets_write_them(
    tmp_path: Path, rows: list[str], read: list[str]
) -> None:
    heading = '"measured_at"'
    moments, _ = moments_of(tmp_path, heading, [f'"{row}"' for row in rows])
    assert sorted(moments) == sorted(read)


def test_a_day_that_may_be_a_month_is_left_out_and_told(tmp_path: Path) -> None:
    moments, told = moments_of(tmp_path, "measured_at", ["03/09/2025 07:05", "04/09/2025 13:61"])
    assert pd.isna(moments).all()
    assert "measured_at = “03/09/2025 07:05”, left out" in told


def test_a_day_and_a_time_in_two_columns_are_one_moment(tmp_path: Path) -> None:
    moments, told = moments_of(tmp_path, "Date,Time", ["25.09.2025,07:05", "26.09.2025,"])
    assert moments == ["2025-09-25 07:05:00", "2025-09-26 00:00:00"]
    assert "columns Date and Time, put together as measured_at" in told


def test_marks_for_an_empty_cell_are_empty_and_told_once(tmp_path: Path) -> None:
    rows = ["-,-,n/a", "\u2013,NA,Na", "7.5,2,walk"]
    heading = "bark_mm,row_no,surveyor"
    lines = "".join(f"105.000{n},-0.904,45,{row}\n" for n, row in enumerate(rows))
    (tmp_path / "girth.csv").write_text(f"lon,lat,girth_cm,{heading}\n{lines}n/a,-,45,7,2,walk\n")
    blocks().to_file(tmp_path / "blocks.gpkg", layer="blocks")
    found = bring_in(tmp_path)
    told = "\n".join(map(str, found.faults))
    girth = found.layers.girth
    assert girth["bark_mm"].isna().sum() == 2
    assert girth["row_no"].isna().sum() == 2
    # Na is a family name.
    assert girth["surveyor"].dropna().tolist() == ["Na", "walk"]
    assert "bark_mm “-”, “\u2013” in 2 rows, taken as empty" in told
    assert "no geometry; left out" in told
    assert "Mend bark_mm" not in told


def test_a_month_before_its_year_is_read(tmp_path: Path) -> None:
    frame = blocks().assign(planted_on=["06/2014", "2015", "41791"])
    frame.to_file(tmp_path / "blocks.gpkg", layer="blocks")
    planted = bring_in(tmp_path).layers.blocks["planted_on"].dt.strftime("%Y-%m-%d")
    assert planted.tolist() == ["2014-06-01", "2015-07-01", "2014-06-01"]


TABLE = "lon,lat,girth_cm,measured_at\n105,-0.904,45,2025-09-15\n105,-0.9041,46,2025-09-15\n"


@pytest.mark.parametrize(
    ("words", "titles"),
    [
        ("Survey of the northern group,,,\n,,,\n" + TABLE, "2 rows above the headings"),
        ("Girth\nlon,lat,girth_cm,measured_at\n" + TABLE.split("\n", 1)[1], "1 row above"),
        ("sep=;\r\n" + TABLE.replace(",", ";"), ""),
        ('"sep=,"\n' + TABLE, ""),
        (TABLE, ""),
    ],
)
def test_titles_above_the_headings_are_left_out_and_told(
    tmp_path: Path, words: str, titles: str
) -> None:
    (tmp_path / "girth.csv").write_text(words)
    blocks().to_file(tmp_path / "blocks.gpkg", layer="blocks")
    found = bring_in(tmp_path)
    assert found.layers.girth["girth_cm"].tolist() == [45.0, 46.0]
    told = "\n".join(map(str, found.faults))
    assert titles in told
    assert ("above the headings" in told) == bool(titles)


def test_a_workbook_with_merged_titles_is_read_sheet_by_sheet(tmp_path: Path) -> None:
    book = Workbook()
    for number, sheet in enumerate([book.active, book.create_sheet("second")]):
        sheet.append(["Girth survey", None, None])
        sheet.merge_cells("A1:C1")
        sheet.append(["Place", None, "Measure"])
        sheet.merge_cells("A2:B2")
        sheet.append(["lon", "lat", "Stem size", "measured_at"])
        sheet.append([105.0 + 1e-4 * number, -0.904, 45 + number, "2025-09-15"])
    book.create_sheet("notes").append(["Names of the surveyors"])
    book.save(tmp_path / "girth.xlsx")
    (tmp_path / "columns.toml").write_text('[girth]\n"Stem size" = "girth_cm"\n')
    blocks().to_file(tmp_path / "blocks.gpkg", layer="blocks")
    found = bring_in(tmp_path)
    assert found.layers.girth["girth_cm"].tolist() == [45.0, 46.0]
    told = "\n".join(map(str, found.faults))
    assert "girth.xlsx (second), layer girth: found 2 rows above the headings" in told
    assert "girth.xlsx (notes), layer girth: found a sheet without a heading of girth" in told


def test_a_boundary_with_a_label_point_in_one_placemark_is_read(tmp_path: Path) -> None:
    ring = "105,-0.905,9 105.001,-0.905,9 105.001,-0.904,9 105,-0.904,9 105,-0.905,9"
    hole = "105.0004,-0.9046,9 105.0006,-0.9046,9 105.0006,-0.9044,9 105.0004,-0.9046,9"
    area = (
        f"<Polygon><outerBoundaryIs><LinearRing><coordinates>{ring}</coordinates></LinearRing>"
        f"</outerBoundaryIs><innerBoundaryIs><LinearRing><coordinates>{hole}</coordinates>"
        "</LinearRing></innerBoundaryIs></Polygon>"
    )
    (tmp_path / "blocks.kml").write_text(
        '<kml xmlns="http://www.opengis.net/kml/2.2"><Document><Placemark><name>B1</name>'
        f"<MultiGeometry>{area}<Point><coordinates>105.0005,-0.9045,9</coordinates></Point>"
        "</MultiGeometry></Placemark></Document></kml>"
    )
    found = bring_in(tmp_path)
    (shape,) = found.layers.blocks.geometry
    assert [len(part.interiors) for part in shape.geoms] == [1]
    assert "only the areas are used" in "\n".join(map(str, found.faults))


def test_girths_far_from_every_block_are_told(tmp_path: Path) -> None:
    blocks().to_file(tmp_path / "blocks.gpkg", layer="blocks")
    (tmp_path / "girth.csv").write_text(
        "point_id,lon,lat,girth_cm,measured_at\nP1,105,-0.9044,45,2025-09-15\n"
        "P2,105,-0.8144,46,2025-09-15\n"
    )
    told = [f for f in bring_in(tmp_path).faults if "nearest block" in f.found]
    assert [(fault.row, fault.layer) for fault in told] == [("P2", "girth")]
    # 0.09 degrees of latitude are 9,952 m there: a degree is 110.57 km at the equator (WGS 84).
    # The blocks reach less than 200 m north of the point that lies among them.
    metres = float(told[0].found.split(" m ")[0].removeprefix("a point ").replace(",", ""))
    assert 9_752 < metres < 9_952


def test_a_cooperative_on_both_sides_of_the_180th_meridian_is_one_place(tmp_path: Path) -> None:
    sides = [
        shapely.box(179.999, -16.501, 179.9995, -16.5),
        shapely.box(-179.9995, -16.501, -179.999, -16.5),
    ]
    plain = {"block_id": ["B1", "B2"], "row_gap_m": 7.0, "tree_gap_m": 3.0, "row_bearing_deg": 0.0}
    gpd.GeoDataFrame(plain, geometry=sides, crs=4326).to_file(tmp_path / "blocks.geojson")
    (tmp_path / "girth.csv").write_text(
        "lon,lat,girth_cm,measured_at\n179.9992,-16.5005,45,2025-09-15\n"
        "-179.9992,-16.5005,46,2025-09-15\n"
    )
    found = bring_in(tmp_path)
    told = "\n".join(map(str, found.faults))
    assert "km from the holdings" not in told
    assert "nearest block" not in told
    # 0.001 degree of longitude apart at 16.5 degrees south: 111,320 m x cos(16.5°) / 1000.
    one, other = found.layers.blocks.geometry
    assert one.distance(other) == pytest.approx(106.7, abs=1.0)


@pytest.mark.parametrize("cells", ["", "sep=;\n"])
def test_a_note_without_headings_is_told(tmp_path: Path, cells: str) -> None:
    (tmp_path / "holidays.csv").write_text(cells)
    with pytest.raises(UnreadableError, match=r"holidays\.csv.*expected a table in CSV"):
        read_notes(tmp_path / "holidays.csv", ("date",), layer="holidays")
