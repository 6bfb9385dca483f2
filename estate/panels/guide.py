"""The marking guide of one tree: every mark, line and fitting, in coordinates ready to draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

from estate.panels.cord import CordMarks, cord_marks
from estate.panels.marking import (
    ThinBarkError,
    bark_limit_mm,
    cut_depth,
    cut_drop,
    cut_length,
    high_floor,
    high_reach,
    mature_panel_count,
    panel_width,
    template_fit,
)
from estate.panels.practice import MarkingPractice
from estate.panels.side_view import SideView, side_view
from estate.standards import OpeningStandard, standard_named
from layers.errors import SettingError

__all__ = ["MarkedPanel", "MarkingGuide", "Point", "Segment", "ThinBarkError", "marking_guide"]

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
class MarkingGuide:
    """What a tapper marks on a tree of one girth, and what a drawing of it needs.

    Parameters
    ----------
    girth_cm, bark_mm
        Of the tree; `bark_mm` is None where it wasn't measured.
    standard, direction
        The opening standard's name; ``down`` or ``up``.
    panel_count, panel_width_cm, gap_cm, slope_deg, cut_length_cm, drop_cm
        Shape of the panels and the cut.
    template_fit
        ``fits``, ``shorter`` or ``longer`` than the first cut that the template serves.
    template_shortest_cm, template_longest_cm
        That range.
    opening_height_cm
        Height of the low right end of the first cut.
    high_left_cm
        Height of its high left end.
    lowest_cm, highest_cm
        Bounds of all cuts of the panels drawn.
    guide_spacing_cm
        Between guide lines, down or up the trunk.
    gutter_width_cm, gutter_length_cm, cup_below_cm
        Fittings at the foot of the cut.
    depth_least_mm, depth_limit_mm, bark_left_mm, bark_least_mm
        How deep to cut, what stays on the cambium, the least bark that may be marked. Where bark
        wasn't measured the limit holds for the thinnest bark that may be marked.
    cord
        The folded cord and its marks.
    panels
        Each panel on the unrolled trunk, whose width is `girth_cm`.
    below
        Base panels under high ones, as they are on a tree of this girth; empty for ``down``.
    trunk
        Corners of the unrolled trunk.
    side
        The standing tree seen from the first panel's side.
    findings
        What the marker should know: sentences.
    """

    girth_cm: float
    bark_mm: float | None
    standard: str
    direction: str
    panel_count: int
    panel_width_cm: float
    gap_cm: float
    slope_deg: float
    cut_length_cm: float
    drop_cm: float
    template_fit: str
    template_shortest_cm: float
    template_longest_cm: float
    opening_height_cm: float
    high_left_cm: float
    lowest_cm: float
    highest_cm: float
    guide_spacing_cm: float
    gutter_width_cm: float
    gutter_length_cm: float
    cup_below_cm: float
    depth_least_mm: float
    depth_limit_mm: float
    bark_left_mm: float
    bark_least_mm: float
    cord: CordMarks
    panels: tuple[MarkedPanel, ...]
    below: tuple[MarkedPanel, ...]
    trunk: tuple[Point, ...]
    side: SideView
    findings: tuple[str, ...]


def marking_guide(
    girth_cm: float,
    *,
    standard: OpeningStandard | None = None,
    direction: str = "down",
    panels: int | None = None,
    bark_mm: float | None = None,
    first_face_deg: float = 0.0,
    practice: MarkingPractice | None = None,
) -> MarkingGuide:
    """Give everything that marking one tree takes, with its drawing's coordinates.

    Parameters
    ----------
    girth_cm
        Girth where the panels stand, cm; the trunk is taken as a cylinder.
    standard
        The opening standard; common practice where None.
    direction
        ``down`` for base panels, ``up`` for high panels.
    panels
        Panels round the tree; by direction and girth where None.
    bark_mm
        Measured bark, mm; None where it wasn't measured.
    first_face_deg
        Azimuth that the first panel faces.
    practice
        How trees are marked; common practice where None.

    Raises
    ------
    ThinBarkError
        `bark_mm` is under the standard's least.
    SettingError
        The girth isn't above zero, the panels don't fit it, the direction is unknown, or no high
        panel has room.

    Examples
    --------
    >>> guide = marking_guide(45.0)
    >>> guide.panel_count, guide.panel_width_cm, round(guide.cut_length_cm, 1)
    (2, 20.5, 23.7)
    >>> guide.cord.marks_cm
    (1.0, 21.5, 23.5, 44.0)
    """
    rule = standard_named("common-practice") if standard is None else standard
    used = (MarkingPractice.load() if practice is None else practice).under(rule)
    _check(girth_cm, direction)
    count = _count(girth_cm, direction, panels, used)
    cord = cord_marks(girth_cm, count, each_side_cm=used.mark_each_side_cm)
    slope = used.downward_deg if direction == "down" else used.upward_deg
    width = float(panel_width(girth_cm, count, gap_cm=used.panel_gap_cm))
    drop = float(cut_drop(width, slope))
    length = float(cut_length(width, slope))
    floor = used.opening_height_cm if direction == "down" else high_floor(rule, used)
    reach = _reach(direction, floor, drop, used)
    least_bark = bark_limit_mm(rule, used)
    marked = _marked_panels(
        cord, direction, drop, floor, reach, used=used, first_face_deg=first_face_deg
    )
    heights = [y for panel in marked for _, y in panel.outline]
    return MarkingGuide(
        girth_cm=girth_cm,
        bark_mm=bark_mm,
        standard=rule.name,
        direction=direction,
        panel_count=count,
        panel_width_cm=width,
        gap_cm=used.panel_gap_cm,
        slope_deg=slope,
        cut_length_cm=length,
        drop_cm=drop,
        template_fit=str(template_fit(length, used)),
        template_shortest_cm=used.first_cut_shortest_cm,
        template_longest_cm=used.first_cut_longest_cm,
        opening_height_cm=floor,
        high_left_cm=floor + drop,
        lowest_cm=min(heights),
        highest_cm=max(heights),
        guide_spacing_cm=used.guide_spacing_cm,
        gutter_width_cm=used.gutter_width_cm,
        gutter_length_cm=used.gutter_length_cm,
        cup_below_cm=used.cup_below_cm,
        depth_least_mm=used.cut_depth_least_mm,
        depth_limit_mm=cut_depth(least_bark if bark_mm is None else bark_mm, rule, used),
        bark_left_mm=used.bark_left_mm,
        bark_least_mm=least_bark,
        cord=cord,
        panels=marked,
        below=_base_panels(girth_cm, first_face_deg, used) if direction == "up" else (),
        trunk=((0.0, max(heights)), (girth_cm, max(heights)), (girth_cm, 0.0), (0.0, 0.0)),
        side=side_view(girth_cm, marked),
        findings=_findings(length, bark_mm, rule, used),
    )


def _check(girth_cm: float, direction: str) -> None:
    if not (math.isfinite(girth_cm) and girth_cm > 0):
        raise SettingError.at(
            layer="girth",
            found=f"girth {girth_cm} cm",
            expected="a girth above 0 cm",
            remedy="Measure the girth again.",
        )
    if direction not in ("down", "up"):
        raise SettingError.at(
            found=f"direction {direction}",
            expected="down or up",
            remedy="Write down for base panels, up for high panels.",
        )


def _count(girth_cm: float, direction: str, panels: int | None, practice: MarkingPractice) -> int:
    if panels is not None:
        return panels
    if direction == "down":
        return practice.young_panels
    return int(mature_panel_count(girth_cm, practice)[0])


def _reach(direction: str, floor_cm: float, drop_cm: float, practice: MarkingPractice) -> float:
    if direction == "down":
        return practice.opening_height_cm - practice.lowest_cm
    reach = float(high_reach(floor_cm, drop_cm, practice))
    if reach <= 0:
        raise SettingError.at(
            found=f"{practice.high_tiers} tiers of high panels from {floor_cm:.0f} cm",
            expected=f"room for them under {practice.high_top_cm:g} cm",
            remedy="Set fewer tiers, or a higher top.",
        )
    return reach


def _base_panels(
    girth_cm: float, first_face_deg: float, practice: MarkingPractice
) -> tuple[MarkedPanel, ...]:
    count = practice.young_panels
    width = panel_width(girth_cm, count, gap_cm=practice.panel_gap_cm)
    return _marked_panels(
        cord_marks(girth_cm, count, each_side_cm=practice.mark_each_side_cm),
        "down",
        float(cut_drop(width, practice.downward_deg)),
        practice.opening_height_cm,
        practice.opening_height_cm - practice.lowest_cm,
        used=practice,
        first_face_deg=first_face_deg,
    )


def _marked_panels(
    cord: CordMarks,
    direction: str,
    drop_cm: float,
    floor_cm: float,
    reach_cm: float,
    *,
    used: MarkingPractice,
    first_face_deg: float,
) -> tuple[MarkedPanel, ...]:
    tiers = 1 if direction == "down" else used.high_tiers
    sign = -1.0 if direction == "down" else 1.0
    marked = []
    for tier in range(tiers):
        foot = floor_cm + tier * (reach_cm + used.stacked_gap_cm)
        for place, (left, right) in enumerate(cord.edges_cm):
            number = tier * cord.panel_count + place + 1
            lines = tuple(
                _line(left, right, foot + sign * step * used.guide_spacing_cm, drop_cm)
                for step in range(used.guide_lines)
                if step * used.guide_spacing_cm <= reach_cm
            )
            last = _line(left, right, foot + sign * reach_cm, drop_cm)
            marked.append(
                MarkedPanel(
                    panel_no=number,
                    panel=("BO-" if direction == "down" else "HO-") + str(number),
                    direction=direction,
                    tier=tier + 1,
                    left_cm=left,
                    right_cm=right,
                    cut=lines[0],
                    guide_lines=lines,
                    outline=_between(lines[0], last),
                    year_outline=_between(lines[0], lines[-1]),
                    gutter=_gutter(right, foot, used),
                    cup=(right, foot - used.cup_below_cm),
                    face_deg=(first_face_deg - place * 360.0 / cord.panel_count) % 360.0,
                )
            )
    return tuple(marked)


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


def _findings(
    length_cm: float,
    bark_mm: float | None,
    standard: OpeningStandard,
    practice: MarkingPractice,
) -> tuple[str, ...]:
    found = []
    fit = str(template_fit(length_cm, practice))
    if fit != "fits":
        found.append(
            f"The cut is {length_cm:.1f} cm long, {fit} than the "
            f"{practice.first_cut_shortest_cm:g} to {practice.first_cut_longest_cm:g} cm that "
            "the template serves: mark it with a flexible rule, or mark another number of panels."
        )
    if bark_mm is None:
        found.append(
            f"Bark wasn't measured: prove it is {bark_limit_mm(standard, practice):g} mm or more "
            "before the first cut."
        )
    elif bark_mm - practice.bark_left_mm < practice.cut_depth_least_mm:
        found.append(
            f"Bark of {bark_mm:g} mm allows a cut of {bark_mm - practice.bark_left_mm:g} mm, "
            f"less than the usual {practice.cut_depth_least_mm:g} mm: cut shallow."
        )
    return tuple(found)
