"""The map of one task at a round scale: rows, trees, the way and its direction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from reports.drawings.obstacle_lines import obstacle_shapes
from reports.drawings.placing import LabelSheet
from reports.drawings.scales import round_scale
from reports.drawings.strokes import Area, Disc, Drawing, Label, Shape, Spot, Stroke, Symbol
from reports.palette import CLASS_MARKS, INK, PLACE_MARKS
from reports.words import Words, mark

MARGIN_MM = 8.5
WAY_GREY, ROW_GREY, NEIGHBOUR_GREY = "#A8A8A8", "#C4C4C4", "#8C8C8C"
_ARROW_EVERY_MM = 17.0
_ROW_LABEL_GAP_MM = 4.0
_TREES_COUNT = 3
_WIDER_SCALE = 4 / 3
_LEAST_GROUND_M = 20.0
_ASLANT = (0.5, -0.5, np.pi - 0.5, np.pi + 0.5)
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
        Trees to tap in walking order: ``row_id``, ``row_no``, points.
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


@dataclass(frozen=True, kw_only=True)
class PaperFrame:
    """From metres on the ground to millimetres on paper, north up."""

    scale: float
    west_m: float
    north_m: float
    width_mm: float
    height_mm: float

    @property
    def ground(self) -> BaseGeometry:
        """The ground that the paper shows, metres."""
        factor = self.scale / 1000
        return shapely.box(
            self.west_m,
            self.north_m - self.height_mm * factor,
            self.west_m + self.width_mm * factor,
            self.north_m,
        )

    def on_paper(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Give spots on paper, mm, for coordinates on the ground, shape (n, 2), metres."""
        factor = 1000 / self.scale
        return np.column_stack(
            [(xy[:, 0] - self.west_m) * factor, (self.north_m - xy[:, 1]) * factor]
        )

    def lines(self, geometry: BaseGeometry) -> list[list[Spot]]:
        """Give the lines, or the outlines, of a geometry on paper, cut at the frame."""
        cut = shapely.intersection(geometry, self.ground)
        parts = shapely.get_parts(cut)
        kept = [part for part in parts if shapely.get_dimensions(part) >= 1 and not part.is_empty]
        return [self._line(shapely.get_coordinates(part)) for part in kept]

    def _line(self, xy: NDArray[np.float64]) -> list[Spot]:
        return [(float(x), float(y)) for x, y in self.on_paper(xy)]


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
    alone = _frame_of([stops], width_mm=width_mm, height_mm=height_mm)
    for count in range(len(shown), 1, -1):
        wider = _frame_of(shown[:count], width_mm=width_mm, height_mm=height_mm)
        if wider.scale <= alone.scale * _WIDER_SCALE:
            return wider
    return alone


def _frame_of(shown: Sequence[BaseGeometry], *, width_mm: float, height_mm: float) -> PaperFrame:
    west, south, east, north = shapely.total_bounds(shown)
    scale = round_scale(
        wide_m=max(east - west, _LEAST_GROUND_M),
        high_m=max(north - south, _LEAST_GROUND_M),
        width_mm=width_mm - 2 * MARGIN_MM,
        height_mm=height_mm - 2 * MARGIN_MM,
    )
    half_wide, half_high = width_mm * scale / 2000, height_mm * scale / 2000
    return PaperFrame(
        scale=scale,
        west_m=(west + east) / 2 - half_wide,
        north_m=(south + north) / 2 + half_high,
        width_mm=width_mm,
        height_mm=height_mm,
    )


