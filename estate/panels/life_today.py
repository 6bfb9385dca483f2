"""A tree's sides as they stand on the plan's first day, from measured heights of its cuts."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from estate.panels.bark import bark_use
from estate.panels.life_bark import Side
from estate.panels.life_solver import MONTHS
from estate.panels.marking import cut_drop, high_floor, high_reach, mature_panel_count, panel_width
from estate.panels.notation import HarvestSystem, PanelName, parse_notation
from estate.panels.notation.system import BARKS
from estate.panels.practice import MarkingPractice
from estate.standards import OpeningStandard
from layers.errors import SettingError

DAYS_A_YEAR = 365.25
_TINY = 1e-9


def untouched_sides(
    age_years: float,
    *,
    girth_cm: float,
    system: HarvestSystem,
    standard: OpeningStandard,
    practice: MarkingPractice,
    own: Path | None = None,
) -> list[Side]:
    """Give the sides of a tree of one girth, none tapped yet: base panels, then high ones.

    Parameters
    ----------
    age_years
        The tree's age at the plan's start, years: high panels open when it is mature.
    girth_cm
        Sets the number of high panels and their drop.
    system
        Its downward and upward cuts set what a month uses.
    standard, practice
        Heights, slopes, gaps.
    own
        The user's own figures in place of ours.
    """
    month_cm = {
        way: bark_use(system, direction=way, practice=practice, own=own).year_on_trunk_cm / MONTHS
        for way in ("down", "up")
    }
    base = [
        Side(
            letter="B",
            number=number,
            origin_cm=practice.opening_height_cm,
            length_cm=practice.opening_height_cm - practice.lowest_cm,
            month_cm=month_cm["down"],
            opens=0,
        )
        for number in range(1, practice.young_panels + 1)
    ]
    count = int(mature_panel_count(girth_cm, practice)[0])
    width = panel_width(girth_cm, count, gap_cm=practice.panel_gap_cm)
    floor = high_floor(standard, practice)
    reach = float(high_reach(floor, cut_drop(width, practice.upward_deg), practice))
    high = [
        Side(
            letter="H",
            number=tier * count + place,
            origin_cm=floor + tier * (reach + practice.stacked_gap_cm),
            length_cm=reach,
            month_cm=month_cm["up"],
            opens=max(0, math.ceil(standard.mature_year - age_years - _TINY)),
        )
        for tier in range(practice.high_tiers)
        for place in range(1, count + 1)
        if reach > 0
    ]
    return base + high


def by_panel(values: Mapping[str, Any]) -> dict[PanelName, Any]:
    """Give values by panel, its name read with the notation's misprints.

    Raises
    ------
    NotationError, SettingError
        A name isn't one panel's.
    """
    named = {}
    for text, value in values.items():
        panels = parse_notation(f"S/2 {text}").cuts[0].panels
        if len(panels) != 1:
            raise _strange(text, "one panel such as BO-1 or HO-2")
        named[panels[0]] = value
    return named


def _strange(panel: object, expected: str) -> SettingError:
    return SettingError.at(
        file="life plan",
        layer="panels",
        row=str(panel),
        found=f"the panel {panel}",
        expected=expected,
        remedy="Write a panel that the tree has, as the notation does.",
    )


def as_cut(
    sides: list[Side],
    heights: Mapping[PanelName, float],
    finished: Mapping[PanelName, dt.date],
    tapped_years: Mapping[PanelName, float],
    on: dt.date,
) -> list[Side]:
    """Give the sides as they stand today: the latest generation that is named is in use.

    Parameters
    ----------
    sides
        Untouched.
    heights
        Height of the low right end of today's cut of each panel known, cm.
    finished
        Day on which a panel was last tapped.
    tapped_years
        Years of tapping that a panel has had.
    on
        The plan's first day.

    Raises
    ------
    SettingError
        The tree has no such panel, a height lies outside it, or a day lies after `on`.
    """
    known = {side.panel(generation) for side in sides for generation in range(len(BARKS))}
    for panel in [*heights, *finished, *tapped_years]:
        if panel not in known:
            letters = ", ".join(str(side.panel(0)) for side in sides)
            raise _strange(panel, f"one of {letters}, or a renewal of it")
    return [_side_as_cut(side, heights, finished, tapped_years, on) for side in sides]


def _side_as_cut(
    side: Side,
    heights: Mapping[PanelName, float],
    finished: Mapping[PanelName, dt.date],
    tapped_years: Mapping[PanelName, float],
    on: dt.date,
) -> Side:
    named = [number for number in range(len(BARKS)) if side.panel(number) in heights]
    if not named:
        return side
    generation = max(named)
    cut = side.sign * (heights[side.panel(generation)] - side.origin_cm)
    if not -_TINY <= cut <= side.length_cm + _TINY:
        bound = side.origin_cm + side.sign * side.length_cm
        low, high = sorted([side.origin_cm, bound])
        raise SettingError.at(
            file="life plan",
            layer="panels",
            row=str(side.panel(generation)),
            found=f"a cut at {heights[side.panel(generation)]:g} cm",
            expected=f"a height of {low:.0f} to {high:.0f} cm",
            remedy="Measure the height of the cut's low right end again, or mend the practice.",
        )
    cut = min(max(cut, 0.0), side.length_cm)
    years = tapped_years.get(side.panel(generation))
    side = replace(
        side,
        generation=generation,
        cut_cm=cut,
        cut_year_cm=cut / years if years else 0.0,
        idle_years=_years_since(side.panel(generation), finished, on, 0.0),
    )
    older = side.idle_years + cut / side.pace_cm
    if generation > 0:
        older = _years_since(side.panel(generation - 1), finished, on, older)
    return replace(side, older_idle_years=older)


def _years_since(
    panel: PanelName, finished: Mapping[PanelName, dt.date], on: dt.date, otherwise: float
) -> float:
    if panel not in finished:
        return otherwise
    if finished[panel] > on:
        raise SettingError.at(
            file="life plan",
            layer="panels",
            row=str(panel),
            found=f"tapped to its end on {finished[panel]}",
            expected=f"a day up to {on}, the plan's first",
            remedy="Mend the date, or plan from a later day.",
        )
    return (on - finished[panel]).days / DAYS_A_YEAR


def side_of(panel: str | None, sides: list[Side]) -> int | None:
    """Give the place in `sides` of the side that a panel lies on; None for no panel.

    Raises
    ------
    SettingError
        No side of the tree has it.
    """
    if panel is None:
        return None
    name = next(iter(by_panel({panel: None})))
    for place, side in enumerate(sides):
        if (side.letter, side.number) == (name.letter, name.number):
            return place
    raise _strange(panel, "a panel of the tree")


@dataclass(frozen=True, kw_only=True)
class Overuse:
    """A panel on which more bark was used in a year than is planned, cm a year and cm left."""

    panel: str
    used_cm: float
    planned_cm: float
    left_cm: float

    def __str__(self) -> str:
        more = 100 * (self.used_cm / self.planned_cm - 1)
        return (
            f"{self.panel} used {self.used_cm:.1f} cm of bark a year, {more:.0f} % over the "
            f"{self.planned_cm:.1f} cm planned: at that pace its {self.left_cm:.0f} cm last "
            f"{self.left_cm / self.used_cm:.1f} years, not {self.left_cm / self.planned_cm:.1f}. "
            "Check shavings and guide lines."
        )


def overuse(sides: list[Side]) -> tuple[Overuse, ...]:
    """Give each panel where more bark was used in a year than is planned.

    Parameters
    ----------
    sides
        As they stand today, with the bark used in a year up to now.
    """
    return tuple(
        Overuse(
            panel=str(side.panel(side.generation)),
            used_cm=side.cut_year_cm,
            planned_cm=side.month_cm * MONTHS,
            left_cm=side.length_cm - side.cut_cm,
        )
        for side in sides
        if side.cut_year_cm > side.month_cm * MONTHS * (1 + _TINY)
    )


def diagnosis(sides: list[Side]) -> tuple[float, float]:
    """Share of virgin bark used, 0 to 1, and years that the rest lasts at the planned use.

    Parameters
    ----------
    sides
        As they stand today, base and high.

    Notes
    -----
    NaN for the share where the tree has no bark to tap.

    References
    ----------
    Michels et al. 2012, Agron. Sustain. Dev. 32(3):791-801: virgin bark used and tapping years
    left tell the state of a plantation's panels (secondary).
    """
    lengths = [side.length_cm for side in sides]
    used = [side.length_cm if side.generation else side.cut_cm for side in sides]
    years = sum(
        (length - gone) / (side.month_cm * MONTHS)
        for side, length, gone in zip(sides, lengths, used, strict=True)
    )
    return (sum(used) / sum(lengths) if lengths else math.nan), years
