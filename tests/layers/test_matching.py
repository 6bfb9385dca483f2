"""Girth points land on the right tree, and the tool knows how sure it is."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layers import field_list, match_points, match_survey
from layers.errors import ColumnError, CrsError, GeometryError
from tests.survey_simulator import Survey, SurveyForm, simulate_survey, simulate_two_rounds

SMALL = SurveyForm(rows=10, trees_per_row=20)
# Crowns drawn by hand on an aerial image, 0.1 m a pixel and 40 m across, of an irregular stand at
# Ordway-Swisher Biological Station (National Ecological Observatory Network): OSBS_029.csv of the
# package deepforest 2.1.0 (MIT licence, beside it); the middle of each crown stands for the tree.
CROWNS = Path(__file__).with_name("osbs_029_crowns.csv")


def found(survey: Survey, matches: pd.DataFrame) -> NDArray[np.int64]:
    where = pd.Series(np.arange(len(survey.trees)), index=survey.trees["tree_id"])
    return matches["tree_id"].map(where).fillna(-1).to_numpy(np.int64)


def right_share(survey: Survey, matches: pd.DataFrame) -> float:
    return float((found(survey, matches) == survey.truth).mean())


def nearest_share(survey: Survey) -> float:
    trees = np.column_stack([survey.trees.geometry.x, survey.trees.geometry.y])
    points = np.column_stack([survey.points.geometry.x, survey.points.geometry.y])
    return float((cKDTree(trees).query(points)[1] == survey.truth).mean())


def test_a_full_survey_under_an_offset_beyond_the_spacing() -> None:
    survey = simulate_survey(SMALL, 3)
    matches = match_points(survey.trees, survey.points)
    assert list(matches["point_id"]) == list(survey.points["point_id"])
    assert nearest_share(survey) < 0.5
    assert right_share(survey, matches) > 0.98
    missed = matches[["dx_m", "dy_m"]].to_numpy() - survey.offset_m
    assert np.sqrt((missed**2).mean()) < 0.6
    assert matches["offset_sd_m"].between(0.05, 1.0).all()


def test_one_tree_in_five_is_matched_near_the_bound_and_knows_its_doubt() -> None:
    right, said, rows = [], [], []
    for seed in range(2):
        survey = simulate_survey(SurveyForm(step_low=4, step_high=6), seed)
        matches = match_points(survey.trees, survey.points)
        got = found(survey, matches)
        right.append(got == survey.truth)
        said.append(matches["probability"])
        rows.append(got // 40 == survey.truth // 40)
    # A walk told the true offsets gets 93 % of these.
    assert np.concatenate(right).mean() > 0.85
    assert np.concatenate(rows).mean() > 0.97
    assert abs(np.concatenate(right).mean() - np.concatenate(said).mean()) < 0.05


def test_sessions_of_a_row_each_in_either_direction() -> None:
    form = SurveyForm(rows=10, trees_per_row=20, rows_per_session=5, serpentine=False)
    survey = simulate_survey(form, 1)
    assert right_share(survey, match_points(survey.trees, survey.points)) > 0.95


def test_a_vacancy_is_never_measured() -> None:
    form = SurveyForm(rows=8, trees_per_row=25, vacant_share=0.15, step_low=1, step_high=2)
    survey = simulate_survey(form, 5)
    matches = match_points(survey.trees, survey.points)
    status = survey.trees.set_index("tree_id")["status"]
    assert (status.loc[matches["tree_id"].dropna()] == "standing").all()


def test_stray_points_are_found_among_turns_jumps_and_repeats() -> None:
    form = SurveyForm(
        step_low=1,
        step_high=3,
        uturn_share=0.01,
        jump_share=0.01,
        repeat_share=0.02,
        stray_share=0.02,
    )
    both = called = lone = 0
    for seed in range(2):
        survey = simulate_survey(form, seed)
        got = found(survey, match_points(survey.trees, survey.points))
        both += int(((got < 0) & (survey.truth < 0)).sum())
        called += int((got < 0).sum())
        lone += int((survey.truth < 0).sum())
    assert lone > 10
    assert both / called >= 0.9
    assert both / lone >= 0.9


def test_written_numbers_settle_what_the_walk_leaves_open() -> None:
    form = SurveyForm(rows=12, step_low=3, step_high=6, white_m=2.0, numbered_share=0.3)
    told, bare, wrote = [], [], []
    for seed in range(3):
        survey = simulate_survey(form, seed)
        without = survey.points.drop(columns=["row_no", "tree_no"])
        told.append(found(survey, match_points(survey.trees, survey.points)) == survey.truth)
        bare.append(found(survey, match_points(survey.trees, without)) == survey.truth)
        wrote.append(survey.points["row_no"].notna().to_numpy())
    right, numbered = np.concatenate(told), np.concatenate(wrote)
    assert right[numbered].mean() > 0.95
    # The points between gain too, not only those with a number.
    assert right[~numbered].mean() > np.concatenate(bare)[~numbered].mean()
    assert right.mean() > np.concatenate(bare).mean() + 0.1


def test_a_second_round_is_better_for_knowing_the_first_rounds_girths() -> None:
    form = SurveyForm(rows=10, trees_per_row=30, step_low=1, step_high=3, white_m=2.5)
    first, second = simulate_two_rounds(form, 0)
    match = match_survey(first.trees, first.points)
    earlier = match.candidates.merge(first.points[["point_id", "girth_cm"]], on="point_id")
    told = match_points(second.trees, second.points, earlier=earlier)
    untold = match_points(second.trees, second.points)
    assert right_share(second, told) > right_share(second, untold)
    assert right_share(second, told) > right_share(first, match.matches)


def test_a_confirmed_point_speaks_for_its_neighbours() -> None:
    # Nine points half way between ten trees: the walk could be shifted by one tree.
    trees = gpd.GeoDataFrame(
        {"tree_id": [f"T{one}" for one in range(10)], "row_id": "R1", "tree_no": range(1, 11)},
        geometry=gpd.points_from_xy(3.0 * np.arange(10), np.zeros(10)),
        crs="EPSG:32647",
    )
    points = gpd.GeoDataFrame(
        {"point_id": [f"P{one}" for one in range(9)]},
        geometry=gpd.points_from_xy(3.0 * np.arange(9) + 1.5, np.zeros(9)),
        crs="EPSG:32647",
    )
    # A walk begins at a row's first tree more often than at its second.
    open_ = match_points(trees, points)
    assert 0.5 < open_["probability"].iloc[4] < 0.95
    confirmed = pd.DataFrame({"point_id": ["P4"], "tree_id": ["T5"]})
    settled = match_points(trees, points, confirmed=confirmed)
    assert list(settled["tree_id"]) == [f"T{one}" for one in range(1, 10)]
    assert settled["probability"].min() > 0.9
    assert settled["probability"].iloc[4] == pytest.approx(1.0)
    lone = match_points(
        trees, points, confirmed=pd.DataFrame({"point_id": ["P4"], "tree_id": [None]})
    )
    assert pd.isna(lone["tree_id"].iloc[4])


def test_an_irregular_stand_of_real_trees() -> None:
    box = pd.read_csv(CROWNS)
    place = np.column_stack([(box.xmin + box.xmax) / 20, 40 - (box.ymin + box.ymax) / 20])
    strip = np.floor(place[:, 0] / 6)
    order = np.lexsort((np.where(strip % 2, -place[:, 1], place[:, 1]), strip))
    generator = np.random.default_rng(0)
    at = place[order] + [-2.5, 3.1] + generator.normal(0, 0.7, place.shape)
    trees = gpd.GeoDataFrame(
        {"tree_id": [f"T{one}" for one in range(len(place))]},
        geometry=gpd.points_from_xy(*place.T),
        crs="EPSG:32617",
    )
    points = gpd.GeoDataFrame(
        {"point_id": np.arange(len(at)).astype(str)},
        geometry=gpd.points_from_xy(*at.T),
        crs="EPSG:32617",
    )
    got = match_points(trees, points)["tree_id"].to_numpy()
    nearest = cKDTree(place).query(at)[1]
    assert (nearest == order).mean() < 0.4
    assert np.mean([one == f"T{true}" for one, true in zip(got, order, strict=True)]) > 0.9


def test_order_index_and_moments_do_not_change_the_matches() -> None:
    survey = simulate_survey(SMALL, 6)
    moment = pd.Timestamp("2024-02-01T06:00:00Z") + pd.to_timedelta(
        np.arange(len(survey.points)) // 2, unit="min"
    )
    points = survey.points.assign(measured_at=moment.strftime("%Y-%m-%dT%H:%M:%SZ"))
    before = points.copy(deep=True)
    whole = match_points(survey.trees, points)
    pd.testing.assert_frame_equal(points, before)
    # Points of one minute keep their order; minutes may come in any order.
    minutes = np.random.default_rng(1).permutation(len(points) // 2)
    order = np.stack([2 * minutes, 2 * minutes + 1], axis=1).ravel()
    shuffled = match_points(survey.trees.iloc[::-1], points.iloc[order])
    again = shuffled.set_index("point_id").loc[whole["point_id"]]
    assert (again["tree_id"].to_numpy() == whole["tree_id"].to_numpy()).mean() > 0.99


@pytest.mark.parametrize("rows", [["row_id"], ["row_no"], []])
def test_layers_with_little_more_than_places(rows: list[str]) -> None:
    survey = simulate_survey(SMALL, 6)
    number = survey.trees["row_id"].str[-2:].astype(int)
    trees = survey.trees.assign(row_no=number)[["tree_id", *rows, "geometry"]]
    points = survey.points[["point_id", "geometry"]]
    right = right_share(survey, match_points(trees, points))
    # Without rows the trees are an irregular stand, in which a walk is less told.
    assert right > (0.95 if rows else 0.8)


def test_short_far_and_empty_surveys() -> None:
    survey = simulate_survey(SMALL, 8)
    single = match_points(survey.trees, survey.points.iloc[:1])
    assert len(single) == 1
    assert single["probability"].iloc[0] < 0.9
    assert match_points(survey.trees, survey.points.iloc[:0]).empty
    far = survey.points.copy()
    far.loc[5, "geometry"] = far.geometry.translate(900, 900).iloc[5]
    assert pd.isna(match_points(survey.trees, far)["tree_id"].iloc[5])
    nobody = match_points(survey.trees.iloc[:0], survey.points)
    assert nobody["tree_id"].isna().all()


def two_blocks(first: int, second: int, *, new_offset: bool) -> Survey:
    """Two blocks walked in one session, the receiver's offset going on or jumping between them."""
    one, other = simulate_survey(SMALL, first), simulate_survey(SMALL, second)
    moved = other.trees.assign(
        geometry=other.trees.geometry.translate(300, 0),
        block_id="B2",
        tree_id="x" + other.trees["tree_id"],
        row_id="x" + other.trees["row_id"],
    )
    jump_m = np.zeros(2) if new_offset else one.offset_m[-1] - other.offset_m[0]
    later = other.points.assign(
        geometry=other.points.geometry.translate(300 + jump_m[0], jump_m[1]),
        point_id="x" + other.points["point_id"],
    )
    return Survey(
        form=SMALL,
        trees=gpd.GeoDataFrame(pd.concat([one.trees, moved], ignore_index=True)),
        points=gpd.GeoDataFrame(pd.concat([one.points, later], ignore_index=True)),
        truth=np.concatenate([one.truth, other.truth + len(one.trees)]),
        offset_m=np.concatenate([one.offset_m, other.offset_m + jump_m]),
    )


