"""A cooperative's own notes beside its layers: figures, absences, weather, records, cut heights."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path

import pandas as pd

from estate.crop import read_records
from estate.figures import figure_tables, load_figures
from estate.panels import LifeRules, MarkingPractice
from estate.panels.life_today import by_panel
from estate.standards import standards
from estate.sun import Clouds, FacingOptions, read_clouds, read_facing_options
from estate.tasks import minutes
from layers.bring_in.notes import note_days, note_keys, note_numbers, read_notes, refuse
from layers.checks import capped
from layers.contract import Layers
from layers.errors import ColumnError, Fault, SettingError

FIGURES = "figures.toml"
STANDARDS = "standards.toml"
COLLECTED = ("collected.csv", "collected.xlsx")
ABSENCES = "absences.csv"
HOLIDAYS = "holidays.csv"
CLOUDS = "clouds.csv"
SUN = "sun.toml"
CUTS = "cuts.csv"
MORNINGS = "mornings.csv"
NAMES = (FIGURES, STANDARDS, *COLLECTED, ABSENCES, HOLIDAYS, CLOUDS, SUN, CUTS, MORNINGS)


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
    timed
        Timed mornings, as :func:`read_mornings` gives them.
    """

    figures: Path | None = None
    standards: Path | None = None
    records: pd.DataFrame | None = None
    absences: Mapping[str, frozenset[date]] = field(default_factory=dict)
    holidays: frozenset[date] = frozenset()
    clouds: Clouds | None = None
    sun: FacingOptions | None = None
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
    absences, holidays, clouds, sun, cuts = map(there, (ABSENCES, HOLIDAYS, CLOUDS, SUN, CUTS))
    figures, own_standards = there(FIGURES), there(STANDARDS)
    if figures is not None:
        check_figures(figures)
    if own_standards is not None:
        standards(own=own_standards)
    return OwnFiles(
        figures=figures,
        standards=own_standards,
        records=None if collected is None else read_records(collected),
        absences={} if absences is None else read_absences(absences),
        holidays=frozenset() if holidays is None else _dates(_table(holidays, ("date",)), holidays),
        clouds=None if clouds is None else read_clouds(clouds),
        sun=None if sun is None else read_facing_options(sun),
        cuts=None if cuts is None else read_cuts(cuts),
        timed=None if there(MORNINGS) is None else read_mornings(folder / MORNINGS),
    )


def read_absences(path: Path) -> dict[str, frozenset[date]]:
    """Read the days on which tappers are away: CSV with `tapper_id` and `date`."""
    table = _table(path, ("tapper_id", "date"))
    tappers = note_keys(table["tapper_id"], path.name)
    days = note_days(table["date"], path.name).dt.date
    return {str(tapper): frozenset(own) for tapper, own in days.groupby(tappers, sort=True)}


def read_cuts(path: Path) -> pd.DataFrame:
    """Read the heights of today's cuts.

    Parameters
    ----------
    path
        CSV with `block_id`, `panel` (such as BO-1) and `foot_cm` (of the cut's low end); and
        `finished_on`, `tapped_years` where known.

    Returns
    -------
    DataFrame
        Those columns; one row a block and panel.

    Raises
    ------
    LayerError
        A value is of the wrong kind, or a panel is named twice; the error names file and row.
    """
    table = _table(path, ("block_id", "panel", "foot_cm"))
    file = path.name
    cuts = pd.DataFrame(
        {
            "block_id": note_keys(table["block_id"], file).astype("string"),
            "panel": note_keys(table["panel"], file),
            "foot_cm": note_numbers(
                table["foot_cm"],
                file,
                low=0.0,
                high=1000.0,
                expected="a height in cm, such as 118.5",
                unit="cm",
            ),
        }
    )
    if "finished_on" in table:
        known = table["finished_on"].dropna()
        cuts["finished_on"] = note_days(known, file).reindex(table.index)
    if "tapped_years" in table:
        known = table["tapped_years"].dropna()
        years = note_numbers(known, file, low=0.0, high=100.0, expected="years, such as 2.5")
        cuts["tapped_years"] = years.reindex(table.index)
    for row, panel in cuts["panel"].items():
        _check_panel(str(panel), file, row)
    again = cuts.duplicated(["block_id", "panel"])
    refuse(cuts["panel"], again, file, "each panel of a block once")
    return cuts.reset_index(drop=True)


def _check_panel(panel: str, file: str, row: object) -> None:
    try:
        by_panel({panel: 0.0})
    except SettingError as error:
        raise ColumnError.at(
            file=file,
            row=row,
            found=f"panel = {panel}",
            expected="one panel such as BO-1 or HO-2",
            remedy="Write the panel as the notation does: B or H for base or high, O, I, II for "
            "the bark, and its number.",
        ) from error


