"""The stand as a walk sees it: trees that can be measured, in rows with their ends."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from layers.matching.steps import LONGEST_STEP

MEASURABLE = ("standing", "dry")
CELL_M = 6.0
NEIGHBOURS = 32

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Stand:
    """Measurable trees, row after row, with each row's order along a common direction of its block.

    Parameters
    ----------
    x_m, y_m
        Place of each tree, shape (n,), metres from `origin_m`.
    place
        Place of each tree along its row, counting vacancies, shape (n,).
    row
        Number of the row each tree stands in, shape (n,), counted from 0 over the whole stand.
    row_start
        First tree of each row and the end of the last, shape (rows + 1,).
    row_first, row_last
        Lowest and highest place of each row, vacancies too, shape (rows,).
    row_block
        Number of the block of each row, shape (rows,); rows of a block follow one another as
        they lie on the ground.
    row_no, tree_no
        The numbers a surveyor would write, shape (n,), -1 where the tree has none.
    source
        Position of each tree in the frame it came from, shape (n,).
    cell_start, cell_tree
        Trees by square cell of `CELL_M` metres: the trees of cell c are
        ``cell_tree[cell_start[c]:cell_start[c + 1]]``.
    cells
        Cells eastward and northward.
    low_m
        South-west corner of the first cell, shape (2,).
    origin_m
        What was taken from the coordinates, shape (2,), so that metres keep their precision.
    cell_m
        Side of a cell, metres.
    near, near_bin, near_way
        In a stand without rows: each tree's nearest neighbours, shape (n, 32), -1 where there are
        fewer; how many spacings away each is; its direction in eighths of a turn.
    has_rows
        False for an irregular stand, where each block is one heap of trees without rows.
    """

    x_m: Floats
    y_m: Floats
    place: Whole
    row: Whole
    row_start: Whole
    row_first: Whole
    row_last: Whole
    row_block: Whole
    row_no: Whole
    tree_no: Whole
    source: Whole
    cell_start: Whole
    cell_tree: Whole
    cells: tuple[int, int]
    low_m: Floats
    cell_m: float
    origin_m: Floats
    near: Whole
    near_bin: Whole
    near_way: Whole
    has_rows: bool

    @property
    def size(self) -> int:
        """Number of trees that can be measured."""
        return int(self.x_m.size)

    def trees_within(self, low_m: Floats, high_m: Floats) -> int:
        """Count the trees in the cells that a rectangle touches."""
        east, north = self.cells
        first = np.clip(np.floor((low_m - self.low_m) / self.cell_m), 0, [east, north])
        last = np.clip(np.floor((high_m - self.low_m) / self.cell_m), -1, [east - 1, north - 1])
        if (last < first).any():
            return 0
        line = np.arange(first[1], last[1] + 1) * east
        begin, end = (line + first[0]).astype(np.int64), (line + last[0] + 1).astype(np.int64)
        return int((self.cell_start[end] - self.cell_start[begin]).sum())


def lay_out_stand(trees: gpd.GeoDataFrame) -> Stand:
    """Order a trees layer into rows that a walk can follow.

    Parameters
    ----------
    trees
        Trees layer in a metric CRS. ``row_id`` (or ``row_no`` in its place), ``block_id``,
        ``tree_no`` and ``status`` are used where there; vacant and dead places can't be measured.

    Returns
    -------
    Stand
        Every tree whose status is standing or dry, or every tree where no status is given.
    """
    x_m, y_m = trees.geometry.x.to_numpy(float), trees.geometry.y.to_numpy(float)
    origin = np.array([np.mean(x_m), np.mean(y_m)]) if len(trees) else np.zeros(2)
    x_m, y_m = x_m - origin[0], y_m - origin[1]
    block = _codes(trees, "block_id")
    named = [one for one in ("row_id", "row_no") if one in trees and trees[one].notna().all()]
    has_rows = bool(named)
    row = _joint_codes(block, _codes(trees, named[0])) if has_rows else block
    measurable = (
        trees["status"].isin(MEASURABLE).to_numpy()
        if "status" in trees
        else np.ones(len(trees), dtype=bool)
    )
    row_no = _row_numbers(trees, row, block) if has_rows else np.full(len(trees), -1)
    tree_no = _numbers(trees, "tree_no")
    row, row_no = _rows_as_they_lie(row, block, row_no, x_m, y_m)
    order, place = _order_in_rows(row, tree_no, x_m, y_m)
    return _pack(
        order[measurable[order]],
        x_m=x_m,
        y_m=y_m,
        row=row,
        block=block,
        place=place,
        row_no=row_no,
        tree_no=tree_no,
        origin=origin,
        has_rows=has_rows,
    )


def _pack(
    kept: Whole,
    *,
    x_m: Floats,
    y_m: Floats,
    row: Whole,
    block: Whole,
    place: Whole,
    row_no: Whole,
    tree_no: Whole,
    origin: Floats,
    has_rows: bool,
) -> Stand:
    by_row = pd.DataFrame({"row": row, "block": block, "place": place}).groupby("row")
    first, last = by_row["place"].min(), by_row["place"].max()
    used, packed = np.unique(row[kept], return_inverse=True)
    cell_start, cell_tree, cells, low, cell_m = _cells(x_m[kept], y_m[kept])
    near, near_bin, near_way = _neighbours(x_m[kept], y_m[kept], has_rows=has_rows)
    return Stand(
        x_m=np.ascontiguousarray(x_m[kept]),
        y_m=np.ascontiguousarray(y_m[kept]),
        place=place[kept].astype(np.int64),
        row=packed.astype(np.int64),
        row_start=np.searchsorted(packed, np.arange(used.size + 1)).astype(np.int64),
        row_first=first.loc[used].to_numpy(np.int64),
        row_last=last.loc[used].to_numpy(np.int64),
        row_block=by_row["block"].first().loc[used].to_numpy(np.int64),
        row_no=row_no[kept].astype(np.int64),
        tree_no=tree_no[kept].astype(np.int64),
        source=kept.astype(np.int64),
        cell_start=cell_start,
        cell_tree=cell_tree,
        cells=cells,
        low_m=low,
        cell_m=cell_m,
        origin_m=origin,
        near=near,
        near_bin=near_bin,
        near_way=near_way,
        has_rows=has_rows,
    )


def _neighbours(x_m: Floats, y_m: Floats, *, has_rows: bool) -> tuple[Whole, Whole, Whole]:
    """Find each tree's nearest trees where no rows lead from one to the next."""
    if has_rows or x_m.size < 2:
        none = np.full((0 if has_rows else x_m.size, 1), -1, np.int64)
        return none, none * 0, none * 0
    at = np.column_stack([x_m, y_m])
    far, near = cKDTree(at).query(at, k=min(NEIGHBOURS + 1, x_m.size))
    far, near = far[:, 1:], near[:, 1:]
    spacing = float(np.median(far[:, 0]))
    bins = np.clip(np.rint(far / max(spacing, 0.1)), 1, LONGEST_STEP)
    way = np.arctan2(y_m[near] - y_m[:, None], x_m[near] - x_m[:, None])
    eighth = np.rint(way / (np.pi / 4)).astype(np.int64) % 8
    near = np.where(far / max(spacing, 0.1) < LONGEST_STEP + 0.5, near, -1)
    return near.astype(np.int64), bins.astype(np.int64), eighth


