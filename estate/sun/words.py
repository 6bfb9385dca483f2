"""The reason for a block's faces, in words for a grower and a manager."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estate.figures import Figure
from estate.sun.choice import Choice, apart_deg

_POINTS = (
    "north",
    "north-northeast",
    "northeast",
    "east-northeast",
    "east",
    "east-southeast",
    "southeast",
    "south-southeast",
    "south",
    "south-southwest",
    "southwest",
    "west-southwest",
    "west",
    "west-northwest",
    "northwest",
    "north-northwest",
)
_SEEN_DEG = 45.0
_WINDING = 0.8


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What a block's reason speaks of: its place, its rows, its shade, and what was known.

    Parameters
    ----------
    block_id
        The block.
    latitude, age_years, row_deg, straightness, slope_percent, uphill_deg
        As in :func:`estate.sun.site.block_sites`.
    beam_share
        Share of the open sun's beam that reaches the bark, 0 to 1, mean of all sides.
    skyline_deg
        The skyline at its highest.
    arc_deg
        How far round the trunk one panel goes.
    in_the_open, clouds, hills
        No canopy could be reckoned; a cloud table was given; an elevation layer was given.
    """

    block_id: str
    latitude: float
    age_years: float
    row_deg: float
    straightness: float
    slope_percent: float
    uphill_deg: float
    beam_share: float
    skyline_deg: float
    arc_deg: float
    in_the_open: bool
    clouds: bool
    hills: bool


def compass_point(azimuth_deg: float) -> str:
    """Give the nearest of sixteen compass points.

    Examples
    --------
    >>> compass_point(359.0), compass_point(135.0)
    ('north', 'southeast')
    """
    return _POINTS[int(azimuth_deg % 360.0 / 22.5 + 0.5) % 16]


def pair_words(first_deg: float, second_deg: float) -> str:
    """Give a pair of faces in words.

    Examples
    --------
    >>> pair_words(0.0, 180.0)
    'north and south'
    """
    return f"{compass_point(first_deg)} and {compass_point(second_deg)}"


def facing_words(choice: Choice, setting: Setting, figures: Mapping[str, Figure]) -> str:
    """Give the reason for a block's faces: what was found, what it costs, what wasn't known."""
    parts = [
        _found(choice),
        _shade(setting),
        _against_walking_side(choice),
        _against_planting_line(choice),
        _work(choice, figures),
        _slope(choice, setting, figures),
        _unknown(setting),
    ]
    return " ".join(part for part in parts if part)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _found(choice: Choice) -> str:
    faces = pair_words(choice.first_deg, choice.second_deg)
    best = pair_words(choice.best_deg, choice.best_deg + 180.0)
    doubt = _percent(choice.best_uncertainty_share)
    north_south = apart_deg(choice.first_deg, 0.0) <= 10.0
    if choice.kept_for_weather:
        return (
            f"Face {faces}: the sun can't tell this from north and south (it knows such a "
            f"difference to about {doubt}), and it turns the panels out of the rain and wind."
        )
    if not north_south:
        return (
            f"Face {faces}: here it takes {_percent(choice.best_share_saved)} less sun in flow "
            f"and scorching hours than north and south, known to about {doubt}."
        )
    if apart_deg(choice.best_deg, 0.0) <= 10.0:
        return f"Face {faces}, common practice: no other pair takes less sun here."
    return (
        f"Face {faces}, common practice: {best} would take "
        f"{_percent(choice.best_share_saved)} less sun, which the model (known to about {doubt}) "
        "can't tell from nothing."
    )


def _shade(setting: Setting) -> str:
    if setting.in_the_open:
        return ""
    return (
        f"At {setting.age_years:.0f} years the canopy and hills let "
        f"{_percent(setting.beam_share)} of the open sun's beam reach the bark."
    )


def _against_walking_side(choice: Choice) -> str:
    if np.isnan(choice.walking_side_deg):
        return ""
    walking = pair_words(choice.walking_side_deg, choice.walking_side_deg + 180.0)
    if apart_deg(choice.walking_side_deg, choice.first_deg) <= 10.0:
        return f"It is the walking side too ({walking}), so the easy side to work costs nothing."
    lost = choice.walking_side_share_lost
    words = f"Facing the walking side ({walking}) takes {_percent(abs(lost))} "
    words += "more sun" if lost >= 0.0 else "less sun"
    return words + ("." if choice.told_apart else ", a difference too small to be sure of.")


def _against_planting_line(choice: Choice) -> str:
    lost = choice.planting_line_share_lost
    if np.isnan(lost):
        return ""
    return f"Facing along the planting line takes {_percent(abs(lost))} " + (
        "more." if lost >= 0.0 else "less."
    )


def _work(choice: Choice, figures: Mapping[str, Figure]) -> str:
    if np.isnan(choice.walking_side_deg):
        return ""
    turned = apart_deg(choice.walking_side_deg, choice.first_deg)
    if turned <= 10.0:
        return ""
    round_m = 2.0 * figures["standing_reach"].value * np.radians(turned)
    trees = figures["task_trees"].value
    minutes = round_m * trees / figures["walking_speed"].value / 60.0
    seen = (
        "a checker still sees the cuts from between the rows"
        if turned <= _SEEN_DEG
        else "a checker doesn't see the cuts from between the rows and steps in at each tree"
    )
    return (
        f"It costs about {round_m:.1f} m more walking a tree ({minutes:.0f} min in a task of "
        f"{trees:.0f} trees), and {seen}."
    )


def _slope(choice: Choice, setting: Setting, figures: Mapping[str, Figure]) -> str:
    if not setting.slope_percent > figures["contour_slope"].value:
        return ""
    uphill = compass_point(setting.uphill_deg)
    return (
        f"The ground rises {setting.slope_percent:.0f} % to the {uphill}: where rows follow the "
        "contour, many growers face every panel uphill, where the tapper stands firmer; weigh "
        "that against the sun, and don't work steep wet ground in the dark."
    )


def _unknown(setting: Setting) -> str:
    lacks = []
    if setting.in_the_open:
        lacks.append("rows, row gap or planting date (reckoned in the open)")
    if not setting.hills:
        lacks.append("elevation (a level skyline)")
    if not setting.clouds:
        lacks.append("a cloud table (clear sky)")
    words = f"Not given: {', '.join(lacks)}." if lacks else ""
    if setting.straightness < _WINDING:
        words += " The rows wind, so the walking side is their mean."
    return words.strip()
