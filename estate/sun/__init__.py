"""The sun on the bark: light on each face of a block's trees, and which way panels should face.

May import `layers` and `estate.figures`; never `reports`.
"""

from estate.sun.bark import BarkStrip
from estate.sun.beam import panel_beam
from estate.sun.canopy import Canopy, canopy_of_age
from estate.sun.facing import face_blocks
from estate.sun.hours import TappingDay, tapping_day
from estate.sun.options import FacingOptions, read_facing_options
from estate.sun.sky import Clouds, clouds_from_table, read_clouds

__all__ = [
    "BarkStrip",
    "Canopy",
    "Clouds",
    "FacingOptions",
    "TappingDay",
    "canopy_of_age",
    "clouds_from_table",
    "face_blocks",
    "panel_beam",
    "read_clouds",
    "read_facing_options",
    "tapping_day",
]
