"""Spatial data in and out, geometry, terrain and matching; knows no agronomy.

May import third-party libraries only, never `estate` or `reports`.
"""

from layers.bring_in import (
    Intake,
    IntakeError,
    Source,
    bring_in,
)
from layers.contract import (
    LAYERS,
    Layers,
    with_every_column,
)
from layers.crs import (
    geodesic_area_ha,
    metric_crs,
)
from layers.errors import (
    Fault,
    LayerError,
)
from layers.geopackage import (
    layer_names,
    read_layer,
    write_layers,
)
from layers.matching import (
    SurveyMatch,
    field_list,
    match_points,
    match_survey,
)
from layers.terrain import (
    Terrain,
    read_terrain,
    write_terrain,
)

__all__ = [
    "LAYERS",
    "Fault",
    "Intake",
    "IntakeError",
    "LayerError",
    "Layers",
    "Source",
    "SurveyMatch",
    "Terrain",
    "bring_in",
    "field_list",
    "geodesic_area_ha",
    "layer_names",
    "match_points",
    "match_survey",
    "metric_crs",
    "read_layer",
    "read_terrain",
    "with_every_column",
    "write_layers",
    "write_terrain",
]
