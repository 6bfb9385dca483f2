"""The user's column names and values, turned into the contract's names, units and kinds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layers.checks import row_faults
from layers.contract import LAYERS
from layers.errors import Fault, Severity

# The rest of a shapefile's ten characters.
_SHORTENED = 10

EXTRA_COLUMNS: Mapping[str, Mapping[str, str]] = {
    "blocks": {"row_bearing_deg": "number", "opened_on": "date"},
    "rows": {"tree_gap_m": "number", "first_tree_m": "number"},
    "trees": {"row_no": "whole", "place_source": "text"},
    "girth": {
        "girth_unit": "text",
        "block_id": "text",
        "tree_id": "text",
        "place_source": "text",
        "written_block_id": "text",
        "written_tree_id": "text",
    },
    "obstacles": {"name": "text", "passable_source": "text"},
}

# Other names that a column may bear, in the trade's and the surveyors' plain words.
_OTHER_NAMES: Mapping[str, Mapping[str, str]] = {
    "girth": {"girth": "girth_cm", "height": "height_cm", "bark": "bark_mm", "time": "measured_at",
              "accuracy": "accuracy_m", "session": "session_id", "row": "row_no",
              "tree": "tree_no", "block": "block_id"},
    "trees": {"row": "row_no", "tree": "tree_no", "block": "block_id"},
    "rows": {"row": "row_no", "block": "block_id"},
    "blocks": {"block": "block_id", "holding": "holding_id", "planted": "planted_on",
               "bearing": "row_bearing_deg"},
    "holdings": {"holding": "holding_id"},
    "tappers": {"tapper": "tapper_id", "home": "home_place"},
}  # fmt: skip

_LENGTHS_CM = {"mm": 0.1, "cm": 1.0, "m": 100.0, "inch": 2.54, "inches": 2.54, "in": 2.54,
               "ft": 30.48, '"': 2.54}  # fmt: skip
# Column to the stems that stand for it with another unit, each with the factor of the stem.
_UNITS: Mapping[str, tuple[tuple[str, float], ...]] = {
    "girth_cm": (("girth", 1.0), ("circumference", 1.0), ("diameter", np.pi), ("dbh", np.pi)),
    "height_cm": (("height", 1.0),),
    "bark_mm": (("bark", 10.0),),
    "accuracy_m": (("accuracy", 0.01),),
    "row_gap_m": (("row_gap", 0.01),),
    "tree_gap_m": (("tree_gap", 0.01),),
    "first_tree_m": (("first_tree", 0.01),),
}

_NUMBER = re.compile(
    r"^\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*(mm|cm|m|in|inch|inches|ft|\"|°)?\s*$"
)
_ZONED = re.compile(r":\d\d(?:[.,]\d+)?\s*(?:Z|[+-]\d\d(?::?\d\d)?)$", re.IGNORECASE)
_TRUE = {"true", "yes", "y", "1", "1.0", "t"}
_FALSE = {"false", "no", "n", "0", "0.0", "f"}
# How many unknown columns are named before the rest are counted.
_MOST_NAMED = 8
# What programs add to number the rows of a file.
_COUNTERS = ("fid", "ogc_fid", "gpkg_fid")


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a frame came from, for its faults."""

    file: str
    layer: str

    def fault(
        self, severity: Severity, *, row: str = "", found: str, expected: str, remedy: str
    ) -> Fault:
        """One fault here, its fields as in :class:`layers.errors.Fault`."""
        return Fault(
            severity=severity,
            file=self.file,
            layer=self.layer,
            row=row,
            found=found,
            expected=expected,
            remedy=remedy,
        )


def plain_name(name: str) -> str:
    """Give a column's name in lower case with every blank, hyphen or bracket an underscore.

    Examples
    --------
    >>> plain_name("Girth (CM)"), plain_name("Row-No.")
    ('girth_cm', 'row_no')
    """
    return re.sub(r"[^0-9a-z]+", "_", name.strip().lower()).strip("_")


def kinds_of(layer: str) -> dict[str, str]:
    """Give a layer's columns, the key first, each with its kind."""
    form = LAYERS[layer]
    return {form.key: "text", **form.columns, **EXTRA_COLUMNS.get(layer, {})}


