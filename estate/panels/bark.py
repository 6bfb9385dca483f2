"""The bark budget: what tapping uses, held against guide lines and published templates."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from estate.figures import Figure, load_figures
from estate.panels.notation.intensity import tappings_per_year
from estate.panels.notation.parse import parse_notation
from estate.panels.notation.system import CutSystem, HarvestSystem
from estate.panels.practice import MarkingPractice
from layers.errors import SettingError

MONTHS_A_YEAR = 12
COMMON_SYSTEM = "S/2 d3"


@dataclass(frozen=True, kw_only=True)
class BarkUse:
    """Bark that one cut uses, and how that fits what is marked and published.

    Parameters
    ----------
    frequency, direction
        ``d3`` and the like; ``down`` or ``up``.
    tappings_a_year, tappings_a_month
        Without days lost; a month is a twelfth of the year.
    shaving_least_mm, shaving_planned_mm, shaving_most_mm
        Thickness of a shaving.
    month_least_cm, month_most_cm
        Bark used in a month at the thinnest and thickest shaving.
    year_least_cm, year_planned_cm, year_most_cm
        Bark used in a year.
    slope_deg, year_on_trunk_cm
        Slope of the cut, and the year's planned use down or up the trunk where a shaving is
        measured square to the cut, as with a caliper: more by the slope's cosine.
    template_cm, year_limit_cm
        The published yearly template and yearly most; None where none is published.
    guide_month_cm, guide_year_cm
        What the guide lines allow.
    guide_fit_cm
        Distance between guide lines that would fit: a twelfth of the published template, or of
        the year's use on the trunk where none is published.
    panel_years
        Years that a base panel lasts at the year's use on the trunk; NaN for ``up``.
    findings
        Where these disagree, in sentences.
    """

    frequency: str
    direction: str
    tappings_a_year: float
    tappings_a_month: float
    shaving_least_mm: float
    shaving_planned_mm: float
    shaving_most_mm: float
    month_least_cm: float
    month_most_cm: float
    year_least_cm: float
    year_planned_cm: float
    year_most_cm: float
    slope_deg: float
    year_on_trunk_cm: float
    template_cm: float | None
    year_limit_cm: float | None
    guide_month_cm: float
    guide_year_cm: float
    guide_fit_cm: float
    panel_years: float
    findings: tuple[str, ...]


def consumption(shaving_mm: ArrayLike, tappings: ArrayLike) -> NDArray[np.float64]:
    """Bark used, cm: shaving thickness times tappings.

    Examples
    --------
    >>> float(consumption(1.5, 10))
    1.5
    """
    return np.asarray(shaving_mm, dtype=float) * np.asarray(tappings, dtype=float) / 10.0


def on_trunk(square_cm: ArrayLike, slope_deg: ArrayLike) -> NDArray[np.float64]:
    """Bark used down or up the trunk, cm, where shavings were measured square to the cut.

    Examples
    --------
    >>> round(float(on_trunk(1.0, 30.0)), 3), round(float(on_trunk(1.0, 45.0)), 3)
    (1.155, 1.414)
    """
    return np.asarray(square_cm, dtype=float) / np.cos(np.radians(slope_deg))


def panel_years(bark_cm: ArrayLike, year_cm: ArrayLike) -> NDArray[np.float64]:
    """Years that bark lasts at one yearly use.

    Examples
    --------
    >>> round(float(panel_years(110, 20)), 1)
    5.5
    """
    return np.asarray(bark_cm, dtype=float) / np.asarray(year_cm, dtype=float)


def bark_use(
    system: HarvestSystem | str | None = None,
    *,
    direction: str = "down",
    tappings_a_month: float | None = None,
    practice: MarkingPractice | None = None,
    own: Path | None = None,
) -> BarkUse:
    """Give what the first cut of a system uses, and every disagreement with what is marked.

    Parameters
    ----------
    system
        A harvest system or its notation; its first cut in `direction` counts. Common practice,
        ten tappings a month every third day, where None.
    direction
        ``down`` or ``up``.
    tappings_a_month
        Tappings in each of twelve months; from the system where None.
    practice
        How trees are marked, for its guide lines; common practice where None.
    own
        The user's own figures in place of ours.

    Raises
    ------
    NotationError
        `system` isn't of the notation.
    SettingError
        The system names no frequency, or `direction` is unknown.

    Examples
    --------
    >>> use = bark_use()
    >>> use.month_least_cm, use.month_most_cm, use.template_cm
    (1.0, 1.5, 17.0)
    """
    figures = load_figures("bark", own=own)
    marking = MarkingPractice.load() if practice is None else practice
    if system is None:
        system = COMMON_SYSTEM
        if tappings_a_month is None:
            tappings_a_month = figures["tappings_a_month"].value
    cut = _cut_of(system, direction)
    if tappings_a_month is None:
        yearly = tappings_per_year(cut)
        tappings_a_month = yearly / MONTHS_A_YEAR
    else:
        yearly = tappings_a_month * MONTHS_A_YEAR
    least, planned, most = _shavings(figures, direction, cut.every_days)
    slope = marking.downward_deg if direction == "down" else marking.upward_deg
    guide_year = (marking.guide_lines - 1) * marking.guide_spacing_cm
    template = _published(figures, "template", cut.every_days, direction)
    year_on_trunk = float(on_trunk(consumption(planned, yearly), slope))
    base_cm = marking.opening_height_cm - marking.lowest_cm
    use = BarkUse(
        frequency=f"d{cut.every_days}",
        direction=direction,
        tappings_a_year=yearly,
        tappings_a_month=tappings_a_month,
        shaving_least_mm=least,
        shaving_planned_mm=planned,
        shaving_most_mm=most,
        month_least_cm=float(consumption(least, tappings_a_month)),
        month_most_cm=float(consumption(most, tappings_a_month)),
        year_least_cm=float(consumption(least, yearly)),
        year_planned_cm=float(consumption(planned, yearly)),
        year_most_cm=float(consumption(most, yearly)),
        slope_deg=slope,
        year_on_trunk_cm=year_on_trunk,
        template_cm=template,
        year_limit_cm=_published(figures, "year_most", cut.every_days, direction),
        guide_month_cm=marking.guide_spacing_cm,
        guide_year_cm=guide_year,
        guide_fit_cm=(year_on_trunk if template is None else template) / MONTHS_A_YEAR,
        panel_years=(
            float(panel_years(base_cm, year_on_trunk)) if direction == "down" else math.nan
        ),
        findings=(),
    )
    return BarkUse(**(use.__dict__ | {"findings": _findings(use, figures)}))


def _cut_of(system: HarvestSystem | str, direction: str) -> CutSystem:
    if direction not in ("down", "up"):
        raise SettingError.at(
            file="bark budget",
            layer="cut",
            found=f"direction {direction}",
            expected="down or up",
            remedy="Write down for base panels, up for high panels.",
        )
    read = parse_notation(system) if isinstance(system, str) else system
    upward = [cut for cut in read.cuts if (cut.cut.direction == "U") == (direction == "up")]
    cut = (upward or list(read.cuts))[0]
    if cut.every_days is None:
        raise SettingError.at(
            file="bark budget",
            layer="cut",
            row=read.original,
            found="a harvest system without a frequency",
            expected="a frequency such as d3",
            remedy="Write for example S/2 d3.",
        )
    return cut


def _shavings(
    figures: Mapping[str, Figure], direction: str, every_days: int | None
) -> tuple[float, float, float]:
    """Thinnest, planned and thickest shaving; rarer tapping takes a thicker one (bark dries)."""
    limit = figures.get(f"limit_{direction}_d{every_days}")
    least = figures["shaving_down_least"].value
    planned = figures[f"shaving_{direction}_planned"].value
    most = figures[f"shaving_{direction}_most"].value
    if limit is not None:
        most = max(most, limit.value)
    return least, planned, most


def _published(
    figures: Mapping[str, Figure], kind: str, every_days: int | None, direction: str
) -> float | None:
    figure = figures.get(f"{kind}_d{every_days}")
    return None if figure is None or direction == "up" else figure.value


def _findings(use: BarkUse, figures: Mapping[str, Figure]) -> tuple[str, ...]:
    return tuple(
        said
        for said in (
            _guide_against_use(use),
            _guide_against_limit(use, figures),
            _template_against_use(use),
            _guide_against_template(use),
            _year_limit_against_use(use),
            _no_template(use),
            _month_limit_upward(use, figures),
            _measured_square(use),
            _panel_life(use, figures),
        )
        if said
    )


def _guide_against_use(use: BarkUse) -> str:
    if use.month_least_cm <= use.guide_month_cm <= use.month_most_cm:
        return ""
    return (
        f"The guide lines allow {use.guide_month_cm:g} cm a month; {use.tappings_a_month:.3g} "
        f"tappings a month at {use.shaving_least_mm:.1f} to {use.shaving_most_mm:.1f} mm use "
        f"{use.month_least_cm:.1f} to {use.month_most_cm:.1f} cm, not {use.guide_month_cm:g}: the "
        "lines are a bound and no target. Cut thin, and let the cut stay short of the line; lines "
        f"{use.guide_fit_cm:.1f} cm apart would fit {use.frequency}."
        if use.guide_month_cm > use.month_most_cm
        else f"The guide lines allow {use.guide_month_cm:g} cm a month, less than the "
        f"{use.month_least_cm:.1f} cm that {use.tappings_a_month:.3g} tappings of "
        f"{use.shaving_least_mm:.1f} mm use: set the lines further apart or tap less often."
    )


def _panel_life(use: BarkUse, figures: Mapping[str, Figure]) -> str:
    asked = figures["panel_life_recommended"]
    if not use.panel_years < asked.value:
        return ""
    return (
        f"A base panel lasts {use.panel_years:.1f} years of tapping at this use, less than the "
        f"{asked.value:g} years of {asked.source}; the mean that was surveyed is "
        f"{figures['panel_life_surveyed'].value:g}."
    )


def _measured_square(use: BarkUse) -> str:
    low, high = on_trunk([use.month_least_cm, use.month_most_cm], use.slope_deg)
    way = "down" if use.direction == "down" else "up"
    return (
        f"These take a shaving as measured {way} the trunk. Measured square to a cut of "
        f"{use.slope_deg:g}°, the same shavings use {low:.1f} to {high:.1f} cm a month: measure "
        "heights on the tree, not shavings."
    )


def _guide_against_limit(use: BarkUse, figures: Mapping[str, Figure]) -> str:
    limit = figures.get(f"limit_{use.direction}_{use.frequency}")
    thickness = use.guide_month_cm * 10 / use.tappings_a_month
    if limit is None or thickness <= limit.value:
        return ""
    return (
        f"To reach the next guide line each month takes shavings of {thickness:.2f} mm, over the "
        f"{limit.value:g} mm that {limit.source} sets at {use.frequency}."
    )


def _template_against_use(use: BarkUse) -> str:
    if use.template_cm is None or use.year_least_cm <= use.template_cm <= use.year_most_cm:
        return ""
    side = "more" if use.template_cm > use.year_most_cm else "less"
    return (
        f"The published yearly template at {use.frequency} is {use.template_cm:g} cm, {side} than "
        f"the {use.year_least_cm:.0f} to {use.year_most_cm:.0f} cm that {use.tappings_a_year:.0f} "
        "tappings a year use."
    )


def _guide_against_template(use: BarkUse) -> str:
    if use.template_cm is None or abs(use.guide_year_cm - use.template_cm) < 0.5:
        return ""
    side = "more" if use.guide_year_cm > use.template_cm else "less"
    return (
        f"A year of guide lines is {use.guide_year_cm:g} cm, {side} than the published yearly "
        f"template of {use.template_cm:g} cm at {use.frequency} (ICAR e-course on rubber)."
    )


def _year_limit_against_use(use: BarkUse) -> str:
    if use.year_limit_cm is None or use.year_planned_cm <= use.year_limit_cm:
        return ""
    return (
        f"{use.tappings_a_year:.0f} tappings a year at {use.shaving_planned_mm:g} mm use "
        f"{use.year_planned_cm:.1f} cm, over the yearly {use.year_limit_cm:g} cm of the Viet Nam "
        "process (secondary)."
    )


def _no_template(use: BarkUse) -> str:
    if use.template_cm is not None:
        return ""
    return (
        f"No yearly template is published for {use.frequency} tapped {use.direction}ward: the "
        "budget rests on shaving thickness times tappings alone."
    )


def _month_limit_upward(use: BarkUse, figures: Mapping[str, Figure]) -> str:
    limit = figures["up_month_most"]
    if use.direction == "down" or use.month_most_cm <= limit.value:
        return ""
    return (
        f"Upward tapping may use {use.month_most_cm:.1f} cm a month, over the {limit.value:g} cm "
        f"of {limit.source}."
    )
