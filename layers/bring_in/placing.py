"""All layers in one metric CRS, their geometry mended."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import pandas as pd
import shapely
from pyproj import CRS

from layers import checks
from layers.checks import FILE
from layers.crs import EXCHANGE_CRS, counted_on, metric_crs
from layers.errors import Fault, LayerError, MissingLayerError
from layers.mending import mend_geometry

_MOST_DEGREES = 360.0


def choose_crs(raw: dict[str, list[pd.DataFrame]], epsg: int | None) -> tuple[CRS, list[Fault]]:
    """Choose the metric CRS by the holdings, or by the blocks where there are no holdings."""
    spatial = {
        layer: [frame for frame in raw.get(layer, []) if isinstance(frame, gpd.GeoDataFrame)]
        for layer in ("holdings", "blocks")
    }
    outlines = [
        frame.geometry.to_crs(EXCHANGE_CRS) for frame in spatial["holdings"] or spatial["blocks"]
    ]
    if not outlines:
        missing = MissingLayerError.at(
            layer="blocks",
            found="neither blocks nor holdings with a geometry",
            expected="the blocks' boundaries, in a file whose name begins with blocks",
            remedy="Add that file, for example blocks.geojson.",
        )
        return EXCHANGE_CRS, [missing.fault]
    together = gpd.GeoSeries(pd.concat(outlines, ignore_index=True), crs=EXCHANGE_CRS)
    bounds = together.bounds
    turned = (bounds["miny"] < -90.0) | (bounds["maxy"] > 90.0)
    if turned.any():
        highest = float(bounds.loc[turned, ["miny", "maxy"]].abs().to_numpy().max())
        metres = highest > _MOST_DEGREES
        fault = Fault(
            severity="stops",
            file=_file_of(spatial),
            layer="holdings" if "holdings" in raw else "blocks",
            row=str(int(turned.idxmax()) + 1),
            found=f"a latitude of {highest:,.4f} degrees",
            expected="-90 to 90: "
            + (
                "metres look taken for degrees"
                if metres
                else "longitude and latitude look turned about"
            ),
            remedy="Give the layer's true CRS in columns.toml."
            if metres
            else "Save the layer with longitude first, or give its true CRS in columns.toml.",
        )
        return EXCHANGE_CRS, [fault]
    try:
        return metric_crs(together, epsg=epsg), []
    except LayerError as error:
        layer = "holdings" if spatial["holdings"] else "blocks"
        named = replace(
            error.fault,
            file=error.fault.file or _file_of(spatial),
            layer=error.fault.layer or layer,
        )
        return EXCHANGE_CRS, [named]


def in_crs(
    raw: dict[str, list[pd.DataFrame]], crs: CRS
) -> tuple[dict[str, pd.DataFrame], list[Fault]]:
    """Put the files of each layer together in one CRS, with their geometry mended.

    Tables without coordinates that name trees by number come apart, as ``listed trees`` and
    ``listed girth``.
    """
    faults: list[Fault] = []
    frames: dict[str, pd.DataFrame] = {}
    centre = centre_of(raw)
    for layer, parts in raw.items():
        spatial = [part for part in parts if isinstance(part, gpd.GeoDataFrame)]
        for part in spatial:
            faults += checks.swapped_or_far(part.to_crs(EXCHANGE_CRS), layer, centre=centre)
        tables = [part for part in parts if not isinstance(part, gpd.GeoDataFrame)]
        if layer == "tappers":
            frames[layer] = pd.concat(
                [part.drop(columns="geometry", errors="ignore") for part in parts],
                ignore_index=True,
            )
            continue
        if tables and layer in ("trees", "girth"):
            frames[f"listed {layer}"] = pd.concat(tables, ignore_index=True)
        elif tables:
            faults += [
                _no_places(str(table[FILE].iloc[0]), layer) for table in tables if len(table)
            ]
        if spatial:
            together = pd.concat([part.to_crs(crs) for part in spatial], ignore_index=True)
            frames[layer], more = mend_geometry(
                gpd.GeoDataFrame(together, geometry="geometry", crs=crs), layer
            )
            faults += more
    return frames, faults


def _file_of(spatial: dict[str, list[gpd.GeoDataFrame]]) -> str:
    frames = spatial["holdings"] or spatial["blocks"]
    return ", ".join(str(frame[FILE].iloc[0]) for frame in frames if len(frame))


def _no_places(file: str, layer: str) -> Fault:
    return Fault(
        severity="stops",
        file=file,
        layer=layer,
        row="",
        found="a table without coordinates",
        expected="columns lon and lat, or x and y with epsg",
        remedy="Add the coordinates' columns, or name them in columns.toml.",
    )


def centre_of(raw: dict[str, list[pd.DataFrame]]) -> shapely.Point:
    """Give the middle of the holdings, or of the blocks, in degrees; empty where there is none."""
    outlines = raw.get("holdings") or raw.get("blocks") or []
    frames = [frame for frame in outlines if isinstance(frame, gpd.GeoDataFrame)]
    if not frames:
        return shapely.Point()
    degrees = [frame.geometry.to_crs(EXCHANGE_CRS) for frame in frames]
    together = gpd.GeoSeries(pd.concat(degrees, ignore_index=True), crs=EXCHANGE_CRS)
    places = shapely.centroid(counted_on(together).to_numpy())
    points = [point for point in places if point is not None and not point.is_empty]
    return shapely.centroid(shapely.multipoints(points))
