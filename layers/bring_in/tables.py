"""Tables: CSV and XLSX, with coordinates in columns or without any."""

from __future__ import annotations

import codecs
import csv
import warnings
import zipfile
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from layers.bring_in.columns import plain_name
from layers.bring_in.coordinates import EASTINGS, LATITUDES, LONGITUDES, NORTHINGS
from layers.bring_in.sources import Found, UserNames
from layers.crs import EXCHANGE_CRS, known_crs
from layers.errors import ColumnError, CrsError, UnreadableError, said_by

_CRS_COLUMNS = ("crs", "epsg")


def read_table(found: Found, names: UserNames) -> gpd.GeoDataFrame | pd.DataFrame:
    """Read one table as text; where columns hold coordinates, it becomes points in its own CRS.

    Coordinates stand in longitude and latitude (WGS 84), or in x and y with an ``epsg`` or
    ``crs`` column, a ``.prj`` file of the same name beside it, or a line in ``columns.toml``.

    Raises
    ------
    UnreadableError
        The file can't be read as what its name says.
    CrsError
        It has x and y, and nothing says in which CRS; or the column names several.
    ColumnError
        A coordinate isn't a number.
    """
    frame = read_cells(found)
    plain = {plain_name(str(column)): column for column in reversed(frame.columns)}
    across = _first(plain, LONGITUDES), _first(plain, LATITUDES)
    if across[0] is not None and across[1] is not None:
        return _points(frame, across[0], across[1], EXCHANGE_CRS, found, names)
    across = _first(plain, EASTINGS), _first(plain, NORTHINGS)
    if across[0] is not None and across[1] is not None:
        crs_column = _first(plain, _CRS_COLUMNS)
        crs = _crs_of(frame, crs_column, found, names)
        kept = frame if crs_column is None else frame.drop(columns=crs_column)
        return _points(kept, across[0], across[1], crs, found, names)
    return frame


def read_cells(found: Found) -> pd.DataFrame:
    """Read a table as it stands, under its own headings: text from CSV, cells from XLSX.

    Raises
    ------
    UnreadableError
        The file can't be read as what its name says.
    """
    return _read_csv(found) if found.path.suffix.lower() == ".csv" else _read_workbook(found)


def _first(plain: dict[str, str], wanted: tuple[str, ...]) -> str | None:
    return next((plain[name] for name in wanted if name in plain), None)


def _points(
    frame: pd.DataFrame, x: str, y: str, crs: object, found: Found, names: UserNames
) -> gpd.GeoDataFrame:
    eastward, northward = (_coordinates(frame, column, found) for column in (x, y))
    known = np.isfinite(eastward) & np.isfinite(northward)
    geometry = np.full(len(frame), None, dtype=object)
    geometry[known] = shapely.points(eastward[known], northward[known])
    named = names.crs.get(found.path.name)
    if named is not None:
        crs = known_crs(int(named) if str(named).isdigit() else named, file="columns.toml")
    return gpd.GeoDataFrame(frame.drop(columns=[x, y]), geometry=geometry, crs=crs)


def _coordinates(frame: pd.DataFrame, column: str, found: Found) -> NDArray[np.float64]:
    words = frame[column].astype("str").str.strip().str.replace(",", ".")
    words = words.mask(frame[column].isna() | (words == ""), None)
    numbers = pd.to_numeric(words, errors="coerce")
    unread = numbers.isna() & words.notna()
    if unread.any():
        raise ColumnError.at(
            file=found.shown,
            layer=found.layer,
            row=int(np.flatnonzero(unread)[0]) + 1,
            found=f"{column} = “{words[unread].iloc[0]}”",
            expected="a number (decimal degrees, or metres)",
            remedy="Write coordinates as plain numbers, such as 105.123456.",
        )
    return numbers.to_numpy(dtype="float64")


