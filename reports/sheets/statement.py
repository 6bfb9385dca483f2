"""A member's statement: their blocks, trees, tasks and expected crop."""

from __future__ import annotations

from pathlib import Path
from typing import Protocol

import pandas as pd

from estate.crop import total_crop
from estate.roster import TAPPED
from layers.errors import SettingError
from reports.charts import DECISION_WORDS, crop_by_month
from reports.decision_words import share_note, share_words, what_to_do
from reports.plan_view import PlanView
from reports.sheets import parts
from reports.sheets.parts import Cell, Column, Part
from reports.sheets.phrases import foot
from reports.sheets.report import write_report
from reports.words import Words, mark, words_in

CLASS_WORDS = {
    "ready": mark("ready"),
    "near-ready": mark("near-ready"),
    "mature": mark("mature"),
    "immature": mark("immature"),
    "unmeasured": mark("unmeasured"),
    "dry": mark("dry"),
    "dead": mark("dead"),
    "vacant": mark("vacant"),
}


class CropPlan(PlanView, Protocol):
    """A plan with its expected crop, as :func:`estate.crop.expected_crop` gives it."""

    @property
    def crop(self) -> pd.DataFrame:
        """Expected crop, a row a task, member and month."""


def member_statement(plan: CropPlan, member: str, path: Path, *, language: str = "en") -> Path:
    """Write what the plan says of one member's trees.

    Parameters
    ----------
    plan
        A finished plan with its crop.
    member
        A name in the holdings layer.
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
        The holdings layer doesn't name the member.
    """
    words = words_in(language)
    say = words.say
    holdings = plan.layers.holdings
    own = holdings.loc[holdings["member"] == member, "holding_id"]
    if own.empty:
        raise SettingError.at(
            layer="holdings",
            found=f"no member {member}",
            expected="a name that stands in the column member",
            remedy="Write the name as it stands there.",
        )
    blocks = plan.layers.blocks[plan.layers.blocks["holding_id"].isin(own)]
    told = [
        parts.title(member, f"{plan.name} · {words.date(plan.on)}"),
        parts.heading(say("Blocks")),
        _blocks(plan, blocks, words),
        parts.heading(say("Trees")),
        _trees(plan, blocks, words),
        *_tasks(plan, blocks, words),
        *_crop(plan, member, words),
    ]
    return write_report(
        told,
        path,
        title=say("Member's statement"),
        author=plan.name,
        foot=foot(words, name=plan.name, on=plan.on, layers=plan.layers),
        words=words,
        on=plan.on,
    )


def _blocks(plan: PlanView, blocks: pd.DataFrame, words: Words) -> Part:
    ready = plan.readiness.set_index("block_id")
    rows: list[list[Cell]] = []
    for block in blocks.itertuples():
        judged = ready.loc[block.block_id] if block.block_id in ready.index else None
        area = getattr(block, "area_ha", None)
        rows.append(
            [
                parts.bold(str(block.block_id)),
                "–" if area is None or pd.isna(area) else words.number(area, 2),
                "–" if judged is None else share_words(judged, words),
                "–" if judged is None else parts.bold(words.say(DECISION_WORDS[judged.decision])),
                "–" if judged is None else what_to_do(judged, words),
            ]
        )
    say = words.say
    columns = [
        Column(head=say("Block")),
        Column(head=say("ha"), side="r"),
        Column(head=say("Ready, % (interval)"), side="r"),
        Column(head=say("Decision")),
        Column(head=say("What to do"), width="1fr"),
    ]
    return parts.table(columns, rows, size_pt=10.5, note=share_note(words))


def _trees(plan: PlanView, blocks: pd.DataFrame, words: Words) -> Part:
    trees = plan.layers.trees[["tree_id", "block_id"]].merge(
        plan.classes[["tree_id", "class"]], on="tree_id"
    )
    trees = trees[trees["block_id"].isin(blocks["block_id"])]
    counts = pd.crosstab(trees["block_id"], trees["class"])
    shown = [name for name in CLASS_WORDS if name in counts and counts[name].any()]
    rows: list[list[Cell]] = [
        [parts.bold(str(block)), *[words.number(int(line[name])) for name in shown]]
        for block, line in counts.iterrows()
    ]
    columns = [
        Column(head=words.say("Block")),
        *[Column(head=words.say(CLASS_WORDS[name]), width="1fr", side="r") for name in shown],
    ]
    return parts.table(columns, rows, size_pt=10.5)


def _tasks(plan: PlanView, blocks: pd.DataFrame, words: Words) -> list[Part]:
    trees = plan.layers.trees[["tree_id", "block_id"]].merge(plan.tasks, on="tree_id")
    trees = trees[trees["block_id"].isin(blocks["block_id"])]
    if trees.empty:
        return []
    own = trees.groupby("task_id").size()
    sums = plan.task_sums.set_index("task_id")
    mornings = plan.roster[plan.roster["kind"].isin(TAPPED)].groupby("task_id").size()
    rows: list[list[Cell]] = [
        [
            parts.bold(str(task)),
            words.number(int(count)),
            words.number(int(sums.loc[task, "trees"])),
            str(int(sums.loc[task, "round_day"])),
            words.number(int(mornings.get(task, 0))),
        ]
        for task, count in own.items()
    ]
    say = words.say
    columns = [
        Column(head=say("Task")),
        Column(head=say("own trees"), width="1fr", side="r"),
        Column(head=say("trees of the task"), width="1fr", side="r"),
        Column(head=say("Round day"), width="1fr", side="r"),
        Column(head=say("mornings planned"), width="1fr", side="r"),
    ]
    return [parts.heading(say("Tapping tasks")), parts.table(columns, rows, size_pt=10.5)]


def _crop(plan: CropPlan, member: str, words: Words) -> list[Part]:
    own = plan.crop[plan.crop["member"] == member]
    if own.empty:
        return []
    months = total_crop(own, ["month"])
    say = words.say
    drawn = parts.chart(
        lambda: crop_by_month(months, words=words),
        alt=say("Expected crop"),
        width_mm=188.0,
        height_mm=62.0,
    )
    rows: list[list[Cell]] = [
        [
            words.month(pd.Timestamp(line.month).date(), year=True),
            parts.bold(words.number(line.dry_rubber_kg)),
            f"{words.number(line.low_kg)}–{words.number(line.high_kg)}",
        ]
        for line in months.itertuples()
    ]
    columns = [
        Column(head=say("Month")),
        Column(head=say("dry rubber, kg"), side="r"),
        Column(head=say("interval, kg"), side="r"),
    ]
    note = say(
        "An estimate from published yields, or from this cooperative's records where it keeps them."
        " It is no promise: rain, wintering and health of the trees change it."
    )
    return [
        parts.heading(say("Expected crop")),
        drawn,
        parts.table(columns, rows, size_pt=10.5, note=note),
    ]
