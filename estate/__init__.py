"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.standards import OpeningStandard, standard_named, standards
from estate.tasks import TaskPlan, TaskSettings, draw, draw_tasks, fit_minutes

__all__ = [
    "OpeningStandard",
    "TaskPlan",
    "TaskSettings",
    "draw",
    "draw_tasks",
    "fit_minutes",
    "standard_named",
    "standards",
]