def draw_task_map(
    ground: TaskGround, *, words: Words, width_mm: float, height_mm: float
) -> Drawing:
    """Draw a task's map.

    Parameters
    ----------
    ground
        What it shows.
    words
        The language of its labels.
    width_mm, height_mm
        Its size on paper, millimetres, 50 or more each.

    Returns
    -------
    Drawing
        Its notes hold ``scale``, and ``row_step``: of how many rows each one is numbered.
    """
    frame = task_frame(ground, width_mm=width_mm, height_mm=height_mm)
    stops = frame.on_paper(shapely.get_coordinates(ground.stops.geometry))
    way = _way_in(frame, shapely.get_coordinates(ground.walk))
    others = ground.others[ground.others.intersects(frame.ground)]
    shapes = [
        *_ground_shapes(ground, frame),
        Stroke(lines=[_spots(line) for line in way], width_mm=1.3, ink=WAY_GREY, name="way"),
        *_other_trees(others, frame, _mark_mm(stops)),
        Disc(centres=_spots(stops), radius_mm=_dot_mm(stops), fill=INK, name="stops"),
        Area(
            rings=[arrow for line in way for arrow in _arrows(line)],
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
    shapes += _ends(stops, labels, words)
    shapes += _places(ground.places, frame, labels, words)
    row_step = _number_rows(ground, frame, stops, labels)
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
        notes={"scale": frame.scale, "row_step": row_step},
    )


def _spots(xy: NDArray[np.float64]) -> list[Spot]:
    return [(float(x), float(y)) for x, y in xy]


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
        Disc(centres=_spots(spots[~passed]), radius_mm=0.25, fill=NEIGHBOUR_GREY, name="other task")
    ]
    for kind, style in CLASS_MARKS.items():
        chosen = spots[(others["class"] == kind).to_numpy(bool) & passed]
        shapes.append(
            Symbol(centres=_spots(chosen), path=style.path, size_mm=size_mm, fill=INK, name=kind)
        )
    return shapes


