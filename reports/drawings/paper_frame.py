"""From the ground to paper: the frame that a map shows, at a round scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from reports.drawings.scales import round_scale
from reports.drawings.strokes import Spot

MARGIN_MM = 8.5
LEAST_GROUND_M = 20.0


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


def frame_round(shown: Sequence[BaseGeometry], *, width_mm: float, height_mm: float) -> PaperFrame:
    """Give the frame at the largest round scale that shows all of some shapes inside a margin."""
    west, south, east, north = shapely.total_bounds(shown)
    scale = round_scale(
        wide_m=max(east - west, LEAST_GROUND_M),
        high_m=max(north - south, LEAST_GROUND_M),
        width_mm=width_mm - 2 * MARGIN_MM,
        height_mm=height_mm - 2 * MARGIN_MM,
    )
    return frame_at(shown, scale=scale, width_mm=width_mm, height_mm=height_mm)


def frame_at(
    shown: Sequence[BaseGeometry], *, scale: float, width_mm: float, height_mm: float
) -> PaperFrame:
    """Give the frame at a scale that has the middle of some shapes in its middle."""
    west, south, east, north = shapely.total_bounds(shown)
    half_wide, half_high = width_mm * scale / 2000, height_mm * scale / 2000
    return PaperFrame(
        scale=scale,
        west_m=(west + east) / 2 - half_wide,
        north_m=(south + north) / 2 + half_high,
        width_mm=width_mm,
        height_mm=height_mm,
    )


def spots_of(xy: NDArray[np.float64]) -> list[Spot]:
    """Give coordinates on paper, shape (n, 2), as spots."""
    return [(float(x), float(y)) for x, y in xy]
