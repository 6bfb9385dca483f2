"""Faults of layers against one another: overlaps, what lies outside its block, turned axes.

Frames may carry two columns that say where a row came from, `_file` and `_row`; without them
faults name the row's key or place.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from scipy.spatial import KDTree

from layers.contract import LAYERS
from layers.crs import counted_on, distance_km
from layers.errors import Fault, Severity
from layers.terrain import Terrain, elevation_at

FILE, ROW = "_file", "_row"

MOST_TOLD = 20
LEAST_OVERLAP_M2 = 5.0
OUTSIDE_SHARE = 0.02
OUTSIDE_ROW_M = 3.0
OUTSIDE_TREE_M = 3.0
FAR_KM = 50.0
ONE_SPOT_M = 0.3
# No receiver under canopy is so far off.
FAR_GIRTH_M = 100.0
EARLIEST_PLANTING = pd.Timestamp("1910-01-01")


def row_faults(
    frame: pd.DataFrame,
    layer: str,
    severity: Severity,
    *,
    found: str | Sequence[str],
    expected: str,
    remedy: str,
) -> list[Fault]:
    """Give one fault for each row of `frame`, and after twenty one more that counts the rest.

    Parameters
    ----------
    frame
        The faulty rows only.
    layer, severity, expected, remedy
        As in :class:`layers.errors.Fault`.
    found
        One text for all, or one a row.
    """
    texts = [found] * len(frame) if isinstance(found, str) else list(found)
    names = row_names(frame, layer)
    files = (
        frame[FILE].fillna("").astype("str").tolist()
        if FILE in frame.columns
        else [""] * len(frame)
    )
    faults = [
        Fault(
            severity=severity,
            file=file,
            layer=layer,
            row=row,
            found=text,
            expected=expected,
            remedy=remedy,
        )
        for file, row, text in zip(
            files[:MOST_TOLD], names[:MOST_TOLD], texts[:MOST_TOLD], strict=True
        )
    ]
    if len(frame) > MOST_TOLD:
        more = len(frame) - MOST_TOLD - 1
        faults.append(
            Fault(
                severity=severity,
                file=files[MOST_TOLD],
                layer=layer,
                row=names[MOST_TOLD] + (f" and {more} more" if more else ""),
                found="the like of: " + texts[MOST_TOLD],
                expected=expected,
                remedy=remedy,
            )
        )
    return faults


def capped(faults: list[Fault]) -> list[Fault]:
    """Give the first twenty of faults of one kind, and one more that counts the rest."""
    if len(faults) <= MOST_TOLD:
        return faults
    last, more = faults[MOST_TOLD], len(faults) - MOST_TOLD - 1
    row = last.row + (f" and {more} more" if more else "")
    return [*faults[:MOST_TOLD], replace(last, row=row, found=f"the like of: {last.found}")]


def repeated(
    frame: pd.DataFrame,
    layer: str,
    severity: Severity,
    *,
    found: str,
    expected: str,
    remedy: str,
) -> list[Fault]:
    """Give one fault a file for rows that repeat others, which names each key and how often.

    Parameters
    ----------
    frame
        The repeated rows; a key that stands three times among them is named ``P-12 (3 times)``.
    layer, severity, found, expected, remedy
        As in :class:`layers.errors.Fault`; `found` follows the count of rows.
    """
    if len(frame) == 0:
        return []
    names = pd.Series(row_names(frame, layer))
    files = frame[FILE].fillna("").astype("str") if FILE in frame else pd.Series("", frame.index)
    faults = []
    for file, own in names.groupby(files.to_numpy(), sort=False):
        counts = own.value_counts(sort=False)
        told = [
            f"{name} ({count} times)" if count > 1 else str(name)
            for name, count in counts.iloc[:MOST_TOLD].items()
        ]
        more = len(counts) - len(told)
        faults.append(
            Fault(
                severity=severity,
                file=str(file),
                layer=layer,
                row=", ".join(told) + (f" and {more} more" if more else ""),
                found=f"{len(own):,} rows: {found}" if len(own) > 1 else found,
                expected=expected,
                remedy=remedy,
            )
        )
    return faults


def row_names(frame: pd.DataFrame, layer: str) -> list[str]:
    """Give what a user knows each row by: its key, or else its number in the file."""
    numbers = (
        frame[ROW].astype("str")
        if ROW in frame.columns
        else pd.Series(frame.index + 1).astype("str")
    ).tolist()
    key = LAYERS[layer].key if layer in LAYERS else ""
    if key not in frame.columns:
        return numbers
    keys = frame[key].tolist()
    return [
        number if pd.isna(name) else str(name) for name, number in zip(keys, numbers, strict=True)
    ]


def shapes_of(frame: gpd.GeoDataFrame) -> NDArray[np.object_]:
    """Give a frame's geometries as an array."""
    return np.asarray(frame.geometry.to_numpy(), dtype=object)


