"""Learning the law of steps, the receiver's noise and the odds from the survey itself.

Rounds of walking under the law so far, then of taking the law that the walks speak for. Noise is
learned from whole walks drawn from the posterior, so that doubt about the walk isn't mistaken
for a good fit to the nearest tree.

References
----------
Wei, G. C. G., Tanner, M. A. (1990). A Monte Carlo implementation of the EM algorithm. Journal of
the American Statistical Association 85(411), 699-704 (from memory).
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import chain
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from layers.matching.lattice import ANEW
from layers.matching.law import Noise, Odds, SurveyLaw, draw_steps, law_from_counts
from layers.matching.offset import last_beliefs, offset_evidence, size_evidence
from layers.matching.session import (
    Search,
    Session,
    Walked,
    anew_chance,
    fade_of_drift,
    make_ground,
    walk_session,
)
from layers.matching.stand import Stand

Floats = NDArray[np.float64]

DRAWS = 6
METROPOLIS_STEPS = 60
# Rounds before it is chosen how steps are counted, and after.
FIRST_ROUNDS, MORE_ROUNDS = 4, 6
LONG_ENOUGH = 5
SESSIONS_TO_TELL = 5
# Weak priors, as means and standard deviations of natural logs, that keep within reason what a
# short survey can't tell: offset, drift, points of drift, white noise.
PRIOR_LOG = np.log([4.0, 1.0, 100.0, 2.0])
PRIOR_SD = np.array([0.7, 0.7, 0.7, 1.0])
# The like for how far the sizes of sessions' offsets differ, over their size.
SIZES_PRIOR_LOG, SIZES_PRIOR_SD = float(np.log(0.35)), 1.0
# Offsets drawn anew, and points, that count before any survey is seen.
ANEW_PRIOR = (0.25, 500.0)
THREADS = 2
# Chains of laws drawn beside each other.
CHAINS = 2


class Track(NamedTuple):
    """Point minus tree along a drawn walk, NaN where of no tree, and what bears on its noise."""

    left: Floats
    accuracy: Floats
    pause: Floats
    anew: NDArray[np.bool_]


def _drawn_residuals(
    stand: Stand, sessions: Sequence[Session], walked: Sequence[Walked]
) -> list[Track]:
    place = np.column_stack([stand.x_m, stand.y_m])
    return [
        Track(
            np.where((walk >= 0)[:, None], session.at_m - place[walk], np.nan),
            session.accuracy_m,
            session.pause,
            anew,
        )
        for session, one in zip(sessions, walked, strict=True)
        for walk, anew in zip(one.walks, one.anew, strict=True)
    ]


def _log_posterior(tracks: Sequence[Track], free: Floats, draws: int) -> float:
    """Log evidence of residuals under a noise, beside the weak prior.

    `free` holds the logs of offset, drift, points of drift and white noise, and the power of the
    reported accuracy.
    """
    constant, drift, points, white = np.exp(free[:4])
    total = sum(
        offset_evidence(
            one.left,
            (white * one.accuracy ** free[4]) ** 2,
            fade_of_drift(one.pause, points),
            one.anew,
            constant**2,
            drift**2,
        )
        for one in tracks
    )
    prior = float((((free[:4] - PRIOR_LOG) / PRIOR_SD) ** 2).sum() + (free[4] / 0.5) ** 2)
    return float(total / draws - 0.5 * prior)


def _as_free(noise: Noise) -> Floats:
    logs = np.log([noise.offset_m, noise.drift_m, noise.drift_points, noise.white_m])
    return np.append(logs, noise.accuracy_power)


def _as_noise(free: Floats, size: tuple[float, float], anew_share: float) -> Noise:
    constant, drift, points, white = (float(one) for one in np.exp(free[:4]))
    return Noise(
        offset_m=constant,
        drift_m=drift,
        drift_points=points,
        white_m=white,
        accuracy_power=float(free[4]),
        size_m=size[0],
        size_sd_m=size[1],
        anew_share=anew_share,
    )


def _learn_anew(sessions: Sequence[Session], anew: float) -> float:
    """Share of points, pauses apart, before which the offset is drawn anew."""
    points = sum(len(one.at_m) for one in sessions)
    paused = sum(float(anew_chance(one, 0.0).sum()) for one in sessions)
    return (max(anew - paused, 0.0) + ANEW_PRIOR[0]) / (points + ANEW_PRIOR[1])


def _fit_of_sizes(
    tracks: Sequence[Track], draws: int, free: Floats
) -> Callable[[Floats], float] | None:
    """Give the log posterior of offsets' size and of how far sizes differ, from their logs.

    None where there are too few sessions to tell.
    """
    constant, drift, points, white = np.exp(free[:4])
    beliefs = np.concatenate(
        [
            last_beliefs(
                one.left,
                (white * one.accuracy ** free[4]) ** 2,
                fade_of_drift(one.pause, points),
                one.anew,
                constant**2,
                drift**2,
            )
            for one in tracks
        ]
    )
    beliefs = beliefs[beliefs[:, 3] >= LONG_ENOUGH]
    if len(beliefs) / draws < SESSIONS_TO_TELL:
        return None
    east, north, doubt = (beliefs[:, one].copy() for one in range(3))

    def fit(logs: Floats) -> float:
        size, spread = np.exp(logs)
        away = (logs[1] - logs[0] - SIZES_PRIOR_LOG) / SIZES_PRIOR_SD
        evidence = size_evidence(east, north, doubt, constant**2, size, spread) / draws
        return float(evidence - 0.5 * away**2)

    return fit


def _learn_size(tracks: Sequence[Track], draws: int, free: Floats) -> tuple[float, float]:
    """Size of the sessions' offsets and how far sizes differ; zeros where too few to tell."""
    fit = _fit_of_sizes(tracks, draws, free)
    if fit is None:
        return 0.0, 0.0
    start = float(free[0] + 0.5 * np.log(2))
    found = minimize(
        lambda logs: -fit(logs), [start, start + SIZES_PRIOR_LOG], method="Nelder-Mead"
    ).x
    return float(np.exp(found[0])), float(np.exp(found[1]))


