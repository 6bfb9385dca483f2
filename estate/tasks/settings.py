"""What a manager may set before tasks are drawn."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from estate.tasks.minutes import Minutes, minutes
from layers.errors import SettingError


@dataclass(frozen=True, kw_only=True)
class TaskSettings:
    """How tasks are drawn.

    Parameters
    ----------
    round_days
        Tasks of one tapper's round: 3 where each tree is tapped every third day; 1 to 7.
    tasks
        How many tasks in all; None for as many as give mornings of the usual length, a multiple
        of `round_days` for each group of blocks that lie together.
    rows
        ``cut``: a row may be divided between two tasks, though seldom without need; ``whole``:
        never, even if mornings come out less even.
    even
        How much longer than the mean (1.001 to 1.1) the longest morning may be before the cuts
        are moved again.
    slack
        How far a task may leave the mean (0 to 0.02) to end where a row, block or holding ends.
    reach_m
        A collection place further away than this is none, metres.
    bound
        Whether to prove for each task how short its walk could be.
    minutes
        The time model.

    Raises
    ------
    SettingError
        A setting is out of its range.
    """

    round_days: int = 3
    tasks: int | None = None
    rows: Literal["cut", "whole"] = "cut"
    even: float = 1.012
    slack: float = 0.008
    reach_m: float = 1500.0
    bound: bool = True
    minutes: Minutes = field(default_factory=minutes)

    def __post_init__(self) -> None:
        _within("round_days", self.round_days, 1, 7)
        _within("slack", self.slack, 0.0, 0.02)
        _within("even", self.even, 1.001, 1.1)
        _within("reach_m", self.reach_m, 0.0, 20_000.0)
        if self.tasks is not None:
            _within("tasks", self.tasks, 1, 1_000_000)
        if self.rows not in ("cut", "whole"):
            raise SettingError.at(
                layer="task settings",
                found=f"rows = {self.rows}",
                expected="cut or whole",
                remedy="Say whether a row may be divided between two tasks.",
            )


def _within(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise SettingError.at(
            layer="task settings",
            found=f"{name} = {value}",
            expected=f"{low:g} to {high:g}",
            remedy=f"Give {name} within that range.",
        )
