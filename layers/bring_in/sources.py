"""Which file, and which layer in it, is which of the contract's layers."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import islice
from pathlib import Path
from types import MappingProxyType
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import pyogrio
from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException
from pyogrio.errors import DataSourceError

from layers.bring_in.columns import kinds_of
from layers.bring_in.headings import MOST_ABOVE, heading_row, known_headings
from layers.contract import LAYERS
from layers.errors import (
    Fault,
    LayerError,
    MissingLayerError,
    SettingError,
    UnreadableError,
    said_by,
)
from layers.geopackage import written_here
from layers.toml_file import as_toml, read_toml

COLUMNS_FILE = "columns.toml"
TERRAIN = "terrain"

_NAMES = {
    "holdings": "holdings?",
    "blocks": "blocks?",
    "rows": "rows?",
    "trees": "trees?",
    "girth": "girths?",
    "obstacles": "obstacles?",
    "places": "places?",
    "tappers": "tappers?",
    TERRAIN: "terrain|elevation",
}
_PATTERNS = {
    layer: re.compile(rf"(?:{names})(?![a-z]).*", re.IGNORECASE | re.DOTALL)
    for layer, names in _NAMES.items()
}
VECTOR_ENDINGS = (".geojson", ".json", ".shp", ".zip", ".kml")
TABLE_ENDINGS = (".csv", ".xlsx")
RASTER_ENDINGS = (".tif", ".tiff")
# Files that belong to a shapefile, or that say which CRS a table is in.
_BESIDE = (".dbf", ".shx", ".prj", ".cpg", ".qix", ".sbn", ".sbx", ".xml", ".toml", ".md", ".txt")


@dataclass(frozen=True, kw_only=True)
class Found:
    """One layer that a file holds: the contract's name for it, the file, and the layer in it."""

    layer: str
    path: Path
    table: str | None = None

    @property
    def shown(self) -> str:
        """The file, and the layer in it where it holds several, as the user knows them."""
        return self.path.name if self.table is None else f"{self.path.name} ({self.table})"


@dataclass(frozen=True, kw_only=True)
class UserNames:
    """What ``columns.toml`` says: column names, the CRS of files without one, the time zone."""

    columns: Mapping[str, Mapping[str, str]] = field(default_factory=lambda: MappingProxyType({}))
    crs: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    zone: ZoneInfo | None = None


def layer_of(name: str) -> str | None:
    """Give the contract's layer that a file stem or layer name begins with, or None.

    Examples
    --------
    >>> layer_of("Holdings_north"), layer_of("row-2"), layer_of("treeline")
    ('holdings', 'rows', None)
    """
    for layer, pattern in _PATTERNS.items():
        if pattern.fullmatch(name.strip()):
            return layer
    return None


def find_sources(path: Path) -> tuple[list[Found], list[Fault]]:
    """List the layers that a folder or a GeoPackage holds, in the order of the files' names.

    Raises
    ------
    MissingLayerError
        There is nothing at `path`, or nothing in it that bears a layer's name.
    UnreadableError
        `path` is a file that isn't a GeoPackage.
    """
    if path.is_dir():
        found, faults = _in_folder(path)
    elif path.is_file():
        found, faults = _in_project(path)
    else:
        raise MissingLayerError.at(
            file=str(path),
            found="no such folder or file",
            expected="a folder of layers, or a project GeoPackage",
            remedy="Check the path.",
        )
    if not found and faults:
        # What bears a layer's name and can't be used says more than that there is none.
        return [], [replace(fault, severity="stops") for fault in faults]
    if not found:
        raise MissingLayerError.at(
            file=str(path),
            found="no file or layer that bears a layer's name",
            expected="names that begin with " + ", ".join([*LAYERS, TERRAIN]),
            remedy="Rename the files, for example blocks.geojson and girth.csv.",
        )
    return found, faults