TWO_BLOCKS = [(11, 12), (21, 22), (31, 32), (41, 42)]


@pytest.mark.parametrize(("first", "second"), TWO_BLOCKS)
def test_two_blocks_in_one_session(first: int, second: int) -> None:
    survey = two_blocks(first, second, new_offset=False)
    assert right_share(survey, match_points(survey.trees, survey.points)) > 0.95


@pytest.mark.parametrize(("first", "second"), TWO_BLOCKS)
def test_an_offset_that_jumps_inside_a_session(first: int, second: int) -> None:
    survey = two_blocks(first, second, new_offset=True)
    assert right_share(survey, match_points(survey.trees, survey.points)) > 0.95


@pytest.mark.parametrize(("first", "second"), TWO_BLOCKS)
def test_a_session_named_for_each_block_bears_a_new_offset(first: int, second: int) -> None:
    survey = two_blocks(first, second, new_offset=True)
    points = survey.points
    block = np.where(points["point_id"].str.startswith("x"), "S2", "S1")
    matches = match_points(survey.trees, points.assign(session_id=block))
    assert right_share(survey, matches) > 0.95


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_an_offset_that_jumps_in_a_pause(seed: int) -> None:
    survey = simulate_survey(SMALL, seed)
    second = 30.0 * np.arange(len(survey.points))
    second[100:] += 5400.0
    moment = pd.Timestamp("2024-02-01T06:00:00Z") + pd.to_timedelta(second, unit="s")
    shift = np.where(np.arange(len(survey.points)) < 100, 0.0, -1.8)
    moved = survey.points.assign(
        session_id="S",
        measured_at=moment,
    )
    x_m, y_m = moved.geometry.x + shift, moved.geometry.y - 2 * shift
    moved = moved.set_geometry(gpd.points_from_xy(x_m, y_m, crs=survey.trees.crs))
    matches = match_points(survey.trees, moved)
    assert right_share(survey, matches) > 0.95
    missed = matches[["dx_m", "dy_m"]].to_numpy() - survey.offset_m
    missed -= np.column_stack([shift, -2 * shift])
    assert np.hypot(*missed[110:].T).mean() < 1.0


