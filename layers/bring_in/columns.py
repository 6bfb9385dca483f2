"""The user's column names and values, turned into the contract's names, units and kinds."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from layers.bring_in.eras import to_gregorian
from layers.bring_in.kinds import (
    EXPECTED,
    LENGTHS_CM,
    READERS,
    day_numbers,
    is_blank,
    marks_of_nothing,
    numbers_in,
    texts,
)
from layers.bring_in.moments import OFFSET, moments_as_written
from layers.checks import row_faults
from layers.contract import LAYERS
from layers.errors import Fault, Severity

# The rest of a shapefile's ten characters.
_SHORTENED = 10

EXTRA_COLUMNS: Mapping[str, Mapping[str, str]] = {
    "blocks": {"row_bearing_deg": "number", "opened_on": "date", "member": "text"},
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
              "date": "measured_at",
              "accuracy": "accuracy_m", "session": "session_id", "row": "row_no",
              "tree": "tree_no", "block": "block_id"},
    "trees": {"row": "row_no", "tree": "tree_no", "block": "block_id"},
    "rows": {"row": "row_no", "block": "block_id"},
    "blocks": {"block": "block_id", "holding": "holding_id", "planted": "planted_on",
               "bearing": "row_bearing_deg"},
    "holdings": {"holding": "holding_id"},
    "tappers": {"tapper": "tapper_id", "home": "home_place"},
}  # fmt: skip

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

# How many unknown columns are named before the rest are counted.
_MOST_NAMED = 8
# Headings of the day and of the time where they stand apart.
_DAYS, _TIMES = ("date", "day", "survey_date"), ("time", "hour", "survey_time")
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


def is_column_of(name: str, layer: str, *, own: Mapping[str, str]) -> bool:
    """Tell whether a heading, as :func:`plain_name` gives it, is read as a column of a layer."""
    kinds, others = kinds_of(layer), _OTHER_NAMES.get(layer, {})
    chosen = {plain_name(yours): ours for yours, ours in own.items()}
    likeness = any(
        like(name, chosen, kinds, others) for like in (_chosen, _exact, _other, _shortened)
    )
    return likeness or _other_unit(name, kinds) is not None


def is_girth(name: str) -> bool:
    """Tell whether a heading is read as a girth, in whichever unit."""
    unit = _other_unit(plain_name(name), kinds_of("girth"))
    exact = _OTHER_NAMES["girth"].get(plain_name(name), plain_name(name)) == "girth_cm"
    return exact or (unit is not None and unit[0] == "girth_cm")


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
        numbers, unread = numbers_in(named[column])
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


def with_moments(
    frame: pd.DataFrame, layer: str, *, own: Mapping[str, str], place: Place
) -> tuple[pd.DataFrame, list[Fault]]:
    """Put a column with the day and one with the time together as `measured_at`."""
    plain = {plain_name(str(column)): column for column in reversed(frame.columns)}
    chosen = {plain_name(yours) for yours in own}
    whole = "measured_at" in plain or "measured_at" in own.values()
    day, time = (
        next((plain[name] for name in names if name in plain and name not in chosen), None)
        for names in (_DAYS, _TIMES)
    )
    if layer != "girth" or whole or day is None or time is None:
        return frame, []
    # A spreadsheet's cell with a day alone has midnight behind it.
    days = texts(frame[day]).str.replace(r"[T ]00:00(?::00(?:\.0+)?)?$", "", regex=True)
    times = texts(frame[time])
    both = (days + " " + times).where(times.notna(), days)
    together = frame.drop(columns=[day, time]).assign(measured_at=both.astype("str"))
    fault = place.fault(
        "noted",
        found=f"columns {day!s} and {time!s}, put together as measured_at",
        expected="measured_at",
        remedy="Nothing to do if that is what was meant.",
    )
    return together, [fault]


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
            if unit != name and unit in LENGTHS_CM:
                return ours, factor * LENGTHS_CM[unit]
    return None


def set_kinds(frame: pd.DataFrame, layer: str, *, place: Place) -> tuple[pd.DataFrame, list[Fault]]:
    """Give the frame with each known column in its kind; what can't be read is missing, and said.

    A year of the Buddhist era is turned into the Gregorian one, and said.

    Parameters
    ----------
    frame
        Columns named as in the contract, and `_file` and `_row`. Beside a moment comes a column
        `OFFSET` of :mod:`layers.bring_in.moments`, until the plot's clock is known.
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
        values, more = _without_marks(kept[column], kind, place)
        faults += more
        if kind == "text":
            kept[column] = texts(values)
            continue
        turned, era = values, pd.Series(False, index=values.index)
        if kind in ("date", "moment"):
            turned, era = to_gregorian(values)
        if kind == "moment":
            kept[column], kept[OFFSET], unread = moments_as_written(turned)
        elif kind == "number":
            kept[column], unread = numbers_in(values, unit=column.rsplit("_", 1)[-1])
        else:
            kept[column], unread = READERS[kind](turned)
        faults += row_faults(
            frame[unread.to_numpy()],
            layer,
            "noted",
            found=[f"{column} = “{value}”, left out" for value in values[unread]],
            expected=EXPECTED[kind],
            remedy=f"Mend {column} in this row.",
        )
        faults += _eras_told(frame, layer, column, values, kept[column], era & ~unread)
        taken = _taken_as(kind, values)
        if taken:
            faults.append(
                place.fault(
                    "noted",
                    found=f"{column} {taken}",
                    expected=EXPECTED[kind],
                    remedy="Write it in full if that isn't what was meant.",
                )
            )
    return kept, faults


