"""Geometry files: GeoPackage, GeoJSON, Shapefile (zipped too) and KML."""

from __future__ import annotations

import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from layers.bring_in.sources import Found, UserNames
from layers.crs import known_crs
from layers.errors import CrsError, MissingLayerError, UnreadableError

# What GDAL adds to every KML placemark.
_KML_ONLY = ["id", "description", "timestamp", "begin", "end", "altitudeMode", "tessellate",
             "extrude", "visibility", "drawOrder", "icon", "snippet"]  # fmt: skip


# How many files of an archive are named before the rest are counted.
_MOST_NAMED = 8


def read_vector(found: Found, names: UserNames) -> gpd.GeoDataFrame | pd.DataFrame:
    """Read one layer as it stands, in its own CRS; a table without geometry gives a plain frame.

    Raises
    ------
    UnreadableError
        The file can't be read as what its name says.
    CrsError
        It has geometry and no CRS, and ``columns.toml`` names none.
    """
    if found.path.suffix.lower() == ".kml":
        return _read_kml(found)
    source, table = found.path.as_posix(), found.table
    if found.path.suffix.lower() == ".zip":
        source = _in_zip(found.path, found.layer)
    frame = _read(source, table, found)
    if not isinstance(frame, gpd.GeoDataFrame):
        return frame
    return placed(frame, found, names)


def placed(frame: gpd.GeoDataFrame, found: Found, names: UserNames) -> gpd.GeoDataFrame:
    """Give the frame the CRS that ``columns.toml`` names for its file, or see that it has one."""
    named = names.crs.get(found.path.name)
    if named is not None:
        crs = known_crs(int(named) if str(named).isdigit() else named, file="columns.toml")
        return frame.set_crs(crs, allow_override=True)
    if frame.crs is None:
        raise CrsError.at(
            file=found.path.name,
            layer=found.layer,
            found="no coordinate reference system",
            expected="one that PROJ knows, such as EPSG:4326 or EPSG:32748",
            remedy="Save the layer with its coordinate reference system (a shapefile needs its "
            f'.prj), or write in columns.toml, under [crs]: "{found.path.name}" = "EPSG:…".',
        )
    return frame


def _read(source: str, table: str | None, found: Found) -> gpd.GeoDataFrame | pd.DataFrame:
    try:
        with warnings.catch_warnings():
            # Measures and heights are dealt with, and told, by the checks.
            warnings.filterwarnings("ignore", message="Measured .M. geometry types")
            return pyogrio.read_dataframe(source, layer=table, force_2d=False)
    except (DataSourceError, DataLayerError, ValueError, RuntimeError) as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=str(error).split(";")[0].replace(f"{found.path.parent}/", ""),
            expected="a layer that its ending names",
            remedy="Open it in the program that made it and save it again.",
        ) from error


def _read_kml(found: Found) -> gpd.GeoDataFrame:
    """Read every folder of a KML file; a placemark's name serves as its key where none is given."""
    path = found.path.as_posix()
    try:
        tables = [str(name) for name, _ in pyogrio.list_layers(path)]
    except DataSourceError as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=str(error),
            expected="a KML file",
            remedy="Save the layer as KML again.",
        ) from error
    frames = [frame for frame in (_read(path, table, found) for table in tables) if len(frame)]
    spatial = [frame for frame in frames if isinstance(frame, gpd.GeoDataFrame)]
    if not spatial:
        raise MissingLayerError.at(
            file=found.shown,
            layer=found.layer,
            found="no placemark",
            expected="placemarks with a geometry",
            remedy="Save the layer as KML again.",
        )
    frame = gpd.GeoDataFrame(pd.concat(spatial, ignore_index=True), crs=spatial[0].crs)
    return frame.drop(columns=[column for column in _KML_ONLY if column in frame.columns])


def _in_zip(path: Path, layer: str) -> str:
    try:
        with zipfile.ZipFile(path) as archive:
            names = sorted(archive.namelist())
    except (zipfile.BadZipFile, OSError) as error:
        raise UnreadableError.at(
            file=path.name,
            layer=layer,
            found=str(error),
            expected="a zipped shapefile",
            remedy="Zip the .shp, .shx, .dbf and .prj again.",
        ) from error
    # One system keeps a shadow of each file in folders of its own.
    own = [n for n in names if not n.startswith("__MACOSX/") and not Path(n).name.startswith(".")]
    inside = [name for name in own if name.lower().endswith(".shp")]
    if len(inside) != 1:
        there = [name for name in (inside or own) if not name.endswith("/")]
        more = f" and {len(there) - _MOST_NAMED} more" * (len(there) > _MOST_NAMED)
        raise UnreadableError.at(
            file=path.name,
            layer=layer,
            found=f"{len(inside)} shapefiles in the archive"
            + (f" ({', '.join(there[:_MOST_NAMED])}{more})" if there else ""),
            expected="one",
            remedy="Zip one shapefile (.shp, .shx, .dbf, .prj) in an archive.",
        )
    return f"/vsizip/{path.as_posix()}/{inside[0]}"
