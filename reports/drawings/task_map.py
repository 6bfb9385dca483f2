"""The map of one task at a round scale: rows, trees, the way and its direction."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from reports.drawings.obstacle_lines import obstacle_shapes
from reports.drawings.paper_frame import PaperFrame, frame_at, frame_round, spots_of
from reports.drawings.place_marks import mark_places
from reports.drawings.placing import LabelSheet
from reports.drawings.strokes import Area, Disc, Drawing, Shape, Spot, Stroke, Symbol
from reports.drawings.task_labels import mark_changes, name_blocks, number_rows, row_gap_m
from reports.drawings.walking_way import arrow_heads, start_and_end, way_in
from reports.palette import CLASS_MARKS, INK
from reports.words import Words, mark

WAY_GREY, ROW_GREY, NEIGHBOUR_GREY = "#A8A8A8", "#C4C4C4", "#8C8C8C"
LEAST_ROW_GAP_MM = 3.0
_TREES_COUNT = 3
_WIDER_SCALE = 4 / 3
PLACE_WORDS = {
    "collection": mark("Collection place"),
    "crossing": mark("Crossing"),
    "shelter": mark("Shelter"),
    "gate": mark("Gate"),
}


@dataclass(frozen=True, kw_only=True)
class TaskGround:
    """What a task's map shows, in one metric CRS.

    Parameters
    ----------
    stops
        Trees to tap in walking order: ``row_id``, ``row_no``, ``block_id``, points.
    others
        The other planting places of the rows near: ``class``, ``passed`` (it stands between trees
        to tap and isn't one), points.
    walk
        The walking line from first to last stop.
    rows, blocks, obstacles, places
        As in the layer contract, those near enough to matter.
    """

    stops: gpd.GeoDataFrame
    others: gpd.GeoDataFrame
    walk: BaseGeometry
    rows: gpd.GeoDataFrame
    blocks: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    places: gpd.GeoDataFrame


def task_frame(ground: TaskGround, *, width_mm: float, height_mm: float) -> PaperFrame:
    """Choose the round scale and the ground that a task's map shows.

    The trees are inside a margin. The way to them and a collection place are taken in where the
    map's scale stays within a third for it; otherwise the way is cut at the frame, and an arrow at
    the edge points to the place.
    """
    stops = shapely.MultiPoint(shapely.get_coordinates(ground.stops.geometry))
    shown = [stops, ground.walk]
    collection = ground.places[ground.places["kind"] == "collection"]
    if len(collection):
        shown.append(collection.geometry.iloc[int(np.argmin(collection.distance(stops)))])
    alone = frame_round([stops], width_mm=width_mm, height_mm=height_mm)
    for count in range(len(shown), 1, -1):
        wider = frame_round(shown[:count], width_mm=width_mm, height_mm=height_mm)
        if wider.scale <= alone.scale * _WIDER_SCALE:
            return wider
    return alone


@dataclass(frozen=True, kw_only=True)
class MapPart:
    """One block of a task that gets a map of its own, and the scale of that map."""

    block_id: str
    scale: float


def part_stops(ground: TaskGround, block_id: str) -> gpd.GeoDataFrame:
    """Give a task's trees to tap in one block."""
    return ground.stops[ground.stops["block_id"] == block_id]


def draw_task_map(
    ground: TaskGround,
    *,
    words: Words,
    width_mm: float,
    height_mm: float,
    part: MapPart | None = None,
) -> Drawing:
    """Draw a task's map, or that of one of its blocks.

    Where rows lie closer on paper than `LEAST_ROW_GAP_MM`, the map is an overview: it names blocks
    rather than rows, and leaves out the trees to pass by, which nobody could tell apart.

    Parameters
    ----------
    ground
        What it shows.
    words
        The language of its labels.
    width_mm, height_mm
        Its size on paper, millimetres, 50 or more each.
    part
        The block to show, and at which scale; the whole task at the largest scale where None.

    Returns
    -------
    Drawing
        Its notes hold ``scale``, ``row_gap_mm`` (how far apart rows lie on paper) and ``row_step``:
        of how many rows each one is numbered, 0 for none.
    """
    if part is None:
        chosen = ground.stops
        frame = task_frame(ground, width_mm=width_mm, height_mm=height_mm)
    else:
        chosen = part_stops(ground, part.block_id)
        frame = frame_at(
            list(chosen.geometry), scale=part.scale, width_mm=width_mm, height_mm=height_mm
        )
    gap_mm = min(row_gap_m(chosen) * 1000 / frame.scale, width_mm)
    overview = part is None and gap_mm < LEAST_ROW_GAP_MM
    seen = ground.stops[ground.stops.intersects(frame.ground)]
    stops = frame.on_paper(shapely.get_coordinates(seen.geometry))
    way = way_in(frame, shapely.get_coordinates(ground.walk))
    others = ground.others[ground.others.intersects(frame.ground)]
    if overview:
        others = others.iloc[:0]
    spaced = frame.on_paper(shapely.get_coordinates(chosen.geometry))
    shapes = [
        *_ground_shapes(ground, frame),
        Stroke(lines=[spots_of(line) for line in way], width_mm=1.3, ink=WAY_GREY, name="way"),
        *_other_trees(others, frame, _mark_mm(spaced)),
        Disc(centres=spots_of(stops), radius_mm=_dot_mm(spaced), fill=INK, name="stops"),
        Area(
            rings=[arrow for line in way for arrow in arrow_heads(line)],
            fill="#000000",
            ink="#FFFFFF",
            width_mm=0.15,
            name="arrows",
        ),
    ]
    busy = np.vstack(
        [
            *[stops, frame.on_paper(shapely.get_coordinates(others.geometry))] * _TREES_COUNT,
            *(_every_mm(line) for line in way),
            *(_every_mm(np.array(edge)) for edge in _edges(ground, frame)),
            *(
                _every_mm(np.array(line))
                for shape in ground.obstacles.geometry
                for line in frame.lines(_outline(shape))
            ),
        ]
    )
    labels = LabelSheet(width_mm=width_mm, height_mm=height_mm, busy=busy)
    shapes += start_and_end(ground.stops, frame, labels, words)
    if part is not None:
        shapes += mark_changes(ground.stops, part.block_id, frame, labels, words)
    shapes += mark_places(ground.places, frame, labels, words)
    if part is None and chosen["block_id"].nunique() > 1:
        name_blocks(chosen, ground.blocks, frame, labels)
    row_step = 0 if overview else number_rows(chosen, frame, labels)
    shapes.append(
        Area(
            rings=[[(0, 0), (width_mm, 0), (width_mm, height_mm), (0, height_mm)]],
            ink=INK,
            width_mm=0.35,
        )
    )
    return Drawing(
        width_mm=width_mm,
        height_mm=height_mm,
        shapes=shapes,
        labels=labels.labels,
        notes={"scale": frame.scale, "row_gap_mm": gap_mm, "row_step": row_step},
    )


def _dot_mm(stops: NDArray[np.float64]) -> float:
    gaps = np.hypot(*np.diff(stops, axis=0).T) if len(stops) > 1 else np.array([3.0])
    return float(np.clip(0.28 * np.median(gaps), 0.35, 0.8))


def _mark_mm(stops: NDArray[np.float64]) -> float:
    """Give the size of a mark that leaves its neighbour in the row free, mm."""
    gaps = np.hypot(*np.diff(stops, axis=0).T) if len(stops) > 1 else np.array([3.0])
    return float(np.clip(0.9 * np.median(gaps), 1.1, 2.3))


def _ground_shapes(ground: TaskGround, frame: PaperFrame) -> list[Shape]:
    rows = frame.lines(shapely.multilinestrings(ground.rows.geometry.to_numpy()))
    edges = _edges(ground, frame)
    shapes: list[Shape] = [
        Stroke(lines=rows, width_mm=0.2, ink=ROW_GREY, name="rows"),
        Stroke(lines=edges, width_mm=0.55, ink=INK, name="block edges"),
    ]
    for kind, near in ground.obstacles.groupby("kind", sort=True):
        lines = [line for shape in near.geometry for line in frame.lines(_outline(shape))]
        if lines:
            shapes += obstacle_shapes(str(kind), lines)
    return shapes


def _edges(ground: TaskGround, frame: PaperFrame) -> list[list[Spot]]:
    return [line for edge in ground.blocks.geometry.boundary for line in frame.lines(edge)]


def _every_mm(line: NDArray[np.float64]) -> NDArray[np.float64]:
    whole = shapely.LineString(line)
    if whole.length == 0:
        return line[:1]
    return shapely.get_coordinates(shapely.segmentize(whole, 1.0))


def _outline(geometry: BaseGeometry) -> BaseGeometry:
    return geometry.boundary if shapely.get_dimensions(geometry) == 2 else geometry


def _other_trees(others: gpd.GeoDataFrame, frame: PaperFrame, size_mm: float) -> list[Shape]:
    """Give the trees to pass by as marks, and the rest of the rows near as small grey dots."""
    spots = frame.on_paper(shapely.get_coordinates(others.geometry))
    passed = others["passed"].to_numpy(bool)
    shapes: list[Shape] = [
        Disc(
            centres=spots_of(spots[~passed]), radius_mm=0.25, fill=NEIGHBOUR_GREY, name="other task"
        )
    ]
    for kind, style in CLASS_MARKS.items():
        chosen = spots[(others["class"] == kind).to_numpy(bool) & passed]
        shapes.append(
            Symbol(centres=spots_of(chosen), path=style.path, size_mm=size_mm, fill=INK, name=kind)
        )
    return shapes