def _crs_of(frame: pd.DataFrame, column: str | None, found: Found, names: UserNames) -> object:
    beside = found.path.with_suffix(".prj")
    if found.path.name in names.crs:
        return None
    if column is not None:
        written = frame[column].dropna().astype("str").str.strip().unique()
        if len(written) != 1:
            raise CrsError.at(
                file=found.shown,
                layer=found.layer,
                found=f"{len(written)} coordinate reference systems in {column}",
                expected="the same one in every row",
                remedy="Save the points of each in a file of its own.",
            )
        code = written[0].removesuffix(".0")
        return known_crs(int(code) if code.isdigit() else code, file=found.shown)
    if beside.is_file():
        return known_crs(beside.read_text("utf-8"), file=beside.name)
    raise CrsError.at(
        file=found.shown,
        layer=found.layer,
        found="x and y without a coordinate reference system",
        expected="one that PROJ knows",
        remedy="Add a column epsg (such as 32748), a .prj file of the same name, or in "
        f'columns.toml, under [crs]: "{found.path.name}" = "EPSG:…".',
    )


def _read_csv(found: Found) -> pd.DataFrame:
    try:
        encoding = _encoding(found.path)
        with found.path.open(encoding=encoding, newline="") as lines:
            heading = lines.readline()
        with warnings.catch_warnings():
            # A line with more cells than the heading would lose them, or shift the columns.
            warnings.simplefilter("error", pd.errors.ParserWarning)
            return pd.read_csv(
                found.path,
                sep=_separator(heading),
                dtype="str",
                encoding=encoding,
                keep_default_na=False,
                na_values=[""],
                skip_blank_lines=True,
                index_col=False,
            )
    except UnicodeError as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=f"letters that aren't UTF-8 in line {_strange_line(found.path)}",
            expected="a table in CSV, UTF-8, with a heading",
            remedy="Save the sheet as CSV (UTF-8), or as XLSX.",
        ) from error
    except (
        pd.errors.ParserError,
        pd.errors.ParserWarning,
        pd.errors.EmptyDataError,
    ) as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=str(error),
            expected="a table in CSV, UTF-8, with a heading",
            remedy="Save the sheet as CSV (UTF-8).",
        ) from error


def _encoding(path: Path) -> str:
    """Tell UTF-16, which spreadsheets write with a mark, from UTF-8 with or without one."""
    with path.open("rb") as start:
        mark = start.read(2)
    return "utf-16" if mark in (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE) else "utf-8-sig"


def _strange_line(path: Path) -> int:
    raw = path.read_bytes()
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        return raw.count(b"\n", 0, error.start) + 1
    return 1


def _separator(heading: str) -> str:
    """Tell which of comma, semicolon and tab parts the heading, by counting outside quotes."""
    counts = {
        mark: len(next(csv.reader([heading], delimiter=mark), [])) for mark in (",", ";", "\t")
    }
    return max(counts, key=lambda mark: counts[mark])


def _read_workbook(found: Found) -> pd.DataFrame:
    cells = _cells(found.path, found)
    rows = [row for row in cells if any(cell not in (None, "") for cell in row)]
    if not rows:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found="an empty sheet",
            expected="a heading and rows",
            remedy="Put the table in the first sheet, its heading in the first row.",
        )
    heading = [str(name) if name is not None else "" for name in rows[0]]
    kept = [place for place, name in enumerate(heading) if name]
    return pd.DataFrame(
        {
            heading[place]: pd.Series(
                [row[place] if place < len(row) else None for row in rows[1:]], dtype=object
            )
            for place in kept
        }
    )


def _cells(path: Path, found: Found) -> list[tuple[object, ...]]:
    try:
        book = load_workbook(path, read_only=True, data_only=True)
    except (InvalidFileException, zipfile.BadZipFile, KeyError, OSError) as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=said_by(error),
            expected="a workbook (.xlsx)",
            remedy="Save the workbook again.",
        ) from error
    try:
        sheet = book[found.table] if found.table is not None else book.worksheets[0]
        return list(sheet.iter_rows(values_only=True))
    finally:
        book.close()
