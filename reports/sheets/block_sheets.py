"""The sheets of a block's tasks: a page a task, or more where its map asks for them."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from itertools import chain
from pathlib import Path
from typing import Any

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
    return task_sheets(plan, _tasks_of(plan, block_id), path, language=language, paper=paper)


def sheets_of_blocks(
    plan: PlanView, paths: Mapping[str, Path], *, language: str = "en", paper: Paper = "a4"
) -> list[Path]:
    """Write the sheets of several blocks, each to its path; otherwise as `block_sheets`.

    A task that touches several of them is laid out once.
    """
    tasks = {block_id: _tasks_of(plan, block_id) for block_id in paths}
    every = list(dict.fromkeys(chain.from_iterable(tasks.values())))
    frame, sheets = _laid_out(plan, every, language=language, paper=paper)

    def write(block_id: str) -> Path:
        told = {**frame, "tasks": [sheets[task] for task in tasks[block_id]]}
        return press("task", told, paths[block_id], words=words_in(language), on=plan.on)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return list(pool.map(write, paths))


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
    frame, sheets = _laid_out(plan, task_ids, language=language, paper=paper)
    told = {**frame, "tasks": [sheets[task] for task in task_ids]}
    return press("task", told, path, words=words_in(language), on=plan.on)


def _tasks_of(plan: PlanView, block_id: str) -> list[str]:
    tasks = tasks_of_block(plan, block_id)
    if not tasks:
        raise SettingError.at(
            layer="tasks",
            row=block_id,
            found=f"no task that touches block {block_id}",
            expected="a block with trees to tap",
            remedy="Choose a block that is open or in tapping.",
        )
    return tasks


def _laid_out(
    plan: PlanView, task_ids: list[str], *, language: str, paper: Paper
) -> tuple[dict[str, Any], dict[str, dict[str, Any]]]:
    """Give what all sheets say, and each task's own, its maps as large as its words leave room."""
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
    return {**contents, "measuring": False}, dict(zip(task_ids, seen, strict=True))
