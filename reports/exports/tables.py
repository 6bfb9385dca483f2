"""Tables as CSV and plots as GeoJSON, for other programs."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import shapely


def write_table(table: pd.DataFrame, path: Path) -> Path:
    """Write a frame as CSV in UTF-8, points as `longitude` and `latitude` in EPSG:4326.

    The file is written beside its place and moved there whole. Other geometries than points are
    left out. A byte order mark makes spreadsheets read it as UTF-8.
    """
    plain = pd.DataFrame(table.drop(columns="geometry", errors="ignore"))
    if isinstance(table, gpd.GeoDataFrame) and (table.geom_type.dropna() == "Point").all():
        points = table.geometry.to_crs("EPSG:4326")
        plain = plain.assign(longitude=points.x.round(7), latitude=points.y.round(7))
    write_whole(path, plain.to_csv(index=False).encode("utf-8-sig"))
    return path


def write_plots(plots: gpd.GeoDataFrame, path: Path) -> Path:
    """Write plots as GeoJSON (RFC 7946): EPSG:4326, seven decimals, rings right-handed.

    References
    ----------
    Butler et al. 2016, RFC 7946, The GeoJSON Format, sections 3.1.6, 4 and 11.2.
    """
    turned = plots.to_crs("EPSG:4326")
    shapes = shapely.set_precision(turned.geometry.to_numpy(), 1e-7)
    rings = shapely.orient_polygons(shapes, exterior_cw=False)
    text = turned.set_geometry(rings, crs="EPSG:4326").to_json(
        drop_id=True, show_bbox=False, to_wgs84=False
    )
    write_whole(path, text.encode("utf-8"))
    return path


def write_whole(path: Path, content: bytes) -> None:
    """Write a file so that its place holds the old content or the new, never a part."""
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        Path(name).chmod(0o644)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
