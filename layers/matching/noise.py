"""Learning the receiver's noise from walks, and drawing it from what a walk leaves possible."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from layers.matching.lattice import ANEW
from layers.matching.law import Noise
from layers.matching.offset import last_beliefs, offset_evidence, size_evidence
from layers.matching.session import Session, Walked, anew_chance, fade_of_drift
from layers.matching.stand import Stand

Floats = NDArray[np.float64]

# Walks drawn of each session to learn from.
DRAWS = 6
METROPOLIS_STEPS = 60
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


def _seen_under(track: Track, free: Floats) -> tuple[object, ...]:
    """Give a track under a noise, as the loops over its offset take it."""
    constant, drift, points, white = np.exp(free[:4])
    variance = (white * track.accuracy ** free[4]) ** 2
    fade = fade_of_drift(track.pause, points)
    return track.left, variance, fade, track.anew, constant**2, drift**2


def _log_posterior(tracks: Sequence[Track], free: Floats, draws: int) -> float:
    """Log evidence of residuals under a noise, beside the weak prior.

    `free` holds the logs of offset, drift, points of drift and white noise, and the power of the
    reported accuracy.
    """
    total = sum(offset_evidence(*_seen_under(one, free)) for one in tracks)
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
    prior = float(np.exp(2 * free[0]))
    beliefs = np.concatenate([last_beliefs(*_seen_under(one, free)) for one in tracks])
    beliefs = beliefs[beliefs[:, 3] >= LONG_ENOUGH]
    if len(beliefs) / draws < SESSIONS_TO_TELL:
        return None
    east, north, doubt = (beliefs[:, one].copy() for one in range(3))

    def fit(logs: Floats) -> float:
        size, spread = np.exp(logs)
        away = (logs[1] - logs[0] - SIZES_PRIOR_LOG) / SIZES_PRIOR_SD
        evidence = size_evidence(east, north, doubt, prior, size, spread) / draws
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
