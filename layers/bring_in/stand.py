"""Rows and planting places of every block, from whichever of them the user gave."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.bring_in.keys import unique_keys
from layers.bring_in.numbers import block_column, with_row_numbers, with_tree_numbers
from layers.checks import FILE, repeated, row_faults
from layers.errors import Fault, SettingError
from layers.rows import (
    number_rows,
    row_ids,
    rows_through_trees,
    set_out_rows,
)
from layers.shared_ground import counted_twice, ground_of_its_own, shared_faults, shared_ground
from layers.trees import tree_ids, trees_along_rows

# A tree or row farther than this from every block belongs to none.
_NEAREST_BLOCK_M = 10.0
# One farther than this from the block it names is misplaced, or names the wrong one.
_FARTHEST_M = 100.0


@dataclass(frozen=True, kw_only=True)
class Stand:
    """The rows and planting places of all blocks."""

    rows: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    faults: tuple[Fault, ...]


def make_stand(
    blocks: gpd.GeoDataFrame,
    rows: gpd.GeoDataFrame | None,
    trees: gpd.GeoDataFrame | None,
) -> Stand:
    """Give each block its rows and planting places.

    A block with tree points keeps them, and its rows are those drawn, those the trees' numbers
    name, or else inferred; a block with drawn rows only has trees set along them; a block with
    neither is set out from its bearing and planting distances, where it has them. No tree is
    counted in two blocks that cover the same ground (:mod:`layers.shared_ground`).
    """
    faults: list[Fault] = []
    drawn = _empty_rows(blocks.crs)
    if rows is not None and len(rows):
        drawn, more = _drawn_rows(rows, blocks)
        faults += more
    points, through = _empty_trees(blocks.crs), _empty_rows(blocks.crs)
    if trees is not None and len(trees):
        points, through, more = _surveyed_trees(trees, drawn, blocks)
        faults += more
    with_points = set(points["block_id"])
    planted = drawn[~drawn["block_id"].isin(with_points)].reset_index(drop=True)
    with_own = with_points | set(drawn["block_id"])
    bare = ~blocks["block_id"].isin(with_own).to_numpy()
    shared = shared_ground(blocks, drawn=with_own)
    laid, more = _set_out(blocks.set_geometry(ground_of_its_own(blocks, shared))[bare])
    faults += more
    along, more = _planted_trees(planted, blocks, source="along rows")
    faults += more
    set_trees, more = _planted_trees(laid, blocks, source="set out")
    faults += more
    every_row = _sorted(
        _joined([drawn, through, laid], blocks.crs), ["block_id", "row_no", "row_id"]
    )
    every_tree = _joined([points, along, set_trees], blocks.crs)
    twice = counted_twice(every_tree, blocks, shared)
    faults += shared_faults(
        blocks, shared, set_out=set(blocks["block_id"][bare]), trees=every_tree, twice=twice
    )
    every_tree, more = unique_keys(every_tree[~twice].reset_index(drop=True), "trees")
    faults += more
    every_tree = _sorted(every_tree, ["block_id", "row_no", "tree_no", "tree_id"])
    return Stand(
        rows=every_row,
        trees=every_tree,
        faults=tuple(faults),
    )


def _sorted(frame: gpd.GeoDataFrame, by: list[str]) -> gpd.GeoDataFrame:
    return frame.sort_values(by, kind="stable").reset_index(drop=True)


def _joined(frames: list[gpd.GeoDataFrame], crs: object) -> gpd.GeoDataFrame:
    filled = [frame for frame in frames if len(frame)] or frames[:1]
    return gpd.GeoDataFrame(pd.concat(filled, ignore_index=True), geometry="geometry", crs=crs)


def _empty_rows(crs: object) -> gpd.GeoDataFrame:
    kinds = {"row_id": "str", "block_id": "str", "row_no": "int64"}
    plain = pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _empty_trees(crs: object) -> gpd.GeoDataFrame:
    kinds = {"tree_id": "str", "row_id": "str", "block_id": "str", "row_no": "int64",
             "tree_no": "int64", "status": "str", "place_source": "str"}  # fmt: skip
    plain = pd.DataFrame({name: pd.Series(dtype=kind) for name, kind in kinds.items()})
    return gpd.GeoDataFrame(plain, geometry=gpd.GeoSeries([], crs=crs), crs=crs)


def _with_block(
    frame: gpd.GeoDataFrame, points: NDArray[np.object_], blocks: gpd.GeoDataFrame, layer: str
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give each row of the frame its block: the one it names, or the one it stands in."""
    known = set(blocks["block_id"])
    given = (
        frame["block_id"]
        if "block_id" in frame.columns
        else pd.Series(None, index=frame.index, dtype="str")
    )
    named = given.isin(known)
    unknown = given.notna() & ~named
    faults = row_faults(
        frame[unknown],
        layer,
        "noted",
        found=[f"block_id {name}, which is no block" for name in given[unknown]],
        expected="a block_id of the blocks layer",
        remedy="Mend it; until then the block it stands in is taken.",
    )
    found = given.where(named).astype(object).to_numpy().copy()
    tree = shapely.STRtree(blocks.geometry.to_numpy())
    # What names a block that isn't there may belong to one that was left out: only a block it
    # stands in is taken for it, never the nearest.
    keys = blocks["block_id"].to_numpy()
    lacking, stray = np.flatnonzero(given.isna()), np.flatnonzero(unknown)
    if len(lacking):
        index = tree.query_nearest(
            points[lacking], max_distance=_NEAREST_BLOCK_M, all_matches=False
        )
        found[lacking[index[0]]] = keys[index[1]]
    if len(stray):
        index = tree.query(points[stray], predicate="intersects")
        found[stray[index[0]]] = keys[index[1]]
    away = _metres_from(points, found, blocks)
    far = away > _FARTHEST_M
    faults += row_faults(
        frame[far],
        layer,
        "noted",
        found=[
            f"a place {metres:,.0f} m from block {block}, to which it belongs; left out"
            for metres, block in zip(away[far], found[far], strict=True)
        ],
        expected=f"a place within {_FARTHEST_M:g} m of its block",
        remedy="Mend its block_id or its place; check the layer's coordinate reference system.",
    )
    out = pd.isna(found)
    faults += row_faults(
        frame[out],
        layer,
        "noted",
        found="a place in no block; left out",
        expected="a place inside a block",
        remedy="Draw its block, or mend its place.",
    )
    placed = frame.assign(block_id=pd.Series(found, index=frame.index).astype("str"))
    return placed[~(out | far)].reset_index(drop=True), faults


