"""Each file as it stands, its columns named and in their kinds."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from layers.bring_in.columns import Place, name_columns, plain_name, set_kinds, with_moments
from layers.bring_in.moments import OFFSET
from layers.bring_in.sessions import SESSION_NAME
from layers.bring_in.sources import COLUMNS_FILE, Found, UserNames
from layers.bring_in.tables import read_table
from layers.bring_in.vectors import read_vector
from layers.bring_in.waypoints import read_waypoints
from layers.checks import FILE, ROW
from layers.contract import LAYERS
from layers.errors import Fault, LayerError, UnreadableError
from layers.geopackage import written_here

_HEADINGS = "headings"


@dataclass(frozen=True, kw_only=True)
class Source:
    """What one file, or one layer in it, became.

    Parameters
    ----------
    file
        The file's name, and the layer's in it where it holds several; for trees that no file
        holds, how they were placed: ``along rows`` or ``set out``.
    layer
        The contract's layer it went into.
    rows
        Rows read from it; cells for a raster.
    crs
        The name of its own coordinate reference system; empty for a table.
    """

    file: str
    layer: str
    rows: int
    crs: str


def read_all(
    found: list[Found], names: UserNames
) -> tuple[dict[str, list[pd.DataFrame]], list[Source], list[Fault]]:
    """Read every file: frames by layer, what each file became, and faults, those that stop too."""
    raw: dict[str, list[pd.DataFrame]] = {}
    sources: list[Source] = []
    faults: list[Fault] = []
    seen: dict[str, set[str]] = {}
    for each in found:
        try:
            frame, more = _read(each, names)
        except LayerError as error:
            faults.append(error.fault)
            continue
        faults += more
        raw.setdefault(each.layer, []).append(frame)
        seen.setdefault(each.layer, set()).update(frame.attrs.pop(_HEADINGS, ()))
        crs = frame.crs.name if isinstance(frame, gpd.GeoDataFrame) else ""
        sources.append(Source(file=each.shown, layer=each.layer, rows=len(frame), crs=crs))
    return raw, sources, faults + _named_in_vain(names, seen)


def _named_in_vain(names: UserNames, seen: dict[str, set[str]]) -> list[Fault]:
    """Tell which of the user's column names no file of the layer bears."""
    return [
        Fault(
            severity="noted",
            file=COLUMNS_FILE,
            layer=layer,
            row="",
            found=f"a column “{yours}”, which no {layer} file has",
            expected="a heading as it stands in the file",
            remedy="Write it as the heading is written, or take the line out.",
        )
        for layer, own in names.columns.items()
        if layer in seen
        for yours in own
        if plain_name(yours) not in seen[layer]
    ]


def _read(found: Found, names: UserNames) -> tuple[pd.DataFrame, list[Fault]]:
    ending = found.path.suffix.lower()
    apart: list[Fault] = []
    if found.path.stat().st_size == 0:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found="an empty file, of 0 bytes",
            expected="a file that holds the layer",
            remedy="Copy or save it again; a transfer may have been cut short.",
        )
    if ending in (".csv", ".xlsx"):
        frame, apart = read_table(found, names)
    elif ending == ".gpx":
        frame, apart = read_waypoints(found)
    else:
        frame = read_vector(found, names)
    if isinstance(frame, gpd.GeoDataFrame) and frame.geometry.name != "geometry":
        frame = frame.rename_geometry("geometry")
    key = LAYERS[found.layer].key
    if ending == ".kml" and "Name" in frame.columns and "name" not in LAYERS[found.layer].columns:
        # A placemark's name serves as its key where no column is the key.
        known = {plain_name(str(column)) for column in frame.columns}
        frame = frame.drop(columns="Name") if key in known else frame.rename(columns={"Name": key})
    place = Place(file=found.shown, layer=found.layer)
    headings = {plain_name(str(column)) for column in frame.columns}
    own = names.columns.get(found.layer, {})
    frame, told = with_moments(frame, found.layer, own=own, place=place)
    frame, faults = name_columns(frame, found.layer, own=own, place=place)
    faults = apart + told + faults
    frame = frame.assign(**{FILE: found.shown, ROW: np.arange(1, len(frame) + 1)})
    frame, more = set_kinds(frame, found.layer, place=place)
    if found.layer == "girth":
        sheet = found.table if ending == ".xlsx" else None
        walk = found.path.stem if sheet is None else f"{found.path.stem} {sheet}"
        frame = frame.assign(**{SESSION_NAME: pd.Series(walk, index=frame.index, dtype="str")})
    if ending == ".gpkg" and OFFSET in frame.columns and written_here(found.path):
        # A project's moments are by the plot's clock already.
        frame = frame.drop(columns=OFFSET)
    frame.attrs[_HEADINGS] = headings
    return frame, faults + more
