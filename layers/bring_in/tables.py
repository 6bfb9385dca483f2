"""Tables: CSV and XLSX, with coordinates in columns or without any."""

from __future__ import annotations

import codecs
import csv
import re
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray
from openpyxl import load_workbook
from openpyxl.utils.exceptions import InvalidFileException

from layers.bring_in.columns import Place, counted_rows, plain_name
from layers.bring_in.coordinates import EASTINGS, LATITUDES, LONGITUDES, NORTHINGS
from layers.bring_in.headings import MOST_ABOVE, heading_row
from layers.bring_in.kinds import marks_of_nothing
from layers.bring_in.sources import Found, UserNames
from layers.crs import EXCHANGE_CRS, known_crs
from layers.errors import ColumnError, CrsError, Fault, UnreadableError, said_by

_CRS_COLUMNS = ("crs", "epsg")


def read_table(
    found: Found, names: UserNames
) -> tuple[gpd.GeoDataFrame | pd.DataFrame, list[Fault]]:
    """Read one table as text; where columns hold coordinates, it becomes points in its own CRS.

    Titles above the headings are left out, and told.

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
    frame, above = _cells_below(found, own=names.columns.get(found.layer, {}))
    return _placed(frame, found, names), _titles_told(found, above)


def _placed(frame: pd.DataFrame, found: Found, names: UserNames) -> gpd.GeoDataFrame | pd.DataFrame:
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
    return _read_csv(found, 0) if _is_csv(found) else _table(_written_rows(found), found)


def _is_csv(found: Found) -> bool:
    return found.path.suffix.lower() == ".csv"


def _cells_below(found: Found, *, own: Mapping[str, str]) -> tuple[pd.DataFrame, int]:
    """Read a layer's table from its headings on; how many rows stand above them."""
    if not _is_csv(found):
        rows = _written_rows(found)
        above = heading_row(rows, found.layer, own=own)
        return _table(rows[above:], found), above
    top = _first_lines(found)
    parted = [next(csv.reader([line], delimiter=_separator(line)), []) for line in top]
    above = heading_row(parted, found.layer, own=own)
    titles = sum(_named_separator(line) is None for line in top[:above])
    return _read_csv(found, above), titles


def _titles_told(found: Found, above: int) -> list[Fault]:
    if above == 0:
        return []
    fault = Place(file=found.shown, layer=found.layer).fault(
        "mended",
        found=f"{counted_rows(above)} above the headings, left out",
        expected="the headings in the first row",
        remedy="Nothing to do if these are titles only.",
    )
    return [fault]


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
    nothing = frame[column].isna() | (words == "") | marks_of_nothing(frame[column], text=False)
    words = words.mask(nothing, None)
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


def _read_csv(found: Found, above: int) -> pd.DataFrame:
    try:
        encoding = _encoding(found.path)
        with found.path.open(encoding=encoding, newline="") as lines:
            _, separator, skipped = _heading(lines, above)
        with warnings.catch_warnings():
            # A line with more cells than the heading would lose them, or shift the columns.
            warnings.simplefilter("error", pd.errors.ParserWarning)
            return pd.read_csv(
                found.path,
                sep=separator,
                dtype="str",
                encoding=encoding,
                keep_default_na=False,
                na_values=[""],
                skip_blank_lines=True,
                skiprows=skipped,
                index_col=False,
            )
    except UnicodeError as error:
        raise _not_utf8(found) from error
    except (
        pd.errors.ParserError,
        pd.errors.ParserWarning,
        pd.errors.EmptyDataError,
    ) as error:
        raise UnreadableError.at(
            file=found.shown,
            layer=found.layer,
            found=_ragged(found, above) or str(error).strip(),
            expected="a table in CSV, UTF-8, with a heading",
            remedy="Save the sheet as CSV (UTF-8).",
        ) from error


def _heading(lines: Iterator[str], above: int) -> tuple[str, str, int]:
    """Read on to the headings: give them, the separator, and how many lines stand above them."""
    top = list(islice(lines, above + 1)) or [""]
    # A spreadsheet names the separator in a line of its own above the headings.
    own = next((mark for line in top if (mark := _named_separator(line))), None)
    if _named_separator(top[-1]) is not None:
        top.append(next(lines, ""))
    return top[-1], own or _separator(top[-1]), len(top) - 1


def _ragged(found: Found, above: int) -> str:
    """Say which line holds more cells than the heading; nothing where none does."""
    with found.path.open(encoding=_encoding(found.path), newline="") as lines:
        heading, separator, skipped = _heading(lines, above)
        wide = len(next(csv.reader([heading], delimiter=separator), []))
        reader = csv.reader(lines, delimiter=separator)
        for cells in reader:
            if len(cells) > wide:
                line = skipped + 1 + reader.line_num
                return f"{len(cells)} cells in line {line}, and {wide} headings"
    return ""


def _not_utf8(found: Found) -> UnreadableError:
    return UnreadableError.at(
        file=found.shown,
        layer=found.layer,
        found=f"letters that aren't UTF-8 in line {_strange_line(found.path)}",
        expected="a table in CSV, UTF-8, with a heading",
        remedy="Save the sheet as CSV (UTF-8), or as XLSX.",
    )


def _first_lines(found: Found) -> list[str]:
    try:
        with found.path.open(encoding=_encoding(found.path), newline="") as lines:
            return list(islice(lines, MOST_ABOVE + 1))
    except UnicodeError as error:
        raise _not_utf8(found) from error


def _named_separator(line: str) -> str | None:
    """Give the separator that a spreadsheet writes into a line of its own, such as ``sep=;``."""
    named = re.fullmatch(r'"?sep=([,;\t|])"?', line.strip("\r\n ").lower())
    return named[1] if named else None


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


def _written_rows(found: Found) -> list[tuple[object, ...]]:
    return [row for row in _cells(found.path, found) if any(cell not in (None, "") for cell in row)]


def _table(rows: list[tuple[object, ...]], found: Found) -> pd.DataFrame:
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
