"""What a task sheet says of marking: the way the cut faces, the guide, its drawing and sizes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd

from estate.panels import BarkUse, MarkingGuide, MarkingPractice, marking_guide
from estate.standards import OpeningStandard
from reports.drawings.compass import compass_word, face_compass
from reports.drawings.strokes import Drawing
from reports.drawings.trunk import standing_tree, unrolled_trunk
from reports.plan_view import PlanView
from reports.words import Words, mark

DIRECTION_WORDS = {"down": mark("Downward"), "up": mark("Upward")}
_GirthAndPanels = tuple[float, str, int]
_STACKED = 0.73


@dataclass(frozen=True, kw_only=True)
class MarkingDesk:
    """Marking guides in one language for a room on paper; guides of one girth are made once.

    Parameters
    ----------
    standard, practice
        The opening standard, and how trees are marked.
    budget
        What each direction of cut uses of the bark.
    words
        The language.
    width_mm, height_mm
        The room for the unrolled bark, millimetres.
    standing_mm
        The room for the standing tree, width and height, millimetres.
    """

    standard: OpeningStandard
    practice: MarkingPractice
    budget: tuple[BarkUse, ...]
    words: Words
    width_mm: float
    height_mm: float
    standing_mm: tuple[float, float]
    _guides: dict[_GirthAndPanels, MarkingGuide] = field(default_factory=dict, repr=False)
    _barks: dict[tuple[_GirthAndPanels, bool], Drawing] = field(default_factory=dict, repr=False)

    def guide(self, girth_cm: float, direction: str, panels: int) -> MarkingGuide:
        """Give the guide of a girth (cm), a direction and a number of panels."""
        key = (girth_cm, direction, panels)
        if key not in self._guides:
            self._guides[key] = marking_guide(
                girth_cm,
                standard=self.standard,
                direction=direction,
                panels=panels,
                practice=self.practice,
            )
        return self._guides[key]

    def bark(self, guide: MarkingGuide, *, alone: bool) -> Drawing:
        """Give the unrolled bark, lower where another guide stands under it.

        Never narrower: four panels side by side need the width for their names.
        """
        key = ((guide.girth_cm, guide.direction, guide.panel_count), alone)
        if key not in self._barks:
            height_mm = self.height_mm if alone else _STACKED * self.height_mm
            self._barks[key] = unrolled_trunk(guide, width_mm=self.width_mm, height_mm=height_mm)
        return self._barks[key]

    def standing(self, panels: pd.DataFrame | None) -> dict[str, Any] | None:
        """Give the standing tree of a task whose trees are tapped in one direction; else None."""
        if panels is None or panels["direction"].nunique() != 1:
            return None
        wide_mm, high_mm = self.standing_mm
        guide = self._usual(panels, str(panels["direction"].iloc[0]))
        drawn = standing_tree(guide, width_mm=wide_mm, height_mm=high_mm)
        return {"drawing": drawn.for_sheet()}

    def marking(self, panels: pd.DataFrame | None) -> list[dict[str, Any]]:
        """Give the marking of each direction that a task's trees are tapped in.

        Parameters
        ----------
        panels
            The first panel of each tree: ``girth_cm``, ``direction``, ``panel_count``; None for
            a task without.
        """
        if panels is None:
            return []
        directions = list(panels.groupby("direction", sort=True))
        alone = len(directions) == 1
        return [self._direction(own, str(name), alone=alone) for name, own in directions]

    def _direction(self, panels: pd.DataFrame, direction: str, *, alone: bool) -> dict[str, Any]:
        girths = panels["girth_cm"].to_numpy(float)
        counts = panels["panel_count"].to_numpy(int)
        shares = np.linspace(0.05, 0.95, 4 if alone else 2)
        shown = np.unique(np.round(np.quantile(girths, shares)))
        named = [self._near(girth, direction, girths, counts) for girth in shown]
        guide = self._usual(panels, direction)
        bark = self.bark(guide, alone=alone)
        use = next((use for use in self.budget if use.direction == direction), None)
        if alone:
            lines = marking_lines(guide, self.words, use=use)
        else:
            lines = short_lines(guide, self.words)
        say = self.words.say
        return {
            "drawing": bark.for_sheet(),
            "direction": "" if alone else say(DIRECTION_WORDS[direction]),
            "lines": lines,
            "scale_words": say(
                "{direction}: bark unrolled, girth {girth} cm, 1:{scale}, heights in cm.",
                direction=say(DIRECTION_WORDS[direction]),
                girth=self.words.number(guide.girth_cm),
                scale=_scale_words(bark, self.words),
            ),
            "head": [say("Girth"), say("Panel"), say("Cut"), say("Drop")],
            "rows": [self._sizes(sizes) for sizes in named],
            "table_title": say("Sizes by girth, all in cm"),
        }

    def _usual(self, panels: pd.DataFrame, direction: str) -> MarkingGuide:
        girths = panels["girth_cm"].to_numpy(float)
        counts = panels["panel_count"].to_numpy(int)
        return self._near(float(np.round(np.median(girths))), direction, girths, counts)

    def _near(
        self, girth_cm: float, direction: str, girths: np.ndarray, counts: np.ndarray
    ) -> MarkingGuide:
        nearest = int(counts[np.abs(girths - girth_cm).argmin()])
        return self.guide(float(girth_cm), direction, nearest)

    def _sizes(self, guide: MarkingGuide) -> list[str]:
        number = self.words.number
        sizes = (guide.panel_width_cm, guide.cut_length_cm, guide.drop_cm)
        return [number(guide.girth_cm), *[number(size, 1) for size in sizes]]


def _scale_words(drawn: Drawing, words: Words) -> str:
    scale = float(drawn.notes["scale"])
    return words.number(scale, 0 if scale.is_integer() else 1)


def exact(value: float, words: Words) -> str:
    """Write a measure with a decimal where it has one: a depth is never rounded up."""
    return words.number(value, 0 if float(value).is_integer() else 1)


def marking_lines(
    guide: MarkingGuide, words: Words, *, use: BarkUse | None = None
) -> list[dict[str, str]]:
    """Give the marks of a guide as short lines, each with the letter it has on the drawing.

    Where guide lines lie further apart than a month's tappings use, the second line says so.
    """
    say, number = words.say, words.number
    lines_apart = say("Guide lines {spacing} cm apart", spacing=number(guide.guide_spacing_cm, 2))
    if use is not None and guide.guide_spacing_cm > use.month_most_cm:
        lines_apart = say(
            "Lines {spacing} cm apart, a bound: a month uses {low}–{high}",
            spacing=number(guide.guide_spacing_cm, 2),
            low=number(use.month_least_cm, 1),
            high=number(use.month_most_cm, 1),
        )
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
            "text": lines_apart,
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
        {"key": "", "text": depth_line(guide, words)},
    ]


def depth_line(guide: MarkingGuide, words: Words) -> str:
    """Give the deepest cut, and the bark under which no tree is marked or cut."""
    return words.say(
        "At most {most} mm deep, never to the wood; no cut in bark under {least} mm",
        most=exact(guide.depth_limit_mm, words),
        least=exact(guide.bark_least_mm, words),
    )


def short_lines(guide: MarkingGuide, words: Words) -> list[dict[str, str]]:
    """Give the least that a guide says where two share a page: the cut, its fittings, its depth."""
    say, number = words.say, words.number
    return [
        marking_lines(guide, words)[0],
        {
            "key": "B",
            "text": say(
                "lines {spacing} cm apart; C gutter, D cup {below} cm below",
                spacing=number(guide.guide_spacing_cm, 2),
                below=number(guide.cup_below_cm),
            ),
        },
        {"key": "", "text": depth_line(guide, words)},
    ]


def task_panels(plan: PlanView, tasks: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Give the first panel of each tree of some tasks, with its block, keyed by task."""
    first = plan.panels[plan.panels["panel_no"] == 1]
    joined = first.merge(tasks[["tree_id", "task_id"]], on="tree_id").merge(
        pd.DataFrame(plan.layers.trees[["tree_id", "block_id"]]), on="tree_id"
    )
    return {str(task_id): panels for task_id, panels in joined.groupby("task_id", sort=False)}


def faces(panels: pd.DataFrame | None, blocks: Sequence[str], words: Words) -> list[dict[str, Any]]:
    """Give the way that the cut faces in each of a task's blocks, blocks alike together."""
    if panels is None:
        return []
    said: dict[float, list[str]] = {}
    for block in blocks:
        own = panels.loc[panels["block_id"] == block, "face_deg"]
        if len(own):
            said.setdefault(float(own.mode().iloc[0]), []).append(block)
    told = []
    for face_deg, named in list(said.items())[:2]:
        way = words.say(compass_word(face_deg))
        note = words.say("Stand with your back to the {way}: the panel is before you.", way=way)
        if len(said) > 1:
            note = f"{', '.join(named)}. {note}"
        told.append(
            {
                "drawing": face_compass(face_deg, words=words, size_mm=28.0).for_sheet(),
                "words": words.say("Cut faces {way}", way=way),
                "note": note,
            }
        )
    return told
