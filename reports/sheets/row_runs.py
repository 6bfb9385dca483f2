"""A task as a list of rows in walking order: which trees to tap there, which to pass by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

OTHER_TASK = "other task"


@dataclass(frozen=True, kw_only=True)
class RowRun:
    """One row on a tapper's way.

    Parameters
    ----------
    block_id, row_no
        Where it is.
    stretches
        Numbers in the row of the first and the last tree to tap of each stretch, in walking order;
        more than one where the way leaves the row and comes back.
    to_tap
        How many to tap.
    passed
        Numbers in the row of the trees between them to pass by, by class (`OTHER_TASK` for one
        that another task taps).
    """

    block_id: str
    row_no: int
    stretches: tuple[tuple[int, int], ...]
    to_tap: int
    passed: Mapping[str, tuple[int, ...]]


def row_runs(
    tasks: pd.DataFrame,
    trees: pd.DataFrame,
    rows: pd.DataFrame,
    classes: pd.DataFrame,
    *,
    only: Sequence[str] | None = None,
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
    only
        Tasks to give; every one where None.

    Returns
    -------
    dict of str to list of RowRun
        Keyed by task. Rows stand in walking order, one that the way leaves and comes back to as
        often as it does; where that makes more than half as many lines again as rows, each row
        stands once, where the way first enters it.
    """
    placed = pd.DataFrame(trees[["tree_id", "row_id", "block_id", "tree_no"]]).merge(
        pd.DataFrame(rows[["row_id", "row_no"]]), on="row_id", how="left", validate="many_to_one"
    )
    placed = placed.merge(classes[["tree_id", "class"]], on="tree_id", how="left")
    placed = placed.merge(tasks, on="tree_id", how="left", validate="one_to_one")
    chosen = placed["task_id"].notna() if only is None else placed["task_id"].isin(only)
    walked = placed[chosen].sort_values(["task_id", "stop_no"])
    by_row = _Rows(placed[placed["row_id"].isin(walked["row_id"])])
    return {
        str(task_id): [by_row.run(stretch) for stretch in _stretches(task)]
        for task_id, task in walked.groupby("task_id", sort=False)
    }


def _stretches(task: pd.DataFrame) -> list[pd.DataFrame]:
    row_ids = task["row_id"].to_numpy(str)
    enters = np.r_[True, row_ids[1:] != row_ids[:-1]]
    starts = np.flatnonzero(enters)
    task = task.assign(way_part=np.cumsum(enters))
    if len(starts) > 1.5 * len(set(row_ids)):
        return [row for _, row in task.groupby("row_id", sort=False)]
    ends = [*starts[1:], len(task)]
    return [task.iloc[start:end] for start, end in zip(starts, ends, strict=True)]


def _parts(numbers: NDArray[np.int_], parts: NDArray[np.int_]) -> tuple[tuple[int, int], ...]:
    starts = np.flatnonzero(np.r_[True, parts[1:] != parts[:-1]])
    ends = np.r_[starts[1:], len(parts)] - 1
    return tuple(zip(numbers[starts].tolist(), numbers[ends].tolist(), strict=True))


class _Rows:
    """The places of each row, as arrays, so that a stretch is told without searching them all."""

    def __init__(self, placed: pd.DataFrame) -> None:
        placed = placed.sort_values(["row_id", "tree_no"])
        kinds = placed["class"].astype(object).where(placed["task_id"].isna(), OTHER_TASK)
        self.numbers = placed["tree_no"].to_numpy(int)
        self.kinds = kinds.to_numpy(str)
        row_ids, starts = np.unique(placed["row_id"].to_numpy(str), return_index=True)
        ends = np.r_[starts[1:], len(placed)][: len(starts)]
        self.slices = {
            row: slice(start, end) for row, start, end in zip(row_ids, starts, ends, strict=True)
        }

    def run(self, stretch: pd.DataFrame) -> RowRun:
        """Give one stretch of a task in a row, in walking order."""
        tapped = stretch["tree_no"].to_numpy(int)
        first = stretch.iloc[0]
        where = self.slices[str(first["row_id"])]
        numbers, kinds = self.numbers[where], self.kinds[where]
        between = (numbers >= tapped.min()) & (numbers <= tapped.max())
        between &= ~np.isin(numbers, tapped)
        passed = {
            str(kind): tuple(numbers[between & (kinds == kind)].tolist())
            for kind in np.unique(kinds[between])
        }
        return RowRun(
            block_id=str(first["block_id"]),
            row_no=int(first["row_no"]),
            stretches=_parts(tapped, stretch["way_part"].to_numpy(int)),
            to_tap=len(tapped),
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
