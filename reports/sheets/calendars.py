"""The wall calendar: one tapper's month on a page, or every tapper's for the collection place."""

from __future__ import annotations

import calendar
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from estate.roster import TAPPED
from layers.errors import SettingError
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.phrases import foot
from reports.sheets.report import write_report
from reports.words import Words, mark, words_in

A4_WIDE_MM = (297.0, 210.0)
_TAPPERS_A_PAGE = 9
KIND_WORDS = {
    "tap": mark("tap"),
    "make-up": mark("makes up for a lost day"),
    "rest": mark("rest"),
    "holiday": mark("holiday"),
    "wintering": mark("wintering"),
    "rain-lost": mark("lost to rain"),
}


def wall_calendar(
    plan: PlanView, path: Path, *, tapper_id: str | None = None, language: str = "en"
) -> Path:
    """Write the roster as a wall calendar, one page a month.

    Parameters
    ----------
    plan
        A finished plan.
    path
        The PDF to write; its folder must exist.
    tapper_id
        Whose months to write, large, on A4 wide; None for a table of every tapper's days for the
        collection place.
    language
        One of `reports.words.LANGUAGES`.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    SettingError
        The roster is empty, or doesn't name the tapper.
    """
    words = words_in(language)
    roster = _hands(plan, words)
    if tapper_id is not None:
        roster = roster[roster["tapper_id"] == tapper_id]
    if roster.empty:
        raise SettingError.at(
            layer="roster",
            row=tapper_id or "",
            found="no day",
            expected="a roster" if tapper_id is None else f"days of tapper {tapper_id}",
            remedy="Draw the roster first, or write the tapper's id as it stands there.",
        )
    told: list[Part] = []
    for _, month in roster.groupby(roster["date"].dt.to_period("M"), sort=True):
        if told:
            told.append(parts.new_page())
        told += _own_month(month, words) if tapper_id else _shed_month(month, words)
    return write_report(
        told,
        path,
        title=words.say("Wall calendar"),
        author=plan.name,
        foot=foot(words, name=plan.name, on=plan.on, layers=plan.layers),
        words=words,
        on=plan.on,
        size_mm=A4_WIDE_MM if tapper_id else parts.A4_MM,
    )


def _hands(plan: PlanView, words: Words) -> pd.DataFrame:
    """Give the roster with dates and each tapper's name; a beat's own where nobody is named."""
    roster = plan.roster.assign(date=pd.to_datetime(plan.roster["date"]))
    beat = roster["task_id"].map(plan.task_sums.set_index("task_id")["beat_id"])
    beat = roster["beat_id"].fillna(beat) if "beat_id" in roster else beat
    nobody = beat.map(lambda name: words.say("Beat {beat}", beat=name), na_action="ignore")
    named: dict[str, str] = {}
    if "name" in plan.layers.tappers:
        tappers = plan.layers.tappers.dropna(subset=["name"])
        named = dict(zip(tappers["tapper_id"], tappers["name"], strict=True))
    who = roster["tapper_id"].map(named).astype("string").fillna(roster["tapper_id"]).fillna(nobody)
    return roster.assign(who=who).dropna(subset=["who"])


def _own_month(month: pd.DataFrame, words: Words) -> list[Part]:
    first = month["date"].min().date()
    by_day = {day.date(): line for day, line in month.set_index("date").iterrows()}
    weeks = [
        [_day(day, first.month, by_day.get(day), words) for day in week]
        for week in calendar.Calendar(firstweekday=0).monthdatescalendar(first.year, first.month)
    ]
    grid: Part = {
        "kind": "month",
        "weekdays": words.weekdays(),
        "weeks": weeks,
        "week_mm": 148.0 / len(weeks),
        "size_pt": 11.0,
    }
    return [parts.title(f"{month['who'].iloc[0]} · {words.month(first, year=True)}"), grid]


def _day(day: date, month: int, line: pd.Series | None, words: Words) -> dict[str, Any]:
    if day.month != month:
        return {"day": "", "lines": [], "quiet": False}
    if line is None:
        return {"day": str(day.day), "lines": [], "quiet": False}
    lines = []
    tapped = line.kind in TAPPED
    if tapped:
        lines.append({"text": str(line["task_id"]), "bold": True})
        spent = words.say("{minutes} min", minutes=words.number(line["minutes"]))
        lines.append({"text": spent, "bold": False})
    kind = KIND_WORDS[str(line.kind)]
    if not tapped or kind != KIND_WORDS["tap"]:
        lines.append({"text": words.say(kind), "bold": False})
    return {"day": str(day.day), "lines": lines, "quiet": not tapped}


def _shed_month(month: pd.DataFrame, words: Words) -> list[Part]:
    said = month["task_id"].where(month["kind"] != "make-up", month["task_id"] + "*")
    other = month["kind"].map(lambda kind: words.say(KIND_WORDS[kind]))
    said = said.where(month["kind"].isin(TAPPED), other)
    grid = (
        month.assign(said=said)
        .groupby(["date", "who"], sort=True)["said"]
        .agg(lambda names: ", ".join(dict.fromkeys(names)))
        .unstack("who")
    )
    weekdays = words.weekdays()
    makes_up = month["kind"].eq("make-up").any()
    note = words.say("* a day that makes up for a lost one") if makes_up else ""
    told: list[Part] = []
    for start in range(0, grid.shape[1], _TAPPERS_A_PAGE):
        some = grid.iloc[:, start : start + _TAPPERS_A_PAGE]
        if start:
            told.append(parts.new_page())
        rows: list[list[Cell]] = [
            [
                parts.bold(str(day.day)),
                weekdays[day.weekday()],
                *["" if pd.isna(text) else str(text) for text in line],
            ]
            for day, line in zip(some.index, some.to_numpy(), strict=True)
        ]
        columns = [
            Column(head="", side="r"),
            Column(head=""),
            *[Column(head=str(name), width="1fr") for name in some.columns],
        ]
        told += [
            parts.title(
                words.month(some.index[0].date(), year=True),
                words.say("Each tapper's task on each day"),
            ),
            parts.table(
                columns,
                rows,
                size_pt=11.0,
                pad_mm=1.3,
                lines=True,
                shade=True,
                note=note,
            ),
        ]
    return told
