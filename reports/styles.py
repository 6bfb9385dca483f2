"""Styles for a desktop GIS: the project's layers drawn with the same colours, marks and lines.

One file a layer, in OGC Styled Layer Descriptor 1.1 with Symbology Encoding 1.1. Marks are built
of the six shapes that the standard names and are laid over one another, so that any program that
reads the standard draws them and no picture files have to travel along. They come near the marks
of the maps and sheets; the colours are the same.

References
----------
Open Geospatial Consortium, *Symbology Encoding Implementation Specification* 1.1.0,
OGC 05-077r4, 2006.
Open Geospatial Consortium, *Styled Layer Descriptor profile of the Web Map Service* 1.1.0,
OGC 05-078r4, 2007.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from xml.etree import ElementTree as xml

from layers.errors import SettingError
from reports.palette import (
    CLASS_MARKS,
    DECISION_STYLES,
    INK,
    LINE_STYLES,
    PAPER,
    PLACE_MARKS,
    QUIET_INK,
    LineStyle,
    task_style,
)

SLD = "http://www.opengis.net/sld"
SE = "http://www.opengis.net/se"
OGC = "http://www.opengis.net/ogc"

DOUBTFUL_BELOW = 0.9


@dataclass(frozen=True, kw_only=True)
class Part:
    """One named shape of a mark.

    Parameters
    ----------
    shape
        ``circle``, ``square``, ``triangle``, ``star``, ``cross`` or ``x``.
    fill
        ``#RRGGBB``; None for a shape that isn't filled.
    stroke
        ``#RRGGBB``; None for a shape without an edge.
    size, stroke_width
        Pixels, above 0.
    turn_deg
        Clockwise, degrees.
    right
        Shift to the right, pixels.
    """

    shape: str
    fill: str | None
    stroke: str | None = PAPER
    size: float = 10.0
    stroke_width: float = 1.0
    turn_deg: float = 0.0
    right: float = 0.0


def _class_parts() -> dict[str, tuple[Part, ...]]:
    fill = {name: mark.fill for name, mark in CLASS_MARKS.items()}
    return {
        "ready": (Part(shape="circle", fill=fill["ready"], size=11),),
        "near-ready": (
            Part(shape="circle", fill=fill["near-ready"], size=11),
            Part(shape="circle", fill=PAPER, stroke=None, size=7),
            Part(shape="circle", fill=fill["near-ready"], stroke=None, size=4),
        ),
        "mature": (Part(shape="triangle", fill=fill["mature"], size=12),),
        "immature": (
            Part(shape="circle", fill=PAPER, stroke=fill["immature"], size=6, stroke_width=2),
        ),
        "unmeasured": (
            Part(shape="square", fill=PAPER, stroke=fill["unmeasured"], size=8, stroke_width=2),
        ),
        "vacant": (
            Part(shape="circle", fill=fill["vacant"], stroke=None, size=4, right=-3),
            Part(shape="circle", fill=fill["vacant"], stroke=None, size=4, right=3),
        ),
        "dead": (
            Part(shape="x", fill=fill["dead"], stroke=fill["dead"], size=9, stroke_width=1.5),
        ),
        "dry": (
            Part(shape="triangle", fill=fill["dry"], stroke=None, size=8, turn_deg=90, right=-3),
            Part(shape="triangle", fill=fill["dry"], stroke=None, size=8, turn_deg=270, right=3),
        ),
    }


CLASS_PARTS: Mapping[str, tuple[Part, ...]] = MappingProxyType(_class_parts())

_PLACE_SHAPES = {"collection": "square", "crossing": "cross", "shelter": "triangle", "gate": "star"}
_PATTERN_SHAPES = {"slant": "triangle", "dots": "circle", "cross": "x"}


def layer_style(layer: str, *, task_ids: Sequence[str] = ()) -> str:
    """Give one layer's style as a Styled Layer Descriptor.

    Parameters
    ----------
    layer
        One of `STYLED_LAYERS`, as it is named in the project.
    task_ids
        The tasks, in the order in which their lines change; only ``task_walks`` needs them.

    Raises
    ------
    SettingError
        There is no style for a layer of that name.

    Examples
    --------
    >>> layer_style("holdings").splitlines()[0]
    "<?xml version='1.0' encoding='utf-8'?>"
    """
    if layer not in STYLED_LAYERS:
        raise SettingError.at(
            layer=layer,
            found="no style for it",
            expected="one of " + ", ".join(STYLED_LAYERS),
            remedy="Name one of these.",
        )
    rules = _task_rules(task_ids) if layer == "task_walks" else _RULES[layer]()
    return _document(layer, rules)


def write_styles(folder: Path, *, task_ids: Sequence[str] = ()) -> list[Path]:
    """Write the style of every layer, each as ``LAYER.sld``.

    Parameters
    ----------
    folder
        Where to; made if it isn't there.
    task_ids
        As in :func:`layer_style`.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for layer in STYLED_LAYERS:
        path = folder / f"{layer}.sld"
        path.write_text(layer_style(layer, task_ids=task_ids), "utf-8")
        written.append(path)
    return written


