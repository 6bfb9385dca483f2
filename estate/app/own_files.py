"""A cooperative's own notes beside its layers: figures, absences, weather, records, cut heights."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pandas as pd

from estate.crop import read_records
from estate.sun import Clouds, read_clouds
from layers.errors import ColumnError, UnreadableError

FIGURES = "figures.toml"
STANDARDS = "standards.toml"
COLLECTED = ("collected.csv", "collected.xlsx")
ABSENCES = "absences.csv"
HOLIDAYS = "holidays.csv"
CLOUDS = "clouds.csv"
CUTS = "cuts.csv"
MORNINGS = "mornings.csv"
NAMES = (FIGURES, STANDARDS, *COLLECTED, ABSENCES, HOLIDAYS, CLOUDS, CUTS, MORNINGS)


@dataclass(frozen=True, kw_only=True)
class OwnFiles:
    """What a cooperative wrote down itself; each is None or empty where it didn't.

    Parameters
    ----------
    figures, standards
        TOML files in the form of ``estate/data``.
    records
        Collected latex, as :func:`estate.crop.read_records` gives it.
    absences
        Dates on which tappers are away, keyed by `tapper_id`.
    holidays
        Dates on which nobody taps.
    clouds
        Monthly cloud, as :func:`estate.sun.read_clouds` gives it.
    cuts
        Today's cuts: `block_id`, `panel`, `foot_cm`, and `finished_on`, `tapped_years` where
        known.
    timed
        Timed mornings, as :func:`read_mornings` gives them.
    """

    figures: Path | None = None
    standards: Path | None = None
    records: pd.DataFrame | None = None
    absences: Mapping[str, frozenset[date]] = field(default_factory=dict)
    holidays: frozenset[date] = frozenset()
    clouds: Clouds | None = None
    cuts: pd.DataFrame | None = None
    timed: pd.DataFrame | None = None


def notes_folder(source: Path) -> Path:
    """Give the folder in which a cooperative's own files lie: the layers' or the project's."""
    return source if source.is_dir() else source.parent


def read_own_files(folder: Path) -> OwnFiles:
    """Read the cooperative's own files that lie in a folder.

    Raises
    ------
    LayerError
        One of them can't be read, lacks a column or holds a wrong value; the error names the file
        and the row.
    """

    def there(name: str) -> Path | None:
        return folder / name if (folder / name).is_file() else None

    collected = next((folder / n for n in COLLECTED if (folder / n).is_file()), None)
    absences, holidays, clouds, cuts = map(there, (ABSENCES, HOLIDAYS, CLOUDS, CUTS))
    return OwnFiles(
        figures=there(FIGURES),
        standards=there(STANDARDS),
        records=None if collected is None else read_records(collected),
        absences={} if absences is None else read_absences(absences),
        holidays=frozenset() if holidays is None else _dates(_table(holidays, ("date",)), holidays),
        clouds=None if clouds is None else read_clouds(clouds),
        cuts=None if cuts is None else read_cuts(cuts),
        timed=None if there(MORNINGS) is None else read_mornings(folder / MORNINGS),
    )


def copy_own_files(source: Path, folder: Path) -> None:
    """Put the cooperative's own files beside its project, so that the project can run anew."""
    home = notes_folder(source)
    if home.resolve() == folder.resolve():
        return
    for name in NAMES:
        if (home / name).is_file():
            shutil.copyfile(home / name, folder / name)


def read_absences(path: Path) -> dict[str, frozenset[date]]:
    """Read the days on which tappers are away: CSV with `tapper_id` and `date` (ISO 8601)."""
    table = _table(path, ("tapper_id", "date"))
    return {
        str(tapper): frozenset(_dates(rows, path))
        for tapper, rows in table.groupby("tapper_id", sort=True)
    }


def read_cuts(path: Path) -> pd.DataFrame:
    """Read the heights of today's cuts: CSV with `block_id`, `panel`, `foot_cm`."""
    table = _table(path, ("block_id", "panel", "foot_cm"))
    foot = pd.to_numeric(table["foot_cm"], errors="coerce")
    _refuse(path, table["foot_cm"], foot.isna(), "a height in cm, such as 118.5")
    return table.assign(block_id=table["block_id"].astype("string"), foot_cm=foot.astype(float))


def read_mornings(path: Path) -> pd.DataFrame:
    """Read timed mornings: CSV with `date`, `task_id`, `trees` and minutes.

    `tapping_took_min` is from the first cut to the last, `collecting_took_min` (where it was
    timed) from the first cup to the last, the walk in both. Each task once a date.
    """
    table = _table(path, ("date", "task_id", "trees", "tapping_took_min"))
    _dates(table, path)
    if "collecting_took_min" not in table:
        table = table.assign(collecting_took_min=None)
    numbers = {}
    for column in ("trees", "tapping_took_min", "collecting_took_min"):
        numbers[column] = pd.to_numeric(table[column], errors="coerce")
        empty = table[column].isna() if column == "collecting_took_min" else False
        wrong = ~(numbers[column] > 0) & ~pd.Series(empty, index=table.index)
        _refuse(path, table[column], wrong, "a number above 0")
    _refuse(path, table["task_id"], table["task_id"].isna(), "a task such as A-1")
    days = pd.to_datetime(table["date"], format="ISO8601").dt.date
    table = table.assign(date=days, task_id=table["task_id"].astype("string").str.strip())
    twice = table.duplicated(["date", "task_id"])
    _refuse(path, table["task_id"], twice, "each task once a date")
    return table.assign(**{name: each.astype(float) for name, each in numbers.items()})


def _table(path: Path, columns: tuple[str, ...]) -> pd.DataFrame:
    try:
        table = pd.read_csv(path)
    except (ValueError, UnicodeDecodeError) as error:
        raise UnreadableError.at(
            file=path.name,
            found=str(error),
            expected="a CSV table in UTF-8",
            remedy="Save it again as CSV in UTF-8.",
        ) from error
    table = table.rename(columns=lambda name: str(name).strip().lower().replace(" ", "_"))
    for column in columns:
        if column not in table:
            raise ColumnError.at(
                file=path.name,
                found="columns " + ", ".join(map(str, table.columns)),
                expected=", ".join(columns),
                remedy=f"Add the column {column}.",
            )
    return table


def _dates(table: pd.DataFrame, path: Path) -> frozenset[date]:
    days = pd.to_datetime(table["date"], errors="coerce", format="ISO8601")
    _refuse(path, table["date"], days.isna(), "a date such as 2026-11-25")
    return frozenset(days.dt.date)


def _refuse(path: Path, column: pd.Series, wrong: pd.Series, expected: str) -> None:
    if wrong.any():
        row = int(wrong.to_numpy().argmax())
        raise ColumnError.at(
            file=path.name,
            row=int(wrong.index[row]) + 1,
            found=f"{column.name} = {column.iloc[row]}",
            expected=expected,
            remedy="Mend the value or take the row out.",
        )
