"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

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
from estate.standards import OpeningStandard, standard_named, standards

__all__ = [
    "HarvestSystem",
    "LifeRules",
    "MarkingGuide",
    "MarkingPractice",
    "OpeningStandard",
    "bark_use",
    "cord_table",
    "lay_panels",
    "life_plan",
    "life_plans",
    "marking_guide",
    "parse_notation",
    "plan_stimulation",
    "standard_named",
    "standards",
    "write_notation",
]
