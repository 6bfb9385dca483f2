"""Years of the Buddhist era, as readers in Thai count them: known for what they are, never taken.

No date of this work lies in those years of the Gregorian calendar, so a year among them can only be
of the Buddhist era.
"""

from __future__ import annotations

from datetime import date

import pandas as pd

from layers.bring_in.kinds import READERS, texts
from layers.errors import Fault

# Thailand's year began in April until 2483 (1940): from then on it is the Gregorian one plus 543
# (Unicode CLDR, calendar "buddhist").
AHEAD_YEARS = 543
FIRST_YEAR, LAST_YEAR = 2484, 2699
REMEDY = f"Take {AHEAD_YEARS} off the year."
_YEAR_FIRST = r"^([0-9]{4})(?=$|[-./]|[0-9]{4}(?:$|[T ,]))"
_YEAR_LAST = r"^(?:[0-9]{1,2}[-./]){1,2}([0-9]{4})(?=$|[T ,])"


def to_gregorian(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Turn dates whose year is of the Buddhist era into Gregorian ones.

    Parameters
    ----------
    values
        Dates or moments, as written or as a file's own kind.

    Returns
    -------
    turned, which
        The values, all as text where any was turned; and which were.

    Examples
    --------
    >>> turned, which = to_gregorian(pd.Series(["2567-02-29", "2/5/2569, 6:30 AM", "2026-05-02"]))
    >>> turned.tolist(), which.tolist()
    (['2024-02-29', '2/5/2026, 6:30 AM', '2026-05-02'], [True, True, False])
    >>> to_gregorian(pd.Series(["05/2557"]))[0].tolist()
    ['05/2014']
    """
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        which = values.dt.year.between(FIRST_YEAR, LAST_YEAR)
        if not which.any():
            return values, which
        # As text, since a day such as 2568-02-29 isn't there in the Gregorian year.
        words = texts(values.astype("str").mask(values.isna(), None))
    else:
        words = texts(values)
    year = words.str.extract(_YEAR_FIRST)[0].fillna(words.str.extract(_YEAR_LAST)[0])
    which = pd.to_numeric(year).between(FIRST_YEAR, LAST_YEAR).fillna(False).astype(bool)
    if not which.any():
        return values, which
    turned = [
        word.replace(old, str(int(old) - AHEAD_YEARS), 1)
        for word, old in zip(words[which], year[which], strict=True)
    ]
    words = words.astype(object)
    words[which] = turned
    return words.astype("str"), which


def gregorian_day(text: str) -> date | None:
    """Give the day that a date of the Buddhist era stands for; None for any other text.

    Examples
    --------
    >>> gregorian_day("2569-05-02"), gregorian_day("2026-05-02")
    (datetime.date(2026, 5, 2), None)
    """
    turned, which = to_gregorian(pd.Series([text], dtype="str"))
    day = READERS["date"](turned)[0].iloc[0]
    return day.date() if which.iloc[0] and pd.notna(day) else None


def era_fault(
    name: str, written: str, *, file: str = "", layer: str = "", row: object = ""
) -> Fault:
    """Tell of a date of the Buddhist era where a day has to be written in the Gregorian calendar.

    Parameters
    ----------
    name
        The column or the field.
    written
        What stands there.
    file, layer, row
        Where.
    """
    day = gregorian_day(written)
    return Fault(
        severity="stops",
        file=file,
        layer=layer,
        row=str(row),
        found=f"{name} = {written}, a year of the Buddhist era",
        expected="a date of the Gregorian calendar, such as " + (f"{day}" if day else "2026-11-25"),
        remedy=REMEDY,
    )
