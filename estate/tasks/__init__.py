"""Tapping tasks: the time model, the sweep, the cut into mornings, and each morning's round.

May import `layers` and the rest of `estate` outside `estate.app`.
"""

from estate.tasks.drawing import draw, draw_tasks
from estate.tasks.minutes import Minutes, MinutesFit, fit_minutes, minutes
from estate.tasks.settings import TaskSettings
from estate.tasks.task_plan import TaskPlan, with_names_kept
from estate.tasks.timed import Timing, no_timed, timing

__all__ = [
    "Minutes",
    "MinutesFit",
    "TaskPlan",
    "TaskSettings",
    "Timing",
    "draw",
    "draw_tasks",
    "fit_minutes",
    "minutes",
    "no_timed",
    "timing",
    "with_names_kept",
]
