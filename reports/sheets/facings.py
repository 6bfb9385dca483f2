"""The direction of the cut on paper: what the sun says of each block, and what a choice costs."""

from __future__ import annotations

from pathlib import Path

from reports.drawings.compass import compass_word
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.parts import Cell, Column
from reports.sheets.phrases import foot
from reports.sheets.report import write_report
from reports.words import Teller, teller_in, words_in


def facing_report(plan: PlanView, path: Path, *, language: str = "en") -> Path:
    """Write which way each block's cuts face, why, and what that rests on.

    Parameters
    ----------
    plan
        A finished plan.
    path
        The PDF to write; its folder must exist.
    language
        One of `reports.words.LANGUAGES`.

    Returns
    -------
    Path
        `path`.
    """
    words = words_in(language)
    say = words.say
    teller = teller_in(language)
    rows: list[list[Cell]] = [
        [
            parts.bold(str(block.block_id)),
            parts.bold(say(compass_word(block.first_face_deg))),
            say(compass_word(block.second_face_deg)),
            _told(block.reason, getattr(block, "basis", ""), teller),
        ]
        for block in plan.facing.sort_values("block_id").itertuples()
    ]
    columns = [
        Column(head=say("Block")),
        Column(head=say("First panel faces"), width="20mm"),
        Column(head=say("Second"), width="20mm"),
        Column(head=say("What the sun on the bark says, and what the choice costs"), width="1fr"),
    ]
    told = [
        parts.title(say("Direction of the cut"), f"{plan.name} · {words.date(plan.on)}"),
        parts.table(columns, rows, size_pt=9.0, shade=True),
    ]
    return write_report(
        told,
        path,
        title=say("Direction of the cut"),
        author=plan.name,
        foot=foot(words, name=plan.name, on=plan.on, layers=plan.layers),
        words=words,
        on=plan.on,
    )


def _told(reason: str, basis: object, teller: Teller) -> str:
    more = [teller.tell(basis)] if isinstance(basis, str) and basis else []
    return " ".join([teller.tell(reason), *more])