def test_sessions_of_one_row_tell_their_rows_by_going_on_from_one_another() -> None:
    survey = simulate_survey(SurveyForm(rows=12, rows_per_session=1), 4)
    whole = match_points(survey.trees, survey.points)
    assert right_share(survey, whole) > 0.98
    # A row by itself could be one of several, and says so.
    alone = survey.points[(survey.points["session_id"] == "S005").to_numpy()]
    alone = match_points(survey.trees, alone.reset_index(drop=True))
    assert alone["probability"].mean() < 0.9


def two_ways_of_walking() -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, NDArray[np.int64]]:
    """One block fully measured, another one tree in three, in one survey."""
    full = simulate_survey(SurveyForm(rows=20), 7)
    third = simulate_survey(SurveyForm(rows=20, step_low=2, step_high=4), 8)
    trees, points = (
        gpd.GeoDataFrame(
            pd.concat(
                [
                    one,
                    other.assign(geometry=other.geometry.translate(500, 0)).assign(
                        **{key: "x" + other[key] for key in keys}
                    ),
                ],
                ignore_index=True,
            ),
            crs=one.crs,
        )
        for one, other, keys in (
            (full.trees, third.trees, ["tree_id", "row_id", "block_id"]),
            (full.points, third.points, ["point_id", "session_id"]),
        )
    )
    return trees, points, np.concatenate([full.truth, third.truth + len(full.trees)])