def name_columns(
    frame: pd.DataFrame, layer: str, *, own: Mapping[str, str], place: Place
) -> tuple[pd.DataFrame, list[Fault]]:
    """Give the frame with the contract's column names; columns it doesn't know are left out.

    A column in another unit, named with it (``girth_mm``, ``diameter_cm``, ``bark_cm``), is
    turned into the contract's unit, and said.
    """
    kinds = kinds_of(layer)
    others = _OTHER_NAMES.get(layer, {})
    chosen = {plain_name(yours): ours for yours, ours in own.items()}
    taken: set[str] = set()
    renamed: dict[object, str] = {}
    converted: dict[object, tuple[str, float]] = {}
    faults: list[Fault] = []
    plain = {column: plain_name(str(column)) for column in frame.columns if column != "geometry"}
    # An exact name goes before a likeness, so that `height_cm` isn't lost to `height`.
    for likeness in (_chosen, _exact, _other, _shortened):
        for column, name in plain.items():
            if column in renamed:
                continue
            ours = likeness(name, chosen, kinds, others)
            if ours is not None and ours not in taken:
                taken.add(ours)
                renamed[column] = ours
                if likeness is _other and ours.endswith(("_cm", "_mm", "_m")):
                    faults.append(
                        place.fault(
                            "noted",
                            found=f"a column {column!s} without a unit, read as {ours}",
                            expected=f"the name {ours}",
                            remedy=f"Write the unit in the heading: {ours}.",
                        )
                    )
    for column, name in plain.items():
        unit = None if column in renamed else _other_unit(name, kinds)
        if unit is not None and unit[0] not in taken:
            taken.add(unit[0])
            converted[column] = unit
            faults.append(
                place.fault(
                    "noted",
                    found=f"a column {column!s}, turned into {unit[0]} (times {unit[1]:.6g})",
                    expected=f"{unit[0]}",
                    remedy="Nothing to do if the heading's unit is right.",
                )
            )
    named = frame.copy()
    for column, (_, factor) in converted.items():
        numbers, unread = _numbers(named[column])
        turned = numbers * factor
        # What can't be read stays as it is for `set_kinds` to tell.
        named[column] = (
            turned.astype(object).mask(unread, named[column]) if unread.any() else turned
        )
    if any(ours == "girth_cm" for ours, _ in converted.values()) and "girth_unit" not in taken:
        # The heading named the unit, so nobody need guess it from the figures.
        named["girth_unit"] = pd.Series("cm", index=named.index, dtype="str")
    named = named.rename(
        columns={**renamed, **{column: ours for column, (ours, _) in converted.items()}}
    )
    return _known_only(named, kinds, faults, place)


def _known_only(
    named: pd.DataFrame, kinds: Mapping[str, str], faults: list[Fault], place: Place
) -> tuple[pd.DataFrame, list[Fault]]:
    """Leave out the columns that the job doesn't know: later stages add their own to the frame."""
    unknown = [
        str(column)
        for column in named.columns
        if column not in kinds
        and column != "geometry"
        and str(column).lower() not in _COUNTERS
        and not str(column).lower().startswith("unnamed: ")
    ]
    if unknown:
        more = f" and {len(unknown) - _MOST_NAMED} more" * (len(unknown) > _MOST_NAMED)
        told = place.fault(
            "noted",
            found="columns that the job doesn't know, not used: "
            + ", ".join(unknown[:_MOST_NAMED])
            + more,
            expected="any of " + ", ".join(kinds),
            remedy="Where one of them is ours under another name, say so in columns.toml.",
        )
        faults = [*faults, told]
    return named[
        [column for column in named.columns if column in kinds or column == "geometry"]
    ], faults


def _chosen(
    name: str, chosen: Mapping[str, str], kinds: Mapping[str, str], others: Mapping[str, str]
) -> str | None:
    return chosen.get(name)


def _exact(
    name: str, chosen: Mapping[str, str], kinds: Mapping[str, str], others: Mapping[str, str]
) -> str | None:
    return name if name in kinds else None


def _other(
    name: str, chosen: Mapping[str, str], kinds: Mapping[str, str], others: Mapping[str, str]
) -> str | None:
    return others.get(name)


def _shortened(
    name: str, chosen: Mapping[str, str], kinds: Mapping[str, str], others: Mapping[str, str]
) -> str | None:
    if len(name) != _SHORTENED:
        return None
    longer = [ours for ours in kinds if len(ours) > _SHORTENED and ours.startswith(name)]
    return longer[0] if len(longer) == 1 else None


def _other_unit(name: str, kinds: Mapping[str, str]) -> tuple[str, float] | None:
    for ours, stems in _UNITS.items():
        if ours not in kinds:
            continue
        for stem, factor in stems:
            unit = name.removeprefix(f"{stem}_")
            if unit != name and unit in _LENGTHS_CM:
                return ours, factor * _LENGTHS_CM[unit]
    return None


def set_kinds(frame: pd.DataFrame, layer: str, *, place: Place) -> tuple[pd.DataFrame, list[Fault]]:
    """Give the frame with each known column in its kind; what can't be read is missing, and said.

    Parameters
    ----------
    frame
        Columns named as in the contract, and `_file` and `_row`.
    layer
        The contract's layer.
    place
        Where the frame came from, for the faults.
    """
    kept = frame.copy()
    faults: list[Fault] = []
    for column, kind in kinds_of(layer).items():
        if column not in kept.columns:
            continue
        values = kept[column]
        if kind == "text":
            kept[column] = texts(values)
            continue
        if kind == "number":
            kept[column], unread = _numbers(values, unit=column.rsplit("_", 1)[-1])
        else:
            kept[column], unread = _READERS[kind](values)
        faults += row_faults(
            frame[unread.to_numpy()],
            layer,
            "noted",
            found=[f"{column} = {str(value)!r}, left out" for value in values[unread]],
            expected=_EXPECTED[kind],
            remedy=f"Mend {column} in this row.",
        )
        taken = _taken_as(kind, values)
        if taken:
            faults.append(
                place.fault(
                    "noted",
                    found=f"{column} {taken}",
                    expected=_EXPECTED[kind],
                    remedy="Write it in full if that isn't what was meant.",
                )
            )
    return kept, faults


