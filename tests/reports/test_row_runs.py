import pandas as pd

from reports.sheets.row_runs import OTHER_TASK, number_ranges, row_runs


def rows_and_trees():
    rows = pd.DataFrame({"row_id": ["R1", "R2"], "row_no": [1, 2]})
    trees = pd.DataFrame(
        [(f"{row}-{number}", row, "B1", number) for row in ("R1", "R2") for number in range(1, 7)],
        columns=["tree_id", "row_id", "block_id", "tree_no"],
    )
    kinds = ["ready", "vacant", "ready", "dry", "ready", "ready"]
    kinds += ["ready", "ready", "immature", "ready", "ready", "ready"]
    return rows, trees, pd.DataFrame({"tree_id": trees["tree_id"], "class": kinds})


def tasks_of(**stops):
    return pd.DataFrame(
        [
            (tree, task, number)
            for task, trees in stops.items()
            for number, tree in enumerate(trees, 1)
        ],
        columns=["tree_id", "task_id", "stop_no"],
    )


def test_rows_come_in_walking_order_with_what_to_pass_by():
    rows, trees, classes = rows_and_trees()
    tasks = tasks_of(
        T1=["R1-1", "R1-3", "R1-5", "R1-6", "R2-6", "R2-5", "R2-2", "R2-1"], T2=["R2-4"]
    )
    first, second = row_runs(tasks, trees, rows, classes)["T1"]
    assert (first.row_no, first.stretches, first.to_tap) == (1, ((1, 6),), 4)
    assert first.passed == {"vacant": (2,), "dry": (4,)}
    assert (second.row_no, second.stretches, second.to_tap) == (2, ((6, 1),), 4)
    assert second.passed == {"immature": (3,), OTHER_TASK: (4,)}


def test_a_row_that_is_left_and_entered_again_stands_twice():
    rows, trees, classes = rows_and_trees()
    tasks = tasks_of(T1=["R1-1", "R2-1", "R2-2", "R1-3"])
    runs = row_runs(tasks, trees, rows, classes)["T1"]
    assert [run.row_no for run in runs] == [1, 2, 1]


def test_a_way_that_goes_to_and_fro_between_rows_lists_each_row_once():
    rows, trees, classes = rows_and_trees()
    tasks = tasks_of(T1=["R1-1", "R2-1", "R1-3", "R2-2", "R1-5", "R2-4"])
    runs = row_runs(tasks, trees, rows, classes)["T1"]
    assert [(run.row_no, run.to_tap) for run in runs] == [(1, 3), (2, 3)]
    assert runs[0].stretches == ((1, 1), (3, 3), (5, 5))


def test_every_tree_to_tap_is_counted_once():
    rows, trees, classes = rows_and_trees()
    tasks = tasks_of(T1=["R1-1", "R1-3"], T2=["R2-1", "R1-5", "R1-6"])
    runs = row_runs(tasks, trees, rows, classes)
    assert sum(run.to_tap for task in runs.values() for run in task) == len(tasks)


def test_without_a_task_there_is_nothing_to_walk():
    rows, trees, classes = rows_and_trees()
    none = pd.DataFrame({"tree_id": pd.Series(dtype="str"), "task_id": pd.Series(dtype="str"),
                         "stop_no": pd.Series(dtype="int64")})  # fmt: skip
    assert row_runs(none, trees, rows, classes) == {}


def test_numbers_run_together():
    assert number_ranges(()) == ""
    assert number_ranges((1, 2, 3, 7, 9, 10)) == "1–3, 7, 9–10"