def _walk_about(
    fit: Callable[[Floats], float],
    start: Floats,
    stride: Floats,
    generator: np.random.Generator,
) -> Floats:
    """Draw from what a log posterior leaves possible, by Metropolis steps."""
    now, level = start, fit(start)
    for _ in range(METROPOLIS_STEPS):
        new = now + generator.normal(0, 0.7, start.size) * stride
        there = fit(new)
        if np.log(generator.random()) < there - level:
            now, level = new, there
    return now


def learn_noise(
    stand: Stand, sessions: Sequence[Session], walked: Sequence[Walked], before: Noise
) -> Noise:
    """Give the noise under which walks drawn from the posterior are likeliest."""
    tracks = _drawn_residuals(stand, sessions, walked)
    told = any(np.ptp(one.accuracy) > 0 for one in tracks)
    start = _as_free(before)
    number = 5 if told else 4
    simplex = np.tile(start[:number], (number + 1, 1))
    simplex[1:] += np.diag([0.15, 0.15, 0.3, 0.1, 0.2][:number])

    def loss(free: Floats) -> float:
        return -_log_posterior(tracks, np.append(free, start[number:]), DRAWS)

    found = minimize(
        loss,
        start[:number],
        method="Nelder-Mead",
        options={"maxfev": 120, "xatol": 0.01, "fatol": 0.01, "initial_simplex": simplex},
    ).x
    anew = float(sum(one.counts[ANEW] for one in walked))
    free = np.append(found, start[number:])
    return _as_noise(free, _learn_size(tracks, DRAWS, free), _learn_anew(sessions, anew))


