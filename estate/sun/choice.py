"""Weigh the pairs of opposite faces against each other, and say which the sun tells apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.figures import Figure

Floats = NDArray[np.float64]

_SAME_WAY_DEG = 10.0


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A pair of opposite faces, and how it compares.

    "Sun" here is the light in scorching hours and, by its weight, in flow hours, averaged over
    both panels of a pair. Shares are of the other pair's; NaN where the rows aren't known.

    Parameters
    ----------
    first_deg, second_deg
        The faces; the less sunlit is opened first where the two differ by more than the
        model's uncertainty.
    walking_side_deg
        The way a panel faces toward the inter-row; uphill on a slope.
    best_deg
        The face, 0 to 170, whose pair the sun itself would choose.
    best_share_saved, best_uncertainty_share
        Sun that the best pair saves against north and south, and one standard deviation of it.
    told_apart
        The sun tells the recommended pair from its rival: north and south, or the walking side
        where north and south is recommended.
    scorch_share_saved, uncertainty_share
        Scorching light that the recommended pair saves against the walking side, and one
        standard deviation of it.
    walking_side_share_lost, planting_line_share_lost
        Sun that the pair toward the inter-row, and along the row, takes on beyond the
        recommended pair's.
    kept_for_weather
        Rain and wind settled what the sun left open.
    """

    first_deg: float
    second_deg: float
    walking_side_deg: float
    best_deg: float
    best_share_saved: float
    best_uncertainty_share: float
    told_apart: bool
    scorch_share_saved: float
    uncertainty_share: float
    walking_side_share_lost: float
    planting_line_share_lost: float
    kept_for_weather: bool


@dataclass(frozen=True, kw_only=True)
class Trials:
    """Light by face under each trial of what the model doesn't know, shape (t, 36).

    Parameters
    ----------
    light
        The first is the model's own; then come pairs of trials, one standard deviation down
        and up.
    floor_share
        The part of the uncertainty that no trial shows, as a share.
    """

    light: Floats
    floor_share: float


def choose_pair(
    *,
    scorch_morning: Floats,
    scorch_afternoon: Floats,
    flow: Floats,
    row_deg: float,
    uphill_deg: float,
    weather_deg: float | None,
    figures: Mapping[str, Figure],
) -> Choice:
    """Choose a block's pair of faces.

    Parameters
    ----------
    scorch_morning, scorch_afternoon, flow
        Shape (3, 36), MJ/m² on a panel that faces each way, evenly round from north: the
        model's own, and with the canopy thinner and thicker by one standard deviation.
    row_deg, uphill_deg
        Ways of the rows and the slope, degrees from true north; NaN where unknown.
    weather_deg
        The way that rain and wind come from; None if not known.
    figures
        Table ``light``.
    """
    doubt = figures["afternoon_uncertainty"].value
    floor = figures["numeric_uncertainty"].value
    scorch = _trials(scorch_morning, scorch_afternoon, doubt, floor)
    sun = Trials(
        light=scorch.light + figures["flow_weight"].value * _repeat(flow), floor_share=floor
    )
    pairs = np.arange(0.0, 180.0, 360.0 / sun.light.shape[1])
    best_deg = float(pairs[np.argmin([pair_light(sun, pair)[0] for pair in pairs])])
    best_saved, best_doubt = share_saved(sun, best_deg, 0.0)
    walking_deg = _walking_side(row_deg, uphill_deg)
    chosen = 0.0
    if apart_deg(best_deg, 0.0) > _SAME_WAY_DEG and best_saved > best_doubt:
        chosen = best_deg
    kept_for_weather = False
    if chosen == 0.0 and weather_deg is not None:
        rivals = [0.0, best_deg] + ([] if np.isnan(row_deg) else [walking_deg % 180.0, row_deg])
        chosen = _out_of_the_weather(sun, rivals, weather_deg)
        kept_for_weather = apart_deg(chosen, 0.0) > _SAME_WAY_DEG
    rival = walking_deg if apart_deg(chosen, 0.0) <= _SAME_WAY_DEG else 0.0
    saved, doubt_of_it = (np.nan, np.nan) if np.isnan(rival) else share_saved(sun, chosen, rival)
    scorch_saved, scorch_doubt = (
        (np.nan, np.nan) if np.isnan(walking_deg) else share_saved(scorch, chosen, walking_deg)
    )
    first_deg, second_deg = _first_face(sun, chosen)
    return Choice(
        first_deg=first_deg,
        second_deg=second_deg,
        walking_side_deg=walking_deg,
        best_deg=best_deg,
        best_share_saved=best_saved,
        best_uncertainty_share=best_doubt,
        told_apart=bool(abs(saved) > doubt_of_it),
        scorch_share_saved=scorch_saved,
        uncertainty_share=scorch_doubt,
        walking_side_share_lost=_share_lost(sun, walking_deg, chosen),
        planting_line_share_lost=_share_lost(sun, row_deg, chosen),
        kept_for_weather=kept_for_weather,
    )


