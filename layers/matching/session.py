"""One session walked under a law: what it gives for each point."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from layers.matching.arrays import Ground
from layers.matching.evidence import PointArrays
from layers.matching.lattice import COUNTS, draw_walks, smooth_walk
from layers.matching.law import SurveyLaw
from layers.matching.offset import BELIEF, smooth_offset
from layers.matching.steps import SearchArrays
from layers.matching.walk import filter_walk

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]

# Pauses, in usual times from point to point, that a surveyor's ordinary delays stay under, and
# after which the offset is as likely kept as 1/e (common practice, no source: satellites'
# geometry, and so the error under canopy, changes over one to two hours, points take half a
# minute).
LONG_PAUSE = 8.0
PAUSE_FORGETS = 200.0


@dataclass(frozen=True, kw_only=True)
class Search:
    """How widely a walk is searched.

    Parameters
    ----------
    most
        Survivors kept at each point, at most, beside those of `each`.
    each
        Survivors kept of every offset far from the others, at most.
    reach
        Survivors less likely than the best by more than this (natural log) are dropped.
    share
        Survivors of one tree are merged within this share of the offset's standard deviation.
    stretch, beyond
        Points smoothed at a time, and points looked ahead beyond them.
    """

    most: int = 256
    each: int = 24
    reach: float = 11.0
    share: float = 0.75
    stretch: int = 4000
    beyond: int = 400


@dataclass(frozen=True, kw_only=True)
class Session:
    """One session's points in walking order, or those of a chain of sessions, as arrays.

    Parameters
    ----------
    at_m
        Places, shape (n, 2), metres from the stand's origin.
    accuracy_m
        Accuracy the receiver reported, over the survey's median, shape (n,); 1 where none.
    pause
        How long ago the point before was measured, in usual times from point to point, shape
        (n,); 1 where usual or not known.
    begins
        Whether a later session of a chain begins at the point, shape (n,).
    row_no, tree_no
        Written numbers, -1 where none.
    girth_cm
        Girth, NaN where none.
    fixed
        Confirmed tree, -1 where none, -2 where confirmed to be of no tree.
    area_m2
        Area in which a point of no tree could lie.
    trees_near
        Trees in that area.
    """

    at_m: Floats
    accuracy_m: Floats
    pause: Floats
    begins: NDArray[np.bool_]
    row_no: Whole
    tree_no: Whole
    girth_cm: Floats
    fixed: Whole
    area_m2: float
    trees_near: float

    def first(self, number: int) -> Session:
        """Give the session's first points only."""
        part = slice(0, number)
        return dataclasses.replace(
            self,
            at_m=self.at_m[part],
            accuracy_m=self.accuracy_m[part],
            pause=self.pause[part],
            begins=self.begins[part],
            row_no=self.row_no[part],
            tree_no=self.tree_no[part],
            girth_cm=self.girth_cm[part],
            fixed=self.fixed[part],
        )


@dataclass(frozen=True, kw_only=True)
class Walked:
    """What a smoothed session gives.

    Parameters
    ----------
    tree, share
        Each point's likeliest trees and their probabilities, shape (n, 4).
    lone
        Probability that it is of no tree, shape (n,).
    offset
        Offset east and north and its standard deviation, metres, shape (n, 3).
    counts
        Expected number of steps by kind.
    walk_counts
        Number of steps by kind in each drawn walk, shape (draws, kinds).
    evidence
        Natural log of how likely the points are under the law.
    walks
        Walks drawn from the posterior, shape (draws, n), -1 where of no tree.
    anew
        Whether the offset was drawn anew at each point of each drawn walk, shape (draws, n).
    survivors
        Mean number of survivors at a point.
    """

    tree: NDArray[np.int32]
    share: Floats
    lone: Floats
    offset: Floats
    counts: Floats
    walk_counts: Floats
    evidence: float
    walks: NDArray[np.int32]
    anew: NDArray[np.bool_]
    survivors: float


def white_variance(session: Session, law: SurveyLaw) -> Floats:
    """Give the variance of each point's white noise, m²."""
    return np.asarray(
        (law.noise.white_m * session.accuracy_m**law.noise.accuracy_power) ** 2, dtype=float
    )


def fade_of_drift(pause: Floats, drift_points: float) -> Floats:
    """Give what is left of the drift after each pause."""
    return np.asarray(np.exp(-pause / drift_points))


def anew_chance(session: Session, anew_share: float) -> Floats:
    """Give the chance that the offset was drawn anew before each point.

    A receiver that stands idle loses its offset whatever was learned of it while it was walked.
    """
    idle = 1 - np.exp(-np.maximum(session.pause - LONG_PAUSE, 0) / PAUSE_FORGETS)
    chance = 1 - (1 - anew_share) * (1 - idle)
    chance[:1] = 0.0
    chance[session.begins] = 1.0
    return np.asarray(chance)


def _point_arrays(
    session: Session, part: slice, white: Floats, fade: Floats, chance: Floats, ground: Ground
) -> PointArrays:
    row_no, tree_no, fixed = (
        np.ascontiguousarray(one[part]) for one in (session.row_no, session.tree_no, session.fixed)
    )
    girth = np.ascontiguousarray(session.girth_cm[part])
    weighed = ~np.isnan(girth) & ground.knows_girths
    return PointArrays(
        x=np.ascontiguousarray(session.at_m[part, 0]),
        y=np.ascontiguousarray(session.at_m[part, 1]),
        white=np.ascontiguousarray(white[part]),
        fade=np.ascontiguousarray(fade[part]),
        anew=np.log(np.maximum(chance[part], 1e-300)),
        begins=np.ascontiguousarray(session.begins[part]),
        row_no=row_no,
        tree_no=tree_no,
        girth=girth,
        fixed=fixed,
        told=(row_no >= 0) | (tree_no >= 0) | (fixed != -1) | weighed,
        area_m2=session.area_m2,
        trees_near=session.trees_near,
        odds=ground.odds,
    )


