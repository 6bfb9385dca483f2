"""The cord table: fold, panel and cut by girth, for marking without a calculator."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import pandas as pd

from estate.panels import MarkingPractice
from estate.panels import cord_table as cord_frame
from estate.standards import OpeningStandard
from reports.sheets import parts
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.report import write_report
from reports.words import Words, teller_in, words_in


def cord_table(
    path: Path,
    *,
    standard: OpeningStandard,
    on: date,
    language: str = "en",
    practice: MarkingPractice | None = None,
) -> Path:
    """Write the cord table of a standard: one page, downward at the left, upward at the right.

    Parameters
    ----------
    path
        The PDF to write; its folder must exist.
    standard
        The opening standard, for its slopes.
    on
        The day that the page is printed for.
    language
        One of `reports.words.LANGUAGES`.
    practice
        How trees are marked; common practice where None.

    Returns
    -------
    Path
        `path`.
    """
    words = words_in(language)
    say = words.say
    used = (MarkingPractice.load() if practice is None else practice).under(standard)
    frame = cord_frame(standard=standard, practice=practice)
    steps = say(
        "Lay a cord once round the trunk where the first cut begins: girth here is taken there."
        " Fold it by the number of panels and mark the folded cord at the two places of the"
        " table, {side} cm from the ends and from every fold: a panel lies between two marks."
        " Trees of a girth between two lines take the smaller one.",
        side=words.number(used.mark_each_side_cm),
    )
    told = [
        parts.title(say("Cord table"), teller_in(language).title(standard.title)),
        parts.paragraph(steps, size_pt=10.0),
        parts.beside(
            _side(
                frame,
                "down",
                say("Downward, {slope}°", slope=words.number(used.downward_deg)),
                words,
            ),
            _side(frame, "up", say("Upward, {slope}°", slope=words.number(used.upward_deg)), words),
            widths=("1fr", "1fr"),
        ),
        parts.paragraph(
            say(
                "* the cut is shorter or longer than the {least} to {most} cm that a template"
                " serves: mark it with a flexible rule. Drop: how much lower the right end is.",
                least=words.number(used.first_cut_shortest_cm),
                most=words.number(used.first_cut_longest_cm),
            ),
            size_pt=9.0,
        ),
    ]
    page_foot = {
        "source": words.date(on),
        "unreviewed": "" if words.reviewed else say("Machine translation, unreviewed."),
        "page": say("Page"),
    }
    return write_report(
        told, path, title=say("Cord table"), author="", foot=page_foot, words=words, on=on
    )


def _side(frame: pd.DataFrame, direction: str, heading: str, words: Words) -> list[Part]:
    say, number = words.say, words.number
    rows: list[list[Cell]] = [
        [
            parts.bold(number(line.girth_cm)),
            str(line.panel_count),
            number(line.fold_cm, 1),
            _folded_marks(line, words),
            number(line.cut_length_cm, 1) + ("" if line.template_fit == "fits" else "*"),
            number(line.drop_cm, 1),
        ]
        for line in frame[frame["direction"] == direction].itertuples()
    ]
    columns = [
        Column(head=say("Girth, cm"), width="1fr", side="r"),
        Column(head=say("Panels"), width="1fr", side="r"),
        Column(head=say("Fold, cm"), width="1fr", side="r"),
        Column(head=say("Marks at, cm"), width="1.4fr", side="r"),
        Column(head=say("Cut, cm"), width="1fr", side="r"),
        Column(head=say("Drop, cm"), width="1fr", side="r"),
    ]
    return [
        parts.heading(heading),
        parts.table(columns, rows, size_pt=9.5, pad_mm=0.7, shade=True),
    ]


def _folded_marks(line: Any, words: Words) -> str:
    """Give the two marks on the folded cord, cm from its end."""
    return "; ".join(words.number(at, 1) for at in line.marks_cm[:2])
