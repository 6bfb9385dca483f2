"""Places for labels on a drawing, so that none covers another or a mark that matters."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from reports.drawings.strokes import MM_A_POINT, Label, Spot
from reports.words import text_width_em

_LINE_HEIGHT = 1.2
_EDGE_MM = 0.6
_AROUND = tuple(np.radians(np.arange(0, 360, 30)))

Box = tuple[float, float, float, float]


def label_size_mm(text: str, *, size_pt: float, bold: bool) -> tuple[float, float]:
    """Give the width and height of a label's box, mm."""
    size_mm = size_pt * MM_A_POINT
    return text_width_em(text, bold=bold) * size_mm + 0.4, _LINE_HEIGHT * size_mm


def _area(box: Box) -> BaseGeometry:
    return shapely.box(*box)


@dataclass(kw_only=True)
class LabelSheet:
    """Labels that are being placed on a paper of `width_mm` by `height_mm`.

    Parameters
    ----------
    busy
        Spots, shape (n, 2), mm, that a label had better leave free.
    """

    width_mm: float
    height_mm: float
    busy: NDArray[np.float64]
    labels: list[Label] = field(default_factory=list)
    boxes: list[Box] = field(default_factory=list)

    def keep_free(self, x: float, y: float, half_mm: float) -> None:
        """Let no label cover a square of `half_mm` round a spot."""
        self.boxes.append((x - half_mm, y - half_mm, x + half_mm, y + half_mm))

    def put(
        self,
        label: Label,
        *,
        away_mm: Iterable[float],
        directions: Sequence[float],
        avoid: BaseGeometry | None = None,
    ) -> bool:
        """Put a label by its spot where it covers nothing; False where there is no room.

        Parameters
        ----------
        label
            Its x and y are the spot that it names.
        away_mm
            Distances from the spot to the label's edge to try, nearest first.
        directions
            Angles to try, radians clockwise from right, best first.
        avoid
            What the label may not touch, on paper; None for nothing.

        A label turned by 90 or 270 degrees takes its room upright.
        """
        width, height = label_size_mm(label.text, size_pt=label.size_pt, bold=label.bold)
        if label.turn_deg % 180:
            width, height = height, width
        best: tuple[int, Spot, Box] | None = None
        for away in away_mm:
            for angle in directions:
                x = label.x + np.cos(angle) * (away + width / 2)
                y = label.y + np.sin(angle) * (away + height / 2)
                x = float(np.clip(x, width / 2 + _EDGE_MM, self.width_mm - width / 2 - _EDGE_MM))
                y = float(np.clip(y, height / 2 + _EDGE_MM, self.height_mm - height / 2 - _EDGE_MM))
                box = (x - width / 2, y - height / 2, x + width / 2, y + height / 2)
                if not self._free(box) or (avoid is not None and avoid.intersects(_area(box))):
                    continue
                covered = self._covered(box)
                if best is None or covered < best[0]:
                    best = (covered, (x, y), box)
                if covered == 0:
                    break
            if best is not None and best[0] == 0:
                break
        if best is None:
            return False
        _, (x, y), box = best
        self.labels.append(replace(label, x=x, y=y, anchor="middle"))
        self.boxes.append(box)
        return True

    def put_around(self, label: Label, *, away_mm: Iterable[float] = (1.5, 3.0, 5.0, 8.0)) -> bool:
        """Put a label anywhere round its spot where there is room."""
        return self.put(label, away_mm=away_mm, directions=_AROUND)

    def _free(self, box: Box) -> bool:
        left, top, right, bottom = box
        inside = left >= 0 and top >= 0 and right <= self.width_mm and bottom <= self.height_mm
        return inside and all(
            right < other[0] or left > other[2] or bottom < other[1] or top > other[3]
            for other in self.boxes
        )

    def _covered(self, box: Box) -> int:
        if not len(self.busy):
            return 0
        x, y = self.busy[:, 0], self.busy[:, 1]
        return int(((x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])).sum())
