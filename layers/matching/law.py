"""What a survey is learned to be like: the law of steps, the receiver's noise, the odds."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from layers.matching.lattice import AFRESH, ANY_ROW, AT_END, BESIDE, CARRIED, ELSEWHERE, IN_PLACE
from layers.matching.steps import (
    BACK,
    CHANGE,
    JUMP,
    LONGEST_ENTRY,
    LONGEST_STEP,
    NEAR,
    ROW_CHANGES,
    TURNS,
)

Floats = NDArray[np.float64]

# Prior counts: how many steps' worth of belief the smooth first guess keeps beside the survey.
STEP_PRIOR = 20.0
ENTRY_PRIOR = 8.0
# Trees measured twice, and steps, that count before any survey is seen.
REPEATS_PRIOR = (1.0, 60.0)


@dataclass(frozen=True, kw_only=True)
class StepLaw:
    """How the surveyor goes from one measured tree to the next.

    Parameters
    ----------
    step
        Share of steps of 0 (the same tree again), 1, 2 … places on, shape (17,); in a stand
        without rows, of steps of 0, 1, 2 … spacings.
    row_change
        Share of each way into the next row once a row is done, shape (9,).
    entry
        Share of rows begun afresh at 0, 1, 2 … places from the end, shape (17,).
    turning
        Relative odds of turning by 0, 45, … 180 degrees in a stand without rows, shape (5,).
    carry_share
        Share of row changes in which the last step carries on into the next row.
    any_row_share
        Share of ends of rows after which any row may follow, however far.
    turn_share, jump_share, stray_share
        Shares of steps that turn back, that land anywhere, and of points that are of no tree.
    ends_share
        Share of walks begun, and of jumps landed, at the end of a row as rows are entered.
    in_place_share
        Share of points of no tree that were taken in the place of a tree, which the walk passed.
    counts_places
        Whether steps count vacant places too, or standing trees alone.
    far
        Whether most steps are expected to be longer than `step` holds, and so to land anywhere.
    """

    step: Floats
    row_change: Floats
    entry: Floats
    turning: Floats
    carry_share: float = 0.3
    any_row_share: float = 0.03
    turn_share: float = 0.01
    jump_share: float = 0.005
    stray_share: float = 0.01
    ends_share: float = 0.5
    in_place_share: float = 0.5
    counts_places: bool = False
    far: bool = False


@dataclass(frozen=True, kw_only=True)
class Noise:
    """How the receiver errs, per axis.

    Parameters
    ----------
    offset_m
        Standard deviation of a session's constant offset, metres.
    drift_m
        Standard deviation of the drift about it, metres.
    drift_points
        Number of points over which the drift's correlation falls to 1/e.
    white_m
        Standard deviation of the white noise of each point, metres.
    anew_share
        Share of points before which the offset is drawn anew.
    size_m, size_sd_m
        Mean and standard deviation of the size of sessions' constant offsets, metres; the
        latter 0 where there are too few sessions to tell.
    accuracy_power
        How strongly the white noise follows the accuracy that the receiver reported: 0 not at
        all, 1 in proportion.
    """

    offset_m: float = 4.0
    drift_m: float = 1.0
    drift_points: float = 100.0
    white_m: float = 2.0
    accuracy_power: float = 0.0
    anew_share: float = 0.0005
    size_m: float = 0.0
    size_sd_m: float = 0.0


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
    held_share
        Share of repeats that hold to the law of growth.
    """

    wrong_row_share: float = 0.02
    wrong_tree_share: float = 0.02
    growth_cm: float = 5.0
    growth_sd_cm: float = 3.0
    girth_cm: float = 45.0
    girth_sd_cm: float = 8.0
    held_share: float = 0.95


@dataclass(frozen=True, kw_only=True)
class SurveyLaw:
    """Everything that is learned from a survey."""

    steps: StepLaw
    noise: Noise = field(default_factory=Noise)
    odds: Odds = field(default_factory=Odds)