def walk_session(
    ground: Ground,
    session: Session,
    *,
    search: Search,
    draws: int = 0,
    seed: int = 1,
    draws_below: float = np.inf,
) -> Walked:
    """Filter and smooth one session, a stretch at a time so that memory stays bounded.

    Walks are drawn only of stretches in which some point is less sure than `draws_below`; those
    of any other stretch are its likeliest trees, and aren't counted.
    """
    noise = ground.survey_law.noise
    white = white_variance(session, ground.survey_law)
    fade = fade_of_drift(session.pause, noise.drift_points)
    anew_before = anew_chance(session, noise.anew_share)
    settings = SearchArrays(search.most, search.each, search.reach, search.share)
    size = len(session.at_m)
    chance = np.random.default_rng(seed).random((draws, size))
    begin_tree, begin_way = np.full(1, -1, np.int32), np.zeros(1, np.int8)
    begin = np.zeros((1, BELIEF))
    begin[0, 4], begin[0, 6] = noise.offset_m**2, noise.drift_m**2
    trees, parts = [], []
    counts, walk_counts = np.zeros(COUNTS), np.zeros((draws, COUNTS))
    evidence, survivors = 0.0, 0
    for low in range(0, size, search.stretch):
        keep = min(low + search.stretch, size) - low
        part = slice(low, min(low + keep + search.beyond, size))
        points = _point_arrays(session, part, white, fade, anew_before, ground)
        lattice, node_start, log_evidence = filter_walk(
            ground.stand, points, ground.law, settings, begin_tree, begin_way, begin
        )
        top, share, lone, middle, fresh, some = smooth_walk(
            lattice, node_start, ground.stand, ground.law, keep
        )
        if np.maximum(share[:keep, 0], lone[:keep]).min() < draws_below:
            walks, drawn_anew, walk_some = draw_walks(
                lattice,
                node_start,
                ground.stand,
                ground.law,
                np.ascontiguousarray(chance[:, part]),
                keep,
            )
            walk_counts += walk_some
        else:
            likeliest = np.where(lone > share[:, 0], -1, top[:, 0]).astype(np.int32)
            walks = np.broadcast_to(likeliest, (draws, likeliest.size))
            drawn_anew = np.zeros_like(walks, dtype=bool)
        trees.append((top[:keep], walks[:, :keep], drawn_anew[:, :keep]))
        parts.append((share[:keep], lone[:keep], middle[:keep], fresh[:keep]))
        counts += some
        evidence += float(log_evidence[:keep].sum())
        survivors += int(node_start[keep])
        inside = slice(node_start[keep - 1], node_start[keep])
        begin_tree, begin_way = lattice.tree[inside].copy(), lattice.way[inside].copy()
        begin = lattice.belief[inside].copy()
    share, lone, middle, anew = (np.concatenate(one) for one in zip(*parts, strict=True))
    left = np.where((lone < 0.9)[:, None], session.at_m - middle[:, :2], np.nan)
    offset = smooth_offset(
        left, white + middle[:, 2], fade, anew > 0.5, noise.offset_m**2, noise.drift_m**2
    )
    return Walked(
        tree=np.concatenate([one for one, _, _ in trees]),
        share=share,
        lone=lone,
        offset=offset,
        counts=counts,
        walk_counts=walk_counts,
        evidence=evidence,
        walks=np.concatenate([one for _, one, _ in trees], axis=1),
        anew=np.concatenate([one for _, _, one in trees], axis=1),
        survivors=survivors / size,
    )


def average_walked(same: list[Walked]) -> Walked:
    """Average one session's matches over several laws."""
    if len(same) == 1:
        return same[0]
    size = len(same[0].lone)
    tree = np.concatenate([one.tree for one in same], axis=1)
    share = np.concatenate([one.share for one in same], axis=1) / len(same)
    # Sum the shares of one tree over laws: sort by tree, add up runs, take the largest.
    order = np.argsort(tree, axis=1, kind="stable")
    tree, share = np.take_along_axis(tree, order, 1), np.take_along_axis(share, order, 1)
    running = np.cumsum(share, axis=1)
    last = np.append(tree[:, 1:] != tree[:, :-1], np.ones((size, 1), bool), axis=1)
    before = np.maximum.accumulate(np.where(last, running, 0.0), axis=1)
    before = np.append(np.zeros((size, 1)), before[:, :-1], axis=1)
    summed = np.where(last & (tree >= 0), running - before, -1.0)
    top = np.argsort(-summed, axis=1, kind="stable")[:, : same[0].tree.shape[1]]
    share = np.take_along_axis(summed, top, 1)
    offset = np.mean([one.offset for one in same], axis=0)
    spread = np.mean([one.offset[:, 2] ** 2 for one in same], axis=0)
    spread += 0.5 * np.var([one.offset[:, :2] for one in same], axis=0).sum(axis=1)
    offset[:, 2] = np.sqrt(spread)
    return dataclasses.replace(
        same[0],
        tree=np.where(share > 0, np.take_along_axis(tree, top, 1), -1),
        share=share.clip(0, 1),
        lone=np.mean([one.lone for one in same], axis=0),
        offset=offset,
        walk_counts=np.concatenate([one.walk_counts for one in same]),
        walks=np.concatenate([one.walks for one in same]),
        anew=np.concatenate([one.anew for one in same]),
    )
