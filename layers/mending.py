"""One layer's geometry, mended where that is safe, or left out; every change is a fault.

Frames may carry two columns that say where a row came from, `_file` and `_row`.
"""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.checks import FILE, repeated, row_faults, shapes_of
from layers.contract import LAYERS
from layers.errors import Fault
from layers.redrawn import drop_redrawn, told_apart_by, without_twins
from layers.shared_ground import SLIVER_WIDTH_M

LEAST_PART_M2 = 1.0
SAME_PLACE_M = 0.05

_AREA_TYPES, _LINE_TYPES, _POINT_TYPES, _COLLECTION = (3, 6), (1, 2, 5), (0, 4), 7


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


def _drop_missing(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    shapes = shapes_of(frame)
    missing = shapely.is_missing(shapes)
    empty = shapely.is_empty(shapes)
    bounds = shapely.bounds(shapes)
    broken = ~missing & ~empty & ~np.isfinite(bounds).all(axis=1)
    faults: list[Fault] = []
    faults += repeated(
        frame[broken],
        layer,
        "noted",
        found="coordinates that can't be placed; left out",
        expected=" or ".join(LAYERS[layer].geometry),
        remedy="Check the layer's coordinate reference system and its coordinates.",
    )
    for which, found in (
        (missing, "no geometry; left out"),
        (empty, "an empty geometry; left out"),
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
    shapes = shapes_of(frame)
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
    frame, faults = _areas_of_collections(frame, layer)
    frame, more = _closed_lines(frame, layer)
    faults += more
    frame, more = _wrong_kind(
        frame, layer, np.isin(shapely.get_type_id(shapes_of(frame)), _AREA_TYPES)
    )
    faults += more
    shapes = shapes_of(frame)
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


def _areas_of_collections(
    frame: gpd.GeoDataFrame, layer: str
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Keep the areas of collections, such as a boundary together with the point of its label."""
    shapes = shapes_of(frame).copy()
    mixed = np.flatnonzero(shapely.get_type_id(shapes) == _COLLECTION)
    told: list[int] = []
    for place in mixed:
        parts = shapely.get_parts(shapely.get_parts(shapes[place]))
        areas = parts[shapely.get_type_id(parts) == _AREA_TYPES[0]]
        if len(areas):
            told.append(int(place))
            shapes[place] = shapely.multipolygons(areas)
    faults = row_faults(
        frame.iloc[told],
        layer,
        "mended",
        found="areas together with points or lines; only the areas are used",
        expected="areas alone",
        remedy="Nothing to do if the boundary looks right on the map.",
    )
    return frame.set_geometry(gpd.GeoSeries(shapes, crs=frame.crs)), faults


def _closed_lines(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    shapes = shapes_of(frame)
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
        frame, layer, np.isin(shapely.get_type_id(shapes_of(frame)), _LINE_TYPES)
    )
    merged = shapely.line_merge(shapes_of(frame))
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
    short = shapely.length(shapes_of(frame)) <= SAME_PLACE_M
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
        frame, layer, np.isin(shapely.get_type_id(shapes_of(frame)), _POINT_TYPES)
    )
    shapes = shapes_of(frame)
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
        np.isin(shapely.get_type_id(shapes_of(frame)), _LINE_TYPES + _AREA_TYPES),
    )
    shapes = shapes_of(frame)
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

    Of twins the first stays; each omission is a fault. So are rows that only nearly repeat the
    geometry, under the same key (:func:`layers.redrawn.drop_redrawn`).
    """
    alike = frame[told_apart_by(frame)].astype("str")
    alike["_shape"] = shapely.to_wkb(shapely.normalize(shapes_of(frame)))
    once, faults = without_twins(frame, alike, layer)
    kept, more = drop_redrawn(once, layer)
    return kept, faults + more
