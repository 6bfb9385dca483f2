"""Invented blocks for tests and benchmarks: tidy rectangles and the ground that isn't."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from affine import Affine
from pyproj import CRS
from shapely.affinity import rotate
from shapely.geometry import LineString, Point, Polygon, box

from layers.terrain import Terrain

METRIC = CRS.from_epsg(32748)
CONDITIONS = (
    "l-shape",
    "ragged",
    "contour",
    "stream",
    "steep",
    "part-ready",
    "holdings",
    "places",
)
"""What makes ground hard; a block may have several, or none: a tidy rectangle."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One invented block, or a few neighbouring ones, with what stands round it."""

    conditions: frozenset[str]
    trees: gpd.GeoDataFrame
    blocks: gpd.GeoDataFrame
    obstacles: gpd.GeoDataFrame
    places: gpd.GeoDataFrame
    terrain: Terrain | None

    def layers(self) -> dict[str, object]:
        """Give the layers as `draw` takes them."""
        return {
            "blocks": self.blocks,
            "obstacles": self.obstacles,
            "places": self.places,
            "terrain": self.terrain,
        }


def mixed(seed: int) -> frozenset[str]:
    """Give three conditions drawn at random."""
    return frozenset(np.random.default_rng([7, seed]).choice(CONDITIONS, 3, replace=False))


def _outline(
    kind: frozenset[str], width: float, height: float, random: np.random.Generator
) -> Polygon:
    if "l-shape" in kind:
        notch = box(width * random.uniform(0.35, 0.6), height * random.uniform(0.35, 0.6),
                    width + 1, height + 1)  # fmt: skip
        return box(0, 0, width, height).difference(notch)
    if "ragged" in kind:
        turn = np.sort(random.uniform(0, 2 * np.pi, 14))
        reach = random.uniform(0.65, 1.15, 14)
        return Polygon(
            np.column_stack(
                [width / 2 * (1 + reach * np.cos(turn)), height / 2 * (1 + reach * np.sin(turn))]
            )
        )
    return box(0, 0, width, height)


def _terrain(kind: frozenset[str], size: float, random: np.random.Generator) -> Terrain | None:
    if not kind & {"contour", "steep"}:
        return None
    cell = 10.0
    count = int(2 * size / cell) + 1
    axis = np.arange(count) * cell - size + cell / 2
    east, north = np.meshgrid(axis, axis[::-1])
    slope = random.uniform(0.15, 0.35)
    turn = np.pi / 2 if "contour" in kind else random.uniform(0, 2 * np.pi)
    height = slope * (east * np.cos(turn) + north * np.sin(turn))
    height = height + random.uniform(4, 12) * np.sin(east / 60.0) * np.cos(north / 80.0)
    return Terrain(
        elevation_m=height, transform=Affine(cell, 0, -size, 0, -cell, -size + count * cell),
        crs=METRIC,
    )  # fmt: skip


def invented(*conditions: str, seed: int, places_of_trees: int = 1500) -> Case:
    """Give one case; the same conditions and seed give the same case."""
    kind = frozenset(conditions)
    random = np.random.default_rng([seed, *(CONDITIONS.index(each) for each in sorted(kind))])
    row_gap, tree_gap = random.uniform(6.0, 8.0), random.uniform(2.5, 3.5)
    area = places_of_trees * row_gap * tree_gap
    width = np.sqrt(area) * random.uniform(0.7, 1.6)
    outline = _outline(kind, width, area / width, random)
    outline = shapely.affinity.scale(
        outline, *[np.sqrt(area / outline.area)] * 2, origin=(0, 0)
    )  # fmt: skip
    width, height = outline.bounds[2], outline.bounds[3]
    x, y, row, number = [], [], [], []
    wave = random.uniform(6.0, 14.0) if "contour" in kind else 0.0
    for r, base in enumerate(np.arange(outline.bounds[1] - wave, height + wave, row_gap)):
        along = np.arange(outline.bounds[0] + random.uniform(0, tree_gap), width, tree_gap)
        across = base + wave * np.sin(along / width * 2 * np.pi)
        inside = shapely.contains_xy(outline, along, across)
        x.append(along[inside] + random.normal(0, 0.15, inside.sum()))
        y.append(across[inside] + random.normal(0, 0.15, inside.sum()))
        row.append(np.full(inside.sum(), r))
        number.append(1 + np.flatnonzero(inside))
    x, y = np.concatenate(x), np.concatenate(y)
    row, number = np.concatenate(row), np.concatenate(number)
    block = np.zeros(len(x), dtype=int)
    if "holdings" in kind:
        block = np.digitize(x, np.quantile(x, [0.3, 0.65]))
    kept = random.uniform(size=len(x)) < 0.96
    if "part-ready" in kind:
        clump = np.sin(x / 25.0 + seed) + np.cos(y / 30.0) + random.normal(0, 1.0, len(x))
        kept &= clump > np.quantile(clump, random.uniform(0.4, 0.65))
    names = np.array([f"K{each + 1}" for each in block])
    turned = 0.0 if "contour" in kind else random.uniform(0, 90)
    points = [
        rotate(point, turned, origin=(0, 0)) for point in gpd.points_from_xy(x[kept], y[kept])
    ]
    trees = gpd.GeoDataFrame(
        {
            "tree_id": [
                f"{b}-{r:03}-{k:03}" for b, r, k in zip(names, row, number, strict=True)
            ],
            "block_id": names,
            "row_id": [f"{b}-{r:03}" for b, r in zip(names, row, strict=True)],
            "tree_no": number,
        }
    )[kept].reset_index(drop=True)  # fmt: skip
    trees = gpd.GeoDataFrame(trees, geometry=points, crs=METRIC)
    blocks = gpd.GeoDataFrame(
        {"block_id": np.unique(names), "holding_id": [f"H{k}" for k in np.unique(names)]},
        geometry=[outline] * len(np.unique(names)),
        crs=METRIC,
    )
    obstacles, crossing = _stream(kind, width, height, turned, random)
    count = int(random.integers(2, 4)) if "places" in kind else 1
    gates = [
        rotate(Point(random.uniform(0, width), -12.0 if k % 2 == 0 else height + 12.0), turned,
               origin=(0, 0))
        for k in range(count)
    ]  # fmt: skip
    places = gpd.GeoDataFrame(
        {
            "place_id": [f"C{k}" for k in range(count)] + [f"X{k}" for k in range(len(crossing))],
            "kind": ["collection"] * count + ["crossing"] * len(crossing),
        },
        geometry=gates + crossing,
        crs=METRIC,
    )
    size = float(np.abs(trees.total_bounds).max()) + 60.0
    return Case(
        conditions=kind,
        trees=trees,
        blocks=blocks,
        obstacles=obstacles,
        places=places,
        terrain=_terrain(kind, size, random),
    )


