"""Values in the contract's kinds: numbers with units beside them, dates, moments, yes and no."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd

LENGTHS_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "inch": 2.54, "inches": 2.54, "in": 2.54,
               "ft": 30.48, '"': 2.54}  # fmt: skip
_NUMBER = re.compile(
    r"^\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(mm|cm|m|in|inch|inches|ft|\"|°)?\s*$"
)
# What people write where there is nothing to write. Letters alone may be a name in a text column.
_NOTHING = re.compile(r"(?:[-–—?.…_*/]+|#?n[/.]a\.?|#value!|#ref!)", re.IGNORECASE)
_NO_VALUE = re.compile(r"(?:na|nan|nil|none|null|no data|not measured)", re.IGNORECASE)
# Days that spreadsheets count from; five figures are the days from 1927 to 2173.
_DAY_ZERO = pd.Timestamp("1899-12-30")
_DAY_NUMBER = r"\d{5}(?:\.\d+)?"
_TRUE = {"true", "yes", "y", "1", "1.0", "t"}
_FALSE = {"false", "no", "n", "0", "0.0", "f"}


def texts(values: pd.Series) -> pd.Series:
    """Give values as text: trimmed, empty ones missing, and 12.0 as 12."""
    if pd.api.types.is_float_dtype(values.dtype):
        whole = values.notna() & (values % 1 == 0)
        text = values.astype("str")
        text = text.mask(whole, values[whole].astype("int64").astype("str"))
        text = text.mask(values.isna(), None)
    else:
        text = values.astype("str").mask(values.isna(), None)
        text = text.str.strip().str.replace(r"^([-+]?\d+)\.0$", r"\1", regex=True)
    return text.mask(text == "", None).astype("str")


def is_blank(values: pd.Series) -> pd.Series:
    """Tell which values are missing or empty."""
    if values.dtype == object or isinstance(values.dtype, pd.StringDtype):
        return values.isna() | (values.astype("str").str.strip() == "")
    return values.isna()


def marks_of_nothing(values: pd.Series, *, text: bool) -> pd.Series:
    """Tell which values are a mark for an empty cell, such as ``-`` or ``n/a``.

    Parameters
    ----------
    values
        As they stand in a column.
    text
        Whether the column holds words; then ``NA`` may be somebody's name and is none.

    Examples
    --------
    >>> marks_of_nothing(pd.Series(["46.5", "-", "N/A", "na"]), text=False).tolist()
    [False, True, True, True]
    """
    if not (values.dtype == object or isinstance(values.dtype, pd.StringDtype)):
        return pd.Series(False, index=values.index)
    words = values.astype("str").str.strip()
    marks = words.str.fullmatch(_NOTHING)
    if not text:
        marks |= words.str.fullmatch(_NO_VALUE)
    return marks.fillna(False).astype(bool) & values.notna()


def numbers_in(values: pd.Series, *, unit: str = "") -> tuple[pd.Series, pd.Series]:
    """Read numbers, missing where they can't be read; and tell which those are.

    A unit of length that stands beside a figure is turned into `unit` (``cm``, ``mm`` or ``m``);
    a decimal comma is read as a point.

    Examples
    --------
    >>> numbers_in(pd.Series(["46,5", "465 mm", "many"], dtype="str"), unit="cm")[0].tolist()
    [46.5, 46.5, nan]
    """
    if pd.api.types.is_bool_dtype(values.dtype):
        return pd.Series(np.nan, index=values.index), values.notna()
    if pd.api.types.is_numeric_dtype(values.dtype):
        return values.astype("float64"), pd.Series(False, index=values.index)
    numbers = pd.to_numeric(values, errors="coerce").astype("float64")
    doubtful = numbers.isna() & ~is_blank(values)
    if doubtful.any():
        parts = values[doubtful].astype("str").str.extract(_NUMBER)
        written = pd.to_numeric(parts[0].str.replace(",", "."), errors="coerce").astype("float64")
        # A unit beside the figure goes before the heading's.
        own = parts[1].map(LENGTHS_CM).astype("float64") / LENGTHS_CM.get(unit, np.nan)
        numbers[doubtful] = written * own.fillna(1.0)
    numbers = numbers.where(np.isfinite(numbers))
    return numbers, numbers.isna() & ~is_blank(values)


def _wholes(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    numbers, unread = numbers_in(values)
    broken = numbers.notna() & (numbers % 1 != 0)
    return numbers.mask(broken).astype("Int64"), unread | broken


def _truths(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    if pd.api.types.is_bool_dtype(values.dtype):
        return values.astype("boolean"), pd.Series(False, index=values.index)
    words = values.astype("str").str.strip().str.lower()
    truths = pd.Series(pd.NA, index=values.index, dtype="boolean")
    truths = truths.mask(words.isin(_TRUE), True).mask(words.isin(_FALSE), False)
    return truths, truths.isna() & ~is_blank(values)


def _dates(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    blank = is_blank(values)
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        read = pd.to_datetime(values)
        read = read.dt.tz_localize(None) if read.dt.tz is not None else read
    else:
        words = texts(values).str.replace(r"[./]", "-", regex=True)
        words = words.str.replace(r"[T ]\d\d:.*$", "", regex=True)
        # A year alone is taken at its middle, a month alone at its first day.
        words = words.str.replace(r"^(\d{4})$", r"\1-07-01", regex=True)
        words = words.str.replace(r"^(\d{4}-\d{1,2})$", r"\1-01", regex=True)
        words = words.str.replace(r"^(\d{1,2})-(\d{4})$", r"\2-\1-01", regex=True)
        words = year_first(words)
        read = pd.to_datetime(words, errors="coerce", format="%Y-%m-%d")
        read = read.fillna(day_numbers(values))
    return read.dt.normalize().astype("datetime64[us]"), read.isna() & ~blank


def day_numbers(values: pd.Series) -> pd.Series:
    """Read the days that a spreadsheet counts, with the time of day behind the point.

    Examples
    --------
    >>> day_numbers(pd.Series(["45915.25", "2014"])).dt.strftime("%Y-%m-%d %H:%M").tolist()
    ['2025-09-15 06:00', nan]
    """
    words = values.astype("str").str.strip()
    counted = words.where(words.str.fullmatch(_DAY_NUMBER).fillna(False).astype(bool))
    days = pd.to_timedelta(pd.to_numeric(counted, errors="coerce"), unit="D")
    return (_DAY_ZERO + days).dt.round("s")


def year_first(words: pd.Series) -> pd.Series:
    """Turn 25-12-2014 round where the whole column shows which of the two is the day."""
    parts = words.str.extract(r"^(\d{1,2})-(\d{1,2})-(\d{4})$")
    first, second = (pd.to_numeric(parts[column]) for column in (0, 1))
    if not first.notna().any():
        return words
    day_first = bool(((first > 12) & (second <= 12)).any())
    month_first = bool(((second > 12) & (first <= 12)).any())
    if day_first == month_first:
        return words
    day, month = (parts[0], parts[1]) if day_first else (parts[1], parts[0])
    turned = parts[2] + "-" + month.str.zfill(2) + "-" + day.str.zfill(2)
    return words.mask(parts[2].notna(), turned)


READERS = {
    "whole": _wholes,
    "truth": _truths,
    "date": _dates,
}
EXPECTED = {
    "number": "a number",
    "whole": "a whole number",
    "truth": "yes or no",
    "moment": "a date and time as in ISO 8601, such as 2025-03-01T06:30:00Z",
    "date": "a date as in ISO 8601, such as 2014-06-01",
}
