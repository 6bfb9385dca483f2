"""The folded cord: where its marks fall, and a table of them by girth."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike

from estate.panels.marking import (
    cut_drop,
    cut_length,
    mature_panel_count,
    panel_width,
    template_fit,
)
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard
from layers.errors import SettingError


@dataclass(frozen=True, kw_only=True)
class CordMarks:
    """Marks on a cord laid once round the trunk, cm from the end at the first panel's left.

    Parameters
    ----------
    girth_cm, panel_count
        The cord's length and the equal parts it is folded in.
    folds_cm
        The folds between the ends.
    marks_cm
        Marks each side of the ends and folds, rising: each pair bounds one panel.
    edges_cm
        Left and right edge of each panel.
    """

    girth_cm: float
    panel_count: int
    folds_cm: tuple[float, ...]
    marks_cm: tuple[float, ...]
    edges_cm: tuple[tuple[float, float], ...]


def cord_marks(girth_cm: float, panel_count: int, *, each_side_cm: float) -> CordMarks:
    """Give the marks on a cord round the trunk, folded by the number of panels.

    Parameters
    ----------
    girth_cm
        Girth, cm; more than the marks take.
    panel_count
        Panels round the tree, 1 or more.
    each_side_cm
        Distance from an end or fold to its mark, cm.

    Raises
    ------
    SettingError
        The panels don't fit the girth.

    Examples
    --------
    >>> cord_marks(45.0, 2, each_side_cm=1.0).marks_cm
    (1.0, 21.5, 23.5, 44.0)
    """
    part = girth_cm / panel_count if panel_count > 0 else 0.0
    if not part > 2 * each_side_cm:
        raise SettingError.at(
            file="marking",
            layer="girth",
            found=f"{panel_count} panels round a girth of {girth_cm:g} cm",
            expected=f"1 panel or more, each with over {2 * each_side_cm:g} cm of the girth",
            remedy="Mark fewer panels, or measure the girth again.",
        )
    edges = tuple(
        (fold * part + each_side_cm, (fold + 1) * part - each_side_cm)
        for fold in range(panel_count)
    )
    return CordMarks(
        girth_cm=girth_cm,
        panel_count=panel_count,
        folds_cm=tuple(fold * part for fold in range(1, panel_count)),
        marks_cm=tuple(mark for pair in edges for mark in pair),
        edges_cm=edges,
    )


def cord_table(
    girths_cm: ArrayLike | None = None,
    *,
    standard: OpeningStandard | None = None,
    practice: MarkingPractice | None = None,
) -> pd.DataFrame:
    """Give the marks for a range of girths, downward and upward, for one printed page.

    Parameters
    ----------
    girths_cm
        Shape (n,), cm; 40 to 120 by 2 where None.
    standard
        Whose slopes hold; marking's own where None.
    practice
        How trees are marked; common practice where None.

    Returns
    -------
    DataFrame
        A row a girth and direction: ``girth_cm, direction, panel_count, fold_cm`` (length of the
        folded cord), ``panel_width_cm, cut_length_cm, drop_cm, template_fit, marks_cm`` (a tuple).
    """
    used = MarkingPractice.load() if practice is None else practice
    used = used if standard is None else used.under(standard)
    girth = np.arange(40.0, 121.0, 2.0) if girths_cm is None else np.ravel(girths_cm).astype(float)
    down = _table_of(girth, np.full(len(girth), used.young_panels), "down", used)
    up = _table_of(girth, mature_panel_count(girth, used), "up", used)
    return pd.concat([down, up]).sort_values(
        ["girth_cm", "direction"], ignore_index=True, kind="stable"
    )


def _table_of(
    girth_cm: np.ndarray, counts: np.ndarray, direction: str, practice: MarkingPractice
) -> pd.DataFrame:
    slope = practice.downward_deg if direction == "down" else practice.upward_deg
    width = panel_width(girth_cm, counts, gap_cm=practice.panel_gap_cm)
    length = cut_length(width, slope)
    return pd.DataFrame(
        {
            "girth_cm": girth_cm,
            "direction": direction,
            "panel_count": counts,
            "fold_cm": girth_cm / counts,
            "panel_width_cm": width,
            "cut_length_cm": length,
            "drop_cm": cut_drop(width, slope),
            "template_fit": template_fit(length, practice),
            "marks_cm": _marks(girth_cm.tolist(), counts.tolist(), practice),
        }
    )


def _marks(
    girths_cm: Sequence[float], counts: Sequence[int], practice: MarkingPractice
) -> list[tuple[float, ...]]:
    each_side = practice.mark_each_side_cm
    return [
        cord_marks(girth, count, each_side_cm=each_side).marks_cm
        for girth, count in zip(girths_cm, counts, strict=True)
    ]
