"""What each task sheet says, ready to typeset."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd

from estate.panels import MarkingGuide, marking_guide
from reports.drawings.compass import compass_word, face_compass
from reports.drawings.scales import scale_bar
from reports.drawings.strokes import Disc, Drawing, Shape, Stroke, Symbol
from reports.drawings.task_map import NEIGHBOUR_GREY, WAY_GREY, draw_task_map
from reports.drawings.trunk import standing_tree, unrolled_trunk
from reports.palette import CLASS_MARKS, INK
from reports.plan_view import PlanView
from reports.sheets.phrases import cautions
from reports.sheets.row_runs import OTHER_TASK, RowRun, number_ranges, row_runs
from reports.sheets.task_ground import members_of, task_grounds
from reports.words import Words, mark

PASS_WORDS = {
    "vacant": mark("empty"),
    "dead": mark("dead"),
    "dry": mark("dry"),
    "near-ready": mark("soon ready"),
    "immature": mark("young"),
    "unmeasured": mark("not measured"),
    OTHER_TASK: mark("other task"),
}
_PASSED_TOGETHER = {
    mark("dry"): ("dry",),
    mark("not ready"): ("near-ready", "immature", "unmeasured"),
    mark("empty"): ("vacant", "dead"),
    mark("other task"): (OTHER_TASK,),
}
_MONTHS_SHOWN = 6
MAP_SIZES_MM = {"a4": (112.0, 98.0), "a5": (128.5, 84.0)}
_GUIDE_MM, _STANDING_MM = 82.0, 19.0
_TRUNK_MM = {"a4": 58.0, "a5": 48.0}


def task_contents(
    plan: PlanView, task_ids: Sequence[str], *, words: Words, paper: str
) -> list[dict[str, Any]]:
    """Give what the sheets of some tasks say.

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
    runs = row_runs(plan.tasks, plan.layers.trees, plan.layers.rows, plan.classes)
    sums = plan.task_sums.set_index("task_id")
    panels = _task_panels(plan)
    members = members_of(plan)
    roster = _task_days(plan.roster)
    width_mm, height_mm = MAP_SIZES_MM[paper]
    sheets = []
    for task_id, ground in task_grounds(plan, list(task_ids)):
        task = sums.loc[task_id]
        drawn = draw_task_map(ground, words=words, width_mm=width_mm, height_mm=height_mm)
        blocks = str(task["block_ids"]).split(",")
        many = len(blocks) > 1
        marked = panels.get(task_id)
        dates, make_up = _dates(roster.get(task_id), words)
        sheets.append(
            {
                "name": words.say("Task {task}", task=task_id),
                "place": _place(blocks, members, words),
                "facts": _facts(task, _tapper(plan, roster.get(task_id)), words),
                "map": drawn.for_sheet(),
                **_map_words(drawn, words),
                "legend": _legend(drawn, words),
                "rows": [_row(run, words, many=many) for run in runs[task_id]],
                "faces": _faces(plan, marked, blocks, words),
                "marking": _marking(plan, marked, words, height_mm=_TRUNK_MM[paper]),
                "dates": dates,
                "make_up": make_up,
                "cautions": cautions(words, high_knife=bool(task["needs_high_knife"])),
            }
        )
    return sheets


def _place(blocks: Sequence[str], members: pd.Series, words: Words) -> str:
    owners = dict.fromkeys(str(members.get(block.strip(), "")) for block in blocks)
    named = ", ".join(block.strip() for block in blocks)
    said = words.count("Block {blocks}", "Blocks {blocks}", len(blocks), blocks=named)
    return " · ".join([said, *[owner for owner in owners if owner]])


def _tapper(plan: PlanView, days: pd.DataFrame | None) -> str:
    """Give the name of the tapper who has most of a task's mornings; empty where nobody has."""
    if days is None or days["tapper_id"].isna().all():
        return ""
    who = str(days["tapper_id"].mode().iloc[0])
    tappers = plan.layers.tappers
    if "name" not in tappers:
        return who
    named = tappers.loc[tappers["tapper_id"] == who, "name"].dropna()
    return str(named.iloc[0]) if len(named) else who


