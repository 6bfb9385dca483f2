"""What a walk could reach that is told the truth: the bound beside which matching is measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tests.survey_simulator import Survey, SurveyForm, step_law

Floats = NDArray[np.float64]


def told_the_truth(survey: Survey) -> NDArray[np.int64]:
    """Likeliest walk by Viterbi's rule, told each point's true offset and the true law of steps.

    Returns
    -------
    ndarray of int
        The tree's position in the frame, -1 where a point is likelier of no tree.
    """
    form, trees = survey.form, survey.trees
    place = np.column_stack([trees.geometry.x, trees.geometry.y])
    standing = (trees["status"] == "standing").to_numpy()
    at = np.column_stack([survey.points.geometry.x, survey.points.geometry.y]) - survey.offset_m
    sessions = survey.points["session_id"].to_numpy()
    got = np.empty(len(at), dtype=np.int64)
    moves = _moves(form, standing.reshape(form.rows, form.trees_per_row))
    for one in np.unique(sessions):
        inside = sessions == one
        got[inside] = _likeliest_walk(form, place, standing, at[inside], moves)
    return got


def _moves(form: SurveyForm, standing: NDArray[np.bool_]) -> tuple[Floats, ...]:
    """Every possible step as (from, to, log share) over states 2 * tree + direction."""
    rows, size = standing.shape
    steps, _, _, shares = step_law(form)
    source, target, weight = [], [], []

    def add(a: int, b: int, w: float) -> None:
        source.append(a)
        target.append(b)
        weight.append(w)

    for row in range(rows):
        line = np.arange(size) if form.step_counts_places else np.flatnonzero(standing[row])
        for at, tree in enumerate(line):
            for way, turn in enumerate((1, -1)):
                state = 2 * (row * size + tree) + way
                out = 0.0
                for step, share in zip(steps, shares, strict=True):
                    for flip, part in ((0, 1 - form.uturn_share), (1, form.uturn_share)):
                        to = at + (turn if not flip else -turn) * step
                        if part == 0:
                            continue
                        if 0 <= to < len(line):
                            new = way if not flip else 1 - way
                            add(state, 2 * (row * size + line[to]) + new, share * part)
                        else:
                            out += share * part
                if form.repeat_share:
                    add(state, state, form.repeat_share)
                out += form.jump_share
                for after in (row - 1, row + 1):
                    if out == 0 or not 0 <= after < rows:
                        continue
                    there = (
                        np.arange(size)
                        if form.step_counts_places
                        else np.flatnonzero(standing[after])
                    )
                    new = 1 - way if form.serpentine else way
                    ordered = there if new == 0 else there[::-1]
                    for tree_to in ordered[: form.step_high]:
                        mass = out / form.step_high * (1.0 if after > row else 1e-6)
                        add(state, 2 * (after * size + int(tree_to)) + new, mass)
    order = np.argsort(target, kind="stable")
    return (
        np.array(source)[order],
        np.array(target)[order],
        np.log(np.array(weight)[order]),
    )


def _likeliest_walk(
    form: SurveyForm,
    place: Floats,
    standing: NDArray[np.bool_],
    at: Floats,
    moves: tuple[Floats, ...],
) -> NDArray[np.int64]:
    source, target, weight = moves
    states = 2 * len(place)
    starts = np.flatnonzero(np.diff(target, prepend=-1))
    tos = target[starts]
    log_jump = np.log(max(form.jump_share, 1e-9) / states)
    log_stray = np.log(max(form.stray_share, 1e-9) / np.prod(np.ptp(place, axis=0)))
    fit = np.empty((len(at), states))
    for t, one in enumerate(at):
        far = ((place - one) ** 2).sum(axis=1) / form.white_m**2
        log = -0.5 * far - np.log(2 * np.pi * form.white_m**2)
        log[~standing] = -np.inf
        fit[t] = np.repeat(np.logaddexp(log, log_stray), 2)
    score = fit[0].copy()
    back = np.empty((len(at), states), dtype=np.int64)
    for t in range(1, len(at)):
        top = int(np.argmax(score))
        new = np.full(states, score[top] + log_jump)
        back[t] = top
        arriving = score[source] + weight
        best = np.maximum.reduceat(arriving, starts)
        pick = np.flatnonzero(arriving == np.repeat(best, np.diff(np.append(starts, len(target)))))
        _, once = np.unique(target[pick], return_index=True)
        better = best > new[tos]
        new[tos[better]] = best[better]
        back[t, tos[better]] = source[pick[once]][better]
        score = new + fit[t]
    walk = np.empty(len(at), dtype=np.int64)
    walk[-1] = int(np.argmax(score))
    for t in range(len(at) - 1, 0, -1):
        walk[t - 1] = back[t, walk[t]]
    tree = walk // 2
    far = ((place[tree] - at) ** 2).sum(axis=1) / form.white_m**2
    lone = -0.5 * far - np.log(2 * np.pi * form.white_m**2) < log_stray
    return np.where(lone, -1, tree)
