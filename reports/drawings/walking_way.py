"""The way of a task on paper: its line, its direction, its start and its end."""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from reports.drawings.paper_frame import PaperFrame, spots_of
from reports.drawings.placing import LabelSheet
from reports.drawings.strokes import Area, Disc, Label, Shape, Spot
from reports.palette import INK
from reports.words import Words

_ARROW_EVERY_MM = 17.0
_SAME_M = 1e-6


def way_in(frame: PaperFrame, walk: NDArray[np.float64]) -> list[NDArray[np.float64]]:
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
        if np.hypot(*(ends[0] - last)) < _SAME_M:
            lines[-1].append(ends[-1])
        else:
            lines.append([ends[0], ends[-1]])
        last = ends[-1]
    return [frame.on_paper(np.array(line)) for line in lines]


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


def start_and_end(stops: NDArray[np.float64], labels: LabelSheet, words: Words) -> list[Shape]:
    """Give the ring at the first stop and the square at the last, and put their words."""
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