def _stream(
    kind: frozenset[str], width: float, height: float, turned: float, random: np.random.Generator
) -> tuple[gpd.GeoDataFrame, list[Point]]:
    lines: list[LineString] = []
    crossing: list[Point] = []
    if "stream" in kind:
        steps = np.linspace(-0.3, 1.3, 12)
        low, high = random.uniform(0.2, 0.8, 2) * height
        across = low + (high - low) * steps + random.normal(0, 6.0, 12)
        line = LineString(np.column_stack([steps * width, across]))
        if random.uniform() < 0.5:
            line = LineString(np.column_stack([
                width * (0.35 + 0.3 * steps) + random.normal(0, 6.0, 12),
                steps * height,
            ]))  # fmt: skip
        lines = [rotate(line, turned, origin=(0, 0))]
        crossing = [lines[0].interpolate(random.uniform(0.35, 0.65), normalized=True)]
    obstacles = gpd.GeoDataFrame(
        {
            "obstacle_id": [f"S{k}" for k in range(len(lines))],
            "kind": ["stream"] * len(lines),
            "passable": [False] * len(lines),
        },
        geometry=lines,
        crs=METRIC,
    )
    return obstacles, crossing


def cooperative(blocks: int, seed: int, *, trees_each: int = 500) -> Case:
    """Give many tidy blocks side by side, each its own holding, with a place for every nine."""
    random = np.random.default_rng(seed)
    wide = int(np.ceil(np.sqrt(blocks)))
    frames, gates = [], []
    for k in range(blocks):
        per = int(random.integers(18, 32))
        rows = max(2, round(trees_each / per))
        x, y = np.meshgrid(np.arange(per) * 3.0, np.arange(rows) * 7.0)
        east, north = (k % wide) * 115.0, (k // wide) * 215.0
        name = f"B{k + 1:04}"
        row = np.repeat(np.arange(1, rows + 1), per)
        number = np.tile(np.arange(1, per + 1), rows)
        base = pd.Series(row).astype(str).str.zfill(3)
        frames.append(
            pd.DataFrame(
                {
                    "tree_id": name + "-" + base + "-" + pd.Series(number).astype(str),
                    "block_id": name,
                    "row_id": name + "-" + base,
                    "tree_no": number,
                    "x": x.ravel() + east,
                    "y": y.ravel() + north,
                }
            )
        )
        if k % wide % 3 == 1 and k // wide % 3 == 1:
            gates.append(Point(east - 8.0, north - 8.0))
    table = pd.concat(frames, ignore_index=True)
    trees = gpd.GeoDataFrame(
        table.drop(columns=["x", "y"]), geometry=gpd.points_from_xy(table["x"], table["y"]),
        crs=METRIC,
    )  # fmt: skip
    names = [f"B{k + 1:04}" for k in range(blocks)]
    return Case(
        conditions=frozenset(),
        trees=trees,
        blocks=gpd.GeoDataFrame(
            {"block_id": names, "holding_id": [f"H{name}" for name in names]},
            geometry=[Point(0, 0).buffer(1.0)] * blocks,
            crs=METRIC,
        ),
        obstacles=gpd.GeoDataFrame(
            {"obstacle_id": [], "kind": [], "passable": []}, geometry=[], crs=METRIC
        ),
        places=gpd.GeoDataFrame(
            {"place_id": [f"C{k}" for k in range(len(gates))], "kind": "collection"},
            geometry=gates,
            crs=METRIC,
        ),
        terrain=None,
    )
