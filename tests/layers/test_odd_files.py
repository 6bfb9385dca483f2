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

from layers import bring_in, write_layers
from layers.errors import LayerError
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
        text("girth.csv", "lon,lat,girth_cm\n105,-0.904,45,3,4\n"), "girth.csv",
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
