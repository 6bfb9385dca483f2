"""The demo's streams, roads, places and tappers."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from estate.app.demo.ground import stream_east_m

_TAPPERS = 12


def obstacles(figures: dict[str, Any]) -> gpd.GeoDataFrame:
    """Give the stream, a drain, two roads, a fence and a low cliff."""
    place = figures["place"]
    extent = place["rows"] * place["cell_m"]
    north = np.linspace(-40.0, extent + 40.0, 90)
    stream = np.stack([stream_east_m(north, place), north], axis=1)
    middle = extent / 2.0
    across = np.linspace(-40.0, extent + 40.0, 30)
    road = np.stack([across, middle + 2.0 * np.sin(across / 120.0)], axis=1)
    side = np.stack([np.full(30, 3.0 * place["cell_m"]), across], axis=1)
    mouth = [stream_east_m(np.array([97.0]), place)[0], 97.0]
    drain = np.array([mouth, [428.0, 86.0], [504.0, 76.0]])
    fence = np.array([[-6.0, 350.0], [-6.0, 672.0]])
    cliff = np.array([[577.0, 204.0], [597.0, 216.0], [620.0, 214.0]])
    lines = [stream, drain, road, side, fence, cliff]
    corner = np.array([place["west_m"], place["south_m"]])
    return gpd.GeoDataFrame(
        {
            "obstacle_id": [f"O{number}" for number in range(1, 7)],
            "kind": ["river", "drain", "road", "road", "fence", "cliff"],
            # The drain leaves it open: a fault that `check` finds.
            "passable": ["no", None, "yes", "yes", "no", "no"],
            "name": ["Long stream", "East drain", "Cross road", "Hill road", "West fence", "Ledge"],
        },
        geometry=[shapely.LineString(line + corner) for line in lines],
        crs=place["epsg"],
    )


def places(figures: dict[str, Any]) -> gpd.GeoDataFrame:
    """Give the stream's crossings, collection places, shelters, and members' gates."""
    place = figures["place"]
    middle = place["rows"] * place["cell_m"] / 2.0

    def on_stream(north: float) -> tuple[float, float]:
        return float(stream_east_m(np.array([north]), place)[0]), north

    mouth = on_stream(97.0)[0]
    spots: list[tuple[str, str, str, tuple[float, float]]] = [
        ("X1", "crossing", "Road bridge", on_stream(middle + 2.0 * np.sin(middle / 120.0))),
        ("X2", "crossing", "Lower footbridge", on_stream(79.0)),
        ("X3", "crossing", "Upper stones", on_stream(579.0)),
        ("X4", "crossing", "West plank", (385.0, 97.0 - 11.0 * (385.0 - mouth) / (428.0 - mouth))),
        ("X5", "crossing", "East plank", (466.0, 81.0)),
        ("C1", "collection", "West collection shed", (170.0, middle + 6.0)),
        ("C2", "collection", "East collection shed", (508.0, middle + 6.0)),
        ("C3", "collection", "South weighing place", (512.0, 10.0)),
        ("S1", "shelter", "West shelter", (163.0, 169.0)),
        ("S2", "shelter", "Hill shelter", (527.0, 511.0)),
        ("S3", "shelter", "North shelter", (169.0, 509.0)),
    ]
    gates = [
        (33.0, middle), (247.0, middle), (428.0, middle), (643.0, middle), (507.0, 99.0),
        (507.0, 247.0), (507.0, 428.0), (507.0, 643.0), (90.0, middle),
    ]  # fmt: skip
    spots += [
        (f"G{number}", "gate", f"Gate of Member {number:02d}", spot)
        for number, spot in enumerate(gates, start=1)
    ]
    corner = np.array([place["west_m"], place["south_m"]])
    return gpd.GeoDataFrame(
        {
            "place_id": [spot[0] for spot in spots],
            "kind": [spot[1] for spot in spots],
            "name": [spot[2] for spot in spots],
        },
        geometry=[shapely.Point(np.array(spot[3]) + corner) for spot in spots],
        crs=place["epsg"],
    )


def tappers() -> pd.DataFrame:
    """Give the tappers, their knives and the gate they set out from."""
    numbers = range(1, _TAPPERS + 1)
    return pd.DataFrame(
        {
            "tapper_id": [f"T{number:02d}" for number in numbers],
            "name": [f"Tapper {number:02d}" for number in numbers],
            "skills": ["low, high" if number % 3 else "low" for number in numbers],
            "home_place": [f"G{(number - 1) % 9 + 1}" for number in numbers],
        }
    )