def _way_in(frame: PaperFrame, walk: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Give the parts of the way that the frame shows, on paper, each in walking order."""
    pieces = shapely.linestrings(np.stack([walk[:-1], walk[1:]], axis=1))
    lines: list[list[NDArray[np.float64]]] = []
    last = np.full(2, np.nan)
    for piece, start in zip(shapely.intersection(pieces, frame.ground), walk[:-1], strict=True):
        ends = shapely.get_coordinates(piece)
        if len(ends) < 2:
            continue
        if np.hypot(*(ends[-1] - start)) < np.hypot(*(ends[0] - start)):
            ends = ends[::-1]
        if np.allclose(ends[0], last):
            lines[-1].append(ends[-1])
        else:
            lines.append([ends[0], ends[-1]])
        last = ends[-1]
    return [frame.on_paper(np.array(line)) for line in lines]


def _arrows(walk: NDArray[np.float64]) -> list[list[Spot]]:
    """Give arrow heads along a line, about every `_ARROW_EVERY_MM`."""
    line = shapely.LineString(walk)
    if line.length == 0:
        return []
    count = max(1, int(line.length // _ARROW_EVERY_MM))
    at = (np.arange(count) + 0.5) * line.length / count
    here = shapely.get_coordinates(shapely.line_interpolate_point(line, at))
    ahead = shapely.get_coordinates(shapely.line_interpolate_point(line, at + 0.6))
    step = ahead - here
    along = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    across = np.column_stack([-along[:, 1], along[:, 0]])
    tips, tails = here + 1.5 * along, here - 1.1 * along
    return [
        _spots(np.array([tip, tail + 1.15 * side, tail + 0.5 * way, tail - 1.15 * side]))
        for tip, tail, side, way in zip(tips, tails, across, along, strict=True)
    ]


def _ends(stops: NDArray[np.float64], labels: LabelSheet, words: Words) -> list[Shape]:
    (start_x, start_y), (end_x, end_y) = stops[0], stops[-1]
    for x, y, word in ((start_x, start_y, words.say("Start")), (end_x, end_y, words.say("End"))):
        labels.keep_free(float(x), float(y), 2.0)
        labels.put_around(
            Label(x=float(x), y=float(y), text=word, size_pt=11.0, bold=True), away_mm=(2.4, 4, 6)
        )
    ring = Disc(
        centres=[(float(start_x), float(start_y))],
        radius_mm=1.9,
        ink=INK,
        width_mm=0.8,
        name="start",
    )
    square = [(end_x - 1.8, end_y - 1.8), (end_x + 1.8, end_y - 1.8)]
    square += [(end_x + 1.8, end_y + 1.8), (end_x - 1.8, end_y + 1.8)]
    return [ring, Area(rings=[square], ink=INK, width_mm=0.8, name="end")]


def _places(
    places: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give the places in the frame as marks, and the names of those where latex is brought."""
    seen = places[places.intersects(frame.ground)]
    spots = frame.on_paper(shapely.get_coordinates(seen.geometry))
    shapes: list[Shape] = []
    for kind, style in PLACE_MARKS.items():
        chosen = spots[(seen["kind"] == kind).to_numpy(bool)]
        for x, y in chosen:
            labels.keep_free(float(x), float(y), 2.3)
        if len(chosen):
            shapes.append(
                Symbol(centres=_spots(chosen), path=style.path, size_mm=4.2, fill=INK, name=kind)
            )
    named = seen["name"] if "name" in seen else pd.Series(index=seen.index, dtype=object)
    for (x, y), kind, name in zip(spots, seen["kind"], named, strict=True):
        if kind == "collection":
            word = str(name) if isinstance(name, str) and name else words.say("Collection place")
            labels.put_around(
                Label(x=float(x), y=float(y), text=word, bold=True),
                away_mm=(2.6, 4.0, 6.0, 9.0),
            )
    if not (seen["kind"] == "collection").any():
        collection = places[places["kind"] == "collection"]
        if len(collection):
            shapes += _far_place(collection, frame, labels, words)
    return shapes


def _far_place(
    collection: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give an arrow at the frame's edge toward the nearest collection place outside."""
    middle = frame.ground.centroid
    nearest = collection.geometry.iloc[int(np.argmin(collection.distance(middle)))]
    way = shapely.LineString([middle, nearest])
    metres = shapely.distance(frame.ground, nearest)
    edge = shapely.get_coordinates(shapely.intersection(way, frame.ground))[-1:]
    (x, y) = frame.on_paper(edge)[0]
    step = np.array([nearest.x - middle.x, middle.y - nearest.y])
    along = step / np.hypot(*step)
    across = np.array([-along[1], along[0]])
    tip = np.array([x, y]) - 0.6 * along
    head = np.array([tip, tip - 4 * along + 2.2 * across, tip - 4 * along - 2.2 * across])
    centre = tip - 2.4 * along
    labels.keep_free(float(centre[0]), float(centre[1]), 2.4)
    word = words.say("Collection place")
    at_side = abs(along[0]) > abs(along[1])
    up_first = -np.pi / 2 if centre[1] > frame.height_mm / 2 else np.pi / 2
    labels.put(
        Label(
            x=float(centre[0]),
            y=float(centre[1]),
            text=f"{word} {words.number(round(metres, -1))} m",
            bold=True,
            turn_deg=270.0 if at_side else 0.0,
        ),
        away_mm=(2.6, 4.0, 6.0, 9.0),
        directions=[up_first, -up_first] if at_side else [0.0, np.pi, *_ASLANT],
    )
    return [Area(rings=[_spots(head)], fill=INK, name="far collection")]


def _number_rows(
    ground: TaskGround, frame: PaperFrame, spots: NDArray[np.float64], labels: LabelSheet
) -> int:
    """Number each row, or one in so many as there is room, at the end where the way enters it."""
    stops = ground.stops
    entered = stops.reset_index(drop=True).drop_duplicates("row_id")
    ends = ground.rows.set_index("row_id").geometry
    step = next(
        (step for step in (1, 2, 5, 10) if step * _row_gap_mm(entered, spots) >= _ROW_LABEL_GAP_MM),
        20,
    )
    for at, row_id, number in zip(
        entered.index, entered["row_id"], entered["row_no"].astype(int), strict=True
    ):
        if step > 1 and number % step:
            continue
        line = frame.on_paper(shapely.get_coordinates(ends[row_id])[[0, -1]])
        away = np.hypot(*(line - spots[at]).T)
        near, far = line[np.argsort(away)]
        out = near - far
        angle = float(np.arctan2(out[1], out[0]))
        labels.put(
            Label(x=float(near[0]), y=float(near[1]), text=str(number), size_pt=9.5, bold=True),
            away_mm=(1.2, 2.2, 3.4, 5.0),
            directions=[angle, angle + 0.4, angle - 0.4, angle + 0.9, angle - 0.9],
        )
    return step


def _row_gap_mm(entered: pd.DataFrame, spots: NDArray[np.float64]) -> float:
    """Give the usual distance from where one row is entered to the nearest other such spot."""
    at = spots[entered.index]
    if len(at) < 2:
        return np.inf
    away = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    np.fill_diagonal(away, np.inf)
    return float(np.median(away.min(axis=1)))
