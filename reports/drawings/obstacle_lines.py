"""How obstacles are drawn on a sheet: in black and white, told apart by their lines alone."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from reports.drawings.strokes import Shape, Spot, Stroke
from reports.palette import INK
from reports.words import mark

OBSTACLE_WORDS = {
    "stream": mark("Stream"),
    "drain": mark("Drain"),
    "fence": mark("Fence"),
    "road": mark("Road"),
    "cliff": mark("Cliff"),
}
_TICK_EVERY_MM = 3.2


def obstacle_shapes(kind: str, lines: Sequence[Sequence[Spot]]) -> list[Shape]:
    """Give the strokes of one kind of obstacle.

    A stream is a wave, a drain long dashes, a fence a line with crosses, a road two lines, a cliff
    a line with teeth on its right side.
    """
    lines = [line for line in lines if len(line) > 1]
    name = f"obstacle {kind}"
    if kind == "stream":
        return [Stroke(lines=[_wave(line) for line in lines], width_mm=0.45, ink=INK, name=name)]
    if kind == "drain":
        return [Stroke(lines=lines, width_mm=0.5, ink=INK, dash_mm=(2.6, 1.4), name=name)]
    if kind == "road":
        return [
            Stroke(lines=lines, width_mm=1.9, ink=INK, name=name, round_ends=False),
            Stroke(lines=lines, width_mm=1.2, ink="#FFFFFF", round_ends=False),
        ]
    ticks = [tick for line in lines for tick in _ticks(line, cross=kind == "fence")]
    return [
        Stroke(lines=lines, width_mm=0.3 if kind == "fence" else 0.6, ink=INK, name=name),
        Stroke(lines=ticks, width_mm=0.3 if kind == "fence" else 0.5, ink=INK),
    ]


def _wave(line: Sequence[Spot]) -> list[Spot]:
    whole = shapely.LineString(line)
    at = np.arange(0, whole.length, 0.35)
    here, across = _along(whole, at)
    swing = 0.7 * np.sin(at * 2 * np.pi / 4.2)
    return [(float(x), float(y)) for x, y in here + swing[:, None] * across]


def _ticks(line: Sequence[Spot], *, cross: bool) -> list[list[Spot]]:
    whole = shapely.LineString(line)
    at = np.arange(_TICK_EVERY_MM / 2, whole.length, _TICK_EVERY_MM)
    here, across = _along(whole, at)
    along = np.column_stack([across[:, 1], -across[:, 0]])
    if not cross:
        pairs = [(here, here + 1.3 * across)]
    else:
        leg, arm = 0.65 * (along + across), 0.65 * (along - across)
        pairs = [(here - leg, here + leg), (here - arm, here + arm)]
    return [
        [(float(a[0]), float(a[1])), (float(b[0]), float(b[1]))]
        for starts, ends in pairs
        for a, b in zip(starts, ends, strict=True)
    ]


def _along(whole: shapely.LineString, at: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    here = shapely.get_coordinates(shapely.line_interpolate_point(whole, at)).reshape(-1, 2)
    back = shapely.line_interpolate_point(whole, np.maximum(at - 0.1, 0))
    ahead = shapely.line_interpolate_point(whole, np.minimum(at + 0.1, whole.length))
    step = shapely.get_coordinates(ahead) - shapely.get_coordinates(back)
    step = step.reshape(-1, 2)
    along = step / np.maximum(np.hypot(*step.T), 1e-9)[:, None]
    return here, np.column_stack([-along[:, 1], along[:, 0]])
