"""The doors: a survey's points joined to trees, with everything the join found out."""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.errors import ColumnError
from layers.matching.law import SurveyLaw, first_law
from layers.matching.learning import choose_counting, draw_laws, first_odds, learn_law
from layers.matching.points import check_points, check_trees, lay_out_sessions, session_codes
from layers.matching.session import (
    Search,
    Session,
    Walked,
    average_walked,
    make_ground,
    walk_session,
)
from layers.matching.stand import Stand, lay_out_stand

LEARN_POINTS = 3000
LAWS = 10
LAWS_UP_TO_POINTS = 30_000
THREADS = 2
EARLIER_GIRTHS = 3

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
        white_m, drift_m, drift_points (learned noise).
    law
        The law of steps, the noise and the odds that were learned.
    """

    matches: pd.DataFrame
    candidates: pd.DataFrame
    sessions: pd.DataFrame
    law: SurveyLaw


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
        dx_m, dy_m (inferred offset of the receiver, point minus tree, east and north) and
        offset_sd_m (standard deviation of each).

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
    sessions = [session for session, _ in parts]
    known = _earlier_girths(trees, stand, earlier)
    law = SurveyLaw(steps=first_law(_mean_step(stand, sessions)), odds=first_odds(sessions, known))
    some = _to_learn_from(sessions)
    law = choose_counting(stand, some, law, known, search=search)
    law = learn_law(stand, some, law, known, search=search)
    number = LAWS if len(points) <= LAWS_UP_TO_POINTS else 0
    laws = draw_laws(stand, some, law, known, search=search, number=number) or [law]
    walked = _walk_under_laws(stand, sessions, laws, known, search)
    inside = [one for _, one in parts]
    return SurveyMatch(
        matches=_matches(trees, points, stand, walked, inside),
        candidates=_candidates(trees, points, stand, walked, inside),
        sessions=_session_frame(names, walked, law),
        law=law,
    )


def _walk_under_laws(
    stand: Stand,
    sessions: Sequence[Session],
    laws: Sequence[SurveyLaw],
    earlier: NDArray[np.float64],
    search: Search,
) -> list[Walked]:
    """Walk every session under each law, and average what they give."""
    walked: list[list[Walked]] = []
    for law in laws:
        ground = make_ground(stand, law, earlier)
        walk = partial(walk_session, ground, search=search)
        with ThreadPoolExecutor(THREADS) as pool:
            walked.append(list(pool.map(walk, sessions)))
    return [average_walked(list(same)) for same in zip(*walked, strict=True)]


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
        }
    )
    law = SurveyLaw(steps=first_law(1.0))
    return SurveyMatch(
        matches=matches,
        candidates=pd.DataFrame(columns=["point_id", "tree_id", "rank", "probability"]),
        sessions=_session_frame(np.zeros(0, dtype=object), [], law),
        law=law,
    )


def _to_learn_from(sessions: Sequence[Session]) -> list[Session]:
    """Choose sessions from all over the survey, up to a number of points."""
    chosen: list[Session] = []
    left = LEARN_POINTS
    for which in np.random.default_rng(0).permutation(len(sessions)):
        if left <= 0:
            break
        chosen.append(sessions[which].first(left))
        left -= len(chosen[-1].at_m)
    return chosen


def _mean_step(stand: Stand, sessions: Sequence[Session]) -> float:
    """Trees passed from one point to the next, from how fast the points move on."""
    ahead = 6
    gap = np.hypot(np.diff(stand.x_m), np.diff(stand.y_m))
    inside = np.diff(stand.row) == 0
    moves = [one.at_m[ahead:] - one.at_m[:-ahead] for one in sessions if len(one.at_m) > ahead]
    if not moves or not inside.any():
        return 1.5
    way = np.hypot(*np.concatenate(moves).T)
    return float(np.clip(np.median(way) / ahead / np.median(gap[inside]), 1, 12))


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
    return pd.DataFrame(
        {
            "point_id": points["point_id"].to_numpy(),
            "tree_id": _names(trees, stand, first),
            "probability": np.where(none, lone, share[:, 0]).clip(0, 1),
            "second_tree_id": _names(trees, stand, second),
            "second_probability": np.where(none, share[:, 0], share[:, 1]),
            "dx_m": offset[:, 0],
            "dy_m": offset[:, 1],
            "offset_sd_m": offset[:, 2],
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
    names: NDArray[np.object_], walked: Sequence[Walked], law: SurveyLaw
) -> pd.DataFrame:
    return pd.DataFrame(
        {
            "session_id": names,
            "points": [len(one.tree) for one in walked],
            "offset_x_m": [float(one.offset[:, 0].mean()) for one in walked],
            "offset_y_m": [float(one.offset[:, 1].mean()) for one in walked],
            "white_m": law.noise.white_m,
            "drift_m": law.noise.drift_m,
            "drift_points": law.noise.drift_points,
        }
    )