def first_law(mean_step: float, *, counts_places: bool = False, far: bool = False) -> StepLaw:
    """Give a broad law of steps to start learning from.

    Parameters
    ----------
    mean_step
        Trees from one point to the next, at least 1.
    counts_places, far
        As in :class:`StepLaw`.
    """
    number = np.arange(LONGEST_STEP + 1)
    step = np.exp(-np.abs(number - mean_step) / (0.5 + 0.5 * mean_step)) + 1e-3
    step[0] = 0.02
    step /= step.sum()
    change = np.array([0.3, 0.15, 0.3, 0.15, 0.02, 0.02, 0.02, 0.02, 0.02])
    return StepLaw(
        step=step,
        row_change=change / change.sum(),
        entry=_first_places(step),
        turning=np.array([1.0, 0.7, 0.4, 0.3, 0.3]),
        jump_share=0.5 if far else 0.005,
        ends_share=0.01 if far else 0.5,
        counts_places=counts_places,
        far=far,
    )


def _first_places(step: Floats) -> Floats:
    """Where a row is first measured if steps fall on it at any phase: the law's own tail."""
    tail = np.cumsum(step[::-1])[::-1]
    entry = np.append(tail[1:], 0.0) + 1e-3
    return entry / entry.sum()


def few_levels(counts: Floats) -> Floats:
    """Give the law with the fewest levels that counts speak for.

    Neighbouring numbers share one level unless the counts tell them apart, by the Bayesian
    information criterion with two figures (where it begins, how high it is) a level. Doubtful
    walks can't tell a share of 0.28 from one of 0.4, and would otherwise talk themselves into it.

    Parameters
    ----------
    counts
        Expected counts of 0, 1, 2 …, not all zero.

    Returns
    -------
    ndarray of float
        Shares, same shape, summing to one.

    References
    ----------
    Schwarz, G. (1978). Estimating the dimension of a model. Annals of Statistics 6(2), 461-464
    (from memory).

    Examples
    --------
    >>> few_levels(np.array([0.0, 95.0, 105.0, 100.0, 0.0])).round(2).tolist()
    [0.0, 0.33, 0.33, 0.33, 0.0]
    """
    size, whole = counts.size, counts.sum()
    price = np.log(max(whole, 2.0))
    cost = np.append(0.0, np.full(size, np.inf))
    begin = np.zeros(size + 1, dtype=np.int64)
    running = np.append(0.0, np.cumsum(counts))
    for end in range(1, size + 1):
        for low in range(end):
            mass = running[end] - running[low]
            level = (mass + 1e-9) / (end - low)
            one = cost[low] + price - mass * np.log(level)
            if one < cost[end]:
                cost[end], begin[end] = one, low
    share = np.zeros(size)
    end = size
    while end > 0:
        low = int(begin[end])
        share[low:end] = (running[end] - running[low]) / (end - low)
        end = low
    return share / share.sum()


def _beside_few_levels(counts: Floats, prior: float) -> Floats:
    """Shrink counts towards few levels: the more of them, the more they have their own say."""
    whole = counts.sum()
    if whole <= 0:
        return counts
    levels = few_levels(counts) * whole
    own = whole / (whole + 50 * prior)
    return np.asarray(own * counts + (1 - own) * levels)


