"""The web map of one block: a single file that opens with no internet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np
import pandas as pd
import shapely

from estate.panels import unmeasured_depth
from layers.errors import SettingError
from reports.maps.ground_picture import (
    as_content,
    contour_interval_m,
    contour_lines,
    cut_terrain,
    girth_picture,
    shade_picture,
    slope_picture,
)
from reports.maps.lonlat import EarthFrame, earth_frame, in_units, rings_in_units
from reports.maps.surroundings import (
    date_text,
    first_known,
    known,
    obstacles_content,
    palette_content,
    places_content,
    share_told,
)
from reports.maps.tree_columns import panel_columns, tree_columns, tree_table
from reports.maps.web_page import web_page
from reports.maps.wording import wording_in
from reports.palette import GIRTH_STEPS, task_style
from reports.plan_view import PlanView

SCRIPTS = (
    "unpack.js",
    "marks.js",
    "view.js",
    "sheets.js",
    "finding.js",
    "measure.js",
    "cards.js",
    "block_stand.js",
    "block_drawing.js",
    "block_pages.js",
    "block.js",
)
GROUND_MARGIN_M = 120.0
NEIGHBOUR_MARGIN_M = 40.0
DOUBTFUL_BELOW = 0.9


def block_map(
    plan: PlanView,
    block_id: str,
    path: Path,
    *,
    overview_page: str | None = None,
    words: Mapping[str, str] | None = None,
    language: str = "en",
) -> Path:
    """Write the web map of one block.

    Parameters
    ----------
    plan
        The plan to show.
    block_id
        The block.
    path
        The HTML file to write.
    overview_page
        Where the cooperative's map lies, as seen from `path`; None for no way back to it.
    words
        Own words by name, as in :data:`reports.maps.wording.ENGLISH`, in place of ours.
    language
        One of :data:`reports.words.LANGUAGES`; numbers and dates are written as is usual in it.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    SettingError
        The plan has no such block, or there is no catalogue of the language.
    """
    blocks = plan.layers.blocks
    chosen = blocks[blocks["block_id"].eq(block_id)]
    if chosen.empty:
        raise SettingError.at(
            layer="blocks",
            found=f"the block {block_id}",
            expected="one of " + ", ".join(sorted(blocks["block_id"])),
            remedy="Name a block of this cooperative.",
        )
    frame = earth_frame(chosen.geometry.iloc[0], plan.layers.crs)
    text = web_page(
        block_content(plan, block_id, frame=frame)
        | {"overview": None if overview_page is None else quote(overview_page)},
        title=f"{block_id} · {plan.name}",
        wording=wording_in(language, own=words),
        latitude=frame.latitude,
        longitude=frame.longitude,
        scripts=SCRIPTS,
        start="startBlockMap",
    )
    path.write_text(text, "utf-8")
    return path


def block_content(plan: PlanView, block_id: str, *, frame: EarthFrame) -> dict[str, Any]:
    """Give all that a block's page shows, as JSON can hold it."""
    blocks = plan.layers.blocks
    block = blocks[blocks["block_id"].eq(block_id)]
    area = block.geometry.iloc[0]
    table = tree_table(plan, block_id)
    task_ids = sorted(table["task_id"].dropna().unique())
    return {
        "kind": "block",
        "frame": asdict(frame),
        "head": head_content(plan, block.iloc[0]),
        "palette": palette_content(),
        "edge": rings_in_units(block.geometry, frame=frame)[0],
        "holdings": _holdings(plan, area, frame),
        "neighbours": _neighbours(plan, block_id, area, frame),
        "rows": _rows(plan, table, frame),
        "trees": tree_columns(table, tasks=task_ids, crs=plan.layers.crs, frame=frame),
        "panels": panel_columns(plan.panels, table),
        "tasks": _tasks(plan, task_ids, frame),
        "doubts": _doubts(plan, table, frame),
        "places": places_content(plan.layers.places, area, frame),
        "obstacles": obstacles_content(plan.layers.obstacles, area, frame),
        "ground": _ground(plan, block_id, area, frame),
        "sun": sun_content(plan, block_id),
        "marking": {"depth_mm": unmeasured_depth(plan.standard, plan.practice)},
    }


