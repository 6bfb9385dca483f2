"""What a walk could reach that is told the truth: the bounds beside which matching is measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from layers.matching.arrays import make_ground
from layers.matching.chains import chain_sessions, walkers
from layers.matching.law import Noise, StepLaw, SurveyLaw
from layers.matching.points import lay_out_sessions, session_codes
from layers.matching.session import Search, walk_session
from layers.matching.stand import lay_out_stand
from layers.matching.steps import LONGEST_ENTRY, LONGEST_STEP, ROW_CHANGES
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
    moves = possible_moves(form, standing.reshape(form.rows, form.trees_per_row))
    for one in np.unique(sessions):
        inside = sessions == one
        got[inside] = _likeliest_walk(form, place, standing, at[inside], moves)
    return got


def told_the_law(survey: Survey) -> tuple[NDArray[np.int64], Floats]:
    """Likeliest trees by this project's own walk, told the true law of steps and the true noise.

    Unlike :func:`told_the_truth` it has to find the offset: what lies between the two is what no
    survey of this form lets anyone know, what lies below it is lost in learning.

    Returns
    -------
    tree
        The tree's position in the frame, -1 where a point is likelier of no tree, shape (n,).
    share
        Its probability, shape (n,).
    """
    return walk_under(survey, true_law(survey.form), search=Search())


def walk_under(
    survey: Survey, law: SurveyLaw, *, search: Search
) -> tuple[NDArray[np.int64], Floats]:
    """Give what :func:`told_the_law` does, and the probability of each, under a law."""
    stand = lay_out_stand(survey.trees)
    codes, _ = session_codes(survey.points)
    parts = lay_out_sessions(survey.points, stand, np.full(len(survey.points), -1), codes)
    chained = chain_sessions(parts, walkers(survey.points, codes), stand)
    ground = make_ground(stand, law, np.full((stand.size, 2), np.nan))
    got, said = np.full(len(survey.points), -1, dtype=np.int64), np.zeros(len(survey.points))
    for session, inside in chained:
        walked = walk_session(ground, session, search=search)
        lone = walked.lone > walked.share[:, 0]
        got[inside] = np.where(lone, -1, stand.source[walked.tree[:, 0]])
        said[inside] = np.where(lone, walked.lone, walked.share[:, 0])
    return got, said


def true_law(form: SurveyForm) -> SurveyLaw:
    """Give a form's law and noise as a walk takes them; rows may be numbered either way."""
    never = 1e-9
    step, entry = np.full(LONGEST_STEP + 1, never), np.full(LONGEST_ENTRY + 1, never)
    steps, _, _, shares = step_law(form)
    step[steps] = shares * (1 - form.repeat_share)
    step[0] = max(form.repeat_share, never)
    entry[: form.step_high] = 1
    change = np.full(ROW_CHANGES, never)
    change[[0, 2] if form.serpentine else [1, 3]] = 1
    return SurveyLaw(
        steps=StepLaw(
            step=step / step.sum(),
            row_change=change / change.sum(),
            entry=entry / entry.sum(),
            turning=np.ones(5),
            carry_share=1 - 1e-6 if form.carry_over else 1e-6,
            turn_share=max(form.uturn_share, 1e-7),
            jump_share=max(form.jump_share, 1e-7),
            stray_share=max(form.stray_share, 1e-7),
            any_row_share=max(min(form.jump_share * form.trees_per_row / 2, 0.5), 1e-7),
            ends_share=1 - max(form.stray_share, 1e-6),
            in_place_share=1 - 1e-6,
            counts_places=form.step_counts_places,
        ),
        noise=Noise(
            offset_m=form.offset_m / np.sqrt(2),
            drift_m=form.drift_m,
            drift_points=form.drift_points,
            white_m=form.white_m,
            anew_share=1e-9,
            size_m=form.offset_m,
            size_sd_m=0.2,
        ),
    )


def possible_moves(form: SurveyForm, standing: NDArray[np.bool_]) -> tuple[Floats, ...]:
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
