"""Weigh the pairs of opposite faces against each other, and say which the sun tells apart."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from estate.figures import Figure
from estate.sun.table import FLOW, SCORCH_AFTERNOON, SCORCH_MORNING

Floats = NDArray[np.float64]
Figures = Mapping[str, Figure]

SAME_WAY_DEG = 10.0
NORTH_SOUTH_DEG = 0.0


@dataclass(frozen=True, kw_only=True)
class PanelLight:
    """Light on panels that face each way, MJ/m², shape (t, 36), evenly round from north.

    The first row is the model's own; then come pairs of rows, each one standard deviation down
    and up in one thing that isn't known well.

    Parameters
    ----------
    flow
        In flow hours.
    scorch_morning, scorch_afternoon
        In scorching hours before noon, and after.
    """

    flow: Floats
    scorch_morning: Floats
    scorch_afternoon: Floats

    @classmethod
    def of(cls, kinds: Floats) -> PanelLight:
        """Take the light from an array of shape (t, 5, 36), as a rose holds it."""
        return cls(
            flow=kinds[:, FLOW],
            scorch_morning=kinds[:, SCORCH_MORNING],
            scorch_afternoon=kinds[:, SCORCH_AFTERNOON],
        )


@dataclass(frozen=True, kw_only=True)
class Trials:
    """One measure of light by face, in the model's own form and under each doubt.

    Parameters
    ----------
    light
        Shape (t, 36), rows as in :class:`PanelLight`.
    floor_share
        The part of a comparison's standard deviation that no trial shows.
    coverage
        How many standard deviations the stated uncertainty covers.
    """

    light: Floats
    floor_share: float
    coverage: float

    def face(self, face_deg: float) -> Floats:
        """Give the light on a panel that faces any way, in each trial, shape (t,)."""
        ways = self.light.shape[1]
        place = face_deg % 360.0 / 360.0 * ways
        before = int(place) % ways
        share = place - int(place)
        return self.light[:, before] * (1.0 - share) + self.light[:, (before + 1) % ways] * share

    def pair(self, face_deg: float) -> Floats:
        """Give the mean light on two panels that face one way and the opposite, shape (t,)."""
        return 0.5 * (self.face(face_deg) + self.face(face_deg + 180.0))

    def saved(self, light: Floats, rival: Floats) -> tuple[float, float]:
        """Give the share of a rival's light that is saved, and the uncertainty of that share.

        Each doubt moves the share by half the difference of its two trials, and the doubts are
        held independent; a rival without light saves nothing.

        Examples
        --------
        >>> trials = Trials(light=np.ones((3, 4)), floor_share=0.03, coverage=2.0)
        >>> saved, doubt = trials.saved(np.array([0.6, 0.5, 0.7]), np.ones(3))
        >>> round(saved, 3), round(doubt, 3)
        (0.4, 0.209)
        """
        if rival.min() <= 0.0:
            return 0.0, 0.0
        saved = 1.0 - light / rival
        moves = 0.5 * (saved[2::2] - saved[1::2])
        deviation = np.sqrt((moves**2).sum() + self.floor_share**2)
        return float(saved[0]), float(self.coverage * deviation)

    def pair_saved(self, pair_deg: float, rival_deg: float) -> tuple[float, float]:
        """Give what one pair of faces saves of another's light; see :meth:`saved`."""
        return self.saved(self.pair(pair_deg), self.pair(rival_deg))


@dataclass(frozen=True, kw_only=True)
class Choice:
    """A pair of opposite faces, and how it compares.

    Pairs are compared by the light in scorching hours, and in flow hours by their weight (none by
    default), averaged over both panels. Shares are of the other pair's.

    Parameters
    ----------
    first_deg, second_deg
        The faces; the less sunlit first where the two are told apart, else the northern.
    walking_side_deg
        The way a panel faces toward the inter-row; the uphill one on a slope.
    best_deg
        The face, 0 to 170, whose pair the sun itself would choose.
    best_share_saved, best_uncertainty_share
        Light that the best pair saves against north and south, and the uncertainty of it.
    rival_deg
        What the recommended pair is held against: the walking side; where that is the same
        pair, north and south; where that is the same too, or without rows, the pair square to
        the recommended one.
    scorch_share_saved, uncertainty_share, told_apart
        Light that the recommended pair saves against its rival, the uncertainty of it, and
        whether the first is the larger.
    flow_share_saved
        Light in flow hours that it saves against its rival.
    first_face_share_saved, first_told_apart
        Light that the first face saves against the second, and whether that is more than its
        uncertainty.
    walking_side_share_lost, planting_line_share_lost
        Light that the pair toward the inter-row, and along the row, takes on beyond the
        recommended pair's; NaN without rows.
    turned_from_weather
        Rain and wind settled what the sun left open, against north and south.
    """

    first_deg: float
    second_deg: float
    walking_side_deg: float
    best_deg: float
    best_share_saved: float
    best_uncertainty_share: float
    rival_deg: float
    scorch_share_saved: float
    uncertainty_share: float
    told_apart: bool
    flow_share_saved: float
    first_face_share_saved: float
    first_told_apart: bool
    walking_side_share_lost: float
    planting_line_share_lost: float
    turned_from_weather: bool


