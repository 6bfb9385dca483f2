"""Several layers of one GeoPackage, written whole or not at all."""

from __future__ import annotations

import glob
import os
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from pyogrio.errors import DataLayerError, DataSourceError

from layers.contract import LAYERS
from layers.errors import InUseError, MissingLayerError, UnreadableError

# Stands in the description that GeoPackage keeps of each layer.
WRITTEN_BY = "written by plantation-block-manager"
_WAIT_S = 2.0
_LEFT_BEHIND_S = 24 * 3600.0


def layer_names(path: Path) -> tuple[str, ...]:
    """Give the names of a GeoPackage's layers and attribute tables, in the file's order.

    Raises
    ------
    MissingLayerError
        There is no such file.
    UnreadableError
        The file isn't a GeoPackage.
    """
    return tuple(str(name) for name, _ in _listed(Path(path)))


def read_layer(path: Path, name: str) -> pd.DataFrame:
    """Give one layer (a geo frame in its own CRS) or attribute table (a plain frame).

    Raises
    ------
    MissingLayerError
        There is no such file, or no such layer in it.
    UnreadableError
        The file isn't a GeoPackage.
    """
    path = Path(path)
    kinds = dict(_listed(path))
    if name not in kinds:
        raise MissingLayerError.at(
            file=path.name,
            layer=name,
            found="no such layer",
            expected="one of " + (", ".join(map(str, kinds)) or "none: the file is empty"),
            remedy="Choose one of these layers.",
        )
    try:
        frame = pyogrio.read_dataframe(path, layer=name)
    except (DataSourceError, DataLayerError) as error:
        raise _unreadable(path, str(error)) from error
    texts = {column: "str" for column in frame.columns if frame[column].dtype == object}
    return frame.astype(texts)


def written_here(path: Path) -> bool:
    """Tell whether any layer of a GeoPackage was written by :func:`write_layers`."""
    path = Path(path)
    _listed(path)
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as database:
        marks = "SELECT count(*) FROM gpkg_contents WHERE description = ?"
        count: int = database.execute(marks, [WRITTEN_BY]).fetchone()[0]
    return count > 0


def settle(path: Path) -> None:
    """Bring a GeoPackage's journal into it, and see that no other program is at work on it.

    A desktop GIS keeps what was edited last in a journal beside the file. A file that is copied
    without it lacks those edits, and one that takes its place is spoilt by it.

    Raises
    ------
    InUseError
        Another program has the file open, or it may not be written.
    UnreadableError
        The file isn't a GeoPackage.
    """
    path = Path(path)
    _listed(path)
    if not os.access(path, os.W_OK):
        raise _in_use(path)
    with closing(sqlite3.connect(path, timeout=_WAIT_S)) as database:
        try:
            # Leaving the write-ahead log wants the file for oneself; so does the transaction.
            (mode,) = database.execute("PRAGMA journal_mode = DELETE").fetchone()
            database.execute("BEGIN EXCLUSIVE")
            database.rollback()
        except sqlite3.OperationalError as error:
            raise _in_use(path) from error
    if mode == "wal":
        raise _in_use(path)


def _in_use(path: Path) -> InUseError:
    return InUseError.at(
        file=path.name,
        found="a GeoPackage that another program has open, or that may not be written",
        expected="a file that no other program is at work on",
        remedy="Close it in the other program, such as a desktop GIS, and do this again. Nothing "
        "was changed.",
    )


def write_layers(path: Path, frames: Mapping[str, pd.DataFrame], *, keep: bool = True) -> None:
    """Write layers and attribute tables into one GeoPackage, all of them or none.

    The new file is made beside the old one and takes its place at the end, so that a write that
    fails leaves the old file as it was.

    Parameters
    ----------
    path
        The GeoPackage; its folder must be there.
    frames
        Layer name to frame: a geo frame with a CRS, or a plain frame for an attribute table.
    keep
        Whether the layers that are already in the file and aren't named in `frames` stay.

    Raises
    ------
    UnreadableError
        `path` holds something else than a GeoPackage, or a layer can't be written.
    MissingLayerError
        The folder isn't there.
    InUseError
        Another program has the file open.
    """
    path = Path(path)
    if not path.parent.is_dir():
        raise MissingLayerError.at(
            file=str(path.parent),
            found="no such folder",
            expected="a folder to write in",
            remedy="Make the folder first.",
        )
    if path.exists():
        settle(path)
    _clear(path)
    # A folder of its own: SQLite leaves its journal beside the file while it writes.
    with tempfile.TemporaryDirectory(prefix=f".{path.stem}-", dir=path.parent) as folder:
        fresh = Path(folder) / f"{path.stem}.gpkg"
        if path.exists() and keep:
            shutil.copyfile(path, fresh)
        for name, frame in frames.items():
            _write_one(fresh, name, frame, shown=path.name)
        if fresh.exists():
            with fresh.open("rb") as written:
                os.fsync(written.fileno())
            fresh.replace(path)


def _clear(path: Path) -> None:
    """Take away what writes of this file that were killed left beside it more than a day ago."""
    for old in path.parent.glob(f".{glob.escape(path.stem)}-????????"):
        if old.is_dir() and time.time() - old.stat().st_mtime > _LEFT_BEHIND_S:
            shutil.rmtree(old, ignore_errors=True)


def _write_one(path: Path, name: str, frame: pd.DataFrame, *, shown: str) -> None:
    plain = _writable(frame)
    form = LAYERS.get(name)
    kind: str | None = None
    if isinstance(frame, gpd.GeoDataFrame):
        kinds = set(frame.geometry.geom_type.dropna())
        if form is not None and form.geometry and kinds <= set(form.geometry[:1]):
            kind = form.geometry[0]
        elif len(kinds) != 1:
            kind = "Unknown"
        else:
            kind = kinds.pop()
    try:
        pyogrio.write_dataframe(
            plain,
            path,
            layer=name,
            driver="GPKG",
            geometry_type=kind,
            layer_options={"DESCRIPTION": WRITTEN_BY},
        )
    except (DataSourceError, DataLayerError, ValueError, RuntimeError) as error:
        raise UnreadableError.at(
            file=shown,
            layer=name,
            found=str(error),
            expected="a frame that a GeoPackage can hold",
            remedy="Check the layer's columns, and that the disk has room and allows writing.",
        ) from error


def _writable(frame: pd.DataFrame) -> pd.DataFrame:
    changed = {}
    for column in frame.columns:
        values = frame[column]
        if isinstance(values.dtype, pd.CategoricalDtype):
            changed[column] = values.astype("str")
        elif isinstance(values.dtype, pd.PeriodDtype):
            changed[column] = values.dt.to_timestamp()
    return frame.assign(**changed) if changed else frame


def _listed(path: Path) -> list[tuple[str, str | None]]:
    if not path.is_file():
        raise MissingLayerError.at(
            file=str(path),
            found="no such file",
            expected="a GeoPackage",
            remedy="Check the path.",
        )
    with path.open("rb") as start:
        head = start.read(16)
    if head != b"SQLite format 3\x00":
        raise _unreadable(path, "a file that isn't an SQLite database")
    try:
        return [(str(name), kind) for name, kind in np.asarray(pyogrio.list_layers(path))]
    except DataSourceError as error:
        raise _unreadable(path, str(error)) from error


def _unreadable(path: Path, found: str) -> UnreadableError:
    return UnreadableError.at(
        file=path.name,
        found=found,
        expected="a GeoPackage",
        remedy="Save the layers as a GeoPackage again; the file may be cut short.",
    )
