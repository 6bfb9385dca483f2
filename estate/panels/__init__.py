"""Panels: marking, bark and its budget, life plans, harvest notation and stimulation.

May import `layers` and the rest of `estate` outside its entry points; never `reports`.
"""

from estate.panels.bark import BarkUse, bark_use
from estate.panels.cord import CordMarks, cord_marks, cord_table
from estate.panels.guide import MarkingGuide, marking_guide
from estate.panels.layout import LaidPanels, PanelWarning, lay_or_refuse, lay_panels
from estate.panels.life_blocks import expected_cuts, life_plans
from estate.panels.life_rules import LifeRules
from estate.panels.lifetime import life_plan, panel_spans
from estate.panels.marked_panel import MarkedPanel
from estate.panels.marking import ThinBarkError, unmeasured_depth
from estate.panels.notation import (
    HarvestSystem,
    NotationError,
    in_words,
    parse_notation,
    relative_intensity,
    write_notation,
)
from estate.panels.practice import MarkingPractice
from estate.panels.side_view import SideView
from estate.panels.stimulation import StimulationPlan, plan_stimulation, water_per_product

__all__ = [
    "BarkUse",
    "CordMarks",
    "HarvestSystem",
    "LaidPanels",
    "LifeRules",
    "MarkedPanel",
    "MarkingGuide",
    "MarkingPractice",
    "NotationError",
    "PanelWarning",
    "SideView",
    "StimulationPlan",
    "ThinBarkError",
    "bark_use",
    "cord_marks",
    "cord_table",
    "expected_cuts",
    "in_words",
    "lay_or_refuse",
    "lay_panels",
    "life_plan",
    "life_plans",
    "marking_guide",
    "panel_spans",
    "parse_notation",
    "plan_stimulation",
    "relative_intensity",
    "unmeasured_depth",
    "water_per_product",
    "write_notation",
]
