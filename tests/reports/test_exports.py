import json
import re
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import geopandas as gpd
import gpxpy
import icalendar
import pandas as pd
import pytest
from pyproj import Geod
from shapely.geometry import LineString, Point, Polygon

from reports.exports import (
    stops_route,
    tapper_calendar,
    task_track,
    write_plots,
    write_table,
    write_whole,
)

MONDAY = date(2026, 11, 2)
STAMP = datetime(2026, 11, 1, 12, tzinfo=UTC)


def roster() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "date": [MONDAY + timedelta(days=n) for n in range(4)],
            "tapper_id": ["T1", "T1", "T2", "T1"],
            "task_id": ["A-1", "A-2", "B-1", None],
            "kind": ["tap", "make-up", "tap", "rest"],
            "minutes": [200.0, 215.4, 190.0, 0.0],
        }
    )


def test_a_tappers_calendar_keeps_to_rfc_5545():
    text = tapper_calendar(
        roster(), "T1", cooperative="Group", stamped=STAMP, places={"A-1": "Gate, north"}
    )
    # RFC 5545: section 3.1 (CRLF, folded at 75 octets), 3.6 (PRODID and VERSION), 3.6.1 (UID and
    # DTSTAMP in each event), 3.3.11 (a comma in TEXT is escaped).
    lines = text.split(b"\r\n")
    assert all(len(line) <= 75 for line in lines)
    assert b"\n" not in text.replace(b"\r\n", b"")
    assert b"VERSION:2.0" in lines
    assert b"LOCATION:Gate\\, north" in lines
    events = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert [str(e["summary"]) for e in events] == [
        "Task A-1",
        "Task A-2 (made up for a lost morning)",
    ]
    assert events[0].decoded("dtstart") == datetime(2026, 11, 2, 5, 0)
    assert events[1].decoded("dtend") == datetime(2026, 11, 3, 8, 35)
    assert all("UID" in e and "DTSTAMP" in e for e in events)
    assert len({str(e["uid"]) for e in events}) == 2


def test_a_task_is_a_gpx_track_on_wgs84():
    walks = gpd.GeoDataFrame(
        {"task_id": ["A-1"]},
        geometry=[LineString([(500000, 0), (500100, 0), (500100, 50)])],
        crs="EPSG:32647",
    )
    places = gpd.GeoDataFrame(
        {"place_id": ["p", "q"], "kind": ["gate", "shelter"], "name": ["North gate", None]},
        geometry=[Point(500010, 5), Point(505000, 0)],
        crs="EPSG:32647",
    )
    read = gpxpy.parse(task_track(walks, places, "A-1"))
    points = read.tracks[0].segments[0].points
    assert len(points) == 3
    assert (points[0].longitude, points[0].latitude) == pytest.approx((99.0, 0.0), abs=1e-9)
    # On the central meridian a UTM metre is 1/0.9996 of a metre on the ellipsoid (EPSG:16047).
    lons, lats = zip(*[(p.longitude, p.latitude) for p in points], strict=True)
    length_m = Geod(ellps="WGS84").line_length(lons, lats)
    assert length_m == pytest.approx(150.0 / 0.9996, rel=1e-5)
    assert [w.name for w in read.waypoints] == ["North gate"]
    with pytest.raises(KeyError):
        task_track(walks, places, "Z")


def test_trees_to_tape_are_a_route_in_walking_order():
    stops = gpd.GeoDataFrame(
        {"stop_no": [2, 1], "label": ["row 1 tree 9", "row 1 tree 2"]},
        geometry=[Point(99.001, 1.0), Point(99.0, 1.0)],
        crs="EPSG:4326",
    )
    route = gpxpy.parse(stops_route(stops, name="To tape")).routes[0]
    assert [p.name for p in route.points] == ["row 1 tree 2", "row 1 tree 9"]


def test_a_table_of_points_carries_degrees(tmp_path):
    trees = gpd.GeoDataFrame({"tree_id": ["é1"]}, geometry=[Point(500000, 0)], crs="EPSG:32647")
    read = pd.read_csv(write_table(trees, tmp_path / "trees.csv"), encoding="utf-8-sig")
    assert read.iloc[0].tolist() == ["é1", 99.0, 0.0]


def test_plots_keep_to_rfc_7946(tmp_path):
    clockwise = Polygon([(500000, 0), (500000, 100), (500100, 100), (500100, 0)])
    plots = gpd.GeoDataFrame({"holding_id": ["H1"]}, geometry=[clockwise], crs="EPSG:32647")
    text = write_plots(plots, tmp_path / "plots.geojson").read_text()
    read = json.loads(text)
    assert "crs" not in read  # section 4
    ring = read["features"][0]["geometry"]["coordinates"][0]
    assert sum((b[0] - a[0]) * (b[1] + a[1]) for a, b in pairwise(ring)) < 0
    decimals = [len(d) for d in re.findall(r"\.(\d+)", json.dumps(ring))]
    assert max(decimals) <= 7
    assert ring[0] == ring[-1]


def test_a_failed_write_leaves_the_old_file(tmp_path):
    place = tmp_path / "x.csv"
    place.write_text("old")
    with pytest.raises(TypeError):
        write_whole(place, "text, not bytes")
    assert place.read_text() == "old"
    assert [p.name for p in tmp_path.iterdir()] == ["x.csv"]


def test_a_write_leaves_the_file_alone_in_its_folder(tmp_path):
    write_whole(tmp_path / "x.csv", b"new")
    assert (tmp_path / "x.csv").read_bytes() == b"new"
    assert [p.name for p in tmp_path.iterdir()] == ["x.csv"]


def test_figures_are_rounded_to_what_they_are_good_for(tmp_path):
    table = pd.DataFrame(
        {
            "tree_id": ["B1-1"],
            "girth_cm": [51.16150775],
            "guide_spacing_cm": [2.25],
            "minutes": [322.2412226],
            "walk_m": [1750.1441],
            "ready_share": [0.67355],
            "planting_line_share_lost": [0.012345],
            "probability": [0.99949],
            "dx_m": [-0.01],
            "trees": [495],
            "measured_at": [pd.Timestamp("2026-03-02 06:30:15")],
            "none_cm": [None],
        }
    )
    write_table(table, tmp_path / "t.csv")
    line = (tmp_path / "t.csv").read_text("utf-8-sig").splitlines()[1]
    assert line == "B1-1,51.2,2.25,322.2,1750.1,0.674,0.012,0.999,0.0,495,2026-03-02 06:30:15,"
