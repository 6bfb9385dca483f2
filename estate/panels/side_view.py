"""The standing tree seen from one side: a cylinder's panels projected for a drawing."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from estate.panels.marked_panel import MarkedPanel, Point

Line = tuple[Point, ...]
_STEPS = 24


@dataclass(frozen=True, kw_only=True)
class SideView:
    """The trunk from the first panel's side: x from its middle line to the right, y up, cm.

    Parameters
    ----------
    diameter_cm
        Girth over pi.
    trunk
        Corners of the trunk's outline.
    cuts, guide_lines, outlines
        What is seen of each panel's first cut, guide lines and outline: lines of points. Parts on
        the far side are left out.
    gutters
        Corners of each gutter that is seen.
    cups
        Middle of each cup's ring that is seen.
    """

    diameter_cm: float
    trunk: Line
    cuts: tuple[Line, ...]
    guide_lines: tuple[Line, ...]
    outlines: tuple[Line, ...]
    gutters: tuple[Line, ...]
    cups: tuple[Point, ...]


def side_view(girth_cm: float, panels: Sequence[MarkedPanel]) -> SideView:
    """Project panels on a cylindrical trunk as seen level, from before the first panel's middle.

    Parameters
    ----------
    girth_cm
        Girth, cm.
    panels
        One or more, in unrolled coordinates.
    """
    radius = girth_cm / (2 * math.pi)
    middle = (panels[0].left_cm + panels[0].right_cm) / 2
    top = max(y for panel in panels for _, y in panel.outline)

    def seen(points: Sequence[Point]) -> Line:
        return tuple(
            (radius * math.sin((x - middle) / radius), y)
            for x, y in _fine(points)
            if math.cos((x - middle) / radius) > 0
        )

    def seen_each(lines: Sequence[Sequence[Point]]) -> tuple[Line, ...]:
        return tuple(line for line in map(seen, lines) if len(line) > 1)

    return SideView(
        diameter_cm=2 * radius,
        trunk=((-radius, top), (radius, top), (radius, 0.0), (-radius, 0.0)),
        cuts=seen_each([panel.cut for panel in panels]),
        guide_lines=seen_each([line for panel in panels for line in panel.guide_lines]),
        outlines=seen_each([(*panel.outline, panel.outline[0]) for panel in panels]),
        gutters=seen_each([(*panel.gutter, panel.gutter[0]) for panel in panels]),
        cups=tuple(point for panel in panels for point in seen([panel.cup])),
    )


def _fine(points: Sequence[Point]) -> list[Point]:
    """Give the line with points between, so that it bends round the trunk when projected."""
    fine = [points[0]]
    for (x0, y0), (x1, y1) in itertools.pairwise(points):
        fine += [
            (x0 + (x1 - x0) * step / _STEPS, y0 + (y1 - y0) * step / _STEPS)
            for step in range(1, _STEPS + 1)
        ]
    return fine
