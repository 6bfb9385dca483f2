"""What a survey is learned to be like: the law of steps, the receiver's noise, the odds."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from layers.matching.walk import BACK, CHANGE, JUMP, LONGEST_ENTRY, LONGEST_STEP, ROW_CHANGES

Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class StepLaw:
    """How the surveyor goes from one measured tree to the next; all shares sum to one.

    Parameters
    ----------
    step
        Share of steps of 0 (the same tree again), 1, 2 … places on, shape (17,).
    row_change
        Share of each way into the next row once a row is done, shape (9,).
    entry
        Share of rows whose first measured tree is 0, 1, 2 … places from its end, shape (17,).
    turn_share, jump_share, stray_share
        Shares of steps that turn back, that land anywhere, and of points that are of no tree.
    counts_places
        Whether steps count vacant places too, or standing trees alone.
    """

    step: Floats
    row_change: Floats
    entry: Floats
    turn_share: float = 0.01
    jump_share: float = 0.005
    stray_share: float = 0.01
    counts_places: bool = False


@dataclass(frozen=True, kw_only=True)
class Noise:
    """How the receiver errs, per axis, in metres.

    Parameters
    ----------
    offset_m
        Standard deviation of a session's constant offset, per axis.
    drift_m
        Standard deviation of the drift about it, per axis.
    drift_points
        Number of points over which the drift's correlation falls to 1/e.
    white_m
        Standard deviation of the white noise of each point, per axis.
    """

    offset_m: float = 4.0
    drift_m: float = 1.0
    drift_points: float = 100.0
    white_m: float = 2.0


@dataclass(frozen=True, kw_only=True)
class Odds:
    """How far written numbers and earlier girths are to be trusted.

    Parameters
    ----------
    wrong_row_share, wrong_tree_share
        Shares of written row and tree numbers that are wrong.
    growth_cm, growth_sd_cm
        Girth gained since the earlier round and its spread, measuring errors included.
    girth_cm, girth_sd_cm
        Mean and spread of girth over all measured points.
    same_share
        Share of trees whose earlier girth is of the same tree.
    """

    wrong_row_share: float = 0.02
    wrong_tree_share: float = 0.02
    growth_cm: float = 5.0
    growth_sd_cm: float = 3.0
    girth_cm: float = 45.0
    girth_sd_cm: float = 8.0
    same_share: float = 0.9


@dataclass(frozen=True, kw_only=True)
class SurveyLaw:
    """Everything that is learned from a survey."""

    steps: StepLaw
    noise: Noise = field(default_factory=Noise)
    odds: Odds = field(default_factory=Odds)


def first_law(mean_step: float, *, counts_places: bool = False) -> StepLaw:
    """Give a broad law of steps about a mean step counted in trees, to start learning from."""
    number = np.arange(LONGEST_STEP + 1)
    step = np.exp(-np.abs(number - mean_step) / (0.5 + 0.5 * mean_step)) + 1e-3
    step[0] = 0.02
    entry = np.exp(-np.arange(LONGEST_ENTRY + 1) / (1.0 + mean_step)) + 1e-3
    change = np.array([0.3, 0.15, 0.3, 0.15, 0.02, 0.02, 0.02, 0.02, 0.02])
    return StepLaw(
        step=step / step.sum(),
        row_change=change / change.sum(),
        entry=entry / entry.sum(),
        counts_places=counts_places,
    )


def law_from_counts(counts: Floats, lone: float, before: StepLaw) -> StepLaw:
    """Give the law of steps that expected counts speak for, with weak prior counts.

    Parameters
    ----------
    counts
        Expected number of steps of each kind, as the walk numbers kinds.
    lone
        Expected number of points of no tree.
    before
        The law the counts were made with.
    """
    on, back = counts[:BACK], counts[BACK:CHANGE]
    change = counts[CHANGE:JUMP].reshape(ROW_CHANGES, LONGEST_ENTRY + 1)
    jump = counts[JUMP]
    number = np.arange(LONGEST_STEP + 1)
    # A thin tail keeps every step possible, so that one odd step can't break a walk.
    step = on + np.where(number > 0, back, 0) + 0.02 + 0.2 * np.exp(-number / 3.0)
    step[0] = on[0] + 0.2
    entry = change.sum(axis=0) + 0.02 + 0.2 * np.exp(-np.arange(LONGEST_ENTRY + 1) / 3.0)
    changes = change.sum(axis=1) + 0.1
    total = on.sum() + back.sum() + change.sum() + jump
    return StepLaw(
        step=step / step.sum(),
        row_change=changes / changes.sum(),
        entry=entry / entry.sum(),
        turn_share=float((back.sum() + 0.2) / (total + 100)),
        jump_share=float((jump + 0.2) / (total + 100)),
        stray_share=float((lone + 0.5) / (total + lone + 100)),
        counts_places=before.counts_places,
    )