def overlaps(areas: gpd.GeoDataFrame, layer: str) -> list[Fault]:
    """Tell which areas of a layer overlap, and by how much.

    Parameters
    ----------
    areas
        Valid polygons in metres.
    """
    shapes = shapes_of(areas)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    once = first < second
    first, second = first[once], second[once]
    shared = shapely.area(shapely.intersection(shapes[first], shapes[second]))
    large = shared > LEAST_OVERLAP_M2
    names = row_names(areas, layer)
    order = np.argsort(-shared[large], kind="stable")
    left, right, shared = first[large][order], second[large][order], shared[large][order]
    return row_faults(
        areas.iloc[left],
        layer,
        "noted",
        found=[
            f"an overlap of {area:.0f} m² with {names[other]}"
            for other, area in zip(right, shared, strict=True)
        ],
        expected=f"{layer} that don't overlap",
        remedy="Settle the boundary with both members and draw it again.",
    )


def blocks_outside(blocks: gpd.GeoDataFrame, holdings: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which blocks reach outside the holding they name, or name one that isn't there."""
    if "holding_id" not in blocks.columns:
        return []
    places = pd.Series(np.arange(len(holdings)), index=holdings["holding_id"].to_numpy())
    place = places.reindex(blocks["holding_id"].to_numpy()).to_numpy(dtype="float64")
    unknown = np.isnan(place) & blocks["holding_id"].notna().to_numpy()
    faults = row_faults(
        blocks[unknown],
        "blocks",
        "noted",
        found=[f"holding_id {name}, which is no holding" for name in blocks["holding_id"][unknown]],
        expected="a holding_id of the holdings layer",
        remedy="Mend the block's holding_id.",
    )
    known = np.flatnonzero(~np.isnan(place))
    inside = shapes_of(holdings)[place[known].astype("int64")]
    shapes = shapes_of(blocks)[known]
    share = shapely.area(shapely.difference(shapes, inside)) / shapely.area(shapes)
    out = share > OUTSIDE_SHARE
    return faults + row_faults(
        blocks.iloc[known[out]],
        "blocks",
        "noted",
        found=[f"{part:.0%} of its area outside its holding" for part in share[out]],
        expected="a block inside its holding",
        remedy="Draw the block or the holding again.",
    )


def rows_outside(rows: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which rows run more than three metres outside the block they belong to."""
    inside = _own_block(rows, blocks)
    # One metre in hand for a boundary and a row that were drawn from two pictures.
    out = shapely.length(shapely.difference(shapes_of(rows), shapely.buffer(inside, 1.0)))
    far = out > OUTSIDE_ROW_M
    return row_faults(
        rows[far],
        "rows",
        "noted",
        found=[
            f"{length:.0f} m of it outside block {block}"
            for length, block in zip(out[far], rows["block_id"][far], strict=True)
        ],
        expected="a row inside its block",
        remedy="Draw the row again, or mend its block_id.",
    )


def trees_outside(trees: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which trees stand more than three metres outside the block they belong to."""
    inside = _own_block(trees, blocks)
    shapely.prepare(inside)
    shapes = shapes_of(trees)
    doubtful = np.flatnonzero(~shapely.covers(inside, shapes))
    away = shapely.distance(inside[doubtful], shapes[doubtful])
    far = away > OUTSIDE_TREE_M
    return row_faults(
        trees.iloc[doubtful[far]],
        "trees",
        "noted",
        found=[f"a tree {distance:.0f} m outside its block" for distance in away[far]],
        expected="a tree inside its block",
        remedy="Mend the tree's place or its block_id.",
    )


def trees_on_one_spot(trees: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which trees stand closer than thirty centimetres to another one."""
    pairs = KDTree(shapely.get_coordinates(shapes_of(trees))).query_pairs(
        ONE_SPOT_M, output_type="ndarray"
    )
    names = row_names(trees, "trees")
    return row_faults(
        trees.iloc[pairs[:, 1]],
        "trees",
        "noted",
        found=[f"a tree on the spot of {names[first]}" for first in pairs[:, 0]],
        expected=f"trees at least {ONE_SPOT_M:g} m apart",
        remedy="Take one of them out if it was mapped twice.",
    )


def planted_too_late(blocks: gpd.GeoDataFrame, girth: pd.DataFrame | None) -> list[Fault]:
    """Tell which blocks were planted after the last girth was taped."""
    if "planted_on" not in blocks.columns:
        return []
    last = pd.Timestamp.max
    if girth is not None and "measured_at" in girth.columns and girth["measured_at"].notna().any():
        last = girth["measured_at"].max()
    odd = blocks["planted_on"] > last
    return row_faults(
        blocks[odd],
        "blocks",
        "noted",
        found=[f"planted_on {day:%Y-%m-%d}" for day in blocks["planted_on"][odd]],
        expected="a day before the girths were taped",
        remedy="Mend planted_on.",
    )


def girths_far(girth: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> list[Fault]:
    """Tell which girth points lie more than a hundred metres from every block."""
    shapes = shapes_of(girth)
    _, away = shapely.STRtree(shapes_of(blocks)).query_nearest(
        shapes, return_distance=True, all_matches=False
    )
    far = away > FAR_GIRTH_M
    return row_faults(
        girth[far],
        "girth",
        "noted",
        found=[f"a point {metres:,.0f} m from the nearest block" for metres in away[far]],
        expected=f"a point within {FAR_GIRTH_M:g} m of a block",
        remedy="Mend its coordinates, or draw its block; it is joined to no tree until then.",
    )


def girths_undated(girth: pd.DataFrame) -> list[Fault]:
    """Tell that girths have no date: they are set aside until they have one."""
    dated = girth["measured_at"].notna() if "measured_at" in girth.columns else None
    undated = len(girth) if dated is None else int((~dated).sum())
    if not undated:
        return []
    first = girth if dated is None else girth[~dated]
    every = undated == len(girth)
    return [
        Fault(
            severity="noted",
            file=str(first[FILE].iloc[0]) if FILE in girth.columns else "",
            layer="girth",
            row="",
            found="no date on any girth" if every else f"no date on {undated} of {len(girth)}",
            expected="the day each girth was taped: a tree grows from then on",
            remedy="Write it into a column measured_at, such as 2026-03-02; girths without it are "
            "set aside until then.",
        )
    ]


def blocks_off_terrain(blocks: gpd.GeoDataFrame, terrain: Terrain) -> list[Fault]:
    """Tell which blocks have their middle where the elevation raster has no reading."""
    middles = shapely.point_on_surface(shapes_of(blocks))
    height = elevation_at(terrain, x=shapely.get_x(middles), y=shapely.get_y(middles))
    return row_faults(
        blocks[np.isnan(height)],
        "blocks",
        "noted",
        found="no elevation under the block",
        expected="an elevation raster that covers every block",
        remedy="Take a larger cut of the elevation, and check its coordinate reference system.",
    )


def _own_block(frame: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> NDArray[np.object_]:
    places = pd.Series(np.arange(len(blocks)), index=blocks["block_id"].to_numpy())
    own = places.reindex(frame["block_id"].to_numpy()).to_numpy()
    return shapes_of(blocks)[cast("NDArray[np.int64]", own.astype("int64"))]


def swapped_or_far(frame: gpd.GeoDataFrame, layer: str, *, centre: shapely.Point) -> list[Fault]:
    """Tell whether a layer lies far from the holdings, and whether turning its axes explains it.

    Parameters
    ----------
    frame
        In longitude and latitude.
    layer
        The contract's name.
    centre
        The holdings' centre, longitude and latitude.
    """
    bounds = shapely.bounds(counted_on(frame.geometry).to_numpy())
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    if len(bounds) == 0 or centre.is_empty:
        return []
    x = float(np.median((bounds[:, 0] + bounds[:, 2]) / 2.0))
    y = float(np.median((bounds[:, 1] + bounds[:, 3]) / 2.0))
    file = str(frame[FILE].iloc[0]) if FILE in frame.columns else ""
    turned = abs(x) <= 90.0 and _kilometres(y, x, centre) <= FAR_KM
    if abs(y) > 90.0:
        return [_no_latitude(file, layer, y, turned=turned)]
    away = _kilometres(x, y, centre)
    if away <= FAR_KM:
        return []
    return [
        Fault(
            severity="stops" if turned else "noted",
            file=file,
            layer=layer,
            row="",
            found=f"a layer {away:,.0f} km from the holdings"
            + ("; with longitude and latitude turned about it lies among them" if turned else ""),
            expected=f"layers within {FAR_KM:g} km of the holdings",
            remedy="Turn the two columns about."
            if turned
            else "Check the layer's coordinate reference system.",
        )
    ]


def _no_latitude(file: str, layer: str, y: float, *, turned: bool) -> Fault:
    return Fault(
        severity="stops" if turned else "noted",
        file=file,
        layer=layer,
        row="",
        found=f"a latitude of {y:,.4f} degrees"
        + ("; with longitude and latitude turned about the layer lies among the holdings" * turned),
        expected="-90 to 90 degrees",
        remedy="Turn the two columns about."
        if turned
        else "Check the layer's coordinate reference system: metres may be taken for degrees.",
    )


def _kilometres(longitude: float, latitude: float, centre: shapely.Point) -> float:
    return distance_km(
        longitude=longitude,
        latitude=latitude,
        other_longitude=centre.x,
        other_latitude=centre.y,
    )
