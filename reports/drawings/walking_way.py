"""The way of a task on paper: its line, its direction, its start and its end."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from reports.drawings.paper_frame import PaperFrame, spots_of
from reports.drawings.placing import LabelSheet
from reports.drawings.strokes import Area, Disc, Label, Shape, Spot
from reports.palette import INK
from reports.words import Words

_ARROW_EVERY_MM = 17.0


def way_in(frame: PaperFrame, walk: NDArray[np.float64]) -> list[NDArray[np.float64]]:
    """Give the parts of the way that the frame shows, on paper, each in walking order."""
    cut = shapely.intersection(
        shapely.linestrings(np.stack([walk[:-1], walk[1:]], axis=1)), frame.ground
    )
    seen = shapely.get_num_coordinates(cut) == 2
    if not seen.any():
        return []
    ends, starts = shapely.get_coordinates(cut[seen]).reshape(-1, 2, 2), walk[:-1][seen]
    away = np.hypot(*np.moveaxis(ends - starts[:, None], -1, 0))
    ends = np.where((away[:, 1] < away[:, 0])[:, None, None], ends[:, ::-1], ends)
    leaves = np.flatnonzero(~np.isclose(ends[1:, 0], ends[:-1, 1]).all(axis=1)) + 1
    return [frame.on_paper(np.vstack([part[:1, 0], part[:, 1]])) for part in np.split(ends, leaves)]


def arrow_heads(walk: NDArray[np.float64]) -> list[list[Spot]]:
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
        spots_of(np.array([tip, tail + 1.15 * side, tail + 0.5 * way, tail - 1.15 * side]))
        for tip, tail, side, way in zip(tips, tails, across, along, strict=True)
    ]


def start_and_end(
    stops: gpd.GeoDataFrame, frame: PaperFrame, labels: LabelSheet, words: Words
) -> list[Shape]:
    """Give the ring at the first stop and the square at the last, where seen, and their words."""
    shapes: list[Shape] = []
    for at, word in ((0, words.say("Start")), (-1, words.say("End"))):
        point = stops.geometry.iloc[at]
        if not frame.ground.intersects(point):
            continue
        ((x, y),) = spots_of(frame.on_paper(shapely.get_coordinates(point)))
        labels.keep_free(x, y, 2.0)
        labels.put_around(Label(x=x, y=y, text=word, size_pt=11.0, bold=True), away_mm=(2.4, 4, 6))
        shapes.append(_ring(x, y) if at == 0 else _square(x, y))
    return shapes


def _ring(x: float, y: float) -> Shape:
    return Disc(centres=[(x, y)], radius_mm=1.9, ink=INK, width_mm=0.8, name="start")


def _square(x: float, y: float) -> Shape:
    corners = [(x - 1.8, y - 1.8), (x + 1.8, y - 1.8), (x + 1.8, y + 1.8), (x - 1.8, y + 1.8)]
    return Area(rings=[corners], ink=INK, width_mm=0.8, name="end")
