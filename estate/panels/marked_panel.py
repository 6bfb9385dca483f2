"""Panels of one tree on its unrolled trunk: cuts, guide lines, outlines and fittings."""

from __future__ import annotations

from dataclasses import dataclass, replace

from estate.panels.cord import CordMarks, cord_marks
from estate.panels.marking import cut_drop, panel_width
from estate.panels.practice import MarkingPractice

Point = tuple[float, float]
Segment = tuple[Point, Point]


@dataclass(frozen=True, kw_only=True)
class MarkedPanel:
    """One panel on the unrolled trunk: x to the right along the girth, y up, cm.

    Parameters
    ----------
    panel_no, panel, direction, tier
        As in the frame of :func:`estate.panels.layout.lay_panels`.
    left_cm, right_cm
        Edges along the girth.
    cut
        The first cut, high left end first.
    guide_lines
        The lines of one year in the order they are reached, the first cut among them.
    outline
        The bark the panel may use in its life: four corners, from the top left rightward.
    year_outline
        The bark between the first and last guide line.
    gutter
        Corners of the gutter as it stands under the cut's low end.
    cup
        Middle of the cup's ring.
    face_deg
        Azimuth that the panel's middle faces.
    """

    panel_no: int
    panel: str
    direction: str
    tier: int
    left_cm: float
    right_cm: float
    cut: Segment
    guide_lines: tuple[Segment, ...]
    outline: tuple[Point, ...]
    year_outline: tuple[Point, ...]
    gutter: tuple[Point, ...]
    cup: Point
    face_deg: float


@dataclass(frozen=True, kw_only=True)
class Trunk:
    """One tree to mark, its girth carried to the first cut and its cord folded.

    Parameters
    ----------
    girth_cm, taped_girth_cm, taped_at_cm
        Girth at the first cut, as it was taped, and at which height.
    bark_mm
        Bark; None where it wasn't measured.
    direction, floor_cm, slope_deg
        Of the first cut: ``down`` or ``up``, height of its low right end, slope.
    cord
        Folded by the number of panels.
    first_face_deg
        Azimuth that the first panel faces.
    """

    girth_cm: float
    taped_girth_cm: float
    taped_at_cm: float
    bark_mm: float | None
    direction: str
    floor_cm: float
    slope_deg: float
    cord: CordMarks
    first_face_deg: float


def base_panels(trunk: Trunk, practice: MarkingPractice) -> tuple[MarkedPanel, ...]:
    """Give the base panels as they are on a trunk of this girth."""
    count = practice.young_panels
    width = panel_width(trunk.girth_cm, count, gap_cm=practice.panel_gap_cm)
    base = replace(
        trunk,
        direction="down",
        floor_cm=practice.opening_height_cm,
        cord=cord_marks(trunk.girth_cm, count, each_side_cm=practice.mark_each_side_cm),
    )
    reach = practice.opening_height_cm - practice.lowest_cm
    return marked_panels(base, float(cut_drop(width, practice.downward_deg)), reach, practice)


def marked_panels(
    trunk: Trunk, drop_cm: float, reach_cm: float, practice: MarkingPractice
) -> tuple[MarkedPanel, ...]:
    """Give every panel of a trunk, its tiers from below.

    Parameters
    ----------
    trunk
        The tree.
    drop_cm, reach_cm
        Drop of the cut, and bark that each tier offers, cm.
    practice
        Gaps, guide lines and fittings.
    """
    tiers = 1 if trunk.direction == "down" else practice.high_tiers
    rise = reach_cm + practice.stacked_gap_cm
    return tuple(
        _marked_panel(trunk, tier, place, trunk.floor_cm + tier * rise, drop_cm, reach_cm, practice)
        for tier in range(tiers)
        for place in range(trunk.cord.panel_count)
    )


def _marked_panel(
    trunk: Trunk,
    tier: int,
    place: int,
    foot_cm: float,
    drop_cm: float,
    reach_cm: float,
    practice: MarkingPractice,
) -> MarkedPanel:
    count = trunk.cord.panel_count
    left, right = trunk.cord.edges_cm[place]
    sign, letters = (-1.0, "BO-") if trunk.direction == "down" else (1.0, "HO-")
    lines = tuple(
        _line(left, right, foot_cm + sign * step * practice.guide_spacing_cm, drop_cm)
        for step in range(practice.guide_lines)
        if step * practice.guide_spacing_cm <= reach_cm
    )
    number = tier * count + place + 1
    return MarkedPanel(
        panel_no=number,
        panel=f"{letters}{number}",
        direction=trunk.direction,
        tier=tier + 1,
        left_cm=left,
        right_cm=right,
        cut=lines[0],
        guide_lines=lines,
        outline=_between(lines[0], _line(left, right, foot_cm + sign * reach_cm, drop_cm)),
        year_outline=_between(lines[0], lines[-1]),
        gutter=_gutter(right, foot_cm, practice),
        cup=(right, foot_cm - practice.cup_below_cm),
        face_deg=(trunk.first_face_deg - place * 360.0 / count) % 360.0,
    )


def _line(left: float, right: float, foot: float, drop: float) -> Segment:
    return ((left, foot + drop), (right, foot))


def _between(one: Segment, other: Segment) -> tuple[Point, ...]:
    upper, lower = (one, other) if one[0][1] >= other[0][1] else (other, one)
    return (upper[0], upper[1], lower[1], lower[0])


def _gutter(right_cm: float, foot_cm: float, practice: MarkingPractice) -> tuple[Point, ...]:
    """Give the gutter hanging down from the cut's low end, its middle on the front line."""
    half, length = practice.gutter_width_cm / 2, practice.gutter_length_cm
    return (
        (right_cm - half, foot_cm),
        (right_cm + half, foot_cm),
        (right_cm + half, foot_cm - length),
        (right_cm - half, foot_cm - length),
    )
