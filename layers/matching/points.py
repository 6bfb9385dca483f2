"""A points layer as sessions of a walk, and what is wrong with it said clearly."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from layers.errors import ColumnError, CrsError, GeometryError
from layers.matching.session import Session
from layers.matching.stand import Stand

BREAK_MINUTES = 30.0
MARGIN_M = 10.0
# Pauses of up to so many usual ones are usual too; none counts as longer than the longest.
USUAL_UP_TO = 4.0
LONGEST_PAUSE = 10_000.0
USUAL_FROM = 5
# Metres walked in the time that it takes to measure a girth (common practice, no source: half a
# minute at a metre a second).
MEASURING_M = 30.0

Floats = NDArray[np.float64]
Whole = NDArray[np.int64]


def check_trees(trees: gpd.GeoDataFrame) -> None:
    """Raise where a trees layer can't be matched against."""
    _check_layer(trees, "trees", "tree_id")


def check_points(points: gpd.GeoDataFrame, trees: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Raise where a points layer can't be matched; give it in the trees' CRS."""
    _check_layer(points, "girth", "point_id")
    if points.crs is not None and trees.crs is not None and points.crs != trees.crs:
        return points.to_crs(trees.crs)
    return points


def _check_layer(layer: gpd.GeoDataFrame, name: str, key: str) -> None:
    if key not in layer:
        raise ColumnError.at(
            layer=name,
            found="the columns " + ", ".join(map(str, layer.columns)),
            expected=f"a column {key}",
            remedy=f"Give each row a {key} of its own.",
        )
    if layer[key].isna().any() or layer[key].duplicated().any():
        row = int(np.flatnonzero((layer[key].isna() | layer[key].duplicated()).to_numpy())[0])
        raise ColumnError.at(
            layer=name,
            row=row + 1,
            found=f"{key} {layer[key].iloc[row]}, missing or given before",
            expected=f"each {key} once",
            remedy=f"Give each row a {key} of its own.",
        )
    if layer.crs is not None and layer.crs.is_geographic:
        raise CrsError.at(
            layer=name,
            found=f"{layer.crs.name}, in degrees",
            expected="a CRS in metres",
            remedy="Reproject it, for instance with to_crs(layer.estimate_utm_crs()).",
        )
    shape = layer.geometry
    wrong = (shape.isna() | shape.is_empty | (shape.geom_type != "Point")).to_numpy()
    if wrong.any():
        row = int(np.flatnonzero(wrong)[0])
        raise GeometryError.at(
            layer=name,
            row=layer[key].iloc[row],
            found="no geometry" if shape.isna().iloc[row] else f"{shape.geom_type.iloc[row]}",
            expected="one point with coordinates",
            remedy="Give its place, or leave the row out.",
        )


def session_codes(points: gpd.GeoDataFrame) -> tuple[Whole, NDArray[np.object_]]:
    """Number each point's session, and name the sessions.

    Where no session is named, a surveyor's points are one session until half an hour passes
    without one.
    """
    if "session_id" in points and points["session_id"].notna().any():
        names = points["session_id"].astype("string").fillna("no session")
    elif "surveyor" in points:
        names = points["surveyor"].astype("string").fillna("no surveyor")
    else:
        names = pd.Series("survey", index=points.index, dtype="string")
    if "session_id" not in points and "measured_at" in points:
        moment = moments(points)
        frame = pd.DataFrame({"name": names.to_numpy(), "at": moment})
        order = frame.sort_values(["name", "at"], kind="stable").index
        pause = frame.loc[order].groupby("name")["at"].diff().dt.total_seconds() / 60
        part = (pause > BREAK_MINUTES).groupby(frame.loc[order, "name"]).cumsum()
        names = names.reset_index(drop=True) + " " + (part.sort_index() + 1).astype("string")
    codes, unique = pd.factorize(names.to_numpy(dtype=object))
    return codes.astype(np.int64), np.asarray(unique, dtype=object)


def moments(points: gpd.GeoDataFrame) -> pd.Series:
    """Give when each point was measured, in UTC; missing where it isn't readable."""
    column = points["measured_at"].reset_index(drop=True)
    return pd.to_datetime(column, errors="coerce", utc=True, format="ISO8601")


def lay_out_sessions(
    points: gpd.GeoDataFrame, stand: Stand, fixed: Whole, codes: Whole
) -> list[tuple[Session, Whole]]:
    """Give each session as arrays, and its points' positions in walking order.

    Parameters
    ----------
    points
        The checked points layer.
    stand
        The stand they were taken in.
    fixed
        Confirmed tree of each point, -1 where none, -2 where confirmed to be of no tree.
    codes
        Session of each point, numbered from 0.
    """
    at = np.column_stack([points.geometry.x, points.geometry.y]) - stand.origin_m
    accuracy_m = _relative_accuracy(points)
    second = _seconds(points)
    row_no, tree_no = _written(points, "row_no"), _written(points, "tree_no")
    girth_cm = _measured(points, "girth_cm")
    order = _walking_order(points, codes)
    starts = np.flatnonzero(np.diff(codes[order], prepend=-1))
    sessions = []
    for inside in np.split(order, starts[1:]):
        low, high = at[inside].min(axis=0) - MARGIN_M, at[inside].max(axis=0) + MARGIN_M
        session = Session(
            at_m=at[inside],
            accuracy_m=accuracy_m[inside],
            pause=pauses(at[inside], second[inside]),
            begins=np.zeros(inside.size, dtype=bool),
            row_no=row_no[inside],
            tree_no=tree_no[inside],
            girth_cm=girth_cm[inside],
            fixed=fixed[inside],
            area_m2=float(np.prod(high - low)),
            trees_near=float(max(stand.trees_within(low, high), 1)),
        )
        sessions.append((session, inside))
    return sessions


def _walking_order(points: gpd.GeoDataFrame, codes: Whole) -> Whole:
    """Order points by session, then by when they were measured where every moment is known.

    Points of one moment keep the order they were given in.
    """
    if "measured_at" not in points:
        return np.argsort(codes, kind="stable").astype(np.int64)
    when = moments(points)
    known = when.notna().groupby(codes).transform("all")
    second = when.where(known, pd.Timestamp(0, tz="UTC"))
    frame = pd.DataFrame({"code": codes, "when": second})
    return frame.sort_values(["code", "when"], kind="stable").index.to_numpy(np.int64)


def _seconds(points: gpd.GeoDataFrame) -> Floats:
    """Give when each point was measured, seconds, NaN where not known."""
    if "measured_at" not in points:
        return np.full(len(points), np.nan)
    when = moments(points)
    second = when.dt.tz_localize(None).to_numpy("datetime64[ms]").astype(float) / 1000
    return np.where(when.isna(), np.nan, second)


def pauses(at_m: Floats, second: Floats) -> Floats:
    """Give the time before each point in usual times from point to point, at least 1.

    Where the moments aren't known, a walk much longer than usual stands for the pause it takes.

    Parameters
    ----------
    at_m
        Places in walking order, shape (n, 2), metres.
    second
        When they were measured, shape (n,), seconds, NaN where not known.

    Examples
    --------
    >>> at_m = np.column_stack([[0.0, 3.0, 6.0, 9.0, 309.0], np.zeros(5)])
    >>> pauses(at_m, np.full(5, np.nan)).tolist()
    [1.0, 1.0, 1.0, 1.0, 10.0]
    >>> pauses(at_m, np.array([0.0, 30.0, 60.0, 660.0, 690.0])).tolist()
    [1.0, 1.0, 1.0, 20.0, 1.0]
    """
    if len(at_m) < USUAL_FROM:
        return np.ones(len(at_m))
    gap = np.diff(second)
    if np.isnan(gap).any() or np.median(gap) <= 0:
        gap = np.hypot(*np.diff(at_m, axis=0).T) + MEASURING_M
    usual = gap / max(float(np.median(gap)), 1e-9)
    return np.append(1.0, np.where(usual > USUAL_UP_TO, usual, 1.0).clip(1.0, LONGEST_PAUSE))


def _relative_accuracy(points: gpd.GeoDataFrame) -> Floats:
    """Give the reported accuracy over the survey's median, 1 where none was reported."""
    accuracy = _measured(points, "accuracy_m")
    if not (accuracy > 0).any():
        return np.ones(len(points))
    relative = accuracy / np.median(accuracy[accuracy > 0])
    return np.where(relative > 0, relative.clip(0.2, 5), 1.0)


def _written(points: gpd.GeoDataFrame, column: str) -> Whole:
    if column not in points:
        return np.full(len(points), -1, dtype=np.int64)
    number = pd.to_numeric(points[column], errors="coerce").fillna(-1)
    return number.to_numpy(float).astype(np.int64)


def _measured(points: gpd.GeoDataFrame, column: str) -> Floats:
    if column not in points:
        return np.full(len(points), np.nan)
    return pd.to_numeric(points[column], errors="coerce").to_numpy(float, na_value=np.nan)
