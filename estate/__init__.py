"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.girth import (
    DecisionRule,
    NearReady,
    block_readiness,
    classify,
    clean_girths,
    estimate_girth,
    sample_design,
    sample_effort,
    taped_trees,
)
from estate.panels import (
    HarvestSystem,
    LifeRules,
    MarkingGuide,
    MarkingPractice,
    bark_use,
    cord_table,
    lay_panels,
    life_plan,
    life_plans,
    marking_guide,
    parse_notation,
    plan_stimulation,
    write_notation,
)
from estate.standards import (
    OpeningStandard,
    standard_named,
    standards,
)
from estate.tasks import (
    TaskPlan,
    TaskSettings,
    draw,
    draw_tasks,
    fit_minutes,
)

__all__ = [
    "DecisionRule",
    "HarvestSystem",
    "LifeRules",
    "MarkingGuide",
    "MarkingPractice",
    "NearReady",
    "OpeningStandard",
    "TaskPlan",
    "TaskSettings",
    "bark_use",
    "block_readiness",
    "classify",
    "clean_girths",
    "cord_table",
    "draw",
    "draw_tasks",
    "estimate_girth",
    "fit_minutes",
    "lay_panels",
    "life_plan",
    "life_plans",
    "marking_guide",
    "parse_notation",
    "plan_stimulation",
    "sample_design",
    "sample_effort",
    "standard_named",
    "standards",
    "taped_trees",
    "write_notation",
]
