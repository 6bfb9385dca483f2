"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.panels import (
    HarvestSystem,
    MarkingGuide,
    MarkingPractice,
    bark_use,
    cord_table,
    lay_panels,
    marking_guide,
    parse_notation,
    write_notation,
)
from estate.standards import OpeningStandard, standard_named, standards

__all__ = [
    "HarvestSystem",
    "MarkingGuide",
    "MarkingPractice",
    "OpeningStandard",
    "bark_use",
    "cord_table",
    "lay_panels",
    "marking_guide",
    "parse_notation",
    "standard_named",
    "standards",
    "write_notation",
]
