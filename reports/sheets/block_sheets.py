"""The sheets of a block's tasks: a page a task, or more where its map asks for them."""

from __future__ import annotations

from pathlib import Path

from layers.errors import SettingError
from reports.plan_view import PlanView
from reports.sheets.phrases import foot, task_words
from reports.sheets.press import Paper, check_paper, measured, press
from reports.sheets.task_contents import prepare_sheets
from reports.sheets.task_ground import tasks_of_block
from reports.words import words_in


def block_sheets(
    plan: PlanView, block_id: str, path: Path, *, language: str = "en", paper: Paper = "a4"
) -> Path:
    """Write the sheets of the tasks that touch a block, one page a task or more.

    Parameters
    ----------
    plan
        A finished plan.
    block_id
        One of its blocks.
    path
        The PDF to write; its folder must exist.
    language
        One of `reports.words.LANGUAGES`.
    paper
        ``a4``; or ``a5`` for an A4 sheet folded to A5, map outside.

    Returns
    -------
    Path
        `path`.

    Raises
    ------
    SettingError
        No task touches the block, or the language or paper isn't known.
    """
    tasks = tasks_of_block(plan, block_id)
    if not tasks:
        raise SettingError.at(
            layer="tasks",
            row=block_id,
            found=f"no task that touches block {block_id}",
            expected="a block with trees to tap",
            remedy="Choose a block that is open or in tapping.",
        )
    return task_sheets(plan, tasks, path, language=language, paper=paper)


def task_sheets(
    plan: PlanView,
    task_ids: list[str],
    path: Path,
    *,
    language: str = "en",
    paper: Paper = "a4",
) -> Path:
    """Write the sheets of some tasks, in the order given; otherwise as `block_sheets`.

    The sheets are set twice: once to learn how much room the words leave for each map. A task whose
    rows would lie too close on one page gets a larger map of each of its blocks on the next.
    """
    check_paper(paper)
    words = words_in(language)
    contents = {
        "title": words.say("Tapping sheets"),
        "author": plan.name,
        "paper": paper,
        "words": task_words(words),
        "foot": foot(words, name=plan.name, on=plan.on, layers=plan.layers),
    }
    sheets = prepare_sheets(plan, task_ids, words=words, paper=paper)
    unseen = [sheet.unseen(words=words, paper=paper) for sheet in sheets]
    rooms = measured("task", {**contents, "measuring": True, "tasks": unseen}, "room", words=words)
    seen = [
        sheet.seen(room, words=words, paper=paper)
        for sheet, room in zip(sheets, rooms, strict=True)
    ]
    told = {**contents, "measuring": False, "tasks": seen}
    return press("task", told, path, words=words, on=plan.on)
