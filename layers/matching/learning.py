# mypy: disable-error-code="call-arg"
"""Learning the law of steps and the receiver's noise from the survey itself."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from layers.matching.law import Noise, Odds, SurveyLaw, law_from_counts
from layers.matching.stand import Stand
from layers.matching.walk import (
    KINDS,
    filter_walk,
    offset_evidence,
    sample_walks,
    smooth_offset,
    smooth_walk,
    step_room,
)

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Search:
    """How widely a walk is searched.

    Parameters
    ----------
    most
        Survivors kept at each point at most.
    reach
        Survivors less likely than the best by more than this (natural log) are dropped.
    share
        Survivors of one tree are merged within this share of the offset's standard deviation.
    stretch, beyond
        Points smoothed at a time, and points looked ahead beyond them.
    """

    most: int = 256
    reach: float = 14.0
    share: float = 0.75
    stretch: int = 4000
    beyond: int = 400


@dataclass(frozen=True, kw_only=True)
class Session:
    """One session's points in walking order, as arrays.

    Parameters
    ----------
    at_m
        Places, shape (n, 2), metres from the stand's origin.
    gap
        Points between each and the one before, shape (n,), 1 for the next.
    scale
        Standard deviation of the white noise relative to the session's, shape (n,).
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
    gap: Floats
    scale: Floats
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
            gap=self.gap[part],
            scale=self.scale[part],
            row_no=self.row_no[part],
            tree_no=self.tree_no[part],
            girth_cm=self.girth_cm[part],
            fixed=self.fixed[part],
        )


@dataclass(frozen=True, kw_only=True)
class Walked:
    """What a smoothed session gives."""

    tree: NDArray[np.int32]
    share: Floats
    lone: Floats
    offset: Floats
    counts: Floats
    evidence: float
    walks: NDArray[np.int32]
    survivors: float


def log_odds(odds: Odds, stand: Stand) -> Floats:
    """Odds as the walk takes them."""
    rows = max(np.unique(stand.row_no).size, 2)
    numbers = max(np.unique(stand.tree_no).size, 2)
    return np.array(
        [
            np.log((1 - odds.wrong_row_share) * rows),
            np.log(odds.wrong_row_share * rows / (rows - 1)),
            np.log((1 - odds.wrong_tree_share) * numbers),
            np.log(odds.wrong_tree_share * numbers / (numbers - 1)),
            odds.growth_cm,
            odds.growth_sd_cm,
            odds.girth_cm,
            odds.girth_sd_cm,
            odds.same_share,
        ]
    )


