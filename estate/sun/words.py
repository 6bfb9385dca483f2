"""The reason for a block's faces, in words for a grower and a manager."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estate.figures import Figure
from estate.sun.choice import NORTH_SOUTH_DEG, SAME_WAY_DEG, Choice, apart_deg

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
_EXACT_DEG = 1.0
_SMALL_TURN_DEG = 22.5
_WIDE_DEG = 120.0
_HALF_PERCENT = 0.005
_WINDING = 0.8


@dataclass(frozen=True, kw_only=True)
class Setting:
    """What a block's reason speaks of: its place, its rows, its shade, and what was known.

    Parameters
    ----------
    latitude, age_years, straightness, slope_percent, uphill_deg
        As in :func:`estate.sun.site.block_sites`.
    beam_share
        Share of the open sun's beam that reaches the bark, 0 to 1, mean of all sides.
    arc_deg
        How far round the trunk one panel goes.
    in_the_open, full_leaf, clouds, weather, hills
        No canopy could be reckoned; wintering was left out; a cloud table was given; so was the
        way that rain and wind come from; the block lies on an elevation layer.
    """

    latitude: float
    age_years: float
    straightness: float
    slope_percent: float
    uphill_deg: float
    beam_share: float
    arc_deg: float
    in_the_open: bool
    full_leaf: bool
    clouds: bool
    weather: bool
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


def _other_pair_words(other_deg: float, chosen_deg: float) -> str:
    """Give a pair in words; with its degrees where the chosen pair has the same words."""
    words = pair_words(other_deg, other_deg + 180.0)
    if apart_deg(other_deg, chosen_deg) < _EXACT_DEG:
        return words
    points = {compass_point(other_deg), compass_point(other_deg + 180.0)}
    if points != {compass_point(chosen_deg), compass_point(chosen_deg + 180.0)}:
        return words
    one, two = other_deg % 360.0, (other_deg + 180.0) % 360.0
    return f"{words}, by {one:.0f} and {two:.0f} degrees"


def facing_words(choice: Choice, setting: Setting, figures: Mapping[str, Figure]) -> str:
    """Give the reason for a block's faces: what was found, and what the choice costs.

    Parameters
    ----------
    choice
        From :func:`estate.sun.choice.choose_pair`.
    setting
        The block.
    figures
        Table ``light``.
    """
    parts = [
        _found(choice),
        _against_walking_side(choice),
        _work(choice, figures),
        _first_panel(choice),
        _slope(setting, figures),
    ]
    return " ".join(part for part in parts if part)


def basis_words(choice: Choice, setting: Setting) -> str:
    """Give what a block's reason rests on: its shade, its panels, and what wasn't known."""
    parts = [_shade(setting), _wide(setting), _against_planting_line(choice), _unknown(setting)]
    return " ".join(part for part in parts if part)


def _percent(share: float) -> str:
    return f"{100.0 * share:.0f} %"


def _more(share: float) -> str:
    if abs(share) < _HALF_PERCENT:
        return "as much sun"
    return f"{_percent(abs(share))} {'more' if share > 0.0 else 'less'} sun"


def _same(one_deg: float, other_deg: float) -> bool:
    return apart_deg(one_deg, other_deg) <= SAME_WAY_DEG


def _found(choice: Choice) -> str:
    faces = pair_words(choice.first_deg, choice.second_deg)
    best = _other_pair_words(choice.best_deg, choice.first_deg)
    doubt = _percent(choice.best_uncertainty_share)
    if choice.turned_from_weather:
        return (
            f"Face {faces}: it turns the panels out of the rain and wind, and the sun can't tell "
            "it from north and south."
        )
    if not _same(choice.first_deg, NORTH_SOUTH_DEG):
        return (
            f"Face {faces}: in the scorching hours it takes {_percent(choice.best_share_saved)} "
            f"less sun than north and south, give or take {doubt}."
        )
    if _same(choice.best_deg, NORTH_SOUTH_DEG):
        return (
            f"Face {faces}, as common practice has it: no other pair takes less scorching sun here."
        )
    return (
        f"Face {faces}, as common practice has it: {best} would take "
        f"{_percent(choice.best_share_saved)} less scorching sun (give or take {doubt}), too "
        "little to turn for."
    )


def _shade(setting: Setting) -> str:
    if setting.in_the_open:
        return ""
    return (
        f"At {setting.age_years:.0f} years the crowns and hills let {_percent(setting.beam_share)} "
        "of the sun's beam through to the bark."
    )


def _wide(setting: Setting) -> str:
    if setting.arc_deg <= _WIDE_DEG:
        return ""
    return (
        f"A panel goes {setting.arc_deg:.0f} degrees round the trunk, so a pair covers most of it "
        "whichever way it faces."
    )


def _against_walking_side(choice: Choice) -> str:
    if np.isnan(choice.walking_side_deg):
        return ""
    walking = _other_pair_words(choice.walking_side_deg, choice.first_deg)
    if _same(choice.walking_side_deg, choice.first_deg):
        return f"It is the walking side too ({walking}), so it costs no more walking or checking."
    doubt = _percent(choice.uncertainty_share)
    words = (
        f"Facing the walking side ({walking}) takes {_more(choice.walking_side_share_lost)} in the "
        f"scorching hours (give or take {doubt}) and "
        f"{_more(_lost(choice.flow_share_saved))} while latex flows"
    )
    if choice.told_apart:
        return words + "."
    return words + ": too small a difference to be sure of, so the easier work may decide."


def _lost(saved: float) -> float:
    """What the rival takes on beyond ours, from what ours saves of the rival's."""
    return saved / (1.0 - saved) if saved < 1.0 else 0.0


