"""A chart as a drawing of a size on paper, its words apart from its strokes."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import lru_cache
from typing import Any
from xml.etree import ElementTree

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.axes import Axes

from reports.drawings.strokes import MM_A_POINT, Anchor, Drawing, Label
from reports.palette import INK
from reports.words import FONT_FAMILIES, font_folder

_ANCHORS: dict[str, Anchor] = {"start": "start", "middle": "middle", "end": "end"}
_SVG = "{http://www.w3.org/2000/svg}"


def chart_drawing(draw: Callable[[], Axes], *, width_mm: float, height_mm: float) -> Drawing:
    """Give a chart as a drawing of a size on paper.

    Its words come apart from its strokes, for the sheet to set: SVG readers do not shape Thai or
    Malayalam reliably.

    Parameters
    ----------
    draw
        Draws on a new figure and gives the axis.
    width_mm, height_mm
        Size on paper, millimetres.
    """
    _know_our_fonts()
    style: dict[Any, Any] = {
        "font.family": list(FONT_FAMILIES),
        "font.size": 9.5,
        "svg.fonttype": "none",
        "svg.hashsalt": "sheet",
        "hatch.linewidth": 0.5,
    }
    with mpl.rc_context(style):
        figure = draw().get_figure(root=True)
        if figure is None:
            raise ValueError("the chart has no figure")
        figure.set_size_inches(width_mm / 25.4, height_mm / 25.4)
        figure.set_layout_engine("constrained")
        page = io.StringIO()
        figure.savefig(page, format="svg", transparent=True, metadata={"Date": None})
    return _parted(page.getvalue(), width_mm=width_mm, height_mm=height_mm)


@lru_cache(maxsize=1)
def _know_our_fonts() -> None:
    for file in sorted(font_folder().glob("*.ttf")):
        font_manager.fontManager.addfont(file)


def _parted(svg: str, *, width_mm: float, height_mm: float) -> Drawing:
    """Take the words out of an SVG of points and give them as labels."""
    ElementTree.register_namespace("", _SVG.strip("{}"))
    root = ElementTree.fromstring(svg)
    labels = []
    for group in root.iter():
        for text in [child for child in group if child.tag == f"{_SVG}text"]:
            labels.append(_label(text))
            group.remove(text)
    picture = ElementTree.tostring(root, encoding="unicode")
    return Drawing(width_mm=width_mm, height_mm=height_mm, labels=labels, picture=picture)


def _label(text: ElementTree.Element) -> Label:
    parts = (part.split(":", 1) for part in text.get("style", "").split(";"))
    style = {name.strip(): value.strip() for name, value in parts}
    turn = re.match(r"rotate\((-?[\d.]+)", text.get("transform", ""))
    return Label(
        x=float(text.get("x", 0)) * MM_A_POINT,
        y=float(text.get("y", 0)) * MM_A_POINT,
        text="".join(text.itertext()),
        size_pt=float(style["font-size"].removesuffix("px")),
        anchor=_ANCHORS[style.get("text-anchor", "start")],
        turn_deg=float(turn[1]) if turn else 0.0,
        halo=False,
        baseline=True,
        ink=style.get("fill", INK),
    )
