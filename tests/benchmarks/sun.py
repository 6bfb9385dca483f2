"""How long the facing of a whole region takes, against plain use of the solar library.

Run with ``python -m tests.benchmarks.sun``.
"""

from __future__ import annotations

import datetime as dt
import os
import time

import geopandas as gpd
import numpy as np
import pandas as pd
import pvlib
import shapely
from affine import Affine
from pyproj import CRS

from estate.sun import face_blocks
from estate.sun.rose import AZIMUTHS_DEG
from layers.terrain import Terrain

BLOCKS = 2000
REGION_M = 40_000.0
METRIC = CRS(32648)


def region(count: int, seed: int = 7) -> tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, Terrain]:
    """Blocks scattered over hills near the equator, each with one row that gives its way."""
    chance = np.random.default_rng(seed)
    left = 480_000.0 + chance.uniform(0.0, REGION_M, count)
    bottom = 300_000.0 + chance.uniform(0.0, REGION_M, count)
    way = chance.uniform(0.0, np.pi, count)
    names = [f"B{number:04d}" for number in range(count)]
    blocks = gpd.GeoDataFrame(
        {
            "block_id": names,
            "planted_on": pd.Timestamp("2025-01-01")
            - pd.to_timedelta(chance.integers(4 * 365, 26 * 365, count), unit="D"),
            "row_gap_m": chance.uniform(6.0, 8.0, count),
        },
        geometry=shapely.box(left, bottom, left + 100.0, bottom + 100.0),
        crs=METRIC,
    )
    ends = np.stack(
        [
            np.column_stack([left + 50.0, bottom + 50.0]),
            np.column_stack([left + 50.0 + 40.0 * np.sin(way), bottom + 50.0 + 40.0 * np.cos(way)]),
        ],
        axis=1,
    )
    rows = gpd.GeoDataFrame({"block_id": names}, geometry=shapely.linestrings(ends), crs=METRIC)
    cells = int((REGION_M + 10_000.0) / 30.0)
    along = np.arange(cells) * 30.0
    hills = 150.0 * np.sin(along / 900.0)[:, None] * np.cos(along / 1300.0)[None, :] + 200.0
    return (
        blocks,
        rows,
        Terrain(
            elevation_m=hills,
            transform=Affine(30.0, 0.0, 475_000.0, 0.0, -30.0, 345_000.0),
            crs=METRIC,
        ),
    )


def plain_library(latitude: float, longitude: float) -> tuple[float, float]:
    """Seconds and processor seconds for one block in the open, by the library alone."""
    started, worked = time.perf_counter(), time.process_time()
    times = pd.date_range("2025-01-01 00:05", "2025-12-31 23:55", freq="10min", tz="UTC")
    place = pvlib.location.Location(latitude, longitude, altitude=0)
    position = place.get_solarposition(times)
    sky = place.get_clearsky(times, solar_position=position)
    for azimuth in AZIMUTHS_DEG:
        pvlib.irradiance.get_total_irradiance(
            90.0,
            azimuth,
            position["apparent_zenith"],
            position["azimuth"],
            sky["dni"],
            sky["ghi"],
            sky["dhi"],
        )
    return time.perf_counter() - started, time.process_time() - worked


def main() -> None:
    """Print one table."""
    blocks, rows, terrain = region(BLOCKS)
    face_blocks(blocks.head(2), rows.head(2), on=dt.date(2025, 6, 1), terrain=terrain)
    plain, plain_work = min(plain_library(2.8, 105.0) for _ in range(3))
    print(f"{BLOCKS} blocks, one year, 10-minute steps, 36 directions, {os.cpu_count()} cores")
    print(f"{'':34}{'s':>8}{'ms a block':>12}{'ratio':>8}{'processor s':>13}{'ratio':>8}")
    print(
        f"{'library alone, one open block':34}{plain:8.2f}{1e3 * plain:12.1f}{1.0:8.1f}"
        f"{plain_work:13.2f}{1.0:8.1f}"
    )
    for name, land in (("canopy, level skyline", None), ("canopy and hills", terrain)):
        started, worked = time.perf_counter(), time.process_time()
        face_blocks(blocks, rows, on=dt.date(2025, 6, 1), terrain=land)
        spent, work = time.perf_counter() - started, time.process_time() - worked
        print(
            f"{name:34}{spent:8.2f}{1e3 * spent / BLOCKS:12.2f}{plain * BLOCKS / spent:8.1f}"
            f"{work:13.2f}{plain_work * BLOCKS / work:8.1f}"
        )


if __name__ == "__main__":
    main()