def walk_session(
    stand: Stand,
    session: Session,
    law: SurveyLaw,
    earlier: Floats,
    *,
    search: Search,
    draws: int = 0,
) -> Walked:
    """Filter and smooth one session under a law."""
    steps, noise = law.steps, law.noise
    if steps.counts_places:
        place, first, last = stand.place, stand.row_first, stand.row_last
    else:
        place = np.arange(stand.size) - stand.row_start[stand.row]
        first = np.zeros_like(stand.row_first)
        last = np.diff(stand.row_start) - 1
    room, tail = step_room(place, stand.row, stand.row_start, first, last, steps.step)
    white = (noise.white_m * session.scale) ** 2
    keep = float(np.exp(-1 / noise.drift_points))
    chances = np.array(
        [
            np.log(steps.turn_share),
            np.log(steps.jump_share),
            np.log(steps.stray_share),
            session.trees_near,
        ]
    )
    odds = log_odds(law.odds, stand)
    chance = np.random.default_rng(1).random((draws, len(session.at_m)))
    parts = []
    counts = np.zeros(KINDS)
    evidence, survivors = 0.0, 0
    begin_tree, begin_belief = np.zeros(0, np.int64), np.zeros((0, 8))
    size = len(session.at_m)
    for low in range(0, size, search.stretch):
        high = min(low + search.stretch, size)
        end = min(high + search.beyond, size)
        part = slice(low, end)
        lattice = filter_walk(
            session.at_m[part], white[part], session.gap[part],
            stand.x_m, stand.y_m, place, stand.row, stand.row_start, first, last,
            stand.row_block, stand.row_no, stand.tree_no, earlier,
            stand.cell_start, stand.cell_tree, stand.cells, stand.low_m, stand.cell_m,
            session.row_no[part], session.tree_no[part], session.girth_cm[part],
            session.fixed[part], odds,
            np.log(steps.step), room, tail, steps.row_change, np.log(steps.entry), chances,
            np.array([noise.offset_m**2, noise.drift_m**2, keep]), session.area_m2,
            search.most, search.reach, search.share, begin_tree, begin_belief,
        )  # fmt: skip
        node_start, tree, way, belief = lattice[:4]
        some = np.zeros(KINDS)
        top, share, lone, middle = smooth_walk(*lattice[:8], stand.x_m, stand.y_m, some)
        walks = sample_walks(*lattice[:7], chance[:, part])
        counts += some * (high - low) / (end - low)
        evidence += lattice[8][: high - low].sum()
        survivors += node_start[high - low]
        parts.append([one[: high - low] for one in (top, share, lone, middle, walks.T)])
        inside = slice(node_start[high - low - 1], node_start[high - low])
        begin_tree = tree[inside].astype(np.int64) * 4 + way[inside]
        begin_belief = belief[inside].copy()
    top, share, lone, middle, walks = (np.concatenate(one) for one in zip(*parts, strict=True))
    seen = lone < 0.9
    left = np.where(seen[:, None], session.at_m - middle[:, :2], np.nan)
    offset = smooth_offset(
        left, white + middle[:, 2], session.gap, noise.offset_m**2, noise.drift_m**2, keep
    )
    return Walked(
        tree=top,
        share=share,
        lone=lone,
        offset=offset,
        counts=counts,
        evidence=float(evidence),
        walks=walks.T,
        survivors=survivors / size,
    )


def learn_noise(
    stand: Stand, sessions: list[Session], walked: list[Walked], before: Noise
) -> Noise:
    """Give the noise under which walks drawn from the posterior are likeliest."""
    tracks = []
    place = np.column_stack([stand.x_m, stand.y_m])
    for session, one in zip(sessions, walked, strict=True):
        for walk in one.walks:
            left = np.where((walk >= 0)[:, None], session.at_m - place[walk], np.nan)
            tracks.append((left, session.scale**2, session.gap))
    draws = max(len(tracks) / len(sessions), 1)

    def loss(logs: Floats) -> float:
        offset, drift, points, white = np.exp(logs)
        keep = float(np.exp(-1 / points))
        total = sum(
            offset_evidence(left, white**2 * scale, gap, offset**2, drift**2, keep)
            for left, scale, gap in tracks
        )
        # Weak priors keep figures that a short survey can't tell within reason.
        prior = (
            ((logs[0] - np.log(4)) / 0.7) ** 2
            + ((logs[1] - 0) / 1.0) ** 2
            + ((logs[2] - np.log(100)) / 1.0) ** 2
            + ((logs[3] - np.log(2)) / 1.0) ** 2
        )
        return float(-total / draws + 0.5 * prior)

    start = np.log([before.offset_m, before.drift_m, before.drift_points, before.white_m])
    found = minimize(loss, start, method="Nelder-Mead", options={"maxfev": 120, "xatol": 0.02})
    offset, drift, points, white = (float(one) for one in np.exp(found.x))
    return Noise(offset_m=offset, drift_m=drift, drift_points=points, white_m=white)


def learn_law(
    stand: Stand,
    sessions: list[Session],
    law: SurveyLaw,
    earlier: Floats,
    *,
    search: Search,
    rounds: int = 8,
) -> SurveyLaw:
    """Learn a survey's law in rounds of walking and counting."""
    for _ in range(rounds):
        walked = [
            walk_session(stand, one, law, earlier, search=search, draws=6) for one in sessions
        ]
        counts = sum(one.counts for one in walked)
        lone = float(sum(one.lone.sum() for one in walked))
        law = dataclasses.replace(
            law,
            steps=law_from_counts(np.asarray(counts), lone, law.steps),
            noise=learn_noise(stand, sessions, walked, law.noise),
        )
    return law