def draw_noise(
    stand: Stand,
    sessions: Sequence[Session],
    walked: Sequence[Walked],
    before: Noise,
    generator: np.random.Generator,
) -> Noise:
    """Draw a noise from what one drawn walk leaves possible, by Metropolis steps."""
    tracks = _drawn_residuals(stand, sessions, walked)
    told = any(np.ptp(one.accuracy) > 0 for one in tracks)
    now = _as_free(before)
    stride = np.array([0.2, 0.2, 0.3, 0.05, 0.1 if told else 0.0])
    now = _walk_about(lambda free: _log_posterior(tracks, free, 1), now, stride, generator)
    size = (before.size_m, before.size_sd_m)
    fit = _fit_of_sizes(tracks, 1, now) if before.size_sd_m > 0 else None
    if fit is not None:
        size = tuple(np.exp(_walk_about(fit, np.log(size), np.array([0.1, 0.5]), generator)))
    anew = float(sum(one.walk_counts[0, ANEW] for one in walked))
    return _as_noise(now, size, _learn_anew(sessions, anew))


def learn_odds(
    stand: Stand,
    sessions: Sequence[Session],
    walked: Sequence[Walked],
    earlier: Floats,
    before: Odds,
) -> Odds:
    """Give how far written numbers and earlier girths held along drawn walks."""
    tree = np.concatenate([one.walks.ravel() for one in walked])
    row_no, tree_no, girth = (
        np.concatenate([np.tile(getattr(one, name), DRAWS) for one in sessions])
        for name in ("row_no", "tree_no", "girth_cm")
    )
    on = tree >= 0
    wrong = []
    for wrote, true in ((row_no, stand.row_no), (tree_no, stand.tree_no)):
        both = on & (wrote >= 0) & (true[tree] >= 0)
        missed = float((wrote[both] != true[tree[both]]).sum()) / DRAWS
        wrong.append(min((missed + 0.4) / (both.sum() / DRAWS + 20), 0.9))
    odds = dataclasses.replace(before, wrong_row_share=wrong[0], wrong_tree_share=wrong[1])
    more = np.where(on[:, None], girth[:, None] - earlier[tree, 0::2], np.nan)
    sure = np.where(on[:, None], earlier[tree, 1::2], np.nan)
    return _learn_growth(more[~np.isnan(more)], sure[~np.isnan(more)], odds)


def _learn_growth(more: Floats, sure: Floats, before: Odds) -> Odds:
    """Learn growth from girths less earlier girths, some of them of other trees."""
    if more.size < 20 * DRAWS:
        return before
    growth, spread, held = before.growth_cm, before.growth_sd_cm, before.held_share
    # Girths of two trees differ by more than those of one, by the square root of two.
    other_sd = before.girth_sd_cm * np.sqrt(2)
    for _ in range(20):
        like = held * sure * np.exp(-0.5 * ((more - growth) / spread) ** 2) / spread
        unlike = (1 - held * sure) * np.exp(-0.5 * ((more - growth) / other_sd) ** 2) / other_sd
        belongs = like / (like + unlike + 1e-300)
        growth = float((belongs * more).sum() / belongs.sum())
        spread = float(np.sqrt((belongs * (more - growth) ** 2).sum() / belongs.sum() + 0.04))
        held = float(np.clip(belongs.sum() / sure.sum(), 0.2, 0.99))
    return dataclasses.replace(before, growth_cm=growth, growth_sd_cm=spread, held_share=held)


def walk_groups(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    draws: int = 0,
    seed: int = 1,
) -> list[list[Walked]]:
    """Walk each group's sessions under the group's law, the longest first."""
    walks = [
        partial(
            walk_session, make_ground(stand, law, earlier), search=search, draws=draws, seed=seed
        )
        for law in laws
    ]
    every = [
        (group, place) for group, sessions in enumerate(groups) for place in range(len(sessions))
    ]
    every.sort(key=lambda one: -len(groups[one[0]][one[1]].at_m))
    with ThreadPoolExecutor(THREADS) as pool:
        walking = {
            (group, place): pool.submit(walks[group], groups[group][place])
            for group, place in every
        }
    return [
        [walking[group, place].result() for place in range(len(sessions))]
        for group, sessions in enumerate(groups)
    ]


def _lone(walked: Sequence[Walked]) -> float:
    return float(sum(one.lone.sum() for one in walked))


