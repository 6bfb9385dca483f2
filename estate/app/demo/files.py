"""The demo's files: the stand and its survey in the formats that people send, faults and all."""

from __future__ import annotations

import tomllib
import zipfile
from datetime import date
from functools import cache
from importlib import resources
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import geopandas as gpd
import gpxpy.gpx
import numpy as np
import pandas as pd
import pyogrio
import shapely
from numpy.typing import NDArray

from estate.app.demo.ground import write_ground
from estate.app.demo.stand import TrueStand, make_stand
from estate.app.demo.surroundings import obstacles, places, tappers
from estate.app.demo.survey import make_survey
from layers.crs import EXCHANGE_CRS

# Blocks whose layers come in another file than the rest.
_KML_BLOCKS = ("B06", "B11", "B18", "B23")
_GPX_BLOCKS = ("B10", "B22")
_XLSX_BLOCKS = ("B02", "B13")
_COLUMNS = """\
# What the cooperative calls our columns.
[girth]
"Stem size" = "girth_cm"
"Taken at" = "measured_at"
"Who" = "surveyor"

[blocks]
"Plot" = "block_id"
"Owner" = "holding_id"
"""


@cache
def demo_figures() -> dict[str, Any]:
    """Give the figures that the demo is made from."""
    text = resources.files("estate.app.demo").joinpath("demo.toml").read_text("utf-8")
    return tomllib.loads(text)


def demo_day() -> date:
    """Give the day on which the demo's plan is made: that of its last survey round."""
    day: date = demo_figures()["place"]["survey_day"]
    return day


@cache
def _made() -> tuple[TrueStand, gpd.GeoDataFrame, np.random.Generator]:
    figures = demo_figures()
    generator = np.random.default_rng(figures["place"]["random_state"])
    stand = make_stand(figures, generator)
    rounds = [make_survey(stand.trees, figures, generator, earlier=old) for old in (False, True)]
    points = gpd.GeoDataFrame(pd.concat(rounds, ignore_index=True), crs=stand.trees.crs)
    return stand, points, generator


def demo_truth() -> pd.DataFrame:
    """Give which tree each of the demo's girth points was taken on; for tests, not for the job.

    Returns
    -------
    DataFrame
        point_id; tree_id (missing for a point that belongs to no tree); x_m, y_m, where that tree
        stands in the demo's metric CRS. In the block whose trees came without numbers the tree's
        key in the job is another: go by its place.
    """
    stand, points, _ = _made()
    truth = points[["point_id", "true_tree_id"]].rename(columns={"true_tree_id": "tree_id"})
    places = pd.DataFrame(
        _places(stand.trees), index=stand.trees["tree_id"].to_numpy(), columns=["x_m", "y_m"]
    )
    return pd.DataFrame(truth).join(places, on="tree_id").reset_index(drop=True)


def true_stand() -> TrueStand:
    """Give the demo's stand as it truly is, every tree's status and girth; for tests."""
    return _made()[0]


def write_demo(folder: Path) -> tuple[Path, ...]:
    """Write the invented cooperative's raw layers into a folder.

    The same files come out each time: everything is drawn from one fixed random state.

    Parameters
    ----------
    folder
        Made where it isn't there.

    Returns
    -------
    tuple of Path
        The files, in the order of their names.
    """
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    figures = demo_figures()
    stand, points, _ = _made()
    written = [
        *_write_holdings(folder, stand.holdings),
        *_write_blocks(folder, stand.blocks, figures),
        *_write_rows(folder, stand, figures),
        *_write_trees(folder, stand, figures),
        *_write_girth(folder, points),
        *_write_surroundings(folder, figures),
        write_ground(
            folder / "terrain.tif",
            figures,
            np.random.default_rng(figures["place"]["random_state"] + 1),
        ),
    ]
    names = folder / "columns.toml"
    names.write_text(_COLUMNS, "utf-8")
    return tuple(sorted([*written, names]))


def _write_holdings(folder: Path, holdings: gpd.GeoDataFrame) -> list[Path]:
    """Write the northern half as GeoJSON and the southern as a zipped shapefile.

    One member's boundary was drawn four metres into a neighbour's.
    """
    shapes = holdings.geometry.to_numpy().copy()
    shapes[9] = shapely.union(
        shapes[9], shapely.intersection(shapely.buffer(shapes[9], 4.0), shapes[8])
    )
    drawn = holdings.set_geometry(gpd.GeoSeries(shapes, crs=holdings.crs))
    north, south = folder / "holdings_north.geojson", folder / "holdings_south.zip"
    _write(drawn.iloc[8:].to_crs(EXCHANGE_CRS), north, "GeoJSON")
    _write_zip(drawn.iloc[:8], south)
    return [north, south]