def _facts(task: pd.Series, tapper: str, words: Words) -> list[dict[str, str]]:
    hours = words.say(
        "{hours} h {minutes} min",
        hours=int(task["minutes"] // 60),
        minutes=round(task["minutes"] % 60),
    )
    knife = words.say("long knife") if task["needs_high_knife"] else words.say("hand knife")
    named = [{"label": words.say("Tapper"), "value": tapper}] if tapper else []
    return [
        *named,
        {"label": words.say("Trees to tap"), "value": words.number(task["trees"])},
        {"label": words.say("Work"), "value": hours},
        {"label": words.say("Walk"), "value": f"{words.number(round(task['walk_m'], -1))} m"},
        {"label": words.say("Round day"), "value": str(int(task["round_day"]))},
        {"label": words.say("Knife"), "value": knife},
    ]


def _map_words(drawn: Drawing, words: Words) -> dict[str, Any]:
    scale = float(drawn.notes["scale"])
    bar = scale_bar(scale, longest_mm=55.0)
    marks = [
        {"mm": 0.0, "text": "0"},
        {"mm": bar.length_mm / bar.parts, "text": words.number(bar.length_m / bar.parts, 0)}
        if bar.length_m / bar.parts >= 1 and bar.length_mm / bar.parts > 9
        else {"mm": bar.length_mm / 2, "text": words.number(bar.length_m / 2, 0)},
        {"mm": bar.length_mm, "text": f"{words.number(bar.length_m)} m"},
    ]
    return {
        "bar": {"length_mm": bar.length_mm, "parts": bar.parts, "marks": marks},
        "scale_words": words.say("Scale 1:{scale}", scale=words.number(scale)),
        "way_words": words.say("Follow the arrows from Start to End."),
    }


def _legend(drawn: Drawing, words: Words) -> list[dict[str, Any]]:
    shown = {shape.name: shape for shape in drawn.shapes}
    size = 3.6

    def box(*shapes: Shape, wide: float = size) -> dict[str, object]:
        return Drawing(width_mm=wide, height_mm=size, shapes=shapes).for_sheet()

    middle = [(size / 2, size / 2)]
    dot = Disc(centres=middle, radius_mm=0.75, fill=INK)
    way = Stroke(lines=[[(0.7, size / 2), (6.3, size / 2)]], width_mm=1.3, ink=WAY_GREY)
    items = [
        {"drawing": box(dot), "text": words.say("tree to tap")},
        {"drawing": box(way, wide=7.0), "text": words.say("way")},
    ]
    for kind, style in CLASS_MARKS.items():
        shape = shown.get(kind)
        if isinstance(shape, Symbol) and shape.centres and kind in PASS_WORDS:
            symbol = Symbol(centres=middle, path=style.path, size_mm=2.6, fill=INK)
            items.append({"drawing": box(symbol), "text": words.say(PASS_WORDS[kind])})
    other = shown.get("other")
    if isinstance(other, Disc) and other.centres:
        grey = Disc(centres=middle, radius_mm=0.5, fill=NEIGHBOUR_GREY)
        items.append({"drawing": box(grey), "text": words.say("other task")})
    return items


def _row(run: RowRun, words: Words, *, many: bool) -> dict[str, str]:
    passed = []
    for said, kinds in _PASSED_TOGETHER.items():
        numbers = sorted(number for kind in kinds for number in run.passed.get(kind, ()))
        if numbers:
            passed.append(f"{words.say(said)} {number_ranges(tuple(numbers))}")
    return {
        "row": f"{run.block_id} {run.row_no}" if many else str(run.row_no),
        "from_to": f"{run.first_tree} → {run.last_tree}",
        "to_tap": str(run.to_tap),
        "passed": "; ".join(passed),
    }


def _task_panels(plan: PlanView) -> dict[str, pd.DataFrame]:
    first = plan.panels[plan.panels["panel_no"] == 1]
    joined = first.merge(plan.tasks[["tree_id", "task_id"]], on="tree_id").merge(
        plan.layers.trees[["tree_id", "block_id"]], on="tree_id"
    )
    return {str(task_id): panels for task_id, panels in joined.groupby("task_id", sort=False)}


def _faces(
    plan: PlanView, panels: pd.DataFrame | None, blocks: Sequence[str], words: Words
) -> list[dict[str, Any]]:
    if panels is None:
        return []
    said: dict[float, list[str]] = {}
    for block in blocks:
        own = panels.loc[panels["block_id"] == block.strip(), "face_deg"]
        if len(own):
            said.setdefault(float(own.mode().iloc[0]), []).append(block.strip())
    faces = []
    for face_deg, named in list(said.items())[:2]:
        way = words.say(compass_word(face_deg))
        note = words.say("Stand with your back to the {way}: the panel is before you.", way=way)
        if len(said) > 1:
            note = f"{', '.join(named)}. {note}"
        faces.append(
            {
                "drawing": face_compass(face_deg, words=words, size_mm=28.0).for_sheet(),
                "words": words.say("Cut faces {way}", way=way),
                "note": note,
            }
        )
    return faces


DIRECTION_WORDS = {"down": mark("Downward"), "up": mark("Upward")}


def _marking(
    plan: PlanView, panels: pd.DataFrame | None, words: Words, *, height_mm: float
) -> list[dict[str, Any]]:
    """Give the marking guide of each direction that the task's trees are tapped in."""
    if panels is None:
        return []
    directions = list(panels.groupby("direction", sort=True))
    alone = len(directions) == 1
    return [
        _marking_of(own, str(direction), plan, words, height_mm=height_mm, alone=alone)
        for direction, own in directions
    ]


def _marking_of(
    panels: pd.DataFrame,
    direction: str,
    plan: PlanView,
    words: Words,
    *,
    height_mm: float,
    alone: bool,
) -> dict[str, Any]:
    """Give one guide: beside a standing tree where it is alone, else half as wide."""
    middle = panels.iloc[(panels["girth_cm"] - panels["girth_cm"].median()).abs().argmin()]
    guide = marking_guide(
        float(round(middle["girth_cm"])),
        standard=plan.standard,
        direction=direction,
        panels=int(middle["panel_count"]),
    )
    width_mm = _GUIDE_MM - _STANDING_MM - 2.5 if alone else _GUIDE_MM / 2 - 1.5
    drawn = unrolled_trunk(guide, width_mm=width_mm, height_mm=height_mm)
    girth, scale = words.number(guide.girth_cm), words.number(float(drawn.notes["scale"]))
    drawings = [drawn.for_sheet()]
    if alone:
        tree = standing_tree(guide, width_mm=_STANDING_MM, height_mm=height_mm)
        drawings.append(tree.for_sheet())
        said = words.say(
            "Bark unrolled, girth {girth} cm, 1:{scale}. At the right the standing tree,"
            " 1:{standing}. Heights in cm above the ground.",
            girth=girth,
            scale=scale,
            standing=words.number(float(tree.notes["scale"])),
        )
    else:
        said = words.say(
            "{direction}: bark unrolled, girth {girth} cm, 1:{scale}, heights in cm.",
            direction=words.say(DIRECTION_WORDS[direction]),
            girth=girth,
            scale=scale,
        )
    lines = marking_lines(guide, words)
    if not alone:
        lines = [{"key": "", "text": words.say(DIRECTION_WORDS[direction])}, lines[0]]
    return {
        "drawings": drawings,
        "lines": lines,
        "scale_words": said,
        **_marking_table(panels, direction, plan, words, lines=4 if alone else 2),
    }


def marking_lines(guide: MarkingGuide, words: Words) -> list[dict[str, str]]:
    """Give the marks of a guide as short lines, each with the letter it has on the drawing."""
    say, number = words.say, words.number
    return [
        {
            "key": "A",
            "text": say(
                "First cut: low end right, {height} cm high; slope {slope}°",
                height=number(guide.opening_height_cm),
                slope=number(guide.slope_deg),
            ),
        },
        {
            "key": "B",
            "text": say(
                "Guide lines {spacing} cm apart", spacing=number(guide.guide_spacing_cm, 2)
            ),
        },
        {
            "key": "C",
            "text": say(
                "Gutter {width} × {length} cm",
                width=number(guide.gutter_width_cm, 1),
                length=number(guide.gutter_length_cm),
            ),
        },
        {
            "key": "D",
            "text": say("Cup {below} cm below the cut", below=number(guide.cup_below_cm)),
        },
        {
            "key": "",
            "text": say(
                "{count} panels, {gap} cm apart",
                count=guide.panel_count,
                gap=number(guide.gap_cm),
            ),
        },
        {
            "key": "",
            "text": say(
                "Cut at most {most} mm deep; never touch the wood",
                most=number(guide.depth_limit_mm),
            ),
        },
    ]


def _marking_table(
    panels: pd.DataFrame, direction: str, plan: PlanView, words: Words, *, lines: int
) -> dict[str, Any]:
    shares = np.linspace(0.05, 0.95, lines)
    girths = np.unique(np.round(np.quantile(panels["girth_cm"], shares)))
    rows = []
    for girth in girths:
        nearest = panels.iloc[(panels["girth_cm"] - girth).abs().argmin()]
        guide = marking_guide(
            float(girth),
            standard=plan.standard,
            direction=direction,
            panels=int(nearest["panel_count"]),
        )
        rows.append(
            [
                words.number(girth),
                words.number(guide.panel_width_cm, 1),
                words.number(guide.cut_length_cm, 1),
                words.number(guide.drop_cm, 1),
            ]
        )
    head = [
        words.say("Girth, cm"),
        words.say("Panel, cm"),
        words.say("Cut, cm"),
        words.say("Drop, cm"),
    ]
    return {"head": head, "rows": rows}


def _task_days(roster: pd.DataFrame) -> dict[str, pd.DataFrame]:
    days = roster[roster["kind"].isin(["tap", "make-up"]) & roster["task_id"].notna()]
    return {str(task): own for task, own in days.groupby("task_id", sort=False)}


def _dates(days: pd.DataFrame | None, words: Words) -> tuple[list[dict[str, str]], bool]:
    if days is None:
        return [], False
    when = pd.to_datetime(days["date"])
    days = days.assign(when=when, month=when.dt.to_period("M")).sort_values("when")
    months = list(days.groupby("month", sort=True))[:_MONTHS_SHOWN]
    shown = [
        {
            "month": words.month(own["when"].iloc[0].date(), year=number == 0),
            "days": ", ".join(
                str(day.day) + ("*" if kind == "make-up" else "")
                for day, kind in zip(own["when"], own["kind"], strict=True)
            ),
        }
        for number, (_, own) in enumerate(months)
    ]
    starred = any((own["kind"] == "make-up").any() for _, own in months)
    return shown, starred
