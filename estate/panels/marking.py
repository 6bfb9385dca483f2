"""Marking arithmetic: widths, lengths, drops and depths on a trunk taken as a cylinder."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard
from layers.errors import SettingError

Floats = NDArray[np.float64]


class ThinBarkError(SettingError):
    """The bark is thinner than the standard asks: the tree isn't marked."""


def girth_at(
    girth_cm: ArrayLike, taped_at_cm: ArrayLike, height_cm: ArrayLike, taper_cm_m: ArrayLike
) -> Floats:
    """Girth at another height of the trunk, cm.

    Parameters
    ----------
    girth_cm, taped_at_cm
        Girth, and the height at which it was taped, cm.
    height_cm
        Height at which it is wanted, cm.
    taper_cm_m
        Girth lost for each metre up, cm.

    Examples
    --------
    >>> float(girth_at(55, 50, 90, 12.5))
    50.0
    """
    rise_m = (np.asarray(height_cm, dtype=float) - np.asarray(taped_at_cm, dtype=float)) / 100.0
    return np.asarray(girth_cm, dtype=float) - rise_m * np.asarray(taper_cm_m, dtype=float)


def panel_width(girth_cm: ArrayLike, panels: ArrayLike, *, gap_cm: float) -> Floats:
    """Width of one panel along the girth, cm.

    Parameters
    ----------
    girth_cm
        Girth, cm, above 0.
    panels
        Panels round the tree, 1 or more.
    gap_cm
        Bark left between neighbours, cm.

    Examples
    --------
    >>> float(panel_width(45, 2, gap_cm=2))
    20.5
    """
    return np.asarray(girth_cm, dtype=float) / np.asarray(panels, dtype=float) - gap_cm


def cut_length(width_cm: ArrayLike, slope_deg: ArrayLike) -> Floats:
    """Length of a sloping cut across a panel, cm: the unrolled cut is a straight line.

    Examples
    --------
    >>> round(float(cut_length(20.5, 30)), 2)
    23.67
    """
    return np.asarray(width_cm, dtype=float) / np.cos(np.radians(slope_deg))


def cut_drop(width_cm: ArrayLike, slope_deg: ArrayLike) -> Floats:
    """How far the low right end of a cut lies under its high left end, cm.

    Examples
    --------
    >>> round(float(cut_drop(20.5, 30)), 2)
    11.84
    """
    return np.asarray(width_cm, dtype=float) * np.tan(np.radians(slope_deg))


def mature_panel_count(girth_cm: ArrayLike, practice: MarkingPractice) -> NDArray[np.int64]:
    """Panels round a mature tree: the count whose upward cut lies nearest the template's middle.

    Parameters
    ----------
    girth_cm
        Shape (n,), cm.
    practice
        Counts allowed, slope, gap and template.

    Returns
    -------
    ndarray
        Shape (n,), whole; the smaller count where two are equally near.

    Examples
    --------
    >>> mature_panel_count([60.0, 80.0, 100.0], MarkingPractice.load())
    array([3, 4, 5])
    """
    girth = np.atleast_1d(np.asarray(girth_cm, dtype=float))
    counts = np.arange(practice.mature_panels_least, practice.mature_panels_most + 1)
    middle = (practice.first_cut_shortest_cm + practice.first_cut_longest_cm) / 2
    widths = panel_width(girth[:, None], counts[None, :], gap_cm=practice.panel_gap_cm)
    return counts[np.argmin(np.abs(cut_length(widths, practice.upward_deg) - middle), axis=1)]


def template_fit(length_cm: ArrayLike, practice: MarkingPractice) -> NDArray[np.str_]:
    """Whether the template serves a first cut: ``fits``, ``shorter`` or ``longer``.

    Examples
    --------
    >>> template_fit([19.0, 25.0, 31.0], MarkingPractice.load()).tolist()
    ['shorter', 'fits', 'longer']
    """
    length = np.asarray(length_cm, dtype=float)
    return np.select(
        [length < practice.first_cut_shortest_cm, length > practice.first_cut_longest_cm],
        ["shorter", "longer"],
        "fits",
    )


def bark_limit_mm(standard: OpeningStandard, practice: MarkingPractice) -> float:
    """Least bark, mm, at which a tree is marked: the standard's, or marking's where it has none."""
    return practice.bark_thinnest_mm if standard.bark_mm is None else standard.bark_mm


def cut_depth(bark_mm: float, standard: OpeningStandard, practice: MarkingPractice) -> float:
    """Deepest cut, mm, that leaves the bark that guards the cambium.

    Parameters
    ----------
    bark_mm
        Thickness of the bark, mm.
    standard, practice
        The least bark at which a tree may be cut; the depth and the bark left.

    Raises
    ------
    ThinBarkError
        The bark is thinner than the standard asks.

    References
    ----------
    ICAR e-course on rubber (IASRI): best within 1 mm of the cambium; thicker shaving adds nothing.

    Examples
    --------
    >>> from estate.standards import standard_named
    >>> cut_depth(7.5, standard_named("common-practice"), MarkingPractice.load())
    6.5
    """
    least = bark_limit_mm(standard, practice)
    if not bark_mm >= least:
        raise ThinBarkError.at(
            file="marking",
            layer="girth",
            found=f"bark {bark_mm:g} mm thick",
            expected=f"{least:g} mm or more ({standard.title})",
            remedy="Don't mark or cut this tree; measure its bark again next year.",
        )
    return min(practice.cut_depth_most_mm, bark_mm - practice.bark_left_mm)


def unmeasured_depth(standard: OpeningStandard, practice: MarkingPractice) -> float:
    """Deepest cut, mm, where nobody measured the bark: that of the thinnest that may be cut.

    Examples
    --------
    >>> from estate.standards import standard_named
    >>> unmeasured_depth(standard_named("common-practice"), MarkingPractice.load())
    6.0
    """
    return cut_depth(bark_limit_mm(standard, practice), standard, practice)


def high_floor(standard: OpeningStandard, practice: MarkingPractice) -> float:
    """Height of the low right end of the lowest high cut, cm.

    The bark between base and high panels is kept clear all round: the base panels' upper edge
    rises to the left by the drop of their first cut, taken at the girth the standard opens at.

    Examples
    --------
    >>> from estate.standards import standard_named
    >>> round(high_floor(standard_named("common-practice"), MarkingPractice.load()), 1)
    156.8
    """
    used = practice.under(standard)
    girth = max(standard.girth_cm.values())
    width = panel_width(girth, used.young_panels, gap_cm=used.panel_gap_cm)
    base_top = used.opening_height_cm + float(cut_drop(width, used.downward_deg))
    return base_top + used.stacked_gap_cm


def high_reach(floor_cm: float, drop_cm: ArrayLike, practice: MarkingPractice) -> Floats:
    """Bark, cm up the trunk, that each tier of high panels offers under the top.

    Parameters
    ----------
    floor_cm
        Height of the lowest high cut's low right end, cm.
    drop_cm
        Drop of the upward cut, cm: its high left end must stay under the top.
    practice
        Top, tiers and the gap between tiers.

    Returns
    -------
    ndarray
        cm; zero or less where no high panel has room.
    """
    room = practice.high_top_cm - floor_cm - np.asarray(drop_cm, dtype=float)
    return (room - (practice.high_tiers - 1) * practice.stacked_gap_cm) / practice.high_tiers
