"""The doors: a survey's points joined to trees, with everything the join found out."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.errors import ColumnError
from layers.matching.chains import chain_sessions, walkers
from layers.matching.first_guess import (
    first_odds,
    group_sessions,
    stride_of,
    to_learn_from,
    tree_gap_m,
)
from layers.matching.law import Noise, SurveyLaw, first_law
from layers.matching.learning import (
    FIRST_ROUNDS,
    MORE_ROUNDS,
    draw_laws,
    first_laws,
    learn_laws,
    walk_groups,
)
from layers.matching.points import check_points, check_trees, lay_out_sessions, session_codes
from layers.matching.session import (
    Search,
    Session,
    Walked,
    average_walked,
)
from layers.matching.settling import SURE, settled_by
from layers.matching.stand import Stand, lay_out_stand

# How many laws are drawn: fewer the more points tell the law, none where a great many do.
LAWS, LEAST_LAWS = 10, 4
LAWS_TIMES_POINTS = 20_000
LAWS_UP_TO_POINTS = 30_000
EARLIER_GIRTHS = 3
# Walks drawn of each session, under all laws together, and where none of these were drawn.
WALKS, FEW_WALKS = 120, 32

Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class SurveyMatch:
    """A survey joined to its trees.

    Parameters
    ----------
    matches
        One row a point, as :func:`match_points` gives it.
    candidates
        The likeliest trees of each point: point_id, tree_id, rank (from 1), probability.
    sessions
        One row a session: session_id, points, offset_x_m, offset_y_m (mean inferred offset),
        white_m, drift_m, drift_points (learned noise), law (position in `laws`).
    laws
        The law of steps, the noise and the odds that were learned, for each group of sessions
        walked alike; noise and odds are the same in all.
    """

    matches: pd.DataFrame
    candidates: pd.DataFrame
    sessions: pd.DataFrame
    laws: tuple[SurveyLaw, ...]


def match_points(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    *,
    earlier: pd.DataFrame | None = None,
    confirmed: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Join girth points to trees by everything the survey knows.

    Parameters
    ----------
    trees
        tree_id and point geometry in a metric CRS; row_id, row_no, block_id, tree_no and status
        are used where there.
    points
        point_id and point geometry; session_id, measured_at, surveyor, girth_cm, row_no and
        tree_no are used where there. Order in a session is walking order.
    earlier
        Girths of an earlier round: tree_id, girth_cm and, where known, measured_at and
        probability (that the girth is of that tree, as this function gave it). A tree may have
        several, as ``SurveyMatch.candidates`` of that round gives them. Where it is None,
        ``girth_cm`` of the trees layer is taken, if there.
    confirmed
        What the manager confirmed: point_id, tree_id (missing where the point is of no tree).

    Returns
    -------
    DataFrame
        One row a point in the points' order: point_id, tree_id (missing where no tree is likely),
        probability (that what tree_id says is right), second_tree_id, second_probability,
        dx_m, dy_m (inferred offset of the receiver, point minus tree, east and north),
        offset_sd_m (standard deviation of each) and settles_points (how many points are expected
        to come right, itself included, once its tree is known, after those that settle more; 0
        where the point isn't in doubt).

    Raises
    ------
    ColumnError, GeometryError, CrsError
        A key is missing or doubled, a geometry isn't one point, coordinates are in degrees.
    """
    return match_survey(trees, points, earlier=earlier, confirmed=confirmed).matches


def match_survey(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    *,
    earlier: pd.DataFrame | None = None,
    confirmed: pd.DataFrame | None = None,
    search: Search | None = None,
) -> SurveyMatch:
    """Join girth points to trees, and give all that was inferred; see :func:`match_points`."""
    check_trees(trees)
    points = check_points(points, trees)
    search = search or Search()
    stand = lay_out_stand(trees)
    if not len(points) or not stand.size:
        return _nothing_to_match(points)
    codes, names = session_codes(points)
    fixed = _confirmed_trees(trees, points, stand, confirmed)
    parts = lay_out_sessions(points, stand, fixed, codes)
    chained = chain_sessions(parts, walkers(points, codes), stand)
    sessions = [session for session, _ in chained]
    known = _earlier_girths(trees, stand, earlier)
    walked, laws, groups = _learn_and_walk(stand, sessions, known, search)
    inside = [one for _, one in chained]
    offset = _together(walked, inside, "offset")
    group = np.empty(len(points), np.int64)
    group[np.concatenate(inside)] = np.repeat(groups, [one.size for one in inside])
    return SurveyMatch(
        matches=_matches(trees, points, stand, walked, inside),
        candidates=_candidates(trees, points, stand, walked, inside),
        sessions=_session_frame(names, codes, offset, laws[0].noise, group),
        laws=tuple(laws),
    )