def _write_blocks(folder: Path, blocks: gpd.GeoDataFrame, figures: dict[str, Any]) -> list[Path]:
    """Write most blocks in a GeoPackage, the hill ones as KML.

    One boundary has a loop at a corner, one block lacks its holding, and the KML has heights.
    """
    shapes = blocks.geometry.to_numpy().copy()
    shapes[8] = _with_loop(shapes[8])
    named = blocks.set_geometry(gpd.GeoSeries(shapes, crs=blocks.crs)).rename(
        columns={"block_id": "Plot", "holding_id": "Owner"}
    )
    named.loc[12, "Owner"] = None
    named["planted_on"] = named["planted_on"].dt.strftime("%Y-%m-%d")
    hills = named["Plot"].isin(_KML_BLOCKS)
    flat, steep = folder / "blocks.gpkg", folder / "blocks_hills.kml"
    _write(named[~hills], flat, "GPKG", layer="blocks")
    high = named[hills].to_crs(EXCHANGE_CRS).rename(columns={"Plot": "Name"})
    lifted = high.geometry.force_3d(60.0)
    _write(high.set_geometry(lifted), steep, "KML")
    return [flat, steep]


def _with_loop(shape: shapely.Polygon) -> shapely.Polygon:
    """Cross the boundary over itself in a loop of a few metres at its first corner."""
    ring = shapely.get_coordinates(shape.exterior)[:-1]
    ahead, behind = ring[1] - ring[0], ring[-1] - ring[0]
    ahead, behind = ahead / np.hypot(*ahead), behind / np.hypot(*behind)
    loop = np.array([ring[0] - 4.0 * behind, ring[0] - 4.0 * ahead])
    return shapely.Polygon(np.concatenate([ring[1:], loop]))


def _write_rows(folder: Path, stand: TrueStand, figures: dict[str, Any]) -> list[Path]:
    """Write drawn rows: straight ones in the next zone's CRS, contour ones in degrees.

    One row runs on far beyond its block, and one is there twice.
    """
    kinds = {block["name"]: block["rows"] for block in figures["blocks"]}
    rows = stand.rows.assign(kind=stand.rows["block_id"].map(kinds))
    drawn = ["block_id", "row_no", "first_tree_m", "geometry"]
    straight = rows.loc[rows["kind"] == "straight", drawn].reset_index(drop=True)
    contour = rows.loc[rows["kind"] == "contour", drawn].reset_index(drop=True)
    shapes = straight.geometry.to_numpy().copy()
    shapes[0] = _run_on(shapes[0], 36.0)
    straight = straight.set_geometry(gpd.GeoSeries(shapes, crs=rows.crs))
    straight = pd.concat([straight, straight.iloc[[40]]], ignore_index=True)
    flat, steep = folder / "rows_straight.gpkg", folder / "rows_contour.geojson"
    zone = figures["place"]["other_zone_epsg"]
    _write(gpd.GeoDataFrame(straight, crs=rows.crs).to_crs(zone), flat, "GPKG", layer="rows")
    _write(contour.to_crs(EXCHANGE_CRS), steep, "GeoJSON")
    return [flat, steep]


def _run_on(line: shapely.LineString, metres: float) -> shapely.LineString:
    ends = shapely.get_coordinates(line)
    onward = (ends[-1] - ends[-2]) / np.hypot(*(ends[-1] - ends[-2]))
    return shapely.LineString([*ends[:-1], ends[-1] + metres * onward])


def _write_trees(folder: Path, stand: TrueStand, figures: dict[str, Any]) -> list[Path]:
    """Write tree points where trees were mapped, and a list of the places that aren't standing."""
    kinds = {block["name"]: block["rows"] for block in figures["blocks"]}
    kind = stand.trees["block_id"].map(kinds)
    mapped = stand.trees[kind == "trees"]
    numbered = mapped[["block_id", "row_no", "tree_no", "status", "geometry"]]
    bare = stand.trees[(kind == "bare").to_numpy() & (stand.trees["status"] != "vacant").to_numpy()]
    points, unnumbered, listed = (
        folder / "trees_mapped.gpkg",
        folder / "trees_from_above.geojson",
        folder / "trees_not_standing.csv",
    )
    web = figures["place"]["web_epsg"]
    words = numbered.assign(status=numbered["status"].replace({"vacant": "missing"}))
    _write(words.to_crs(web), points, "GPKG", layer="trees")
    _write(bare[["geometry"]].to_crs(EXCHANGE_CRS), unnumbered, "GeoJSON")
    others = stand.trees[(~kind.isin(["trees", "bare"]) & (stand.trees["status"] != "standing"))]
    others[["block_id", "row_no", "tree_no", "status"]].to_csv(listed, index=False)
    return [points, unnumbered, listed]


