"""The reason for a block's faces, in words for a grower and a manager."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from estate.figures import Figure
from estate.reasons import FACES, POINTS
from estate.sun.choice import NORTH_SOUTH_DEG, SAME_WAY_DEG, Choice, apart_deg

_POINTS = tuple(POINTS.values())
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
    return FACES["pair"].format(first=compass_point(first_deg), second=compass_point(second_deg))


def _other_pair_words(other_deg: float, chosen_deg: float) -> str:
    """Give a pair in words; with its degrees where the chosen pair has the same words."""
    words = pair_words(other_deg, other_deg + 180.0)
    if apart_deg(other_deg, chosen_deg) < _EXACT_DEG:
        return words
    points = {compass_point(other_deg), compass_point(other_deg + 180.0)}
    if points != {compass_point(chosen_deg), compass_point(chosen_deg + 180.0)}:
        return words
    one, two = other_deg % 360.0, (other_deg + 180.0) % 360.0
    return FACES["by degrees"].format(pair=words, one=one, two=two)


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


def _more(share: float) -> str:
    if abs(share) < _HALF_PERCENT:
        return FACES["as much"]
    return FACES["more" if share > 0.0 else "less"].format(share=100.0 * abs(share))


def _same(one_deg: float, other_deg: float) -> bool:
    return apart_deg(one_deg, other_deg) <= SAME_WAY_DEG


def _found(choice: Choice) -> str:
    faces = pair_words(choice.first_deg, choice.second_deg)
    best = _other_pair_words(choice.best_deg, choice.first_deg)
    saved, doubt = 100.0 * choice.best_share_saved, 100.0 * choice.best_uncertainty_share
    if choice.turned_from_weather:
        return FACES["from weather"].format(faces=faces)
    if not _same(choice.first_deg, NORTH_SOUTH_DEG):
        return FACES["turned"].format(faces=faces, saved=saved, doubt=doubt)
    if _same(choice.best_deg, NORTH_SOUTH_DEG):
        return FACES["usual"].format(faces=faces)
    return FACES["usual, not best"].format(faces=faces, best=best, saved=saved, doubt=doubt)


def _shade(setting: Setting) -> str:
    if setting.in_the_open:
        return ""
    return FACES["shade"].format(age=setting.age_years, share=100.0 * setting.beam_share)


def _wide(setting: Setting) -> str:
    return FACES["wide"].format(arc=setting.arc_deg) if setting.arc_deg > _WIDE_DEG else ""


def _against_walking_side(choice: Choice) -> str:
    if np.isnan(choice.walking_side_deg):
        return ""
    walking = _other_pair_words(choice.walking_side_deg, choice.first_deg)
    if _same(choice.walking_side_deg, choice.first_deg):
        return FACES["walking side"].format(walking=walking)
    message = "against walking side" if choice.told_apart else "as good as walking side"
    return FACES[message].format(
        walking=walking,
        sun=_more(choice.walking_side_share_lost),
        doubt=100.0 * choice.uncertainty_share,
        flow=_more(_lost(choice.flow_share_saved)),
    )


def _lost(saved: float) -> float:
    """What the rival takes on beyond ours, from what ours saves of the rival's."""
    return saved / (1.0 - saved) if saved < 1.0 else 0.0


def _against_planting_line(choice: Choice) -> str:
    lost = choice.planting_line_share_lost
    if np.isnan(lost) or _same(choice.walking_side_deg + 90.0, choice.first_deg):
        return ""
    return FACES["planting line"].format(sun=_more(lost))


def _first_panel(choice: Choice) -> str:
    if not choice.first_told_apart:
        return ""
    one, other = compass_point(choice.first_deg), compass_point(choice.second_deg)
    less = 100.0 * choice.first_face_share_saved
    return FACES["first"].format(one=one, less=less, other=other)


def _work(choice: Choice, figures: Mapping[str, Figure]) -> str:
    turned = apart_deg(choice.walking_side_deg, choice.first_deg)
    if not turned > _SMALL_TURN_DEG:
        return ""
    round_m = 2.0 * figures["standing_reach"].value * np.radians(turned)
    trees = figures["task_trees"].value
    minutes = round_m * trees / figures["walking_speed"].value / 60.0
    return FACES["work"].format(
        faces=pair_words(choice.first_deg, choice.second_deg),
        walk=round_m,
        minutes=minutes,
        trees=trees,
        seen=FACES["seen" if turned <= _SEEN_DEG else "unseen"],
    )


def _slope(setting: Setting, figures: Mapping[str, Figure]) -> str:
    if not setting.slope_percent > figures["contour_slope"].value:
        return ""
    return FACES["slope"].format(
        slope=setting.slope_percent, uphill=compass_point(setting.uphill_deg)
    )


def _unknown(setting: Setting) -> str:
    lacks = []
    if setting.in_the_open:
        lacks.append(FACES["no crowns"])
    if not setting.hills:
        lacks.append(FACES["no hills"])
    if not setting.clouds:
        lacks.append(FACES["no clouds"])
    if setting.full_leaf and not setting.in_the_open:
        lacks.append(FACES["full leaf"])
    if not setting.weather:
        lacks.append(FACES["no weather"])
    words = [FACES["lacks"].format(lacks=", ".join(lacks))] if lacks else []
    if setting.straightness < _WINDING:
        words.append(FACES["winding"])
    return " ".join(words)
