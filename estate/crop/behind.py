"""Which task falls behind: each morning's crop beside what its task and that morning promise."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd
from scipy.stats import norm, t

from estate.figures import Figure, load_figures

_COLUMNS = ["task_id", "records", "g_per_tree", "change_percent", "standard_errors"]


def falling_behind(
    records: pd.DataFrame,
    tasks: pd.DataFrame,
    *,
    figures: Mapping[str, Figure] | None = None,
    latest: int = 6,
) -> pd.DataFrame:
    """Flag the tasks whose latest mornings gave less than their earlier ones.

    Weather moves all tasks of a morning together, so each morning is set against the others of
    its week; what is left is set against the task's own earlier records.

    Parameters
    ----------
    records
        Columns `date`, `task_id`, `dry_kg`.
    tasks
        Columns `task_id`, `trees`.
    figures
        The table ``crop``; None for ours.
    latest
        How many of a task's newest records count as its latest, 2 or more.

    Returns
    -------
    DataFrame
        One row a task: `task_id`, `records`, `g_per_tree` (mean of the latest), `change_percent`
        (latest against earlier, week's weather taken out), `standard_errors`, `behind` (bool),
        `why` in words. NaN and False where there are too few records to say.
    """
    figures = figures or load_figures("crop")
    fewest = int(figures["fewest_records"].value)
    trees = tasks.set_index("task_id")["trees"]
    known = records[records["task_id"].isin(trees.index) & (records["dry_kg"] > 0)].copy()
    known["grams"] = 1000.0 * known["dry_kg"] / known["task_id"].map(trees)
    known["log_g"] = np.log(known["grams"])
    known["left"] = _without_weather(known)
    rows = [
        _one_task(str(task), known[known["task_id"] == task].sort_values("date"), latest, fewest)
        for task in tasks["task_id"]
    ]
    table = pd.DataFrame(rows, columns=_COLUMNS)
    # Of few records the spread itself is uncertain: Student's t gives as few false alarms as the
    # normal law does of many.
    chance = t.cdf(
        table["standard_errors"].astype(float), np.maximum(table["records"].astype(float) - 2, 1)
    )
    behind = table["standard_errors"].notna() & (chance <= norm.cdf(figures["behind_at"].value))
    why = [
        f"{-change:.0f} % less than before, weather aside"
        if flag
        else "too few records to say"
        if np.isnan(change)
        else "as before"
        for change, flag in zip(table["change_percent"], behind, strict=True)
    ]
    return table.assign(behind=behind, why=why)


def _without_weather(known: pd.DataFrame) -> pd.Series:
    """Take out week effects, each against the tasks' own means (two-way additive fit)."""
    week = pd.to_datetime(known["date"]).dt.to_period("W")
    left = known["log_g"] - known.groupby("task_id")["log_g"].transform("mean")
    tasks_in_week = known.groupby(week)["task_id"].transform("nunique")
    effect = left.groupby(week).transform("median")
    return known["log_g"] - effect.where(tasks_in_week >= 3, 0.0)


def _one_task(task: str, own: pd.DataFrame, latest: int, fewest: int) -> dict[str, object]:
    new, old = own.iloc[-latest:], own.iloc[:-latest]
    grams = float(new["grams"].mean()) if len(new) else float("nan")
    change = errors = float("nan")
    if len(new) >= 2 and len(old) >= fewest:
        spread = np.sqrt(
            (new["left"].var(ddof=1) * (len(new) - 1) + old["left"].var(ddof=1) * (len(old) - 1))
            / (len(own) - 2)
        )
        difference = float(new["left"].mean() - old["left"].mean())
        change = 100.0 * float(np.expm1(difference))
        error = float(spread * np.sqrt(1.0 / len(new) + 1.0 / len(old)))
        errors = difference / error if error > 0 else float(np.sign(difference) * np.inf)
    return {
        "task_id": task,
        "records": len(own),
        "g_per_tree": grams,
        "change_percent": change,
        "standard_errors": errors,
    }
