"""The panels of one tree, to scale: the bark unrolled, and the standing tree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from estate.panels import MarkedPanel, MarkingGuide
from reports.drawings.scales import round_scale
from reports.drawings.strokes import Area, Disc, Drawing, Label, Shape, Spot, Stroke
from reports.palette import INK
from reports.words import text_width_em

BARK_GREY, LINE_GREY, PALE = "#F0F0F0", "#555555", "#FFFFFF"
_BELOW_CUP_CM, _BELOW_LAST_LINE_CM, _ABOVE_TOP_CM, _CUP_RADIUS_CM = 6.0, 8.0, 7.0, 4.0
_HEIGHTS_MM, _RIGHT_MM, _TICK_STEPS_CM = 10.0, 2.0, (5, 10, 20, 25, 50, 100, 200)
_TICK_GAP_MM = 7.0
_NAME_PT, _LEAST_NAME_PT, _NAME_GAP_MM, _NAME_LINE_MM = 9.5, 7.5, 0.5, 3.4
_MM_A_POINT = 25.4 / 72


@dataclass(frozen=True, kw_only=True)
class _Paper:
    """From centimetres on the trunk, y up from the ground, to millimetres on paper."""

    scale: float
    left_mm: float
    top_cm: float
    foot_mm: float = 0.0

    def spot(self, x_cm: float, y_cm: float) -> Spot:
        factor = 10 / self.scale
        return (self.left_mm + x_cm * factor, self.foot_mm + (self.top_cm - y_cm) * factor)

    def line(self, points: Sequence[tuple[float, float]]) -> list[Spot]:
        return [self.spot(x, y) for x, y in points]


def unrolled_trunk(guide: MarkingGuide, *, width_mm: float, height_mm: float) -> Drawing:
    """Draw the bark unrolled, from under the cup to above the first cut, at a round scale.

    Parameters
    ----------
    guide
        The marking guide of one tree.
    width_mm, height_mm
        The room there is, millimetres, 45 or more by 50 or more.

    Returns
    -------
    Drawing
        Its notes hold ``scale``.
    """
    first = guide.panels[0]
    lines = [y for line in first.guide_lines for _, y in line]
    low = min(first.cup[1] - _BELOW_CUP_CM, min(lines) - _BELOW_LAST_LINE_CM)
    high = max(lines) + _ABOVE_TOP_CM
    scale = round_scale(
        wide_m=guide.girth_cm / 100,
        high_m=(high - low) / 100,
        width_mm=width_mm - _HEIGHTS_MM - _RIGHT_MM,
        height_mm=height_mm - 1.5,
    )
    paper = _Paper(scale=scale, left_mm=_HEIGHTS_MM, top_cm=high, foot_mm=0.5)
    trunk = [(0.0, high), (guide.girth_cm, high), (guide.girth_cm, low), (0.0, low)]
    shapes: list[Shape] = [Area(rings=[paper.line(trunk)], fill=BARK_GREY, name="bark")]
    for panel in guide.panels:
        shapes += _panel(panel, paper, (low, high), first=panel is first)
    shapes += [
        *_sides(guide.girth_cm, low, high, paper),
        *_fittings(first, paper),
    ]
    ticks, labels = _heights(low, high, paper)
    foot = paper.spot(0, low)[1]
    labels += _names(guide, paper, foot)
    return Drawing(
        width_mm=paper.spot(guide.girth_cm, low)[0] + _RIGHT_MM,
        height_mm=foot + 1.0,
        shapes=[*shapes, ticks],
        labels=labels,
        notes={"scale": scale},
    )


def _panel(
    panel: MarkedPanel, paper: _Paper, bounds_cm: tuple[float, float], *, first: bool
) -> list[Shape]:
    low, high = bounds_cm
    ring = [(x, min(max(y, low), high)) for x, y in panel.outline]
    if min(y for _, y in panel.outline) >= high:
        return []
    shapes: list[Shape] = [
        Area(
            rings=[paper.line(ring)],
            fill=PALE,
            ink=LINE_GREY,
            width_mm=0.3,
            name=f"panel {panel.panel_no}",
        )
    ]
    if first:
        shapes += [
            Stroke(
                lines=[paper.line(line) for line in panel.guide_lines[1:]],
                width_mm=0.15,
                ink=LINE_GREY,
                name="guide lines",
            ),
            Stroke(lines=[paper.line(panel.cut)], width_mm=1.0, ink=INK, name="first cut"),
        ]
    elif panel.tier == 1:
        shapes.append(Stroke(lines=[paper.line(panel.cut)], width_mm=0.5, ink=LINE_GREY))
    return shapes


def _sides(girth_cm: float, low: float, high: float, paper: _Paper) -> list[Shape]:
    """Give the two sides where the unrolled bark meets itself, and its broken ends."""
    left = paper.line([(0, high), (0, low)])
    right = paper.line([(girth_cm, high), (girth_cm, low)])
    ends = [paper.line([(0, y), (girth_cm, y)]) for y in (high, low)]
    return [
        Stroke(lines=[left, right], width_mm=0.45, ink=INK),
        Stroke(lines=ends, width_mm=0.25, ink=INK, dash_mm=(1.4, 1.0)),
    ]


def _fittings(panel: MarkedPanel, paper: _Paper) -> list[Shape]:
    radius = _CUP_RADIUS_CM * 10 / paper.scale
    return [
        Area(
            rings=[paper.line(panel.gutter)], fill="#BBBBBB", ink=INK, width_mm=0.3, name="gutter"
        ),
        Disc(
            centres=[paper.spot(*panel.cup)],
            radius_mm=radius,
            fill=PALE,
            ink=INK,
            width_mm=0.5,
            name="cup",
        ),
    ]


def _heights(low: float, high: float, paper: _Paper) -> tuple[Stroke, list[Label]]:
    step = next(
        (step for step in _TICK_STEPS_CM if step * 10 / paper.scale >= _TICK_GAP_MM),
        _TICK_STEPS_CM[-1],
    )
    heights = range(int(-(-low // step)) * step, int(high) + 1, step)
    x, _ = paper.spot(0, low)
    ticks = [[(x - 1.6, paper.spot(0, y)[1]), (x, paper.spot(0, y)[1])] for y in heights]
    labels = [
        Label(
            x=x - 2.2,
            y=paper.spot(0, y)[1],
            text=str(y),
            size_pt=9.0,
            anchor="end",
            halo=False,
        )
        for y in heights
        if paper.spot(0, y)[1] >= 1.7
    ]
    return Stroke(lines=ticks, width_mm=0.25, ink=INK, name="heights"), labels


def _names(guide: MarkingGuide, paper: _Paper, foot_mm: float) -> list[Label]:
    """Give each panel's notation, and letters at the cut, guide lines, gutter and cup."""
    first = guide.panels[0]
    labels = []
    for panel in guide.panels:
        if panel.tier > 1:
            continue
        middle = (panel.left_cm + panel.right_cm) / 2
        y_mm, inward = (foot_mm - 3.0, -1) if guide.direction == "down" else (3.0, 1)
        room_mm = abs(paper.spot(panel.right_cm, 0)[0] - paper.spot(panel.left_cm, 0)[0])
        long_mm = text_width_em(panel.panel, bold=True) * _NAME_PT * _MM_A_POINT
        # Small enough that names side by side keep apart, or else on two lines by turns.
        size_pt = _NAME_PT * min(1.0, (room_mm - _NAME_GAP_MM) / long_mm)
        if size_pt < _LEAST_NAME_PT:
            size_pt = _LEAST_NAME_PT
            y_mm += inward * _NAME_LINE_MM * (panel.panel_no % 2 == 0)
        labels.append(
            Label(x=paper.spot(middle, 0)[0], y=y_mm, text=panel.panel, size_pt=size_pt, bold=True)
        )
    (left, high), (right, low) = first.cut
    fifth = first.guide_lines[len(first.guide_lines) // 2]
    aside = -3.0 if guide.direction == "down" else 3.4
    spots = {
        "A": (left + 0.3 * (right - left), high + 0.3 * (low - high), aside),
        "B": (left + 0.35 * (right - left), fifth[0][1] + 0.35 * (fifth[1][1] - fifth[0][1]), 0.0),
    }
    for letter, (x_cm, y_cm, aside_mm) in spots.items():
        x, y = paper.spot(x_cm, y_cm)
        labels.append(Label(x=x, y=y + aside_mm, text=letter, size_pt=10.0, bold=True))
    gutter = paper.spot(first.gutter[1][0], (first.gutter[0][1] + first.gutter[2][1]) / 2)
    cup = paper.spot(first.cup[0] + _CUP_RADIUS_CM, first.cup[1])
    for letter, (x, y) in (("C", gutter), ("D", cup)):
        labels.append(Label(x=x + 1.0, y=y, text=letter, size_pt=10.0, bold=True, anchor="start"))
    return labels


def standing_tree(guide: MarkingGuide, *, width_mm: float, height_mm: float) -> Drawing:
    """Draw the standing tree from the first panel's side: panels, cut, gutter and cup in place.

    Parameters
    ----------
    guide
        The marking guide of one tree.
    width_mm, height_mm
        The room there is, millimetres, 15 or more by 30 or more.

    Returns
    -------
    Drawing
        Its notes hold ``scale``.
    """
    side = guide.side
    top = guide.highest_cm + 4 * _ABOVE_TOP_CM
    scale = round_scale(
        wide_m=side.diameter_cm / 100,
        high_m=top / 100,
        width_mm=width_mm - _HEIGHTS_MM - 1.0,
        height_mm=height_mm - 2.0,
    )
    radius = side.diameter_cm / 2
    middle_mm = _HEIGHTS_MM + radius * 10 / scale
    ground_mm = height_mm - 1.0
    paper = _Paper(scale=scale, left_mm=middle_mm, top_cm=0.0, foot_mm=ground_mm)
    stem = [(-radius, top), (-radius, 0.0), (radius, 0.0), (radius, top)]
    outlines = [paper.line(line) for line in side.outlines]
    shapes: list[Shape] = [
        Area(rings=[paper.line(stem)], fill=BARK_GREY, name="stem"),
        Stroke(lines=[paper.line(stem[:2]), paper.line(stem[2:])], width_mm=0.4, ink=INK),
        Stroke(
            lines=[[(_HEIGHTS_MM - 3.0, ground_mm), (width_mm - 0.2, ground_mm)]],
            width_mm=0.6,
            ink=INK,
            name="ground",
        ),
        Area(rings=[line for line in outlines if len(line) > 2], fill=PALE),
        Stroke(lines=outlines, width_mm=0.15, ink=LINE_GREY),
        Stroke(lines=[paper.line(line) for line in side.cuts[:1]], width_mm=0.8, ink=INK),
        Area(rings=[paper.line(line) for line in side.gutters[:1]], fill=LINE_GREY),
        Disc(
            centres=[paper.spot(x, y) for x, y in side.cups[:1]],
            radius_mm=_CUP_RADIUS_CM * 10 / scale,
            fill=PALE,
            ink=INK,
            width_mm=0.3,
        ),
    ]
    ticks, labels = _heights(0.0, top, paper)
    left = _HEIGHTS_MM
    moved = [[(left - 1.6, line[0][1]), (left, line[0][1])] for line in ticks.lines]
    return Drawing(
        width_mm=width_mm,
        height_mm=height_mm,
        shapes=[*shapes, Stroke(lines=moved, width_mm=0.25, ink=INK, name="heights")],
        labels=[replace(label, x=left - 2.2) for label in labels],
        notes={"scale": scale},
    )