def test_each_way_of_walking_has_a_law_of_steps_of_its_own() -> None:
    trees, points, truth = two_ways_of_walking()
    match = match_survey(trees, points)
    assert match.sessions["law"].nunique() == 2
    where = pd.Series(np.arange(len(trees)), index=trees["tree_id"])
    right = match.matches["tree_id"].map(where).fillna(-1).to_numpy(np.int64) == truth
    third = points["session_id"].str.startswith("x").to_numpy()
    assert right[~third].mean() > 0.98
    # A walk told the law and the noise gets 87 % of these.
    assert right[third].mean() > 0.8
    assert abs(right[third].mean() - match.matches["probability"][third].mean()) < 0.06


def test_points_far_apart_are_of_some_tree_though_it_is_not_known_which() -> None:
    right, said = [], []
    for seed in range(6):
        trees = simulate_survey(SurveyForm(rows=20), seed).trees
        generator = np.random.default_rng(seed)
        walked = np.sort(generator.choice(len(trees), 24, replace=False))
        at = np.column_stack([trees.geometry.x, trees.geometry.y])[walked] + [2.6, -2.9]
        at += generator.normal(0, 1.2, at.shape)
        points = gpd.GeoDataFrame(
            {"point_id": walked.astype(str)}, geometry=gpd.points_from_xy(*at.T), crs=trees.crs
        )
        matches = match_points(trees, points)
        assert matches["tree_id"].notna().mean() > 0.9
        right.append((matches["tree_id"] == trees["tree_id"].iloc[walked].to_numpy()).mean())
        said.append(matches["probability"].mean())
    assert np.mean(said) < np.mean(right) + 0.15


def test_the_field_list_says_what_to_do() -> None:
    survey = simulate_survey(SurveyForm(rows=8, step_low=1, step_high=6, white_m=2.5), 1)
    match = match_survey(survey.trees, survey.points)
    doubtful = field_list(match.matches, survey.trees, survey.points, sure=0.8)
    low = match.matches.loc[
        (match.matches["probability"] < 0.8) | match.matches["tree_id"].isna(), "point_id"
    ]
    assert sorted(doubtful["point_id"]) == list(low)
    settles = doubtful["settles_points"].round()
    assert settles.is_monotonic_decreasing
    assert all(same["point_id"].is_monotonic_increasing for _, same in doubtful.groupby(settles))
    assert set(doubtful["doubt"]) <= {
        "no tree",
        "which row",
        "which tree",
        "which block",
        "which of several",
    }
    one = doubtful[doubtful["doubt"] == "which tree"].iloc[0]
    assert one["tree_id"] in one["advice"]
    assert one["second_tree_id"] in one["advice"]
    assert set(match.candidates.columns) == {"point_id", "tree_id", "rank", "probability"}
    assert match.sessions["points"].sum() == len(survey.points)


def test_degrees_are_refused() -> None:
    survey = simulate_survey(SMALL, 1)
    with pytest.raises(CrsError, match="metres"):
        match_points(survey.trees.to_crs("EPSG:4326"), survey.points)


def test_a_point_without_a_place_is_named() -> None:
    survey = simulate_survey(SMALL, 1)
    points = survey.points.copy()
    points.loc[3, "geometry"] = None
    with pytest.raises(GeometryError, match="P000003"):
        match_points(survey.trees, points)


def test_a_doubled_key_and_an_unknown_confirmed_tree_are_named() -> None:
    survey = simulate_survey(SMALL, 1)
    doubled = survey.points.assign(point_id="P1")
    with pytest.raises(ColumnError, match="point_id P1"):
        match_points(survey.trees, doubled)
    with pytest.raises(ColumnError, match="nowhere"):
        match_points(
            survey.trees,
            survey.points,
            confirmed=pd.DataFrame({"point_id": ["P000001"], "tree_id": ["nowhere"]}),
        )
