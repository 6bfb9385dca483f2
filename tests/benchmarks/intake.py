"""Seconds and memory to bring in layers of a given size: ``python -m tests.benchmarks.intake``.

Each case runs in a process of its own, so that its memory is its own.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely

from layers import bring_in

ZONE = 32648
ROWS, TREES, ROW_GAP_M, TREE_GAP_M = 10, 50, 10.0, 2.0
WAYS = ("numbered tree points", "bare tree points", "drawn rows", "bearing and distances")
SIZES = (10_000, 100_000, 1_000_000)


def write_layers_of(folder: Path, trees: int, way: str, *, points: bool) -> None:
    """Write blocks of 500 trees, their trees in one of the ways, and a girth point a tree."""
    count = trees // (ROWS * TREES)
    number = np.arange(count)
    side = int(np.ceil(np.sqrt(count)))
    west, south = 300_000.0 + number % side * 120.0, 100_000.0 + number // side * 120.0
    block = np.char.add("B", np.char.zfill(number.astype("str"), 5))
    outline = shapely.box(west - 3.0, south - 3.0, west + 103.0, south + 103.0)
    frame = gpd.GeoDataFrame(
        {
            "block_id": block,
            "holding_id": np.char.replace(block, "B", "H"),
            "row_gap_m": ROW_GAP_M,
            "tree_gap_m": TREE_GAP_M,
            "row_bearing_deg": 0.0 if way == WAYS[3] else np.nan,
        },
        geometry=outline,
        crs=ZONE,
    )
    pyogrio.write_dataframe(frame, folder / "blocks.gpkg")
    pyogrio.write_dataframe(frame[["holding_id", "geometry"]], folder / "holdings.gpkg")
    row, tree = (part.ravel() for part in np.meshgrid(range(ROWS), range(TREES), indexing="ij"))
    x = (west[:, None] + row * ROW_GAP_M).ravel()
    y = (south[:, None] + tree * TREE_GAP_M).ravel()
    numbers = {"block_id": np.repeat(block, len(row)), "row_no": np.tile(row + 1, count)}
    if way in WAYS[:2]:
        known = {**numbers, "tree_no": np.tile(tree + 1, count)} if way == WAYS[0] else None
        places = gpd.GeoDataFrame(known, geometry=gpd.points_from_xy(x, y), crs=ZONE)
        pyogrio.write_dataframe(places, folder / "trees.gpkg", geometry_type="Point")
    elif way == WAYS[2]:
        first = tree == 0
        start = np.stack([x, y], axis=1)[np.tile(first, count)]
        lines = shapely.linestrings(np.stack([start, start + np.array([0.0, 98.0])], axis=1))
        each = {name: values[np.tile(first, count)] for name, values in numbers.items()}
        pyogrio.write_dataframe(
            gpd.GeoDataFrame(each, geometry=lines, crs=ZONE), folder / "rows.gpkg"
        )
    if points:
        _write_points(folder / "girth.csv", x, y)


def _write_points(path: Path, x: np.ndarray, y: np.ndarray) -> None:
    generator = np.random.default_rng(7)
    seen = gpd.GeoSeries(gpd.points_from_xy(x + 4.0, y), crs=ZONE).to_crs(4326)
    pd.DataFrame(
        {
            "lon": seen.x,
            "lat": seen.y,
            "girth_cm": generator.normal(50.0, 6.0, len(x)).round(1),
            "session_id": "walk",
            "measured_at": (
                pd.Timestamp("2025-01-01") + pd.to_timedelta(np.arange(len(x)), unit="s")
            ).strftime("%Y-%m-%dT%H:%M:%SZ"),
        }
    ).to_csv(path, index=False)


def run_one(trees: int, way: str, *, points: bool) -> None:
    """Bring in one case and print its line of the table."""
    with tempfile.TemporaryDirectory() as folder:
        write_layers_of(Path(folder), trees, way, points=points)
        before = time.perf_counter()
        layers = bring_in(folder).layers
        seconds = time.perf_counter() - before
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(
        f"| {way} | {len(layers.trees):,} | {len(layers.girth):,} | {seconds:.1f} "
        f"| {seconds / len(layers.trees) * 1e6:.0f} | {memory:,.0f} |",
        flush=True,
    )


def main(sizes: tuple[int, ...] = SIZES) -> None:
    """Print the table."""
    print("| trees from | trees | girth points | seconds | µs a tree | memory MB |")
    print("| --- | --- | --- | --- | --- | --- |", flush=True)
    for way in WAYS:
        for trees in sizes:
            points = "points" if way == WAYS[0] else "none"
            command = [sys.executable, "-m", "tests.benchmarks.intake", str(trees), way, points]
            subprocess.run(command, check=True)


if __name__ == "__main__":
    if len(sys.argv) == 4:
        run_one(int(sys.argv[1]), sys.argv[2], points=sys.argv[3] == "points")
    elif len(sys.argv) > 1:
        main(tuple(int(size) for size in sys.argv[1:]))
    else:
        main()
