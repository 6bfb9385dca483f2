"""Lines that can't be walked over, the gaps in them, and the corners a path turns at."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

CROSSING_REACH_M = 25.0
"""A crossing further than this from every impassable line opens none."""

GAP_M = 1.5
"""Half the width of the way through at a crossing."""

CLEARANCE_M = 0.5
"""How far a path keeps from the end or corner of a line that it goes round."""


@dataclass(frozen=True, kw_only=True)
class Barriers:
    """Impassable lines with their crossings opened.

    Parameters
    ----------
    segments
        Shape (k, 4), float64: x and y of both ends of each straight piece, metres.
    turns
        Shape (w, 2), float64, metres: where a path may turn, at crossings and round corners.
    openings
        Shape (g, 4), float64: the pieces taken out at crossings, likewise.
    opened
        Indices, in the places layer, of the crossings that opened a way.
    """

    segments: NDArray[np.float64]
    turns: NDArray[np.float64]
    openings: NDArray[np.float64]
    opened: tuple[int, ...] = ()

    def near(self, xy: NDArray[np.float64], *, margin_m: float = 150.0) -> Barriers:
        """Give the pieces that stand within or near the hull of points, and the turns there.

        Parameters
        ----------
        xy
            Shape (n, 2), metres.
        margin_m
            How far outside the hull a path may lead.
        """
        if not len(self.segments) or not len(xy):
            return NO_BARRIERS
        hull = shapely.MultiPoint(xy).convex_hull.buffer(margin_m)
        shapely.prepare(hull)
        turning = shapely.contains_xy(hull, self.turns[:, 0], self.turns[:, 1])
        return Barriers(
            segments=_meeting(hull, self.segments),
            turns=self.turns[turning],
            openings=_meeting(hull, self.openings),
        )


def _meeting(hull: shapely.Geometry, segments: NDArray[np.float64]) -> NDArray[np.float64]:
    lines = shapely.linestrings(segments.reshape(-1, 2, 2))
    return np.asarray(segments[shapely.intersects(hull, lines)])


NO_BARRIERS = Barriers(segments=np.empty((0, 4)), turns=np.empty((0, 2)), openings=np.empty((0, 4)))


def barriers(
    obstacles: gpd.GeoDataFrame | None, places: gpd.GeoDataFrame | None = None
) -> Barriers:
    """Give the impassable lines among obstacles, opened at the crossings.

    Parameters
    ----------
    obstacles
        The contract's obstacles layer in a metric CRS; None for none. Areas are barred along
        their edge.
    places
        The contract's places layer in the same CRS; those of kind ``crossing`` within
        25 m of an impassable line open it.

    Returns
    -------
    Barriers
    """
    if obstacles is None or not len(obstacles):
        return NO_BARRIERS
    barred = obstacles.geometry[~obstacles["passable"].astype(bool).to_numpy()]
    barred = barred[~(barred.isna() | barred.is_empty)]
    if not len(barred):
        return NO_BARRIERS
    edges = shapely.union_all(
        [part.boundary if part.geom_type.endswith("Polygon") else part for part in barred]
    )
    centres, opened = _gaps(edges, places)
    whole = edges
    if len(centres):
        gaps = shapely.union_all(shapely.buffer(shapely.points(centres), GAP_M))
        edges = shapely.difference(edges, gaps)
    lines = _lines(edges)
    outline = shapely.buffer(
        shapely.union_all(lines), CLEARANCE_M, cap_style="square", join_style="mitre"
    )
    corners = shapely.get_coordinates(outline.simplify(CLEARANCE_M / 4))
    return Barriers(
        segments=_segments(lines),
        openings=_segments(_lines(shapely.difference(whole, edges))),
        turns=np.unique(np.vstack([centres, corners]).round(6), axis=0),
        opened=opened,
    )


def _lines(edges: shapely.Geometry) -> list[shapely.LineString]:
    merged = shapely.line_merge(edges) if edges.geom_type == "MultiLineString" else edges
    return [
        part
        for part in shapely.get_parts(merged).tolist()
        if part.geom_type == "LineString" and part.length > 0.0
    ]


def _segments(lines: list[shapely.LineString]) -> NDArray[np.float64]:
    pieces = [np.asarray(line.coords)[:, :2] for line in lines]
    parts = [np.hstack([piece[:-1], piece[1:]]) for piece in pieces]
    return np.concatenate(parts) if parts else np.empty((0, 4))


def _gaps(
    edges: shapely.Geometry, places: gpd.GeoDataFrame | None
) -> tuple[NDArray[np.float64], tuple[int, ...]]:
    if places is None or not len(places):
        return np.empty((0, 2)), ()
    crossing = np.flatnonzero((places["kind"] == "crossing").to_numpy())
    points = places.geometry.to_numpy()[crossing]
    near = shapely.distance(edges, points) <= CROSSING_REACH_M
    met = [
        shapely.get_coordinates(shapely.shortest_line(edges, point))[0] for point in points[near]
    ]
    return np.array(met).reshape(-1, 2), tuple(int(each) for each in crossing[near])