def learn_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    rounds: int,
    before: int = 0,
) -> list[SurveyLaw]:
    """Learn the likeliest laws in rounds of walking and counting, after so many rounds before.

    Each group has a law of steps of its own; noise and odds are the survey's.
    """
    laws = list(laws)
    sessions = list(chain.from_iterable(groups))
    for number in range(before, before + rounds):
        walked = walk_groups(stand, groups, laws, earlier, search=search, draws=DRAWS, seed=number)
        together = list(chain.from_iterable(walked))
        noise = learn_noise(stand, sessions, together, laws[0].noise)
        odds = learn_odds(stand, sessions, together, earlier, laws[0].odds)
        laws = [
            SurveyLaw(
                steps=law_from_counts(
                    np.sum([one.counts for one in group], axis=0), _lone(group), law.steps
                ),
                noise=noise,
                odds=odds,
            )
            for group, law in zip(walked, laws, strict=True)
        ]
    return laws


def first_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
) -> list[SurveyLaw]:
    """Learn first laws, and whether each group's steps count vacant places too, by what fits."""
    vacant = int((stand.row_last - stand.row_first + 1).sum()) - stand.size
    if not stand.has_rows or not vacant:
        return learn_laws(stand, groups, laws, earlier, search=search, rounds=FIRST_ROUNDS)
    tries, fits = [], []
    for counts_places in (False, True):
        tried = [
            dataclasses.replace(
                law, steps=dataclasses.replace(law.steps, counts_places=counts_places)
            )
            for law in laws
        ]
        tried = learn_laws(stand, groups, tried, earlier, search=search, rounds=FIRST_ROUNDS)
        walked = walk_groups(stand, groups, tried, earlier, search=search)
        tries.append(tried)
        fits.append([sum(one.evidence for one in group) for group in walked])
    return [tries[int(fit[1] > fit[0])][which] for which, fit in enumerate(zip(*fits, strict=True))]


def draw_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    number: int,
) -> list[list[SurveyLaw]]:
    """Draw laws from what a survey leaves possible, beginning at its likeliest laws.

    A short survey can't tell its law well. Matches are averaged over laws drawn in turns with
    walks, so that they are no surer than the survey lets them be. Each of several chains draws
    `number` laws; the last of them, `number` together, are given, since the first lie too near
    the likeliest.

    References
    ----------
    Tanner, M. A., Wong, W. H. (1987). The calculation of posterior distributions by data
    augmentation. Journal of the American Statistical Association 82(398), 528-540 (from memory).
    """

    def chain_of(which: int) -> list[list[SurveyLaw]]:
        return _chain_of_laws(
            stand, groups, laws, earlier, search=search, turns=number, seed=100 * (which + 1)
        )

    with ThreadPoolExecutor(CHAINS) as pool:
        chains = list(pool.map(chain_of, range(CHAINS)))
    drawn = [one for every in zip(*chains, strict=True) for one in every]
    return drawn[len(drawn) - number :]


def _chain_of_laws(
    stand: Stand,
    groups: Sequence[Sequence[Session]],
    laws: Sequence[SurveyLaw],
    earlier: Floats,
    *,
    search: Search,
    turns: int,
    seed: int,
) -> list[list[SurveyLaw]]:
    """Draw walks under laws and laws under walks in turns, beginning at the laws given."""
    generator = np.random.default_rng(seed)
    laws, sessions = list(laws), list(chain.from_iterable(groups))
    drawn = []
    for turn in range(turns):
        walked = walk_groups(stand, groups, laws, earlier, search=search, draws=1, seed=seed + turn)
        together = list(chain.from_iterable(walked))
        noise = draw_noise(stand, sessions, together, laws[0].noise, generator)
        laws = [
            dataclasses.replace(
                law,
                steps=draw_steps(
                    np.sum([one.walk_counts[0] for one in group], axis=0),
                    float(sum((one.walks[0] < 0).sum() for one in group)),
                    law.steps,
                    generator,
                ),
                noise=noise,
            )
            for group, law in zip(walked, laws, strict=True)
        ]
        drawn.append(laws)
    return drawn
