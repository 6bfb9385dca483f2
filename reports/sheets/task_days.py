"""The mornings of each task from the roster, and who taps it."""

from __future__ import annotations

import pandas as pd

from estate.roster import TAPPED
from reports.words import Words

_MONTHS_SHOWN = 6


def task_days(roster: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Give the mornings on which each task is tapped, keyed by task."""
    days = roster[roster["kind"].isin(TAPPED) & roster["task_id"].notna()]
    return {str(task): own for task, own in days.groupby("task_id", sort=False)}


def dates(days: pd.DataFrame | None, words: Words) -> tuple[list[dict[str, str]], bool]:
    """Give a task's days month by month, and whether any makes up for a lost one (marked ``*``)."""
    if days is None:
        return [], False
    when = pd.to_datetime(days["date"])
    days = days.assign(when=when, month=when.dt.to_period("M")).sort_values("when")
    months = list(days.groupby("month", sort=True))[:_MONTHS_SHOWN]
    shown = [
        {
            "month": words.month(own["when"].iloc[0].date(), year=number == 0),
            "days": ", ".join(
                str(day.day) + ("*" if kind == "make-up" else "")
                for day, kind in zip(own["when"], own["kind"], strict=True)
            ),
        }
        for number, (_, own) in enumerate(months)
    ]
    starred = any((own["kind"] == "make-up").any() for _, own in months)
    return shown, starred


def tapper_name(tappers: pd.DataFrame, days: pd.DataFrame | None) -> str:
    """Give the name of the tapper who has most of a task's mornings; empty where nobody has."""
    if days is None or days["tapper_id"].isna().all():
        return ""
    who = str(days["tapper_id"].mode().iloc[0])
    if "name" not in tappers:
        return who
    named = tappers.loc[tappers["tapper_id"] == who, "name"].dropna()
    return str(named.iloc[0]) if len(named) else who
