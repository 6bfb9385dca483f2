"""The trade: standards, girth, panels, sun, tasks and the project's store.

May import `layers`; only the entry points in `estate.app` may import `reports` too.
"""

from estate.panels import MarkingGuide, MarkingPractice, cord_table, lay_panels, marking_guide
from estate.standards import OpeningStandard, standard_named, standards

__all__ = [
    "MarkingGuide",
    "MarkingPractice",
    "OpeningStandard",
    "cord_table",
    "lay_panels",
    "marking_guide",
    "standard_named",
    "standards",
]
