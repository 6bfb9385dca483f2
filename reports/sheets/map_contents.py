"""What stands under a task's map: its scale bar and its legend."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any

import pandas as pd

from reports.drawings.obstacle_lines import OBSTACLE_WORDS, obstacle_shapes
from reports.drawings.scales import scale_bar
from reports.drawings.strokes import Disc, Drawing, Shape, Stroke, Symbol
from reports.drawings.task_map import NEIGHBOUR_GREY, PLACE_WORDS, WAY_GREY, TaskGround
from reports.palette import CLASS_MARKS, INK, PLACE_MARKS
from reports.sheets.row_runs import OTHER_TASK
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
LONGEST_BAR_MM = 50.0
_SAMPLE_MM = 3.6


def kinds_near(ground: TaskGround) -> set[str]:
    """Give every kind of tree, place and obstacle that a task's map may show."""
    passed = ground.others["passed"]
    kinds = set(ground.others.loc[passed, "class"].dropna()) | set(ground.obstacles["kind"])
    return kinds | set(ground.places["kind"]) | (set() if passed.all() else {OTHER_TASK})


def kinds_shown(drawn: Drawing) -> set[str]:
    """Give the kinds of tree, place and obstacle that a drawn map shows."""
    kinds = set()
    for shape in drawn.shapes:
        if isinstance(shape, Symbol | Disc) and shape.centres:
            kinds.add(shape.name)
        elif shape.name.startswith("obstacle "):
            kinds.add(shape.name.removeprefix("obstacle "))
    return kinds


def legend(kinds: Collection[str], words: Words) -> list[dict[str, Any]]:
    """Give a sample and a word for the tree to tap, the way and each kind of some."""
    half = _SAMPLE_MM / 2
    middle = [(half, half)]
    way = Stroke(lines=[[(0.7, half), (6.3, half)]], width_mm=1.3, ink=WAY_GREY)
    items = [
        _item(words.say("tree to tap"), Disc(centres=middle, radius_mm=0.75, fill=INK)),
        _item(words.say("way"), way, wide_mm=7.0),
    ]
    for kind, style in CLASS_MARKS.items():
        if kind in kinds and kind in PASS_WORDS:
            symbol = Symbol(centres=middle, path=style.path, size_mm=2.6, fill=INK)
            items.append(_item(words.say(PASS_WORDS[kind]), symbol))
    for kind, style in PLACE_MARKS.items():
        if kind in kinds:
            symbol = Symbol(centres=middle, path=style.path, size_mm=3.2, fill=INK)
            items.append(_item(words.say(PLACE_WORDS[kind]), symbol))
    for kind, word in OBSTACLE_WORDS.items():
        if kind in kinds:
            sample = obstacle_shapes(kind, [[(0.6, half), (8.4, half)]])
            items.append(_item(words.say(word), *sample, wide_mm=9.0))
    if OTHER_TASK in kinds:
        grey = Disc(centres=middle, radius_mm=0.5, fill=NEIGHBOUR_GREY)
        items.append(_item(words.say("tree not of this task"), grey))
    return items


def _item(word: str, *shapes: Shape, wide_mm: float = _SAMPLE_MM) -> dict[str, Any]:
    sample = Drawing(width_mm=wide_mm, height_mm=_SAMPLE_MM, shapes=shapes)
    return {"drawing": sample.for_sheet(), "text": word}


def map_unseen(ground: TaskGround, words: Words, *, width_mm: float) -> dict[str, Any]:
    """Give what may stand under a map that isn't drawn yet, for measuring its room."""
    bar = {"length_mm": LONGEST_BAR_MM, "parts": 5, "marks": []}
    return {
        "map": {"width_mm": width_mm},
        "bar": bar,
        "scale_words": words.say("Scale 1:{scale}", scale=words.number(10000)),
        "legend": legend(kinds_near(ground), words),
        "way_words": _way_words(words, more=True),
        "leaf_way_words": _way_words(words, more=False),
    }


def map_seen(drawn: Drawing, words: Words, *, more: bool = False) -> dict[str, Any]:
    """Give a drawn map with what stands under it; `more` where its blocks' own maps follow."""
    return {"map": drawn.for_sheet(), **under_maps([drawn], words, more=more)}


def under_maps(drawn: Sequence[Drawing], words: Words, *, more: bool = False) -> dict[str, Any]:
    """Give the scale bar and legend of maps of one scale."""
    scale = float(drawn[0].notes["scale"])
    bar = scale_bar(scale, longest_mm=LONGEST_BAR_MM)
    part_m, part_mm = bar.length_m / bar.parts, bar.length_mm / bar.parts
    first = (
        (part_mm, part_m) if part_m >= 1 and part_mm > 9 else (bar.length_mm / 2, bar.length_m / 2)
    )
    marks = [
        {"mm": 0.0, "text": "0"},
        {"mm": first[0], "text": words.number(first[1], 0 if first[1] % 1 == 0 else 1)},
        {"mm": bar.length_mm, "text": f"{words.number(bar.length_m)} m"},
    ]
    kinds = set().union(*(kinds_shown(one) for one in drawn))
    return {
        "bar": {"length_mm": bar.length_mm, "parts": bar.parts, "marks": marks},
        "scale_words": words.say("Scale 1:{scale}", scale=words.number(scale)),
        "legend": legend(kinds, words),
        "way_words": _way_words(words, more=more),
    }


def _way_words(words: Words, *, more: bool) -> str:
    told = [words.say("Follow the arrows from Start to End.")]
    if more:
        told.append(words.say("A larger map is on the next page."))
    return " ".join(told)


def block_words(blocks: list[str], members: pd.Series, words: Words) -> str:
    """Name a task's blocks and the members whose they are."""
    owners = dict.fromkeys(str(members.get(block, "")) for block in blocks)
    said = words.count("Block {blocks}", "Blocks {blocks}", len(blocks), blocks=", ".join(blocks))
    return " · ".join([said, *[owner for owner in owners if owner]])
