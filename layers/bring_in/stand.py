"""Rows and planting places of every block, from whichever of them the user gave."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.bring_in.keys import unique_keys
from layers.checks import FILE, row_faults
from layers.errors import Fault, SettingError
from layers.rows import (
    infer_row_numbers,
    number_rows,
    row_ids,
    rows_through_trees,
    set_out_rows,
)
from layers.trees import number_along_row, tree_ids, trees_along_rows

# A tree or row farther than this from every block belongs to none.
_NEAREST_BLOCK_M = 10.0


@dataclass(frozen=True, kw_only=True)
class Stand:
    """The rows and planting places of all blocks, and how many came from where."""

    rows: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame
    faults: tuple[Fault, ...]
    origins: tuple[tuple[str, int, int], ...]


def make_stand(
    blocks: gpd.GeoDataFrame,
    rows: gpd.GeoDataFrame | None,
    trees: gpd.GeoDataFrame | None,
) -> Stand:
    """Give each block its rows and planting places.

    A block with tree points keeps them, and its rows are those drawn, those the trees' numbers
    name, or else inferred; a block with drawn rows only has trees set along them; a block with
    neither is set out from its bearing and planting distances, where it has them.
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
    bare = blocks[~blocks["block_id"].isin(with_points | set(drawn["block_id"]))]
    laid, more = _set_out(bare)
    faults += more
    along, more = _planted_trees(planted, blocks, source="along rows")
    faults += more
    set_trees, more = _planted_trees(laid, blocks, source="set out")
    faults += more
    every_row = _sorted(
        _joined([drawn, through, laid], blocks.crs), ["block_id", "row_no", "row_id"]
    )
    every_tree = _joined([points, along, set_trees], blocks.crs)
    every_tree, more = unique_keys(every_tree, "trees")
    faults += more
    every_tree = _sorted(every_tree, ["block_id", "row_no", "tree_no", "tree_id"])
    return Stand(
        rows=every_row,
        trees=every_tree,
        faults=tuple(faults),
        origins=(
            ("drawn rows", len(drawn), len(along)),
            ("tree points", len(through), len(points)),
            ("set out from bearing and distances", len(laid), len(set_trees)),
        ),
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
             "tree_no": "int64", "status": "str"}  # fmt: skip
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
    for lacking, reach in (
        (np.flatnonzero(given.isna()), _NEAREST_BLOCK_M),
        (np.flatnonzero(unknown), 0.0),
    ):
        if len(lacking):
            index = tree.query_nearest(points[lacking], max_distance=reach, all_matches=False)
            found[lacking[index[0]]] = blocks["block_id"].to_numpy()[index[1]]
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
    return placed[~out].reset_index(drop=True), faults


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
    trees, more = _with_row_numbers(trees, drawn, blocks)
    faults += more
    trees, more = _with_tree_numbers(trees, drawn, blocks)
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
    status = merged["status"] if "status" in merged.columns else pd.Series(None, merged.index)
    merged = merged.assign(
        tree_id=own.mask(own.isna(), made).astype("str"),
        status=status.where(status.notna(), "standing").astype("str"),
        place_source=pd.Series("surveyed", index=merged.index, dtype="str")
        if "place_source" not in merged.columns
        else merged["place_source"],
    )
    return gpd.GeoDataFrame(merged, geometry="geometry", crs=trees.crs), through, faults


def _with_row_numbers(
    trees: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
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
    gaps = _block_column(blocks, "row_gap_m")
    faults: list[Fault] = []
    lines = dict(iter(drawn.groupby("block_id")))
    for block, places in trees.groupby("block_id", sort=True).indices.items():
        lacking = places[np.isnan(numbers[places])]
        if len(lacking) == 0:
            continue
        if block in lines:
            numbers[lacking] = _nearest_row(trees, lacking, lines[block])
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
    trees: gpd.GeoDataFrame, lacking: NDArray[np.int64], lines: gpd.GeoDataFrame
) -> NDArray[np.float64]:
    tree = shapely.STRtree(lines.geometry.to_numpy())
    nearest = tree.query_nearest(trees.geometry.to_numpy()[lacking], all_matches=False)[1]
    return lines["row_no"].to_numpy(dtype="float64")[nearest]


