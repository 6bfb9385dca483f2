"""What was collected each morning: reading a group's own records."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layers.bring_in.notes import need, note_days, note_keys, note_numbers, read_notes

COLUMNS = ("date", "task_id", "latex_kg", "drc_percent")


def read_records(path: Path) -> pd.DataFrame:
    """Read weights and dry rubber contents of collected latex.

    Parameters
    ----------
    path
        A CSV or XLSX file with the columns `date` (ISO 8601), `task_id`, `latex_kg` (weight of
        latex, kg, 0 or more) and `drc_percent` (dry rubber content, 5 to 70 %).

    Returns
    -------
    DataFrame
        Those columns and `dry_kg`, in the file's order.

    Raises
    ------
    MissingLayerError, UnreadableError
        The file isn't there or can't be read.
    ColumnError
        A column is missing, or a row holds a value out of its range; the error names the row.
    """
    table = check_records(read_notes(path, COLUMNS, layer="records"), file=path.name)
    table.attrs["file"] = path.name
    return table.reset_index(drop=True)


def check_records(table: pd.DataFrame, *, file: str = "") -> pd.DataFrame:
    """Check a table of records and add the dry weight; as :func:`read_records`."""
    table = table.rename(columns=lambda name: str(name).strip().lower().replace(" ", "_"))
    need(table, COLUMNS, file, layer="records")
    if 0 in table.index:
        table = table.set_axis(table.index + 1)
    dates = note_days(table["date"], file, layer="records")
    latex = note_numbers(
        table["latex_kg"], file, low=0.0, high=1e5, expected="0 kg or more", layer="records"
    )
    share = note_numbers(
        table["drc_percent"], file, low=5.0, high=70.0, expected="5 to 70 %", layer="records"
    )
    return pd.DataFrame(
        {
            "date": dates.dt.date,
            "task_id": note_keys(table["task_id"], file, layer="records").astype("string"),
            "latex_kg": latex.astype(float),
            "drc_percent": share.astype(float),
            "dry_kg": latex.astype(float) * share.astype(float) / 100.0,
        }
    )
