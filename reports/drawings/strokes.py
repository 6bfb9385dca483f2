"""A drawing on paper: strokes, areas and labels in millimetres, written as SVG."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal
from xml.sax.saxutils import escape, quoteattr

Spot = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
MM_A_POINT = 25.4 / 72


@dataclass(frozen=True, kw_only=True)
class Stroke:
    """Lines of one width and ink: each a sequence of (x, y) in mm, y growing downward."""

    lines: Sequence[Sequence[Spot]]
    width_mm: float
    ink: str = "#000000"
    dash_mm: tuple[float, ...] = ()
    round_ends: bool = True
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Area:
    """Filled outlines: each a ring of (x, y) in mm; rings inside rings are holes."""

    rings: Sequence[Sequence[Spot]]
    fill: str = "none"
    ink: str = "none"
    width_mm: float = 0.2
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Disc:
    """Circles of one radius (mm), filled or hollow."""

    centres: Sequence[Spot]
    radius_mm: float
    fill: str = "none"
    ink: str = "none"
    width_mm: float = 0.2
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Symbol:
    """One shape at many spots: an SVG path in a box from -10 to 10, drawn `size_mm` wide."""

    centres: Sequence[Spot]
    path: str
    size_mm: float
    fill: str
    halo: str = "none"
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class Label:
    """A word on a drawing.

    Parameters
    ----------
    x, y
        Where its `anchor` side stands, mm: at its middle height, or at its `baseline`.
    text, size_pt, bold, ink
        What it says and how.
    anchor
        Which side of it stands there.
    turn_deg
        Turned clockwise by so much.
    halo
        Whether a pale ground sets it off.
    """

    x: float
    y: float
    text: str
    size_pt: float = 9.0
    bold: bool = False
    anchor: Anchor = "middle"
    turn_deg: float = 0.0
    halo: bool = True
    baseline: bool = False
    ink: str = "#1B1517"


Shape = Stroke | Area | Disc | Symbol


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """A drawing of `width_mm` by `height_mm`.

    Parameters
    ----------
    shapes
        Drawn in order.
    labels
        Set over them by the sheet, which alone shapes every script rightly.
    notes
        What else a reader of the drawing needs, such as its scale.
    picture
        An SVG drawn elsewhere in place of `shapes`; empty for none.
    """

    width_mm: float
    height_mm: float
    shapes: Sequence[Shape] = ()
    labels: Sequence[Label] = ()
    notes: dict[str, float | str] = field(default_factory=dict)
    picture: str = ""

    def svg(self) -> str:
        """Write the shapes as SVG, one user unit a millimetre; labels are typeset by the sheet."""
        if self.picture:
            return self.picture
        size = f"{self.width_mm:g} {self.height_mm:g}"
        body = "".join(_svg_shape(shape) for shape in self.shapes)
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width_mm:g}mm" '
            f'height="{self.height_mm:g}mm" viewBox="0 0 {size}">{body}</svg>'
        )

    def for_sheet(self) -> dict[str, object]:
        """Give the drawing as the sheet's templates take it."""
        return {
            "width_mm": self.width_mm,
            "height_mm": self.height_mm,
            "svg": self.svg(),
            "labels": [vars(label) for label in self.labels],
            **self.notes,
        }


def _svg_shape(shape: Shape) -> str:
    name = f" id={quoteattr(escape(shape.name))}" if shape.name else ""
    if isinstance(shape, Stroke):
        if not any(len(line) > 1 for line in shape.lines):
            return ""
        path = "".join(_path(line) for line in shape.lines if len(line) > 1)
        ends = ' stroke-linecap="round" stroke-linejoin="round"' if shape.round_ends else ""
        dash = f' stroke-dasharray="{" ".join(map(str, shape.dash_mm))}"' if shape.dash_mm else ""
        return (
            f'<path{name} d="{path}" fill="none" stroke="{shape.ink}" '
            f'stroke-width="{shape.width_mm:g}"{ends}{dash}/>'
        )
    if isinstance(shape, Symbol):
        size = shape.size_mm / 20
        spots = "".join(
            f'<path transform="translate({x:.2f} {y:.2f}) scale({size:.4g})" d="{shape.path}"/>'
            for x, y in shape.centres
        )
        return (
            f'<g{name} fill="{shape.fill}" fill-rule="evenodd" stroke="{shape.halo}" '
            f'stroke-width="0.6">{spots}</g>'
        )
    if isinstance(shape, Area):
        path = "".join(_path(ring) + "Z" for ring in shape.rings)
    else:
        path = "".join(_circle(x, y, shape.radius_mm) for x, y in shape.centres)
    if not path:
        return ""
    return (
        f'<path{name} d="{path}" fill="{shape.fill}" fill-rule="evenodd" stroke="{shape.ink}" '
        f'stroke-width="{shape.width_mm:g}"/>'
    )


def _path(line: Sequence[Spot]) -> str:
    return "M" + "L".join(f"{x:.2f} {y:.2f}" for x, y in line)


def _circle(x: float, y: float, radius: float) -> str:
    half = f"a{radius:g} {radius:g} 0 1 0"
    return f"M{x - radius:.2f} {y:.2f}{half} {2 * radius:g} 0{half} {-2 * radius:g} 0Z"