def _document(layer: str, rules: list[xml.Element]) -> str:
    for prefix, space in (("sld", SLD), ("se", SE), ("ogc", OGC)):
        xml.register_namespace(prefix, space)
    root = xml.Element(f"{{{SLD}}}StyledLayerDescriptor", version="1.1.0")
    named = xml.SubElement(root, f"{{{SLD}}}NamedLayer")
    _add(named, SE, "Name", layer)
    style = xml.SubElement(named, f"{{{SLD}}}UserStyle")
    _add(style, SE, "Name", layer)
    features = xml.SubElement(style, f"{{{SE}}}FeatureTypeStyle")
    features.extend(rules)
    xml.indent(root)
    return xml.tostring(root, encoding="unicode", xml_declaration=False).join(
        ("<?xml version='1.0' encoding='utf-8'?>\n", "\n")
    )


def _add(parent: xml.Element, space: str, name: str, text: str = "") -> xml.Element:
    child = xml.SubElement(parent, f"{{{space}}}{name}")
    child.text = text or None
    return child


def _number(value: float) -> str:
    return f"{value:g}"


def _rule(name: str, *symbols: xml.Element, condition: xml.Element | None = None) -> xml.Element:
    rule = xml.Element(f"{{{SE}}}Rule")
    _add(rule, SE, "Name", name)
    _add(_add(rule, SE, "Description"), SE, "Title", name)
    if condition is not None:
        xml.SubElement(rule, f"{{{OGC}}}Filter").append(condition)
    rule.extend(symbols)
    return rule


def _compare(operator: str, column: str, value: str) -> xml.Element:
    condition = xml.Element(f"{{{OGC}}}{operator}")
    _add(condition, OGC, "PropertyName", column)
    if operator != "PropertyIsNull":
        _add(condition, OGC, "Literal", value)
    return condition


def _fill(parent: xml.Element, colour: str) -> None:
    _parameters(_add(parent, SE, "Fill"), {"fill": colour})


def _stroke(parent: xml.Element, line: LineStyle) -> None:
    parameters = {"stroke": line.stroke, "stroke-width": _number(line.width)}
    if line.dash:
        parameters["stroke-dasharray"] = " ".join(
            _number(length * line.width) for length in line.dash
        )
    _parameters(_add(parent, SE, "Stroke"), parameters)


def _parameters(parent: xml.Element, parameters: Mapping[str, str]) -> None:
    for name, value in parameters.items():
        parameter = _add(parent, SE, "SvgParameter", value)
        parameter.set("name", name)


def _graphic(parent: xml.Element, part: Part) -> None:
    graphic = _add(parent, SE, "Graphic")
    mark = _add(graphic, SE, "Mark")
    _add(mark, SE, "WellKnownName", part.shape)
    if part.fill is not None:
        _fill(mark, part.fill)
    if part.stroke is not None:
        _stroke(mark, LineStyle(name="edge", stroke=part.stroke, width=part.stroke_width))
    _add(graphic, SE, "Size", _number(part.size))
    if part.turn_deg:
        _add(graphic, SE, "Rotation", _number(part.turn_deg))
    if part.right:
        shift = _add(graphic, SE, "Displacement")
        _add(shift, SE, "DisplacementX", _number(part.right))
        _add(shift, SE, "DisplacementY", "0")


def _points(*parts: Part) -> list[xml.Element]:
    symbols = []
    for part in parts:
        symbol = xml.Element(f"{{{SE}}}PointSymbolizer")
        _graphic(symbol, part)
        symbols.append(symbol)
    return symbols


def _line(line: LineStyle) -> xml.Element:
    symbol = xml.Element(f"{{{SE}}}LineSymbolizer")
    _stroke(symbol, line)
    return symbol


def _arrowheads(colour: str) -> xml.Element:
    symbol = xml.Element(f"{{{SE}}}LineSymbolizer")
    along = _add(_add(symbol, SE, "Stroke"), SE, "GraphicStroke")
    _graphic(along, Part(shape="triangle", fill=colour, size=9, turn_deg=90))
    _add(along, SE, "InitialGap", "20")
    _add(along, SE, "Gap", "60")
    return symbol