def head_content(plan: PlanView, block: pd.Series) -> dict[str, Any]:
    """Give what the head of a page says of its block."""
    holdings = plan.layers.holdings
    holder = holdings[holdings["holding_id"].eq(block.get("holding_id"))]
    ready = plan.readiness[plan.readiness["block_id"].eq(block["block_id"])]
    return {
        "name": plan.name,
        "on": plan.on.isoformat(),
        "block": block["block_id"],
        "holding": known(block.get("holding_id")),
        "member": first_known(holder, "member"),
        "planted": date_text(block.get("planted_on")),
        "clone": known(block.get("clone")),
        "material": known(block.get("material")),
        "area_ha": None if pd.isna(block.get("area_ha")) else round(float(block["area_ha"]), 3),
        "standard": plan.standard.title,
        "decision": first_known(ready, "decision"),
        "reason": first_known(ready, "reason") or "",
        "told": None if ready.empty else share_told(ready.iloc[0]),
    }


def sun_content(plan: PlanView, block_id: str) -> dict[str, Any] | None:
    """Give a block's sun rose and the advice that comes of it; None where there is none."""
    rose = plan.rose[plan.rose["block_id"].eq(block_id)].sort_values("azimuth_deg")
    facing = plan.facing[plan.facing["block_id"].eq(block_id)]
    if rose.empty or facing.empty:
        return None
    advice = facing.iloc[0]
    return {
        "azimuth": rose["azimuth_deg"].astype(float).tolist(),
        "beam": rose["beam_mj_m2"].round().astype(int).tolist(),
        "flow": rose["flow_mj_m2"].round().astype(int).tolist(),
        "scorch": rose["scorch_mj_m2"].round().astype(int).tolist(),
        "faces": [
            float(face)
            for face in (advice["first_face_deg"], advice["second_face_deg"])
            if not pd.isna(face)
        ],
        "words": advice["face_words"],
        "reason": advice["reason"],
        "basis": known(advice.get("basis")) or "",
        "saved": _share(advice["scorch_share_saved"]),
        "doubt": _share(advice["uncertainty_share"]),
        "apart": bool(advice["told_apart"]) and not pd.isna(advice["scorch_share_saved"]),
    }


def _holdings(plan: PlanView, area: shapely.Geometry, frame: EarthFrame) -> list[dict[str, Any]]:
    holdings = plan.layers.holdings
    near = holdings[holdings.geometry.distance(area) <= NEIGHBOUR_MARGIN_M]
    members = near["member"] if "member" in near else pd.Series("", index=near.index)
    return [
        {"id": key, "member": "" if pd.isna(member) else str(member), "lines": lines}
        for key, member, lines in zip(
            near["holding_id"], members, rings_in_units(near.geometry, frame=frame), strict=True
        )
    ]


def _neighbours(
    plan: PlanView, block_id: str, area: shapely.Geometry, frame: EarthFrame
) -> list[dict[str, Any]]:
    blocks = plan.layers.blocks
    near = blocks[
        blocks["block_id"].ne(block_id) & (blocks.geometry.distance(area) <= NEIGHBOUR_MARGIN_M)
    ]
    return [
        {"id": key, "lines": lines}
        for key, lines in zip(
            near["block_id"], rings_in_units(near.geometry, frame=frame), strict=True
        )
    ]


def _rows(plan: PlanView, table: pd.DataFrame, frame: EarthFrame) -> list[dict[str, Any]]:
    lines = plan.layers.rows.set_index("row_id")
    order = table.drop_duplicates("row_id")
    shapes = lines.geometry.reindex(order["row_id"])
    return [
        {"id": row_id, "no": int(row_no), "lines": line}
        for row_id, row_no, line in zip(
            order["row_id"], order["row_no"], rings_in_units(shapes, frame=frame), strict=True
        )
    ]


