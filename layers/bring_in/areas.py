"""Holdings and blocks: their keys, areas and faults against one another."""

from __future__ import annotations

import geopandas as gpd
import pandas as pd
import shapely

from layers import checks
from layers.bring_in.keys import join_parts, make_keys
from layers.bring_in.values import check_values
from layers.contract import LAYERS
from layers.crs import EXCHANGE_CRS, geodesic_area_ha
from layers.errors import Fault, MissingLayerError
from layers.mending import drop_twins


def holdings_and_blocks(
    frames: dict[str, pd.DataFrame],
) -> tuple[tuple[gpd.GeoDataFrame, gpd.GeoDataFrame], list[Fault]]:
    """Give holdings and blocks with keys, words in order and geodesic areas, and their faults."""
    faults: list[Fault] = []
    done: dict[str, gpd.GeoDataFrame] = {}
    for layer in ("holdings", "blocks"):
        if layer not in frames or len(frames[layer]) == 0:
            continue
        frame, more = drop_twins(frames[layer], layer)
        faults += more
        frame, more = make_keys(frame, layer)
        faults += more
        frame, more = join_parts(frame, layer)
        faults += more
        done[layer] = _sorted(frame, LAYERS[layer].key)
    if "blocks" not in done:
        missing = MissingLayerError.at(
            layer="blocks",
            found="no block",
            expected="a file whose name begins with blocks",
            remedy="Add the blocks' boundaries.",
        )
        empty = gpd.GeoDataFrame(geometry=[], crs=EXCHANGE_CRS)
        return (empty, empty), [*faults, missing.fault]
    blocks = done["blocks"]
    if "holdings" in done:
        holdings = done["holdings"]
        blocks, more = _with_holding(blocks, holdings)
        faults += more
    else:
        holdings, blocks, more = _holdings_from_blocks(blocks)
        faults += more
    holdings, more = with_members(holdings, blocks)
    faults += more
    blocks = blocks.drop(columns="member", errors="ignore")
    holdings, more = check_values(holdings, "holdings")
    faults += more
    blocks, more = check_values(blocks, "blocks")
    faults += more
    holdings = holdings.assign(area_ha=geodesic_area_ha(holdings.geometry))
    blocks = blocks.assign(area_ha=geodesic_area_ha(blocks.geometry))
    faults += checks.overlaps(holdings, "holdings")
    faults += checks.blocks_outside(blocks, holdings)
    return (holdings, blocks), faults


def _sorted(frame: gpd.GeoDataFrame, key: str) -> gpd.GeoDataFrame:
    return frame.sort_values(key, kind="stable").reset_index(drop=True)


def _holdings_from_blocks(
    blocks: gpd.GeoDataFrame,
) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, list[Fault]]:
    """Draw the holdings round the blocks that name them, where no holdings layer was given."""
    nobody = pd.Series(None, index=blocks.index, dtype="str")
    given = blocks["holding_id"] if "holding_id" in blocks.columns else nobody
    # Where only the members are written, each member has one holding, known by the name.
    member = blocks["member"] if "member" in blocks.columns else nobody
    named = blocks.assign(holding_id=given.fillna(member).fillna("H01").astype("str"))
    merged = named[["holding_id", "geometry"]].dissolve("holding_id").reset_index()
    shapes = [shapely.multipolygons(list(shapely.get_parts(shape))) for shape in merged.geometry]
    holdings = gpd.GeoDataFrame(merged[["holding_id"]], geometry=shapes, crs=blocks.crs)
    fault = Fault(
        severity="mended",
        file="",
        layer="holdings",
        row="",
        found=f"no holdings; {len(holdings)} drawn round the blocks by their holding_id",
        expected="a file whose name begins with holdings",
        remedy="Add the holdings' boundaries.",
    )
    return _sorted(holdings, "holding_id"), named, [fault]


def _with_holding(
    blocks: gpd.GeoDataFrame, holdings: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give a block without a holding the one that covers most of it."""
    own = (
        blocks["holding_id"]
        if "holding_id" in blocks.columns
        else pd.Series(None, index=blocks.index, dtype="str")
    )
    lacking = own.isna()
    if not lacking.any():
        return blocks, []
    shapes = blocks.geometry.to_numpy()[lacking.to_numpy()]
    outlines = holdings.geometry.to_numpy()
    block, holding = shapely.STRtree(outlines).query(shapes, predicate="intersects")
    shared = pd.DataFrame(
        {
            "block": block,
            "holding_id": holdings["holding_id"].to_numpy()[holding],
            "shared": shapely.area(shapely.intersection(shapes[block], outlines[holding])),
        }
    ).sort_values(["block", "shared", "holding_id"], ascending=[True, False, True])
    most = shared.drop_duplicates("block").set_index("block")["holding_id"]
    filled = own.copy()
    filled[lacking] = most.reindex(range(int(lacking.sum()))).to_numpy()
    faults = checks.row_faults(
        blocks[lacking],
        "blocks",
        "mended",
        found=[
            "no holding_id; it lies in no holding" if pd.isna(name)
            else f"no holding_id; taken as {name}, in which it lies"
            for name in filled[lacking]
        ],
        expected="a holding_id",
        remedy="Add the block's holding_id.",
    )  # fmt: skip
    return blocks.assign(holding_id=filled.astype("str")), faults


def with_members(
    holdings: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Give holdings without a member the one that is written on their blocks.

    Parameters
    ----------
    holdings
        holding_id; member where the layer has it.
    blocks
        holding_id; member where somebody wrote it there.

    Returns
    -------
    GeoDataFrame, list of Fault
        The holdings with `member`; where blocks of one holding name several, all of them, parted
        by semicolons, which is told, as is a block that names another member than its holding.
    """
    if "member" not in blocks.columns or blocks["member"].isna().all():
        return holdings, []
    told = blocks[blocks["member"].notna() & blocks["holding_id"].notna()]
    names = told.groupby("holding_id")["member"].agg(lambda own: "; ".join(sorted(set(own))))
    given = (
        holdings["member"]
        if "member" in holdings.columns
        else pd.Series(None, index=holdings.index, dtype="str")
    )
    from_blocks = holdings["holding_id"].map(names)
    taken = given.isna() & from_blocks.notna()
    several = taken & from_blocks.str.contains("; ", regex=False).fillna(False).astype(bool)
    faults = checks.row_faults(
        holdings[several],
        "holdings",
        "noted",
        found=[f"blocks of several members: {who}" for who in from_blocks[several]],
        expected="one member a holding",
        remedy="Give each member's blocks their own holding_id, or let the holding have them all.",
    )
    own = dict(zip(holdings["holding_id"], given, strict=True))
    other = told[told["holding_id"].map(own).notna()]
    other = other[other["member"] != other["holding_id"].map(own)]
    faults += checks.row_faults(
        other,
        "blocks",
        "noted",
        found=[
            f"the member {who}; its holding {holding} is {own[holding]}'s, which holds"
            for who, holding in zip(other["member"], other["holding_id"], strict=True)
        ],
        expected="the member of the block's holding",
        remedy="Mend the member in the block or in the holding.",
    )
    return holdings.assign(member=given.fillna(from_blocks).astype("str")), faults
