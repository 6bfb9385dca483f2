"""GPX 1.1 tracks: the walk of each task, and trees to tape in walking order."""

from __future__ import annotations

import geopandas as gpd
import gpxpy.gpx as gpx
from shapely.geometry import Point

WGS84 = "EPSG:4326"


def task_track(walks: gpd.GeoDataFrame, places: gpd.GeoDataFrame, task_id: str) -> str:
    """Give one task's walk as a GPX track, with the places along it as waypoints.

    Parameters
    ----------
    walks
        Columns `task_id` and LineString geometry in walking order, in any CRS.
    places
        Columns `place_id`, `kind`, `name` and Point geometry; only those within 200 m of the walk
        are written.
    task_id
        Which task.

    Returns
    -------
    str
        GPX 1.1, coordinates in EPSG:4326.

    Raises
    ------
    KeyError
        There is no walk of that task.
    """
    own = walks[walks["task_id"] == task_id]
    if own.empty:
        raise KeyError(task_id)
    near = places[places.distance(own.geometry.iloc[0]) <= 200.0] if len(places) else places
    document = _document(f"Task {task_id}")
    track = gpx.GPXTrack(name=f"Task {task_id}")
    segment = gpx.GPXTrackSegment()
    segment.points = [
        gpx.GPXTrackPoint(latitude=lat, longitude=lon)
        for lon, lat in own.geometry.to_crs(WGS84).iloc[0].coords
    ]
    track.segments.append(segment)
    document.tracks.append(track)
    if len(near):
        names = near["name"].fillna(near["kind"]) if "name" in near else near["kind"]
        document.waypoints = [
            _waypoint(point, str(name), str(kind))
            for point, name, kind in zip(
                near.geometry.to_crs(WGS84), names, near["kind"], strict=True
            )
        ]
    return str(document.to_xml(version="1.1"))


def stops_route(stops: gpd.GeoDataFrame, *, name: str) -> str:
    """Give trees in walking order as a GPX route.

    Parameters
    ----------
    stops
        Columns `stop_no`, `label` (what the surveyor reads) and Point geometry, in any CRS.
    name
        The route's name.

    Returns
    -------
    str
        GPX 1.1, coordinates in EPSG:4326.
    """
    document = _document(name)
    ordered = stops.sort_values("stop_no")
    route = gpx.GPXRoute(name=name)
    route.points = [
        gpx.GPXRoutePoint(latitude=point.y, longitude=point.x, name=str(label))
        for point, label in zip(ordered.geometry.to_crs(WGS84), ordered["label"], strict=True)
    ]
    document.routes.append(route)
    return str(document.to_xml(version="1.1"))


def _document(name: str) -> gpx.GPX:
    document = gpx.GPX()
    document.creator = "plantation-block-manager"
    document.name = name
    return document


def _waypoint(point: Point, name: str, kind: str) -> gpx.GPXWaypoint:
    return gpx.GPXWaypoint(latitude=point.y, longitude=point.x, name=name, type=kind)