def _area(fill: str | None, line: LineStyle) -> xml.Element:
    symbol = xml.Element(f"{{{SE}}}PolygonSymbolizer")
    if fill is not None:
        _fill(symbol, fill)
    _stroke(symbol, line)
    return symbol


def _pattern(shape: str, colour: str) -> xml.Element:
    symbol = xml.Element(f"{{{SE}}}PolygonSymbolizer")
    filled = _add(_add(symbol, SE, "Fill"), SE, "GraphicFill")
    _graphic(filled, Part(shape=shape, fill=colour, stroke=None, size=5))
    return symbol


def _label(column: str, *, size: int = 10) -> xml.Element:
    symbol = xml.Element(f"{{{SE}}}TextSymbolizer")
    _add(_add(symbol, SE, "Label"), OGC, "PropertyName", column)
    _parameters(_add(symbol, SE, "Font"), {"font-size": str(size)})
    halo = _add(symbol, SE, "Halo")
    _add(halo, SE, "Radius", "1.5")
    _fill(halo, PAPER)
    _fill(symbol, INK)
    return symbol


def _tree_rules() -> list[xml.Element]:
    return [
        _rule(name, *_points(*parts), condition=_compare("PropertyIsEqualTo", "class", name))
        for name, parts in CLASS_PARTS.items()
    ]


def _decision_rules() -> list[xml.Element]:
    rules = []
    for name, style in DECISION_STYLES.items():
        symbols = [_area(style.fill, LineStyle(name=name, stroke=style.edge, width=1.5))]
        if style.pattern in _PATTERN_SHAPES:
            symbols.append(_pattern(_PATTERN_SHAPES[style.pattern], style.edge))
        symbols.append(_label("block_id"))
        rules.append(
            _rule(name, *symbols, condition=_compare("PropertyIsEqualTo", "decision", name))
        )
    return rules


def _obstacle_rules() -> list[xml.Element]:
    return [
        _rule(
            kind,
            _line(LINE_STYLES[kind]),
            condition=_compare("PropertyIsEqualTo", "kind", kind),
        )
        for kind in ("stream", "drain", "fence", "road", "cliff")
    ]


def _place_rules() -> list[xml.Element]:
    return [
        _rule(
            kind,
            *_points(Part(shape=_PLACE_SHAPES[kind], fill=mark.fill, size=12)),
            _label("name"),
            condition=_compare("PropertyIsEqualTo", "kind", kind),
        )
        for kind, mark in PLACE_MARKS.items()
    ]


def _point_rules() -> list[xml.Element]:
    doubt = LINE_STYLES["doubt"].stroke
    lost = Part(shape="square", fill=doubt, stroke=None, size=6)
    doubtful = Part(shape="square", fill=PAPER, stroke=doubt, size=6, stroke_width=1.5)
    sure = Part(shape="square", fill=PAPER, stroke=QUIET_INK, size=4)
    limit = _number(DOUBTFUL_BELOW)
    return [
        _rule(
            "no tree likely", *_points(lost), condition=_compare("PropertyIsNull", "tree_id", "")
        ),
        _rule(
            "doubtful",
            *_points(doubtful),
            condition=_compare("PropertyIsLessThan", "probability", limit),
        ),
        _rule(
            "sure",
            *_points(sure),
            condition=_compare("PropertyIsGreaterThanOrEqualTo", "probability", limit),
        ),
    ]


def _task_rules(task_ids: Sequence[str]) -> list[xml.Element]:
    return [
        _rule(
            task_id,
            _line(LineStyle(name="casing", stroke=PAPER, width=style.width + 2)),
            _line(style),
            _arrowheads(style.stroke),
            condition=_compare("PropertyIsEqualTo", "task_id", task_id),
        )
        for task_id, style in ((task, task_style(place)) for place, task in enumerate(task_ids))
    ]


def _stop_rules() -> list[xml.Element]:
    small = Part(shape="circle", fill=INK, stroke=None, size=3)
    return [_rule("stop", *_points(small), _label("stop_no", size=8))]


_RULES = {
    "holdings": lambda: [_rule("holding", _area(None, LINE_STYLES["holding"]), _label("member"))],
    "blocks": lambda: [_rule("block", _area(None, LINE_STYLES["block"]), _label("block_id"))],
    "rows": lambda: [_rule("row", _line(LINE_STYLES["row"]))],
    "obstacles": _obstacle_rules,
    "places": _place_rules,
    "block_readiness": _decision_rules,
    "tree_classes": _tree_rules,
    "match_points": _point_rules,
    "task_stops": _stop_rules,
}

STYLED_LAYERS = (*_RULES, "task_walks")
"""The layers that have a style, in the order in which they are laid over one another."""
