"""One palette for every map, sheet and chart: colours, class marks and line styles.

Each class of tree has a colour and a shape of its own, so that a map reads in black and white, by
torch light and with any colour vision. The colours were sought by moving eight starting points
until the least CIEDE2000 distance between any two was as large as could be found, in normal vision
and in simulated protanopia, deuteranopia and tritanopia, with a contrast of 3.3 to 1 or more
against white.

References
----------
World Wide Web Consortium, *Web Content Accessibility Guidelines 2.2*, 2023: success criteria
1.4.3 (text, 4.5 to 1), 1.4.11 (graphics, 3 to 1) and the definition of relative luminance.
Machado, G. M., Oliveira, M. M., Fernandes, L. A. F., *A Physiologically-based Model for Simulation
of Color Vision Deficiency*, 2009: the matrices with which the tests simulate colour blindness.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

PAPER = "#FFFFFF"
INK = "#1B1517"
QUIET_INK = "#54504C"
HALO = PAPER
GROUND = "#F4F1EA"
FOCUS = "#3C17A9"
BUTTON = "#0B595F"

_BEZIER_CIRCLE = 0.5523


def _ring(radius: float, *, x: float = 0.0, y: float = 0.0) -> str:
    """Give a full circle as four Bézier curves, so that any drawing program can read it."""
    r, k = radius, radius * _BEZIER_CIRCLE
    points = [
        ((x + k, y - r), (x + r, y - k), (x + r, y)),
        ((x + r, y + k), (x + k, y + r), (x, y + r)),
        ((x - k, y + r), (x - r, y + k), (x - r, y)),
        ((x - r, y - k), (x - k, y - r), (x, y - r)),
    ]
    curves = " ".join("C" + " ".join(f"{a:.2f} {b:.2f}" for a, b in curve) for curve in points)
    return f"M{x:.2f} {y - r:.2f} {curves} Z"


@dataclass(frozen=True, kw_only=True)
class Mark:
    """The mark of one kind of thing on a map: a colour and a shape.

    Parameters
    ----------
    name
        What it stands for, such as ``near-ready``.
    fill
        Colour of the shape, ``#RRGGBB``.
    halo
        Colour of the thin line round it that sets it off from the ground, ``#RRGGBB``.
    shape
        The shape's name in plain words, for a legend read aloud.
    path
        SVG path (commands M, L, C and Z only) in a box from -10 to 10 both ways, y downward, to
        be filled by the even-odd rule.
    """

    name: str
    fill: str
    shape: str
    path: str
    halo: str = HALO


@dataclass(frozen=True, kw_only=True)
class LineStyle:
    """How one kind of line is drawn.

    Parameters
    ----------
    name
        What it stands for.
    stroke
        Colour, ``#RRGGBB``.
    dash
        Lengths drawn and left out in turn, in widths of the line; empty for an unbroken line.
    width
        Width in CSS pixels on a screen; on paper 1 stands for 0.26 mm.
    """

    name: str
    stroke: str
    dash: tuple[float, ...] = ()
    width: float = 2.0


@dataclass(frozen=True, kw_only=True)
class AreaStyle:
    """How one kind of area is filled: a pale colour, a darker edge and a pattern.

    Parameters
    ----------
    name
        What it stands for, such as ``measure more``.
    fill, edge
        Colours, ``#RRGGBB``; `edge` is dark enough for text on `fill` and on white.
    pattern
        ``plain``, ``slant`` (lines from low left to high right), ``dots`` or ``cross``.
    """

    name: str
    fill: str
    edge: str
    pattern: str


def _class_marks() -> dict[str, Mark]:
    marks = (
        Mark(
            name="ready",
            fill="#0B595F",
            shape="disc with a slanting cut",
            path=f"{_ring(8.5)} M-5.60 -4.90 L-4.00 -6.40 L5.60 4.90 L4.00 6.40 Z",
        ),
        Mark(
            name="near-ready",
            fill="#DB6E0B",
            shape="ring, lower half full",
            path=f"{_ring(8.5)} M-5.90 -0.40 C-5.90 -3.60 -3.30 -6.20 0.00 -6.20 "
            "C3.30 -6.20 5.90 -3.60 5.90 -0.40 Z",
        ),
        Mark(
            name="mature",
            fill="#3C17A9",
            shape="kite with its point up",
            path="M0.00 -10.00 L8.20 3.00 L0.00 9.50 L-8.20 3.00 Z",
        ),
        Mark(
            name="immature",
            fill="#3790E1",
            shape="small leaf",
            path="M0.00 -8.00 C6.50 -4.00 6.50 3.50 0.00 8.00 C-6.50 3.50 -6.50 -4.00 0.00 -8.00 Z "
            "M-0.80 -3.50 L0.80 -3.50 L0.80 4.50 L-0.80 4.50 Z",
        ),
        Mark(
            name="unmeasured",
            fill="#7F8090",
            shape="hollow square",
            path="M-7.00 -7.00 L7.00 -7.00 L7.00 7.00 L-7.00 7.00 Z "
            "M-4.20 -4.20 L4.20 -4.20 L4.20 4.20 L-4.20 4.20 Z",
        ),
        Mark(
            name="vacant",
            fill="#9A8A74",
            shape="two dots",
            path=f"{_ring(3.0, x=-4.6)} {_ring(3.0, x=4.6)}",
        ),
        Mark(
            name="dead",
            fill="#1B1517",
            shape="slanting cross",
            path="M-8.00 -5.60 L-5.60 -8.00 L0.00 -2.40 L5.60 -8.00 L8.00 -5.60 L2.40 0.00 "
            "L8.00 5.60 L5.60 8.00 L0.00 2.40 L-5.60 8.00 L-8.00 5.60 L-2.40 0.00 Z",
        ),
        Mark(
            name="dry",
            fill="#A61931",
            shape="bow tie",
            path="M-8.50 -7.50 L0.00 -1.40 L8.50 -7.50 L8.50 7.50 L0.00 1.40 L-8.50 7.50 Z",
        ),
    )
    return {mark.name: mark for mark in marks}


CLASS_MARKS: Mapping[str, Mark] = MappingProxyType(_class_marks())

PLACE_MARKS: Mapping[str, Mark] = MappingProxyType(
    {
        mark.name: mark
        for mark in (
            Mark(
                name="collection",
                fill="#1B1517",
                shape="bucket",
                path="M-8.50 -4.50 L8.50 -4.50 L6.20 8.50 L-6.20 8.50 Z "
                "M-8.00 -8.50 L8.00 -8.50 L8.00 -6.30 L-8.00 -6.30 Z",
            ),
            Mark(
                name="crossing",
                fill="#0B595F",
                shape="two planks",
                path="M-9.00 -4.80 L9.00 -4.80 L9.00 -1.60 L-9.00 -1.60 Z "
                "M-9.00 1.60 L9.00 1.60 L9.00 4.80 L-9.00 4.80 Z",
            ),
            Mark(
                name="shelter",
                fill="#3C17A9",
                shape="roof on two posts",
                path="M-9.00 -1.00 L0.00 -9.00 L9.00 -1.00 L6.80 -1.00 L6.80 8.50 L4.40 8.50 "
                "L4.40 -1.00 L-4.40 -1.00 L-4.40 8.50 L-6.80 8.50 L-6.80 -1.00 Z",
            ),
            Mark(
                name="gate",
                fill="#A61931",
                shape="two posts and a bar",
                path="M-9.00 -7.50 L-6.20 -7.50 L-6.20 -1.40 L6.20 -1.40 L6.20 -7.50 L9.00 -7.50 "
                "L9.00 7.50 L6.20 7.50 L6.20 1.40 L-6.20 1.40 L-6.20 7.50 L-9.00 7.50 Z",
            ),
        )
    }
)

DECISION_STYLES: Mapping[str, AreaStyle] = MappingProxyType(
    {
        style.name: style
        for style in (
            AreaStyle(name="open", fill="#A9D3CB", edge="#0B595F", pattern="plain"),
            AreaStyle(name="in tapping", fill="#CFC6F0", edge="#3C17A9", pattern="slant"),
            AreaStyle(name="measure more", fill="#F7D9B0", edge="#8A4300", pattern="dots"),
            AreaStyle(name="wait", fill="#E3E1DC", edge="#54504C", pattern="cross"),
        )
    }
)

TASK_STYLES: tuple[LineStyle, ...] = (
    LineStyle(name="task 1", stroke="#0B595F", width=3.0),
    LineStyle(name="task 2", stroke="#A61931", dash=(4.0, 1.6), width=3.0),
    LineStyle(name="task 3", stroke="#3C17A9", dash=(1.4, 1.4), width=3.0),
    LineStyle(name="task 4", stroke="#8A4300", dash=(5.0, 1.4, 1.4, 1.4), width=3.0),
    LineStyle(name="task 5", stroke="#1B1517", dash=(2.6, 1.0), width=3.0),
    LineStyle(name="task 6", stroke="#1F6FB8", dash=(5.0, 1.2, 1.2, 1.2, 1.2, 1.2), width=3.0),
)

LINE_STYLES: Mapping[str, LineStyle] = MappingProxyType(
    {
        style.name: style
        for style in (
            LineStyle(name="holding", stroke="#1B1517", dash=(6.0, 2.0), width=2.2),
            LineStyle(name="block", stroke="#1B1517", width=1.6),
            LineStyle(name="row", stroke="#6E675C", width=1.0),
            LineStyle(name="contour", stroke="#8A6A4A", width=0.8),
            LineStyle(name="doubt", stroke="#1B1517", width=1.6),
            LineStyle(name="stream", stroke="#1F6FB8", width=3.0),
            LineStyle(name="drain", stroke="#1F6FB8", dash=(3.0, 1.5), width=2.0),
            LineStyle(name="fence", stroke="#1B1517", dash=(0.8, 1.8), width=2.4),
            LineStyle(name="road", stroke="#7A6F5D", width=4.0),
            LineStyle(name="cliff", stroke="#1B1517", dash=(1.2, 0.8), width=4.0),
        )
    }
)

GIRTH_STEPS: tuple[str, ...] = ("#EFE3F6", "#D2BBE6", "#B18FD0", "#8A5FB3", "#63348F", "#3B1163")
"""Girth from thin to thick, pale to dark in even steps of lightness."""

SLOPE_STEPS: tuple[str, ...] = ("#FBF3DF", "#F0D9A8", "#DDB070", "#BC8044", "#8C5224")
"""Slope from flat to steep, pale to dark."""

SUN_BEAM = "#DB6E0B"
SUN_DIFFUSE = "#3790E1"
SUN_SCORCH = "#A61931"


def relative_luminance(colour: str) -> float:
    """Give the relative luminance of an sRGB colour, 0 (black) to 1 (white).

    Parameters
    ----------
    colour
        ``#RRGGBB``.

    References
    ----------
    World Wide Web Consortium, *Web Content Accessibility Guidelines 2.2*, 2023, definition of
    relative luminance.

    Examples
    --------
    >>> relative_luminance("#FFFFFF")
    1.0
    """
    red, green, blue = (
        share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4
        for share in (int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5))
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast_ratio(one: str, other: str) -> float:
    """Give the contrast between two colours, 1 (none) to 21 (black on white).

    References
    ----------
    World Wide Web Consortium, *Web Content Accessibility Guidelines 2.2*, 2023, definition of
    contrast ratio.

    Examples
    --------
    >>> round(contrast_ratio("#000000", "#FFFFFF"), 1)
    21.0
    """
    darker, lighter = sorted((relative_luminance(one), relative_luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def text_on(background: str) -> str:
    """Give the palette's ink or paper, whichever stands out more on a background.

    Examples
    --------
    >>> text_on("#FFFFFF") == INK
    True
    """
    return max((INK, PAPER), key=lambda colour: contrast_ratio(colour, background))


def mark_svg(mark: Mark, *, size_px: float = 20.0) -> str:
    """Give a mark as an SVG picture of its own, for a legend, a sheet or a desktop GIS.

    Parameters
    ----------
    mark
        The mark, such as ``CLASS_MARKS["ready"]``.
    size_px
        Width and height, CSS pixels, above 0.

    Examples
    --------
    >>> mark_svg(CLASS_MARKS["dead"])[:12]
    '<svg xmlns="'
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size_px:g}" height="{size_px:g}" '
        f'viewBox="-11 -11 22 22"><path d="{mark.path}" fill="{mark.fill}" fill-rule="evenodd" '
        f'stroke="{mark.halo}" stroke-width="1.2" paint-order="stroke"/></svg>'
    )


def task_style(number: int) -> LineStyle:
    """Give the line style of the task that stands at a place in the list, counted from 0.

    Six styles go round, so that neighbours in the list never share one.

    Examples
    --------
    >>> task_style(0) == task_style(6)
    True
    """
    return TASK_STYLES[number % len(TASK_STYLES)]