def _tasks(plan: PlanView, task_ids: list[str], frame: EarthFrame) -> list[dict[str, Any]]:
    sums = plan.task_sums.set_index("task_id").reindex(task_ids)
    walks = plan.walks.set_index("task_id").geometry.reindex(task_ids)
    return [
        {
            "id": task_id,
            "style": asdict(task_style(place)),
            "beat": str(row["beat_id"]),
            "day": int(row["round_day"]),
            "trees": int(row["trees"]),
            "minutes": round(float(row["minutes"])),
            "tapping": round(float(row["tapping_min"])),
            "walking": round(float(row["walking_min"])),
            "collecting": round(float(row["collecting_min"])),
            "walk_m": round(float(row["walk_m"])),
            "high_knife": bool(row["needs_high_knife"]),
            "lines": line,
        }
        for place, ((task_id, row), line) in enumerate(
            zip(sums.iterrows(), rings_in_units(walks, frame=frame), strict=True)
        )
    ]


def _doubts(plan: PlanView, table: pd.DataFrame, frame: EarthFrame) -> list[list[Any]]:
    """Give each doubtful join: [point_id, x, y, tree, ‰, second tree, ‰, dx, dy, sd] (cm)."""
    matches = plan.matches
    here = matches["tree_id"].isin(table["tree_id"])
    lost = matches["tree_id"].isna() & matches["second_tree_id"].isin(table["tree_id"])
    doubtful = matches[(here & (matches["probability"] < DOUBTFUL_BELOW)) | lost]
    points = plan.layers.girth.set_index("point_id").geometry.reindex(doubtful["point_id"])
    east, north = in_units(
        points.x.to_numpy(), points.y.to_numpy(), crs=plan.layers.crs, frame=frame
    )
    place = {tree_id: number for number, tree_id in enumerate(table["tree_id"])}
    return [
        [
            match.point_id,
            int(x),
            int(y),
            place.get(match.tree_id, -1),
            round(match.probability * 1000),
            place.get(match.second_tree_id, -1),
            0 if np.isnan(match.second_probability) else round(match.second_probability * 1000),
            *(
                None if np.isnan(metres) else round(metres * 100)
                for metres in (match.dx_m, match.dy_m, match.offset_sd_m)
            ),
        ]
        for match, x, y in zip(doubtful.itertuples(), east, north, strict=True)
    ]


def _ground(
    plan: PlanView, block_id: str, area: shapely.Geometry, frame: EarthFrame
) -> dict[str, Any]:
    ground: dict[str, Any] = {}
    terrain = plan.layers.terrain
    cut = None if terrain is None else cut_terrain(terrain, area, margin_m=GROUND_MARGIN_M)
    if cut is not None and np.isfinite(cut.elevation_m).any():
        interval_m = contour_interval_m(cut)
        contours = contour_lines(cut, interval_m=interval_m)
        ground |= {
            "shade": as_content(shade_picture(cut)),
            "slope": as_content(slope_picture(cut)),
            "contour_m": interval_m,
            "contours": [
                {"m": height, "lines": lines}
                for height, lines in zip(
                    contours["elevation_m"],
                    rings_in_units(contours.geometry, frame=frame, tolerance_m=0.5),
                    strict=True,
                )
            ],
        }
    surface, transform = plan.girth_raster.of_block(block_id)
    if np.isfinite(surface).sum() >= len(GIRTH_STEPS):
        breaks = _girth_breaks(surface[np.isfinite(surface)])
        ground |= {
            "girth": as_content(
                girth_picture(surface, transform, plan.girth_raster.crs, breaks_cm=breaks)
            ),
            "girth_breaks": breaks.tolist(),
        }
    return ground


def _girth_breaks(girth_cm: np.ndarray) -> np.ndarray:
    """Give round girths that part a block's surface into the palette's steps."""
    low, high = np.quantile(girth_cm, [0.1, 0.9])
    step = max(1.0, np.ceil((high - low) / (len(GIRTH_STEPS) - 2)))
    first = np.ceil(low / step) * step
    return first + step * np.arange(len(GIRTH_STEPS) - 1)


def _share(value: Any) -> float | None:
    return None if pd.isna(value) else round(float(value), 7)
