"""Panels: marking, bark and its budget, life plans, harvest notation and stimulation.

May import `layers` and the rest of `estate` outside its entry points; never `reports`.
"""

from estate.panels.cord import CordMarks, cord_marks, cord_table
from estate.panels.guide import MarkedPanel, MarkingGuide, marking_guide
from estate.panels.layout import PanelWarning, lay_panels
from estate.panels.marking import ThinBarkError
from estate.panels.practice import MarkingPractice
from estate.panels.side_view import SideView

__all__ = [
    "CordMarks",
    "MarkedPanel",
    "MarkingGuide",
    "MarkingPractice",
    "PanelWarning",
    "SideView",
    "ThinBarkError",
    "cord_marks",
    "cord_table",
    "lay_panels",
    "marking_guide",
]