def check_figures(own: Path) -> None:
    """Read every table of a file of figures, so that a wrong one is told before a run begins.

    Raises
    ------
    SettingError
        A figure is of the wrong kind or out of its range; the error names the file.
    UnreadableError
        It isn't TOML.
    """
    readers: tuple[Callable[..., object], ...] = (
        *(partial(load_figures, table) for table in figure_tables()),
        MarkingPractice.load,
        LifeRules.load,
        minutes,
    )
    for read in readers:
        try:
            read(own=own)
        except SettingError as error:
            raise SettingError(replace(error.fault, file=own.name)) from error


def unknown_keys(
    own: OwnFiles, layers: Layers, *, task_ids: Collection[str] | None = None
) -> tuple[Fault, ...]:
    """Tell which tappers, blocks and tasks the notes name that nobody knows.

    Parameters
    ----------
    own
        The notes.
    layers
        The cooperative's layers.
    task_ids
        The tasks of the plan; None where there is no plan to look in.
    """
    cuts = [] if own.cuts is None else own.cuts["block_id"]
    named = [
        (ABSENCES, "tapper_id", "tappers", pd.Series(list(own.absences)), layers.tappers),
        (CUTS, "block_id", "blocks", pd.Series(cuts), layers.blocks),
    ]
    faults: list[Fault] = []
    for file, column, layer, keys, frame in named:
        faults += _unknown(keys, set(frame[column].astype(str)), file, column, f"the layer {layer}")
    if own.records is not None and task_ids is not None:
        keys = own.records["task_id"]
        file = own.records.attrs.get("file", COLLECTED[0])
        faults += _unknown(keys, set(map(str, task_ids)), file, "task_id", "this run's tasks")
    return tuple(faults)


def _unknown(
    keys: pd.Series, known: Collection[str], file: str, column: str, where: str
) -> list[Fault]:
    text = keys.astype("str")
    counts = text[~text.isin(set(known))].value_counts(sort=False)
    plain = {_plain_key(key): key for key in sorted(known, reverse=True)}
    faults = []
    for key, count in counts.items():
        alike = plain.get(_plain_key(str(key)))
        faults.append(
            Fault(
                severity="noted",
                file=file,
                layer="",
                row=str(key),
                found=f"a {column} {key} that isn't in {where}"
                + (f" ({count} rows)" if count > 1 else "")
                + "; not used",
                expected=f"a {column} of {where}"
                + (f", such as {alike or sorted(known)[0]}" if known else ", which are none"),
                remedy=f"Write it {alike}." if alike else "Check how it is written.",
            )
        )
    return capped(faults)


def _plain_key(key: str) -> str:
    return "".join(key.casefold().split()).lstrip("0")


def read_mornings(path: Path) -> pd.DataFrame:
    """Read timed mornings.

    Parameters
    ----------
    path
        CSV with `date`, `task_id`, `trees` and `tapping_took_min` (minutes from the first cut to
        the last); and `collecting_took_min` (from the first cup to the last) where it was timed.
        The walk is in both.

    Returns
    -------
    DataFrame
        Those columns; each task once a date.

    Raises
    ------
    LayerError
        A value is of the wrong kind, or a task is there twice on a date; the error names file and
        row.
    """
    table = _table(path, ("date", "task_id", "trees", "tapping_took_min"))
    file = path.name
    timed = pd.DataFrame(
        {
            "date": note_days(table["date"], file).dt.date,
            "task_id": note_keys(table["task_id"], file).astype("string"),
            "trees": note_numbers(
                table["trees"], file, low=1.0, high=1e5, expected="the trees tapped, 1 or more"
            ),
            "tapping_took_min": _minutes(table["tapping_took_min"], file),
            "collecting_took_min": float("nan"),
        }
    )
    if "collecting_took_min" in table:
        known = table["collecting_took_min"].dropna()
        timed["collecting_took_min"] = _minutes(known, file).reindex(table.index).astype(float)
    again = timed.duplicated(["date", "task_id"])
    refuse(timed["task_id"], again, file, "each task once a date")
    return timed.reset_index(drop=True)


def _minutes(values: pd.Series, file: str) -> pd.Series:
    return note_numbers(
        values, file, low=0.1, high=1440.0, expected="minutes above 0, such as 142", unit="min"
    )


def _table(path: Path, columns: tuple[str, ...]) -> pd.DataFrame:
    """Read a table of notes as text; the index is the row's number in the file."""
    return read_notes(path, columns)


def _dates(table: pd.DataFrame, path: Path) -> frozenset[date]:
    return frozenset(note_days(table["date"], path.name).dt.date)
