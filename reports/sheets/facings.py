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
    facing = plan.facing.sort_values("block_id")
    said = [
        _told(block.reason, getattr(block, "basis", ""), teller) for block in facing.itertuples()
    ]
    # The first message is each block's reason; what else is true of all is said once.
    shared = [part for part in said[0][1:] if all(part in own[1:] for own in said[1:])]
    shared = shared if len(said) > 1 else []
    rows: list[list[Cell]] = [
        [
            parts.bold(str(block.block_id)),
            parts.bold(say(compass_word(block.first_face_deg))),
            say(compass_word(block.second_face_deg)),
            " ".join(part for part in own if part not in shared),
        ]
        for block, own in zip(facing.itertuples(), said, strict=True)
    ]
    columns = [
        Column(head=say("Block")),
        Column(head=say("First panel faces"), width="24mm"),
        Column(head=say("Second")),
        Column(head=say("What the sun on the bark says, and what the choice costs"), width="1fr"),
    ]
    everywhere = []
    if shared:
        everywhere.append(parts.paragraph(say("Of every block: {said}", said=" ".join(shared))))
    told = [
        parts.title(say("Direction of the cut"), f"{plan.name} · {words.date(plan.on)}"),
        *everywhere,
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


def _told(reason: str, basis: object, teller: Teller) -> list[str]:
    more = teller.tell_apart(basis) if isinstance(basis, str) and basis else []
    return [*teller.tell_apart(reason), *more]
