"""A cooperative's own notes beside its layers: figures, absences, weather, records, cut heights."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import pandas as pd

from estate.crop import read_records
from estate.panels import parse_notation
from estate.sun import Clouds, FacingOptions, read_clouds, read_facing_options
from layers.errors import ColumnError, SettingError, UnreadableError

FIGURES = "figures.toml"
STANDARDS = "standards.toml"
COLLECTED = ("collected.csv", "collected.xlsx")
ABSENCES = "absences.csv"
HOLIDAYS = "holidays.csv"
CLOUDS = "clouds.csv"
SUN = "sun.toml"
CUTS = "cuts.csv"
NAMES = (FIGURES, STANDARDS, *COLLECTED, ABSENCES, HOLIDAYS, CLOUDS, SUN, CUTS)


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
    sun
        Rain and wind, tapping and wintering months, clock and measured gaps, as
        :func:`estate.sun.read_facing_options` gives them.
    cuts
        Today's cuts: `block_id`, `panel`, `foot_cm`, and `finished_on`, `tapped_years` where
        known.
    """

    figures: Path | None = None
    standards: Path | None = None
    records: pd.DataFrame | None = None
    absences: Mapping[str, frozenset[date]] = field(default_factory=dict)
    holidays: frozenset[date] = frozenset()
    clouds: Clouds | None = None
    sun: FacingOptions | None = None
    cuts: pd.DataFrame | None = None


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
    absences, holidays, clouds, sun, cuts = map(there, (ABSENCES, HOLIDAYS, CLOUDS, SUN, CUTS))
    return OwnFiles(
        figures=there(FIGURES),
        standards=there(STANDARDS),
        records=None if collected is None else read_records(collected),
        absences={} if absences is None else read_absences(absences),
        holidays=frozenset() if holidays is None else _dates(_table(holidays, ("date",)), holidays),
        clouds=None if clouds is None else read_clouds(clouds),
        sun=None if sun is None else read_facing_options(sun),
        cuts=None if cuts is None else read_cuts(cuts),
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
    """Read the heights of today's cuts.

    CSV with `block_id`, `panel`, `foot_cm` (height of the cut's low right end, cm); `finished_on`
    (day of its last tapping, ISO 8601) and `tapped_years` (years of tapping so far) where known.
    """
    table = _table(path, ("block_id", "panel", "foot_cm"))
    foot = pd.to_numeric(table["foot_cm"], errors="coerce")
    _refuse(path, table["foot_cm"], foot.isna(), "a height in cm, such as 118.5")
    _refuse(path, table["panel"], ~table["panel"].map(_is_panel), "a panel such as BO-1 or HO-2")
    twice = table.duplicated(["block_id", "panel"])
    _refuse(path, table["panel"], twice, "each panel of a block once")
    cuts = table.assign(block_id=table["block_id"].astype("string"), foot_cm=foot.astype(float))
    if "finished_on" in cuts:
        days = pd.to_datetime(cuts["finished_on"], errors="coerce", format="ISO8601")
        wrong = days.isna() & cuts["finished_on"].notna()
        _refuse(path, cuts["finished_on"], wrong, "a date such as 2026-11-25, or nothing")
        cuts = cuts.assign(finished_on=days)
    if "tapped_years" in cuts:
        years = pd.to_numeric(cuts["tapped_years"], errors="coerce")
        wrong = cuts["tapped_years"].notna() & ~(years > 0)
        _refuse(path, cuts["tapped_years"], wrong, "years above 0, or nothing")
        cuts = cuts.assign(tapped_years=years.astype(float))
    return cuts


def _is_panel(name: object) -> bool:
    try:
        return len(parse_notation(f"S/2 {name}").cuts[0].panels) == 1
    except SettingError:
        return False


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
