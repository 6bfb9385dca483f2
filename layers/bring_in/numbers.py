"""Row and tree numbers of tree points: the user's own, or found from where the trees stand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.checks import FILE, row_faults
from layers.errors import Fault
from layers.rows import infer_row_numbers
from layers.trees import number_along_row

# Half of it is as far as a tree may be from its row where the row gap isn't known.
_WIDEST_GAP_M = 10.0


def with_row_numbers(
    trees: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give each tree the number of its row: its own, the nearest row's, or an inferred one."""
    given = (
        trees["row_no"]
        if "row_no" in trees.columns
        else pd.Series(pd.NA, trees.index, dtype="Int64")
    )
    numbers = given.to_numpy(dtype="float64", na_value=np.nan)
    x, y = (
        shapely.get_x(trees.geometry.to_numpy()),
        shapely.get_y(trees.geometry.to_numpy()),
    )
    gaps = block_column(blocks, "row_gap_m")
    faults: list[Fault] = []
    lines = dict(iter(drawn.groupby("block_id")))
    for block, places in trees.groupby("block_id", sort=True).indices.items():
        lacking = places[np.isnan(numbers[places])]
        if len(lacking) == 0:
            continue
        if block in lines:
            numbers[lacking], more = _nearest_row(
                trees, lacking, lines[block], gaps.get(str(block))
            )
            faults += more
            how = "taken from the nearest drawn row"
        else:
            inferred, aligned = infer_row_numbers(
                x=x[lacking], y=y[lacking], row_gap_m=gaps.get(str(block))
            )
            last = 0.0 if len(lacking) == len(places) else np.nanmax(numbers[places])
            numbers[lacking] = last + inferred
            how = (
                "inferred from how the trees stand"
                if aligned
                else "which stand in no rows; cut into strips a row gap wide"
            )
        faults.append(
            _inferred(
                trees, lacking[0], str(block), f"{len(lacking)} trees without a row_no, {how}"
            )
        )
    return trees.assign(row_no=numbers.astype("int64")), faults


def _inferred(trees: gpd.GeoDataFrame, first: int, block: str, found: str) -> Fault:
    return Fault(
        severity="mended",
        file=str(trees[FILE].iloc[first]) if FILE in trees.columns else "",
        layer="trees",
        row=block,
        found=found,
        expected="row_no and tree_no in every row",
        remedy="Look at the rows on the block's map; add row_no and tree_no if they are wrong.",
    )


def _nearest_row(
    trees: gpd.GeoDataFrame,
    lacking: NDArray[np.int64],
    lines: gpd.GeoDataFrame,
    row_gap: float | None,
) -> tuple[NDArray[np.float64], list[Fault]]:
    """Give the number of the drawn row nearest to each tree, and tell which trees stand between."""
    (_, nearest), away = shapely.STRtree(lines.geometry.to_numpy()).query_nearest(
        trees.geometry.to_numpy()[lacking], all_matches=False, return_distance=True
    )
    far = away > 0.5 * (row_gap or _WIDEST_GAP_M)
    faults = row_faults(
        trees.iloc[lacking[far]],
        "trees",
        "noted",
        found=[f"a tree {metres:.0f} m from the nearest drawn row" for metres in away[far]],
        expected="a tree within half a row gap of its row",
        remedy="Draw its row, or give the tree its row_no.",
    )
    return lines["row_no"].to_numpy(dtype="float64")[nearest], faults


def block_column(blocks: gpd.GeoDataFrame, column: str) -> dict[str, float]:
    """Give a number column of the blocks keyed by `block_id`, without its missing values."""
    if column not in blocks.columns:
        return {}
    known = blocks[blocks[column].notna()]
    return dict(zip(known["block_id"], known[column].astype("float64"), strict=True))


def with_tree_numbers(
    trees: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give each tree its number along its row, and sort the trees by it."""
    given = (
        trees["tree_no"]
        if "tree_no" in trees.columns
        else pd.Series(pd.NA, trees.index, dtype="Int64")
    )
    numbers = given.to_numpy(dtype="float64", na_value=np.nan)
    gaps = block_column(blocks, "tree_gap_m")
    lines = {
        (block, number): line
        for block, number, line in zip(
            drawn["block_id"], drawn["row_no"], drawn.geometry, strict=True
        )
    }
    points = trees.geometry.to_numpy()
    counted: dict[str, list[int]] = {}
    for (block, row), places in trees.groupby(["block_id", "row_no"], sort=True).indices.items():
        lacking = places[np.isnan(numbers[places])]
        if len(lacking) == 0:
            continue
        along = _along(points[lacking], lines.get((block, row)))
        order = np.argsort(along, kind="stable")
        last = 0.0 if len(lacking) == len(places) else np.nanmax(numbers[places])
        gap = gaps.get(str(block))
        regular = gap if _regular(along[order], gap) else None
        numbers[lacking[order]] = last + number_along_row(along[order], tree_gap_m=regular)
        told = counted.setdefault(str(block), [int(lacking[0]), 0])
        told[1] += len(lacking)
    faults = [
        _inferred(
            trees, first, block, f"{count} trees without a tree_no; numbered along their rows"
        )
        for block, (first, count) in counted.items()
    ]
    numbered = trees.assign(tree_no=numbers.astype("int64"))
    by = ["block_id", "row_no", "tree_no"]
    return numbered.sort_values(by, kind="stable").reset_index(drop=True), faults


def _along(points: NDArray[np.object_], line: shapely.LineString | None) -> NDArray[np.float64]:
    """Give each tree's distance along its row: on its line, or from tree to tree.

    Without a line the trees follow one another along the row's main direction, which serves for
    rows that bend through less than half a circle.
    """
    if line is not None:
        return shapely.line_locate_point(line, points)
    places = shapely.get_coordinates(points)
    if len(places) < 2:
        return np.zeros(len(places))
    _, vectors = np.linalg.eigh(np.cov(places.T))
    main = vectors[:, -1]
    if main[0] < -1e-9 or (abs(main[0]) <= 1e-9 and main[1] < 0.0):
        main = -main
    order = np.argsort(places @ main, kind="stable")
    along = np.zeros(len(places))
    along[order[1:]] = np.cumsum(np.hypot(*np.diff(places[order], axis=0).T))
    return along


def _regular(along: NDArray[np.float64], gap: float | None) -> bool:
    """Tell whether steps along a row keep to the planting distance, so that gaps can be counted."""
    if gap is None or len(along) < 3:
        return False
    steps = np.diff(along) / gap
    return bool(np.median(np.abs(steps - np.maximum(np.rint(steps), 1.0))) < 0.2)
