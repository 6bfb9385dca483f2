"""Keys: made where a layer has none, from what stays the same on a re-import, and made unique."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from layers.checks import FILE, ROW, repeated
from layers.contract import LAYERS
from layers.crs import EXCHANGE_CRS
from layers.errors import Fault

_FIRST_LETTER = {"holdings": "H", "blocks": "B", "rows": "R", "trees": "T", "girth": "P",
                 "obstacles": "O", "places": "C", "tappers": "M"}  # fmt: skip
_DIGITS = {"girth": 12, "trees": 12}
# A tenth of a metre.
_PLACES_A_DEGREE = 1e6


def make_keys(frame: pd.DataFrame, layer: str) -> tuple[pd.DataFrame, list[Fault]]:
    """Give every row a key: its own, or one made from its place and values.

    A made key doesn't depend on the order of the rows nor on the file they came in, so that the
    same layer brought in again gives the same keys.
    """
    key = LAYERS[layer].key
    frame = frame.reset_index(drop=True)
    given = frame[key] if key in frame.columns else pd.Series(None, index=frame.index, dtype="str")
    missing = given.isna()
    if not missing.any():
        return frame.assign(**{key: given}), []
    made = _made(frame[missing], layer)
    faults = [
        Fault(
            severity="mended",
            file=str(file),
            layer=layer,
            row="",
            found=f"{count} rows without a {key}; made from their place, such as {made.iloc[0]}",
            expected=f"a {key} in every row",
            remedy=f"Add your own {key} if people know these by another name.",
        )
        for file, count in _counts(frame[missing]).items()
    ]
    keyed = frame.copy()
    keyed[key] = given.mask(missing, made.reindex(frame.index)).astype("str")
    return keyed, faults


def unique_keys(frame: pd.DataFrame, layer: str) -> tuple[pd.DataFrame, list[Fault]]:
    """Give repeated keys an ending (``-2``, ``-3``), in the order of the rows' places."""
    key = LAYERS[layer].key
    again = frame[key].duplicated(keep=False)
    if not again.any():
        return frame, []
    faults = repeated(
        frame[frame[key].duplicated(keep=False)],
        layer,
        "noted",
        found=f"a {key} that another row has too; an ending was added",
        expected=f"each {key} once",
        remedy=f"Give each row its own {key}.",
    )
    order = frame[again].assign(_place=_place_words(frame[again])).sort_values([key, "_place"])
    number = order.groupby(key).cumcount() + 1
    ending = ("-" + number.astype("str")).where(number > 1, "")
    renamed = frame.copy()
    renamed.loc[order.index, key] = order[key] + ending
    return renamed, faults


def join_parts(frame: gpd.GeoDataFrame, layer: str) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Join areas that share a key and agree in every column; those that disagree stop the layer."""
    key = LAYERS[layer].key
    again = frame[key].duplicated(keep=False)
    if not again.any():
        return frame, []
    columns = [
        name for name in frame.columns if name not in (FILE, ROW, key, "geometry", "area_ha")
    ]
    alike = frame.loc[again, [key, *columns]].astype("str").groupby(frame.loc[again, key])
    differ = set(alike.nunique(dropna=False).max(axis=1).loc[lambda most: most > 1].index)
    clash = again & frame[key].isin(differ)
    faults = repeated(
        frame[clash],
        layer,
        "stops",
        found=f"a {key} that another row with other values has too",
        expected=f"each {key} once",
        remedy=f"Give each of them its own {key}.",
    )
    parts = frame[again & ~clash]
    faults += repeated(
        parts[parts[key].duplicated()],
        layer,
        "mended",
        found="a further part of the same area; joined with the first",
        expected="one row with several parts",
        remedy="Nothing to do if both belong to it.",
    )
    joined = parts.drop_duplicates(key).set_index(key)
    joined["geometry"] = parts.groupby(key)["geometry"].agg(
        lambda shapes: _as_multi(shapely.union_all(shapes.to_numpy()))
    )
    whole = pd.concat([frame[~again | clash], joined.reset_index()], ignore_index=True)
    return gpd.GeoDataFrame(whole, geometry="geometry", crs=frame.crs), faults


def _as_multi(shape: shapely.Geometry) -> shapely.MultiPolygon:
    return shapely.multipolygons(list(shapely.get_parts(shape)))


def _counts(frame: pd.DataFrame) -> pd.Series:
    if FILE not in frame.columns:
        return pd.Series([len(frame)], index=[""])
    return frame[FILE].value_counts(sort=False)


def _made(frame: pd.DataFrame, layer: str) -> pd.Series:
    digits = _DIGITS.get(layer, 6)
    words = pd.DataFrame({"place": _place_words(frame)}, index=frame.index)
    if layer in ("girth", "tappers"):
        for column in [name for name in LAYERS[layer].columns if name in frame.columns]:
            words[column] = frame[column].astype("str")
    hashes = pd.util.hash_pandas_object(words, index=False).to_numpy()
    letter = _FIRST_LETTER[layer]
    mask = (1 << (4 * digits)) - 1
    made = pd.Series([f"{letter}-{int(code) & mask:0{digits}x}" for code in hashes], frame.index)
    # Rows alike in everything can't be told apart: any order of theirs gives the same result.
    number = made.groupby(made).cumcount() + 1
    return (made + ("-" + number.astype("str")).where(number > 1, "")).astype("str")


def _place_words(frame: pd.DataFrame) -> NDArray[np.object_]:
    if not isinstance(frame, gpd.GeoDataFrame):
        return np.full(len(frame), "", dtype=object)
    points = gpd.GeoSeries(
        shapely.point_on_surface(frame.geometry.to_numpy()), crs=frame.crs
    ).to_crs(EXCHANGE_CRS)
    degrees = shapely.get_coordinates(points.to_numpy())
    placed = np.rint(degrees * _PLACES_A_DEGREE).astype("int64")
    return np.array([f"{x} {y}" for x, y in placed.tolist()], dtype=object)