def read_user_names(folder: Path) -> UserNames:
    """Read ``columns.toml`` where there is one.

    Raises
    ------
    UnreadableError
        It isn't TOML, or a table in it isn't of the form ``"yours" = "ours"``.
    SettingError
        The time zone isn't one.
    """
    path = folder / COLUMNS_FILE
    if not path.is_file():
        return UserNames()
    tables = read_toml(path, encoding="utf-8-sig")
    for name, table in tables.items():
        whole = isinstance(table, dict) and all(isinstance(to, str | int) for to in table.values())
        if name not in (*LAYERS, "crs", "time") or not whole:
            raise UnreadableError.at(
                file=path.name,
                layer=name,
                found=f"the table [{name}]",
                expected="[crs], [time], or a layer: " + ", ".join(LAYERS),
                remedy='Write lines such as "Plot no" = "block_id" under [blocks], and '
                '"blocks.shp" = "EPSG:32748" under [crs].',
            )
    for layer, table in tables.items():
        for yours, ours in table.items() if layer in LAYERS else ():
            if ours not in kinds_of(layer):
                raise SettingError.at(
                    file=path.name,
                    layer=layer,
                    row=yours,
                    found=f'"{yours}" = "{ours}", and we have no {ours}',
                    expected="one of " + ", ".join(kinds_of(layer)),
                    remedy="Write your heading first and ours behind it.",
                )
    return UserNames(
        columns={
            layer: {str(yours): str(ours) for yours, ours in table.items()}
            for layer, table in tables.items()
            if layer not in ("crs", "time")
        },
        crs={str(file): str(crs) for file, crs in tables.get("crs", {}).items()},
        zone=_zone(tables.get("time", {}), path.name),
    )


def _zone(table: Mapping[str, object], file: str) -> ZoneInfo | None:
    """Give the time zone that ``[time]`` names, None where it names none."""
    if not table:
        return None
    name = table.get("zone")
    try:
        if set(table) != {"zone"} or not name:
            raise ValueError("no zone")
        return ZoneInfo(str(name))
    except (ValueError, ZoneInfoNotFoundError, OSError) as error:
        raise SettingError.at(
            file=file,
            layer="time",
            found=", ".join(f"{key} = {as_toml(value)}" for key, value in table.items()),
            expected='zone = "…", a time zone by its IANA name',
            remedy='Write for example: zone = "Asia/Jakarta", "Africa/Abidjan" or "Asia/Kolkata".',
        ) from error


def _in_folder(folder: Path) -> tuple[list[Found], list[Fault]]:
    found: list[Found] = []
    faults: list[Fault] = []
    projects: list[Path] = []
    for path in sorted(folder.iterdir(), key=lambda entry: entry.name):
        ending = path.suffix.lower()
        if not path.is_file() or path.name.startswith((".", "~$")) or ending in _BESIDE:
            continue
        layer = layer_of(path.stem)
        if ending == ".gpkg":
            try:
                if written_here(path):
                    projects.append(path)
                    continue
                inside = _in_geopackage(path, layer)
                found += inside
                faults += [] if inside else [_nothing_of_ours(path)]
            except LayerError as error:
                faults.append(error.fault)
            continue
        if ending == ".xlsx" and layer is None:
            try:
                found += _in_workbook(path)
            except UnreadableError as error:
                faults.append(replace(error.fault, severity="noted"))
            continue
        if layer is None:
            continue
        fits = file_endings(layer)
        if ending == ".xlsx" and ending in fits:
            inside, more = _layer_in_workbook(path, layer)
            found += inside
            faults += more
        elif ending in fits:
            found.append(Found(layer=layer, path=path))
        else:
            faults.append(
                Fault(
                    severity="noted",
                    file=path.name,
                    layer=layer,
                    row="",
                    found=f"a file that ends in {ending or 'nothing'}, passed over",
                    expected="one of " + ", ".join(fits),
                    remedy="Save the layer in one of these formats.",
                )
            )
    if not found and len(projects) == 1:
        return _in_project(projects[0])
    return found, faults


def file_endings(layer: str) -> tuple[str, ...]:
    """Give the endings of the files that a layer is read from.

    Examples
    --------
    >>> file_endings("tappers")
    ('.csv', '.xlsx')
    """
    if layer == TERRAIN:
        return RASTER_ENDINGS
    if layer == "tappers":
        return TABLE_ENDINGS
    more = (".gpx",) if layer in ("girth", "trees", "places") else ()
    return (".gpkg", *VECTOR_ENDINGS, *TABLE_ENDINGS, *more)


def _in_geopackage(path: Path, file_layer: str | None) -> list[Found]:
    """List a user's own GeoPackage by its layers' names, or by the file's where it holds one."""
    tables = _tables(path)
    named = [(table, layer_of(table)) for table in tables]
    if file_layer is not None and len(tables) == 1 and named[0][1] is None:
        return [Found(layer=file_layer, path=path, table=tables[0])]
    return [Found(layer=layer, path=path, table=table) for table, layer in named if layer]