def choose_pair(
    light: PanelLight,
    *,
    row_deg: float,
    uphill_deg: float,
    weather_deg: float | None,
    figures: Figures,
) -> Choice:
    """Choose a block's pair of faces.

    Parameters
    ----------
    light
        On panels that face each way.
    row_deg, uphill_deg
        Ways of the rows and the slope, degrees from true north; NaN where unknown.
    weather_deg
        The way that rain and wind come from; None if not known.
    figures
        Table ``light``.
    """
    sun = _trials(light, figures)
    ways = np.arange(0.0, 180.0, 360.0 / sun.light.shape[1])
    best_deg = float(ways[np.argmin([sun.pair(way)[0] for way in ways])])
    best_saved, best_doubt = sun.pair_saved(best_deg, NORTH_SOUTH_DEG)
    walking_deg = _walking_side(row_deg, uphill_deg)
    chosen, turned = NORTH_SOUTH_DEG, False
    needed = max(best_doubt, figures["least_saving"].value)
    if apart_deg(best_deg, NORTH_SOUTH_DEG) > SAME_WAY_DEG and best_saved > needed:
        chosen = best_deg
    elif weather_deg is not None:
        others = [best_deg] if np.isnan(row_deg) else [best_deg, walking_deg, row_deg]
        chosen = _out_of_the_weather(sun, others, weather_deg)
        turned = chosen != NORTH_SOUTH_DEG
    rival_deg = _rival(chosen, walking_deg)
    saved, doubt = sun.pair_saved(chosen, rival_deg)
    flow = Trials(light=light.flow, floor_share=sun.floor_share, coverage=sun.coverage)
    first_deg, second_deg = _first_face(sun, chosen)
    first_saved, first_doubt = sun.saved(sun.face(first_deg), sun.face(second_deg))
    return Choice(
        first_deg=first_deg,
        second_deg=second_deg,
        walking_side_deg=walking_deg,
        best_deg=best_deg,
        best_share_saved=best_saved,
        best_uncertainty_share=best_doubt,
        rival_deg=rival_deg,
        scorch_share_saved=saved,
        uncertainty_share=doubt,
        told_apart=bool(abs(saved) > doubt),
        flow_share_saved=flow.pair_saved(chosen, rival_deg)[0],
        first_face_share_saved=first_saved,
        first_told_apart=bool(first_saved > first_doubt),
        walking_side_share_lost=_share_lost(sun, walking_deg, chosen),
        planting_line_share_lost=_share_lost(sun, row_deg, chosen),
        turned_from_weather=turned,
    )


def _trials(light: PanelLight, figures: Figures) -> Trials:
    """The light by which pairs are compared, with the afternoon's own doubt beside the canopy's."""
    doubt = figures["afternoon_uncertainty"].value
    morning, afternoon = light.scorch_morning, light.scorch_afternoon
    scorch = np.concatenate(
        [
            morning + afternoon,
            morning[:1] + afternoon[:1] * (1.0 - doubt),
            morning[:1] + afternoon[:1] * (1.0 + doubt),
        ]
    )
    flow = np.concatenate([light.flow, light.flow[:1], light.flow[:1]])
    return Trials(
        light=scorch + figures["flow_weight"].value * flow,
        floor_share=figures["numeric_uncertainty"].value,
        coverage=figures["coverage_factor"].value,
    )


def _rival(chosen_deg: float, walking_deg: float) -> float:
    if not np.isnan(walking_deg) and apart_deg(walking_deg, chosen_deg) > SAME_WAY_DEG:
        return walking_deg
    if apart_deg(NORTH_SOUTH_DEG, chosen_deg) > SAME_WAY_DEG:
        return NORTH_SOUTH_DEG
    return (chosen_deg + 90.0) % 180.0


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


def _first_face(sun: Trials, face_deg: float) -> tuple[float, float]:
    """The less sunlit of the two first, where they are told apart; else the northern one."""
    one, other = face_deg % 360.0, (face_deg + 180.0) % 360.0
    if np.cos(np.radians(one)) < 0.0:
        one, other = other, one
    saved, doubt = sun.saved(sun.face(other), sun.face(one))
    return (other, one) if saved > doubt else (one, other)


def _share_lost(sun: Trials, other_deg: float, chosen_deg: float) -> float:
    if np.isnan(other_deg):
        return float("nan")
    chosen = sun.pair(chosen_deg)[0]
    return float(sun.pair(other_deg)[0] / chosen - 1.0) if chosen > 0.0 else 0.0


def _out_of_the_weather(sun: Trials, rivals: list[float], weather_deg: float) -> float:
    """Of the pairs that the sun doesn't tell from north and south, the least driven into."""
    alike = [NORTH_SOUTH_DEG]
    for rival in rivals:
        saved, doubt = sun.pair_saved(rival, NORTH_SOUTH_DEG)
        if abs(saved) <= doubt and apart_deg(rival, NORTH_SOUTH_DEG) > SAME_WAY_DEG:
            alike.append(rival % 180.0)
    return max(alike, key=lambda pair: apart_deg(pair, weather_deg))
