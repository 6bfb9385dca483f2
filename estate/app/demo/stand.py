"""The demo's holdings, blocks, rows and trees, as they truly stand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import contourpy
import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
import shapely.ops
from numpy.typing import NDArray

from estate.app.demo.ground import elevation_m
from layers.rows import row_ids, set_out_rows
from layers.trees import trees_along_rows

_INSET_M = 7.0
_CORNER_SHIFT_M = 9.0
_SHORTEST_ROW_M = 16.0
# Share of a block's cell in which each part lies: west, south, east and north edges.
_PARTS = {
    "whole": (0.0, 0.0, 1.0, 1.0),
    "south": (0.0, 0.0, 1.0, 0.46),
    "north": (0.0, 0.54, 1.0, 1.0),
    "west": (0.0, 0.0, 0.46, 1.0),
    "east": (0.54, 0.0, 1.0, 1.0),
}


@dataclass(frozen=True, kw_only=True)
class TrueStand:
    """What stands on the invented ground.

    Parameters
    ----------
    holdings, blocks, rows
        In the contract's columns, before any fault is put in.
    trees
        Every planting place with its true status and girth_cm on the survey day.
    """

    holdings: gpd.GeoDataFrame
    blocks: gpd.GeoDataFrame
    rows: gpd.GeoDataFrame
    trees: gpd.GeoDataFrame


def make_stand(figures: dict[str, Any], generator: np.random.Generator) -> TrueStand:
    """Give the invented cooperative's holdings, blocks, rows and trees."""
    corners = _corners(figures["place"], generator)
    holdings = _holdings(figures, corners)
    blocks = _blocks(figures, corners)
    rows = _rows(figures, blocks, generator)
    trees = trees_along_rows(
        rows,
        tree_gap_m=rows["tree_gap_m"],
        first_tree_m=rows["first_tree_m"],
    )
    return TrueStand(
        holdings=holdings,
        blocks=blocks,
        rows=rows,
        trees=_grown(trees, figures, generator),
    )


def _corners(place: dict[str, Any], generator: np.random.Generator) -> NDArray[np.float64]:
    """Give the holdings' corners, shape (columns + 1, rows + 1, 2), metres in the demo's CRS."""
    across, up = np.meshgrid(
        np.arange(place["columns"] + 1.0), np.arange(place["rows"] + 1.0), indexing="ij"
    )
    corners = np.stack([across, up], axis=-1) * place["cell_m"]
    shift = generator.uniform(-_CORNER_SHIFT_M, _CORNER_SHIFT_M, corners.shape)
    # The stream's border stays under the stream.
    shift[place["columns"] // 2, :, 0] *= 0.3
    return corners + shift + np.array([place["west_m"], place["south_m"]])


def _cell(corners: NDArray[np.float64], column: int, row: int) -> shapely.Polygon:
    return shapely.Polygon(
        [
            corners[column, row],
            corners[column + 1, row],
            corners[column + 1, row + 1],
            corners[column, row + 1],
        ]
    )


def _holdings(figures: dict[str, Any], corners: NDArray[np.float64]) -> gpd.GeoDataFrame:
    place = figures["place"]
    cells = [(column, row) for row in range(place["rows"]) for column in range(place["columns"])]
    numbers = range(1, len(cells) + 1)
    return gpd.GeoDataFrame(
        {
            "holding_id": [f"H{number:02d}" for number in numbers],
            "member": [f"Member {number:02d}" for number in numbers],
        },
        geometry=[_cell(corners, *cell) for cell in cells],
        crs=place["epsg"],
    )


def _blocks(figures: dict[str, Any], corners: NDArray[np.float64]) -> gpd.GeoDataFrame:
    day = figures["place"]["survey_day"]
    frame = pd.DataFrame(
        [
            {
                "block_id": block["name"],
                "holding_id": _holding_id(block["cell"], figures["place"]["columns"]),
                "planted_on": day - timedelta(days=round(block["age"] * 365.25)),
                "material": block.get("material", "budded"),
                "clone": block["clone"] or None,
                "row_gap_m": block["gaps_m"][0],
                "tree_gap_m": block["gaps_m"][1],
                "row_bearing_deg": block["bearing_deg"] if block["rows"] == "bearing" else None,
            }
            for block in figures["blocks"]
        ]
    )
    frame["planted_on"] = pd.to_datetime(frame["planted_on"])
    shapes = [_part(corners, block) for block in figures["blocks"]]
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=figures["place"]["epsg"])


def _holding_id(cell: list[int], columns: int) -> str:
    return f"H{cell[1] * columns + cell[0] + 1:02d}"


def _part(corners: NDArray[np.float64], block: dict[str, Any]) -> shapely.Polygon:
    """Give the part of a holding that a block covers, bilinear in the holding's corners."""
    column, row = block["cell"]
    west, south, east, north = _PARTS[block["part"]]
    quad = corners[column : column + 2, row : row + 2]
    ring = [
        (1 - u) * (1 - v) * quad[0, 0]
        + u * (1 - v) * quad[1, 0]
        + u * v * quad[1, 1]
        + (1 - u) * v * quad[0, 1]
        for u, v in ((west, south), (east, south), (east, north), (west, north))
    ]
    return shapely.Polygon(ring).buffer(-_INSET_M, join_style="mitre")


