"""The marking guide of one tree: every mark, line and fitting, in coordinates ready to draw."""

from __future__ import annotations

import math
from dataclasses import dataclass

from estate.panels.cord import CordMarks, cord_marks
from estate.panels.marked_panel import MarkedPanel, Point, Trunk, base_panels, marked_panels
from estate.panels.marking import (
    bark_limit_mm,
    cut_depth,
    cut_drop,
    cut_length,
    girth_at,
    high_floor,
    high_reach,
    mature_panel_count,
    panel_width,
    template_fit,
    unmeasured_depth,
)
from estate.panels.practice import MarkingPractice
from estate.panels.side_view import SideView, side_view
from estate.standards import OpeningStandard, standard_named
from layers.errors import SettingError


@dataclass(frozen=True, kw_only=True)
class MarkingGuide:
    """What a tapper marks on a tree of one girth, and what a drawing of it needs.

    Parameters
    ----------
    girth_cm
        Girth at the first cut, where the cord is laid.
    taped_girth_cm, taped_at_cm
        Girth as it was taped, and at which height.
    bark_mm
        Bark; None where it wasn't measured.
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
    taped_girth_cm: float
    taped_at_cm: float
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
    material: str | None = None,
    taped_at_cm: float | None = None,
    panels: int | None = None,
    bark_mm: float | None = None,
    first_face_deg: float = 0.0,
    practice: MarkingPractice | None = None,
) -> MarkingGuide:
    """Give everything that marking one tree takes, with its drawing's coordinates.

    Parameters
    ----------
    girth_cm
        Girth as it was taped, cm.
    standard
        The opening standard; common practice where None.
    direction
        ``down`` for base panels, ``up`` for high panels.
    material
        ``budded`` or ``seedling``, for the trunk's taper; where None the girth is taken as that
        at the first cut.
    taped_at_cm
        Height at which the girth was taped; the standard's for the material where None.
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
    floor = used.opening_height_cm if direction == "down" else high_floor(rule, used)
    girth, taped_at = girth_cm, floor if taped_at_cm is None else taped_at_cm
    if material is not None:
        taper = used.taper_cm_m(material)
        taped_at = rule.height_cm[material] if taped_at_cm is None else taped_at_cm
        girth = float(girth_at(girth_cm, taped_at, floor, taper))
    count = _count(girth, direction, panels, used)
    trunk = Trunk(
        girth_cm=girth,
        taped_girth_cm=girth_cm,
        taped_at_cm=taped_at,
        bark_mm=bark_mm,
        direction=direction,
        floor_cm=floor,
        slope_deg=used.downward_deg if direction == "down" else used.upward_deg,
        cord=cord_marks(girth, count, each_side_cm=used.mark_each_side_cm),
        first_face_deg=first_face_deg,
    )
    return _guide_of(trunk, rule, used)


def _guide_of(trunk: Trunk, rule: OpeningStandard, used: MarkingPractice) -> MarkingGuide:
    count = trunk.cord.panel_count
    width = float(panel_width(trunk.girth_cm, count, gap_cm=used.panel_gap_cm))
    drop = float(cut_drop(width, trunk.slope_deg))
    length = float(cut_length(width, trunk.slope_deg))
    reach = _reach(trunk.direction, trunk.floor_cm, drop, used)
    marked = marked_panels(trunk, drop, reach, used)
    heights = [y for panel in marked for _, y in panel.outline]
    top = max(heights)
    least_bark = bark_limit_mm(rule, used)
    return MarkingGuide(
        girth_cm=trunk.girth_cm,
        taped_girth_cm=trunk.taped_girth_cm,
        taped_at_cm=trunk.taped_at_cm,
        bark_mm=trunk.bark_mm,
        standard=rule.name,
        direction=trunk.direction,
        panel_count=count,
        panel_width_cm=width,
        gap_cm=used.panel_gap_cm,
        slope_deg=trunk.slope_deg,
        cut_length_cm=length,
        drop_cm=drop,
        template_fit=str(template_fit(length, used)),
        template_shortest_cm=used.first_cut_shortest_cm,
        template_longest_cm=used.first_cut_longest_cm,
        opening_height_cm=trunk.floor_cm,
        high_left_cm=trunk.floor_cm + drop,
        lowest_cm=min(heights),
        highest_cm=top,
        guide_spacing_cm=used.guide_spacing_cm,
        gutter_width_cm=used.gutter_width_cm,
        gutter_length_cm=used.gutter_length_cm,
        cup_below_cm=used.cup_below_cm,
        depth_least_mm=used.cut_depth_least_mm,
        depth_limit_mm=(
            unmeasured_depth(rule, used)
            if trunk.bark_mm is None
            else cut_depth(trunk.bark_mm, rule, used)
        ),
        bark_left_mm=used.bark_left_mm,
        bark_least_mm=least_bark,
        cord=trunk.cord,
        panels=marked,
        below=base_panels(trunk, used) if trunk.direction == "up" else (),
        trunk=((0.0, top), (trunk.girth_cm, top), (trunk.girth_cm, 0.0), (0.0, 0.0)),
        side=side_view(trunk.girth_cm, marked),
        findings=(*_girth_findings(trunk), *_findings(length, trunk.bark_mm, rule, used)),
    )


def _check(girth_cm: float, direction: str) -> None:
    if not (math.isfinite(girth_cm) and girth_cm > 0):
        raise SettingError.at(
            file="marking",
            layer="girth",
            found=f"girth {girth_cm} cm",
            expected="a girth above 0 cm",
            remedy="Measure the girth again.",
        )
    if direction not in ("down", "up"):
        raise SettingError.at(
            file="marking",
            layer="panels",
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
            file="marking",
            layer="panels",
            found=f"{practice.high_tiers} tiers of high panels from {floor_cm:.0f} cm",
            expected=f"room for them under {practice.high_top_cm:g} cm",
            remedy="Set fewer tiers, or a higher top.",
        )
    return reach


def _girth_findings(trunk: Trunk) -> tuple[str, ...]:
    if abs(trunk.taped_girth_cm - trunk.girth_cm) < 0.05:
        return ()
    return (
        f"Girth {trunk.taped_girth_cm:.1f} cm at {trunk.taped_at_cm:.0f} cm is about "
        f"{trunk.girth_cm:.1f} cm at {trunk.floor_cm:.0f} cm, where the cut begins: lay the cord "
        "there, and mark by what it says.",
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