def _taken_as(kind: str, values: pd.Series) -> str:
    """Say how moments without a zone and dates without a day are read, where there are any."""
    if kind not in ("moment", "date") or pd.api.types.is_datetime64_any_dtype(values.dtype):
        return ""
    words = values.astype("str").str.strip()[~_blank(values)]
    if kind == "moment":
        bare = int((~words.str.contains(_ZONED)).sum())
        return f"without a time zone in {bare} rows, taken as UTC" if bare else ""
    short = int(words.str.fullmatch(r"\d{4}(?:[-./]\d{1,2})?").sum())
    return (
        f"of a year or month alone in {short} rows, taken at its middle or first" if short else ""
    )


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


def _blank(values: pd.Series) -> pd.Series:
    if values.dtype == object or isinstance(values.dtype, pd.StringDtype):
        return values.isna() | (values.astype("str").str.strip() == "")
    return values.isna()


def _numbers(values: pd.Series, *, unit: str = "") -> tuple[pd.Series, pd.Series]:
    if pd.api.types.is_bool_dtype(values.dtype):
        return pd.Series(np.nan, index=values.index), values.notna()
    if pd.api.types.is_numeric_dtype(values.dtype):
        return values.astype("float64"), pd.Series(False, index=values.index)
    numbers = pd.to_numeric(values, errors="coerce").astype("float64")
    doubtful = numbers.isna() & ~_blank(values)
    if doubtful.any():
        parts = values[doubtful].astype("str").str.extract(_NUMBER)
        written = pd.to_numeric(parts[0].str.replace(",", "."), errors="coerce").astype("float64")
        # A unit beside the figure goes before the heading's.
        own = parts[1].map(_LENGTHS_CM).astype("float64") / _LENGTHS_CM.get(unit, np.nan)
        numbers[doubtful] = written * own.fillna(1.0)
    numbers = numbers.where(np.isfinite(numbers))
    return numbers, numbers.isna() & ~_blank(values)


def _wholes(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    numbers, unread = _numbers(values)
    broken = numbers.notna() & (numbers % 1 != 0)
    return numbers.mask(broken).astype("Int64"), unread | broken


def _truths(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    if pd.api.types.is_bool_dtype(values.dtype):
        return values.astype("boolean"), pd.Series(False, index=values.index)
    words = values.astype("str").str.strip().str.lower()
    truths = pd.Series(pd.NA, index=values.index, dtype="boolean")
    truths = truths.mask(words.isin(_TRUE), True).mask(words.isin(_FALSE), False)
    return truths, truths.isna() & ~_blank(values)


def _moments(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    """Read moments as UTC without a zone; those written without one are taken as UTC."""
    blank = _blank(values)
    if isinstance(values.dtype, pd.DatetimeTZDtype) or pd.api.types.is_datetime64_any_dtype(
        values.dtype
    ):
        read = pd.to_datetime(values, utc=True)
    else:
        words = values.astype("str").str.strip().mask(blank, None)
        # GDAL writes moments into text layers as 2024/05/01 10:00:00+00.
        words = words.str.replace(r"^(\d{4})/(\d\d)/(\d\d)", r"\1-\2-\3", regex=True)
        words = words.str.replace(r"([+-]\d\d)$", r"\1:00", regex=True).where(
            words.str.contains(":", na=False), words
        )
        read = pd.to_datetime(words, utc=True, errors="coerce", format="ISO8601")
    return read.dt.tz_localize(None).astype("datetime64[us]"), read.isna() & ~blank


def _dates(values: pd.Series) -> tuple[pd.Series, pd.Series]:
    blank = _blank(values)
    if pd.api.types.is_datetime64_any_dtype(values.dtype):
        read = pd.to_datetime(values)
        read = read.dt.tz_localize(None) if read.dt.tz is not None else read
    else:
        words = texts(values).str.replace(r"[./]", "-", regex=True)
        words = words.str.replace(r"[T ]\d\d:.*$", "", regex=True)
        # A year alone is taken at its middle, a month alone at its first day.
        words = words.str.replace(r"^(\d{4})$", r"\1-07-01", regex=True)
        words = words.str.replace(r"^(\d{4}-\d{1,2})$", r"\1-01", regex=True)
        words = _year_first(words)
        read = pd.to_datetime(words, errors="coerce", format="%Y-%m-%d")
    return read.dt.normalize().astype("datetime64[us]"), read.isna() & ~blank


def _year_first(words: pd.Series) -> pd.Series:
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


_READERS = {
    "whole": _wholes,
    "truth": _truths,
    "moment": _moments,
    "date": _dates,
}
_EXPECTED = {
    "number": "a number",
    "whole": "a whole number",
    "truth": "yes or no",
    "moment": "a date and time as in ISO 8601, such as 2025-03-01T06:30:00Z",
    "date": "a date as in ISO 8601, such as 2014-06-01",
}