def _in_project(path: Path) -> tuple[list[Found], list[Fault]]:
    """List a project's inputs: its results have other names and are passed over."""
    tables = _tables(path)
    if written_here(path):
        found = [Found(layer=table, path=path, table=table) for table in tables if table in LAYERS]
    else:
        found = _in_geopackage(path, None)
    rasters = [
        Found(layer=TERRAIN, path=beside)
        for beside in sorted(path.parent.iterdir())
        if beside.suffix.lower() in RASTER_ENDINGS and layer_of(beside.stem) == TERRAIN
    ]
    return found + rasters, []


def _nothing_of_ours(path: Path) -> Fault:
    return Fault(
        severity="noted",
        file=path.name,
        layer="",
        row="",
        found="a GeoPackage without a layer that bears one of our names; passed over",
        expected="layers named " + ", ".join(LAYERS),
        remedy="Name the layer in it, or the file, after what it holds.",
    )


def _layer_in_workbook(path: Path, layer: str) -> tuple[list[Found], list[Fault]]:
    """List the sheets of a workbook that hold its layer: those whose heading has a column of it.

    A workbook with one sheet, or without a sheet that fits, is read by its first.
    """
    try:
        book = load_workbook(path, read_only=True, data_only=True)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, OSError):
        # Reading it will say why.
        return [Found(layer=layer, path=path)], []
    try:
        headings = {
            sheet.title: _headings(sheet.iter_rows(values_only=True), layer)
            for sheet in book.worksheets
        }
    finally:
        book.close()
    if len(headings) == 1:
        return [Found(layer=layer, path=path)], []
    fit = [
        sheet
        for sheet, row in headings.items()
        if layer_of(sheet) in (layer, None) and known_headings(row, layer)
    ]
    others = [
        sheet
        for sheet, row in headings.items()
        if sheet not in fit and row and layer_of(sheet) in (layer, None)
    ]
    found = [Found(layer=layer, path=path, table=sheet) for sheet in fit]
    found += [
        Found(layer=own, path=path, table=sheet)
        for sheet in headings
        if (own := layer_of(sheet)) not in (layer, None) and own and ".xlsx" in file_endings(own)
    ]
    faults = [
        Fault(
            severity="noted",
            file=f"{path.name} ({sheet})",
            layer=layer,
            row="",
            found=f"a sheet without a heading of {layer}, passed over",
            expected="a heading with any of " + ", ".join(kinds_of(layer)),
            remedy="Put the heading into the sheet's first row if it holds the layer.",
        )
        for sheet in others
    ]
    return (found, faults) if fit else ([Found(layer=layer, path=path), *found], [])


def _headings(rows: Iterator[tuple[object, ...]], layer: str) -> tuple[object, ...]:
    """Give the row of a sheet that holds its headings, empty where the sheet is."""
    top = list(islice((row for row in rows if any(map(_written, row))), MOST_ABOVE + 1))
    return top[heading_row(top, layer)] if top else ()


def _written(cell: object) -> bool:
    return cell is not None and str(cell).strip() != ""


def _in_workbook(path: Path) -> list[Found]:
    try:
        book = load_workbook(path, read_only=True)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, OSError) as error:
        raise UnreadableError.at(
            file=path.name,
            found=f"{said_by(error)}; passed over",
            expected="a workbook (.xlsx)",
            remedy="Save the workbook again if it holds layers.",
        ) from error
    try:
        sheets = list(book.sheetnames)
    finally:
        book.close()
    named = [(sheet, layer_of(sheet)) for sheet in sheets]
    return [
        Found(layer=layer, path=path, table=sheet)
        for sheet, layer in named
        if layer is not None and ".xlsx" in file_endings(layer)
    ]


def _tables(path: Path) -> list[str]:
    if path.suffix.lower() != ".gpkg":
        raise UnreadableError.at(
            file=path.name,
            found=f"a file that ends in {path.suffix or 'nothing'}",
            expected="a folder of layers, or a project GeoPackage (.gpkg)",
            remedy="Name the folder that the file is in.",
        )
    try:
        return [str(name) for name, _ in pyogrio.list_layers(path)]
    except DataSourceError as error:
        raise UnreadableError.at(
            file=path.name,
            found=str(error),
            expected="a GeoPackage",
            remedy="Save it again; the file may be cut short.",
        ) from error
