"""A survey's trees by sampling, told the law of steps and the noise: another way to the same end.

Whole walks are drawn given the offset at every point, and whole offset paths given the walk, in
turns; both draws are exact. It stays near the offset it begins at where a shift of a stretch by
one tree spacing fits as well, since no single draw moves a hundred points. Begun at the true
offset it is therefore told more than a survey tells; begun at the offset of another walk that fits
as well, it shows how much more.

References
----------
Carter, C. K., Kohn, R. (1994). On Gibbs sampling for state space models. Biometrika 81(3),
541-553 (from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layers.compiled import door
from tests.survey_bound import possible_moves
from tests.survey_simulator import Survey, SurveyForm

REACH_SD = 6.0

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def sample_trees(
    survey: Survey, begin_m: Floats, *, sweeps: int, burn: int, seed: int = 0
) -> tuple[Whole, Floats]:
    """Give each point's likeliest tree over walks drawn in turns with offsets.

    Only forms without stray points and jumps, in one session, are sampled.

    Parameters
    ----------
    survey
        The survey, n points.
    begin_m
        Each point's offset that sampling begins at, metres, shape (n, 2).
    sweeps, burn, seed
        Walks drawn, how many of the first of them aren't counted, and where chance begins.

    Returns
    -------
    tree
        The tree's position in the frame, shape (n,).
    share
        Share of the walks drawn in which it is this tree, shape (n,).
    """
    form, trees = survey.form, survey.trees
    if form.stray_share or form.jump_share or survey.points["session_id"].nunique() > 1:
        raise ValueError("One session without stray points and jumps is expected.")
    generator = np.random.default_rng(seed)
    place = np.column_stack([trees.geometry.x, trees.geometry.y])
    standing = (trees["status"] == "standing").to_numpy()
    at = np.column_stack([survey.points.geometry.x, survey.points.geometry.y])
    source, target, log_share = possible_moves(form, standing.reshape(form.rows, -1))
    first = np.searchsorted(target, np.arange(2 * len(place) + 1))
    share = np.exp(log_share)
    gain, root = _offsets_given_walk(form, len(at))
    offset, times = begin_m, np.zeros((len(at), len(place)))
    for sweep in range(sweeps):
        walk = _draw_walk(
            place, standing, at - offset, first, source, share, form.white_m,
            generator.random(len(at)),
        )  # fmt: skip
        offset = gain @ (at - place[walk]) + root @ generator.standard_normal(at.shape)
        if sweep >= burn:
            times[np.arange(len(at)), walk] += 1
    return times.argmax(axis=1), times.max(axis=1) / (sweeps - burn)


def offset_of_walk(survey: Survey, tree: Whole) -> Floats:
    """Give each point's likeliest offset in metres, shape (n, 2), were it of the tree told."""
    place = np.column_stack([survey.trees.geometry.x, survey.trees.geometry.y])
    at = np.column_stack([survey.points.geometry.x, survey.points.geometry.y])
    return _offsets_given_walk(survey.form, len(at))[0] @ (at - place[tree])


def _offsets_given_walk(form: SurveyForm, points: int) -> tuple[Floats, Floats]:
    """Give the gain that residuals have on the offset path, and a root of what stays in doubt."""
    apart = np.abs(np.subtract.outer(np.arange(points), np.arange(points)))
    prior = form.offset_m**2 / 2 + form.drift_m**2 * np.exp(-apart / form.drift_points)
    gain = np.linalg.solve(prior + form.white_m**2 * np.eye(points), prior).T
    left = prior - gain @ prior
    return gain, np.linalg.cholesky((left + left.T) / 2 + 1e-9 * np.eye(points))


@door
def _draw_walk(
    place: Floats,
    standing: NDArray[np.bool_],
    at: Floats,
    first: Whole,
    source: Whole,
    share: Floats,
    white_m: float,
    chance: Floats,
) -> Whole:
    """Draw one walk from all that fit: filtered forwards, drawn backwards."""
    points, states = at.shape[0], 2 * place.shape[0]
    ahead = np.zeros((points, states))
    for t in range(points):
        total = 0.0
        for k in range(place.shape[0]):
            far = ((at[t, 0] - place[k, 0]) ** 2 + (at[t, 1] - place[k, 1]) ** 2) / white_m**2
            if not standing[k] or far > REACH_SD**2:
                continue
            for state in (2 * k, 2 * k + 1):
                arriving = 1.0
                if t > 0:
                    arriving = 0.0
                    for i in range(first[state], first[state + 1]):
                        arriving += ahead[t - 1, source[i]] * share[i]
                ahead[t, state] = arriving * np.exp(-0.5 * far)
                total += ahead[t, state]
        for state in range(states):
            ahead[t, state] /= total
    walk = np.empty(points, np.int64)
    state = states - 1
    for one in range(states):
        chance[points - 1] -= ahead[points - 1, one]
        if chance[points - 1] <= 0:
            state = one
            break
    for t in range(points - 1, -1, -1):
        walk[t] = state // 2
        if t == 0:
            break
        total = 0.0
        for i in range(first[state], first[state + 1]):
            total += ahead[t - 1, source[i]] * share[i]
        pick, before = chance[t - 1] * total, -1
        for i in range(first[state], first[state + 1]):
            weight = ahead[t - 1, source[i]] * share[i]
            if weight > 0:
                before = source[i]
                pick -= weight
            if pick <= 0 and before >= 0:
                break
        state = before
    return walk
