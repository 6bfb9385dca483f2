"""The web map of the whole cooperative: a single file that opens with no internet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any
from urllib.parse import quote

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from layers.errors import GeometryError
from reports.maps.ground_picture import as_content, cut_terrain, shade_picture
from reports.maps.lonlat import EarthFrame, earth_frame, in_units, rings_in_units
from reports.maps.spoken import pack
from reports.maps.surroundings import (
    date_text,
    known,
    obstacles_content,
    palette_content,
    places_content,
    share_told,
)
from reports.maps.web_page import web_page
from reports.maps.wording import wording_in
from reports.palette import CLASS_MARKS
from reports.plan_view import PlanView

SCRIPTS = (
    "unpack.js",
    "marks.js",
    "view.js",
    "sheets.js",
    "finding.js",
    "measure.js",
    "overview_pages.js",
    "overview.js",
)
BLOCK_TOLERANCE_M = 0.5
GROUND_MARGIN_M = 150.0
# Trees of the overview stand on a grid of about half a metre: they show where, not which.
COARSE_UNITS = 50


def overview_map(
    plan: PlanView,
    path: Path,
    *,
    block_pages: Mapping[str, str] | None = None,
    words: Mapping[str, str] | None = None,
    language: str = "en",
) -> Path:
    """Write the web map of the whole cooperative.

    Parameters
    ----------
    plan
        The plan to show.
    path
        The HTML file to write.
    block_pages
        Where each block's own page lies, as seen from `path`, by block; those without one get
        no link.
    words, language
        As in :func:`reports.maps.block_map`.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    GeometryError
        The plan has no block.
    """
    blocks = plan.layers.blocks
    if blocks.empty:
        raise GeometryError.at(
            layer="blocks",
            found="no block",
            expected="one block or more",
            remedy="Bring in the cooperative's blocks first.",
        )
    area = shapely.box(*blocks.total_bounds)
    frame = earth_frame(area, plan.layers.crs)
    content = overview_content(plan, area, frame=frame, block_pages=block_pages or {})
    text = web_page(
        content,
        title=plan.name,
        wording=wording_in(language, own=words),
        latitude=frame.latitude,
        longitude=frame.longitude,
        scripts=SCRIPTS,
        start="startOverviewMap",
        chunks=tree_chunks(plan, frame=frame),
    )
    path.write_text(text, "utf-8")
    return path


def overview_content(
    plan: PlanView,
    area: shapely.Geometry,
    *,
    frame: EarthFrame,
    block_pages: Mapping[str, str],
) -> dict[str, Any]:
    """Give all that the overview shows at once, as JSON can hold it."""
    holdings = plan.layers.holdings
    members = holdings["member"] if "member" in holdings else pd.Series("", index=holdings.index)
    terrain = plan.layers.terrain
    cut = None if terrain is None else cut_terrain(terrain, area, margin_m=GROUND_MARGIN_M)
    return {
        "kind": "overview",
        "frame": asdict(frame),
        "head": {
            "name": plan.name,
            "on": plan.on.isoformat(),
            "standard": plan.standard.title,
        },
        "palette": palette_content(),
        "holdings": [
            {"id": key, "member": "" if pd.isna(member) else str(member), "lines": lines}
            for key, member, lines in zip(
                holdings["holding_id"],
                members,
                rings_in_units(holdings.geometry, frame=frame, tolerance_m=BLOCK_TOLERANCE_M),
                strict=True,
            )
        ],
        "blocks": _blocks(plan, frame, block_pages),
        "places": places_content(plan.layers.places, area, frame),
        "obstacles": obstacles_content(plan.layers.obstacles, area, frame),
        "ground": {} if cut is None else {"shade": as_content(shade_picture(cut))},
    }


def tree_chunks(plan: PlanView, *, frame: EarthFrame) -> dict[str, str]:
    """Give each block's trees packed by themselves, so that a page unpacks only those near.

    Returns
    -------
    mapping of str to str
        ``trees-0`` for the first block of the layer, and so on. Unpacked: ``x`` and ``y``, each
        as steps from row to row and along it in units of `COARSE_UNITS`, and ``class``.
    """
    trees = plan.layers.trees
    kinds = plan.classes.set_index("tree_id")["class"].reindex(trees["tree_id"])
    places = pd.Categorical(kinds, categories=list(CLASS_MARKS)).codes.astype(int)
    east, north = in_units(
        trees.geometry.x.to_numpy(), trees.geometry.y.to_numpy(), crs=trees.crs, frame=frame
    )
    table = pd.DataFrame(
        {
            "block_id": trees["block_id"].to_numpy(),
            "row": trees["row_id"].to_numpy(),
            "no": trees["tree_no"].to_numpy(),
            "x": np.rint(east / COARSE_UNITS).astype(int),
            "y": np.rint(north / COARSE_UNITS).astype(int),
            "class": places,
        }
    ).sort_values(["row", "no"], kind="stable")
    order = {key: number for number, key in enumerate(plan.layers.blocks["block_id"])}
    return {
        f"trees-{order[block_id]}": pack(_chunk(part))
        for block_id, part in table.groupby("block_id", sort=False)
        if block_id in order
    }


def _chunk(part: pd.DataFrame) -> dict[str, Any]:
    return {
        "x": np.diff(part["x"].to_numpy(), prepend=0).tolist(),
        "y": np.diff(part["y"].to_numpy(), prepend=0).tolist(),
        "class": "".join(str(place) for place in part["class"]),
    }


def _blocks(
    plan: PlanView, frame: EarthFrame, block_pages: Mapping[str, str]
) -> list[dict[str, Any]]:
    blocks = plan.layers.blocks
    ready = plan.readiness.set_index("block_id").reindex(blocks["block_id"])
    rings = rings_in_units(blocks.geometry, frame=frame, tolerance_m=BLOCK_TOLERANCE_M)
    order = {key: number for number, key in enumerate(plan.layers.holdings["holding_id"])}
    heads = _text_columns(blocks, ("planted_on", "clone", "material"))
    return [
        {
            "id": block.block_id,
            "holding": order.get(getattr(block, "holding_id", None), -1),
            "lines": lines,
            "page": quote(block_pages[block.block_id]) if block.block_id in block_pages else None,
            "area_ha": _number(getattr(block, "area_ha", None), 2),
            **head,
            "share": _number(state.ready_share, 7),
            "low": _number(state.low, 7),
            "high": _number(state.high, 7),
            "told": share_told(state),
            "measured": _number(state.measured, 0),
            "standing": _number(state.standing, 0),
            "decision": known(state.decision),
            "reason": known(state.reason) or "",
            "likely_from": date_text(state.likely_from),
            "wait_until": date_text(state.wait_until),
            "more": _number(state.more_to_measure, 0),
        }
        for block, state, lines, head in zip(
            blocks.itertuples(), ready.itertuples(), rings, heads, strict=True
        )
    ]


def _text_columns(blocks: gpd.GeoDataFrame, columns: tuple[str, ...]) -> list[dict[str, Any]]:
    there = [column for column in columns if column in blocks]
    return [
        {
            column.removesuffix("_on"): date_text(row[column])
            if column == "planted_on"
            else (None if pd.isna(row[column]) else str(row[column]))
            for column in there
        }
        for row in blocks[there].to_dict("records")
    ]


def _number(value: Any, digits: int) -> float | None:
    if value is None or pd.isna(value):
        return None
    return round(float(value), digits) if digits else int(value)
