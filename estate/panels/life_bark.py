"""The bark of one tree as a life plan sees it: sides, generations, and what is open when."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from estate.panels.life_rules import LifeRules
from estate.panels.life_solver import MONTHS, Stage
from estate.panels.notation import PanelName
from estate.panels.notation.system import BARKS

_TINY = 1e-9


@dataclass(frozen=True, kw_only=True)
class Side:
    """One side of the tree at one height: one place, tapped a generation of bark at a time.

    Parameters
    ----------
    letter, number
        ``B`` base or ``H`` high, and the number in the panel's name.
    origin_cm
        Height of the first cut's low right end.
    length_cm
        Bark from there to the bound.
    month_cm
        Bark used in a month.
    opens
        First year of the plan, from 0, in which it may be tapped.
    generation
        The bark being tapped today: 0 virgin, 1 first renewal …
    cut_cm
        How far from the origin today's cut is.
    idle_years
        Years since that bark was last cut.
    older_idle_years
        Years since the generation before it was used up; of no effect on virgin bark.
    cut_year_cm
        Bark used in a year up to today where it was more than the plan's; 0 where it wasn't.
    """

    letter: Literal["B", "H"]
    number: int
    origin_cm: float
    length_cm: float
    month_cm: float
    opens: int
    generation: int = 0
    cut_cm: float = 0.0
    idle_years: float = 0.0
    older_idle_years: float = 0.0
    cut_year_cm: float = 0.0

    @property
    def sign(self) -> int:
        """−1 where it is tapped downward, 1 upward."""
        return -1 if self.letter == "B" else 1

    @property
    def pace_cm(self) -> float:
        """Bark used in a year up to today, cm, no less than the plan's."""
        return max(self.cut_year_cm, self.month_cm * MONTHS)

    def panel(self, generation: int) -> PanelName:
        """Name of one generation of its bark."""
        return PanelName(letter=self.letter, bark=BARKS[generation], number=self.number)


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where one stage's bark lies on the tree.

    Parameters
    ----------
    side, generation
        Whose bark.
    begins_cm
        Distance from the side's origin at which the plan's first shaving is taken.
    """

    side: Side
    generation: int
    begins_cm: float

    def height_cm(self, months: int) -> float:
        """Height of the cut's low right end after so many months of the plan, cm."""
        gone = self.begins_cm + months * self.side.month_cm
        return self.side.origin_cm + self.side.sign * gone


def stages_of(
    sides: list[Side], years: int, rules: LifeRules
) -> tuple[tuple[Stage, ...], tuple[Place, ...]]:
    """Give what each generation of each side offers in a plan of so many years, and where it lies.

    Generations that can't be reached within the plan are left out.
    """
    stages: list[Stage] = []
    places: list[Place] = []
    for column, side in enumerate(sides):
        follows = None
        for generation in range(side.generation, rules.generations):
            stage, begins = _stage(side, column, generation, follows, years, rules, stages)
            if generation > side.generation and not _reached(stage, years, rules, stages):
                break
            follows = len(stages)
            stages.append(stage)
            places.append(Place(side=side, generation=generation, begins_cm=begins))
    return tuple(stages), tuple(places)


def _stage(
    side: Side,
    column: int,
    generation: int,
    follows: int | None,
    years: int,
    rules: LifeRules,
    stages: list[Stage],
) -> tuple[Stage, float]:
    begins = 0.0
    if generation == side.generation:
        begins = side.cut_cm
        months = _whole((side.length_cm - side.cut_cm) / side.month_cm)
        open_cm = [_open_in_use(side, year, rules) for year in range(years)]
    elif generation == side.generation + 1 and follows is not None:
        months = _whole(side.cut_cm / side.month_cm) + stages[follows].months
        open_cm = [_open_behind(side, year, rules) for year in range(years)]
    else:
        months = stages[follows].months if follows is not None else 0
        open_cm = [0.0] * years
    virgin = generation == 0
    return (
        Stage(
            column=column,
            months=months,
            opens=side.opens,
            available=tuple(min(months, _whole(cm / side.month_cm)) for cm in open_cm),
            follows=follows,
            worth=rules.worth_virgin if virgin else rules.worth_renewed,
            pull=int(virgin and side.letter == "H"),
        ),
        begins,
    )


def _open_in_use(side: Side, year: int, rules: LifeRules) -> float:
    """Bark ahead of today's cut, cm, whose former cutting lies a renewal back at a year's start."""
    ahead = side.length_cm - side.cut_cm
    if side.generation == 0:
        return ahead
    # The former generation ended at the bound; a strip at distance d was cut before that by the
    # time its pace took from d to the bound.
    waits = rules.renewal_years - side.older_idle_years - year
    return min(ahead, max(0.0, ahead - max(0.0, waits) * side.pace_cm))


def _open_behind(side: Side, year: int, rules: LifeRules) -> float:
    """Bark behind today's cut, cm from the origin, cut a renewal before a year's start."""
    waits = rules.renewal_years - side.idle_years - year
    return max(0.0, side.cut_cm - max(0.0, waits) * side.pace_cm)


def _reached(stage: Stage, years: int, rules: LifeRules, stages: list[Stage]) -> bool:
    if stage.follows is None or stage.months == 0:
        return stage.months > 0
    before = stages[stage.follows]
    finished = before.opens + math.ceil(before.months / MONTHS)
    old = next((year for year, open_ in enumerate(stage.available) if open_ > 0), years)
    new = before.opens + 1 + math.ceil(rules.renewal_years) if before.months else years
    return max(finished, min(old, new)) < years


def _whole(months: float) -> int:
    return max(0, math.floor(months + _TINY))
