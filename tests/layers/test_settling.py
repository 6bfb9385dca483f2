"""Which doubtful points to look at first, against figures worked out by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from layers import field_list, match_survey
from layers.matching.arrays import make_ground
from layers.matching.points import lay_out_sessions, session_codes
from layers.matching.session import Search, walk_session
from layers.matching.settling import settled_by
from layers.matching.stand import lay_out_stand
from tests.survey_bound import true_law
from tests.survey_simulator import SurveyForm, simulate_survey

DRAWS = 120


@pytest.fixture(scope="module")
def walks() -> np.ndarray:
    """Ten points that move together at even odds, five that move by themselves, and one sure."""
    generator = np.random.default_rng(3)
    shift = np.tile([0, 1], DRAWS // 2)
    together = [2 * t + shift for t in range(10)]
    alone = [40 + 2 * t + generator.permutation(shift) for t in range(5)]
    sure = [np.full(DRAWS, 60)]
    return np.column_stack([*together, *alone, *sure]).astype(np.int32)


def test_one_told_point_settles_those_that_move_with_it_and_the_others_only_themselves(
    walks: np.ndarray,
) -> None:
    doubtful = np.append(np.ones(15, bool), False)
    settles = settled_by(walks, doubtful)
    # At even odds a guess is right every other time, so each of ten gains half a point.
    assert settles[:10].max() == pytest.approx(5, abs=0.5)
    assert np.sort(settles[:10])[:9].max() < 0.1
    assert settles[10:15] == pytest.approx(0.5, abs=0.1)
    assert settles[15] == 0


def test_only_points_in_doubt_are_asked_about(walks: np.ndarray) -> None:
    doubtful = np.zeros(16, bool)
    doubtful[4] = True
    settles = settled_by(walks, doubtful)
    assert np.flatnonzero(settles).tolist() == [4]
    assert not settled_by(walks, np.zeros(16, bool)).any()


def test_far_along_the_walk_a_told_point_settles_nothing() -> None:
    shift = np.tile([0, 1], DRAWS // 2)
    walks = np.column_stack([2 * t + shift for t in range(1000)]).astype(np.int32)
    settles = settled_by(walks, np.ones(1000, bool))
    assert (settles > 1).sum() in range(3, 8)


def test_where_a_whole_walk_may_be_one_tree_on_one_confirmed_point_settles_it() -> None:
    """A row longer than the walk on both sides: a shift by one spacing fits as well."""
    generator = np.random.default_rng(5)
    along_m = 3.0 * np.arange(60)
    trees = gpd.GeoDataFrame(
        {
            "tree_id": [f"T{one:02d}" for one in range(60)],
            "row_id": "R1",
            "block_id": "B1",
            "tree_no": np.arange(1, 61),
        },
        geometry=gpd.points_from_xy(along_m, np.zeros(60)),
        crs="EPSG:32647",
    )
    walked = np.arange(20, 40)
    at = np.column_stack([along_m[walked] + 1.5, np.zeros(20)]) + generator.normal(0, 0.4, (20, 2))
    points = gpd.GeoDataFrame(
        {"point_id": [f"P{one:02d}" for one in range(20)]},
        geometry=gpd.points_from_xy(*at.T),
        crs=trees.crs,
    )
    matches = match_survey(trees, points).matches
    assert (matches["probability"] < 0.8).all()
    listed = field_list(matches, trees, points)
    first = listed.iloc[0]
    assert first["settles_points"] > 8
    assert f"settle {round(first['settles_points'])} points" in first["advice"]
    assert (listed["settles_points"].iloc[1:] < first["settles_points"]).all()

    place = int(first["point_id"][1:])
    confirmed = pd.DataFrame(
        {"point_id": [first["point_id"]], "tree_id": [f"T{walked[place]:02d}"]}
    )
    told = match_survey(trees, points, confirmed=confirmed).matches
    right = told["tree_id"] == [f"T{one:02d}" for one in walked]
    before = matches["probability"].sum()
    assert right.sum() >= before + first["settles_points"] - 3
    assert (told["settles_points"] < 3).all()


@pytest.mark.parametrize(("white_m", "same"), [(0.3, True), (2.5, False)])
def test_walks_are_drawn_only_where_a_point_is_in_doubt(white_m: float, same: bool) -> None:
    form = SurveyForm(rows=6, trees_per_row=12, step_high=3, white_m=white_m)
    survey = simulate_survey(form, 2)
    stand = lay_out_stand(survey.trees)
    codes, _ = session_codes(survey.points)
    session, _ = lay_out_sessions(survey.points, stand, np.full(len(codes), -1), codes)[0]
    ground = make_ground(stand, true_law(form), np.full((stand.size, 2), np.nan))
    walked = walk_session(ground, session, search=Search(), draws=20, draws_below=0.8)
    assert (walked.walks == walked.tree[:, 0]).all() == same
    assert (np.maximum(walked.share[:, 0], walked.lone) >= 0.8).all() == same
    assert bool(walked.walk_counts.sum()) != same