def _cells(x_m: Floats, y_m: Floats) -> tuple[Whole, Whole, tuple[int, int], Floats, float]:
    """Sort trees into square cells, wider where blocks lie far apart."""
    if not x_m.size:
        return np.zeros(2, np.int64), np.zeros(0, np.int64), (1, 1), np.zeros(2), CELL_M
    low = np.array([x_m.min(), y_m.min()])
    span = np.array([x_m.max(), y_m.max()]) - low
    cell_m = max(CELL_M, float(np.sqrt(span[0] * span[1] / (16 * x_m.size + 1000))))
    east, north = (int(one) for one in np.floor(span / cell_m) + 1)
    column, line = np.floor((x_m - low[0]) / cell_m), np.floor((y_m - low[1]) / cell_m)
    cell = (line * east + column).astype(np.int64)
    start = np.zeros(east * north + 1, np.int64)
    np.add.at(start, cell + 1, 1)
    order = np.argsort(cell, kind="stable").astype(np.int64)
    return np.cumsum(start), order, (east, north), low, cell_m


def _codes(trees: gpd.GeoDataFrame, column: str) -> Whole:
    if column not in trees:
        return np.zeros(len(trees), np.int64)
    return pd.factorize(trees[column].astype("string"))[0].astype(np.int64)


