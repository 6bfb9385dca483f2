"""Marking practice: the figures by which a tree is marked, as one range-checked setting."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from pathlib import Path
from typing import Self

from estate.figures import load_figures
from estate.standards import OpeningStandard
from layers.contract import MATERIALS
from layers.errors import SettingError

_FIGURES = {
    "panel_gap_cm": ("panel_gap", 0.0, 10.0),
    "stacked_gap_cm": ("stacked_panel_gap", 0.0, 60.0),
    "mark_each_side_cm": ("mark_each_side", 0.0, 5.0),
    "downward_deg": ("downward_slope", 10.0, 60.0),
    "upward_deg": ("upward_slope", 10.0, 60.0),
    "opening_height_cm": ("opening_height", 50.0, 200.0),
    "taper_budded_cm_m": ("taper_budded", 0.0, 30.0),
    "taper_seedling_cm_m": ("taper_seedling", 0.0, 30.0),
    "lowest_cm": ("lowest_cut", 0.0, 60.0),
    "high_top_cm": ("high_panel_top", 200.0, 500.0),
    "young_panels": ("young_panels", 1.0, 4.0),
    "mature_panels_least": ("mature_panels_least", 2.0, 8.0),
    "mature_panels_most": ("mature_panels_most", 2.0, 8.0),
    "high_tiers": ("high_panel_tiers", 1.0, 4.0),
    "first_cut_shortest_cm": ("first_cut_shortest", 5.0, 60.0),
    "first_cut_longest_cm": ("first_cut_longest", 5.0, 80.0),
    "guide_spacing_cm": ("guide_line_spacing", 0.2, 10.0),
    "guide_lines": ("guide_lines_a_year", 2.0, 60.0),
    "gutter_width_cm": ("gutter_width", 0.5, 10.0),
    "gutter_length_cm": ("gutter_length", 2.0, 20.0),
    "cup_below_cm": ("cup_below_gutter", 2.0, 60.0),
    "bark_thinnest_mm": ("bark_thinnest", 2.0, 15.0),
    "bark_thickest_mm": ("bark_thickest", 2.0, 20.0),
    "cut_depth_least_mm": ("cut_depth_least", 1.0, 15.0),
    "cut_depth_most_mm": ("cut_depth_most", 1.0, 15.0),
    "bark_left_mm": ("bark_left_on_cambium", 0.1, 5.0),
}
_COUNTS = ("young_panels", "mature_panels_least", "mature_panels_most", "high_tiers", "guide_lines")


@dataclass(frozen=True, kw_only=True)
class MarkingPractice:
    """How trees are marked; made from ``estate/data/marking.toml`` by :meth:`load`.

    Parameters
    ----------
    panel_gap_cm
        Bark left between neighbouring panels, cm.
    stacked_gap_cm
        Bark left between panels one above another, cm.
    mark_each_side_cm
        How far each side of a cord's ends and folds the tree is marked, cm; half the panel gap.
    downward_deg, upward_deg
        Slope of the cut to the level, degrees.
    opening_height_cm
        Height of the low right end of the first downward cut above the ground, cm.
    taper_budded_cm_m, taper_seedling_cm_m
        Girth lost for each metre up the trunk, cm.
    lowest_cm
        Height at which the low right end of a downward cut stops, cm.
    high_top_cm
        Height that no part of a high panel passes, cm.
    young_panels, mature_panels_least, mature_panels_most
        Panels round a tree tapped downward, and least and most round a mature one.
    high_tiers
        Rings of high panels one above another.
    first_cut_shortest_cm, first_cut_longest_cm
        Lengths of a first cut that the template serves, cm.
    guide_spacing_cm, guide_lines
        Distance between guide lines down the trunk, cm, and lines a year.
    gutter_width_cm, gutter_length_cm, cup_below_cm
        The gutter's size and how far below it the cup hangs, cm.
    bark_thinnest_mm, bark_thickest_mm
        Bark that holds the latex vessels, mm.
    cut_depth_least_mm, cut_depth_most_mm, bark_left_mm
        Depth of the cut and the bark left on the cambium, mm.

    Raises
    ------
    SettingError
        A figure is out of its range, a count isn't whole, or two figures disagree.
    """

    panel_gap_cm: float
    stacked_gap_cm: float
    mark_each_side_cm: float
    downward_deg: float
    upward_deg: float
    opening_height_cm: float
    taper_budded_cm_m: float
    taper_seedling_cm_m: float
    lowest_cm: float
    high_top_cm: float
    young_panels: int
    mature_panels_least: int
    mature_panels_most: int
    high_tiers: int
    first_cut_shortest_cm: float
    first_cut_longest_cm: float
    guide_spacing_cm: float
    guide_lines: int
    gutter_width_cm: float
    gutter_length_cm: float
    cup_below_cm: float
    bark_thinnest_mm: float
    bark_thickest_mm: float
    cut_depth_least_mm: float
    cut_depth_most_mm: float
    bark_left_mm: float

    def __post_init__(self) -> None:
        for name, (figure, low, high) in _FIGURES.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise _wrong(figure, f"{value:g}", f"{low:g} to {high:g}")
            if name in _COUNTS and value != int(value):
                raise _wrong(figure, f"{value:g}", "a whole number")
        for less, more in (
            ("mature_panels_least", "mature_panels_most"),
            ("first_cut_shortest_cm", "first_cut_longest_cm"),
            ("cut_depth_least_mm", "cut_depth_most_mm"),
            ("bark_thinnest_mm", "bark_thickest_mm"),
            ("lowest_cm", "opening_height_cm"),
        ):
            if getattr(self, less) > getattr(self, more):
                raise _wrong(
                    _FIGURES[less][0],
                    f"{getattr(self, less):g}",
                    f"at most {_FIGURES[more][0]}, {getattr(self, more):g}",
                )
        if abs(2 * self.mark_each_side_cm - self.panel_gap_cm) > 1e-9:
            raise _wrong(
                "mark_each_side",
                f"{self.mark_each_side_cm:g} cm",
                f"half of panel_gap, {self.panel_gap_cm / 2:g} cm",
            )

    @classmethod
    def load(cls, *, own: Path | None = None) -> Self:
        """Give common practice, with the user's own figures in place of ours where given.

        Examples
        --------
        >>> MarkingPractice.load().panel_gap_cm
        2.0
        """
        figures = load_figures("marking", own=own)
        values = {field.name: figures[_FIGURES[field.name][0]].value for field in fields(cls)}
        counts = {name: int(values[name]) for name in _COUNTS if values[name] == int(values[name])}
        return cls(**(values | counts))  # type: ignore[arg-type]

    def taper_cm_m(self, material: str) -> float:
        """Girth that a trunk of a material loses for each metre up, cm.

        Raises
        ------
        SettingError
            The material is neither budded nor seedling.
        """
        if material not in MATERIALS:
            raise SettingError.at(
                file="marking",
                layer="blocks",
                row="material",
                found=material,
                expected=" or ".join(MATERIALS),
                remedy="Mend the block's material.",
            )
        return self.taper_budded_cm_m if material == "budded" else self.taper_seedling_cm_m

    def under(self, standard: OpeningStandard) -> MarkingPractice:
        """Give this practice with the standard's slopes and opening height where it names them.

        Examples
        --------
        >>> from estate.standards import standard_named
        >>> MarkingPractice.load().under(standard_named("viet-nam")).downward_deg
        34.0
        """
        named = {
            "downward_deg": standard.downward_deg,
            "upward_deg": standard.upward_deg,
            "opening_height_cm": standard.opening_height_cm,
        }
        return replace(self, **{name: value for name, value in named.items() if value is not None})  # type: ignore[arg-type]


def _wrong(figure: str, found: str, expected: str) -> SettingError:
    return SettingError.at(
        file="marking.toml",
        layer="marking",
        row=figure,
        found=found,
        expected=expected,
        remedy="Mend the figure in your figures file.",
    )