def _block_column(blocks: gpd.GeoDataFrame, column: str) -> dict[str, float]:
    if column not in blocks.columns:
        return {}
    known = blocks[blocks[column].notna()]
    return dict(zip(known["block_id"], known[column].astype("float64"), strict=True))


def _with_tree_numbers(
    trees: gpd.GeoDataFrame, drawn: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give each tree its number along its row, and sort the trees by it."""
    given = (
        trees["tree_no"]
        if "tree_no" in trees.columns
        else pd.Series(pd.NA, trees.index, dtype="Int64")
    )
    numbers = given.to_numpy(dtype="float64", na_value=np.nan)
    gaps = _block_column(blocks, "tree_gap_m")
    lines = {
        (block, number): line
        for block, number, line in zip(
            drawn["block_id"], drawn["row_no"], drawn.geometry, strict=True
        )
    }
    points = trees.geometry.to_numpy()
    counted: dict[str, int] = {}
    for (block, row), places in trees.groupby(["block_id", "row_no"], sort=True).indices.items():
        lacking = places[np.isnan(numbers[places])]
        if len(lacking) == 0:
            continue
        along = _along(points[lacking], lines.get((block, row)))
        order = np.argsort(along, kind="stable")
        last = 0.0 if len(lacking) == len(places) else np.nanmax(numbers[places])
        gap = gaps.get(str(block)) if _regular(along[order], gaps.get(str(block))) else None
        numbers[lacking[order]] = last + number_along_row(along[order], tree_gap_m=gap)
        counted[str(block)] = counted.get(str(block), 0) + len(lacking)
    faults = [
        _inferred(
            trees,
            int(np.flatnonzero((trees["block_id"] == block).to_numpy())[0]),
            block,
            f"{count} trees without a tree_no; numbered along their rows",
        )
        for block, count in counted.items()
    ]
    numbered = trees.assign(tree_no=numbers.astype("int64"))
    return _sorted(numbered, ["block_id", "row_no", "tree_no"]), faults


def _along(points: NDArray[np.object_], line: shapely.LineString | None) -> NDArray[np.float64]:
    """Give each tree's distance along its row's line, or along the row's own main direction."""
    if line is not None:
        return shapely.line_locate_point(line, points)
    places = shapely.get_coordinates(points)
    if len(places) < 2:
        return np.zeros(len(places))
    _, vectors = np.linalg.eigh(np.cov(places.T))
    main = vectors[:, -1]
    if main[0] < -1e-9 or (abs(main[0]) <= 1e-9 and main[1] < 0.0):
        main = -main
    along = places @ main
    return along - along.min()


def _regular(along: NDArray[np.float64], gap: float | None) -> bool:
    """Tell whether steps along a row keep to the planting distance, so that gaps can be counted."""
    if gap is None or len(along) < 3:
        return False
    steps = np.diff(along) / gap
    return bool(np.median(np.abs(steps - np.maximum(np.rint(steps), 1.0))) < 0.2)


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
    frames = [_empty_rows(bare.crs)]
    for place in np.flatnonzero(known):
        block = bare.iloc[[place]]
        try:
            lines = set_out_rows(
                block.geometry.iloc[0],
                bearing_deg=float(block["row_bearing_deg"].iloc[0]),
                row_gap_m=float(block["row_gap_m"].iloc[0]),
                tree_gap_m=float(block["tree_gap_m"].iloc[0]),
            )
        except SettingError as error:
            faults += row_faults(
                block,
                "blocks",
                "noted",
                found=error.fault.found + "; not set out",
                expected=error.fault.expected,
                remedy=error.fault.remedy,
            )
            continue
        number = np.arange(1, len(lines) + 1)
        laid = gpd.GeoDataFrame(
            {"block_id": np.repeat(block["block_id"].to_numpy(), len(lines)), "row_no": number},
            geometry=lines,
            crs=bare.crs,
        ).astype({"block_id": "str"})
        laid.insert(0, "row_id", row_ids(laid["block_id"], laid["row_no"]))
        frames.append(laid)
    return _joined(frames, bare.crs), faults


def _planted_trees(
    rows: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame, *, source: str
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    if len(rows) == 0:
        return _empty_trees(blocks.crs), []
    gap = rows["block_id"].map(_block_column(blocks, "tree_gap_m")).astype("float64")
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