def _metres_from(
    points: NDArray[np.object_], block_id: NDArray[np.object_], blocks: gpd.GeoDataFrame
) -> NDArray[np.float64]:
    """Give each point's distance from its block, 0 inside it; NaN where it has none."""
    place = pd.Index(blocks["block_id"]).get_indexer(pd.Index(block_id))
    shapes = blocks.geometry.to_numpy()[place]
    shapely.prepare(blocks.geometry.to_numpy())
    inside = shapely.covers(shapes, points)
    away = np.where(place < 0, np.nan, 0.0)
    doubtful = ~inside & (place >= 0)
    away[doubtful] = shapely.distance(shapes[doubtful], points[doubtful])
    return away


def _drawn_rows(
    rows: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    middles = shapely.line_interpolate_point(rows.geometry.to_numpy(), 0.5, normalized=True)
    rows, faults = _with_block(rows, middles, blocks, "rows")
    given = (
        rows["row_no"] if "row_no" in rows.columns else pd.Series(pd.NA, rows.index, dtype="Int64")
    )
    numbers = given.to_numpy(dtype="float64", na_value=np.nan)
    lines = rows.geometry.to_numpy()
    for block, places in rows.groupby("block_id", sort=True).indices.items():
        lacking = places[np.isnan(numbers[places])]
        if len(lacking):
            last = 0.0 if len(lacking) == len(places) else np.nanmax(numbers[places])
            numbers[lacking] = last + number_rows(lines[lacking])
            faults.append(
                Fault(
                    severity="mended",
                    file=str(rows[FILE].iloc[lacking[0]]) if FILE in rows.columns else "",
                    layer="rows",
                    row=str(block),
                    found=f"{len(lacking)} rows without a row_no; numbered across the block",
                    expected="row_no 1, 2, …",
                    remedy="Add row_no if the rows are known by other numbers.",
                )
            )
    numbered = rows.assign(row_no=numbers.astype("int64"))
    made = row_ids(numbered["block_id"], numbered["row_no"])
    own = numbered["row_id"] if "row_id" in numbered.columns else made
    numbered["row_id"] = own.mask(own.isna(), made).astype("str")
    numbered, more = unique_keys(numbered, "rows")
    return gpd.GeoDataFrame(numbered, geometry="geometry", crs=rows.crs), faults + more


def _surveyed_trees(
    trees: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, list[Fault]]:
    """Give the tree points their rows and numbers, and the rows that weren't drawn."""
    if "row_id" in trees.columns and len(drawn):
        by_row = drawn.drop_duplicates("row_id").set_index("row_id")
        rows_block = trees["row_id"].map(by_row["block_id"])
        own = trees["block_id"] if "block_id" in trees.columns else rows_block
        trees = trees.assign(block_id=own.where(own.notna(), rows_block))
        number = trees["row_id"].map(by_row["row_no"]).astype("Int64")
        given = trees["row_no"] if "row_no" in trees.columns else number
        trees = trees.assign(row_no=given.astype("Int64").fillna(number))
    trees, faults = _with_block(trees, trees.geometry.to_numpy(), blocks, "trees")
    trees, more = with_row_numbers(trees, drawn, blocks)
    faults += more
    trees, more = with_tree_numbers(trees, drawn, blocks)
    faults += more
    through = rows_through_trees(trees)
    drawn_numbers = pd.MultiIndex.from_frame(drawn[["block_id", "row_no"]])
    fresh = ~pd.MultiIndex.from_frame(through[["block_id", "row_no"]]).isin(drawn_numbers)
    through = through[fresh].reset_index(drop=True)
    through.insert(0, "row_id", row_ids(through["block_id"], through["row_no"]))
    names = pd.concat([drawn, through])[["block_id", "row_no", "row_id"]].drop_duplicates(
        ["block_id", "row_no"]
    )
    merged = trees.drop(columns="row_id", errors="ignore").merge(
        names, on=["block_id", "row_no"], how="left", sort=False
    )
    made = tree_ids(merged["block_id"], merged["row_no"], merged["tree_no"])
    own = merged["tree_id"] if "tree_id" in merged.columns else made
    again = own.notna() & own.duplicated(keep=False)
    faults += repeated(
        merged[again],
        "trees",
        "noted",
        found="a tree_id that another tree has too; one made from block, row and number is used",
        expected="each tree_id once",
        remedy="Give each tree its own tree_id, or leave the column out.",
    )
    filled = {"status": "standing", "place_source": "surveyed"}
    for column, word in filled.items():
        given = merged.get(column, pd.Series(None, index=merged.index, dtype="str"))
        filled[column] = given.fillna(word).astype("str")
    merged = merged.assign(tree_id=own.mask(own.isna() | again, made).astype("str"), **filled)
    return gpd.GeoDataFrame(merged, geometry="geometry", crs=trees.crs), through, faults


def _set_out(bare: gpd.GeoDataFrame) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    needed = ["row_bearing_deg", "row_gap_m", "tree_gap_m"]
    known = np.ones(len(bare), dtype=bool)
    for column in needed:
        known &= bare[column].notna().to_numpy() if column in bare.columns else False
    faults = row_faults(
        bare[~known],
        "blocks",
        "noted",
        found="a block without rows, trees, or what it takes to set them out; it has no trees",
        expected="drawn rows, tree points, or " + ", ".join(needed),
        remedy="Draw its rows, or give the block " + ", ".join(needed) + ".",
    )
    every, owners = [], []
    covered = shapely.is_empty(bare.geometry.to_numpy())
    faults += row_faults(
        bare[covered],
        "blocks",
        "noted",
        found="a block that lies wholly in others; it has no trees",
        expected="ground of its own",
        remedy="Take it out, or draw the blocks so that each has its own ground.",
    )
    for place in np.flatnonzero(known & ~covered):
        bearing, row_gap, tree_gap = (float(bare[column].iloc[place]) for column in needed)
        try:
            lines = set_out_rows(
                bare.geometry.iloc[place],
                bearing_deg=bearing,
                row_gap_m=row_gap,
                tree_gap_m=tree_gap,
            )
        except SettingError as error:
            faults += row_faults(
                bare.iloc[[place]],
                "blocks",
                "noted",
                found=error.fault.found + "; not set out",
                expected=error.fault.expected,
                remedy=error.fault.remedy,
            )
            continue
        every.append(lines)
        owners.append(np.full(len(lines), place))
    if not every:
        return _empty_rows(bare.crs), faults
    owner = np.concatenate(owners)
    laid = gpd.GeoDataFrame(
        {"block_id": pd.Series(bare["block_id"].to_numpy()[owner]).astype("str")},
        geometry=np.concatenate(every),
        crs=bare.crs,
    )
    laid["row_no"] = pd.Series(owner).groupby(owner).cumcount() + 1
    laid.insert(0, "row_id", row_ids(laid["block_id"], laid["row_no"]))
    return laid, faults


def _planted_trees(
    rows: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, *, source: str
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    if len(rows) == 0:
        return _empty_trees(blocks.crs), []
    gap = rows["block_id"].map(block_column(blocks, "tree_gap_m")).astype("float64")
    if "tree_gap_m" in rows.columns:
        gap = rows["tree_gap_m"].astype("float64").fillna(gap)
    lacking = rows[~(gap > 0.0)]
    faults = row_faults(
        lacking,
        "rows",
        "noted",
        found="no planting distance, so no trees on this row",
        expected="tree_gap_m above 0 in the row or its block",
        remedy="Give the block its tree_gap_m.",
    )
    trees = trees_along_rows(rows, tree_gap_m=gap, first_tree_m=rows.get("first_tree_m"))
    return trees.assign(place_source=pd.Series(source, index=trees.index, dtype="str")), faults