def _against_planting_line(choice: Choice) -> str:
    lost = choice.planting_line_share_lost
    if np.isnan(lost) or _same(choice.walking_side_deg + 90.0, choice.first_deg):
        return ""
    return f"Facing along the planting line takes {_more(lost)}."


def _first_panel(choice: Choice) -> str:
    if not choice.first_told_apart:
        return ""
    one, other = compass_point(choice.first_deg), compass_point(choice.second_deg)
    less = _percent(choice.first_face_share_saved)
    return f"Open the {one} panel first: it takes {less} less scorching sun than the {other} one."


def _work(choice: Choice, figures: Mapping[str, Figure]) -> str:
    turned = apart_deg(choice.walking_side_deg, choice.first_deg)
    if not turned > _SMALL_TURN_DEG:
        return ""
    round_m = 2.0 * figures["standing_reach"].value * np.radians(turned)
    trees = figures["task_trees"].value
    minutes = round_m * trees / figures["walking_speed"].value / 60.0
    seen = (
        "a checker still sees the cuts from between the rows"
        if turned <= _SEEN_DEG
        else "a checker has to step in at each tree to see the cut"
    )
    return (
        f"Facing {pair_words(choice.first_deg, choice.second_deg)} instead costs about "
        f"{round_m:.1f} m more walking a tree ({minutes:.0f} min in a task of {trees:.0f} trees), "
        f"and {seen}."
    )


def _slope(setting: Setting, figures: Mapping[str, Figure]) -> str:
    if not setting.slope_percent > figures["contour_slope"].value:
        return ""
    return (
        f"The ground rises {setting.slope_percent:.0f} % to the "
        f"{compass_point(setting.uphill_deg)}; contour rows are often faced uphill: where the "
        "foothold is poor, let the safe stand decide, not the sun."
    )


def _unknown(setting: Setting) -> str:
    lacks = []
    if setting.in_the_open:
        lacks.append("rows, row gap or planting date (reckoned without crowns)")
    if not setting.hills:
        lacks.append("elevation (level skyline)")
    if not setting.clouds:
        lacks.append("cloud table (clear sky)")
    if setting.full_leaf and not setting.in_the_open:
        lacks.append("wintering (full leaf all year)")
    if not setting.weather:
        lacks.append("rain and wind (left out of the choice)")
    words = [f"Not given: {', '.join(lacks)}."] if lacks else []
    if setting.straightness < _WINDING:
        words.append("The rows wind, so the walking side is their mean.")
    return " ".join(words)
