"""Tasks that are held from plan to plan, so that tappers keep the rounds that they know."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString

from estate.tasks import TaskPlan, TaskSettings, draw, with_names_kept
from tests.estate.invented_blocks import Case, invented
from tests.estate.test_tasks import block

SETTINGS = TaskSettings(tasks=3, bound=False)


def drawn(case: Case, trees: gpd.GeoDataFrame, before: pd.DataFrame | None = None) -> TaskPlan:
    plan = draw(trees, **case.layers(), settings=SETTINGS, before=before)
    return plan if before is None else with_names_kept(plan, before)


@pytest.fixture(scope="module")
def case() -> Case:
    return invented("ragged", seed=3, places_of_trees=500)


@pytest.fixture(scope="module")
def before(case: Case) -> TaskPlan:
    return drawn(case, case.trees)


def test_the_same_trees_keep_task_and_stop(case: Case, before: TaskPlan) -> None:
    again = drawn(case, case.trees, before.tasks)
    assert again.held
    pd.testing.assert_frame_equal(again.tasks, before.tasks)
    pd.testing.assert_frame_equal(again.task_sums, before.task_sums)


@pytest.mark.parametrize("seed", range(4))
def test_few_that_come_and_go_move_nobody_else(case: Case, seed: int) -> None:
    shuffled = np.random.default_rng(seed).permutation(len(case.trees))
    late, gone = shuffled[:8], shuffled[8:16]
    first = drawn(case, case.trees.drop(index=case.trees.index[late]))
    now = case.trees.drop(index=case.trees.index[gone])
    again = drawn(case, now, first.tasks)
    assert again.held
    assert sorted(again.tasks["tree_id"]) == sorted(now["tree_id"])
    both = again.tasks.merge(first.tasks, on="tree_id", suffixes=("", "_then"))
    assert (both["task_id"] == both["task_id_then"]).all()
    order = both.sort_values(["task_id", "stop_no"])
    assert order.groupby("task_id")["stop_no_then"].apply(lambda s: s.is_monotonic_increasing).all()
    for _, stops in again.tasks.groupby("task_id"):
        assert sorted(stops["stop_no"]) == list(range(1, len(stops) + 1))


def test_a_new_tree_joins_its_neighbours_in_the_row(case: Case, before: TaskPlan) -> None:
    task = before.tasks.set_index("tree_id")["task_id"]
    by_row = case.trees.sort_values(["row_id", "tree_no"]).reset_index(drop=True)
    same = by_row["row_id"].eq(by_row["row_id"].shift(1)) & by_row["row_id"].eq(
        by_row["row_id"].shift(-1)
    )
    of = by_row["tree_id"].map(task)
    inner = by_row.loc[same & of.eq(of.shift(1)) & of.eq(of.shift(-1)), "tree_id"].iloc[::60]
    known = before.tasks[~before.tasks["tree_id"].isin(inner)]
    again = drawn(case, case.trees, known)
    assert again.held
    assert (again.tasks.set_index("tree_id")["task_id"].loc[inner] == task.loc[inner]).all()


def test_a_new_tree_goes_by_its_row_though_another_row_stands_nearer() -> None:
    trees = block(12, 40)
    fifth = trees["row_id"].eq("A-005")
    trees.loc[fifth, "geometry"] = trees.geometry[fifth].translate(0.0, -1.0)
    row = trees["row_id"].str[-3:].astype(int)
    # Up one row and down the next, four rows a task.
    along = trees["tree_no"].where(row % 2 == 1, 41 - trees["tree_no"])
    before = pd.DataFrame(
        {
            "tree_id": trees["tree_id"],
            "task_id": [f"A-{1 + (n - 1) // 4}" for n in row],
            "stop_no": (row - 1) % 4 * 40 + along,
        }
    )
    late = trees.loc[row.eq(4) & trees["tree_no"].between(16, 24), "tree_id"]
    again = draw(trees, settings=SETTINGS, before=before[~before["tree_id"].isin(late)])
    assert again.held
    assert set(again.tasks.set_index("tree_id").loc[late, "task_id"]) == {"A-1"}


def test_many_changes_draw_anew(case: Case, before: TaskPlan) -> None:
    few = case.trees.drop(index=case.trees.index[::10])
    again = drawn(case, few, before.tasks)
    assert not again.held
    assert sorted(again.tasks["tree_id"]) == sorted(few["tree_id"])


def test_a_new_block_draws_anew(case: Case, before: TaskPlan) -> None:
    trees = case.trees.copy()
    trees.loc[trees.index[-5:], "block_id"] = "K9"
    known = before.tasks[~before.tasks["tree_id"].isin(trees["tree_id"].iloc[-5:])]
    layers = case.layers() | {"blocks": None}
    assert not draw(trees, **layers, settings=SETTINGS, before=known).held


def test_uneven_mornings_draw_anew(case: Case, before: TaskPlan) -> None:
    tasks = before.tasks.copy()
    moved = tasks.index[tasks["task_id"] == "A-2"][:30]
    tasks.loc[moved, "task_id"] = "A-1"
    assert not drawn(case, case.trees, tasks).held


def test_a_way_barred_since_draws_anew(case: Case, before: TaskPlan) -> None:
    low_x, low_y, high_x, high_y = case.trees.total_bounds
    middle = (low_y + high_y) / 2
    wall = gpd.GeoDataFrame(
        {"obstacle_id": ["w"], "kind": ["wall"], "passable": [False]},
        geometry=[LineString([(low_x - 900, middle), (high_x + 900, middle)])],
        crs=case.trees.crs,
    )
    layers = case.layers() | {"obstacles": wall}
    again = draw(case.trees, **layers, settings=replace(SETTINGS, tasks=4), before=before.tasks)
    assert not again.held


def test_names_of_another_form_draw_anew(case: Case, before: TaskPlan) -> None:
    named = before.tasks.assign(task_id="T0" + before.tasks["task_id"].str[-1])
    assert not draw(case.trees, **case.layers(), settings=SETTINGS, before=named).held
