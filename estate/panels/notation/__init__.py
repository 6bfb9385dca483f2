"""The trade's open notation for latex harvest systems: read, write, say, weigh.

May import `layers` and `estate.figures` only.
"""

from estate.panels.notation.errors import NotationError
from estate.panels.notation.intensity import relative_intensity, tappings_per_year
from estate.panels.notation.parse import parse_notation
from estate.panels.notation.system import (
    Cut,
    CutSystem,
    Days,
    HarvestSystem,
    PanelName,
    Period,
    Share,
    Stimulation,
)
from estate.panels.notation.words import in_words
from estate.panels.notation.write import write_notation

__all__ = [
    "Cut",
    "CutSystem",
    "Days",
    "HarvestSystem",
    "NotationError",
    "PanelName",
    "Period",
    "Share",
    "Stimulation",
    "in_words",
    "parse_notation",
    "relative_intensity",
    "tappings_per_year",
    "write_notation",
]
