"""What was collected each morning: reading a group's own records."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layers.errors import ColumnError, Fault, MissingLayerError, UnreadableError

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
    if not path.exists():
        raise MissingLayerError.at(
            file=path.name,
            layer="records",
            found="no such file",
            expected="a CSV or XLSX file of collected latex",
            remedy="Check the name and the folder.",
        )
    try:
        table = pd.read_excel(path) if path.suffix.lower() == ".xlsx" else pd.read_csv(path)
    except (ValueError, UnicodeDecodeError, OSError) as error:
        raise UnreadableError.at(
            file=path.name,
            layer="records",
            found=str(error),
            expected="a CSV or XLSX file",
            remedy="Save it again as CSV in UTF-8 or as XLSX.",
        ) from error
    return check_records(table, file=path.name)


def check_records(table: pd.DataFrame, *, file: str = "") -> pd.DataFrame:
    """Check a table of records and add the dry weight; as :func:`read_records`."""
    table = table.rename(columns=lambda name: str(name).strip().lower().replace(" ", "_"))
    missing = [c for c in COLUMNS if c not in table]
    if missing:
        raise ColumnError.at(
            file=file,
            layer="records",
            found="columns " + ", ".join(map(str, table.columns)),
            expected=", ".join(COLUMNS),
            remedy=f"Add the column {missing[0]}.",
        )
    dates = pd.to_datetime(table["date"], errors="coerce", format="ISO8601")
    latex = pd.to_numeric(table["latex_kg"], errors="coerce")
    share = pd.to_numeric(table["drc_percent"], errors="coerce")
    for column, bad, expected in (
        ("date", dates.isna(), "a date such as 2026-11-25"),
        ("latex_kg", ~(latex >= 0), "0 kg or more"),
        ("drc_percent", ~share.between(5, 70), "5 to 70 %"),
    ):
        if bad.any():
            row = int(bad.to_numpy().argmax())
            raise ColumnError.at(
                file=file,
                layer="records",
                row=row + 1,
                found=f"{column} = {table[column].iloc[row]}",
                expected=expected,
                remedy="Mend the value or take the row out.",
            )
    return pd.DataFrame(
        {
            "date": dates.dt.date,
            "task_id": table["task_id"].astype("string"),
            "latex_kg": latex.astype(float),
            "drc_percent": share.astype(float),
            "dry_kg": latex.astype(float) * share.astype(float) / 100.0,
        }
    )


def records_elsewhere(records: pd.DataFrame, tasks: pd.DataFrame) -> tuple[Fault, ...]:
    """Say which records are of tasks that aren't there, and so don't count.

    Parameters
    ----------
    records
        As :func:`read_records` gives them.
    tasks
        Column `task_id`.
    """
    gone = records.loc[~records["task_id"].isin(tasks["task_id"]), "task_id"]
    return tuple(
        Fault(
            severity="noted",
            file="",
            layer="records",
            row=str(task),
            found=f"records of the task {task}, which isn't there, and which don't count: {count}",
            expected="a task of this run",
            remedy="Check how the task is written; records of one that was drawn anew are past.",
        )
        for task, count in gone.fillna("(none)").value_counts(sort=False).sort_index().items()
    )
