"""Faults of geometry, keys and references: found, mended where that is safe, and always said.

Every function gives a new frame and the faults it found. Frames may carry two columns that say
where a row came from, `_file` and `_row`; without them faults name the row's key or place.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.contract import LAYERS
from layers.errors import Fault, Severity

FILE, ROW = "_file", "_row"

MOST_TOLD = 20
SLIVER_WIDTH_M = 0.5
LEAST_PART_M2 = 1.0
LEAST_OVERLAP_M2 = 5.0
OUTSIDE_SHARE = 0.02
OUTSIDE_ROW_M = 3.0
OUTSIDE_TREE_M = 3.0
SAME_PLACE_M = 0.05
FAR_KM = 50.0

_AREA_TYPES, _LINE_TYPES, _POINT_TYPES = (3, 6), (1, 2, 5), (0, 4)


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


def mend_geometry(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Mend what can be mended safely in one layer's geometry, and leave out what can't be used.

    Heights are dropped; rings that cross themselves are made valid; closed lines in a layer of
    areas become areas; slivers are dropped; several parts are joined (lines) or split into rows
    of their own (points, and lines that don't meet). Rows without a usable geometry are left out.

    Parameters
    ----------
    frame
        In a metric CRS.
    layer
        The contract's name, which says what geometry is wanted.

    Returns
    -------
    GeoDataFrame, list of Fault
        The usable rows on a plain index, areas as MultiPolygon; every change and omission.
    """
    frame = frame.reset_index(drop=True)
    frame, faults = _drop_missing(frame, layer)
    frame, more = _drop_heights(frame, layer)
    faults += more
    wanted = LAYERS[layer].geometry
    if wanted == ("MultiPolygon",):
        frame, more = _mend_areas(frame, layer)
    elif wanted == ("LineString",):
        frame, more = _mend_lines(frame, layer)
    elif wanted == ("Point",):
        frame, more = _mend_points(frame, layer)
    else:
        frame, more = _mend_mixed(frame, layer)
    return frame.reset_index(drop=True), faults + more


def _shapes(frame: gpd.GeoDataFrame) -> NDArray[np.object_]:
    return np.asarray(frame.geometry.to_numpy(), dtype=object)