def _joint_codes(block: Whole, row: Whole) -> Whole:
    return pd.factorize(block * (row.max(initial=0) + 2) + row)[0].astype(np.int64)


def _numbers(trees: gpd.GeoDataFrame, column: str) -> Whole:
    if column not in trees:
        return np.full(len(trees), -1)
    return pd.to_numeric(trees[column], errors="coerce").fillna(-1).to_numpy().astype(np.int64)


def _row_numbers(trees: gpd.GeoDataFrame, row: Whole, block: Whole) -> Whole:
    """Give each tree its row's number: the column, else the last number in the row's name."""
    if "row_no" in trees:
        return _numbers(trees, "row_no")
    last = trees["row_id"].astype("string").str.extract(r"(\d+)\D*$", expand=False)
    number = pd.to_numeric(last, errors="coerce").fillna(-1).to_numpy().astype(np.int64)
    rows = pd.DataFrame({"row": row, "block": block, "number": number}).drop_duplicates("row")
    if (rows["number"] < 0).any() or rows.duplicated(["block", "number"]).any():
        rows["number"] = rows.groupby("block").cumcount() + 1
    return rows.set_index("row")["number"].loc[row].to_numpy(np.int64)


def _rows_as_they_lie(
    row: Whole, block: Whole, row_no: Whole, x_m: Floats, y_m: Floats
) -> tuple[Whole, Whole]:
    """Renumber rows block by block in the order they lie side by side."""
    rows = pd.DataFrame({"row": row, "block": block, "no": row_no, "x": x_m, "y": y_m})
    middle = rows.groupby("row").agg(
        block=("block", "first"), no=("no", "first"), x=("x", "mean"), y=("y", "mean")
    )
    order = []
    for _, one in middle.groupby("block"):
        by_number = one.sort_values("no", kind="stable")
        by_place = one.iloc[np.argsort(_along(one[["x", "y"]].to_numpy()), kind="stable")]
        order += list(min((by_number, by_place), key=_length_m).index)
    rank = pd.Series(np.arange(len(order)), index=order)
    return rank.loc[row].to_numpy(np.int64), row_no


def _length_m(middle: pd.DataFrame) -> float:
    at = middle[["x", "y"]].to_numpy()
    return float(np.hypot(*np.diff(at, axis=0).T).sum())


def _along(at_m: Floats) -> Floats:
    """Project places on the direction in which they spread most."""
    if len(at_m) < 2:
        return np.zeros(len(at_m))
    centred = at_m - at_m.mean(axis=0)
    return np.asarray(centred @ np.linalg.eigh(centred.T @ centred)[1][:, -1])


def _order_in_rows(row: Whole, tree_no: Whole, x_m: Floats, y_m: Floats) -> tuple[Whole, Whole]:
    """Order trees within rows, neighbouring rows the same way round; give order and places."""
    order = np.argsort(row, kind="stable")
    ends = np.flatnonzero(np.diff(row[order])) + 1
    place = np.zeros(row.size, np.int64)
    parts = []
    way = None
    for inside in np.split(order, ends):
        if not inside.size:
            continue
        numbers = tree_no[inside]
        numbered = bool((numbers >= 0).all()) and np.unique(numbers).size == inside.size
        at = np.column_stack([x_m[inside], y_m[inside]])
        along = numbers.astype(float) if numbered else _along(at)
        turn = np.argsort(along, kind="stable")
        ranks = numbers[turn] if numbered else np.arange(inside.size)
        step = at[turn[-1]] - at[turn[0]]
        if way is not None and step @ way < 0:
            turn, ranks = turn[::-1], ranks[-1] - ranks[::-1] + ranks[0]
            step = -step
        way = step if inside.size > 1 else way
        place[inside[turn]] = ranks
        parts.append(inside[turn])
    return (np.concatenate(parts) if parts else order).astype(np.int64), place
