"""What each task sheet says, ready to typeset."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import pandas as pd

from layers.key_list import split_keys
from reports.drawings.task_map import TaskGround
from reports.plan_view import PlanView
from reports.sheets.map_contents import block_words
from reports.sheets.marking_contents import MarkingDesk, faces, task_panels
from reports.sheets.phrases import cautions
from reports.sheets.row_runs import OTHER_TASK, RowRun, number_ranges, row_runs
from reports.sheets.task_days import dates, tapper_name, task_days
from reports.sheets.task_ground import members_of, task_grounds
from reports.sheets.task_leaves import maps_seen, maps_unseen
from reports.words import Words, mark

_PASSED_TOGETHER = {
    mark("dry"): ("dry",),
    mark("not ready"): ("near-ready", "immature", "unmeasured"),
    mark("not marked"): ("ready", "mature"),
    mark("empty"): ("vacant", "dead"),
    mark("other task"): (OTHER_TASK,),
}
_BARK_MM = {"a4": (60.0, 52.0), "a5": (66.0, 46.0)}
_STANDING_MM = (18.0, 34.0)


@dataclass(frozen=True, kw_only=True)
class TaskSheet:
    """One task's sheet but for its maps.

    Parameters
    ----------
    ground
        What its maps show.
    contents
        The rest, ready to typeset.
    """

    ground: TaskGround
    contents: dict[str, Any]

    def unseen(self, *, words: Words, paper: str) -> dict[str, Any]:
        """Give the sheet with room left for its maps, to learn how much there is."""
        return {**self.contents, **maps_unseen(self.ground, words, paper=paper)}

    def seen(self, room: Mapping[str, float], *, words: Words, paper: str) -> dict[str, Any]:
        """Give the sheet with its maps drawn in the room that `unseen` turned out to have."""
        rows = len(self.contents["rows"])
        return {**self.contents, **maps_seen(self.ground, room, words, rows=rows, paper=paper)}


def prepare_sheets(
    plan: PlanView, task_ids: Sequence[str], *, words: Words, paper: str
) -> list[TaskSheet]:
    """Prepare the sheets of some tasks.

    Parameters
    ----------
    plan
        A finished plan.
    task_ids
        Its tasks, in the order of the sheets.
    words
        The language.
    paper
        ``a4`` or ``a5``.
    """
    layers = plan.layers
    tasks = plan.tasks[plan.tasks["task_id"].isin(task_ids)]
    runs = row_runs(plan.tasks, layers.trees, layers.rows, plan.classes, only=task_ids)
    sums = plan.task_sums.set_index("task_id")
    panels = task_panels(plan, tasks)
    members = members_of(plan)
    mornings = task_days(plan.roster)
    width_mm, height_mm = _BARK_MM[paper]
    desk = MarkingDesk(
        standard=plan.standard,
        practice=plan.practice,
        budget=plan.bark_budget,
        words=words,
        width_mm=width_mm,
        height_mm=height_mm,
        standing_mm=_STANDING_MM,
    )
    sheets = []
    for task_id, ground in task_grounds(plan, list(task_ids)):
        task = sums.loc[task_id]
        blocks = split_keys(str(task["block_ids"]))
        days = mornings.get(task_id)
        shown, make_up = dates(days, words)
        contents = {
            "name": words.say("Task {task}", task=task_id),
            "place": block_words(blocks, members, words),
            "facts": _facts(task, tapper_name(layers.tappers, days), words),
            "rows": _rows(runs[task_id], words, many=len(blocks) > 1),
            "entered_often": any(len(run.stretches) > 1 for run in runs[task_id]),
            "faces": faces(panels.get(task_id), blocks, words),
            "marking": desk.marking(panels.get(task_id)),
            "standing": desk.standing(panels.get(task_id)),
            "dates": shown,
            "make_up": make_up,
            "cautions": cautions(words, high_knife=bool(task["needs_high_knife"])),
        }
        sheets.append(TaskSheet(ground=ground, contents=contents))
    return sheets


def _facts(task: pd.Series, tapper: str, words: Words) -> list[dict[str, str]]:
    hours, minutes = divmod(round(task["minutes"]), 60)
    work = (
        words.say("{hours} h {minutes} min", hours=hours, minutes=minutes)
        if hours
        else words.say("{minutes} min", minutes=minutes)
    )
    knife = words.say("long knife") if task["needs_high_knife"] else words.say("hand knife")
    named = [{"label": words.say("Tapper"), "value": tapper}] if tapper else []
    return [
        *named,
        {"label": words.say("Trees to tap"), "value": words.number(task["trees"])},
        {"label": words.say("Work"), "value": work},
        {"label": words.say("Walk"), "value": f"{words.number(round(task['walk_m'], -1))} m"},
        {"label": words.say("Round day"), "value": str(int(task["round_day"]))},
        {"label": words.say("Knife"), "value": knife},
    ]


def _rows(runs: Sequence[RowRun], words: Words, *, many: bool) -> list[dict[str, str]]:
    """Give the list of rows; each block's name over its rows where there are many blocks."""
    told, block_id = [], ""
    for run in runs:
        heads = many and run.block_id != block_id
        block_id = run.block_id
        named = words.count("Block {blocks}", "Blocks {blocks}", 1, blocks=run.block_id)
        passed = []
        for said, kinds in _PASSED_TOGETHER.items():
            numbers = sorted(number for kind in kinds for number in run.passed.get(kind, ()))
            if numbers:
                passed.append(f"{words.say(said)} {number_ranges(tuple(numbers))}")
        told.append(
            {
                "block": named if heads else "",
                "in_block": named if many else "",
                "row": str(run.row_no),
                "from_to": _from_to(run),
                "to_tap": str(run.to_tap),
                "passed": "; ".join(passed),
            }
        )
    return told


def _from_to(run: RowRun) -> str:
    """Write the way in a row; where it is left and entered again, its range and how often."""
    if len(run.stretches) == 1:
        return "{} → {}".format(*run.stretches[0])
    numbers = [number for stretch in run.stretches for number in stretch]
    return f"{min(numbers)}–{max(numbers)} ({len(run.stretches)}×)"