def _learn_and_walk(
    stand: Stand,
    sessions: Sequence[Session],
    earlier: NDArray[np.float64],
    search: Search,
) -> tuple[list[Walked], list[SurveyLaw], Whole]:
    """Learn the laws and walk every session under each law drawn; give sessions' groups too."""
    gap_m = tree_gap_m(stand)
    members = group_sessions(sessions, gap_m)
    groups = [[sessions[one] for one in inside] for inside in members]
    odds = first_odds(sessions, earlier)
    strides = [stride_of(group, gap_m) for group in groups]
    laws = [
        SurveyLaw(steps=first_law(stride.step_trees, far=stride.far), odds=odds)
        for stride in strides
    ]
    some = [to_learn_from(group, len(groups)) for group in groups]
    laws = first_laws(stand, some, laws, earlier, search=search)
    laws = learn_laws(
        stand, some, laws, earlier, search=search, rounds=MORE_ROUNDS, before=FIRST_ROUNDS
    )
    points = sum(len(one.at_m) for one in sessions)
    number = min(max(LAWS_TIMES_POINTS // points, LEAST_LAWS), LAWS)
    if points > LAWS_UP_TO_POINTS:
        number = 0
    drawn = draw_laws(stand, some, laws, earlier, search=search, number=number) or [laws]
    if number:
        # Where laws are drawn the survey is small enough to search it finely at last.
        search = dataclasses.replace(
            search, most=2 * search.most, each=2 * search.each, share=0.5 * search.share
        )
    order = np.concatenate(members)
    group_of, back = np.empty(len(sessions), np.int64), np.argsort(order)
    for number, inside in enumerate(members):
        group_of[inside] = number
    every_law = list(chain.from_iterable(drawn))
    one_law = len(drawn) == 1
    under = walk_groups(
        stand,
        groups * len(drawn),
        every_law,
        earlier,
        search=search,
        draws=FEW_WALKS if one_law else -(-WALKS // len(drawn)),
        draws_below=SURE if one_law else np.inf,
    )
    walked = [
        average_walked(list(same))
        for number in range(len(groups))
        for same in zip(*under[number :: len(groups)], strict=True)
    ]
    return [walked[one] for one in back], laws, group_of


def _nothing_to_match(points: gpd.GeoDataFrame) -> SurveyMatch:
    """Give the frames of a survey without points, or of a stand where no tree can be measured."""
    nothing = np.full(len(points), np.nan)
    none = pd.Series(pd.NA, index=range(len(points)), dtype="string")
    matches = pd.DataFrame(
        {
            "point_id": points["point_id"].to_numpy(),
            "tree_id": none,
            "probability": np.ones(len(points)),
            "second_tree_id": none,
            "second_probability": np.zeros(len(points)),
            "dx_m": nothing,
            "dy_m": nothing,
            "offset_sd_m": nothing,
            "settles_points": np.zeros(len(points)),
        }
    )
    law = SurveyLaw(steps=first_law(1.0))
    nobody, nowhere = np.zeros(0, np.int64), np.zeros((0, 3))
    return SurveyMatch(
        matches=matches,
        candidates=pd.DataFrame(columns=["point_id", "tree_id", "rank", "probability"]),
        sessions=_session_frame(np.zeros(0, dtype=object), nobody, nowhere, law.noise, nobody),
        laws=(law,),
    )


def _earlier_girths(
    trees: gpd.GeoDataFrame, stand: Stand, earlier: pd.DataFrame | None
) -> NDArray[np.float64]:
    """Give each tree's earlier girth and how sure it is of that tree; NaN where none."""
    known = np.full((stand.size, 2 * EARLIER_GIRTHS), np.nan)
    if earlier is None and "girth_cm" in trees:
        earlier = pd.DataFrame(trees[["tree_id", "girth_cm"]])
    if earlier is None or not len(earlier):
        return known
    some = earlier.dropna(subset=["tree_id", "girth_cm"])
    some = some.assign(sure=some.get("probability", 1.0))
    order = ["sure", "measured_at"] if "measured_at" in some else ["sure"]
    some = some.sort_values(order, ascending=False, kind="stable")
    rank = some.groupby("tree_id").cumcount()
    for number in range(EARLIER_GIRTHS):
        best = some[rank == number].set_index("tree_id")
        best = best.reindex(trees["tree_id"].iloc[stand.source])
        known[:, 2 * number] = best["girth_cm"].to_numpy(float)
        known[:, 2 * number + 1] = best["sure"].to_numpy(float).clip(0.01, 1.0)
    # Girths that could each be a tree's share one chance; girths that surely are share it evenly.
    total = np.nansum(known[:, 1::2], axis=1, keepdims=True)
    known[:, 1::2] /= np.maximum(total, 1.0)
    return known


def _confirmed_trees(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    stand: Stand,
    confirmed: pd.DataFrame | None,
) -> Whole:
    fixed = np.full(len(points), -1, np.int64)
    if confirmed is None or not len(confirmed):
        return fixed
    named = confirmed.drop_duplicates("point_id", keep="last").set_index("point_id")["tree_id"]
    tree = pd.Series(np.arange(stand.size), index=trees["tree_id"].iloc[stand.source])
    unknown = named.dropna()[~named.dropna().isin(tree.index)]
    if len(unknown):
        raise ColumnError.at(
            layer="confirmed",
            row=unknown.index[0],
            found=f"tree_id {unknown.iloc[0]}",
            expected="a standing tree of the trees layer",
            remedy="Confirm a tree that stands, or leave tree_id empty for a point of no tree.",
        )
    code = named.map(tree).fillna(-2).astype(np.int64)
    code = code[code.index.isin(points["point_id"])]
    where = pd.Series(np.arange(len(points)), index=points["point_id"])
    fixed[where.loc[code.index].to_numpy()] = code.to_numpy()
    return fixed


def _together(walked: Sequence[Walked], inside: Sequence[Whole], name: str) -> NDArray[np.float64]:
    if not walked:
        return np.zeros((0, 4))
    whole = np.concatenate([getattr(one, name) for one in walked])
    back = np.empty_like(whole)
    back[np.concatenate(inside)] = whole
    return back


def _names(trees: gpd.GeoDataFrame, stand: Stand, tree: Whole) -> pd.Series:
    ids = trees["tree_id"].iloc[stand.source].reset_index(drop=True)
    return ids.reindex(np.where(tree < 0, len(ids), tree)).reset_index(drop=True)


def _matches(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    stand: Stand,
    walked: Sequence[Walked],
    inside: Sequence[Whole],
) -> pd.DataFrame:
    tree = _together(walked, inside, "tree").astype(np.int64)
    share, offset = _together(walked, inside, "share"), _together(walked, inside, "offset")
    lone = _together(walked, inside, "lone")[: len(points)].reshape(len(points))
    none = lone > share[:, 0]
    first = np.where(none, -1, tree[:, 0])
    second = np.where(none, tree[:, 0], tree[:, 1])
    probability = np.where(none, lone, share[:, 0]).clip(0, 1)
    settles = np.zeros(len(points))
    for one, part in zip(walked, inside, strict=True):
        settles[part] = settled_by(one.walks, probability[part] < SURE)
    return pd.DataFrame(
        {
            "point_id": points["point_id"].to_numpy(),
            "tree_id": _names(trees, stand, first),
            "probability": probability,
            "second_tree_id": _names(trees, stand, second),
            "second_probability": np.where(none, share[:, 0], share[:, 1]),
            "dx_m": offset[:, 0],
            "dy_m": offset[:, 1],
            "offset_sd_m": offset[:, 2],
            "settles_points": settles.round(1),
        }
    )


def _candidates(
    trees: gpd.GeoDataFrame,
    points: gpd.GeoDataFrame,
    stand: Stand,
    walked: Sequence[Walked],
    inside: Sequence[Whole],
) -> pd.DataFrame:
    tree = _together(walked, inside, "tree").astype(np.int64)
    share = _together(walked, inside, "share")
    point, rank = np.nonzero((tree >= 0) & (share > 0.001))
    return pd.DataFrame(
        {
            "point_id": points["point_id"].to_numpy()[point],
            "tree_id": _names(trees, stand, tree[point, rank]),
            "rank": rank + 1,
            "probability": share[point, rank],
        }
    )


def _session_frame(
    names: NDArray[np.object_],
    codes: Whole,
    offset: NDArray[np.float64],
    noise: Noise,
    groups: Whole,
) -> pd.DataFrame:
    """Give a row a session, from each point's session, offset and group."""
    points = np.bincount(codes, minlength=names.size)
    east, north = (
        np.bincount(codes, offset[:, axis], minlength=names.size) / np.maximum(points, 1)
        for axis in range(2)
    )
    law = np.zeros(names.size, np.int64)
    law[codes] = groups
    return pd.DataFrame(
        {
            "session_id": names,
            "points": points,
            "offset_x_m": east,
            "offset_y_m": north,
            "white_m": noise.white_m,
            "drift_m": noise.drift_m,
            "drift_points": noise.drift_points,
            "law": law,
        }
    )