def _drop_missing(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    shapes = _shapes(frame)
    missing = shapely.is_missing(shapes)
    empty = shapely.is_empty(shapes)
    bounds = shapely.bounds(shapes)
    broken = ~missing & ~empty & ~np.isfinite(bounds).all(axis=1)
    faults: list[Fault] = []
    for which, found in (
        (missing, "no geometry; left out"),
        (empty, "an empty geometry; left out"),
        (broken, "coordinates that can't be placed; left out"),
    ):
        faults += row_faults(
            frame[which],
            layer,
            "noted",
            found=found,
            expected=" or ".join(LAYERS[layer].geometry),
            remedy="Draw it, or take the row out.",
        )
    return frame[~(missing | empty | broken)].reset_index(drop=True), faults


def _drop_heights(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    shapes = _shapes(frame)
    high = shapely.has_z(shapes) | shapely.has_m(shapes)
    if not high.any():
        return frame, []
    files = frame.loc[high, FILE] if FILE in frame.columns else pd.Series([""])
    faults = [
        Fault(
            severity="mended",
            file=str(file),
            layer=layer,
            row="",
            found=f"heights (or measures) in {high.sum() if FILE not in frame.columns else count} "
            "geometries; dropped",
            expected="two coordinates",
            remedy="Nothing to do; elevation comes from the terrain layer.",
        )
        for file, count in files.value_counts(sort=False).items()
    ]
    return frame.set_geometry(gpd.GeoSeries(shapely.force_2d(shapes), crs=frame.crs)), faults


def _wrong_kind(
    frame: gpd.GeoDataFrame, layer: str, fits: NDArray[np.bool_]
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    kinds = frame.geometry.geom_type[~fits]
    faults = row_faults(
        frame[~fits],
        layer,
        "noted",
        found=[f"a {kind}; left out" for kind in kinds],
        expected=" or ".join(LAYERS[layer].geometry),
        remedy="Draw it as that kind of geometry.",
    )
    return frame[fits].reset_index(drop=True), faults


def _mend_areas(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    frame, faults = _closed_lines(frame, layer)
    frame, more = _wrong_kind(
        frame, layer, np.isin(shapely.get_type_id(_shapes(frame)), _AREA_TYPES)
    )
    faults += more
    shapes = _shapes(frame)
    valid = shapely.is_valid(shapes)
    reasons = shapely.is_valid_reason(shapes[~valid])
    mended = shapes.copy()
    mended[~valid] = shapely.make_valid(shapes[~valid])
    faults += row_faults(
        frame[~valid],
        layer,
        "mended",
        found=[f"a boundary that isn't a plain ring ({reason}); made valid" for reason in reasons],
        expected="a ring that doesn't cross or touch itself",
        remedy="Look at the mended boundary on the map; draw it again if it isn't what you meant.",
    )
    mended, dropped, whole = _without_slivers(mended)
    frame = frame.set_geometry(gpd.GeoSeries(mended, crs=frame.crs))
    partly = (dropped > 0) & ~whole
    faults += row_faults(
        frame[partly],
        layer,
        "mended",
        found=[f"{count} slivers or holes without an area; dropped" for count in dropped[partly]],
        expected=f"parts wider than {SLIVER_WIDTH_M:g} m",
        remedy="Nothing to do if the boundary looks right on the map.",
    )
    faults += row_faults(
        frame[whole],
        layer,
        "noted",
        found=f"a sliver, less than {SLIVER_WIDTH_M:g} m wide; left out",
        expected="an area",
        remedy="Draw the boundary again, or take the row out.",
    )
    return frame[~whole].reset_index(drop=True), faults


def _closed_lines(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    shapes = _shapes(frame)
    lines = np.isin(shapely.get_type_id(shapes), (1, 2))
    ring = lines & shapely.is_closed(shapes) & (shapely.get_num_points(shapes) > 3)
    if not ring.any():
        return frame, []
    shapes = shapes.copy()
    shapes[ring] = (
        shapely.polygons(
            shapely.linearrings([shapely.get_coordinates(shape) for shape in shapes[ring]])
        )
        if ring.sum() == 1
        else np.array(
            [shapely.Polygon(shapely.get_coordinates(shape)) for shape in shapes[ring]],
            dtype=object,
        )
    )
    faults = row_faults(
        frame[ring],
        layer,
        "mended",
        found="a closed line; taken as the boundary of an area",
        expected="an area",
        remedy="Nothing to do.",
    )
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=frame.crs)), faults


def _without_slivers(
    shapes: NDArray[np.object_],
) -> tuple[NDArray[np.object_], NDArray[np.int64], NDArray[np.bool_]]:
    """Give MultiPolygons of the true areas only, how many parts went, and which are all sliver."""
    parts, owner = shapely.get_parts(shapes, return_index=True)
    # Collections from make_valid hold collections of their own parts.
    parts, inner = shapely.get_parts(parts, return_index=True)
    owner = owner[inner]
    flat = shapely.get_type_id(parts) != 3
    area = shapely.area(parts)
    width = np.divide(
        2.0 * area, shapely.length(parts), out=np.zeros_like(area), where=shapely.length(parts) > 0
    )
    kept = ~flat & (area >= LEAST_PART_M2) & (width >= SLIVER_WIDTH_M)
    count = len(shapes)
    dropped = np.bincount(owner[~kept & ~flat], minlength=count)
    left = np.bincount(owner[kept], minlength=count)
    result = np.full(count, None, dtype=object)
    holding = np.flatnonzero(left > 0)
    if len(holding):
        # Multi-geometries by owner, renumbered without the ones that lost everything.
        renumber = np.cumsum(left > 0) - 1
        result[holding] = shapely.multipolygons(parts[kept], indices=renumber[owner[kept]])
    return result, dropped, left == 0


def _mend_lines(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    frame, faults = _wrong_kind(
        frame, layer, np.isin(shapely.get_type_id(_shapes(frame)), _LINE_TYPES)
    )
    merged = shapely.line_merge(_shapes(frame))
    parts = shapely.get_num_geometries(merged)
    faults += row_faults(
        frame[parts > 1],
        layer,
        "mended",
        found=[
            f"a line in {count} parts; each taken as a part of the row"
            for count in parts[parts > 1]
        ],
        expected="one line",
        remedy="Nothing to do if the row is interrupted there; numbers run on.",
    )
    frame = frame.set_geometry(gpd.GeoSeries(merged, crs=frame.crs))
    frame = frame.explode(ignore_index=True)
    # line_merge may turn a lone line about; the user's direction is kept.
    short = shapely.length(_shapes(frame)) <= SAME_PLACE_M
    faults += row_faults(
        frame[short],
        layer,
        "noted",
        found="a line without a length; left out",
        expected="a line of two points or more",
        remedy="Draw it, or take the row out.",
    )
    return frame[~short].reset_index(drop=True), faults


def _mend_points(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    frame, faults = _wrong_kind(
        frame, layer, np.isin(shapely.get_type_id(_shapes(frame)), _POINT_TYPES)
    )
    shapes = _shapes(frame)
    several = (shapely.get_type_id(shapes) == 4) & (shapely.get_num_geometries(shapes) > 1)
    faults += row_faults(
        frame[several],
        layer,
        "mended",
        found="several points in one row; each taken as a row of its own",
        expected="one point",
        remedy="Nothing to do if each stands for itself.",
    )
    if (shapely.get_type_id(shapes) == 4).any():
        frame = frame.explode(ignore_index=True)
    return frame, faults


def _mend_mixed(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    frame, faults = _wrong_kind(
        frame,
        layer,
        np.isin(shapely.get_type_id(_shapes(frame)), _LINE_TYPES + _AREA_TYPES),
    )
    shapes = _shapes(frame)
    valid = shapely.is_valid(shapes)
    mended = shapes.copy()
    mended[~valid] = shapely.make_valid(shapes[~valid])
    faults += row_faults(
        frame[~valid],
        layer,
        "mended",
        found="a geometry that crosses itself; made valid",
        expected="a valid geometry",
        remedy="Look at it on the map.",
    )
    return frame.set_geometry(gpd.GeoSeries(mended, crs=frame.crs)), faults


def drop_twins(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Leave out rows that repeat an earlier one in geometry and in every column.

    Of twins the first stays; each omission is a fault.
    """
    columns = [name for name in frame.columns if name not in (FILE, ROW, frame.geometry.name)]
    alike = frame[columns].astype("str")
    alike["_shape"] = shapely.to_wkb(shapely.normalize(_shapes(frame)))
    twin = alike.duplicated().to_numpy()
    faults = row_faults(
        frame[twin],
        layer,
        "mended",
        found="the same row as an earlier one; left out",
        expected="each row once",
        remedy="Take the copy out.",
    )
    return frame[~twin].reset_index(drop=True), faults


def overlaps(areas: gpd.GeoDataFrame, layer: str) -> list[Fault]:
    """Tell which areas of a layer overlap, and by how much.

    Parameters
    ----------
    areas
        Valid polygons in metres.
    """
    shapes = _shapes(areas)
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
    inside = _shapes(holdings)[place[known].astype("int64")]
    shapes = _shapes(blocks)[known]
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
    out = shapely.length(shapely.difference(_shapes(rows), shapely.buffer(inside, 1.0)))
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
    shapes = _shapes(trees)
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


def _own_block(frame: gpd.GeoDataFrame, blocks: gpd.GeoDataFrame) -> NDArray[np.object_]:
    places = pd.Series(np.arange(len(blocks)), index=blocks["block_id"].to_numpy())
    own = places.reindex(frame["block_id"].to_numpy()).to_numpy()
    return _shapes(blocks)[cast("NDArray[np.int64]", own.astype("int64"))]


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
    bounds = shapely.bounds(_shapes(frame))
    bounds = bounds[np.isfinite(bounds).all(axis=1)]
    if len(bounds) == 0:
        return []
    x = float(np.median((bounds[:, 0] + bounds[:, 2]) / 2.0))
    y = float(np.median((bounds[:, 1] + bounds[:, 3]) / 2.0))
    away = _kilometres(x, y, centre)
    if away <= FAR_KM:
        return []
    turned = abs(x) <= 90.0 and _kilometres(y, x, centre) <= FAR_KM
    file = str(frame[FILE].iloc[0]) if FILE in frame.columns else ""
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


def _kilometres(longitude: float, latitude: float, centre: shapely.Point) -> float:
    from layers.crs import distance_km

    return distance_km(
        longitude=longitude,
        latitude=latitude,
        other_longitude=centre.x,
        other_latitude=centre.y,
    )
