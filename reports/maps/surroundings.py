"""What both kinds of map show of their surroundings, in the form that a page holds."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from estate.told_share import all_counted, told_ends, told_share
from reports.maps.ground_picture import SLOPE_BREAKS_DEG
from reports.maps.lonlat import EarthFrame, in_units, rings_in_units
from reports.palette import (
    CLASS_MARKS,
    DECISION_STYLES,
    GIRTH_STEPS,
    LINE_STYLES,
    PLACE_MARKS,
    SLOPE_STEPS,
)

NEARBY_M = 60.0


def palette_content() -> dict[str, Any]:
    """Give the palette as the page's script draws with it."""
    return {
        "classes": [asdict(mark) for mark in CLASS_MARKS.values()],
        "places": {name: asdict(mark) for name, mark in PLACE_MARKS.items()},
        "lines": {name: asdict(line) for name, line in LINE_STYLES.items()},
        "decisions": {name: asdict(style) for name, style in DECISION_STYLES.items()},
        "slope": {"steps": SLOPE_STEPS, "breaks": SLOPE_BREAKS_DEG},
        "girth": {"steps": GIRTH_STEPS},
    }


def places_content(
    places: gpd.GeoDataFrame, area: shapely.Geometry, frame: EarthFrame
) -> list[dict[str, Any]]:
    """Give the places in and near an area."""
    near = places[places.geometry.distance(area) <= NEARBY_M]
    east, north = in_units(
        near.geometry.x.to_numpy(), near.geometry.y.to_numpy(), crs=near.crs, frame=frame
    )
    names = near["name"] if "name" in near else pd.Series("", index=near.index)
    return [
        {"kind": kind, "name": "" if pd.isna(name) else str(name), "x": int(x), "y": int(y)}
        for kind, name, x, y in zip(near["kind"], names, east, north, strict=True)
    ]


def obstacles_content(
    obstacles: gpd.GeoDataFrame, area: shapely.Geometry, frame: EarthFrame
) -> list[dict[str, Any]]:
    """Give the obstacles in and near an area."""
    near = obstacles[obstacles.geometry.distance(area) <= NEARBY_M]
    lines = rings_in_units(near.geometry, frame=frame)
    return [
        {
            "kind": kind,
            "passable": bool(passable),
            "area": bool(shapely.get_dimensions(shape) == 2),
            "lines": ring,
        }
        for kind, passable, shape, ring in zip(
            near["kind"], near["passable"], near.geometry, lines, strict=True
        )
    ]


def first_known(frame: pd.DataFrame, column: str) -> Any:
    """Give a column's first value; None where there is none or it is missing."""
    if frame.empty or column not in frame or pd.isna(frame[column].iloc[0]):
        return None
    return frame[column].iloc[0]


def share_told(block: Any) -> list[Any] | None:
    """Give how a block's share is told: bound, per cent, and its interval's ends in per cent.

    Parameters
    ----------
    block
        A row of `readiness`: ready_share, low, high, measured, standing.
    """
    share, low, high = (getattr(block, name) for name in ("ready_share", "low", "high"))
    if pd.isna([share, low, high]).any():
        return None
    counted = all_counted(
        share=share, low=low, high=high, measured=block.measured, standing=block.standing
    )
    return [*told_share(share, counted=counted), *told_ends(low, high, counted=counted)]


def known(value: Any) -> Any:
    """Give a value, or None where it is missing."""
    return None if value is None or pd.isna(value) else value


def date_text(value: Any) -> str | None:
    """Give a day as ISO 8601 writes it, None where it is missing."""
    return None if value is None or pd.isna(value) else pd.Timestamp(value).date().isoformat()
