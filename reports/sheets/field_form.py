"""The form a surveyor fills in: the trees to tape in a block, in walking order."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from layers.errors import SettingError
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.phrases import foot
from reports.sheets.report import write_report
from reports.sheets.task_ground import members_of
from reports.words import Words, words_in

_ROW_MM = 7.6


def field_form(
    plan: PlanView, block_id: str, trees: pd.DataFrame, path: Path, *, language: str = "en"
) -> Path:
    """Write the form for taping some trees of a block.

    Parameters
    ----------
    plan
        A finished plan.
    block_id
        One of its blocks.
    trees
        The trees to tape: ``tree_id``, ``stop_no`` in walking order; those of other blocks are
        left out. `estate.girth.sample_design` chooses them.
    path
        The PDF to write; its folder must exist.
    language
        One of `reports.words.LANGUAGES`.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    SettingError
        None of `trees` stands in the block.
    """
    words = words_in(language)
    say = words.say
    stops = _stops(plan, block_id, trees)
    height_cm = plan.standard.height_cm[_material(plan, block_id)]
    how = say(
        "Tape level, {height} cm above the {base}, on bark brushed clean; read to half a"
        " centimetre. Count every place in the row, the empty ones too. Where a swelling or wound"
        " is in the way, tape above it and write the height. Measure bark only if you were shown"
        " how.",
        height=words.number(height_cm),
        base=say("ground") if plan.standard.measured_from == "ground" else say("bud union"),
    )
    title = say("Girth survey, block {block}", block=block_id)
    told = [
        parts.title(
            title,
            f"{members_of(plan).get(block_id, '')} · "
            + words.count("{number} tree to tape", "{number} trees to tape", len(stops)),
        ),
        parts.blanks(say("Surveyor"), say("Date"), say("Began at"), say("Ended at")),
        parts.paragraph(how, size_pt=10.0),
        _lines(stops, height_cm, words),
    ]
    return write_report(
        told,
        path,
        title=title,
        author=plan.name,
        foot=foot(words, name=plan.name, on=plan.on, layers=plan.layers),
        words=words,
        on=plan.on,
    )


def _stops(plan: PlanView, block_id: str, trees: pd.DataFrame) -> pd.DataFrame:
    """Give the block's trees to tape in walking order, with row and expected girth."""
    layers = plan.layers
    known = layers.trees[["tree_id", "row_id", "block_id", "tree_no"]].merge(
        layers.rows[["row_id", "row_no"]], on="row_id", how="left"
    )
    stops = pd.DataFrame(trees[["tree_id", "stop_no"]]).merge(pd.DataFrame(known), on="tree_id")
    stops = stops[stops["block_id"] == block_id].sort_values("stop_no")
    if stops.empty:
        raise SettingError.at(
            layer="trees",
            row=block_id,
            found=f"no tree to tape in block {block_id}",
            expected="one tree or more",
            remedy="Ask for a sample of this block first.",
        )
    return stops.merge(plan.girths, on="tree_id", how="left")


def _lines(stops: pd.DataFrame, height_cm: float, words: Words) -> Part:
    """Give a line to fill in for each tree."""
    say = words.say
    rows: list[list[Cell]] = [
        [
            str(stop_no),
            parts.bold(str(line.row_no)),
            parts.bold(str(line.tree_no)),
            "" if pd.isna(line.girth_cm) else words.number(line.girth_cm, 0),
            *[""] * 4,
        ]
        for stop_no, line in enumerate(stops.itertuples(), 1)
    ]
    height = words.number(height_cm)
    columns = [
        Column(head=say("Stop"), width="11mm", side="r"),
        Column(head=say("Row"), width="12mm", side="r"),
        Column(head=say("Tree"), width="13mm", side="r"),
        Column(head=say("Expected, cm"), width="20mm", side="r"),
        Column(head=say("Girth, cm"), width="27mm"),
        Column(head=say("Height, if not {height} cm", height=height), width="27mm"),
        Column(head=say("Bark, mm"), width="20mm"),
        Column(head=say("Remark (vacant, dead, dry)"), width="1fr"),
    ]
    return parts.table(columns, rows, row_mm=_ROW_MM, lines=True, size_pt=10.5, pad_mm=0.6)


def _material(plan: PlanView, block_id: str) -> str:
    blocks = plan.layers.blocks
    if "material" not in blocks:
        return "budded"
    named = blocks.loc[blocks["block_id"] == block_id, "material"]
    return "seedling" if len(named) and named.iloc[0] == "seedling" else "budded"