def _without_marks(values: pd.Series, kind: str, place: Place) -> tuple[pd.Series, list[Fault]]:
    """Take marks such as ``-`` and ``n/a`` for empty cells, and tell how many."""
    marks = marks_of_nothing(values, text=kind == "text")
    if not marks.any():
        return values, []
    words = values[marks].astype("str").str.strip()
    kinds = ", ".join(f"“{word}”" for word in words.drop_duplicates().iloc[:_MOST_NAMED])
    fault = place.fault(
        "noted",
        found=f"{values.name} {kinds} in {counted_rows(int(marks.sum()))}, taken as empty",
        expected=EXPECTED.get(kind, "words"),
        remedy="Nothing to do if that is what was meant.",
    )
    return values.mask(marks, None), [fault]


def counted_rows(count: int) -> str:
    """Give a count of rows in words.

    Examples
    --------
    >>> counted_rows(1), counted_rows(1204)
    ('1 row', '1,204 rows')
    """
    return f"{count:,} row{'s' * (count > 1)}"


def _eras_told(
    frame: pd.DataFrame,
    layer: str,
    column: str,
    values: pd.Series,
    read: pd.Series,
    era: pd.Series,
) -> list[Fault]:
    """Tell which dates were of the Buddhist era, and what they were read as."""
    return row_faults(
        frame[era.to_numpy()],
        layer,
        "mended",
        found=[
            f"{column} = “{value}”, a year of the Buddhist era, read as {day:%Y-%m-%d}"
            for value, day in zip(values[era], read[era], strict=True)
        ],
        expected="a date of the Gregorian calendar, as in ISO 8601",
        remedy="Nothing to do if that is what was meant.",
    )


def _taken_as(kind: str, values: pd.Series) -> str:
    """Say how dates without a day, and days counted by a spreadsheet, are read."""
    if kind not in ("date", "moment") or pd.api.types.is_datetime64_any_dtype(values.dtype):
        return ""
    counted = int(day_numbers(values).notna().sum())
    if counted:
        rows = counted_rows(counted)
        return f"as a spreadsheet counts days in {rows}, read as days since 1899-12-30"
    words = values.astype("str").str.strip()[~is_blank(values)]
    short = int(words.str.fullmatch(r"\d{4}(?:[-./]\d{1,2})?|\d{1,2}[-./]\d{4}").sum())
    return (
        f"of a year or month alone in {short} rows, taken at its middle or first"
        if short and kind == "date"
        else ""
    )
