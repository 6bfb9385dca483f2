"""The panel life plan on paper: which bark of a block is tapped in which year, to its last."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from estate.panels import BarkUse, panel_spans
from layers.errors import SettingError
from reports.life_chart import panel_life_chart
from reports.sheets import parts
from reports.sheets.bark_budget import bark_budget_parts, life_lines
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.report import write_report
from reports.words import Words, mark, words_in

_MONTHS_A_YEAR = 12
KIND_WORDS = {"virgin": mark("virgin"), "renewed": mark("renewed")}


def panel_life(
    life: pd.DataFrame,
    path: Path,
    *,
    name: str,
    on: date,
    language: str = "en",
    budget: tuple[BarkUse, ...] = (),
) -> Path:
    """Write the bark budget, and the panel life plan of each block, a page or more a block.

    Parameters
    ----------
    life
        As :func:`estate.panels.life_plans` gives it.
    path
        The PDF to write; its folder must exist.
    name, on
        The cooperative's name, and the day of its plan.
    language
        One of `reports.words.LANGUAGES`.
    budget
        What each direction of cut uses of the bark; left out where empty.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    SettingError
        `life` has no row.
    """
    if life.empty:
        raise SettingError.at(
            layer="life plans",
            found="no block with a plan",
            expected="one block or more with a planting date",
            remedy="Give the blocks their planting dates.",
        )
    words = words_in(language)
    told: list[Part] = bark_budget_parts(budget, words)
    about = life.attrs
    # Every frame made of one with attrs gets a deep copy of them.
    plans = life.copy(deep=False)
    plans.attrs = {}
    for block_id, plan in plans.groupby("block_id", sort=True):
        if told:
            told.append(parts.new_page())
        own = {key: by_block.get(block_id) for key, by_block in about.items()}
        told += _block(str(block_id), plan.drop(columns="block_id"), own, budget, words)
    foot = {
        "source": words.say("{name}. Plan of {day}.", name=name, day=words.date(on)),
        "unreviewed": "" if words.reviewed else words.say("Machine translation, unreviewed."),
        "page": words.say("Page"),
    }
    title = words.say("Panel life plan")
    return write_report(told, path, title=title, author=name, foot=foot, words=words, on=on)


def _block(
    block_id: str,
    plan: pd.DataFrame,
    told: Mapping[str, Any],
    budget: tuple[BarkUse, ...],
    words: Words,
) -> list[Part]:
    say = words.say
    spans = panel_spans(plan, uses=budget)
    first_day = pd.Timestamp(plan["start"].min()).date()
    drawn = parts.chart(
        lambda: panel_life_chart(spans, used=_used(plan), first_day=first_day, words=words),
        alt=say("Panel life plan"),
        width_mm=188.0,
        height_mm=24.0 + 5.6 * max(len(spans), 3),
    )
    rows: list[list[Cell]] = [
        [
            str(line.year) if line.first else "",
            words.month(pd.Timestamp(line.start).date(), year=True) if line.first else "",
            parts.bold(str(line.panel)),
            say(KIND_WORDS[str(line.kind)]),
            words.number(line.months),
            f"{words.number(line.bark_from_cm)} → {words.number(line.bark_to_cm)}",
        ]
        for line in plan.assign(first=~plan["year"].duplicated()).itertuples()
    ]
    columns = [
        Column(head=say("Year"), side="r"),
        Column(head=say("from")),
        Column(head=say("Panel")),
        Column(head=say("Bark")),
        Column(head=say("Months"), side="r"),
        Column(head=say("Low end of the cut, cm above the ground"), width="1fr"),
    ]
    note = say("A plan, made again from each year's measured cut. Renewed bark is measured first.")
    return [
        parts.title(say("Panel life plan, block {block}", block=block_id)),
        *[parts.paragraph(line) for line in life_lines(plan, told, words)],
        drawn,
        parts.table(columns, rows, pad_mm=0.3, shade=True, note=note),
    ]


def _used(plan: pd.DataFrame) -> pd.DataFrame:
    """Give the times in which each panel is tapped, in years from the plan's first day."""
    done = plan["months"].cumsum() - plan["months"]
    done -= done.groupby(plan["year"]).transform("min")
    begins = plan["year"] - 1 + done / _MONTHS_A_YEAR
    return pd.DataFrame(
        {
            "panel": plan["panel"],
            "from_year": begins,
            "until_year": begins + plan["months"] / _MONTHS_A_YEAR,
        }
    )
