"""Tables that people keep beside their layers: read as the layers' tables are, refused by row."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layers.bring_in.columns import plain_name
from layers.bring_in.eras import era_fault, to_gregorian
from layers.bring_in.kinds import READERS, is_blank, numbers_in, texts
from layers.bring_in.sources import Found
from layers.bring_in.tables import read_cells
from layers.errors import ColumnError, MissingLayerError

_SHORT_DATE = r"\d{4}(?:[-./]\d{1,2})?"


def read_notes(path: Path, columns: tuple[str, ...], *, layer: str = "") -> pd.DataFrame:
    """Read a table of notes, CSV or XLSX.

    Commas, semicolons and tabs part the cells of a CSV file; UTF-8 and UTF-16 with their marks
    are known.

    Parameters
    ----------
    path
        The file.
    columns
        The columns that it must have.
    layer
        What the errors call the table.

    Returns
    -------
    DataFrame
        Every cell as text (a key keeps its leading zeros), empty ones missing; headings in lower
        case with underscores; the index is the row's number in the file, from 1.

    Raises
    ------
    MissingLayerError, UnreadableError
        The file isn't there, or can't be read as what its name says.
    ColumnError
        A column is missing.
    """
    if not path.is_file():
        raise MissingLayerError.at(
            file=path.name,
            layer=layer,
            found="no such file",
            expected="a CSV or XLSX file",
            remedy="Check the name and the folder.",
        )
    table = read_cells(Found(layer=layer, path=path))
    table = table.rename(columns={name: plain_name(str(name)) for name in table.columns})
    need(table, columns, path.name, layer=layer)
    table.index = pd.RangeIndex(1, len(table) + 1)
    return table.apply(texts) if len(table) else table


def need(table: pd.DataFrame, columns: tuple[str, ...], file: str, *, layer: str = "") -> None:
    """Refuse a table that lacks a column."""
    lacking = [column for column in columns if column not in table]
    if lacking:
        raise ColumnError.at(
            file=file,
            layer=layer,
            found="columns " + ", ".join(map(str, table.columns)),
            expected=", ".join(columns),
            remedy=f"Add the column {lacking[0]}.",
        )


def note_days(values: pd.Series, file: str, *, layer: str = "") -> pd.Series:
    """Give a column's whole dates; the index says the rows.

    Raises
    ------
    ColumnError
        A cell holds no date, one in which day and month can't be told apart, or one whose year is
        of the Buddhist era: the error gives the Gregorian date to write.
    """
    _, era = to_gregorian(values)
    if era.any():
        place = int(era.to_numpy(bool).argmax())
        written = str(values.iloc[place])
        row = values.index[place]
        raise ColumnError(era_fault(str(values.name), written, file=file, layer=layer, row=row))
    days, unread = READERS["date"](values)
    short = values.astype("str").str.strip().str.fullmatch(_SHORT_DATE).fillna(False)
    wrong = unread | days.isna() | short.astype(bool)
    refuse(values, wrong, file, "a date such as 2026-11-25", layer=layer)
    return days


def note_numbers(
    values: pd.Series,
    file: str,
    *,
    low: float,
    high: float,
    expected: str,
    unit: str = "",
    layer: str = "",
) -> pd.Series:
    """Give a column's numbers, a decimal comma read as a point; the index says the rows.

    Raises
    ------
    ColumnError
        A cell holds no number, or one outside `low` to `high`.
    """
    numbers, _ = numbers_in(values, unit=unit)
    refuse(values, ~numbers.between(low, high), file, expected, layer=layer)
    return numbers


def note_keys(values: pd.Series, file: str, *, layer: str = "") -> pd.Series:
    """Give a column's keys as text.

    Raises
    ------
    ColumnError
        A cell is empty.
    """
    keys = texts(values)
    refuse(keys, is_blank(keys), file, f"a {values.name}", layer=layer)
    return keys


def refuse(
    values: pd.Series, wrong: pd.Series, file: str, expected: str, *, layer: str = ""
) -> None:
    """Refuse the first wrong value of a column; the index says its row."""
    if wrong.any():
        place = int(wrong.to_numpy(bool).argmax())
        value = values.iloc[place]
        more = int(wrong.sum()) - 1
        raise ColumnError.at(
            file=file,
            layer=layer,
            row=values.index[place],
            found=(f"no {values.name}" if pd.isna(value) else f"{values.name} = {value}")
            + (f" (and {more} more rows of the kind)" if more else ""),
            expected=expected,
            remedy="Mend the value or take the row out.",
        )