def _repeat(light: Floats) -> Floats:
    """The canopy's trials, then the model's own twice for the trials of the afternoon."""
    return np.concatenate([light, light[:1], light[:1]])


def _trials(morning: Floats, afternoon: Floats, doubt: float, floor: float) -> Trials:
    own_m, own_a = morning[:1], afternoon[:1]
    light = np.concatenate(
        [morning + afternoon, own_m + own_a * (1.0 - doubt), own_m + own_a * (1.0 + doubt)]
    )
    return Trials(light=light, floor_share=floor)


def face_light(trials: Trials, face_deg: float) -> Floats:
    """Give the light on a panel that faces any way, in each trial, shape (t,)."""
    ways = trials.light.shape[1]
    place = face_deg % 360.0 / (360.0 / ways)
    before = int(place) % ways
    share = place - int(place)
    return trials.light[:, before] * (1.0 - share) + trials.light[:, (before + 1) % ways] * share


def pair_light(trials: Trials, face_deg: float) -> Floats:
    """Give the mean light on two panels that face one way and the opposite, shape (t,)."""
    return 0.5 * (face_light(trials, face_deg) + face_light(trials, face_deg + 180.0))


def share_saved(trials: Trials, pair_deg: float, rival_deg: float) -> tuple[float, float]:
    """Give the share of its rival's light that a pair saves, and one standard deviation of it.

    Each doubt moves the share by half the difference of its two trials; the doubts are held
    independent of each other.
    """
    return _compare(pair_light(trials, pair_deg), pair_light(trials, rival_deg), trials.floor_share)


def _compare(light: Floats, rival: Floats, floor_share: float) -> tuple[float, float]:
    if rival.min() <= 0.0:
        return 0.0, 0.0
    saved = 1.0 - light / rival
    moves = 0.5 * (saved[2::2] - saved[1::2])
    return float(saved[0]), float(np.sqrt((moves**2).sum() + floor_share**2))


def apart_deg(one_deg: float, other_deg: float) -> float:
    """Give the angle between two pairs of opposite faces, 0 to 90 degrees.

    Examples
    --------
    >>> apart_deg(350.0, 0.0), apart_deg(10.0, 100.0)
    (10.0, 90.0)
    """
    return abs((one_deg - other_deg + 90.0) % 180.0 - 90.0)


def _walking_side(row_deg: float, uphill_deg: float) -> float:
    """Square to the rows, and uphill of the two where the ground slopes."""
    side = (row_deg + 90.0) % 360.0
    if np.isnan(uphill_deg):
        return side % 180.0
    other = (side + 180.0) % 360.0
    return side if np.cos(np.radians(side - uphill_deg)) >= 0.0 else other


def _first_face(trials: Trials, face_deg: float) -> tuple[float, float]:
    """The less sunlit of the two first, where they are told apart; else in the order given."""
    one, other = face_deg % 360.0, (face_deg + 180.0) % 360.0
    saved, doubt = _compare(face_light(trials, other), face_light(trials, one), trials.floor_share)
    return (other, one) if saved > doubt else (one, other)


def _share_lost(trials: Trials, other_deg: float, chosen_deg: float) -> float:
    if np.isnan(other_deg):
        return float("nan")
    chosen = pair_light(trials, chosen_deg)[0]
    return float(pair_light(trials, other_deg)[0] / chosen - 1.0) if chosen > 0.0 else 0.0


def _out_of_the_weather(trials: Trials, rivals: list[float], weather_deg: float) -> float:
    """Of the pairs that the sun doesn't tell from north and south, the least driven into."""
    alike = []
    for pair in rivals:
        saved, doubt = share_saved(trials, pair, 0.0)
        if abs(saved) <= doubt:
            alike.append(pair)
    return max(alike, key=lambda pair: apart_deg(pair, weather_deg))