def _write_girth(folder: Path, points: gpd.GeoDataFrame) -> list[Path]:
    """Write the survey as CSV, XLSX and GPX, and the earlier round as GeoJSON."""
    old = points["point_id"].str.startswith("Q")
    block = points["session_id"].str.extract(r"-(B\d+)-")[0]
    gpx, xlsx = block.isin(_GPX_BLOCKS) & ~old, block.isin(_XLSX_BLOCKS) & ~old
    degrees = points.drop(columns="true_tree_id").to_crs(EXCHANGE_CRS)
    written = [
        _girth_csv(folder / "girth_walks.csv", degrees[~old & ~gpx & ~xlsx]),
        _girth_xlsx(folder / "girth_sheet.xlsx", points[xlsx]),
        _girth_gpx(folder / "girth_phone.gpx", degrees[gpx]),
    ]
    earlier = folder / "girth_first_round.geojson"
    stamped = degrees[old].assign(measured_at=_stamps(degrees["measured_at"][old]))
    _write(stamped, earlier, "GeoJSON")
    return [*written, earlier]


def _stamps(moments: pd.Series) -> pd.Series:
    return moments.dt.strftime("%Y-%m-%dT%H:%M:%SZ")


def _places(frame: gpd.GeoDataFrame) -> NDArray[np.float64]:
    return shapely.get_coordinates(frame.geometry.to_numpy())


def _girth_csv(path: Path, points: gpd.GeoDataFrame) -> Path:
    """Write points with longitude and latitude; one moment and one girth can't be read."""
    table = pd.DataFrame(points.drop(columns="geometry"))
    table["measured_at"] = _stamps(table["measured_at"])
    table["lon"], table["lat"] = _places(points).round(7).T
    table = table.astype({"girth_cm": "str"})
    table.iloc[30, table.columns.get_loc("measured_at")] = "12th, morning"
    table.iloc[57, table.columns.get_loc("girth_cm")] = "forty-six"
    table.rename(
        columns={"girth_cm": "Stem size", "measured_at": "Taken at", "surveyor": "Who"}
    ).to_csv(path, index=False)
    return path


def _girth_xlsx(path: Path, points: gpd.GeoDataFrame) -> Path:
    """Write points in metres with their EPSG code, girth in millimetres."""
    table = pd.DataFrame(points.drop(columns=["geometry", "girth_cm", "true_tree_id"]))
    table["Girth (mm)"] = (points["girth_cm"] * 10.0).round()
    table["easting"], table["northing"] = _places(points).round(2).T
    table["epsg"] = points.crs.to_epsg()
    table.to_excel(path, index=False, sheet_name="points")
    return path


def _girth_gpx(path: Path, points: gpd.GeoDataFrame) -> Path:
    """Write waypoints named as surveyors name them: the girth, with the numbers where written."""
    gpx = gpxpy.gpx.GPX()
    gpx.creator = "estate demo"
    gpx.nsmap["survey"] = "urn:estate:survey"
    for place, row in zip(_places(points), points.itertuples(index=False), strict=True):
        girth = f"{row.girth_cm:g}"
        numbered = not (pd.isna(row.row_no) or pd.isna(row.tree_no))
        name = f"r{row.row_no} t{row.tree_no} {girth}" if numbered else f"{girth} cm"
        waypoint = gpxpy.gpx.GPXWaypoint(
            latitude=round(float(place[1]), 7),
            longitude=round(float(place[0]), 7),
            time=row.measured_at.to_pydatetime(),
            name=name,
        )
        for tag in ("point_id", "session_id", "surveyor", "height_cm", "bark_mm", "accuracy_m"):
            value = getattr(row, tag)
            if not pd.isna(value):
                waypoint.extensions.append(_element(tag, value))
        gpx.waypoints.append(waypoint)
    path.write_text(gpx.to_xml(), "utf-8")
    return path


def _element(tag: str, value: object) -> Any:
    from xml.etree.ElementTree import Element

    element = Element(f"{{urn:estate:survey}}{tag}")
    element.text = f"{value}"
    return element


def _write_surroundings(folder: Path, figures: dict[str, Any]) -> list[Path]:
    streams, spots, crew = (
        folder / "obstacles.geojson",
        folder / "places.csv",
        folder / "tappers.xlsx",
    )
    _write(obstacles(figures).to_crs(EXCHANGE_CRS), streams, "GeoJSON")
    found = places(figures).to_crs(EXCHANGE_CRS)
    table = pd.DataFrame(found.drop(columns="geometry"))
    table["longitude"], table["latitude"] = _places(found).round(7).T
    table.to_csv(spots, index=False)
    tappers().to_excel(crew, index=False, sheet_name="tappers")
    return [streams, spots, crew]


def _write(frame: gpd.GeoDataFrame, path: Path, driver: str, *, layer: str | None = None) -> None:
    path.unlink(missing_ok=True)
    pyogrio.write_dataframe(frame, path, driver=driver, layer=layer or path.stem)


def _write_zip(frame: gpd.GeoDataFrame, path: Path) -> None:
    with TemporaryDirectory() as scratch:
        pyogrio.write_dataframe(frame, Path(scratch) / f"{path.stem}.shp", driver="ESRI Shapefile")
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
            for part in sorted(Path(scratch).iterdir()):
                archive.write(part, part.name)
