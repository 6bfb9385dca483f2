"""Spatial data in and out, geometry, terrain and matching; knows no agronomy.

May import third-party libraries only, never `estate` or `reports`.
"""

from layers.contract import LAYERS, Layers
from layers.errors import Fault, LayerError
from layers.matching import SurveyMatch, field_list, match_points, match_survey
from layers.terrain import Terrain

__all__ = [
    "LAYERS",
    "Fault",
    "LayerError",
    "Layers",
    "SurveyMatch",
    "Terrain",
    "field_list",
    "match_points",
    "match_survey",
]
