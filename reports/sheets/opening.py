"""The opening report: which blocks to open, for a manager with ten minutes."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from reports.charts import DECISION_WORDS, girth_histogram, readiness_chart, sun_rose
from reports.decision_words import share_note, share_words, what_to_do
from reports.drawings.compass import compass_word
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.block_growth import block_parts
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.phrases import foot
from reports.sheets.report import write_report
from reports.sheets.task_ground import members_of
from reports.words import Words, teller_in, words_in

_BLOCKS_A_CHART = 40
_DECISIONS = ("open", "measure more", "wait", "in tapping")


def opening_report(
    plan: PlanView,
    path: Path,
    *,
    language: str = "en",
    later: pd.DataFrame | None = None,
    later_on: object = None,
) -> Path:
    """Write the readiness of each block, its decision, and the charts behind it.

    Parameters
    ----------
    plan
        A finished plan.
    path
        The PDF to write; its folder must exist.
    language
        One of `reports.words.LANGUAGES`.
    later, later_on
        Girths (``girth_cm``) as `estate.estimate_girth` expects them on a later date, and that
        date, drawn over today's; None for none.

    Returns
    -------
    Path
        `path`.
    """
    words = words_in(language)
    say = words.say
    readiness = ordered(plan.readiness)
    told = [
        parts.title(
            say("Opening report"),
            f"{plan.name} · {words.date(plan.on)} · {_standard_words(plan, words)}",
        ),
        parts.facts(_sums(readiness, words)),
        _decisions(plan, readiness, words),
        *_readiness_charts(plan, readiness, words),
        *_girths(plan, words, later, later_on),
        *_facings(plan, readiness, words),
        *block_parts(plan, readiness, words),
    ]
    return write_report(
        told,
        path,
        title=say("Opening report"),
        author=plan.name,
        foot=foot(words, name=plan.name, on=plan.on, layers=plan.layers),
        words=words,
        on=plan.on,
    )


def ordered(readiness: pd.DataFrame) -> pd.DataFrame:
    """Order the blocks by what they ask of the manager, then by name."""
    place = readiness["decision"].map({name: at for at, name in enumerate(_DECISIONS)})
    return readiness.assign(place=place).sort_values(["place", "block_id"], ignore_index=True)


def _standard_words(plan: PlanView, words: Words) -> str:
    standard = plan.standard
    return words.say(
        "ready: {girth} cm at {height} cm (budded); open at {share} % of trees",
        girth=words.number(standard.girth_cm["budded"]),
        height=words.number(standard.height_cm["budded"]),
        share=words.number(100 * standard.share),
    )


def _sums(readiness: pd.DataFrame, words: Words) -> list[tuple[str, str]]:
    counts = readiness["decision"].value_counts()
    blocks = [
        (words.say(DECISION_WORDS[decision]), words.number(int(counts.get(decision, 0))))
        for decision in _DECISIONS
    ]
    trees = int(readiness["standing"].sum())
    taped = int(readiness["measured"].sum())
    return [
        *blocks,
        (words.say("standing trees"), words.number(trees)),
        (words.say("of them measured"), words.number(taped)),
    ]


def _year_planted(block: pd.Series, words: Words) -> str:
    planted = block.get("planted_on")
    return "–" if planted is None or pd.isna(planted) else words.year(pd.Timestamp(planted).date())


def _decisions(plan: PlanView, readiness: pd.DataFrame, words: Words) -> Part:
    blocks = plan.layers.blocks.set_index("block_id")
    members = members_of(plan)
    rows: list[list[Cell]] = []
    for _, block in readiness.iterrows():
        ground = blocks.loc[block["block_id"]]
        rows.append(
            [
                parts.bold(str(block.block_id)),
                str(members.get(block.block_id, "")),
                words.number(ground["area_ha"], 2) if "area_ha" in blocks else "–",
                _year_planted(ground, words),
                f"{words.number(block.measured)} / {words.number(block.standing)}",
                share_words(block, words),
                parts.bold(words.say(DECISION_WORDS[block.decision])),
                what_to_do(block, words),
            ]
        )
    say = words.say
    columns = [
        Column(head=say("Block")),
        Column(head=say("Member"), width="0.6fr"),
        Column(head=say("ha"), side="r"),
        Column(head=say("Planted"), side="r"),
        Column(head=say("Measured / standing"), width="23mm", side="r"),
        Column(head=say("Ready, % (interval)"), side="r"),
        Column(head=say("Decision"), width="30mm"),
        Column(head=say("What to do"), width="1.3fr"),
    ]
    return parts.table(columns, rows, note=share_note(words))


def _readiness_charts(plan: PlanView, readiness: pd.DataFrame, words: Words) -> list[Part]:
    known = readiness[readiness["ready_share"].notna()]
    charts: list[Part] = [parts.heading(words.say("Ready trees by block"))]
    for start in range(0, len(known), _BLOCKS_A_CHART):
        shown = known.iloc[start : start + _BLOCKS_A_CHART]
        charts.append(
            parts.chart(
                lambda shown=shown: readiness_chart(  # type: ignore[misc]
                    shown, share=plan.standard.share, words=words
                ),
                alt=words.say("Ready trees by block"),
                width_mm=188.0,
                height_mm=26.0 + 5.4 * max(len(shown), 3),
            )
        )
    unknown = readiness.loc[readiness["ready_share"].isna(), "block_id"]
    if len(unknown):
        told = words.say(
            "Too few trees are measured to know a share: {blocks}.",
            blocks=", ".join(map(str, unknown)),
        )
        charts.append(parts.paragraph(told))
    return charts


def _girths(
    plan: PlanView, words: Words, later: pd.DataFrame | None, later_on: object
) -> list[Part]:
    heading = words.say("Girth of standing trees")
    day = None if later_on is None else pd.Timestamp(later_on).date()  # type: ignore[arg-type]
    drawn = parts.chart(
        lambda: girth_histogram(
            plan.girths,
            later=later,
            later_on=day,
            least_cm=plan.standard.girth_cm["budded"],
            words=words,
        ),
        alt=heading,
        width_mm=188.0,
        height_mm=60.0,
    )
    return [parts.heading(heading), drawn]


def _facings(plan: PlanView, readiness: pd.DataFrame, words: Words) -> list[Part]:
    """Give the first block's sun, and every block's faces with the reason, those alike together."""
    if plan.facing.empty or plan.rose.empty:
        return []
    order = {str(block): place for place, block in enumerate(readiness["block_id"])}
    first = plan.facing.loc[plan.facing["block_id"].map(order).idxmin()]
    faces = (float(first["first_face_deg"]), float(first["second_face_deg"]))
    rose = plan.rose[plan.rose["block_id"] == first["block_id"]]
    teller = teller_in(words.language)
    grouped = plan.facing.assign(why=plan.facing["reason"].map(teller.tell_first)).groupby(
        ["first_face_deg", "second_face_deg", "why"], sort=False
    )["block_id"]
    rows: list[list[Cell]] = [
        [
            parts.bold(words.say(compass_word(one))),
            words.say(compass_word(other)),
            parts.bold(", ".join(map(str, blocks))),
            why,
        ]
        for (one, other, why), blocks in sorted(grouped, key=lambda group: -len(group[1]))
    ]
    columns = [
        Column(head=words.say("First panel faces")),
        Column(head=words.say("Second")),
        Column(head=words.say("Blocks"), width="0.5fr"),
        Column(head=words.say("Why"), width="1fr"),
    ]
    note = words.say("The report on the direction of the cut says more, and what a choice costs.")
    title = words.say("Sun on the bark, block {block}", block=first["block_id"])
    drawn = parts.chart(
        lambda: sun_rose(rose, face_deg=faces, words=words),
        alt=title,
        width_mm=84.0,
        height_mm=84.0,
    )
    return [
        parts.heading(words.say("Direction of the cut")),
        parts.table(columns, rows, note=note),
        parts.together([parts.heading(title), drawn]),
    ]