def _rows(
    figures: dict[str, Any], blocks: gpd.GeoDataFrame, generator: np.random.Generator
) -> gpd.GeoDataFrame:
    frames = []
    for block, shape in zip(figures["blocks"], blocks.geometry, strict=True):
        row_gap, tree_gap = block["gaps_m"]
        lines: Sequence[Any] | NDArray[np.object_]
        if block["rows"] == "contour":
            lines = _contour_rows(shape, row_gap, figures)
        else:
            lines = set_out_rows(
                shape, bearing_deg=block["bearing_deg"], row_gap_m=row_gap, tree_gap_m=tree_gap
            )
        first = np.zeros(len(lines))
        if block["rows"] != "bearing":
            first = generator.uniform(0.0, tree_gap, len(lines)).round(1)
        frames.append(
            gpd.GeoDataFrame(
                {
                    "block_id": block["name"],
                    "row_no": np.arange(1, len(lines) + 1),
                    "tree_gap_m": tree_gap,
                    "first_tree_m": first,
                },
                geometry=lines,
                crs=blocks.crs,
            )
        )
    rows = gpd.GeoDataFrame(pd.concat(frames, ignore_index=True), crs=blocks.crs)
    rows["block_id"] = rows["block_id"].astype("str")
    rows.insert(0, "row_id", row_ids(rows["block_id"], rows["row_no"]))
    return rows


def _contour_rows(
    shape: shapely.Polygon, row_gap: float, figures: dict[str, Any]
) -> list[shapely.LineString]:
    """Draw rows on the contour, uphill first, about a row gap apart on the block's mean slope."""
    place = figures["place"]
    west, south, east, north = shape.bounds
    x, y = np.arange(west - 4.0, east + 4.0, 2.0), np.arange(south - 4.0, north + 4.0, 2.0)
    grid_x, grid_y = np.meshgrid(x, y)
    height = elevation_m(grid_x - place["west_m"], grid_y - place["south_m"], figures)
    inside = shapely.contains_xy(shape, grid_x, grid_y)
    slope = np.hypot(*np.gradient(height, 2.0))
    step = row_gap * float(np.median(slope[inside]))
    tracer = contourpy.contour_generator(x, y, height)
    lines = []
    for level in np.arange(height[inside].max() - step / 2.0, height[inside].min(), -step):
        for points in tracer.lines(level):
            if len(points) < 2:
                continue
            cut = shapely.intersection(shapely.LineString(points), shape)
            lines += [
                shapely.simplify(part, 0.2)
                for part in shapely.get_parts(shapely.line_merge(cut))
                if part.length > _SHORTEST_ROW_M
            ]
    return _apart(lines, 0.55 * row_gap)


def _apart(lines: list[shapely.LineString], least: float) -> list[shapely.LineString]:
    """Keep lines that don't crowd one drawn before them, where the slope is steep."""
    kept: list[shapely.LineString] = []
    for line in lines:
        free = line
        for other in kept:
            free = shapely.difference(free, shapely.buffer(other, least))
        kept += [part for part in shapely.get_parts(free) if part.length > _SHORTEST_ROW_M]
    return kept


def true_girth_cm(age_years: NDArray[np.float64], figures: dict[str, Any]) -> NDArray[np.float64]:
    """Give the invented mean girth at an age, centimetres."""
    growth = figures["growth"]
    return np.interp(age_years, growth["ages"], growth["girths_cm"])


def _grown(
    trees: gpd.GeoDataFrame, figures: dict[str, Any], generator: np.random.Generator
) -> gpd.GeoDataFrame:
    """Give each place its true status, vigour (a share of the mean girth) and girth."""
    growth = figures["growth"]
    plan = pd.DataFrame(figures["blocks"]).set_index("name")
    age = trees["block_id"].map(plan["age"]).to_numpy(dtype="float64")
    x, y = shapely.get_coordinates(trees.geometry.to_numpy()).T
    chance = generator.uniform(size=len(trees))
    vacant = chance < trees["block_id"].map(plan["vacant"]).to_numpy(dtype="float64")
    fate = generator.uniform(size=len(trees))
    dead = ~vacant & (fate < 0.008)
    dry = ~vacant & (age > 8.5) & (fate > 1.0 - 0.003 * age)
    vigour = (
        1.0
        + growth["tree_share"] * generator.normal(size=len(trees))
        + growth["trend_share"] * _waves(x, y, generator)
        - growth["patch_share"] * _patches(x, y, generator)
    )
    vigour = np.clip(vigour, 0.45, 1.6)
    status = np.select([vacant, dead, dry], ["vacant", "dead", "dry"], "standing")
    return trees.assign(
        status=pd.Series(status, index=trees.index).astype("str"),
        age_years=age,
        vigour=vigour,
        girth_cm=np.where(vacant, np.nan, true_girth_cm(age, figures) * vigour),
    )


def _waves(
    x: NDArray[np.float64], y: NDArray[np.float64], generator: np.random.Generator
) -> NDArray[np.float64]:
    """Give a smooth field of unit spread, a few waves of 150 to 500 m."""
    field = np.zeros(len(x))
    for _ in range(6):
        length, angle, phase = generator.uniform([150.0, 0.0, 0.0], [500.0, np.pi, 2 * np.pi])
        field += np.cos(2 * np.pi * (x * np.cos(angle) + y * np.sin(angle)) / length + phase)
    return field / np.sqrt(3.0)


def _patches(
    x: NDArray[np.float64], y: NDArray[np.float64], generator: np.random.Generator
) -> NDArray[np.float64]:
    """Give a field of 0 to 1 with a dozen round patches of poor growth."""
    centres = generator.uniform([x.min(), y.min()], [x.max(), y.max()], (12, 2))
    broad = generator.uniform(18.0, 40.0, 12)
    near = [
        np.exp(-((x - east) ** 2 + (y - north) ** 2) / (2.0 * size**2))
        for (east, north), size in zip(centres, broad, strict=True)
    ]
    return np.clip(np.sum(near, axis=0), 0.0, 1.0)