def law_from_counts(counts: Floats, lone: float, before: StepLaw) -> StepLaw:
    """Give the law of steps that expected counts speak for, beside weak prior counts.

    Parameters
    ----------
    counts
        Expected number of steps of each kind, as :func:`layers.matching.lattice.smooth_walk`
        gives them.
    lone
        Expected number of points of no tree.
    before
        The law the counts were made with.

    References
    ----------
    Silverman, B. W., Jones, M. C., Nychka, D. W., Wilson, J. D. (1990). A smoothed EM approach to
    indirect estimation problems. Journal of the Royal Statistical Society B 52(2), 271-324
    (from memory: smoothing between rounds of expectation and maximisation).
    """
    on, back = counts[:BACK].copy(), counts[BACK:CHANGE]
    change = counts[CHANGE:JUMP].reshape(ROW_CHANGES, LONGEST_ENTRY + 1)
    near = counts[NEAR : NEAR + BACK * TURNS].reshape(BACK, TURNS)
    on += near.sum(axis=1)
    moves = on.copy()
    moves[1:] += back[1:]
    # A thin tail keeps every step possible, so that one odd step can't break a walk.
    tail = 0.1 * np.exp(-np.arange(LONGEST_STEP + 1) / 3.0) + 0.01
    step = np.append(moves[0], _beside_few_levels(moves[1:], STEP_PRIOR)) + tail
    step /= step.sum()
    # That a tree is measured twice is another thing than how far the next one is.
    again = (moves[0] + REPEATS_PRIOR[0]) / (moves.sum() + REPEATS_PRIOR[1])
    step = np.append(again, step[1:] * (1 - again) / step[1:].sum())
    entry = change.sum(axis=0)
    entry = _beside_few_levels(entry, ENTRY_PRIOR) + ENTRY_PRIOR * _first_places(step)
    changes = change.sum(axis=1) + 0.1
    turning = near.sum(axis=0) / np.array([1.0, 2.0, 2.0, 2.0, 1.0])
    turning += 0.02 * turning.sum() + 1.0
    shares = {
        name: float(yes / (yes + no)) for name, (yes, no) in _chances(counts, lone, before).items()
    }
    return StepLaw(
        step=step,
        row_change=changes / changes.sum(),
        entry=entry / entry.sum(),
        turning=turning / turning.max(),
        **shares,
        counts_places=before.counts_places,
        far=before.far,
    )


def _chances(counts: Floats, lone: float, before: StepLaw) -> dict[str, tuple[float, float]]:
    """Give how often each thing happened and how often not, with what counts before any survey."""
    back, jump = float(counts[BACK:CHANGE].sum()), float(counts[JUMP])
    near = float(counts[NEAR : NEAR + BACK * TURNS].sum())
    rows = float(counts[AFRESH] + counts[CARRIED])
    any_row = float(counts[ANY_ROW])
    total = float(counts[:BACK].sum()) + near + back + rows + any_row + jump
    # Far walks are jumps mostly, and land anywhere.
    jumps, among = (5.0, 10.0) if before.far else (0.2, 100.0)
    ends = (0.1, 10.0) if before.far else (1.0, 1.0)
    return {
        "carry_share": (float(counts[CARRIED]) + 1, float(counts[AFRESH]) + 2),
        "any_row_share": (any_row + 0.3, rows + 9.7),
        "turn_share": (back + 0.2, total - back + 99.8),
        "jump_share": (jump + jumps, total - jump + among - jumps),
        "stray_share": (lone + 0.5, total + 99.5),
        "ends_share": (float(counts[AT_END]) + ends[0], float(counts[ELSEWHERE]) + ends[1]),
        "in_place_share": (float(counts[IN_PLACE]) + 1, float(counts[BESIDE]) + 1),
    }


def draw_steps(
    counts: Floats, lone: float, before: StepLaw, generator: np.random.Generator
) -> StepLaw:
    """Draw a law of steps from what the counts of one walk leave possible."""
    likeliest = law_from_counts(counts, lone, before)
    steps = max(float(counts[:CHANGE].sum()), 1.0)
    rows = max(float(counts[CHANGE:JUMP].sum()), 1.0)

    def drawn(share: Floats, number: float) -> Floats:
        some = generator.gamma(np.maximum(share * number, 1e-3)) + 1e-4 * number * share + 1e-12
        return np.asarray(some / some.sum())

    shares: dict[str, Any] = {
        name: float(np.clip(generator.beta(yes, no), 1e-6, 1 - 1e-6))
        for name, (yes, no) in _chances(counts, lone, before).items()
    }
    return dataclasses.replace(
        likeliest,
        step=drawn(likeliest.step, steps + STEP_PRIOR),
        entry=drawn(likeliest.entry, rows + ENTRY_PRIOR),
        **shares,
    )
