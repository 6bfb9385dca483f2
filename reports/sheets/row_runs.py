"""A task as a list of rows in walking order: which trees to tap there, which to pass by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import pandas as pd

PASSED_CLASSES = ("vacant", "dead", "dry", "near-ready", "immature", "unmeasured")
OTHER_TASK = "other task"


@dataclass(frozen=True, kw_only=True)
class RowRun:
    """One row on a tapper's way.

    Parameters
    ----------
    block_id, row_no
        Where it is.
    first_tree, last_tree
        Number in the row of the first and the last tree to tap, in walking order.
    to_tap
        How many to tap.
    passed
        Numbers in the row of the trees between them to pass by, by class (`OTHER_TASK` for one
        that another task taps).
    """

    block_id: str
    row_no: int
    first_tree: int
    last_tree: int
    to_tap: int
    passed: Mapping[str, tuple[int, ...]]


def row_runs(
    tasks: pd.DataFrame, trees: pd.DataFrame, rows: pd.DataFrame, classes: pd.DataFrame
) -> dict[str, list[RowRun]]:
    """Give every task's rows in walking order.

    Parameters
    ----------
    tasks
        Columns ``tree_id``, ``task_id``, ``stop_no``.
    trees
        Columns ``tree_id``, ``row_id``, ``block_id``, ``tree_no``, ``status``.
    rows
        Columns ``row_id``, ``row_no``.
    classes
        Columns ``tree_id``, ``class``.

    Returns
    -------
    dict of str to list of RowRun
        Keyed by task. A row that the way leaves and comes back to stands once, where the way
        first enters it, when more than half as many stretches again as rows would be listed.
    """
    placed = trees[["tree_id", "row_id", "block_id", "tree_no", "status"]].merge(
        rows[["row_id", "row_no"]], on="row_id", how="left", validate="many_to_one"
    )
    placed = placed.merge(classes[["tree_id", "class"]], on="tree_id", how="left")
    placed = placed.merge(tasks, on="tree_id", how="left", validate="one_to_one")
    by_row = dict(iter(placed.groupby("row_id", sort=False)))
    walked = placed[placed["task_id"].notna()].sort_values(["task_id", "stop_no"])
    return {
        str(task_id): [_run(stretch, by_row[stretch["row_id"].iloc[0]]) for stretch in stretches]
        for task_id, stretches in (
            (task_id, _stretches(task)) for task_id, task in walked.groupby("task_id", sort=False)
        )
    }


def _stretches(task: pd.DataFrame) -> list[pd.DataFrame]:
    number = (task["row_id"] != task["row_id"].shift()).cumsum()
    if number.iloc[-1] > 1.5 * task["row_id"].nunique():
        return [row for _, row in task.groupby("row_id", sort=False)]
    return [stretch for _, stretch in task.groupby(number, sort=False)]


def _run(stretch: pd.DataFrame, row: pd.DataFrame) -> RowRun:
    low, high = stretch["tree_no"].min(), stretch["tree_no"].max()
    between = row[row["tree_no"].between(low, high) & ~row["tree_id"].isin(stretch["tree_id"])]
    kind = between["class"].where(between["task_id"].isna(), OTHER_TASK)
    numbers = between.sort_values("tree_no").groupby(kind)["tree_no"]
    passed = {str(name): tuple(int(number) for number in group) for name, group in numbers}
    first = stretch.iloc[0]
    return RowRun(
        block_id=str(first["block_id"]),
        row_no=int(first["row_no"]),
        first_tree=int(first["tree_no"]),
        last_tree=int(stretch["tree_no"].iloc[-1]),
        to_tap=len(stretch),
        passed=passed,
    )


def number_ranges(numbers: tuple[int, ...]) -> str:
    """Write rising whole numbers shortly.

    Examples
    --------
    >>> number_ranges((3, 4, 5, 9))
    '3–5, 9'
    """
    parts: list[list[int]] = []
    for number in numbers:
        if parts and number == parts[-1][1] + 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(str(low) if low == high else f"{low}–{high}" for low, high in parts)
